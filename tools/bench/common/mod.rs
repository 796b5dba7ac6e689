//! What the benches share: a feed made beforehand, a line, the daemon, and what the kernel accounts.
//!
//! Must not know which figure is measured.

pub mod api;
pub mod daemon;
pub mod entropy;
pub mod feed;
pub mod figure;
pub mod kernel;
pub mod line;
