//! A trace measured as the daemon does: converted in pieces, found, broken off at the end.
//!
//! Must not know the truth.

use crate::trace::Trace;
use boltscribe::constants::Calibration;
use boltscribe::results::flags::{Flag, Verdict};
use boltscribe::runs::{Closing, Finder, Found, Record, Settings, Timing};
use boltscribe::tension::Converter;
use virtual_rig::impact::truth::GATES_S;

/// Samples handed over at a time: no divisor or multiple of the finder's grid.
const PIECE: usize = 977;

/// A measured run.
pub struct Measured {
    pub record: Record,
    pub closing: Option<Closing>,
}

impl Measured {
    /// Flags that leave it out of results.
    pub fn left_out(&self) -> bool {
        self.flags().any(|flag| flag.verdict() == Verdict::LeftOut)
    }

    /// All flags, those that showed after the announcement too.
    pub fn flags(&self) -> impl Iterator<Item = Flag> {
        let later = self.closing.iter().flat_map(Closing::told);
        self.record.flags.iter().copied().chain(later).map(Flag::from)
    }
}

/// Measures a trace.
pub fn measure(trace: &Trace) -> Vec<Measured> {
    let calibration = Calibration {
        id: "virtual".into(),
        coefficients_kn: vec![0.0, 1.0 / trace.counts_per_kn],
        nominal: false,
        range_kn: Some(trace.range_kn),
    };
    let Ok(mut converter) = Converter::new(&calibration) else { return Vec::new() };
    converter.set_range(trace.count_limits.0, trace.count_limits.1);
    let settings =
        Settings { gates_s: GATES_S.to_vec(), range_kn: Some(trace.range_kn), ..Settings::default() };
    let mut finder = Finder::new(settings, trace.rate_hz, Timing::Device, 0, 0);
    let (mut tension, mut clipped, mut found) = (Vec::new(), Vec::new(), Vec::new());
    for piece in trace.counts.chunks(PIECE) {
        converter.convert(piece, &mut tension, &mut clipped);
        finder.push(&tension, &clipped, &mut found);
    }
    finder.break_off(&mut found);
    let mut runs: Vec<(u32, Measured)> = Vec::new();
    for news in found {
        match news {
            Found::Announced { run, record, .. } => {
                runs.push((run, Measured { record: *record, closing: None }));
            }
            Found::Closed { run, closing } => {
                if let Some((_, measured)) = runs.iter_mut().find(|(number, _)| *number == run) {
                    measured.closing = Some(closing);
                }
            }
            _ => {}
        }
    }
    runs.into_iter().map(|(_, measured)| measured).collect()
}
