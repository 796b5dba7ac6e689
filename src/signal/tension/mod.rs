//! Counts to newtons by a calibration given to it, with the ends of the converter's range.
//!
//! Must not know who made the calibration.

pub mod convert;

pub use convert::Converter;
