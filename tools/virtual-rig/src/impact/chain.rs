//! From force to counts: hum, the converter's filter, noise, wild samples, false codes, rounding.
//!
//! Force is taken on a fine grid of at least 24,000 points a second. The filter's delay is taken off, so that
//! sample k shows the force at k / rate. Must not know what the force means.

use super::case::{Case, Chain, Filter, Shows};
use super::motion::Motion;
use super::signal::Signal;
use crate::dice::Dice;
use crate::lowpass::Lowpass;
use core::f64::consts::TAU;

/// Points a second of the fine grid, at least.
const FINE_HZ: f64 = 24_000.0;
/// Samples of the fine grid before the first and after the last: more than the widest filter and its delay.
const BESIDE: usize = 6;
/// The converter reaches this much past the transducer's range.
const REACH: f64 = 1.2;

/// What the converter delivers.
pub(super) struct Sampled {
    pub counts: Vec<i32>,
    /// Filtered force without noise, hum, zero and rounding, kN.
    pub clean_kn: Vec<f64>,
}

impl Chain {
    /// Least and greatest code.
    pub(super) fn count_limits(&self) -> (i32, i32) {
        let half = 1_i32 << (self.bits - 1);
        (-half, half - 1)
    }

    /// Codes a kN.
    pub(super) fn counts_per_kn(&self) -> f64 {
        f64::from(self.count_limits().1) / (REACH * self.range_kn)
    }

    /// Share of a hum of `hz` that the filter lets through.
    pub(super) fn passes(&self, hz: f64, rate_hz: f64) -> f64 {
        let x = core::f64::consts::PI * hz / rate_hz;
        let mean = if x == 0.0 { 1.0 } else { (libm::sin(x) / x).abs() };
        match self.filter {
            Filter::Point => 1.0 / libm::sqrt(1.0 + libm::pow(hz / (0.4 * rate_hz), 8.0)),
            Filter::Boxcar => mean,
            Filter::Sinc3 => mean * mean * mean,
            Filter::Sinc4 => mean * mean * mean * mean,
        }
    }
}

/// Samples a whole trace.
pub(super) fn sample(case: &Case, motion: &Motion) -> Sampled {
    let rate_hz = case.rate_hz;
    let samples = (libm::floor(motion.end_s * rate_hz) as usize).max(1);
    // An even number, so that a mean over one sample lies about its middle.
    let finer = 2 * (libm::ceil(FINE_HZ / rate_hz / 2.0) as usize).max(1);
    let fine_hz = rate_hz * finer as f64;
    let from_s = (0.5 - (BESIDE * finer) as f64) / fine_hz;
    let mut fine = vec![0.0; (samples + 2 * BESIDE) * finer];
    Signal::new(case, motion).fill(from_s, 1.0 / fine_hz, &mut fine);
    let clean_kn = filtered(case.chain.filter, rate_hz, finer, samples, &fine);
    let counts = counts(case, motion, &clean_kn);
    Sampled { counts, clean_kn }
}

/// Fine point `BESIDE` x finer + k x finer - 0.5 is the time of sample k.
fn filtered(filter: Filter, rate_hz: f64, finer: usize, samples: usize, fine: &[f64]) -> Vec<f64> {
    let order = match filter {
        Filter::Point => return points(rate_hz, finer, samples, fine),
        Filter::Boxcar => 1,
        Filter::Sinc3 => 3,
        Filter::Sinc4 => 4,
    };
    let mut kernel = vec![1.0];
    for _ in 0..order {
        let mut wider = vec![0.0; kernel.len() + finer - 1];
        for (i, weight) in kernel.iter().enumerate() {
            wider[i..i + finer].iter_mut().for_each(|sum| *sum += weight / finer as f64);
        }
        kernel = wider;
    }
    let middle = BESIDE * finer;
    (0..samples)
        .map(|k| {
            let first = middle + k * finer - kernel.len() / 2;
            kernel.iter().zip(&fine[first..]).map(|(weight, kn)| weight * kn).sum()
        })
        .collect()
}

