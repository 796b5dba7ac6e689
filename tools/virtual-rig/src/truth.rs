//! What is true of a run: the measures of a run computed from the clean tension on a fine grid.
//!
//! The definitions are those of a measured run (first and last blow, level, held, gates, peak,
//! release), applied to the tension without noise, hum, spikes or conversion, above zero, at
//! 40,000 points a second whatever the sampling rate. Times are in s from sample 0 on the
//! device's clock. This file must not use anything of the measuring side.

use crate::lowpass::Lowpass;
use crate::model::Run;
use crate::scenario::{Release, Scenario};
use crate::signal::{Beat, BeatKind, Plan};
use serde::{Deserialize, Serialize};

/// Points a second of the grid on which averages and medians are taken.
pub const GRID_HZ: f64 = 40_000.0;
/// Gates of the truth, in s after the first blow.
pub const GATES_S: [f64; 4] = [1.0, 2.0, 3.0, 5.0];

/// Mean tension around a fixed time after the first blow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GateTruth {
    /// Time after the first blow.
    pub after_s: f64,
    /// Mean over one interval around it; none if the tool stopped before.
    #[serde(rename = "tension_kN")]
    pub tension_kn: Option<f64>,
}

/// What is true of one run. Times in s from sample 0, tensions in kN above zero.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TruthRun {
    /// Number of the step in the scenario, from 0.
    pub step: usize,
    /// Setup in force.
    pub setup: String,
    /// Tool used.
    pub tool: String,
    /// Onset of the first blow.
    pub first_blow_s: f64,
    /// Onset of the last blow of the first pull.
    pub last_blow_s: f64,
    /// From the first to the last blow.
    pub drive_time_s: f64,
    /// Blows of the first pull.
    pub blows: u32,
    /// Number of intervals of at most 1.6 medians over their sum.
    pub blow_rate_hz: f64,
    /// Median interval.
    pub interval_s: f64,
    /// Sampling rate times the median interval.
    pub samples_per_interval: f64,
    /// Greatest low-passed tension from the first blow to the end of the held window.
    #[serde(rename = "peak_kN")]
    pub peak_kn: f64,
    /// Its time, the low-pass's delay taken off.
    pub peak_time_s: f64,
    /// Median from 0.05 to 0.2 s after the last blow.
    #[serde(rename = "level_kN")]
    pub level_kn: f64,
    /// Median from 0.2 s to at most 0.7 s after the last blow.
    #[serde(rename = "held_kN")]
    pub held_kn: f64,
    /// Whether a release or a blow shortened the held window.
    pub cut: bool,
    /// Readings at fixed times.
    pub gates: Vec<GateTruth>,
    /// The model's limit; none where tension grows by energy.
    #[serde(rename = "plateau_limit_kN")]
    pub plateau_limit_kn: Option<f64>,
    /// The model's time constant.
    pub time_constant_s: Option<f64>,
    /// Median over blows of the greatest excursion from the level.
    #[serde(rename = "ringing_kN")]
    pub ringing_kn: f64,
    /// Frequency of the ringing.
    pub ringing_hz: f64,
    /// Ringing over the standard deviation of a delivered sample (noise, hum, converter step).
    pub ringing_to_noise: f64,
    /// Whether a second pull left the level higher by more than max(0.5 %, 8 x noise).
    pub re_pulled: bool,
    /// How far the second pull lifted the level, over what counts as a re-pull; none without.
    pub lift: Option<f64>,
    /// Tension under half of level, or the first blow that lowers it by over 2 %; none if kept.
    pub released_s: Option<f64>,
    /// How the bolt was let go.
    pub release: Release,
}

/// A run of blows without a long pause, as indices into the drive beats.
struct Series<'a> {
    first: &'a Beat,
    last: &'a Beat,
    blows: usize,
}

