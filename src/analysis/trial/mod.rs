//! Trials: a planned comparison, walked step by step.
//!
//! Pure: a plan, what people said, and the runs so far go in; the next step and the warm-up's verdict come out.
//! Must not know storage, the network, or what time it is.

pub mod look;
pub mod mountings;
pub mod order;
pub mod plan;
pub mod progress;
pub mod second_drawing;
pub mod williams;

pub use look::{LookNow, look_now};
pub use mountings::Mountings;
pub use order::{Phase, Step, steps};
pub use plan::{Drawing, Fresh, Order, Plan, PlanError, is_fresh};
pub use progress::{Go, Progress, Said, Standing, Taken, progress};
