//! The unfiltered band and its rise: where impacts show.
//!
//! A blow is a sudden departure followed by ringing that dies away. The tension is high-passed (so that
//! level and hum drop out), squared, and the mean of the squares just after each sample is compared with
//! the mean just before it. The difference, the *rise*, is greatest at an onset and negative while
//! ringing dies away, so a tail is never taken for a blow.

use super::kept::{ROUNDING_VARIANCE, rounding, some};
use super::lowpass::{Butterworth, State};
use boltscribe_numerics::robust_sd;
use std::ops::Range;

/// Corner of the high-pass, hertz; 0.12 of the rate where that is lower.
const CORNER_HZ: f64 = 120.0;
/// That part of the rate.
const CORNER_SHARE: f64 = 0.12;
/// Wilson and Hilferty: the variance of the cube root of a chi-square over its degrees of freedom n is 2/(9n).
const WILSON_HILFERTY: f64 = 9.0;
/// Length of the windows before and after, seconds; at least two samples.
const WINDOW_S: f64 = 0.003;
/// Longer windows for rings so slow that their energy rises within each half cycle: at least half a cycle of 150,
/// 80 and 50 Hz with something to spare, seconds.
pub const LONGER_S: [f64; 3] = [0.006, 0.010, 0.016];

/// A quiet converter that changes by one code puts a rise of 0.22 codes squared into the band at most; thresholds
/// are about twice the variance, so half a code keeps them above 0.5.
const FLIP_CODES: f64 = 0.5;

/// Samples whose rises are compared with a threshold together.
const BLOCK: usize = 32;

fn corner_hz(rate_hz: f64) -> f64 {
    CORNER_HZ.min(CORNER_SHARE * rate_hz)
}

/// Share by which a limit is lowered, so that the rounding of sums hides nothing.
const ROUNDED: f64 = 1e-9;
/// Periods of the corner after which the band knows nothing of what was before: 8.3 and some to spare.
const FORGOTTEN: f64 = 9.0;

/// The design of the band for one sampling rate.
#[derive(Clone, Copy, Debug)]
pub struct Band {
    filter: Butterworth<1>,
    /// Samples in each of the two windows.
    pub window: usize,
    /// Samples a second.
    pub rate_hz: f64,
}

impl Band {
    /// For `rate_hz` samples a second.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let window = ((WINDOW_S * rate_hz).round() as usize).max(2);
        Self { filter: Butterworth::highpass(corner_hz(rate_hz), rate_hz), window, rate_hz }
    }

    /// A state in which `x` is the level.
    #[must_use]
    pub fn settled_at(&self, x: f64) -> State<1> {
        self.filter.settled_at(x)
    }

    /// Samples into the band; `out` is given what comes out for each.
    #[inline]
    pub fn run(&self, state: &mut State<1>, tension: &[f32], out: impl FnMut(f64)) {
        self.filter.run(state, tension.iter().map(|x| f64::from(*x)), out);
    }

    /// Samples after which the band knows nothing of what was before: its poles die away as exp(−2π·fc·cos(45°)·t), to
    /// the last bit of double precision (2^-53) after 8.3/fc.
    #[must_use]
    pub fn forgets(&self) -> usize {
        (FORGOTTEN * self.rate_hz / corner_hz(self.rate_hz)).ceil() as usize
    }

    /// The band of `tension`, whose first sample is taken for the level before it.
    fn values(&self, tension: &[f32], band: &mut [f32]) {
        let state = self.settled_at(tension.first().copied().map_or(0.0, f64::from));
        self.filter.fill(state, tension, band, self.forgets());
    }

    /// The factor by which the mean of `window` squares of gaussian noise exceeds the variance
    /// as rarely as `z` standard deviations are.
    #[must_use]
    pub fn noise_factor(&self, z: f64) -> f64 {
        chi_square_mean(self.window, z)
    }
}

/// The mean of `n` squares of unit gaussian noise that is exceeded as rarely as `z` standard deviations
/// are: Wilson and Hilferty's cube (Abramowitz & Stegun 26.4.17).
#[must_use]
pub fn chi_square_mean(n: usize, z: f64) -> f64 {
    let v = 2.0 / (WILSON_HILFERTY * n as f64);
    let root = 1.0 - v + z * v.sqrt();
    root * root * root
}

/// What a single change of code puts into the band, newtons.
fn flip(raw: &[f32]) -> f64 {
    FLIP_CODES * ROUNDING_VARIANCE.sqrt() * rounding(raw)
}

/// Noise (SD) of a part of the band, as [`BandSignal::noise`]; `raw` is what the converter gave.
#[must_use]
pub fn noise_of(band: &[f32], raw: &[f32]) -> f64 {
    noise_at_least(band, flip(raw))
}

fn noise_at_least(band: &[f32], flip: f64) -> f64 {
    robust_sd(&mut some(band), 0.0).unwrap_or(0.0).max(flip)
}

/// The band of a whole stretch of samples, with sums of its squares.
#[derive(Clone, Debug)]
pub struct BandSignal {
    design: Band,
    values: Vec<f32>,
    squares: Vec<f64>,
    /// What a single change of code puts into the band, newtons.
    flip: f64,
}

