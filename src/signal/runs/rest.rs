//! What a run counts from: the rest before its first blow, and whether it is surely that.
//!
//! the manual, "What is measured": zero. Must not know how the first blow is found.

use super::kept::Kept;
use super::starts::{self, Departure};
use super::study::{CROSSING_GUARD_S, Study};
use std::ops::Range;

/// On a ramp neighbouring pieces differ by a good part of what the newer differs from the half second, also where
/// it levels off: less than this part is none.
const STILL_SHARE: f64 = 0.05;
/// Where the half second scatters so many times as much as its end, tension moved in it.
const MOVED_NOISE: f64 = 5.0;
/// The last samples before an onset may belong to it, seconds.
const STILL_GUARD_S: f64 = 0.01;
/// An estimate of the first blow may be late by so much, seconds.
const EARLIER_S: f64 = 0.6;
/// And by one of so many parts of the start threshold.
const THRESHOLD_PARTS: f64 = 4.0;
/// Tension stands still right before a first blow for so long, twice, seconds.
pub(super) const STILL_S: f64 = 0.2;
/// Rest is the same as earlier within this many standard errors of a median; fewer samples than this tell nothing.
pub(super) const SAME_REST: (f64, usize) = (4.0, 4);

impl Study<'_> {
    /// When tension leaves the rest before it, seconds, and that rest in newtons: idle ends there, because tension
    /// may rise smoothly before the hammer starts.
    pub(super) fn departure(&self, earliest: usize) -> (Departure, f64) {
        let rough = before(self.kept, self.kept.crossing, CROSSING_GUARD_S);
        let (rest, noise) =
            (self.wave().median(rough.clone()).unwrap_or(0.0), self.wave().sample_noise(rough));
        (starts::first_unseen(self.wave(), self.kept.crossing, earliest, rest, noise), rest)
    }

    /// Offsets of what is idle before a run that leaves its rest at `end_s` and is struck first at `first_s`: half a
    /// second, less where tension moved in it. What stands still right before the first blow is its zero, also where
    /// a hand has just pulled the nut up; before a run-down it is what stood before that.
    pub(super) fn idle_before(&self, end_s: f64, first_s: f64) -> Range<usize> {
        let (wave, kept) = (self.wave(), self.kept);
        let half = before(kept, wave.offset(end_s), 0.0);
        let (Some(all), noise) = (wave.median(half.clone()), wave.sample_noise(half.clone())) else {
            return half;
        };
        let piece = |end_s: f64| {
            let end = wave.offset(end_s);
            end.saturating_sub((STILL_S * kept.rate_hz) as usize).max(kept.idle_from.min(end))..end
        };
        let doubt_of =
            |noise: f64, n: usize| SAME_REST.0 * starts::MEDIAN_SE * noise / (n.max(1) as f64).sqrt();
        let (late, later) = (piece(first_s - STILL_S), piece(first_s - STILL_GUARD_S));
        let (Some(a), Some(b)) = (wave.median(late.clone()), wave.median(later.clone())) else { return half };
        let n = later.len();
        let early = half.start..half.start + half.len() / 4;
        let falls = wave.median(early).is_some_and(|early| early > b);
        if n >= 4 && falls && noise > MOVED_NOISE * wave.sample_noise(later.clone()) {
            // A release has just ended: what is at rest is what is newest.
            return later;
        }
        let doubt = doubt_of(noise.min(wave.sample_noise(later.clone())), n);
        let moved = (b - all).abs() > doubt;
        let still = (b - a).abs() <= doubt.min(STILL_SHARE * (b - all).abs());
        if moved && n >= 3 && still {
            late.start..later.end
        } else if moved && b - all > 0.0 {
            self.before_the_rise(half, noise)
        } else {
            half
        }
    }

    /// Goes back by half seconds from a stretch in which tension rises to one in which it does not.
    pub(super) fn before_the_rise(&self, mut idle: Range<usize>, noise: f64) -> Range<usize> {
        let wave = self.wave();
        while idle.start > self.kept.idle_from + idle.len() / 2 {
            let earlier = before(self.kept, idle.start, 0.0);
            let (Some(a), Some(b)) = (wave.median(earlier.clone()), wave.median(idle.clone())) else { break };
            let doubt = SAME_REST.0 * starts::MEDIAN_SE * noise / (idle.len().max(1) as f64).sqrt();
            let quarter = earlier.len() / 4;
            let begins = wave.median(earlier.start..earlier.start + quarter);
            let falls = begins
                .zip(wave.median(earlier.end - quarter..earlier.end))
                .is_none_or(|(from, to)| from - to > doubt);
            // Tension that falls there is a release that has just ended, and no rest.
            if b - a <= doubt || falls {
                break;
            }
            idle = earlier;
        }
        idle
    }

    /// Whether the zero would be another one if the first blow lay earlier.
    pub(super) fn zero_unsure(&self, first_s: f64, zero: f64, raw_noise: f64) -> bool {
        let end = self.wave().offset(first_s - EARLIER_S);
        let earlier = before(self.kept, end, 0.0);
        let n = earlier.len();
        let most = self.settings.start_threshold().get() / THRESHOLD_PARTS
            + SAME_REST.0 * starts::MEDIAN_SE * raw_noise / (n.max(1) as f64).sqrt();
        n < SAME_REST.1 || self.wave().median(earlier).is_none_or(|other| (zero - other).abs() > most)
    }
}

/// Offsets of the 0.5 s of idle that ends `guard_s` before `offset`; what there is where that is less.
pub(super) fn before(kept: &Kept<'_>, offset: usize, guard_s: f64) -> Range<usize> {
    let half = (0.5 * kept.rate_hz).round() as usize;
    let guard = (guard_s * kept.rate_hz).round() as usize;
    let end = offset.saturating_sub(guard);
    let start = end.saturating_sub(half).max(kept.idle_from.min(end));
    if end - start >= 4 { start..end } else { offset.saturating_sub(half)..offset }
}
