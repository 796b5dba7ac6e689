//! What idle looks like just now: zero and noise of the last half second, from thinned samples.
//!
//! the manual, "What is measured": noise, start threshold. Must not know whether a run is open.

use super::kept::rounding;
use boltscribe_numerics::{median, scaled_mad};
use std::collections::VecDeque;

/// Points kept at most over half a second.
const POINTS: usize = 512;
/// Fewest points that make an estimate.
const POINTS_MIN: usize = 4;
/// Half seconds kept.
const HALVES: usize = 3;

/// A running estimate of zero and noise.
///
/// Looks at the last half second and at the one that ended a second ago, and takes the lower: a slow tightening
/// drags the newer along and would never cross its own zero, while after a release the older one still holds the
/// falling tension.
#[derive(Clone, Debug)]
pub struct Idle {
    stride: usize,
    phase: usize,
    half: usize,
    points: VecDeque<(f32, f32)>,
}

impl Idle {
    /// For `rate_hz` samples a second.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let half = (0.5 * rate_hz).round().max(1.0) as usize;
        let stride = half.div_ceil(POINTS).max(1);
        Self { stride, phase: 0, half: (half / stride).max(POINTS_MIN), points: VecDeque::new() }
    }

    /// Takes a sample and its low-passed value, newtons.
    #[inline]
    pub fn push(&mut self, raw: f32, filtered: f32) {
        if self.phase == 0 {
            if self.points.len() == HALVES * self.half {
                self.points.pop_front();
            }
            self.points.push_back((raw, filtered));
            self.phase = self.stride;
        }
        self.phase -= 1;
    }

    /// Whether half a second is filled.
    #[must_use]
    pub fn full(&self) -> bool {
        self.points.len() >= self.half
    }

    /// Zero (median of the samples) and noise (1.4826 × MAD of the low-passed), newtons.
    #[must_use]
    pub fn estimate(&self) -> Option<(f64, f64)> {
        let n = self.points.len();
        if n < POINTS_MIN {
            return None;
        }
        let half = self.half.min(n);
        let newer = estimate(self.points.range(n - half..))?;
        if n < (HALVES - 1) * self.half {
            return Some(newer);
        }
        let older = estimate(self.points.range(..half))?;
        Some((newer.0.min(older.0), newer.1.min(older.1)))
    }

    /// How far the zero has moved between the half second that ended a second ago and the newest, newtons;
    /// none before one and a half seconds are filled.
    #[must_use]
    pub fn moved(&self) -> Option<f64> {
        if self.points.len() < HALVES * self.half {
            return None;
        }
        let newer = estimate(self.points.range(self.points.len() - self.half..))?;
        let older = estimate(self.points.range(..self.half))?;
        Some(newer.0 - older.0)
    }

    /// The SD that rounding to codes leaves, newtons: a threshold under a code or two would be crossed by noise.
    #[must_use]
    pub fn rounding(&self) -> f64 {
        let raw: Vec<f32> = self.points.iter().map(|p| p.0).collect();
        rounding(&raw)
    }

    /// Starts again with nothing known.
    pub fn clear(&mut self) {
        self.points.clear();
        self.phase = 0;
    }
}

fn estimate<'p>(points: impl Iterator<Item = &'p (f32, f32)> + Clone) -> Option<(f64, f64)> {
    let zero = median(&mut points.clone().map(|p| f64::from(p.0)).collect::<Vec<_>>())?;
    let mut filtered: Vec<f64> = points.map(|p| f64::from(p.1)).collect();
    let centre = median(&mut filtered.clone())?;
    Some((zero, scaled_mad(&mut filtered, centre)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fed(seconds: f64, newtons_per_s: f64) -> Idle {
        let mut idle = Idle::new(2000.0);
        for n in 0..(seconds * 2000.0) as usize {
            let x = (newtons_per_s * n as f64 / 2000.0) as f32;
            idle.push(x, x);
        }
        idle
    }

    #[test]
    fn movement_is_told_over_one_second_and_not_before_it_can_be_known() {
        assert_eq!(fed(1.4, 100.0).moved(), None);
        let moved = fed(3.0, 100.0).moved().unwrap();
        assert!((moved - 100.0).abs() < 1.0, "{moved}");
        assert_eq!(fed(3.0, 0.0).moved(), Some(0.0));
    }
}
