//! What is true of each run of a case, from the noise-free force on a fine grid.
//!
//! The definitions are those of a measured run. Zero is the tension standing idle in the 0.5 s before the
//! first blow, or before the run-down where the tool turns the nut without blows first: what a hand
//! wrench or an earlier tightening left is zero of the run and stands as `preload_kn`. Times are of the
//! physical event on the axis of the delivered samples. Uses nothing of the measuring side.

use super::case::{Begin, Case, Pattern};
use super::motion::{Impact, Kind, Motion};
use super::signal::Signal;
use crate::lowpass::Lowpass;

/// Points a second of the grid.
const GRID_HZ: f64 = 40_000.0;
/// Gates, s after the first blow.
pub const GATES_S: [f64; 4] = [1.0, 2.0, 3.0, 5.0];
/// A pull is over where no blow comes for this long, or for `PAUSE_INTERVALS`, s.
const PAUSE_S: f64 = 0.35;
const PAUSE_INTERVALS: f64 = 6.0;
/// The held window after the last blow, and the least that counts as settled, s.
const HELD_S: (f64, f64) = (0.2, 0.7);
const SETTLED_S: f64 = 0.2;
/// The window of level, s.
const LEVEL_S: (f64, f64) = (0.05, 0.2);
/// Above this share of preload the energy form of the limit does not hold for tensions above zero.
const PRELOAD_MOST: f64 = 0.005;
/// Energies scattered by less than this raise the limit by less than 1 %: see `limit`.
const SCATTER_FINE: f64 = 0.02;

/// Tension at a gate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ImpactGate {
    /// Time after the first blow, s.
    pub after_s: f64,
    /// Mean over one interval around it; none if the tool had stopped.
    pub tension_kn: Option<f64>,
    /// The same mean, whether the tool had stopped or not.
    pub standing_kn: f64,
}

/// Standard deviations of noise, hum and rounding, known from the case. All in kN.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ImpactNoise {
    /// Of an idle sample.
    pub idle_kn: f64,
    /// Of a sample while the trigger is held.
    pub driving_kn: f64,
    /// Of the low-passed signal, idle.
    pub idle_low_kn: f64,
    /// Of the low-passed signal, trigger held.
    pub driving_low_kn: f64,
    /// Amplitude of hum, behind the filter, all parts together.
    pub hum_kn: f64,
    /// Frequency of hum.
    pub hum_hz: f64,
    /// One code.
    pub code_kn: f64,
}

/// What is true of one run. Times in s from the first sample, tensions in kN above the run's zero.
#[derive(Debug, Clone, PartialEq)]
pub struct ImpactRun {
    /// Onset of the first blow that moves the nut.
    pub first_blow_s: f64,
    /// Onset of the last blow of the first pull.
    pub last_blow_s: f64,
    /// A knock so soon after it that by definition it may be the last blow.
    pub knock_s: Option<f64>,
    /// From the first to the last blow.
    pub drive_time_s: f64,
    /// Blows of the first pull from the first on, also those that do not move the nut.
    pub blows: u32,
    /// Median interval.
    pub interval_s: f64,
    /// Median 0.05 to 0.2 s after the last blow.
    pub level_kn: f64,
    /// Median from 0.2 to at most 0.7 s after the last blow; none without a window.
    pub held_kn: Option<f64>,
    /// At least 0.2 s of it is there.
    pub settled: bool,
    /// Readings at fixed times.
    pub gates: Vec<ImpactGate>,
    /// Greatest low-passed force from the first blow to the end of the held window.
    pub peak_kn: f64,
    /// The same of the noise-free samples, which may miss or fold what rings.
    pub peak_sampled_kn: f64,
    /// Whether a later pull left the level higher by more than max(0.5 %, 8 x noise).
    pub re_pulled: bool,
    /// What later pulls lifted, over that; none without one.
    pub lift: Option<f64>,
    /// Limit of blows of mean energy; none where energies change or scatter so much that there is none.
    pub limit_kn: Option<f64>,
    /// Growth of F^2 by the first blow of mean energy on a loose nut, kN^2; none where energy changes.
    pub energy_index_kn2: Option<f64>,
    /// Tension at the first blow above the unloaded rig.
    pub preload_kn: f64,
    /// Tension under half of level, or the first loosening blow; none if never.
    pub released_s: Option<f64>,
    /// Neither end of the trace cuts it.
    pub whole: bool,
    /// Noise in it.
    pub noise: ImpactNoise,
}

