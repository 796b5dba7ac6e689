//! Points as text, the way time-series servers take them in: for forwarding and for files.
//!
//! A leaf: must not know what is measured, nor networks.

pub mod point;

pub use point::{LineError, Point, Value};
