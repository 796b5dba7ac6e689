//! Butterworth low-pass as a cascade of second-order sections: immutable design, separate state.
//!
//! Bilinear transform with the corner prewarped: a section with quality Q at w = tan(π·fc/fs) has
//! b = (w², 2w², w²)/k, a1 = 2(w² − 1)/k, a2 = (1 − w/Q + w²)/k, k = 1 + w/Q + w², and order 2m takes
//! Q_i = 1/(2·cos(π(2i + 1)/(4m))). Oppenheim & Schafer, Discrete-Time Signal Processing, ch. 7 (form
//! from memory); coefficients, step and half-sine responses are tested against scipy's.

use std::f64::consts::PI;
use std::ops::Range;

/// One second-order section, direct form I: of its five products only one waits for the output before.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Section {
    b0: f64,
    b1: f64,
    b2: f64,
    a1: f64,
    a2: f64,
}

/// An even-order Butterworth low-pass or high-pass of `S` sections (order 2·S), unit gain in its band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Butterworth<const S: usize> {
    sections: [Section; S],
}

/// The memory of a filter: the two newest values that went in, and those that each section gave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State<const S: usize> {
    input: [f64; 2],
    outputs: [[f64; 2]; S],
}

impl<const S: usize> Butterworth<S> {
    /// A low-pass with corner `corner_hz` at `rate_hz`; the corner must lie in 0 < fc < fs/2.
    #[must_use]
    pub fn lowpass(corner_hz: f64, rate_hz: f64) -> Self {
        Self::design(corner_hz, rate_hz, |w2| (w2, 2.0 * w2, w2))
    }

    /// A high-pass with corner `corner_hz` at `rate_hz`; the corner must lie in 0 < fc < fs/2.
    #[must_use]
    pub fn highpass(corner_hz: f64, rate_hz: f64) -> Self {
        Self::design(corner_hz, rate_hz, |_| (1.0, -2.0, 1.0))
    }

    fn design(corner_hz: f64, rate_hz: f64, numerator: impl Fn(f64) -> (f64, f64, f64)) -> Self {
        let w = libm::tan(PI * corner_hz / rate_hz);
        let w2 = w * w;
        let sections = std::array::from_fn(|i| {
            let inverse_q = 2.0 * libm::cos(PI * (2 * i + 1) as f64 / (4 * S) as f64);
            let k = 1.0 + w * inverse_q + w2;
            let (n0, n1, n2) = numerator(w2);
            Section {
                b0: n0 / k,
                b1: n1 / k,
                b2: n2 / k,
                a1: 2.0 * (w2 - 1.0) / k,
                a2: (1.0 - w * inverse_q + w2) / k,
            }
        });
        Self { sections }
    }

    /// The state in which a constant input `x` gives a constant output from the first sample.
    #[must_use]
    pub fn settled_at(&self, x: f64) -> State<S> {
        let mut level = x;
        let outputs = self.sections.each_ref().map(|s| {
            level *= (s.b0 + s.b1 + s.b2) / (1.0 + s.a1 + s.a2);
            [level; 2]
        });
        State { input: [x; 2], outputs }
    }

    /// One sample through the filter.
    #[inline]
    pub fn process(&self, state: &mut State<S>, x: f64) -> f64 {
        let (mut v, mut before) = (x, state.input);
        state.input = [x, before[0]];
        for (s, outputs) in self.sections.iter().zip(state.outputs.iter_mut()) {
            let out = *outputs;
            let known = s.b0 * v + (s.b1 * before[0] + s.b2 * before[1]) - s.a2 * out[1];
            v = known - s.a1 * out[0];
            *outputs = [v, out[0]];
            before = out;
        }
        v
    }

    /// Many samples through the filter; `out` is given what comes out for each. The memory is a local one meanwhile,
    /// so that it stays in registers.
    #[inline]
    pub fn run(&self, state: &mut State<S>, x: impl Iterator<Item = f64>, mut out: impl FnMut(f64)) {
        let (filter, mut local) = (*self, *state);
        for x in x {
            out(filter.process(&mut local, x));
        }
        *state = local;
    }
}

