//! The shelf as it is shown.
//!
//! Documents go out as they are stored, checked by the rules of their kind when they came in; the types here say
//! what that makes of them. Must not know the rules.

use boltscribe_model::setups::{Chain, Piece, Source, TestBolt, Tool};
use boltscribe_store::Uses;
use serde::Serialize;
use utoipa::ToSchema;

/// A document of the shelf, by its kind.
#[derive(Debug, Serialize, ToSchema)]
#[serde(untagged)]
pub enum ShelfDocument {
    /// Of `pieces`.
    Piece(Piece),
    /// Of `setups`.
    Setup(Chain),
    /// Of `tools`.
    Tool(Tool),
    /// Of `sources`.
    Source(Source),
    /// Of `bolts`.
    Bolt(TestBolt),
}

/// What stands on a shelf, by name.
#[derive(Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ShelfList {
    /// Pieces.
    Pieces(Vec<PieceOnShelf>),
    /// Setups.
    Setups(Vec<SetupOnShelf>),
    /// Tools.
    Tools(Vec<ToolOnShelf>),
    /// Energy sources.
    Sources(Vec<SourceOnShelf>),
    /// Test bolts.
    Bolts(Vec<BoltOnShelf>),
}

macro_rules! on_shelf {
    ($($(#[$doc:meta])* $name:ident, $kind:ty;)*) => {
        $(
            $(#[$doc])*
            #[derive(Debug, Serialize, ToSchema)]
            pub struct $name {
                #[serde(flatten)]
                document: $kind,
                /// How often it was used; only where that was asked for.
                #[serde(skip_serializing_if = "Option::is_none")]
                #[schema(nullable = false)]
                uses: Option<Uses>,
            }
        )*
    };
}

on_shelf!(
    /// A piece.
    PieceOnShelf, Piece;
    /// A setup.
    SetupOnShelf, Chain;
    /// A tool.
    ToolOnShelf, Tool;
    /// An energy source.
    SourceOnShelf, Source;
    /// A test bolt.
    BoltOnShelf, TestBolt;
);

/// What was taken off the shelf.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RemovedFromShelf)]
pub struct Removed {
    /// Its name.
    pub removed: String,
}
