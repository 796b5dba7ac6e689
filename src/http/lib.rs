//! The HTTP interface: what the command line and the browser see, under `/api/v1`; and the built page.
//!
//! Reads the store, writes through its writer, and asks [`Rigs`] for everything live. Must not know
//! ports, pipelines or the daemon, and reads no clock but the one it is given.

mod accept_query;
pub mod access;
mod attempts;
pub mod body;
mod budget_shown;
pub mod budgets;
pub mod built;
pub mod calibrating;
pub mod calibrations;
pub mod comparing;
mod comparison_query;
pub mod corrections;
mod coupled;
pub mod exporting;
mod exporting_samples;
pub mod figures;
pub mod forward;
mod gains;
pub mod guard;
pub mod health;
mod health_shown;
pub mod held_open;
pub mod history;
mod judged;
pub mod judging;
pub mod keeping;
pub mod limits;
pub mod live;
mod looks;
pub mod openapi;
pub mod paced;
pub mod problem;
pub mod readings;
pub mod recompute;
pub mod reporting;
pub mod rigs;
pub mod router;
mod run_shown;
pub mod runs;
pub mod serve;
pub mod session;
mod share_of;
pub mod shelf;
pub mod shelf_shown;
mod simulating;
pub mod socket;
pub mod state;
pub mod strict;
pub mod tags;
pub mod trace;
pub mod trial_lines;
mod trial_shown;
mod trial_state;
pub mod trials;
pub mod upkeep;
pub mod walking;

pub use forward::ForwardState;
pub use problem::Problem;
pub use rigs::{
    Hear, Heard, Identity, Later, Link, LiveMessage, News, PortState, Refusal, Reply, RigState, Rigs,
};
pub use router::router;
pub use state::State;