impl<const S: usize> Butterworth<S> {
    /// `x` through the filter from `state` on into `out`, of the same length. Each value waits for the one before it, so
    /// two halves go side by side where they are long: the second begins `forgets` samples early, after which the filter
    /// knows nothing of what was before.
    pub fn fill(&self, mut state: State<S>, x: &[f32], out: &mut [f32], forgets: usize) {
        let half = x.len().min(out.len()) / 2;
        let mut later = 0;
        if half > HALVES_FROM * forgets {
            let from = half - forgets;
            let mut second = self.settled_at(f64::from(x[from]));
            self.run(&mut second, x[from..half].iter().map(|v| f64::from(*v)), |_| ());
            let (front, back) = out.split_at_mut(half);
            for ((y, x), (z, w)) in front.iter_mut().zip(x).zip(back.iter_mut().zip(&x[half..])) {
                *y = self.process(&mut state, f64::from(*x)) as f32;
                *z = self.process(&mut second, f64::from(*w)) as f32;
            }
            (state, later) = (second, 2 * half);
        }
        let mut rest = out[later..].iter_mut();
        self.run(&mut state, x[later..].iter().map(|v| f64::from(*v)), |y| {
            if let Some(place) = rest.next() {
                *place = y as f32;
            }
        });
    }
}

/// Halves go side by side where they are so many times as long as what is filtered twice for it.
const HALVES_FROM: usize = 4;

/// The low-pass of a run: order 4.
pub type Lowpass = Butterworth<2>;

/// Manual, low-pass: the corner is at most this part of the Nyquist frequency.
const NYQUIST_SHARE: f64 = 0.4;
/// Sum of 1/Q over the two sections of order 4: 2·(cos(π/8) + cos(3π/8)).
const INVERSE_Q_SUM: f64 = 2.613_125_929_752_753;

/// Corner used for a configured one: not above 0.4 × Nyquist.
#[must_use]
pub fn corner_hz(configured_hz: f64, rate_hz: f64) -> f64 {
    configured_hz.min(NYQUIST_SHARE * 0.5 * rate_hz)
}

/// Delay of the order-4 low-pass at low frequency, seconds: 2.613/(2π·fc) (sum of the sections' 1/Q).
#[must_use]
pub fn delay_s(corner_hz: f64) -> f64 {
    INVERSE_Q_SUM / (2.0 * PI * corner_hz)
}

/// Time after which nothing of what was before shows, times the corner: the slowest pole of order 4 dies away as
/// exp(−2π·fc·cos(67.5°)·t), to the last bit of double precision (2^-53) after 15.3/fc.
const FORGETS: f64 = 16.0;

/// Samples after which the order-4 low-pass knows nothing of what it had before.
#[must_use]
pub fn forgets(corner_hz: f64, rate_hz: f64) -> usize {
    (FORGETS * rate_hz / corner_hz).ceil() as usize
}

/// Low-passes the part `range` of a record that stood at `start` before it; without one, at its first sample.
#[must_use]
pub fn filtered(
    x: &[f32],
    corner_hz: f64,
    rate_hz: f64,
    start: Option<f64>,
    range: Range<usize>,
) -> Vec<f32> {
    let filter = Lowpass::lowpass(corner_hz, rate_hz);
    let from = range.start.saturating_sub(forgets(corner_hz, rate_hz));
    let start = start.filter(|_| from == 0).unwrap_or_else(|| x.get(from).copied().map_or(0.0, f64::from));
    let mut state = filter.settled_at(start);
    filter.run(&mut state, x[from..range.start].iter().map(|v| f64::from(*v)), |_| ());
    let mut y = vec![0.0; range.len()];
    filter.fill(state, &x[range], &mut y, forgets(corner_hz, rate_hz));
    y
}

/// The low-pass of a stream: takes the middle one of three, so that a lone spike crosses nothing.
#[derive(Clone, Copy, Debug)]
pub struct Smooth {
    filter: Lowpass,
    state: Option<State<2>>,
    last_two: [f32; 2],
}

