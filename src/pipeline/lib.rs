//! frames..results as one object: `push(Input) -> Vec<Output>`.
//!
//! Pure: no IO, no thread, no clock, no settings files. One recording pushed again gives byte-equal
//! results anywhere. Timeouts and polls are `Input::Tick` and `Output::Send`.

pub mod again;
pub mod blocks;
pub mod flow;
pub mod live;
pub mod messages;
pub mod recover;
pub mod replay;
pub mod stream;

pub use again::{AgainError, With, again};
pub use flow::{Pipeline, SetupError};
pub use messages::{Block, Counters, Event, Fault, Input, LinkState, Output, RunRow, Settings, Thin};
pub use recover::recover;
pub use replay::replay;
