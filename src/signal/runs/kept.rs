//! The samples kept for one run, and medians over stretches of time.
//!
//! Must not know what is measured on them, nor how long they are kept.

use super::record::Timing;
use boltscribe_model::units::Newtons;
use boltscribe_numerics::{median_of, robust_sd, scaled_mad};
use std::ops::Range;

/// The variance of rounding is the square of a code divided by this: that of a uniform distribution.
pub const ROUNDING_VARIANCE: f64 = 12.0;

/// What a run is measured from. Offsets count from the first kept sample.
#[derive(Clone, Debug)]
pub struct Kept<'a> {
    /// Tension in newtons in the calibration's terms, evenly spaced; missing samples repeat the last.
    pub samples: &'a [f32],
    /// Index in the stream of the first of them.
    pub first_sample: u64,
    /// Samples a second.
    pub rate_hz: f64,
    /// Offset at which the low-passed tension crossed the start threshold for good.
    pub crossing: usize,
    /// Offset from which samples before the crossing are idle.
    pub idle_from: usize,
    /// Missing samples: (offset, how many), ascending.
    pub missing: &'a [(usize, usize)],
    /// Offsets of samples at the end of the converter's range, ascending.
    pub clipped: &'a [usize],
    /// Clock of the samples.
    pub timing: Timing,
    /// The rig's zero, where one is known.
    pub rig_zero: Option<Newtons>,
    /// No more samples of this run will come.
    pub ended: bool,
    /// The recording broke off or the device restarted.
    pub interrupted: bool,
}

/// Evenly spaced tension with its rate: the arithmetic between offsets and seconds.
#[derive(Clone, Copy, Debug)]
pub struct Wave<'a> {
    /// Newtons.
    pub x: &'a [f32],
    /// Samples a second.
    pub rate_hz: f64,
}

impl Wave<'_> {
    /// Offset of a time in seconds from the first sample, clamped into the samples.
    #[must_use]
    pub fn offset(&self, seconds: f64) -> usize {
        ((seconds * self.rate_hz).round().max(0.0) as usize).min(self.x.len())
    }

    /// Offsets of a stretch of time in seconds.
    #[must_use]
    pub fn range(&self, from_s: f64, to_s: f64) -> Range<usize> {
        let start = self.offset(from_s);
        start..self.offset(to_s).max(start)
    }

    /// Median over offsets; none where the stretch is empty.
    #[must_use]
    pub fn median(&self, range: Range<usize>) -> Option<f64> {
        median_of(&self.x[range])
    }

    /// 1.4826 × MAD about the median over offsets.
    #[must_use]
    pub fn noise(&self, range: Range<usize>) -> f64 {
        let Some(centre) = self.median(range.clone()) else {
            return 0.0;
        };
        scaled_mad(&mut some(&self.x[range]), centre).unwrap_or(0.0)
    }

    /// SD of single samples over offsets, blind to outliers and true for coarse converters.
    #[must_use]
    pub fn sample_noise(&self, range: Range<usize>) -> f64 {
        let Some(centre) = self.median(range.clone()) else { return 0.0 };
        robust_sd(&mut some(&self.x[range.clone()]), centre).unwrap_or(0.0).max(rounding(&self.x[range]))
    }

    /// Time average over [from, to] seconds, each sample standing for one spacing around itself; none
    /// where the stretch leaves the samples.
    #[must_use]
    pub fn average(&self, from_s: f64, to_s: f64) -> Option<f64> {
        let from = from_s * self.rate_hz + 0.5;
        let to = to_s * self.rate_hz + 0.5;
        if !(from >= 0.0 && to > from && to <= self.x.len() as f64) {
            return None;
        }
        let (first, last) = (from.floor() as usize, (to.ceil() as usize).min(self.x.len()));
        let mut sum = 0.0;
        for (i, x) in self.x[first..last].iter().enumerate() {
            let left = (first + i) as f64;
            let weight = (to.min(left + 1.0) - from.max(left)).max(0.0);
            sum += weight * f64::from(*x);
        }
        Some(sum / (to - from))
    }
}

/// Most samples that an estimate of noise is made of: that of 4096 is off by one part in ninety.
const NOISE_SAMPLES: usize = 4096;

/// Evenly spread ones of many samples, `most` of them.
pub fn thinned(x: &[f32], most: usize) -> impl Iterator<Item = f64> {
    x.iter().step_by(x.len().div_ceil(most).max(1)).map(|v| f64::from(*v))
}

/// As many as an estimate of noise needs.
#[must_use]
pub fn some(x: &[f32]) -> Vec<f64> {
    thinned(x, NOISE_SAMPLES).collect()
}

/// The SD that rounding to codes leaves (a code over the root of 12), newtons: a code is the smallest step
/// between neighbours that is none.
#[must_use]
pub fn rounding(x: &[f32]) -> f64 {
    // Smallest differences side by side, so that the search is one pass of a few instructions.
    let mut least = [f32::INFINITY; STEPS];
    let later = x.get(1..).unwrap_or(&[]);
    let (mut a, mut b) = (x[..later.len()].chunks_exact(STEPS), later.chunks_exact(STEPS));
    let smaller = |least: &mut f32, a: f32, b: f32| {
        let step = (b - a).abs();
        let step = if step > 0.0 { step } else { f32::INFINITY };
        *least = if step < *least { step } else { *least };
    };
    for (a, b) in a.by_ref().zip(b.by_ref()) {
        for ((least, a), b) in least.iter_mut().zip(a).zip(b) {
            smaller(least, *a, *b);
        }
    }
    for (a, b) in a.remainder().iter().zip(b.remainder()) {
        smaller(&mut least[0], *a, *b);
    }
    let code = f64::from(least.into_iter().fold(f32::INFINITY, f32::min));
    if code.is_finite() { code / ROUNDING_VARIANCE.sqrt() } else { 0.0 }
}

/// Differences that are compared side by side.
const STEPS: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn average_of_a_ramp_is_its_middle_whatever_the_fractions() {
        let x: Vec<f32> = (0..1000).map(|i| i as f32).collect();
        let w = Wave { x: &x, rate_hz: 100.0 };
        for (from, to) in [(1.0, 2.0), (1.003, 2.0371), (3.5, 3.5123)] {
            let middle = 0.5 * (from + to) * 100.0;
            // Within one sample the stair of a sample's own width differs from the ramp by under 1/8.
            assert!((w.average(from, to).unwrap() - middle).abs() < 0.13);
        }
        assert_eq!(w.average(9.0, 11.0), None);
        assert_eq!(w.average(-0.1, 1.0), None);
    }
}
