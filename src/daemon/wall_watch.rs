//! Looks at both clocks several times a second and says when the wall clock was stepped.
//!
//! What a step means for a run is decided in `rig.rs`; must not touch a rig.

use super::wall::{Step, Wall, look};
use std::sync::Arc;
use std::time::Duration;
use tokio::time::{MissedTickBehavior, interval};

/// How often both clocks are looked at.
const EVERY: Duration = Duration::from_millis(100);

/// Watches for ever; the task is dropped at the end of the program.
pub async fn run(wall: Arc<Wall>) {
    let mut ticks = interval(EVERY);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        ticks.tick().await;
        if let Some(step) = wall.observe(look()) {
            log(step);
        }
    }
}

/// One line for one step.
pub fn log(step: Step) {
    let by_s = step.by_ns as f64 * 1e-9;
    tracing::warn!(
        "the wall clock was stepped by {by_s:+.3} s: runs going on are flagged clock-suspect, durations are not affected"
    );
}