impl Smooth {
    /// With its corner at `corner_hz`.
    #[must_use]
    pub fn new(corner_hz: f64, rate_hz: f64) -> Self {
        Self { filter: Lowpass::lowpass(corner_hz, rate_hz), state: None, last_two: [0.0; 2] }
    }

    /// Knows nothing again: the next sample is taken for the level.
    pub fn clear(&mut self) {
        self.state = None;
    }

    /// Low-passed value of the middle one of the last three, newtons.
    #[inline]
    pub fn push(&mut self, x: f32) -> f32 {
        let state = match &mut self.state {
            Some(state) => state,
            none => {
                self.last_two = [x, x];
                none.insert(self.filter.settled_at(f64::from(x)))
            }
        };
        let [a, b] = self.last_two;
        self.last_two = [b, x];
        let middle = if (a <= b) == (b <= x) {
            b
        } else if (b <= a) == (a <= x) {
            a
        } else {
            x
        };
        self.filter.process(state, f64::from(middle)) as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step_max<const S: usize>(f: &Butterworth<S>) -> f64 {
        let mut state = f.settled_at(0.0);
        (0..2000).map(|_| f.process(&mut state, 1.0)).fold(0.0, f64::max)
    }

    /// scipy 1.17.1 `scipy.signal.butter(2, fc, fs=fs)`.
    #[test]
    fn order_2_coefficients_equal_scipy() {
        for (fc, fs, b0, a1, a2) in [
            (100.0, 1000.0, 0.067_455_273_889_071_9, -1.142_980_502_539_901_1, 0.412_801_598_096_188_77),
            (200.0, 4000.0, 0.020_083_365_564_211_232, -1.561_018_075_800_718_2, 0.641_351_538_057_563_1),
            (1650.0, 20_000.0, 0.048_642_665_205_316_55, -1.286_535_404_984_149_8, 0.481_106_065_805_415_9),
        ] {
            let s = Butterworth::<1>::lowpass(fc, fs).sections[0];
            assert!(
                (s.b0 - b0).abs() < 1e-14 && (s.b1 - 2.0 * b0).abs() < 1e-14 && (s.b2 - b0).abs() < 1e-14
            );
            assert!((s.a1 - a1).abs() < 1e-14 && (s.a2 - a2).abs() < 1e-14);
        }
    }

    /// scipy 1.17.1 `scipy.signal.butter(4, fc, fs=fs, output='sos')`: poles, impulse, step maximum.
    #[test]
    fn order_4_sections_impulse_and_step_equal_scipy() {
        type Row = (f64, f64, [[f64; 2]; 2], [f64; 3], f64);
        let rows: [Row; 2] = [
            (
                100.0,
                1000.0,
                [
                    [-1.048_599_576_362_611_7, 0.296_140_357_561_669_6],
                    [-1.320_913_430_819_426_4, 0.632_738_792_885_276_6],
                ],
                [0.004_824_343_357_716_228, 0.030_728_717_768_085_78, 0.090_594_681_954_882_88],
                1.119_072_423_008_928_6,
            ),
            (
                1000.0,
                20_000.0,
                [
                    [-1.479_674_216_931_193_4, 0.555_821_543_282_488_9],
                    [-1.700_964_331_943_525_7, 0.788_499_739_815_297_9],
                ],
                [0.000_416_599_204_406_599_37, 0.002_991_448_306_592_566_3, 0.010_405_740_533_503_665],
                1.111_155_079_336_679,
            ),
        ];
        for (fc, fs, poles, impulse, overshoot) in rows {
            let f = Lowpass::lowpass(fc, fs);
            for p in poles {
                let found =
                    f.sections.iter().any(|s| (s.a1 - p[0]).abs() < 1e-13 && (s.a2 - p[1]).abs() < 1e-13);
                assert!(found, "{p:?} not in {f:?}");
            }
            let mut state = f.settled_at(0.0);
            for (i, h) in impulse.iter().enumerate() {
                let y = f.process(&mut state, if i == 0 { 1.0 } else { 0.0 });
                assert!((y - h).abs() < 1e-14);
            }
            assert!((step_max(&f) - overshoot).abs() < 1e-12);
        }
        assert!(
            (step_max(&Butterworth::<1>::lowpass(100.0, 1000.0)) - 1.049_752_919_446_185_2).abs() < 1e-12
        );
    }

    /// scipy 1.17.1 `sosfilt` of a half sine, peak of output over peak of input.
    #[test]
    fn half_sine_peaks_equal_scipy() {
        fn peak<const S: usize>(fc: f64, fs: f64, duration_s: f64) -> f64 {
            let f = Butterworth::<S>::lowpass(fc, fs);
            let mut state = f.settled_at(0.0);
            let n = (fs * duration_s).round() as usize;
            (0..6 * n)
                .map(|k| if k <= n { (PI * k as f64 / (fs * duration_s)).sin() } else { 0.0 })
                .map(|x| f.process(&mut state, x))
                .fold(0.0, f64::max)
        }
        assert!((peak::<1>(1000.0, 50_000.0, 1e-3) - 0.944_994_674_079_884_7).abs() < 1e-12);
        assert!((peak::<1>(1000.0, 50_000.0, 2e-3) - 0.998_912_156_938_739_7).abs() < 1e-12);
        assert!((peak::<1>(500.0, 50_000.0, 1e-3) - 0.727_653_173_106_183).abs() < 1e-12);
        assert!((peak::<2>(1000.0, 50_000.0, 1e-3) - 0.963_949_101_392_223_8).abs() < 1e-12);
        assert!((peak::<1>(2000.0, 100_000.0, 1e-3) - 0.998_912_156_938_739_7).abs() < 1e-12);
    }

    /// Derived: a half sine of N samples loses at most 1 − cos(π/2N) of its peak to sampling.
    #[test]
    fn sampling_loses_at_most_the_derived_part_of_a_half_sine_peak() {
        for (n, worst, mean) in [
            (5_u32, 0.048_943_483_704_846_47, 0.016_368_356_916_534_044),
            (10, 0.012_311_659_404_862_23, 0.004_107_264_756_438_633),
            (20, 0.003_082_666_266_872_036, 0.001_027_766_751_461_545_2),
            (50, 0.000_493_439_634_268_4, 0.000_164_485_289_251_454_8),
        ] {
            let loss = |phase: f64| {
                let best =
                    (0..=n).map(|k| (PI * (f64::from(k) + phase) / f64::from(n)).sin()).fold(0.0, f64::max);
                1.0 - best
            };
            let losses: Vec<f64> = (0..20_000).map(|i| loss(f64::from(i) / 20_000.0)).collect();
            let most = losses.iter().copied().fold(0.0, f64::max);
            let average = losses.iter().sum::<f64>() / losses.len() as f64;
            assert!((most - worst).abs() < 1e-6 * worst.max(1e-3), "{n}: {most} {worst}");
            assert!((average - mean).abs() < 1e-4 * mean, "{n}: {average} {mean}");
        }
    }

    #[test]
    fn a_slow_ramp_lags_by_the_stated_delay() {
        let (fc, fs) = (200.0, 20_000.0);
        let f = Lowpass::lowpass(fc, fs);
        let mut state = f.settled_at(0.0);
        let y = (0..20_000).map(|k| f.process(&mut state, f64::from(k) / fs)).last().unwrap();
        assert!((19_999.0 / fs - y - delay_s(fc)).abs() < 2e-5);
    }

    #[test]
    fn a_part_of_a_record_is_filtered_as_within_the_whole() {
        let x: Vec<f32> = (0..9000).map(|i| ((i * 7919) % 1013) as f32 * 60.0).collect();
        let whole = filtered(&x, 200.0, 4000.0, Some(5.0), 0..x.len());
        for range in [0..100, 250..300, 1000..9000, 9000..9000] {
            assert_eq!(filtered(&x, 200.0, 4000.0, Some(5.0), range.clone()), whole[range]);
        }
    }

    #[test]
    fn a_settled_filter_gives_a_constant_from_the_first_sample() {
        let f = Lowpass::lowpass(200.0, 2000.0);
        let mut state = f.settled_at(7.5);
        assert!((0..50).all(|_| (f.process(&mut state, 7.5) - 7.5).abs() < 1e-12));
    }
}