/// Computes the truth of a motion.
pub(super) struct Truth<'a> {
    case: &'a Case,
    motion: &'a Motion,
    signal: Signal<'a>,
    clean_kn: &'a [f64],
}

impl<'a> Truth<'a> {
    pub(super) fn new(case: &'a Case, motion: &'a Motion, clean_kn: &'a [f64]) -> Self {
        Self { case, motion, signal: Signal::new(case, motion), clean_kn }
    }

    /// Of all runs with a blow inside the trace.
    pub(super) fn runs(&self) -> Vec<ImpactRun> {
        (0..self.motion.drives.len()).filter_map(|run| self.run(run)).collect()
    }

    fn run(&self, run: usize) -> Option<ImpactRun> {
        let drive: Vec<&Impact> = self.of(run, Kind::Drive);
        let p = median(&mut drive.windows(2).map(|pair| pair[1].at_s - pair[0].at_s).collect::<Vec<_>>())?;
        let pause_s = (PAUSE_INTERVALS * p).max(PAUSE_S);
        let series: Vec<&[&Impact]> = drive.chunk_by(|a, b| b.at_s - a.at_s <= pause_s).collect();
        let pull = *series.first()?;
        let moving = pull.iter().position(|blow| blow.after_kn > blow.before_kn)?;
        let pull = &pull[moving..];
        let (first, last) = (pull[0], pull[pull.len() - 1]);
        if first.at_s >= self.motion.end_s {
            return None;
        }
        let mut intervals: Vec<f64> = pull.windows(2).map(|pair| pair[1].at_s - pair[0].at_s).collect();
        let interval_s = median(&mut intervals).unwrap_or(p);
        let (first_s, last_s) = (first.at_s, last.at_s);
        let zero_kn = self.zero(run);
        let level_kn = self.median(last_s + LEVEL_S.0, last_s + LEVEL_S.1) - zero_kn;
        let end_s = self.held_end(last_s, zero_kn, level_kn);
        let held_kn =
            (end_s > last_s + HELD_S.0 + 0.01).then(|| self.median(last_s + HELD_S.0, end_s) - zero_kn);
        let noise = self.noise();
        let lift = self.lift(&series[1..], zero_kn, level_kn, &noise);
        let announced_s = last_s + (PAUSE_INTERVALS * interval_s).max(HELD_S.1);
        let begun = run > 0 || self.case.begin == Begin::Idle;
        Some(ImpactRun {
            first_blow_s: first_s,
            last_blow_s: last_s,
            knock_s: self.knock(last_s, pause_s),
            drive_time_s: last_s - first_s,
            blows: pull.len() as u32,
            interval_s,
            level_kn,
            held_kn,
            settled: end_s - last_s - HELD_S.0 >= SETTLED_S,
            gates: GATES_S.map(|after_s| self.gate(after_s, first_s, last_s, interval_s, zero_kn)).to_vec(),
            peak_kn: self.peak(first_s, end_s) - zero_kn,
            peak_sampled_kn: self.peak_sampled(first_s, end_s) - zero_kn,
            re_pulled: lift.is_some_and(|lift| lift > 1.0),
            lift,
            limit_kn: self.limit(run, zero_kn, level_kn),
            energy_index_kn2: self.energy_index(run, zero_kn),
            preload_kn: zero_kn,
            released_s: self.released(run, last_s, zero_kn, level_kn),
            whole: begun && announced_s < self.motion.end_s,
            noise,
        })
    }

    /// Impacts of a kind inside the trace.
    fn of(&self, run: usize, kind: Kind) -> Vec<&Impact> {
        let of = |impact: &&Impact| impact.run == run && impact.kind == kind && impact.at_s >= 0.0;
        self.motion.impacts.iter().filter(of).collect()
    }

    /// Median of the tension that stands idle before the run.
    fn zero(&self, run: usize) -> f64 {
        let until_s = self.motion.run_downs[run].unwrap_or(self.motion.drives[run].0);
        let still_s = self.motion.curve.last_motion_s(until_s);
        let from_s = (until_s - 0.5).max(still_s).max(0.0).min(until_s - 1.0 / GRID_HZ);
        let mut values = vec![0.0; points(from_s, until_s)];
        self.motion.curve.fill(from_s, 1.0 / GRID_HZ, &mut values);
        median(&mut values).unwrap_or(0.0)
    }

