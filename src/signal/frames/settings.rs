//! Which instrument talks on the line, and how.
//!
//! As a room's own settings; where they were typed is not known here.

use serde::{Deserialize, Serialize};

/// How a rig's amplifier talks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Settings {
    /// The project's own binary protocol (firmware-protocol/SPEC.md).
    Framed,
    /// ASCII lines with a number, or a tick and a number.
    Lines(Lines),
}

/// How an ASCII board words its lines.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Lines {
    /// Text of a line with the named fields `{value}` and, where the board sends one, `{tick}`;
    /// `{skip}` stands for any run of other characters. A space matches any blanks.
    pub pattern: String,
    /// Ticks a second, where the pattern has `{tick}`.
    pub tick_hz: Option<f64>,
    /// Bits after which the tick wraps, 8 to 64.
    pub tick_bits: u8,
    /// Number of decimals kept: a value is stored as the whole number value × 10^decimals.
    pub decimals: u8,
}

impl Default for Lines {
    fn default() -> Self {
        Self { pattern: "{value}".to_owned(), tick_hz: None, tick_bits: 32, decimals: 0 }
    }
}
