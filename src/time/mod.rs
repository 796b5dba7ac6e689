//! Ticks and times: the host's monotonic nanoseconds, the device's tick counter, and the line
//! between the two. Reads no clock itself.

pub mod line;
pub mod unwrap;

pub use line::{ClockLine, LowerEnvelope};
pub use unwrap::Unwrapper;

use serde::{Deserialize, Serialize};

/// Host monotonic time in nanoseconds since an arbitrary origin (for a recording: its start).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MonoNs(pub u64);

/// The device's tick counter with its wraps undone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct DeviceTicks(pub u64);

impl MonoNs {
    /// Seconds since the origin.
    #[must_use]
    pub fn seconds(self) -> f64 {
        self.0 as f64 * 1e-9
    }

    /// Nanoseconds since `earlier`, zero where it lies later.
    #[must_use]
    pub fn since_ns(self, earlier: Self) -> u64 {
        self.0.saturating_sub(earlier.0)
    }
}
