//! A run with its context: what was coupled, which constants were used, equivalent torque and flags.
//!
//! Torque here is the equivalent one, tension over bolt factor; must not know bytes or storage.

use super::flags::Flag;
use boltscribe_model::constants::BoltFactor;
use boltscribe_model::control::InForce;
use boltscribe_model::units::{NewtonMetres, Newtons};
use boltscribe_signal::runs::{Basis, Closing, Record};
use serde::{Deserialize, Serialize};

/// Equivalent steady torques on this test bolt; none where no bolt factor is known.
///
/// This is the steady torque that would give the same tension, not what the tool delivers blow by
/// blow.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Torques {
    /// Of the held tension.
    #[serde(rename = "held_Nm")]
    pub held: Option<NewtonMetres>,
    /// Of the peak.
    #[serde(rename = "peak_Nm")]
    pub peak: Option<NewtonMetres>,
    /// Of the fitted limit.
    #[serde(rename = "plateau_Nm")]
    pub plateau: Option<NewtonMetres>,
    /// Of each gate, in the order of the record.
    #[serde(rename = "gates_Nm")]
    pub gates: Vec<Option<NewtonMetres>>,
}

/// One run as it is announced and stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunResult {
    /// Number of this run within its stream, from 1; raw blocks carry the same number.
    pub run_seq: u32,
    /// The measures.
    pub record: Record,
    /// What was in force at the first blow.
    pub in_force: InForce,
    /// Name of the calibration used.
    pub calibration: String,
    /// Equivalent torques.
    pub torques: Torques,
    /// Sorted, without repeats.
    pub flags: Vec<Flag>,
    /// What it was measured from besides its samples; none for runs of programs that did not keep it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub basis: Option<Basis>,
}

/// The second row of a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Closed {
    /// The run it belongs to.
    pub run_seq: u32,
    /// How the run ended.
    pub closing: Closing,
    /// Flags that came after the announcement, sorted.
    pub flags: Vec<Flag>,
}

/// What surrounds a run, besides its record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Context {
    /// Tags at the first blow.
    pub in_force: InForce,
    /// The tags changed between the first blow and the announcement.
    pub setup_changed: bool,
    /// Name of the calibration.
    pub calibration: String,
    /// The calibration is nominal.
    pub nominal: bool,
}

impl RunResult {
    /// Puts torque and flags to a record.
    #[must_use]
    pub fn new(run_seq: u32, record: Record, context: Context) -> Self {
        let torques = torques(&record, context.in_force.bolt.as_ref().and_then(|b| b.factor));
        let mut flags: Vec<Flag> = record.flags.iter().copied().map(Flag::from).collect();
        flags.extend(context_flags(&context.in_force, record.peak));
        let mut raise = |flag: Flag, when: bool| {
            if when {
                flags.push(flag);
            }
        };
        raise(Flag::SetupChanged, context.setup_changed);
        raise(Flag::Nominal, context.nominal);
        flags.sort_unstable();
        flags.dedup();
        Self {
            run_seq,
            record,
            in_force: context.in_force,
            calibration: context.calibration,
            torques,
            flags,
            basis: None,
        }
    }
}

impl Closed {
    /// Puts flags to a closing row.
    #[must_use]
    pub fn new(run_seq: u32, closing: Closing) -> Self {
        let flags = closing.told().into_iter().map(Flag::from).collect();
        Self { run_seq, closing, flags }
    }
}

/// Flags that follow from what was in force, with the greatest tension that is known.
pub(super) fn context_flags(in_force: &InForce, greatest: Newtons) -> Vec<Flag> {
    let allowed = in_force.bolt.as_ref().and_then(|b| b.allowed_kn).map(Newtons::from_kn);
    let raised = [
        (Flag::NoLimit, allowed.is_none()),
        (Flag::OverLimit, allowed.is_some_and(|limit| greatest > limit)),
        (Flag::NoTool, in_force.no_tool),
        (Flag::Untagged, in_force.setup.is_none() && !in_force.no_tool),
        (Flag::NotFresh, not_fresh(in_force)),
    ];
    raised.into_iter().filter_map(|(flag, when)| when.then_some(flag)).collect()
}

fn not_fresh(in_force: &InForce) -> bool {
    matches!(
        &in_force.source,
        Some(boltscribe_model::control::SourceState::Battery { fresh: Some(false), .. })
    )
}

fn torques(record: &Record, factor: Option<BoltFactor>) -> Torques {
    let Some(factor) = factor else {
        return Torques { gates: vec![None; record.gates.len()], ..Torques::default() };
    };
    Torques {
        held: record.held.map(|f| factor.torque(f)),
        peak: Some(factor.torque(record.peak)),
        plateau: record.plateau.map(|p| factor.torque(p.limit)),
        gates: record.gates.iter().map(|g| g.tension.map(|f| factor.torque(f))).collect(),
    }
}
