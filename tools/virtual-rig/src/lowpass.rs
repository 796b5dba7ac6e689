//! A causal Butterworth low-pass of order 4, as two second-order sections.
//!
//! Bilinear transform with the corner pre-warped, sections of the analogue prototype
//! s^2 + s/Q + 1 with Q = 1/(2 cos(pi/8)) and 1/(2 cos(3 pi/8)). Its delay at low frequency is
//! 2.613/(2 pi fc). Written here so that the truth shares no code with the measuring side.

use core::f64::consts::PI;

/// A low-pass with its state.
#[derive(Debug, Clone)]
pub struct Lowpass {
    sections: [Section; 2],
    delay_s: f64,
}

#[derive(Debug, Clone, Copy)]
struct Section {
    b0: f64,
    a1: f64,
    a2: f64,
    z1: f64,
    z2: f64,
}

impl Lowpass {
    /// A low-pass at rest at 0, with its corner at `corner_hz` for samples at `rate_hz`.
    #[must_use]
    pub fn new(corner_hz: f64, rate_hz: f64) -> Self {
        let k = libm::tan(PI * corner_hz / rate_hz);
        let section = |angle: f64| {
            let damping = 2.0 * libm::cos(angle);
            let norm = 1.0 / (1.0 + damping * k + k * k);
            Section {
                b0: k * k * norm,
                a1: 2.0 * (k * k - 1.0) * norm,
                a2: (1.0 - damping * k + k * k) * norm,
                z1: 0.0,
                z2: 0.0,
            }
        };
        let delay_s = 2.0 * (libm::cos(PI / 8.0) + libm::cos(3.0 * PI / 8.0)) / (2.0 * PI * corner_hz);
        Self { sections: [section(PI / 8.0), section(3.0 * PI / 8.0)], delay_s }
    }

    /// Corner of the low-pass for a sampling rate: 200 Hz, or 0.4 of Nyquist if that is lower.
    #[must_use]
    pub fn corner_hz(rate_hz: f64) -> f64 {
        (0.2 * rate_hz).min(200.0)
    }

    /// Delay at low frequency in s.
    #[must_use]
    pub fn delay_s(&self) -> f64 {
        self.delay_s
    }

    /// Takes one sample and gives one.
    pub fn push(&mut self, value: f64) -> f64 {
        let mut x = value;
        for s in &mut self.sections {
            let y = s.b0 * x + s.z1;
            s.z1 = 2.0 * s.b0 * x - s.a1 * y + s.z2;
            s.z2 = s.b0 * x - s.a2 * y;
            x = y;
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_corner_passes_half_the_power_and_direct_current_passes_whole() {
        let rate = 40_000.0;
        let mut low = Lowpass::new(200.0, rate);
        let mut peak = 0.0f64;
        for i in 0..40_000 {
            let y = low.push((std::f64::consts::TAU * 200.0 * f64::from(i) / rate).sin());
            if i > 20_000 {
                peak = peak.max(y);
            }
        }
        assert!((peak - 0.5f64.sqrt()).abs() < 1e-4, "{peak}");
        let mut low = Lowpass::new(200.0, rate);
        let last = (0..4000).map(|_| low.push(1.0)).last().unwrap();
        assert!((last - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_slow_ramp_comes_out_later_by_the_stated_delay() {
        let rate = 40_000.0;
        let mut low = Lowpass::new(200.0, rate);
        let last = (0..20_000).map(|i| low.push(f64::from(i) / rate)).last().unwrap();
        let late = 19_999.0 / rate - last;
        assert!((late - low.delay_s()).abs() < 1e-6, "{late} {}", low.delay_s());
        assert!((low.delay_s() - 2.613 / (std::f64::consts::TAU * 200.0)).abs() < 1e-6);
    }
}
