//! The words after `setup`, and which file does each.
//!
//! Must not know how any of them is done.

use super::{bolt, chain, piece, shelf, source, tool, usage};
use crate::context::Context;
use crate::error::CliError;
use clap::Subcommand;

/// What can be done with the shelf.
#[derive(Debug, Subcommand)]
#[command(before_help = "Examples, in the order a new rig needs them:
  boltscribe setup piece add \"socket 30\" --kind socket --drive-in 1/2
  boltscribe setup piece add \"ext 75\" --kind extension --drive-in 1/2 --drive-out 1/2 --length-mm 75
  boltscribe setup chain add direct \"socket 30\"
  boltscribe setup chain add ext75 \"ext 75\" \"socket 30\"
  boltscribe setup tool add wrench-1 --anvil 1/2 --source battery
  boltscribe setup bolt add m20-a --thread M20x2.5 --diameter-mm 20 --nut-factor 0.16 --allowed-kN 120
  boltscribe setup use ext75 --rig bench --tool wrench-1 --bolt m20-a --battery b3 --rested-V 19.8 --fresh
")]
pub enum Verb {
    /// Sockets, extensions, joints, adapters.
    #[command(subcommand)]
    Piece(piece::Verb),
    /// Setups: ordered chains of pieces, from the tool to the nut.
    #[command(subcommand)]
    Chain(chain::Verb),
    /// Tools under test.
    #[command(subcommand)]
    Tool(tool::Verb),
    /// Batteries, air and mains supplies.
    #[command(subcommand)]
    Source(source::Verb),
    /// Test bolts, their factor and allowed tension.
    #[command(subcommand)]
    Bolt(bolt::Verb),
    /// Say what is coupled now: every later run carries it.
    Use(usage::Use),
    /// What is in force on a rig.
    Show(usage::Show),
    /// Everything on the shelf, or one kind of it.
    List(shelf::List),
    /// Take something off the shelf; runs keep what they were tagged with.
    Remove(shelf::Remove),
}

impl Verb {
    /// Whether it puts something on the shelf, so that an absent store is made for it.
    #[must_use]
    pub const fn fills_the_shelf(&self) -> bool {
        match self {
            Self::Piece(_) | Self::Chain(_) | Self::Tool(_) | Self::Source(_) | Self::Bolt(_) => true,
            Self::Use(_) | Self::Show(_) | Self::List(_) | Self::Remove(_) => false,
        }
    }
}

/// Does it.
///
/// # Errors
/// As each file says.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    match verb {
        Verb::Piece(piece::Verb::Add(add)) => piece::add(add, context).await,
        Verb::Chain(chain::Verb::Add(add)) => chain::add(add, context).await,
        Verb::Tool(tool::Verb::Add(add)) => tool::add(add, context).await,
        Verb::Source(source::Verb::Add(add)) => source::add(add, context).await,
        Verb::Bolt(bolt::Verb::Add(add)) => bolt::add(add, context).await,
        Verb::Use(usage) => usage::put_in_force(usage, context).await,
        Verb::Show(show) => usage::show(show, context).await,
        Verb::List(list) => shelf::list(list, context).await,
        Verb::Remove(remove) => shelf::remove(remove, context).await,
    }
}
