//! Feeds a recording through a pipeline the way it came: the same results anywhere.
//!
//! Ticks are derived from the recorded times; must not know files or any clock.

use super::flow::{Pipeline, SetupError};
use super::messages::{Input, LinkState, Output, Settings};
use boltscribe_model::time::MonoNs;
use boltscribe_signal::capture::Entry;

/// The pipeline's clock ticks this often, nanoseconds: derived from the recorded times.
pub const TICK_NS: u64 = 50_000_000;

/// Feeds all entries, in order of time, and finishes.
///
/// # Errors
/// Settings that cannot be used.
pub fn replay<'e>(
    settings: Settings,
    entries: impl IntoIterator<Item = &'e (MonoNs, Entry)>,
) -> Result<(Vec<Output>, Pipeline), SetupError> {
    let mut pipeline = Pipeline::new(settings)?;
    let mut out = Vec::new();
    let mut tick: Option<u64> = None;
    for (at, entry) in entries {
        let at = *at;
        let mut next = tick.unwrap_or(at.0);
        while next < at.0 {
            pipeline.push_into(Input::Tick { at: MonoNs(next) }, &mut out);
            next += TICK_NS;
        }
        tick = Some(next);
        let input = match entry {
            Entry::Bytes(bytes) => Input::Bytes { at, bytes },
            Entry::Command(command) => Input::Command { at, command: command.clone() },
            Entry::Link { up: true } => Input::Link { at, state: LinkState::Up },
            Entry::Link { up: false } => Input::Link { at, state: LinkState::Down },
        };
        pipeline.push_into(input, &mut out);
    }
    pipeline.finish(&mut out);
    Ok((out, pipeline))
}
