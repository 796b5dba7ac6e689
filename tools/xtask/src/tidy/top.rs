//! What lies at the top of the repository: the entries of the table, all of them, and dotfiles.
//!
//! Must not know what is inside them.

use super::broken::Broken;
use super::source::Tree;
use super::table::TOP;
use std::collections::BTreeSet;

/// Holds the rule for the whole tree.
pub fn check(tree: &Tree, broken: &mut Vec<Broken>) {
    let found: BTreeSet<&str> = tree.files.iter().filter_map(|f| f.path.split('/').next()).collect();
    for name in found.iter().filter(|n| !n.starts_with('.') && !TOP.contains(n)) {
        broken.push(Broken::new("top", name, 1, "only the entries of the table at the top", "another"));
    }
    for name in TOP.iter().filter(|n| !found.contains(*n)) {
        broken.push(Broken::new("top", name, 1, "it at the top", "nothing"));
    }
}
