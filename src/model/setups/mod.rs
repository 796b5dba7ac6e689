//! What stands between tool and nut, and what drives the tool: data and rules of fit.
//!
//! Pieces, chains of pieces (setups), tools, energy sources and test bolts, each with a `check` that
//! says in words what is wrong. Values are plain data with serde; JSON keys carry units.
//! This room must not know where any of it is stored, nor anything about runs.

pub mod bolt;
pub mod chain;
pub mod drive;
pub mod name;
pub mod piece;
pub mod source;
pub mod tool;

pub use bolt::{BoltError, GivenFactor, TestBolt};
pub use chain::{CHAIN_PIECES_MAX, Chain, FitError, Fitted, fit};
pub use drive::{Drive, DriveError, End, Gender};
pub use name::{NameError, TEXT_CHARS_MAX, check_text};
pub use piece::{Piece, PieceError, PieceKind};
pub use source::{Reading, Source, SourceError, SourceKind};
pub use tool::{Tool, ToolError};
