//! What idle looks like just now: zero and noise of the last half second, from thinned samples.
//!
//! README "What is measured": noise, start threshold. Must not know whether a run is open.

use crate::stats::{median, scaled_mad};
use std::collections::VecDeque;

/// Points kept at most over the half second.
const POINTS: usize = 512;
/// Fewest points that make an estimate.
const POINTS_MIN: usize = 4;

/// A running estimate of zero and noise.
#[derive(Clone, Debug)]
pub struct Idle {
    stride: usize,
    phase: usize,
    capacity: usize,
    points: VecDeque<(f32, f32)>,
}

impl Idle {
    /// For `rate_hz` samples a second.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let half = (0.5 * rate_hz).round().max(1.0) as usize;
        let stride = half.div_ceil(POINTS).max(1);
        Self { stride, phase: 0, capacity: (half / stride).max(POINTS_MIN), points: VecDeque::new() }
    }

    /// Takes a sample and its low-passed value, newtons.
    #[inline]
    pub fn push(&mut self, raw: f32, filtered: f32) {
        if self.phase == 0 {
            if self.points.len() == self.capacity {
                self.points.pop_front();
            }
            self.points.push_back((raw, filtered));
            self.phase = self.stride;
        }
        self.phase -= 1;
    }

    /// Whether the whole half second is filled.
    #[must_use]
    pub fn full(&self) -> bool {
        self.points.len() == self.capacity
    }

    /// Zero (median of the samples) and noise (1.4826 × MAD of the low-passed), newtons.
    #[must_use]
    pub fn estimate(&self) -> Option<(f64, f64)> {
        if self.points.len() < POINTS_MIN {
            return None;
        }
        let zero = median(&mut self.points.iter().map(|p| f64::from(p.0)).collect::<Vec<_>>())?;
        let mut filtered: Vec<f64> = self.points.iter().map(|p| f64::from(p.1)).collect();
        let centre = median(&mut filtered.clone())?;
        Some((zero, scaled_mad(&mut filtered, centre)?))
    }

    /// Starts anew.
    pub fn clear(&mut self) {
        self.points.clear();
        self.phase = 0;
    }
}
