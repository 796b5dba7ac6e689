//! `setup`: what stands on the shelf (pieces, chains, tools, sources, test bolts) and what is in
//! force on a rig.
//!
//! One noun a file. Rules of fit and ranges are the API's; here an entry becomes a document.

pub mod bolt;
pub mod chain;
pub mod piece;
pub mod shelf;
pub mod source;
pub mod thread;
pub mod tool;
pub mod usage;
pub mod verb;

pub use verb::{Verb, run};
