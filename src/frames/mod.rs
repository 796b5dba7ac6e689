//! Bytes to frames and faults, one file an instrument.
//!
//! Knows boltscribe-wire and ASCII lines; must not know ports or newtons.

pub mod account;
pub mod framed;
pub mod lines;
pub mod pattern;
pub mod settings;

pub use settings::Settings;
