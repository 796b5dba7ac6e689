//! What is known of one run: the record made once at its announcement, and the closing row.
//!
//! All tensions are newtons above the idle median of the 0.5 s before the first blow; all times are
//! seconds of the device's clock since sample 0 of the stream, except where a name says otherwise.

use super::figures::Figures;
use boltscribe_model::units::Newtons;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Manual, gate: the time after the first blow that is read unless others are set, seconds.
const GATE_S: f64 = 3.0;
/// Manual, low-pass: its cut-off unless another is set, hertz.
const LOWPASS_HZ: f64 = 200.0;
/// Manual, `short`: the shortest drive unless another is set, seconds.
const SHORT_S: f64 = 0.5;
/// Manual, start threshold: this share of the range.
const START_SHARE: f64 = 0.002;
/// The same where the range is unknown, newtons.
const START_N: f64 = 300.0;
/// Manual, `zero-shift`: this share of the range.
const ZERO_SHIFT_SHARE: f64 = 0.01;
/// The same where the range is unknown, newtons.
const ZERO_SHIFT_N: f64 = 1000.0;
/// Manual, spike: a jump by this share of the range at rates where a blow may be one sample long.
const SLOW_SPIKE_SHARE: f64 = 0.1;

/// How runs are found and measured. Every field has the default of `Settings::default()`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(default, deny_unknown_fields)]
#[schema(as = MeasureSettings)]
pub struct Settings {
    /// Times after the first blow at which tension is read, seconds, ascending, 0 < g <= 300.
    pub gates_s: Vec<f64>,
    /// Cut-off of the low-pass, hertz; 0.4 × Nyquist is used where that is lower.
    pub lowpass_hz: f64,
    /// Start threshold above zero, kN; none: 0.2 % of range, 0.3 kN where the range is unknown.
    #[serde(rename = "start_threshold_kN")]
    pub start_threshold_kn: Option<f64>,
    /// How far the zero may stand from the rig's zero before runs are flagged, kN; none: 1 % of
    /// range, 1 kN where the range is unknown.
    #[serde(rename = "zero_shift_limit_kN")]
    pub zero_shift_limit_kn: Option<f64>,
    /// Full range of the rig, kN, where known.
    #[serde(rename = "range_kN")]
    pub range_kn: Option<f64>,
    /// A drive time below this is flagged `short`, seconds.
    pub short_s: f64,
    /// Tensions above the run's zero to which time and blows are given, kN, ascending; none unless asked for.
    #[serde(rename = "tensions_kN")]
    pub tensions_kn: Vec<f64>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            gates_s: vec![GATE_S],
            lowpass_hz: LOWPASS_HZ,
            start_threshold_kn: None,
            zero_shift_limit_kn: None,
            range_kn: None,
            short_s: SHORT_S,
            tensions_kn: Vec::new(),
        }
    }
}

impl Settings {
    /// The configured part of the start threshold, newtons.
    #[must_use]
    pub fn start_threshold(&self) -> Newtons {
        match (self.start_threshold_kn, self.range_kn) {
            (Some(kn), _) => Newtons::from_kn(kn),
            (None, Some(range)) => Newtons::from_kn(START_SHARE * range),
            (None, None) => Newtons(START_N),
        }
    }

    /// Limit of the zero's shift, newtons.
    #[must_use]
    pub fn zero_shift_limit(&self) -> Newtons {
        match (self.zero_shift_limit_kn, self.range_kn) {
            (Some(kn), _) => Newtons::from_kn(kn),
            (None, Some(range)) => Newtons::from_kn(ZERO_SHIFT_SHARE * range),
            (None, None) => Newtons(ZERO_SHIFT_N),
        }
    }

    /// Jump that counts as wild below 1,000 samples/s whatever the run shows by itself, newtons: 10 % of range;
    /// where the range is unknown no jump is large enough to be sure.
    #[must_use]
    pub fn slow_spike(&self) -> Newtons {
        self.range_kn.map_or(Newtons(f64::INFINITY), |range| Newtons::from_kn(SLOW_SPIKE_SHARE * range))
    }
}

/// Which clock the times of a run come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Timing {
    /// Ticks sent by the device, or the time column of a trace.
    Device,
    /// Arrival times at the host, fitted to the nominal rate: durations are less certain.
    Host,
}

/// What the measuring itself has to say about a run. The full table of flags is in `results`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunFlag {
    /// Samples stood at the end of the ADC's range.
    Clipped,
    /// Samples are missing inside the run.
    Gap,
    /// Single-sample spikes were removed.
    Spike,
    /// The tool drove for less than the configured time.
    Short,
    /// Less than 0.2 s of settled tension was left.
    Unsettled,
    /// More blows after the announcement raised the level.
    RePulled,
    /// Ringing is under 6 × the noise: the count of blows is doubtful.
    BlowsWeak,
    /// Two independent counters of blows differ by more than 1 %: blow figures are null.
    BlowsUnsure,
    /// The first blow cannot be told: times count from an estimate, and gates are null where that matters.
    StartUnsure,
    /// Blows are not seen: last blow and drive time are estimates.
    EndEstimated,
    /// The end of the pull cannot be told: level and held are null, or do not hold.
    EndUnsure,
    /// A single sample makes the peak whose like hardly comes in this run: it may be a wild one.
    PeakUnsure,
    /// The idle reading moved away from the rig's zero.
    ZeroShift,
    /// Small tension without blows upon which the tool drove later.
    Seated,
    /// The recording ended, or the device restarted, inside the run.
    Interrupted,
}

