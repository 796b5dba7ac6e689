//! `trial`: a planned comparison, walked step by step.
//!
//! The API keeps the plan and says what comes next; here are words, tables and options.

mod plan;
mod show;
pub mod verb;

pub use verb::{Verb, run};
