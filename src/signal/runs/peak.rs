//! The peak of a run: the greatest low-passed tension, and whether a single sample makes it.
//!
//! Wild samples that stand out of the ringing are removed before (`spikes`). One that does not may still carry the
//! peak, and nothing tells it from a blow; then the record says so. Must not know blows.

use super::held::Held;
use super::lowpass::Lowpass;
use super::study::{Span, Study};

/// What a single sample adds to the peak matters from this share of it on: half of what the peak may be off by where
/// ringing is sampled finely.
const MATTERS: f64 = 0.005;
/// Samples that stand out by this part of what the one at the peak does are its like.
const LIKE: f64 = 0.67;
/// More of its like a second than this belong to the signal: the slowest tools strike six times a second, and where
/// ringing is sampled coarsely a third of the blows show it.
const OFTEN_PER_S: f64 = 2.0;
/// Times the corner after which little of a sample is left in the low-passed tension: the slowest pole has fallen to
/// exp(-2 pi cos(67.5 deg) 2), one part in 120.
const LASTS: f64 = 2.0;

/// The peak above zero.
pub(super) struct Peak {
    /// Newtons.
    pub(super) tension_n: f64,
    /// Seconds from the first kept sample.
    pub(super) at_s: f64,
    /// A single sample makes it whose like hardly comes in this run.
    pub(super) unsure: bool,
}

impl Study<'_> {
    pub(super) fn peak(&self, span: &Span, held: &Held) -> Peak {
        let wave = self.wave();
        let range = wave.range(span.first_s + self.delay_s, held.end_s + self.delay_s);
        let start = range.start;
        let tension = self.filtered(range.clone());
        let Some((i, greatest)) = greatest(tension.iter().map(|y| f64::from(*y))) else {
            return Peak { tension_n: 0.0, at_s: span.first_s, unsure: false };
        };
        let tension_n = greatest - span.zero;
        Peak {
            tension_n,
            at_s: (start + i) as f64 / wave.rate_hz - self.delay_s,
            unsure: self.made_by_one(&tension, start, i, MATTERS * tension_n),
        }
    }

    /// Whether the greatest of the low-passed `tension` (from offset `start` on; newtons) would be lower by more than
    /// `most_n` without a single sample, and hardly another one in the run stands out as far.
    fn made_by_one(&self, tension: &[f32], start: usize, at: usize, most_n: f64) -> bool {
        let x = &self.repaired[..];
        let lasts = ((LASTS * self.rate_hz() / self.corner_hz) as usize).max(2);
        let stands_out = |k: usize| f64::from(x[k] - x[k - 1].max(x[k + 1]));
        let end = (start + at + 1).min(x.len() - 1);
        let near = (start + at).saturating_sub(lasts).max(1)..end;
        let Some(one) = near.max_by(|a, b| stands_out(*a).total_cmp(&stands_out(*b))) else { return false };
        let wild_n = f64::from(x[one]) - 0.5 * f64::from(x[one - 1] + x[one + 1]);
        if self.without(tension, start, one, wild_n, lasts) > f64::from(tension[at]) - most_n {
            return false;
        }
        let least = LIKE * stands_out(one);
        let inside = start.max(1)..(start + tension.len()).min(x.len() - 1);
        let seconds = (inside.len() as f64 / self.rate_hz()).max(1.0);
        (inside.filter(|k| stands_out(*k) >= least).count() as f64) < OFTEN_PER_S * seconds
    }

    /// The greatest low-passed tension if the sample `one` were lower by `wild_n`: the filter is linear.
    fn without(&self, tension: &[f32], start: usize, one: usize, wild_n: f64, lasts: usize) -> f64 {
        let filter = Lowpass::lowpass(self.corner_hz, self.rate_hz());
        let mut state = filter.settled_at(0.0);
        let mut response = Vec::with_capacity(lasts);
        let impulse = std::iter::once(1.0).chain(std::iter::repeat(0.0)).take(lasts);
        filter.run(&mut state, impulse, |h| response.push(h));
        let lowered = |(n, y): (usize, &f32)| {
            let share = (start + n).checked_sub(one).and_then(|k| response.get(k)).copied().unwrap_or(0.0);
            f64::from(*y) - share * wild_n
        };
        tension.iter().enumerate().map(lowered).fold(f64::MIN, f64::max)
    }
}

/// The greatest of some values and its place; the last of equals.
fn greatest(values: impl Iterator<Item = f64>) -> Option<(usize, f64)> {
    values.enumerate().max_by(|a, b| a.1.total_cmp(&b.1))
}
