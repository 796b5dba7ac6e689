//! boltscribe: finds, times and measures every run of a tightening tool on a bolt-tension rig.
//!
//! A facade: each name below is a crate, or a part of one, under `src`. Data flows one way: serial -> signal ->
//! pipeline -> store -> {http, cli}; which crate may know which is in their manifests and so held by cargo.

pub use boltscribe_analysis::{compare, metrology, results, trial};
pub use boltscribe_cli as cli;
pub use boltscribe_daemon as daemon;
pub use boltscribe_export as export;
pub use boltscribe_forward as forward;
pub use boltscribe_http as http;
pub use boltscribe_model::{constants, control, setups, time, units};
pub use boltscribe_numerics as numerics;
pub use boltscribe_pipeline as pipeline;
pub use boltscribe_report as report;
pub use boltscribe_serial as serial;
pub use boltscribe_settings as settings;
pub use boltscribe_signal::{capture, frames, runs, samples, tension};
pub use boltscribe_store as store;
pub use boltscribe_tables::{files, line_protocol};
