//! `runs`: what was measured, and corrections to it.
//!
//! A run as the API gives it becomes rows here; no figure is computed again.

pub mod correct;
pub mod enter;
pub mod list;
pub mod show;
pub mod verb;

pub use verb::{Verb, run};
