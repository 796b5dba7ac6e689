//! Forwarding: what the store holds of runs, to a central time-series store that many rigs share.
//!
//! Knows the store's outbox and nothing else of this program; must not know pipelines or the page. It reads no
//! clock: it is given one.

pub mod answer;
pub mod backoff;
mod batch;
#[cfg(feature = "forward")]
mod bounded;
pub mod courier;
pub mod points;
pub mod settings;
pub mod state;
pub mod token;
pub mod transport;

pub use courier::{Clock, Courier, Now, Wires};
pub use settings::Settings;
pub use state::{Board, Condition, State};
#[cfg(feature = "forward")]
pub use transport::Influx;
pub use transport::{Start, Transport};
