//! What measured runs tell: uncertainty, results with their flags, comparisons and verdicts, trials.
//!
//! No IO, no thread, no clock. Must not know how runs are stored or shown.

pub mod compare;
#[cfg(any(test, feature = "fixtures"))]
pub mod fixtures;
pub mod metrology;
pub mod results;
pub mod trial;
