//! What people tell a rig, as names and numbers only: stored like data, replayed from captures.
//!
//! Names are resolved before a command reaches a pipeline, so a command carries all the figures a run
//! needs (bolt factor, allowed tension, contacts). Nothing here knows the store or a clock.

use crate::constants::{BoltFactor, Calibration};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The state of what drives the tool, as entered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum SourceState {
    /// A battery: rested voltage in volts where measured, and whether it is freshly charged.
    Battery {
        /// Name of the battery.
        id: String,
        /// Volts after rest, without load.
        rested_v: Option<f64>,
        /// Freshly charged and rested.
        fresh: Option<bool>,
    },
    /// Compressed air: dynamic pressure at the tool while it runs, in kilopascals.
    Air {
        /// kPa at the tool's inlet while it runs.
        #[serde(rename = "dynamic_kPa")]
        dynamic_kpa: Option<f64>,
    },
    /// Mains: voltage in volts.
    Mains {
        /// Volts at the outlet.
        voltage_v: Option<f64>,
    },
}

/// The test bolt in the rig, with the figures a run needs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BoltInForce {
    /// Name of the test bolt.
    pub name: String,
    /// Tension per equivalent torque; none: torque stays null.
    #[serde(rename = "factor_N_per_Nm")]
    pub factor: Option<BoltFactor>,
    /// Tension that must not be passed; none is the standing state "no limit set".
    #[serde(rename = "allowed_kN")]
    pub allowed_kn: Option<f64>,
}

/// The step of a trial that the next run is for. It goes with the tags, so that a run names its step by the samples
/// it is made of, whatever a wall clock says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Attempt {
    /// Name of the trial, which is unique and never changed.
    pub trial: String,
    /// Number of the step, from 1; 0 for a run of the warm-up.
    pub step: u32,
    /// Which "ready" of that trial it is, from 1.
    pub attempt: u32,
}

/// Everything a run is tagged with.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct InForce {
    /// Name of the setup (chain of pieces); none: runs are flagged untagged.
    pub setup: Option<String>,
    /// Matings from anvil to socket drive.
    pub contacts: Option<u32>,
    /// Name of the tool.
    pub tool: Option<String>,
    /// What drives the tool.
    pub source: Option<SourceState>,
    /// The test bolt.
    pub bolt: Option<BoltInForce>,
    /// The step of a trial that is awaited; none: the next run is for no trial. One run takes it.
    #[serde(default)]
    pub attempt: Option<Attempt>,
    /// Number of the newest row of the shelf when these names were looked up: they mean what they meant then, whatever
    /// is put there later under the same name. None: tags of older programs.
    #[serde(default)]
    pub shelf: Option<i64>,
    /// No tool is coupled: what loads the bolt now is a calibration, a push by hand, a trial pull. Such runs are kept,
    /// flagged, and counted nowhere.
    #[serde(default)]
    pub no_tool: bool,
}

impl InForce {
    /// The same tags, for no trial.
    #[must_use]
    pub fn without_attempt(&self) -> Self {
        Self { attempt: None, ..self.clone() }
    }
}

/// A command to one rig's pipeline.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "command", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Command {
    /// From now on runs carry these tags.
    Use {
        /// The tags.
        in_force: InForce,
    },
    /// Take the present idle reading as the rig's zero.
    Zero,
    /// Take a zero found earlier (at start, from the store), kN in the calibration's terms.
    RestoreZero {
        /// The idle reading that counts as zero.
        #[serde(rename = "zero_kN")]
        zero_kn: f64,
    },
    /// Begin no run before the rig rests where it last rested (at start, from the store): what goes on now may be
    /// a tightening. A code, so that it holds whatever the calibration.
    AwaitRest {
        /// The idle reading as it was last seen.
        rest_counts: f64,
    },
    /// Convert with this calibration from now on.
    Calibrate {
        /// The line.
        calibration: Calibration,
    },
}
