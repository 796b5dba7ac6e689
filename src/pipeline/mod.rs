//! frames..results as one object: `push(Input) -> Vec<Output>`.
//!
//! Pure: no IO, no thread, no clock, no settings files. One recording pushed again gives byte-equal
//! results anywhere. Timeouts and polls are `Input::Tick` and `Output::Send`.

pub mod blocks;
pub mod flow;
pub mod messages;
pub mod replay;

// pub use flow::Pipeline;
pub use messages::{Block, Counters, Event, Fault, Input, LinkState, Output, RunRow, Settings, Thin};