fn points(rate_hz: f64, finer: usize, samples: usize, fine: &[f64]) -> Vec<f64> {
    let fine_hz = rate_hz * finer as f64;
    let mut low = Lowpass::new(0.4 * rate_hz, fine_hz);
    let start_kn = fine[0];
    let smooth: Vec<f64> = fine.iter().map(|kn| start_kn + low.push(kn - start_kn)).collect();
    let delay = low.delay_s() * fine_hz - 0.5;
    (0..samples)
        .map(|k| {
            let at = ((BESIDE + k) * finer) as f64 + delay;
            let (first, part) = (libm::floor(at) as usize, at - libm::floor(at));
            smooth[first] * (1.0 - part) + smooth[first + 1] * part
        })
        .collect()
}

fn counts(case: &Case, motion: &Motion, clean_kn: &[f64]) -> Vec<i32> {
    let (chain, rate_hz) = (&case.chain, case.rate_hz);
    let mut dice = Dice::new(case.seed ^ 0xadc0_ffee_0000_0000);
    let phase = dice.between(0.0, TAU);
    let hum: Vec<(f64, f64)> = hum_parts(chain, rate_hz);
    let mut kn: Vec<f64> = Vec::with_capacity(clean_kn.len());
    let mut held = motion.trigger.iter().copied().peekable();
    for (k, clean) in clean_kn.iter().enumerate() {
        let time_s = k as f64 / rate_hz;
        while held.next_if(|(_, until_s)| *until_s < time_s).is_some() {}
        let pressed = held.peek().is_some_and(|(from_s, _)| *from_s <= time_s);
        let noise_kn = chain.noise_kn * if pressed { chain.brush } else { 1.0 };
        let mut value = clean + chain.zero_kn + chain.drift_kn_per_s * time_s + noise_kn * dice.normal();
        for (hz, amplitude_kn) in &hum {
            value += amplitude_kn * libm::sin(TAU * hz * time_s + phase * hz / chain.hum.hz);
        }
        kn.push(value);
    }
    let mut until = wild_gap(&mut dice, chain, rate_hz);
    while until < kn.len() {
        let up = dice.chance(0.5);
        let end = (until + chain.wild.width).min(kn.len());
        for value in &mut kn[until..end] {
            *value += if up { 1.0 } else { -1.0 } * chain.wild.kn * dice.between(0.9, 1.1);
        }
        until = end + 2 + wild_gap(&mut dice, chain, rate_hz);
    }
    let (least, most) = chain.count_limits();
    let code =
        |kn: &f64| libm::round(kn * chain.counts_per_kn()).clamp(f64::from(least), f64::from(most)) as i32;
    let mut counts: Vec<i32> = kn.iter().map(code).collect();
    glitch(case, motion, &mut counts);
    counts
}

/// Frequencies and amplitudes of hum behind the filter.
fn hum_parts(chain: &Chain, rate_hz: f64) -> Vec<(f64, f64)> {
    let hum = chain.hum;
    let parts = [(1.0, 1.0), (2.0, hum.harmonics[0]), (3.0, hum.harmonics[1])];
    let passed = parts.map(|(order, share)| {
        let hz = order * hum.hz;
        (hz, hum.kn * share * chain.passes(hz, rate_hz))
    });
    passed.into_iter().filter(|(_, kn)| *kn > 0.0).collect()
}

/// Samples to the next wild one.
fn wild_gap(dice: &mut Dice, chain: &Chain, rate_hz: f64) -> usize {
    if chain.wild.per_s <= 0.0 {
        return usize::MAX / 2;
    }
    let waited_s = -libm::log(1.0 - dice.between(0.0, 1.0)) / chain.wild.per_s;
    (waited_s * rate_hz) as usize
}

fn glitch(case: &Case, motion: &Motion, counts: &mut [i32]) {
    let Some(glitch) = case.chain.glitch else { return };
    let (least, most) = case.chain.count_limits();
    let (first_s, last_s) = motion.drives[0];
    let from_s = first_s + glitch.at * (last_s - first_s);
    let from = ((from_s * case.rate_hz) as usize).min(counts.len());
    let until = (((from_s + glitch.seconds) * case.rate_hz) as usize).clamp(from, counts.len());
    counts[from..until].fill(match glitch.shows {
        Shows::Rail => most,
        Shows::Zero => 0,
        Shows::Floor => least,
    });
}
