//! The words after `store`, and which file does each.
//!
//! Must not know how any of them is done.

use super::{backup, check, prune, restore, verify};
use crate::context::Context;
use crate::error::CliError;
use clap::Subcommand;

/// What can be done with the store.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Read everything and say what does not fit; exit 1 on faults.
    #[command(
        before_help = "Examples:\n  boltscribe store check\n  boltscribe --store copy.sqlite store check"
    )]
    Check,
    /// Compare each stored row with the link it got when it was committed; exit 1 on faults.
    Verify(verify::Verify),
    /// Copy the whole store into one file, also while boltscribed writes.
    Backup(backup::Backup),
    /// Put a copy in place of the store, which is kept beside it. Not while boltscribed runs.
    Restore(restore::Restore),
    /// Drop old raw samples; results stay.
    Prune(prune::Prune),
}

/// Does it.
///
/// # Errors
/// As each file says.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    match verb {
        Verb::Check => check::check(context).await,
        Verb::Verify(verify) => verify::run(verify, context).await,
        Verb::Backup(backup) => backup::run(backup, context).await,
        Verb::Prune(prune) => prune::run(prune, context).await,
        // Done before any door is opened.
        Verb::Restore(_) => Ok(()),
    }
}