/// Computes the truth of a step that starts `origin_s` after sample 0, sampled at `rate_hz`.
/// None for a step without blows.
#[must_use]
pub fn truth(scenario: &Scenario, step: usize, run: &Run, origin_s: f64, rate_hz: f64) -> Option<TruthRun> {
    let plan = &run.plan;
    let drive: Vec<&Beat> = plan.beats().iter().filter(|beat| beat.kind == BeatKind::Drive).collect();
    let mut intervals: Vec<f64> = drive.windows(2).map(|pair| pair[1].at_s - pair[0].at_s).collect();
    let interval_s = median(&mut intervals).unwrap_or(0.1);
    let pause_s = (6.0 * interval_s).max(0.35);
    let series = drive.chunk_by(|a, b| b.at_s - a.at_s <= pause_s).collect::<Vec<_>>();
    let pull = as_series(series.first()?)?;
    let first_s = pull.first.at_s;
    let last_s = pull.last.at_s;
    let level_kn = median_between(plan, last_s + 0.05, last_s + 0.2)?;
    let (window_s, cut) = held_window(plan, last_s, level_kn);
    let held_kn = median_between(plan, last_s + 0.2, last_s + window_s)?;
    let (peak_kn, peak_s) = peak(plan, first_s, last_s + window_s, rate_hz);
    let ringing_kn = ringing(plan, &drive[..pull.blows]);
    let noise = Noise::of(scenario, rate_hz);
    let lift = series.get(1).and_then(|beats| lift(plan, as_series(beats)?.last, level_kn, noise));
    let gate = |after_s: f64| GateTruth {
        after_s,
        tension_kn: (last_s >= first_s + after_s).then(|| {
            let middle_s = first_s + after_s;
            mean_between(plan, middle_s - interval_s / 2.0, middle_s + interval_s / 2.0)
        }),
    };
    let about = scenario.steps.get(step)?;
    Some(TruthRun {
        step,
        setup: about.setup.clone(),
        tool: about.tool.clone(),
        first_blow_s: origin_s + first_s,
        last_blow_s: origin_s + last_s,
        drive_time_s: last_s - first_s,
        blows: pull.blows as u32,
        blow_rate_hz: blow_rate_hz(&drive[..pull.blows]),
        interval_s,
        samples_per_interval: interval_s * rate_hz,
        peak_kn,
        peak_time_s: origin_s + peak_s,
        level_kn,
        held_kn,
        cut,
        gates: GATES_S.map(gate).to_vec(),
        plateau_limit_kn: run.limit_kn,
        time_constant_s: run.time_constant_s,
        ringing_kn,
        ringing_hz: plan.shape().ringing_hz,
        ringing_to_noise: ringing_kn / noise.sample_kn,
        re_pulled: lift.is_some_and(|lift| lift > 1.0),
        lift,
        released_s: released(plan, level_kn).map(|s| origin_s + s),
        release: about.release,
    })
}

fn as_series<'a>(beats: &[&'a Beat]) -> Option<Series<'a>> {
    Some(Series { first: beats.first()?, last: beats.last()?, blows: beats.len() })
}

/// Standard deviations of the noise, computed from the scenario, not measured.
#[derive(Debug, Clone, Copy)]
pub struct Noise {
    /// Of one delivered sample.
    pub sample_kn: f64,
    /// Behind the low-pass.
    pub lowpassed_kn: f64,
}

impl Noise {
    /// Noise, hum and converter step of a scenario at a sampling rate. The low-pass lets the
    /// part fc/(rate/2) x 1.0262 of white power pass (order 4), and hum below its corner whole.
    #[must_use]
    pub fn of(scenario: &Scenario, rate_hz: f64) -> Self {
        let rig = &scenario.rig;
        let step_kn = 1.0 / rig.counts_per_kn;
        let white = rig.noise_kn * rig.noise_kn + step_kn * step_kn / 12.0;
        let hum = rig.hum_kn * rig.hum_kn / 2.0;
        let corner_hz = Lowpass::corner_hz(rate_hz);
        let passed = white * 1.0262 * corner_hz / (rate_hz / 2.0);
        let hum_passed = if rig.hum_hz < corner_hz { hum } else { 0.0 };
        Self { sample_kn: libm::sqrt(white + hum), lowpassed_kn: libm::sqrt(passed + hum_passed) }
    }
}

/// What a later pull adds to the level, over max(0.5 %, 8 x noise).
fn lift(plan: &Plan, last: &Beat, level_kn: f64, noise: Noise) -> Option<f64> {
    let later_kn = median_between(plan, last.at_s + 0.05, last.at_s + 0.2)?;
    Some((later_kn - level_kn) / (0.005 * level_kn).max(8.0 * noise.lowpassed_kn))
}

