//! A reading that jumps away, sticks and comes back: a fault of the line or the converter, no tension.
//!
//! A loose plug or a disturbed supply shows the rail, zero or the floor for some tens of milliseconds while the
//! tool drives on. Tension cannot do that: a bolt does not let go and take up the same tension again at once.
//! What was read meanwhile counts as missing, so that the run goes on and is flagged. Pure, so that stored samples
//! give the same again. Must not know why it happened.

use boltscribe_numerics::median_of;
use std::ops::Range;

/// Longer than this no fault of a line is taken for one: the reading then is what it says, seconds.
pub const LONGEST_S: f64 = 0.25;
/// A stuck reading shorter than this is ringing (two cycles of 70 Hz) or a wild sample, which other rules know,
/// seconds.
const SHORTEST_S: f64 = 0.03;
/// A converter's own filter (third and fourth order sinc) takes this many samples to settle on a jump.
pub const SETTLES: usize = 4;
/// The jump is at least this share of the tension before it.
const JUMP_SHARE: f64 = 0.3;
/// And this many start thresholds.
const JUMP_THRESHOLDS: f64 = 10.0;
/// A stuck reading moves by less than this share of the jump.
const STUCK_SHARE: f64 = 0.05;
/// It comes back to the tension before it within this share of that tension.
const BACK_SHARE: f64 = 0.15;

/// What the samples show.
#[derive(Clone, Debug, PartialEq)]
pub enum Glitch {
    /// Nothing of the kind.
    None,
    /// The reading has jumped at this offset and stands still, for less than the longest glitch.
    Perhaps(usize),
    /// It came back: these samples are false.
    Over(Range<usize>),
}

/// How tension is judged.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    /// Samples a second.
    pub rate_hz: f64,
    /// What stands without load, newtons.
    pub base_n: f64,
    /// The start threshold above it, newtons.
    pub threshold_n: f64,
}

impl Scale {
    fn height(&self, before: f64) -> f64 {
        (JUMP_SHARE * (before - self.base_n).abs()).max(JUMP_THRESHOLDS * self.threshold_n)
    }

    /// Whether any sample of a stretch has jumped by what could be a glitch; cheap.
    #[must_use]
    pub fn jumps(&self, x: &[f32]) -> bool {
        let least = (JUMP_THRESHOLDS * self.threshold_n) as f32;
        x.windows(SETTLES).any(|w| (w[SETTLES - 1] - w[0]).abs() > least)
    }
}

/// The first glitch at or behind offset `from`.
#[must_use]
pub fn find(x: &[f32], scale: Scale, from: usize) -> Glitch {
    let moved = |a: usize, b: usize| f64::from((x[b] - x[a]).abs());
    let shortest = ((SHORTEST_S * scale.rate_hz) as usize).max(2);
    let longest = (LONGEST_S * scale.rate_hz) as usize;
    let median = |range: Range<usize>| median_of(&x[range]).unwrap_or(0.0);
    let mut i = from + SETTLES;
    while i < x.len() {
        let start = i + 1 - SETTLES;
        if moved(start, i) <= JUMP_THRESHOLDS * scale.threshold_n {
            i += 1;
            continue;
        }
        let before = median(start.saturating_sub(2 * shortest)..start + 1);
        let height = scale.height(before);
        if moved(start, i) <= height {
            i += 1;
            continue;
        }
        // The jump may still settle: what it sticks at is read behind that.
        let still = (i + SETTLES).min(x.len() - 1);
        let end = (still..x.len()).find(|k| moved(still, *k) > STUCK_SHARE * height).unwrap_or(x.len());
        if end == x.len() {
            return if end - start <= longest { Glitch::Perhaps(start) } else { Glitch::None };
        }
        let back = end + 2 * SETTLES;
        if end - start >= shortest && end - start <= longest {
            if back + shortest > x.len() {
                return Glitch::Perhaps(start);
            }
            let (stuck, after) = (median(still..end), median(end + SETTLES..back + shortest));
            if (after - before).abs() < BACK_SHARE * height / JUMP_SHARE
                && (stuck - before).abs() > height
                && (stuck - after).abs() > height
            {
                return Glitch::Over(start + 1..end + SETTLES);
            }
        }
        i = end.max(i + 1);
    }
    Glitch::None
}

/// All glitches behind offset `from`, ascending.
#[must_use]
pub fn all(x: &[f32], scale: Scale, from: usize) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = Vec::new();
    let mut at = from;
    while let Glitch::Over(range) = find(x, scale, at) {
        at = range.end;
        found.push(range);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const SCALE: Scale = Scale { rate_hz: 1000.0, base_n: 0.0, threshold_n: 300.0 };

    /// 60 kN with a little ripple, and `ms` at `stuck` newtons from 500 ms on; then `after`.
    fn reading(stuck: f32, ms: usize, after: f32) -> Vec<f32> {
        let ripple = |i: usize| [0.0, 9.0, -6.0, 3.0, -9.0][i % 5];
        (0..1500)
            .map(|i| match i {
                500.. if i < 500 + ms => stuck,
                500.. => after + ripple(i),
                _ => 60_000.0 + ripple(i),
            })
            .collect()
    }

    #[test]
    fn a_reading_at_the_rail_at_zero_or_at_the_floor_that_comes_back_is_found() {
        for stuck in [200_000.0, 0.0, -200_000.0] {
            for ms in [50, 100, 150] {
                let found = all(&reading(stuck, ms, 60_000.0), SCALE, 0);
                assert_eq!(found.len(), 1, "{stuck} N for {ms} ms");
                assert!(found[0].start <= 500 && found[0].end >= 500 + ms, "{:?}", found[0]);
            }
        }
    }

    #[test]
    fn a_release_and_a_reading_that_stays_away_are_no_glitch() {
        assert!(all(&reading(0.0, 100, 0.0), SCALE, 0).is_empty());
        assert!(all(&reading(0.0, 400, 60_000.0), SCALE, 0).is_empty(), "a bolt let go and tightened");
        assert!(all(&reading(30_000.0, 100, 20_000.0), SCALE, 0).is_empty(), "let go in two steps");
    }

    #[test]
    fn what_has_just_jumped_may_still_come_back() {
        let x = reading(0.0, 100, 60_000.0);
        assert!(matches!(find(&x[..560], SCALE, 0), Glitch::Perhaps(_)));
        assert!(matches!(find(&x[..605], SCALE, 0), Glitch::Perhaps(_)));
        assert_eq!(find(&reading(0.0, 400, 60_000.0)[..850], SCALE, 0), Glitch::None, "too long by now");
    }
}
