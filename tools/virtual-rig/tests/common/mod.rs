//! What the tests share.
//!
//! Nothing here asserts anything.
#![allow(unused_imports)] // Each test file uses a part of it.

mod quiet;

pub use quiet::{LIVELY_TOOL, SILENT_TOOL, STEP, quiet};
