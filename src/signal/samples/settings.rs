//! What is asked of the device, and what to expect where it cannot tell.
//!
//! As a room's own settings; where they were typed is not known here.

use serde::{Deserialize, Serialize};

/// Greatest rate that is believed, samples a second: buffers are sized by it.
pub const RATE_MAX_HZ: f64 = 50e6;

/// Rate and count range of a rig's amplifier.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Samples a second: asked of a framed device (none: its highest offered rate), nominal for an
    /// ASCII board (none: measured in the first two seconds).
    pub rate_hz: Option<f64>,
    /// Smallest code the converter can give, where the device does not tell.
    pub count_min: Option<i32>,
    /// Largest code the converter can give, where the device does not tell.
    pub count_max: Option<i32>,
}
