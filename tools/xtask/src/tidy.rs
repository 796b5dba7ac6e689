//! `cargo xtask tidy`: the rules of the house, held against every file of the tree at once.
//!
//! The rules are data in `tidy/table.rs`; each file beside it holds one kind of rule. A rule reads text and
//! tokens only: what the compiler and clippy hold already (unsafe code, prints, long functions) is not here.

mod broken;
mod clock;
mod heads;
mod lexer;
mod literals;
mod manifests;
mod parts;
mod paths;
mod pure;
pub mod source;
mod table;
mod top;
mod words;

use crate::error::Failed;
use crate::tree::root;
use broken::Broken;
use source::Tree;

/// Holds the rules against the tree.
///
/// # Errors
/// Exit code 1 with the number of broken rules, each printed before; 3 where the tree cannot be read.
pub fn run() -> Result<(), Failed> {
    let tree = Tree::read(&root())?;
    let broken = check(&tree);
    for one in &broken {
        println!("{one}");
    }
    match broken.len() {
        0 => {
            println!("tidy: {} files keep the rules", tree.files.len());
            Ok(())
        }
        n => Err(Failed::no(format!("tidy: {n} places break the rules"))),
    }
}

/// All places that break a rule, ordered by path and line; a named exception that excuses nothing is one.
fn check(tree: &Tree) -> Vec<Broken> {
    let mut broken = Vec::new();
    top::check(tree, &mut broken);
    words::check(tree, &mut broken);
    manifests::check(tree, &mut broken);
    let sources = tree.sources();
    for source in &sources {
        heads::check(source, &mut broken);
        pure::check(source, &mut broken);
        clock::check(source, &mut broken);
        literals::check(source, &mut broken);
    }
    let (excused, mut broken): (Vec<_>, Vec<_>) = broken.into_iter().partition(Broken::is_excused);
    for exception in table::EXCEPTIONS {
        let exists = tree.files.iter().any(|f| f.path == exception.path);
        if exists && !excused.iter().any(|b| b.excused_by(exception)) {
            let expected = format!("no exception from the rule '{}' that nothing needs", exception.rule);
            broken.push(Broken::new("exception", exception.path, 1, expected, "one"));
        }
    }
    broken.sort_by(|a, b| (&a.path, a.line, a.rule).cmp(&(&b.path, b.line, b.rule)));
    broken
}

#[cfg(test)]
mod tests;
