//! A reading that jumps away, sticks and comes back: a fault of the line or the converter, no tension.
//!
//! A loose plug or a disturbed supply shows the rail, zero or the floor for some tens of milliseconds while the
//! tool drives on. Tension cannot do that: a bolt does not let go and take up the same tension again at once.
//! What was read meanwhile counts as missing, so that the run goes on and is flagged. Must not know why.

use super::{Finder, State};
use crate::stats::median_of;

/// Longer than this no fault of a line is taken for one: the reading then is what it says, seconds.
const GLITCH_MAX_S: f64 = 0.25;
/// A stuck reading shorter than this is ringing (two cycles of 70 Hz) or a wild sample, which other rules know,
/// seconds.
const GLITCH_MIN_S: f64 = 0.03;
/// A converter's own filter (third and fourth order sinc) takes this many samples to settle on a jump.
const SETTLES: usize = 4;
/// The jump is at least this share of the tension reached, and this many start thresholds.
const JUMP_SHARE: f64 = 0.3;
/// See `JUMP_SHARE`.
const JUMP_THRESHOLDS: f64 = 10.0;
/// A stuck reading moves by less than this share of the jump.
const STUCK_SHARE: f64 = 0.05;
/// It comes back to the tension before it within this share of that tension.
const BACK_SHARE: f64 = 0.15;

/// What the newest samples show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Glitch {
    /// Nothing of the kind.
    None,
    /// The reading has jumped and stands still, for less than the longest glitch.
    Perhaps,
    /// It came back: offsets in what is kept, first to past the last.
    Over(usize, usize),
}

impl Finder {
    /// Looks at the newest samples, where one of them has jumped; `base` and `reached` in newtons.
    pub(super) fn glitch(&mut self, base: f64, reached: f64) -> Glitch {
        let height = (JUMP_SHARE * (reached - base)).max(JUMP_THRESHOLDS * self.threshold);
        let x = &self.kept;
        let block = x.len().saturating_sub(self.grid as usize + SETTLES);
        let later = x.get(block + SETTLES - 1..).unwrap_or(&[]);
        // All of them, since that takes less time than asking after each.
        if later.iter().zip(&x[block..]).fold(false, |any, (b, a)| any | (f64::from((b - a).abs()) > height)) {
            self.jumped = Some(self.next);
        }
        let reach = ((GLITCH_MAX_S * self.rate_hz) as usize).max(2 * SETTLES) + 2 * self.grid as usize;
        match self.jumped {
            Some(at) if self.next - at <= reach as u64 => self.stuck(x.len().saturating_sub(reach), height),
            _ => Glitch::None,
        }
    }

    fn stuck(&self, from: usize, height: f64) -> Glitch {
        let x = &self.kept;
        let moved = |a: usize, b: usize| f64::from((x[b] - x[a]).abs());
        let shortest = ((GLITCH_MIN_S * self.rate_hz) as usize).max(2);
        let longest = (GLITCH_MAX_S * self.rate_hz) as usize;
        let median = |range: std::ops::Range<usize>| median_of(&x[range]);
        let mut i = from + SETTLES;
        while i < x.len() {
            if moved(i - SETTLES + 1, i) <= height {
                i += 1;
                continue;
            }
            let start = i - SETTLES + 1;
            // The jump may still settle: what it sticks at is read behind that.
            let still = (i + SETTLES).min(x.len() - 1);
            let end = (still..x.len()).find(|k| moved(still, *k) > STUCK_SHARE * height).unwrap_or(x.len());
            if end == x.len() {
                return if end - start <= longest { Glitch::Perhaps } else { Glitch::None };
            }
            let back = end + 2 * SETTLES;
            if end - start >= shortest && end - start <= longest {
                if back + shortest > x.len() {
                    return Glitch::Perhaps;
                }
                let before = median(start.saturating_sub(2 * shortest)..start + 1);
                let after = median(end + SETTLES..back + shortest);
                let stuck = median(still..end);
                if let (Some(before), Some(stuck), Some(after)) = (before, stuck, after)
                    && (after - before).abs() < BACK_SHARE * height / JUMP_SHARE
                    && (stuck - before).abs() > height
                    && (stuck - after).abs() > height
                {
                    return Glitch::Over(start + 1, end + SETTLES);
                }
            }
            i = end.max(i + 1);
        }
        Glitch::None
    }

    /// Takes out what was read meanwhile: it counts as missing.
    pub(super) fn bridge(&mut self, from: usize, to: usize) {
        let last = self.kept[from - 1];
        self.kept[from..to].fill(last);
        let at = self.kept_first + from as u64;
        let place = self.missing.partition_point(|(other, _)| *other < at);
        self.missing.insert(place, (at, to - from));
        self.clipped.retain(|c| !(at..at + (to - from) as u64).contains(c));
        self.jumped = None;
    }

    /// Whether a reading that may be stuck keeps the finder from deciding now.
    pub(super) fn glitches(&mut self) -> bool {
        let reached = match &self.state {
            State::Driving { best, .. } => *best,
            State::Announced { after, .. } => self.zero + after.reference(),
            State::Candidate { .. } => self.zero,
            _ => return false,
        };
        match self.glitch(self.zero, reached) {
            Glitch::None => false,
            Glitch::Perhaps => true,
            Glitch::Over(from, to) => {
                self.bridge(from, to);
                false
            }
        }
    }
}