    fn grid(&self, from_s: f64, until_s: f64) -> Vec<f64> {
        let mut values = vec![0.0; points(from_s, until_s)];
        self.signal.fill(from_s + 0.5 / GRID_HZ, 1.0 / GRID_HZ, &mut values);
        values
    }

    fn median(&self, from_s: f64, until_s: f64) -> f64 {
        median(&mut self.grid(from_s, until_s)).unwrap_or(0.0)
    }

    /// End of the held window: the next blow of any kind, or where tension falls under 98 % of level.
    fn held_end(&self, last_s: f64, zero_kn: f64, level_kn: f64) -> f64 {
        let next = self.motion.impacts.iter().find(|i| i.at_s > last_s && i.kind != Kind::Knock);
        let end_s = next.map_or(last_s + HELD_S.1, |impact| impact.at_s.min(last_s + HELD_S.1));
        let from_s = last_s + LEVEL_S.0;
        let mut values = vec![0.0; points(from_s, end_s)];
        self.motion.curve.fill(from_s, 1.0 / GRID_HZ, &mut values);
        let fall = values.iter().position(|kn| kn - zero_kn < 0.98 * level_kn);
        fall.map_or(end_s, |i| from_s + i as f64 / GRID_HZ)
    }

    fn knock(&self, last_s: f64, pause_s: f64) -> Option<f64> {
        let knocks = self.motion.impacts.iter().filter(|impact| impact.kind == Kind::Knock);
        knocks.map(|knock| knock.at_s).find(|at_s| *at_s > last_s && *at_s - last_s <= pause_s)
    }

    fn gate(&self, after_s: f64, first_s: f64, last_s: f64, interval_s: f64, zero_kn: f64) -> ImpactGate {
        let middle_s = first_s + after_s;
        let values = self.grid(middle_s - interval_s / 2.0, middle_s + interval_s / 2.0);
        let standing_kn = values.iter().sum::<f64>() / values.len() as f64 - zero_kn;
        ImpactGate { after_s, tension_kn: (last_s >= middle_s).then_some(standing_kn), standing_kn }
    }

    fn peak(&self, first_s: f64, end_s: f64) -> f64 {
        let mut low = Lowpass::new(Lowpass::corner_hz(self.case.rate_hz), GRID_HZ);
        let lead_s = 4.0 * low.delay_s();
        let values = self.grid(first_s - lead_s, end_s + low.delay_s());
        highest(&values, ((lead_s + low.delay_s()) * GRID_HZ) as usize, &mut low)
    }

    fn peak_sampled(&self, first_s: f64, end_s: f64) -> f64 {
        let rate_hz = self.case.rate_hz;
        let mut low = Lowpass::new(Lowpass::corner_hz(rate_hz), rate_hz);
        let at = |time_s: f64| ((time_s * rate_hz).max(0.0) as usize).min(self.clean_kn.len() - 1);
        let from = at(first_s - 0.1);
        let until = at(end_s + low.delay_s()) + 1;
        highest(&self.clean_kn[from..until.max(from + 1)], at(first_s) - from, &mut low)
    }

    /// What later pulls lift the level by, over what counts.
    fn lift(&self, later: &[&[&Impact]], zero_kn: f64, level_kn: f64, noise: &ImpactNoise) -> Option<f64> {
        let counts_kn = (0.005 * level_kn).max(8.0 * noise.idle_low_kn);
        let lifts = later.iter().filter_map(|pull| {
            let last_s = pull.last()?.at_s;
            let kn = self.median(last_s + LEVEL_S.0, last_s + LEVEL_S.1) - zero_kn;
            Some((kn - level_kn) / counts_kn)
        });
        lifts.max_by(f64::total_cmp)
    }

