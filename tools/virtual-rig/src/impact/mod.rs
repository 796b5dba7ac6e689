//! A second model of a rig, independent of the first: blows of a torsional chain that move the nut by
//! energy, a cell and a rig that ring, converters that filter, and some forty kinds of difficulty.
//!
//! `case` is what is drawn (`draw`, `families`), `motion` lets it happen (`law`, `curve`), `signal` is
//! the force seen, `chain` makes counts of it, and `truth` computes what is true of each run. Pure: one
//! seed gives the same counts everywhere. Must not know how a run is found or measured.

pub mod case;
mod chain;
mod curve;
mod draw;
mod families;
pub mod law;
mod motion;
mod play;
mod signal;
pub mod truth;

pub use case::Case;
pub use families::family_names;
pub use play::{Played, play};
pub use truth::ImpactRun;
