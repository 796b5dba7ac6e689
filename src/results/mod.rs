//! From a measured run to a result: equivalent torque, tags, and the one table of flags.
//!
//! Knows runs, setups and the constants given to it; must not know bytes or SQL.

pub mod flags;
pub mod result;

pub use flags::{Flag, Verdict};
pub use result::{Closed, Context, RunResult, Torques};