impl BandSignal {
    /// Takes tension in newtons; `raw` is what the converter gave, from whose steps the size of a code is read.
    #[must_use]
    pub fn new(tension: &[f32], rate_hz: f64, raw: &[f32]) -> Self {
        Self::from(tension, rate_hz, raw, 0)
    }

    /// As [`BandSignal::new`], where nothing before offset `from` will be looked at: there the band is zero.
    #[must_use]
    pub fn from(tension: &[f32], rate_hz: f64, raw: &[f32], from: usize) -> Self {
        let design = Band::new(rate_hz);
        let (mut values, mut squares) = (vec![0.0; tension.len()], vec![0.0; tension.len() + 1]);
        let from =
            from.saturating_sub(design.forgets() + (LONGER_S[2] * rate_hz) as usize).min(tension.len());
        design.values(&tension[from..], &mut values[from..]);
        let mut sum = 0.0;
        for (square, b) in squares[1..].iter_mut().zip(&values).skip(from) {
            sum += f64::from(*b) * f64::from(*b);
            *square = sum;
        }
        Self { design, values, squares, flip: flip(raw) }
    }

    /// Compares windows of another length from now on, seconds.
    pub fn set_window(&mut self, window_s: f64) {
        self.design.window = ((window_s * self.design.rate_hz).round() as usize).max(2);
    }

    /// The design.
    #[must_use]
    pub fn design(&self) -> &Band {
        &self.design
    }

    /// Samples.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// No samples.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Noise (SD) of the band over `range`, newtons; blind to a few outliers. Never less than half a code, or a quiet
    /// rig's every change of code were a blow.
    #[must_use]
    pub fn noise(&self, range: Range<usize>) -> f64 {
        noise_at_least(&self.values[range], self.flip)
    }

    /// Mean square just after sample `i` minus the mean square just before it, newtons squared.
    #[must_use]
    pub fn rise(&self, i: usize) -> f64 {
        let w = self.design.window;
        let n = self.values.len();
        let after = self.squares[(i + w).min(n)] - self.squares[i];
        let before = self.squares[i] - self.squares[i.saturating_sub(w)];
        (after - before) / w as f64
    }

    /// Samples in `range` whose rise is above `threshold`, with it.
    pub fn rises_above(
        &self,
        range: Range<usize>,
        threshold: f64,
    ) -> impl Iterator<Item = (usize, f64)> + '_ {
        // Rounded down, so that none is missed.
        let sum = threshold * self.design.window as f64;
        let least = sum - ROUNDED * sum.abs();
        let blocks = range.clone().step_by(BLOCK).map(move |from| from..(from + BLOCK).min(range.end));
        blocks
            .filter(move |block| self.may_rise(block.clone(), least))
            .flatten()
            .map(|i| (i, self.rise(i)))
            .filter(move |(_, rise)| *rise > threshold)
    }

    /// Whether any sum of squares in a block rises by more than `least`.
    fn may_rise(&self, block: Range<usize>, least: f64) -> bool {
        let w = self.design.window;
        if block.start < w || block.end + w > self.values.len() {
            return true;
        }
        let (before, at) = (&self.squares[block.start - w..block.end - w], &self.squares[block.clone()]);
        let after = &self.squares[block.start + w..block.end + w];
        before.iter().zip(at).zip(after).fold(false, |any, ((a, b), c)| any | ((c - b) - (b - a) > least))
    }

    /// Mean square just after sample `i` is at least twice that just before it: an onset, not a tail.
    #[must_use]
    pub fn sharp(&self, i: usize) -> bool {
        let w = self.design.window;
        self.mean_square(i..i + w) > 2.0 * self.mean_square(i.saturating_sub(w)..i)
    }

    /// Mean square over `range`, newtons squared.
    #[must_use]
    pub fn mean_square(&self, range: Range<usize>) -> f64 {
        let end = range.end.min(self.values.len());
        let start = range.start.min(end);
        (self.squares[end] - self.squares[start]) / (end - start).max(1) as f64
    }

    /// Greatest departure of the band over `range`, newtons.
    #[must_use]
    pub fn excursion(&self, range: Range<usize>) -> f64 {
        let end = range.end.min(self.values.len());
        let start = range.start.min(end);
        f64::from(self.values[start..end].iter().fold(0.0_f32, |m, v| m.max(v.abs())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quiet_rig_has_at_least_the_noise_of_half_a_code() {
        // Half a second on one code, then a creep of one code of 0.05 N now and then.
        let x: Vec<f32> = (0..2000_u16).map(|i| f32::from(i.saturating_sub(500) / 40) * 0.05).collect();
        let band = BandSignal::new(&x, 1000.0, &x);
        let noise = band.noise(0..500);
        assert!((noise / 0.025 - 1.0).abs() < 1e-4, "{noise}");
        let threshold = noise * noise * (band.design().noise_factor(4.5) - 0.5);
        assert!((0..2000).all(|i| band.rise(i) <= threshold), "a change by one code is no blow");
        assert_eq!(BandSignal::new(&[1.0; 600], 1000.0, &[1.0; 600]).noise(0..500), 0.0);
    }
}
