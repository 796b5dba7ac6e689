//! What the tests share.
#![allow(unused_imports)] // Each test file uses a part of it.

mod quiet;

pub use quiet::{LIVELY_TOOL, SILENT_TOOL, STEP, quiet};
