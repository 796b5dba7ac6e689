//! Bytes with the monotonic time of their arrival, from a serial port that comes and goes.
//!
//! Opening, locking, reading, writing and reopening of one port; the list of ports of this machine; the
//! one monotonic clock. A missing port is a state, never an exit. This room must not know what bytes
//! mean, nor anything about rigs.

pub mod backoff;
pub mod clock;
pub mod counters;
pub mod event;
pub mod hear;
pub mod holder;
pub mod list;
pub mod open;
pub mod reader;
pub mod settings;

pub use counters::{Counters, CountersNow};
pub use event::{PortError, PortEvent};
pub use hear::{HEARD_BYTES_MAX, hear};
pub use holder::Holder;
pub use list::{Denied, ListedPort, list_ports};
pub use reader::{READ_BYTES_MAX, SEND_BYTES_MAX, run};
pub use settings::Settings;
