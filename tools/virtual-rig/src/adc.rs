//! From clean tension to counts: zero, drift, hum, noise, spikes, the converter's step and its
//! saturation.
//!
//! Samples are converted in order; the same seed gives the same counts. This file must not know
//! what the tension means or when a run is on.

use crate::scenario::Scenario;
use core::f64::consts::TAU;
use rand_core::{Rng, SeedableRng};
use rand_distr::{Distribution, Exp1, StandardNormal};
use rand_pcg::Pcg64Mcg;

/// The measurement chain with its state.
#[derive(Debug, Clone)]
pub struct Adc {
    random: Pcg64Mcg,
    rate_hz: f64,
    counts_per_kn: f64,
    limits: (f64, f64),
    zero_kn: f64,
    drift_kn_per_s: f64,
    noise_kn: f64,
    /// Fundamental and third harmonic: frequency and amplitude after averaging.
    hum: [(f64, f64); 2],
    spike_kn: f64,
    spikes_per_sample: f64,
    until_spike: f64,
}

impl Adc {
    /// A chain for samples at `rate_hz`. `noise_kN` and spikes are those of delivered samples;
    /// hum is damped where samples are means over their period.
    #[must_use]
    pub fn new(scenario: &Scenario, rate_hz: f64) -> Self {
        let rig = &scenario.rig;
        let (low, high) = rig.count_limits();
        let averaging = scenario.averages_at(rate_hz);
        let hum = |hz: f64, kn: f64| (hz, if averaging { kn * sinc(hz / rate_hz) } else { kn });
        let mut adc = Self {
            random: Pcg64Mcg::seed_from_u64(scenario.seed ^ 0x0ad0_5eed),
            rate_hz,
            counts_per_kn: rig.counts_per_kn,
            limits: (f64::from(low), f64::from(high)),
            zero_kn: rig.zero_kn,
            drift_kn_per_s: rig.zero_drift_kn_per_min / 60.0,
            noise_kn: rig.noise_kn,
            hum: [hum(rig.hum_hz, rig.hum_kn), hum(3.0 * rig.hum_hz, 0.1 * rig.hum_kn)],
            spike_kn: rig.spike_kn,
            spikes_per_sample: rig.spikes_per_s / rate_hz,
            until_spike: 0.0,
        };
        adc.until_spike = adc.gap();
        adc
    }

    /// Samples until the next spike: at least two, so that a spike is always a single sample.
    fn gap(&mut self) -> f64 {
        if self.spikes_per_sample <= 0.0 {
            return f64::INFINITY;
        }
        let draw: f64 = Exp1.sample(&mut self.random);
        (draw / self.spikes_per_sample).max(2.0)
    }

    /// Converts the clean tension of the samples from number `first` on. The two slices have
    /// one length. Returns whether any code is at a limit of the converter.
    pub fn convert(&mut self, first: u64, clean_kn: &[f64], counts: &mut [i32]) -> bool {
        let start_s = first as f64 / self.rate_hz;
        let mut waves = self.hum.map(|(hz, kn)| Wave::new(hz, kn, start_s, 1.0 / self.rate_hz));
        let humming = self.hum[0].1 != 0.0;
        let mut saturated = false;
        for (i, (clean, count)) in clean_kn.iter().zip(counts).enumerate() {
            let time_s = start_s + i as f64 / self.rate_hz;
            let mut kn = clean + self.zero_kn + self.drift_kn_per_s * time_s;
            if humming {
                kn += waves[0].step() + waves[1].step();
            }
            if self.noise_kn > 0.0 {
                let draw: f64 = StandardNormal.sample(&mut self.random);
                kn += self.noise_kn * draw;
            }
            self.until_spike -= 1.0;
            if self.until_spike < 0.0 {
                let up = self.random.next_u32() & 1 == 1;
                kn += if up { self.spike_kn } else { -self.spike_kn };
                self.until_spike = self.gap();
            }
            let code = libm::rint(kn * self.counts_per_kn);
            saturated |= code <= self.limits.0 || code >= self.limits.1;
            *count = code.clamp(self.limits.0, self.limits.1) as i32;
        }
        saturated
    }
}

/// A sinusoid made by turning a number, started exactly at each block.
struct Wave {
    re: f64,
    im: f64,
    turn: (f64, f64),
}

impl Wave {
    fn new(hz: f64, amplitude: f64, start_s: f64, step_s: f64) -> Self {
        // The whole turns are dropped first, so that a days-long record keeps its phase.
        let phase = hz * start_s;
        let (sin, cos) = libm::sincos(TAU * (phase - libm::floor(phase)));
        let (turn_sin, turn_cos) = libm::sincos(TAU * hz * step_s);
        Self { re: amplitude * cos, im: amplitude * sin, turn: (turn_cos, turn_sin) }
    }

    fn step(&mut self) -> f64 {
        let now = self.im;
        let re = self.re * self.turn.0 - self.im * self.turn.1;
        self.im = self.re * self.turn.1 + self.im * self.turn.0;
        self.re = re;
        now
    }
}

fn sinc(turns: f64) -> f64 {
    let x = core::f64::consts::PI * turns;
    if x == 0.0 { 1.0 } else { libm::sin(x) / x }
}