/// One hammer impact seen in the tension.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Blow {
    /// Onset, seconds since sample 0.
    pub at_s: f64,
    /// Median tension between this onset and the next (or the level after the last), newtons.
    pub level: Newtons,
}

/// Tension at a fixed time after the first blow.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Gate {
    /// Seconds after the first blow.
    pub after_s: f64,
    /// Time average over one interval around the gate; none: the tool had stopped, or samples lack.
    pub tension: Option<Newtons>,
}

/// How tension nears its limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// F∞·√(1 − exp(−(t − t0)/τ)): F² nears its limit exponentially, as blows of one mean energy make it.
    Energy,
    /// F∞·(1 − exp(−(t − t0)/τ)). Records of programs that knew no other form do not name it.
    #[default]
    Exponential,
}

impl Form {
    /// The word for it in documents and tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Energy => "energy",
            Self::Exponential => "exponential",
        }
    }
}

/// The fitted limit with standard errors.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plateau {
    /// F∞, newtons.
    pub limit: Newtons,
    /// Standard error of F∞, newtons.
    pub limit_se: Newtons,
    /// τ, seconds.
    pub time_constant_s: f64,
    /// Standard error of τ, seconds.
    pub time_constant_se_s: f64,
    /// Which of the two forms was fitted.
    #[serde(default)]
    pub form: Form,
}

/// One measured run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Index in the stream of the first sample kept for this run.
    pub first_sample: u64,
    /// Samples a second.
    pub rate_hz: f64,
    /// Clock of all times.
    pub timing: Timing,
    /// Idle median of the 0.5 s before the first blow, newtons in the calibration's terms.
    pub zero: Newtons,
    /// `zero` minus the rig's zero.
    pub zero_shift: Newtons,
    /// 1.4826 × MAD of the low-passed signal over that 0.5 s.
    pub noise: Newtons,
    /// Onset of the first blow.
    pub first_blow_s: f64,
    /// Onset of the last blow of the first pull.
    pub last_blow_s: f64,
    /// `last_blow_s` − `first_blow_s`.
    pub drive_time_s: f64,
    /// Blows of the first pull; none where sampling cannot show them.
    pub blow_count: Option<u32>,
    /// Blows a second; none where they are not seen or fewer than two.
    pub blow_rate_hz: Option<f64>,
    /// Median over blows of the largest excursion in the unfiltered band.
    pub ringing: Option<Newtons>,
    /// The blows themselves; empty where they are not seen.
    pub blows: Vec<Blow>,
    /// Greatest filtered tension.
    pub peak: Newtons,
    /// Its time.
    pub peak_time_s: f64,
    /// Samples are missing or clipped, so the true peak may lie higher.
    pub peak_is_lower_bound: bool,
    /// Median 0.05–0.2 s after the last blow.
    pub level: Option<Newtons>,
    /// Median 0.2–0.7 s after the last blow.
    pub held: Option<Newtons>,
    /// One value for each configured gate.
    pub gates: Vec<Gate>,
    /// Fitted limit; none where the fit does not converge.
    pub plateau: Option<Plateau>,
    /// Single-sample spikes removed.
    pub spikes: u32,
    /// Samples missing between first blow and the end of the held window.
    pub missing: u32,
    /// Samples at the end of the ADC's range.
    pub clipped: u32,
    /// Sorted, without repeats.
    pub flags: Vec<RunFlag>,
    /// What follows from the medians between blows; empty in records of programs that did not know them.
    #[serde(default)]
    pub figures: Figures,
}

/// What a run was measured from besides its samples: with it the stored samples give the same record again,
/// whatever the finder had seen before them. Sample numbers count from the start of the stream.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Basis {
    /// Where low-passed tension crossed the start threshold for good.
    pub crossing: u64,
    /// From here on samples before the crossing are idle.
    pub idle_from: u64,
    /// First sample that was not there yet when the run was measured.
    pub until: u64,
    /// What counted as the rig's zero, in the calibration's terms.
    pub rig_zero: Option<Newtons>,
    /// No more samples of the run were to come.
    pub ended: bool,
    /// The recording broke off there.
    pub interrupted: bool,
    /// Ends of the converter's range, codes, where the device had told them.
    pub range: Option<(i32, i32)>,
}

/// Why a run closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CloseReason {
    /// Tension fell under half of the level.
    Released,
    /// A blow lowered the level by more than 2 %.
    Loosened,
    /// 60 s passed after the last blow.
    TimedOut,
    /// A tightening upon it began: it was a nut seated by hand.
    Tightened,
    /// The recording ended, or the device restarted.
    Interrupted,
}

/// The second row of a run: how it ended after its announcement.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Closing {
    /// Seconds since sample 0.
    pub closed_s: f64,
    /// Why.
    pub reason: CloseReason,
    /// Later blows raised the level.
    pub re_pulled: bool,
    /// Highest level reached by a later pull, where there was one.
    pub re_pulled_level: Option<Newtons>,
    /// What only showed after the announcement, sorted, without repeats; empty in rows of older programs.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub flags: Vec<RunFlag>,
}

impl Closing {
    /// Everything that showed after the announcement, `re-pulled` too; sorted, without repeats.
    #[must_use]
    pub fn told(&self) -> Vec<RunFlag> {
        let mut flags = self.flags.clone();
        flags.extend(self.re_pulled.then_some(RunFlag::RePulled));
        flags.sort_unstable();
        flags.dedup();
        flags
    }
}
