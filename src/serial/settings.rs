//! Which port, and how fast it talks.
//!
//! Eight data bits, no parity, one stop bit and no flow control, as every instrument here uses. This
//! file must not know who typed the values; their ranges are checked where settings are read.

use serde::{Deserialize, Serialize};

/// One serial port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Path of the device or of a link to it, followed anew at each opening.
    pub path: String,
    /// Bits a second, 300 to 12,000,000; a pseudo terminal and a USB-native board ignore it.
    pub baud: u32,
}
