//! From a measured run or a typed reading to a result: equivalent torque, tags, and the one table of
//! flags.
//!
//! Knows runs, setups and the constants given to it; must not know bytes or SQL.

pub mod by_hand;
#[cfg(test)]
mod coverage_tests;
pub mod dial;
pub mod drift_between;
pub mod flags;
pub mod measure_of;
pub mod result;
pub mod shown;
pub mod uncertainty;

pub use by_hand::{ByHand, Entry, Reading, ReadingOf};
pub use dial::{Dial, DialUnit, PistonArea, ReadingError, parse_reading};
pub use flags::{Flag, Verdict};
pub use measure_of::{Figure, Measure};
pub use result::{Closed, Context, RunResult, Torques};
pub use shown::{FiguresShown, GrowthShown, ReachedShown};
