//! The runs of a trace.
//!
//! A trace goes through the same finder as a rig's line; must not know the store or torque.

use super::trace::Trace;
use boltscribe_signal::runs::{Closing, Finder, Found, Record, Settings, Timing};

/// A run with how it ended.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// The record; its times count from the trace's first sample.
    pub record: Record,
    /// How it ended.
    pub closing: Option<Closing>,
}

/// Finds and measures the runs of a trace.
#[must_use]
pub fn measure_trace(trace: &Trace, settings: &Settings) -> Vec<Measured> {
    let mut finder = Finder::new(settings.clone(), trace.spacing.rate_hz, Timing::Device, 0, 0);
    let mut found = Vec::new();
    let mut from = 0;
    for (row, missing) in &trace.spacing.gaps {
        finder.push(&trace.tension[from..*row], &[], &mut found);
        finder.gap(*missing, &mut found);
        from = *row;
    }
    finder.push(&trace.tension[from..], &[], &mut found);
    finder.break_off(&mut found);
    let mut runs: Vec<Measured> = Vec::new();
    for f in found {
        match f {
            Found::Announced { record, .. } => runs.push(Measured { record: *record, closing: None }),
            Found::Closed { closing, .. } => {
                if let Some(last) = runs.last_mut() {
                    last.closing = Some(closing);
                }
            }
            _ => {}
        }
    }
    runs
}
