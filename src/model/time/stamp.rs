//! A moment on the host's monotonic clock, and one on the device's tick counter.
//!
//! Must not know the wall clock; the line between the two is in `line`.

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
