//! `cargo xtask honesty [TRIALS [PLAN]]`: how often verdicts and limits are right, by simulation.
//!
//! Builds and runs the program of tools/bench in the release profile; it prints the table and judges.

use crate::error::Failed;
use crate::tree::cargo;

/// Runs it with the words given.
pub fn run(words: &[String]) -> Result<(), Failed> {
    if words.len() > 2 || words.first().is_some_and(|word| word.parse::<u64>().is_err()) {
        let expected = "expected a number of trials and words of a plan's name, a number, or nothing";
        return Err(Failed::usage(format!("{expected}, found {words:?}")));
    }
    let mut command = cargo();
    command.args(["bench", "--quiet", "--locked", "--package", "boltscribe", "--bench", "honesty", "--"]);
    command.args(words);
    let status = command.status().map_err(|error| Failed::io("start cargo", error))?;
    if status.success() {
        Ok(())
    } else {
        Err(Failed::no("a figure lies outside what was promised".to_owned()))
    }
}
