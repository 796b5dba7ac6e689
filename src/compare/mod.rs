//! Whether setups differ, what pieces cost, whether a tool meets a limit, how it has been.
//!
//! Pure functions of observations: a value, its time, what was coupled. Must not know storage, the network,
//! or where an observation came from.

pub mod acceptance;
pub mod answer;
pub mod bracket;
pub mod cells;
pub mod checks;
pub mod comparison;
pub mod estimable;
pub mod history;
pub mod observation;
pub mod pieces;
pub mod planning;
pub mod regression;

pub use answer::{Comparison, DriftFound, SetupRow, Verdict};
pub use comparison::compare;
pub use observation::{CompareError, Drift, Observation, Question};
pub use pieces::piece_effects;
