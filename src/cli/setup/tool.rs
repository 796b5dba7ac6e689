//! `setup tool add`: a tool under test.
//!
//! Options become the document of `boltscribe_model::setups`; must not know pieces or runs.

use super::shelf::{By, Kind, put};
use super::source::SourceKind;
use crate::context::Context;
use crate::error::CliError;
use boltscribe_model::setups::{Drive, Tool};
use clap::{Args, Subcommand};

/// What can be done with tools.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Put a tool on the shelf, or a new version of it.
    Add(Add),
}

/// Options of `setup tool add`.
#[derive(Debug, Args)]
#[command(
    before_help = "Examples:\n  boltscribe setup tool add wrench-1 --anvil 1/2 --source battery --serial 0042\n"
)]
pub struct Add {
    /// Its name.
    pub name: String,
    /// Drive of its anvil: 1/4, 3/8, 1/2, 3/4, 1, 1-1/2.
    #[arg(long, value_name = "DRIVE")]
    pub anvil: Drive,
    /// What drives it.
    #[arg(long)]
    pub source: SourceKind,
    /// Serial number.
    #[arg(long)]
    pub serial: Option<String>,
    /// A class of your own, for lists.
    #[arg(long)]
    pub class: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub by: By,
}

/// Puts it on the shelf.
///
/// # Errors
/// The API refuses it.
pub async fn add(add: &Add, context: &Context) -> Result<(), CliError> {
    let tool = Tool {
        name: add.name.clone(),
        anvil: add.anvil,
        source: add.source.kind(),
        serial: add.serial.clone(),
        class: add.class.clone(),
    };
    put(Kind::Tool, &add.name, &tool, &add.by, context).await
}
