//! What every part of boltscribe speaks of: units, time stamps, the calibration line, setups, what an operator sets.
//!
//! Types with their own arithmetic and checks. Must not know how anything is measured or stored.

pub mod constants;
pub mod control;
pub mod setups;
pub mod time;
pub mod units;
