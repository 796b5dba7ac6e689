//! Pure crates name nothing that touches the world: no files, network, threads or clocks.
//!
//! Their manifests keep other crates away; here is what the standard library would let in. Test parts may do more.

use super::broken::Broken;
use super::paths::{Path, paths};
use super::source::Source;
use super::table::{CLOCK_TYPES, IMPURE, PURE};

/// Holds the rule for one source.
pub fn check(source: &Source<'_>, broken: &mut Vec<Broken>) {
    let Some(name) = source.crate_folder().filter(|name| PURE.contains(name)) else { return };
    for path in paths(&source.tokens).iter().filter(|p| !source.tests.holds(p.line) && impure(p)) {
        let expected = format!("no files, network, threads or clocks in the pure crate '{name}'");
        broken.push(Broken::new("pure", source.path, path.line, expected, path.parts.join("::")));
    }
}

fn impure(path: &Path) -> bool {
    let begins =
        |head: &&[&str]| path.parts.iter().map(String::as_str).take(head.len()).eq(head.iter().copied());
    IMPURE.iter().any(begins) || path.parts.iter().any(|part| CLOCK_TYPES.contains(&part.as_str()))
}