    /// With scattered energies tension goes on past the limit of the mean, by the strongest blows: there is
    /// a limit to be found only well below it (u = 1 - 2 scatter: then a blow that would not move the nut is
    /// a rare one, 2 standard deviations, and the mean growth is off by less than 0.5 %), or where energies
    /// scatter little.
    fn limit(&self, run: usize, zero_kn: f64, level_kn: f64) -> Option<f64> {
        let drive = &self.case.runs[run].drive;
        let scatter = match drive.pattern {
            Pattern::Steady | Pattern::SoftStart { .. } => drive.scatter,
            Pattern::Twin { energy, .. } => drive.scatter + energy,
            _ => return None,
        };
        let loose = zero_kn.abs() < PRELOAD_MOST * level_kn && self.motion.run_downs[run].is_none();
        let share = level_kn * level_kn / (self.case.limit_kn * self.case.limit_kn);
        let below = share <= 1.0 - 2.0 * scatter || scatter <= SCATTER_FINE;
        (loose && below && drive.pauses.is_empty()).then_some(self.case.limit_kn - zero_kn)
    }

    fn energy_index(&self, run: usize, zero_kn: f64) -> Option<f64> {
        let steady = matches!(self.case.runs[run].drive.pattern, Pattern::Steady | Pattern::Twin { .. });
        let law = self.case.law;
        (steady && zero_kn == 0.0).then(|| law.first_growth(law.energy_for(self.case.limit_kn)))
    }

    fn released(&self, run: usize, last_s: f64, zero_kn: f64, level_kn: f64) -> Option<f64> {
        let reverse = self.of(run, Kind::Reverse).first().map(|impact| impact.at_s);
        // Steps of 0.5 ms: a release is no figure, only where a run ends.
        let mut values = vec![0.0; ((self.motion.end_s - last_s).max(0.0) * 2000.0) as usize];
        self.motion.curve.fill(last_s, 1.0 / 2000.0, &mut values);
        let half = values.iter().position(|kn| kn - zero_kn < 0.5 * level_kn);
        let half_s = half.map(|i| last_s + i as f64 / 2000.0);
        match (reverse, half_s) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }

    /// White noise and rounding are white: order 4 lets 1.0262 corner/(rate/2) of their power pass.
    fn noise(&self) -> ImpactNoise {
        let (chain, rate_hz) = (&self.case.chain, self.case.rate_hz);
        let corner_hz = Lowpass::corner_hz(rate_hz);
        let code_kn = 1.0 / chain.counts_per_kn();
        let parts = [(1.0, 1.0), (2.0, chain.hum.harmonics[0]), (3.0, chain.hum.harmonics[1])];
        let passed = parts.map(|(order, share)| {
            let hz = order * chain.hum.hz;
            (hz, chain.hum.kn * share * chain.passes(hz, rate_hz))
        });
        let power: f64 = passed.iter().map(|(_, kn)| kn * kn / 2.0).sum();
        // At slow rates hum folds down to any frequency: it counts as let through whole.
        let low: f64 = passed
            .iter()
            .map(|(hz, kn)| {
                let through = if *hz > corner_hz && *hz < rate_hz / 2.0 { corner_hz / hz } else { 1.0 };
                kn * kn / 2.0 * through * through
            })
            .sum();
        let white = |brush: f64| {
            let kn = chain.noise_kn * brush;
            kn * kn + code_kn * code_kn / 12.0
        };
        let share = 1.0262 * corner_hz / (rate_hz / 2.0);
        ImpactNoise {
            idle_kn: libm::sqrt(white(1.0) + power),
            driving_kn: libm::sqrt(white(chain.brush) + power),
            idle_low_kn: libm::sqrt(white(1.0) * share + low),
            driving_low_kn: libm::sqrt(white(chain.brush) * share + low),
            hum_kn: passed.iter().map(|(_, kn)| kn).sum(),
            hum_hz: chain.hum.hz,
            code_kn,
        }
    }
}

fn points(from_s: f64, until_s: f64) -> usize {
    libm::round((until_s - from_s) * GRID_HZ).max(1.0) as usize
}

/// Greatest low-passed value from index `from` on; the low-pass starts settled at the first value.
fn highest(values: &[f64], from: usize, low: &mut Lowpass) -> f64 {
    let start = values[0];
    let mut most = f64::MIN;
    for (i, value) in values.iter().enumerate() {
        let filtered = start + low.push(value - start);
        if i >= from {
            most = most.max(filtered);
        }
    }
    most
}

/// Median of finite values; reorders them. None of an empty slice.
fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let half = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, middle, _) = values.select_nth_unstable_by(half, f64::total_cmp);
    let lower = below.iter().copied().max_by(f64::total_cmp);
    Some(if even { f64::midpoint(*middle, lower?) } else { *middle })
}
