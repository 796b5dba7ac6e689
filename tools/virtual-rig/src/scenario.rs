//! What a scenario file says: the rig, the test bolt, the tools, the pieces, the setups and
//! the ordered steps that a virtual rig plays.
//!
//! The file is TOML; unknown keys are refused, and every value is checked by `check` before a
//! scenario exists, so that the rest of the crate never meets an impossible number. This file
//! holds the data and its defaults only: it must not know how a run is computed, sampled or
//! sent. All numbers in a scenario are invented.

use serde::{Deserialize, Serialize};

/// Why a scenario was refused.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioError {
    /// The text is not TOML, or has an unknown key or a value of the wrong type.
    #[error("cannot read the scenario: {0}")]
    Parse(#[from] toml::de::Error),
    /// A value is outside what it may be.
    #[error("cannot use the scenario: {key}: expected {expected}, found {found}")]
    Value {
        /// Path of the key, such as `steps[3].setup`.
        key: String,
        /// What would have been taken.
        expected: String,
        /// What stands in the file.
        found: String,
    },
}

/// A whole scenario: everything that is needed to play it, including the seed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Name shown in the head of the truth file.
    pub name: String,
    /// Seed of everything random in the scenario.
    pub seed: u64,
    /// The rig: amplifier, converter and their faults of measurement.
    pub rig: Rig,
    /// The test bolt.
    pub bolt: Bolt,
    /// How friction changes from run to run.
    #[serde(default)]
    pub friction: Friction,
    /// The tools on the bench.
    pub tools: Vec<Tool>,
    /// The pieces on the shelf.
    pub pieces: Vec<Piece>,
    /// Chains of pieces.
    pub setups: Vec<Setup>,
    /// The runs in the order they are played.
    pub steps: Vec<Step>,
    /// Faults of the line and the device.
    #[serde(default)]
    pub faults: Vec<crate::faults::FaultAt>,
}

/// The rig's amplifier and converter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rig {
    /// Serial number, printable ASCII, at most 32 characters.
    pub serial: String,
    /// Firmware name, printable ASCII, at most 32 characters.
    #[serde(default = "defaults::firmware")]
    pub firmware: String,
    /// Bits of the converter, 8..=32 (two's complement).
    pub bits: u8,
    /// Counts per kilonewton.
    #[serde(rename = "counts_per_kN")]
    pub counts_per_kn: f64,
    /// Range of the transducer in kN: the code saturates at plus or minus this.
    #[serde(rename = "range_kN")]
    pub range_kn: f64,
    /// Sampling rates that the device offers, in samples a second.
    pub rates_hz: Vec<u32>,
    /// Sampling rate used where nobody asks for one.
    pub rate_hz: u32,
    /// Rate of the device's tick counter.
    #[serde(default = "defaults::tick_rate_hz")]
    pub tick_rate_hz: u32,
    /// Standard deviation of the white noise of one delivered sample, in kN.
    #[serde(rename = "noise_kN", default)]
    pub noise_kn: f64,
    /// Amplitude of mains hum in kN (a tenth of it stands at the third harmonic).
    #[serde(rename = "hum_kN", default)]
    pub hum_kn: f64,
    /// Frequency of mains hum.
    #[serde(default = "defaults::hum_hz")]
    pub hum_hz: f64,
    /// Mean number of single-sample spikes a second.
    #[serde(default)]
    pub spikes_per_s: f64,
    /// Height of a spike in kN; the sign is random.
    #[serde(rename = "spike_kN", default)]
    pub spike_kn: f64,
    /// Reading of the unloaded rig in kN.
    #[serde(rename = "zero_kN", default)]
    pub zero_kn: f64,
    /// Drift of that reading in kN a minute.
    #[serde(rename = "zero_drift_kN_per_min", default)]
    pub zero_drift_kn_per_min: f64,
    /// Error of the device's clock: it runs fast by this many parts per million.
    #[serde(default)]
    pub ppm: f64,
    /// Tick of sample 0; a value near 2^32 makes the counter wrap early.
    #[serde(default)]
    pub first_tick: u32,
    /// Whether a sample is the mean over its sampling period; absent means below 500 a second.
    #[serde(default)]
    pub averaging: Option<bool>,
}

