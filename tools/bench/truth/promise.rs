//! What is promised, and which of it is not kept.
//!
//! Must not know how a figure is judged.

use crate::judge::{Came, Figure, Verdict};
use crate::tables::{BANDS, Tally, in_band};

/// Most that may be wrong and untold in any band of rates, percent.
const UNTOLD_PERCENT: [(Figure, f64); 6] = [
    (Figure::First, 0.3),
    (Figure::Held, 0.3),
    (Figure::Gate, 0.3),
    (Figure::Peak, 0.3),
    (Figure::Last, 0.8),
    (Figure::Count, 0.8),
];
/// Fewest counts given right where sampled this fast, percent.
const COUNTS_RIGHT_PERCENT: f64 = 65.0;
const COUNTS_FROM_HZ: f64 = 1000.0;

/// What is not kept, in words.
pub fn broken(verdicts: &[Verdict]) -> Vec<String> {
    let mut broken = Vec::new();
    for band in BANDS {
        for (figure, most) in UNTOLD_PERCENT {
            let tally = Tally::of(verdicts.iter().filter(|v| v.figure == figure && in_band(v.rate_hz, band)));
            let untold = tally.percent(Came::Untold);
            if untold > most {
                broken.push(format!(
                    "{} at {}: {untold:.2} % untold, promised at most {most} %",
                    figure.name(),
                    band.0
                ));
            }
        }
    }
    for figure in [Figure::Missed, Figure::Invented, Figure::Interrupted] {
        let n = verdicts.iter().filter(|v| v.figure == figure && v.came == Came::Untold).count();
        if n > 0 {
            broken.push(format!("{n} runs {}, promised none", figure.name()));
        }
    }
    let fast = verdicts.iter().filter(|v| v.figure == Figure::Count && v.rate_hz >= COUNTS_FROM_HZ);
    let tally = Tally::of(fast);
    let right = tally.percent(Came::Right);
    if tally.n > 0 && right < COUNTS_RIGHT_PERCENT {
        broken.push(format!(
            "{right:.1} % of counts right from {COUNTS_FROM_HZ} samples/s on, promised at least {COUNTS_RIGHT_PERCENT} %"
        ));
    }
    broken
}
