//! `setup chain add`: an ordered chain of pieces, from the tool's anvil to the nut.
//!
//! Whether neighbours fit is the API's rule; must not judge it here.

use super::shelf::{By, Kind, put};
use crate::context::Context;
use crate::error::CliError;
use boltscribe_model::setups::Chain;
use clap::{Args, Subcommand};

/// What can be done with chains.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Put a chain on the shelf; it is refused where two neighbours do not fit.
    Add(Add),
}

/// Options of `setup chain add`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe setup chain add direct \"socket 30\"
  boltscribe setup chain add ext75 \"ext 75\" \"socket 30\"
")]
pub struct Add {
    /// Name of the setup.
    pub name: String,
    /// Its pieces, from the tool to the nut; the last one is the socket.
    #[arg(required = true, value_name = "PIECE")]
    pub pieces: Vec<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub by: By,
}

/// Puts it on the shelf.
///
/// # Errors
/// The API refuses it: an unknown piece, or two that do not fit.
pub async fn add(add: &Add, context: &Context) -> Result<(), CliError> {
    let chain = Chain { name: add.name.clone(), pieces: add.pieces.clone() };
    put(Kind::Chain, &add.name, &chain, &add.by, context).await
}