/// Length of the held window's end after the last blow, and whether it was cut: where tension
/// falls under 98 % of level or at the next blow of any kind.
fn held_window(plan: &Plan, last_s: f64, level_kn: f64) -> (f64, bool) {
    const FULL_S: f64 = 0.7;
    let next = plan.beats().iter().find(|beat| beat.at_s > last_s).map(|beat| beat.at_s - last_s);
    let mut end_s = next.map_or(FULL_S, |after_s| after_s.min(FULL_S));
    let mut i = 0.0;
    while 0.2 + i / GRID_HZ < end_s {
        let after_s = 0.2 + i / GRID_HZ;
        if plan.level_at(last_s + after_s) < 0.98 * level_kn {
            end_s = after_s;
        }
        i += 1.0;
    }
    (end_s, end_s < FULL_S)
}

fn blow_rate_hz(beats: &[&Beat]) -> f64 {
    let mut intervals: Vec<f64> = beats.windows(2).map(|pair| pair[1].at_s - pair[0].at_s).collect();
    let Some(middle) = median(&mut intervals) else {
        return 0.0;
    };
    let kept: Vec<f64> = intervals.into_iter().filter(|s| *s <= 1.6 * middle).collect();
    kept.len() as f64 / kept.iter().sum::<f64>()
}

fn peak(plan: &Plan, first_s: f64, end_s: f64, rate_hz: f64) -> (f64, f64) {
    let mut low = Lowpass::new(Lowpass::corner_hz(rate_hz), GRID_HZ);
    let delay_s = low.delay_s();
    // The low-pass is run on past the window by its delay; what it then shows belongs inside.
    let values = grid(plan, first_s, end_s + delay_s, true);
    let (mut peak_kn, mut peak_s) = (f64::MIN, first_s);
    for (i, value) in values.iter().enumerate() {
        let filtered = low.push(*value);
        let time_s = first_s + i as f64 / GRID_HZ - delay_s;
        if filtered > peak_kn && time_s >= first_s {
            (peak_kn, peak_s) = (filtered, time_s);
        }
    }
    (peak_kn, peak_s)
}

fn ringing(plan: &Plan, beats: &[&Beat]) -> f64 {
    let mut largest: Vec<f64> = Vec::with_capacity(beats.len());
    for (i, beat) in beats.iter().enumerate() {
        // A tenth of a second holds any interval's ringing: the decay is at most 8 ms.
        let end_s = beats.get(i + 1).map_or(beat.at_s + 0.1, |next| next.at_s.min(beat.at_s + 0.1));
        let whole = grid(plan, beat.at_s, end_s, true);
        let level = grid(plan, beat.at_s, end_s, false);
        largest.push(whole.iter().zip(&level).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max));
    }
    median(&mut largest).unwrap_or(0.0)
}

fn released(plan: &Plan, level_kn: f64) -> Option<f64> {
    let lowering =
        plan.beats().iter().find(|beat| beat.kind == BeatKind::Reverse && beat.to_kn < 0.98 * level_kn);
    if let Some(beat) = lowering {
        return Some(beat.at_s);
    }
    let ramp = plan.ramp()?;
    let values = grid(plan, ramp.start_s, ramp.start_s + ramp.length_s, false);
    let index = values.iter().position(|kn| *kn < 0.5 * level_kn)?;
    Some(ramp.start_s + index as f64 / GRID_HZ)
}

fn grid(plan: &Plan, from_s: f64, until_s: f64, ringing: bool) -> Vec<f64> {
    let points = libm::round((until_s - from_s) * GRID_HZ).max(1.0) as usize;
    let mut values = vec![0.0; points];
    plan.fill(from_s + 0.5 / GRID_HZ, 1.0 / GRID_HZ, ringing, &mut values);
    values
}

fn median_between(plan: &Plan, from_s: f64, until_s: f64) -> Option<f64> {
    median(&mut grid(plan, from_s, until_s, true))
}

fn mean_between(plan: &Plan, from_s: f64, until_s: f64) -> f64 {
    // The step divides the window, so that the mean covers exactly the stated time.
    let points = libm::ceil((until_s - from_s) * GRID_HZ).max(1.0);
    let step_s = (until_s - from_s) / points;
    let mut values = vec![0.0; points as usize];
    plan.fill(from_s + 0.5 * step_s, step_s, true, &mut values);
    values.iter().sum::<f64>() / points
}

/// Median of finite values; sorts them. None of an empty slice.
fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[half]),
        _ => Some(f64::midpoint(values[half - 1], values[half])),
    }
}
