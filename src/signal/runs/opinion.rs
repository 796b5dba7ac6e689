//! What the second counter of blows and the level say of what the first counter found.
//!
//! Must not know what is given, null or flagged because of it (`study`, `measure`).

use super::blows::Onset;
use super::epochs::Epochs;
use super::rest::{STILL_S, before};
use super::starts;
use super::study::{CROSSING_GUARD_S, Study};

/// How much the two counters of blows may differ.
const COUNTERS_DIFFER: f64 = 0.01;
/// Where they differ by more, neither is believed.
const FAR: f64 = 0.1;
/// A run-down leaves at most this share of what the tool then reaches.
const RUN_DOWN_SHARE: f64 = 0.4;
/// So few onsets must agree to the last one.
const FEW: usize = 8;
/// Two onsets are the same blow within this part of an interval.
const NEAR: f64 = 0.3;
/// Unrest or growth so long after the last blow tells that blows go on, seconds.
const DRIVES_ON_S: f64 = 0.12;
/// What the second counter sees beside the pull, seconds.
const MARGIN_S: f64 = 0.3;
/// And at least this many intervals.
const MARGIN_INTERVALS: f64 = 3.0;
/// A pause between onsets ends what the second counter sees of a pull, intervals.
const COUNTER_PAUSE: f64 = 2.5;

/// Where the second, independent counter agrees with the first.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Opinion {
    /// In the number of blows, within 1 %.
    pub(super) count: bool,
    /// In the first blow: it sees that one and none in the intervals before it.
    pub(super) first: bool,
    /// In the last blow.
    pub(super) last: bool,
    /// The numbers differ by more than a tenth.
    pub(super) far: bool,
    /// Blows stood out, but the counters did not agree on them.
    pub(super) disagreed: bool,
    /// Its median interval, seconds; 0 where there is none.
    pub(super) interval_s: f64,
}

impl Study<'_> {
    /// Where tension left its rest at a step, an interval ahead of the first onset, that was a blow too faint for
    /// the band.
    pub(super) fn add_faint_first(&mut self, first: usize, departure_s: f64, rest: f64) {
        if self.seen && starts::steps_up(self.wave(), &self.series, first, departure_s, rest) {
            let index = self.wave().offset(departure_s) + 1;
            self.series.onsets.insert(first, Onset { index, rise: 0.0, excursion: 0.0 });
        }
    }

    /// Whether tension had risen by more than a run-down leaves before the first onset behind the crossing: blows
    /// before it were not seen.
    pub(super) fn driven_before(&self, first: usize, rest: f64) -> bool {
        let (wave, index) = (self.wave(), self.series.onsets[first].index);
        let piece = ((STILL_S * wave.rate_hz) as usize).max(3);
        let before = wave.median(index.saturating_sub(piece)..index).unwrap_or(rest);
        let later = (index..wave.x.len()).step_by(piece).filter(|at| at + piece <= wave.x.len());
        let greatest = later.filter_map(|at| wave.median(at..at + piece)).fold(before, f64::max);
        index > self.kept.crossing + piece && before - rest > RUN_DOWN_SHARE * (greatest - rest)
    }

    /// Whether the first blow can be told where blows are seen: tension stands at its zero before it and a step
    /// behind it; or it rose smoothly before (a run-down) and both counters begin there.
    pub(super) fn start_seen(&self, first: usize, opinion: Opinion, departure_s: f64, zero: f64) -> bool {
        let wave = self.wave();
        let carries = starts::carries(wave, &self.series, first);
        match starts::before_first(wave, &self.series, first, zero) {
            Some(starts::Before::AtZero) => carries,
            Some(starts::Before::Risen(height)) => {
                opinion.first && starts::rose_smoothly(wave, &self.series, first, departure_s, height)
            }
            None => false,
        }
    }

    /// What the independent counter says of a pull.
    pub(super) fn second_opinion(&self, first: usize, last: usize, surely_s: f64) -> Opinion {
        let onsets = &self.series.onsets[first..=last];
        let (from, to) = (onsets[0].index, onsets[onsets.len() - 1].index);
        let usual = self.series.interval_s * self.kept.rate_hz;
        let margin = (MARGIN_S * self.kept.rate_hz).max(MARGIN_INTERVALS * usual) as usize;
        let idle = before(self.kept, from, CROSSING_GUARD_S);
        let range = from.saturating_sub(margin)..(to + margin).min(self.repaired.len());
        let Some(epochs) = Epochs::find(&self.repaired, self.kept.rate_hz, idle, range) else {
            return Opinion { far: true, disagreed: true, ..Opinion::default() };
        };
        let reach = (NEAR * usual) as usize;
        let within = |from: usize, to: usize| epochs.at.iter().filter(|at| (from..=to).contains(*at)).count();
        let beside = |at: usize| within(at.saturating_sub(reach), at + reach) > 0;
        let others = within(from.saturating_sub(reach), to + reach);
        let most = (COUNTERS_DIFFER * onsets.len() as f64).floor();
        let pause = (COUNTER_PAUSE * usual) as usize;
        let off = (others as f64 - onsets.len() as f64).abs();
        let drives_on = surely_s
            > to as f64 / self.kept.rate_hz + (COUNTER_PAUSE * self.series.interval_s).max(DRIVES_ON_S);
        Opinion {
            count: off <= most && !drives_on,
            far: off > (FAR * onsets.len() as f64).max(if onsets.len() < FEW { 0.0 } else { 1.0 }),
            disagreed: off > most,
            interval_s: epochs.period / self.kept.rate_hz,
            first: beside(from) && within(from.saturating_sub(pause), from.saturating_sub(reach + 1)) == 0,
            last: beside(to) && within(to + reach + 1, to + pause) == 0 && !drives_on,
        }
    }
}
