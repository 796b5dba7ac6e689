//! The medians between blows, from which plateau and figures follow.
//!
//! Where blows are not seen each is over 0.1 s. Must not know what is worked out from them.

use super::blows::INTERVAL_UNSEEN_S;
use super::figures::{self, Input, Median};
use super::record::{Record, RunFlag};
use super::study::{Span, Study};
use boltscribe_model::units::Newtons;

/// Idle time that a run's zero is the median of, seconds.
const IDLE_S: f64 = 0.5;
/// Ringing takes one of so many parts of an interval.
const RINGING_PARTS: f64 = 3.0;

/// What stands on the bolt at the first blow is the median of so long before it, seconds: five periods of mains hum,
/// and short beside the run-down of a nut.
const STANDING_S: f64 = 0.1;

/// SD of the median of so many samples of gaussian noise: √(π/2) that of their mean.
fn median_noise(sample_noise: f64, samples: f64) -> f64 {
    (core::f64::consts::FRAC_PI_2 / samples.max(1.0)).sqrt() * sample_noise
}

impl Study<'_> {
    /// Medians between blows, or over 0.1 s where blows are not seen, and how many samples one rests on.
    fn medians(&self, span: &Span) -> (Vec<Median>, f64) {
        let wave = self.wave();
        // Where the counters of blows disagree, single blows are not to be built on.
        if let Some(pull) = span.pull.as_ref().filter(|_| span.opinion.count) {
            let onset_s = |i: usize| (self.series.onsets[i].index as f64 - 0.5) / wave.rate_hz;
            let one = |(i, level): (usize, &f64)| {
                let from_s = onset_s(i);
                let until_s = if i < pull.last { onset_s(i + 1) } else { from_s + span.interval_s };
                Median { from_s, at_s: 0.5 * (from_s + until_s), tension_n: level - span.zero }
            };
            // Ringing leaves two thirds of an interval to the median.
            let samples = 2.0 / RINGING_PARTS * span.interval_s * wave.rate_hz;
            return ((span.first..=pull.last).zip(&pull.levels).map(one).collect(), samples);
        }
        let steps = ((span.last_s - span.first_s) / INTERVAL_UNSEEN_S).floor() as usize;
        let one = |k: usize| {
            let from_s = span.first_s + k as f64 * INTERVAL_UNSEEN_S;
            let median = wave.median(wave.range(from_s, from_s + INTERVAL_UNSEEN_S))?;
            Some(Median { from_s, at_s: from_s + 0.5 * INTERVAL_UNSEEN_S, tension_n: median - span.zero })
        };
        ((0..steps).filter_map(one).collect(), INTERVAL_UNSEEN_S * wave.rate_hz)
    }

    /// Puts the plateau and what else follows from the medians to a record whose flags stand.
    pub(super) fn complete(&self, record: &mut Record, span: &Span) {
        let (medians, samples) = self.medians(span);
        let tensions_n: Vec<f64> =
            self.settings.tensions_kn.iter().map(|kn| Newtons::from_kn(*kn).get()).collect();
        let gates_s: Vec<Option<f64>> =
            record.gates.iter().map(|g| g.tension.is_some().then_some(g.after_s)).collect();
        let standing_s = STANDING_S.min(span.first_s);
        let before = self.wave().range(span.first_s - standing_s, span.first_s);
        let standing_n = self.wave().median(before).map_or(0.0, |f| f - span.zero);
        let interrupted = record.flags.contains(&RunFlag::Interrupted);
        let input = Input {
            medians: &medians,
            blows_seen: self.seen && span.opinion.count,
            blows_sure: !record.flags.contains(&RunFlag::BlowsWeak),
            interval_s: span.interval_s,
            median_noise_n: median_noise(span.raw_noise, samples),
            driven_s: span.first_s..span.last_s,
            spacing_s: 1.0 / self.kept.rate_hz,
            gates_s: &gates_s,
            tensions_n: &tensions_n,
            zero_shift_n: self.kept.rig_zero.map(|_| record.zero_shift.get()),
            zero_shift_limit_n: self.settings.zero_shift_limit().get(),
            zero_noise_n: median_noise(span.raw_noise, IDLE_S * self.kept.rate_hz),
            standing_n,
            standing_noise_n: median_noise(span.raw_noise, standing_s * self.kept.rate_hz),
            held_n: record.held.map(Newtons::get),
            torn: record.missing > 0
                || record.clipped > 0
                || interrupted
                || span.start_unsure
                || span.end_unsure,
        };
        (record.plateau, record.figures) = figures::measure(&input);
    }
}
