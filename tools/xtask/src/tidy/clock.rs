//! Clocks are read in the crates that may, nowhere else in the library and its programs.
//!
//! The tools are programs of their own and may read clocks; so may tests.

use super::broken::Broken;
use super::paths::paths;
use super::source::Source;
use super::table::{CLOCK_CRATES, CLOCK_READS};

/// Holds the rule for one source.
pub fn check(source: &Source<'_>, broken: &mut Vec<Broken>) {
    if source.crate_folder().is_none_or(|name| CLOCK_CRATES.contains(&name)) {
        return;
    }
    for path in paths(&source.tokens).iter().filter(|p| !source.tests.holds(p.line)) {
        let parts: Vec<&str> = path.parts.iter().map(String::as_str).collect();
        if CLOCK_READS.iter().any(|read| parts.ends_with(read)) {
            let expected = format!("clocks read in {} only", CLOCK_CRATES.join(", "));
            broken.push(Broken::new("clock", source.path, path.line, expected, parts.join("::")));
        }
    }
}