/// The test bolt in the rig.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bolt {
    /// Name as a person would enter it.
    pub name: String,
    /// Thread, such as `M20x2.5`.
    pub thread: String,
    /// Nominal diameter in millimetres.
    pub diameter_mm: f64,
    /// Thread pitch in millimetres.
    pub pitch_mm: f64,
    /// Nut factor K in T = K d F.
    pub nut_factor: f64,
    /// Stiffness of bolt and rig together, in kN per millimetre.
    #[serde(rename = "stiffness_kN_per_mm")]
    pub stiffness_kn_per_mm: f64,
    /// Allowed tension in kN.
    #[serde(rename = "allowed_kN")]
    pub allowed_kn: f64,
}

/// How the limit drifts from run to run. All shares are in percent of the limit.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Friction {
    /// Change of the limit from a cold to a hot bolt.
    pub heat_percent: f64,
    /// Runs after which 63 % of that change has happened.
    pub heat_runs: f64,
    /// Change of the limit with each tightening of the same bolt.
    pub reuse_percent_per_run: f64,
    /// Standard deviation of the limit between runs.
    pub scatter_percent: f64,
}

/// A tool. Exactly one of `torque_nm` and `energy_j` is given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tool {
    /// Name as a person would enter it.
    pub name: String,
    /// Drive of the anvil, such as `3/4`.
    pub drive: String,
    /// Blows a second, 8..=60.
    pub blow_rate_hz: f64,
    /// Standard deviation of the interval between blows, in percent of it, at most 8.
    #[serde(default)]
    pub jitter_percent: f64,
    /// Steady torque in N m whose tension the blows approach (geometric approach).
    #[serde(rename = "torque_Nm", default)]
    pub torque_nm: Option<f64>,
    /// Energy of one blow in J (tension grows as a square root, without a limit).
    #[serde(rename = "energy_J", default)]
    pub energy_j: Option<f64>,
    /// Time constant of the geometric approach in s, with nothing coupled.
    #[serde(default = "defaults::time_constant_s")]
    pub time_constant_s: f64,
    /// Scatter of a blow's step in percent.
    #[serde(default)]
    pub step_scatter_percent: f64,
    /// Number of weaker blows at the start.
    #[serde(default)]
    pub soft_start_blows: u32,
    /// Strength of the first of those, 0.05..=1.
    #[serde(default = "defaults::one")]
    pub soft_start_from: f64,
    /// Loss of the limit a run as the battery empties, in percent.
    #[serde(default)]
    pub sag_percent_per_run: f64,
    /// Rise time of a blow in ms, 0.5..=2.
    #[serde(default = "defaults::rise_ms")]
    pub rise_ms: f64,
    /// Amplitude of the ringing after a blow, in kN.
    #[serde(rename = "ringing_kN")]
    pub ringing_kn: f64,
    /// Scatter of that amplitude in percent.
    #[serde(default)]
    pub ringing_scatter_percent: f64,
    /// Frequency of the ringing, 150..=2000 Hz.
    pub ringing_hz: f64,
    /// Time in ms after which the ringing has fallen to 37 %, 1..=8.
    pub ringing_tau_ms: f64,
    /// Part of the tension lost after the last blow, in percent, at most 1.
    #[serde(default)]
    pub relaxation_percent: f64,
    /// Time constant of that loss in s.
    #[serde(default = "defaults::relaxation_s")]
    pub relaxation_s: f64,
}

/// What a piece is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PieceKind {
    /// Holds the nut; ends a chain.
    Socket,
    /// Lengthens the chain.
    Extension,
    /// Bends the chain; its pin counts as one more contact.
    UniversalJoint,
    /// Changes the drive size.
    Adapter,
}

/// One thing between the tool's anvil and the nut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Piece {
    /// Name as a person would enter it.
    pub name: String,
    /// What it is.
    pub kind: PieceKind,
    /// Drive on the tool's side.
    pub drive_in: String,
    /// Drive on the nut's side; absent for a socket.
    #[serde(default)]
    pub drive_out: Option<String>,
    /// Length in millimetres.
    pub length_mm: f64,
    /// Mass in grams.
    pub mass_g: f64,
    /// Part of the limit that passes the piece itself, 0.3..=1.
    pub transmission: f64,
}

