//! Measures a run whose recording was cut off, from what was stored of it.
//!
//! Must not know where it was stored, nor what the time is.

use super::messages::{Block, Settings};
use crate::results::{RunResult, result::Context};
use crate::runs::{Basis, Finder, Found, Record, Timing};
use crate::tension::Converter;

/// Measures a run from its `Open` block and its raw codes (in order); none where there is no
/// calibration, or the samples do not hold a run. It is marked interrupted unless it had ended.
#[must_use]
pub fn recover(settings: &Settings, open: &Block, raw: &[Block]) -> Option<RunResult> {
    let Block::Open { run_seq, first_sample, rate_hz, in_force } = open else {
        return None;
    };
    let calibration = settings.calibration.as_ref()?;
    let converter = Converter::new(calibration).ok()?;
    let timing = match settings.instrument {
        crate::frames::Settings::Lines(ref l) if l.tick_hz.is_none() => Timing::Host,
        _ => Timing::Device,
    };
    let finder = Finder::new(settings.runs.clone(), *rate_hz, timing, *first_sample, run_seq - 1);
    let (record, basis) = find(finder, &converter, raw)?;
    let context = Context {
        in_force: (**in_force).clone(),
        setup_changed: false,
        calibration: calibration.id.clone(),
        nominal: calibration.nominal,
    };
    let mut result = RunResult::new(*run_seq, record, context);
    result.basis = Some(basis);
    Some(result)
}

/// The first run that a finder makes of raw codes.
pub(super) fn find(mut finder: Finder, converter: &Converter, raw: &[Block]) -> Option<(Record, Basis)> {
    let (mut tension, mut clipped, mut found) = (Vec::new(), Vec::new(), Vec::new());
    for block in raw {
        let Block::Raw { counts, missing, .. } = block else {
            continue;
        };
        let mut from = 0;
        for (at, lacking) in missing.iter().map(|(at, n)| (*at as usize, *n as usize)) {
            converter.convert(&counts[from..at], &mut tension, &mut clipped);
            finder.push(&tension, &clipped, &mut found);
            from = at;
            // A finder that has seen no run yet would take the gap for a break and forget the start.
            if finder.open() {
                finder.gap(lacking as u64, &mut found);
                from += lacking;
            }
        }
        converter.convert(&counts[from..], &mut tension, &mut clipped);
        finder.push(&tension, &clipped, &mut found);
    }
    finder.break_off(&mut found);
    found.into_iter().find_map(|f| match f {
        Found::Announced { record, basis, .. } => Some((*record, basis)),
        _ => None,
    })
}
