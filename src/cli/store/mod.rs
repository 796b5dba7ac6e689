//! `store`: the database itself: check, backup, restore, prune.
//!
//! All but restore goes through the door; a restore exchanges what is behind it.

pub mod backup;
pub mod check;
pub mod prune;
pub mod restore;
pub mod verb;
pub mod verify;

pub use check::flatten;
pub use verb::{Verb, run};
