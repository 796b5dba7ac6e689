//! boltscribe: finds, times and measures every run of a tightening tool on a bolt-tension rig.
//!
//! Data flows one way through the rooms below: port -> frames -> samples -> tension -> runs ->
//! results -> store -> {page, cli}. Each folder is one noun of that flow; what a room may import is
//! the table in DEVELOPERS.md, held by `cargo xtask tidy`.

// Leaves: may be imported by everyone.
pub mod capture;
pub mod constants;
pub mod control;
pub mod line_protocol;
pub mod stats;
pub mod time;
pub mod units;

// The pure rooms: no IO, no clock, no thread.
pub mod compare;
pub mod export;
pub mod files;
pub mod frames;
pub mod metrology;
pub mod pipeline;
pub mod results;
pub mod runs;
pub mod samples;
pub mod setups;
pub mod tension;
pub mod trial;

// The rooms that touch the world.
pub mod cli;
pub mod daemon;
pub mod forward;
pub mod page;
pub mod port;
pub mod report;
pub mod settings;
pub mod store;