/// An ordered chain of pieces from the anvil to the nut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// Name as a person would enter it.
    pub name: String,
    /// The tool it is meant for, where it fits one only.
    #[serde(default)]
    pub tool: Option<String>,
    /// Names of pieces, the anvil's neighbour first, the socket last.
    pub chain: Vec<String>,
    /// Part of the limit that passes each contact of the chain, 0.5..=1.
    #[serde(default = "defaults::contact_transmission")]
    pub contact_transmission: f64,
}

/// How the bolt is let go after a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Release {
    /// The tension ramps down within a fraction of a second.
    Smooth,
    /// Reverse blows hammer the nut loose.
    Reverse,
    /// The bolt stays tight; only the last step may do so.
    None,
}

/// A second pull of the trigger before the bolt is let go.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SecondPull {
    /// Time from the last blow of the first pull to the first of the second.
    pub after_s: f64,
    /// Time the trigger is held.
    pub drive_s: f64,
    /// The second pull's limit over the first's, 0.9..=1.3.
    #[serde(default = "defaults::one")]
    pub limit_ratio: f64,
}

/// A bump against the rig that leaves no tension.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Knock {
    /// Time before the first blow.
    pub before_s: f64,
    /// Amplitude in kN of the ringing it makes.
    #[serde(rename = "amplitude_kN")]
    pub amplitude_kn: f64,
}

/// One run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Name of the setup.
    pub setup: String,
    /// Name of the tool.
    pub tool: String,
    /// Idle time before the first blow, at least 0.6 s.
    #[serde(default = "defaults::pause_s")]
    pub pause_s: f64,
    /// Time the trigger is held.
    pub drive_s: f64,
    /// Time from the last blow of all to the release.
    #[serde(default = "defaults::hold_s")]
    pub hold_s: f64,
    /// A second pull, where there is one.
    #[serde(default)]
    pub second_pull: Option<SecondPull>,
    /// How the bolt is let go.
    #[serde(default = "defaults::release")]
    pub release: Release,
    /// Length of a smooth release in s, 0.2..=1.
    #[serde(default = "defaults::release_s")]
    pub release_s: f64,
    /// A bump before the run.
    #[serde(default)]
    pub knock: Option<Knock>,
}

impl Scenario {
    /// Reads and checks a scenario file's text.
    ///
    /// # Errors
    /// [`ScenarioError`] says which key was refused, what was expected and what was found.
    pub fn from_toml(text: &str) -> Result<Self, ScenarioError> {
        let scenario: Self = toml::from_str(text)?;
        crate::check::check(&scenario)?;
        Ok(scenario)
    }

    /// Whether samples are means over their period at this sampling rate.
    #[must_use]
    pub fn averages_at(&self, rate_hz: f64) -> bool {
        self.rig.averaging.unwrap_or(rate_hz < 500.0)
    }
}

impl Rig {
    /// Lowest and highest code that the converter can give.
    #[must_use]
    pub fn count_limits(&self) -> (i32, i32) {
        let code = libm::exp2(f64::from(self.bits) - 1.0);
        let range = libm::round(self.range_kn * self.counts_per_kn);
        // Checked scenarios keep both inside an i32, so these conversions are exact.
        ((-code).max(-range) as i32, (code - 1.0).min(range) as i32)
    }
}

mod defaults {
    use super::Release;

    pub fn firmware() -> String {
        "virtual-rig".to_owned()
    }
    pub const fn tick_rate_hz() -> u32 {
        1_000_000
    }
    pub const fn hum_hz() -> f64 {
        50.0
    }
    pub const fn time_constant_s() -> f64 {
        0.6
    }
    pub const fn one() -> f64 {
        1.0
    }
    pub const fn rise_ms() -> f64 {
        1.0
    }
    pub const fn relaxation_s() -> f64 {
        1.0
    }
    pub const fn contact_transmission() -> f64 {
        0.99
    }
    pub const fn pause_s() -> f64 {
        1.5
    }
    pub const fn hold_s() -> f64 {
        1.2
    }
    pub const fn release() -> Release {
        Release::Smooth
    }
    pub const fn release_s() -> f64 {
        0.4
    }
}
