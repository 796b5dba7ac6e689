//! The words after `runs`, and which file does each.
//!
//! Must not know how any of them is done.

use super::{budget, correct, enter, list, recompute, show};
use crate::context::Context;
use crate::error::CliError;
use clap::Subcommand;

/// What can be done with runs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// The latest runs, newest first.
    List(list::List),
    /// Type what a dial reads after a run, at a rig without an amplifier.
    Enter(enter::Enter),
    /// One run: every figure, and the trace drawn.
    Show(show::Show),
    /// Give a run other tags; the old ones stay in the record.
    Tag(correct::Tag),
    /// Leave a run out of results.
    Exclude(correct::Correct),
    /// Undo an exclusion, or count a run in spite of its flags.
    Restore(correct::Correct),
    /// Measure stored runs again; the figures before stay in the record.
    Recompute(recompute::Recompute),
    /// What is uncertain about a figure of one run, a mean or a ratio, line by line.
    Budget(budget::Budget),
}

impl Verb {
    /// Whether it puts the first things into a new store.
    #[must_use]
    pub const fn fills_the_store(&self) -> bool {
        matches!(self, Self::Enter(_))
    }
}

/// Does it.
///
/// # Errors
/// As each file says.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    match verb {
        Verb::List(list) => list::run(list, context).await,
        Verb::Enter(enter) => enter::run(enter, context).await,
        Verb::Show(show) => show::run(show, context).await,
        Verb::Tag(tag) => correct::tag(tag, context).await,
        Verb::Exclude(exclude) => correct::mark("exclude", exclude, context).await,
        Verb::Recompute(recompute) => recompute::run(recompute, context).await,
        Verb::Budget(budget) => budget::run(budget, context).await,
        Verb::Restore(restore) => correct::mark("restore", restore, context).await,
    }
}
