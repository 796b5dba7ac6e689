//! Bytes to frames and faults, one file an instrument.
//!
//! Knows boltscribe-wire and ASCII lines; must not know ports or newtons. Broken input is data here: it
//! is counted by reason and told, never an error that stops anything.

pub mod account;
pub mod framed;
pub mod guess;
pub mod item;
pub mod lines;
pub mod parser;
pub mod pattern;
pub mod settings;

pub use account::Account;
pub use guess::Guess;
pub use item::{Frame, Identity, Item, SampleFrame, Status};
pub use parser::Parser;
pub use pattern::PatternError;
pub use settings::{Lines, Settings};
