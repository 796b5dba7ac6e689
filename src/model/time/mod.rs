//! Ticks and times: the host's monotonic nanoseconds, the device's tick counter, and the line
//! between the two. Reads no clock itself.

pub mod day;
pub mod line;
pub mod stamp;
pub mod unwrap;

pub use day::{bounds_of_day, day_in, day_utc};
pub use line::{ClockLine, LowerEnvelope};
pub use stamp::{DeviceTicks, MonoNs};
pub use unwrap::Unwrapper;
