//! `cargo xtask restarts [N [SEED]]`: the real daemon, killed or stopped at random moments while a virtual rig
//! plays, and started again N times.
//!
//! Runs the long form of tests/restarts, which prints what it found and judges.

use crate::error::Failed;
use crate::tree::cargo;

/// Runs it with the words given.
pub fn run(words: &[String]) -> Result<(), Failed> {
    if words.len() > 2 || words.iter().any(|word| word.parse::<u64>().is_err()) {
        let expected = "expected a number of restarts and a seed, a number, or nothing";
        return Err(Failed::usage(format!("{expected}, found {words:?}")));
    }
    let mut command = cargo();
    command.args(["test", "--quiet", "--locked", "--package", "boltscribe", "--test", "restarts", "--"]);
    command.args(["--ignored", "--nocapture"]);
    for (name, word) in ["BOLTSCRIBE_TEST_RESTARTS", "BOLTSCRIBE_TEST_SEED"].into_iter().zip(words) {
        command.env(name, word);
    }
    let status = command.status().map_err(|error| Failed::io("start cargo", error))?;
    if status.success() {
        Ok(())
    } else {
        Err(Failed::no("a restart invented, doubled or lost a run".to_owned()))
    }
}
