//! Whether setups differ, what pieces cost, whether a tool meets a limit, how it has been.
//!
//! Pure functions of observations: a value, its time, what was coupled. Must not know storage, the network,
//! or where an observation came from.

pub mod acceptance;
pub mod answer;
pub mod arrangement;
pub mod bracket;
pub mod cells;
pub mod checks;
pub mod class_limit;
pub mod comparison;
mod compliance;
pub mod document;
pub mod equivalence;
pub mod estimable;
pub mod history;
pub mod looks;
pub mod mounting;
pub mod observation;
pub mod pieces;
pub mod pieces_answer;
pub mod pieces_document;
pub mod planning;
pub mod regression;
pub mod resolution;
pub mod simulation;
pub mod told;
pub mod told_design;
pub mod total;

pub use answer::{Comparison, DriftFound, SetupRow, Verdict};
pub use arrangement::{Arrangement, DriftLeft};
pub use class_limit::{ClassLimit, LimitUnit};
pub use comparison::compare;
pub use document::{Asked, Totals, of_setups};
pub use looks::Looks;
pub use observation::{CompareError, Drift, Observation, Question};
pub use pieces::{PieceEffects, PieceModel, piece_effects, piece_effects_by};
pub use pieces_document::of_pieces;
pub use told::{LeftOut, PiecesCompared, SetupCompared, SetupsCompared};
pub use total::{Common, total};
