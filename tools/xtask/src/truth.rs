//! `cargo xtask truth`: how often each figure of a run is right, null, told or untold.
//!
//! Builds and runs the program of tools/bench in the release profile; it reads the values, prints the tables
//! and judges.

use crate::error::Failed;
use crate::tree::cargo;

/// What may be asked, and whether a value follows.
const WORDS: [(&str, bool); 6] = [
    ("--cases", true),
    ("--seed", true),
    ("--family", true),
    ("--case", true),
    ("--write", true),
    ("--list", false),
];

/// Runs it with the words given.
pub fn run(words: &[String]) -> Result<(), Failed> {
    let mut rest = words.iter();
    while let Some(word) = rest.next() {
        let known = WORDS.iter().find(|(name, _)| name == word);
        let whole = known.is_some_and(|(_, value)| !value || rest.next().is_some());
        if !whole {
            let expected = "expected --cases N, --seed S, --family NAME, --list, --case ID or --write FILE";
            return Err(Failed::usage(format!("{expected}, found {words:?}")));
        }
    }
    let mut command = cargo();
    command.args(["bench", "--quiet", "--locked", "--package", "boltscribe", "--bench", "truth", "--"]);
    command.args(words);
    let status = command.status().map_err(|error| Failed::io("start cargo", error))?;
    if status.success() {
        Ok(())
    } else {
        Err(Failed::no("more is wrong and untold than promised, or a value was not understood".to_owned()))
    }
}
