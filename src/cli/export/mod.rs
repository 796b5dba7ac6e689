//! `export`: everything out of the store, and recordings out of their folder.
//!
//! What a row is and how it is written is the business of the room `export`; here are the words, the way from
//! the API's stream to a file, and the talk on the way.

mod captures;
mod progress;
mod rows;
mod signals;
mod time;
mod verb;
mod write;

pub use verb::{Verb, run, run_captures};
pub use write::{of_target, without_parquet};
