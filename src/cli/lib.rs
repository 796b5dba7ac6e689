//! The command line: verbs that speak the HTTP API through one door.
//!
//! The door leads to a running daemon's socket, or to the same router in this process. Verbs must not
//! know which, nor open the store by themselves. Data goes to standard output, talk to standard error.

pub mod access;
pub mod analyze;
pub mod args;
pub mod ask;
pub mod calibrate;
pub mod caution;
pub mod compare;
pub mod context;
pub mod doctor;
pub mod door;
pub mod error;
pub mod export;
pub mod figures;
pub mod forward;
pub mod hints;
pub mod judge;
pub mod local;
pub mod manual;
pub mod measure;
pub mod output;
pub mod place;
pub mod plot;
pub mod report;
pub mod rig;
pub mod run;
pub mod runs;
pub mod setup;
pub mod shown;
pub mod sse;
pub mod store;
pub mod tension_entry;
pub mod trial;
pub mod unserved;
pub mod watch;

pub use run::main;
