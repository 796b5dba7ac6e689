//! `setup piece add`: one thing between the tool's anvil and the nut.
//!
//! Options become the document of `boltscribe_model::setups`; must not know the rules of fit.

use super::shelf::{By, Kind, put};
use crate::context::Context;
use crate::error::CliError;
use crate::tension_entry::positive;
use boltscribe_model::setups::{self, Drive, Piece};
use clap::{Args, Subcommand, ValueEnum};

/// What can be done with pieces.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Put a piece on the shelf, or a new version of it.
    Add(Add),
}

/// Kinds of pieces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum PieceKind {
    /// Sits on the nut.
    Socket,
    /// A shaft with the same drive at both ends.
    Extension,
    /// Drives around an angle; its pin counts as a contact.
    UniversalJoint,
    /// From one drive size to another.
    Adapter,
    /// Anything else.
    Other,
}

impl PieceKind {
    const fn kind(self) -> setups::PieceKind {
        match self {
            Self::Socket => setups::PieceKind::Socket,
            Self::Extension => setups::PieceKind::Extension,
            Self::UniversalJoint => setups::PieceKind::UniversalJoint,
            Self::Adapter => setups::PieceKind::Adapter,
            Self::Other => setups::PieceKind::Other,
        }
    }
}

/// Options of `setup piece add`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe setup piece add \"ext 75\" --kind extension --drive-in 1/2 --drive-out 1/2 --length-mm 75
  boltscribe setup piece add \"socket 30\" --kind socket --drive-in 1/2
")]
pub struct Add {
    /// Its name.
    pub name: String,
    /// What it is.
    #[arg(long)]
    pub kind: PieceKind,
    /// Drive of the end towards the tool (the opening): 1/4, 3/8, 1/2, 3/4, 1, 1-1/2.
    #[arg(long, value_name = "DRIVE")]
    pub drive_in: Drive,
    /// Drive of the end towards the nut (the square); a socket has none.
    #[arg(long, value_name = "DRIVE")]
    pub drive_out: Option<Drive>,
    /// Length in millimetres.
    #[arg(long, value_name = "MM", value_parser = positive)]
    pub length_mm: Option<f64>,
    /// Mass in grams.
    #[arg(long, value_name = "G", value_parser = positive)]
    pub mass_g: Option<f64>,
    /// Serial number or mark.
    #[arg(long)]
    pub serial: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub by: By,
}

/// Puts it on the shelf.
///
/// # Errors
/// The API refuses it.
pub async fn add(add: &Add, context: &Context) -> Result<(), CliError> {
    let piece = Piece {
        name: add.name.clone(),
        kind: add.kind.kind(),
        drive_in: add.drive_in,
        drive_out: add.drive_out,
        length_mm: add.length_mm,
        mass_g: add.mass_g,
        serial: add.serial.clone(),
    };
    put(Kind::Piece, &add.name, &piece, &add.by, context).await
}
