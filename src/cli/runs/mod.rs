//! `runs`: what was measured, and corrections to it.
//!
//! A run as the API gives it becomes rows here; no figure is computed again.

pub mod budget;
pub mod correct;
pub mod enter;
pub mod list;
pub mod recompute;
pub mod show;
pub mod verb;

pub use verb::{Verb, run};
