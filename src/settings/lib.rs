//! Settings in two steps: as typed (files, environment) and checked (each room's own Settings).
//!
//! Layers, later over earlier: built-in defaults, the file, variables BOLTSCRIBE__SECTION__KEY; rigs come
//! from the file and from one file each under the store's folder. Nothing is coerced, unknown keys are
//! refused, and a mistake never falls back to a default. This room must not know how the rooms work.

pub mod checked;
pub mod dial;
pub mod environment;
pub mod forward;
pub mod kinds;
pub mod limit;
pub mod load;
pub mod problem;
pub mod rig;
pub mod rig_file;
pub mod rules;
pub mod schema;
pub mod show;
pub mod typed;
pub mod walk;

pub use checked::{Daemon, Log, Settings, Store};
pub use load::{Loaded, RIGS_MAX};
pub use problem::{Place, Problem};
pub use rig::{Instrument, Line, Rig, parse_rig, rig_text};
pub use rig_file::{commented, remove_rig_file, rig_from_document, rig_path, write_rig_file};
pub use show::Shown;
