//! A trial as it is shown: how far it is, what comes next, what was said of it.
//!
//! Types of answers only; what they hold is worked out by [`super::trial_state`].

use super::trial_state::Reading;
use boltscribe_analysis::results::Measure;
use boltscribe_analysis::trial::{Phase, Plan, Standing, Step};
use boltscribe_model::setups::SourceKind;
use boltscribe_store::TrialEntry;
use serde::Serialize;
use utoipa::ToSchema;

/// All trials.
#[derive(Debug, Serialize, ToSchema)]
pub struct TrialList {
    /// The trials, newest first.
    pub trials: Vec<TrialLine>,
}

/// A trial in short.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TrialLine {
    /// Its name.
    pub trial: String,
    /// The rig it runs at.
    pub rig: String,
    /// Where it stands.
    pub standing: Stands,
    /// Steps that a run took.
    pub steps_done: usize,
    /// All steps, without the warm-up.
    pub steps_total: usize,
    /// Who planned it.
    pub planned_by: String,
    /// When, nanoseconds since 1970 UTC.
    pub planned_utc_ns: i64,
    /// Each step is made ready by itself.
    pub automatic: bool,
}

/// Where a trial stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = TrialStanding)]
pub enum Stands {
    /// The next run at its rig takes its step.
    #[serde(rename = "awaiting a run")]
    Awaiting,
    /// Somebody has to be ready for the next run.
    #[serde(rename = "ready to go on")]
    Next,
    /// All steps are done or left out.
    #[serde(rename = "done")]
    Done,
    /// Somebody has laid it aside.
    #[serde(rename = "laid aside")]
    Aborted,
}

impl From<&Standing> for Stands {
    fn from(standing: &Standing) -> Self {
        match standing {
            Standing::Awaiting(_) => Self::Awaiting,
            Standing::Next(_) => Self::Next,
            Standing::Done => Self::Done,
            Standing::Aborted => Self::Aborted,
        }
    }
}

/// A plan that was looked at and not stored.
#[derive(Debug, Serialize, ToSchema)]
pub struct TrialOrder {
    /// The plan.
    pub plan: Plan,
    /// Its steps in order, without the warm-up.
    pub steps: Vec<Step>,
}

/// A trial as it stands.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Trial)]
pub struct TrialShown {
    /// Its name.
    pub trial: String,
    /// When it was planned, nanoseconds since 1970 UTC.
    pub planned_utc_ns: i64,
    /// Who planned it.
    pub planned_by: String,
    /// The plan.
    pub plan: Plan,
    /// Where it stands.
    pub standing: Stands,
    /// The run that is awaited, or comes next; null where none does.
    pub next: Option<NextRun>,
    /// Its steps in order, without the warm-up.
    pub steps: Vec<StepShown>,
    /// Steps that a run took.
    pub steps_done: usize,
    /// Steps that somebody left out.
    pub steps_skipped: usize,
    /// All steps, without the warm-up.
    pub steps_total: usize,
    /// The rig counts as warm.
    pub warm: bool,
    /// The warm-up so far; null where none was planned.
    pub warm_up: Option<WarmUp>,
    /// Each step is made ready by itself.
    pub automatic: bool,
    /// Runs that took no step, those of the warm-up aside.
    pub not_counted: Vec<NotCounted>,
    /// What was said of it, oldest first.
    pub entries: Vec<TrialEntry>,
}

/// The run that is awaited, or comes next.
#[derive(Debug, Serialize, ToSchema)]
pub struct NextRun {
    /// Number of the go, from 1 within the trial: who is ready names it.
    pub go: u32,
    /// Number of its step, from 1; runs of the warm-up have 0.
    pub number: u32,
    /// What it is for.
    pub phase: Phase,
    /// The tool.
    pub tool: String,
    /// The setup.
    pub setup: String,
    /// Pieces of the setup in order from the tool to the nut; none where the setup has left the shelf.
    pub pieces: Vec<String>,
    /// What drives the tool; null where the tool has left the shelf.
    pub source: Option<SourceKind>,
    /// A fresh source is asked for before this run.
    pub fresh_source_due: bool,
    /// The coupling of the run before has to be taken off and put on again.
    pub remount_due: bool,
    /// Least and greatest dynamic pressure that a fresh air supply may have, kPa; null: any that was read.
    #[serde(rename = "air_kPa")]
    pub air_kpa: Option<(f64, f64)>,
    /// Rest before the run, seconds; told, not forced.
    pub rest_s: f64,
}

/// One step of a trial.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TrialStepAndRun)]
pub struct StepShown {
    /// From 1.
    pub number: u32,
    /// What it is for.
    pub phase: Phase,
    /// The tool.
    pub tool: String,
    /// The setup.
    pub setup: String,
    /// Which repeat it belongs to, from 1; 0 outside.
    pub block: u32,
    /// The run that took it; null where none has.
    pub run: Option<i64>,
    /// Somebody left it out.
    pub skipped: bool,
    /// The figure of that run that is compared, kN.
    #[serde(rename = "value_kN")]
    pub value_kn: Option<f64>,
}

/// A run that took no step.
#[derive(Debug, Serialize, ToSchema)]
pub struct NotCounted {
    /// Its go.
    pub go: u32,
    /// Its number in the store.
    pub run: i64,
    /// Why.
    pub why: String,
}

/// How a warm-up goes.
#[derive(Debug, Serialize, ToSchema)]
pub struct WarmUp {
    /// Runs of it.
    pub runs: usize,
    /// Their figures in order, kN.
    #[serde(rename = "values_kN")]
    pub values_kn: Vec<f64>,
    /// What they say.
    pub words: String,
    /// Lower 90 % limit of their slope, percent of the mean a run; null where they are too few.
    pub slope_percent_low: Option<f64>,
    /// Upper 90 % limit likewise.
    pub slope_percent_high: Option<f64>,
    /// Greatest less least, percent of the mean.
    pub range_percent: Option<f64>,
    /// About 2 where they are steady.
    pub von_neumann_ratio: Option<f64>,
}

/// The runs of a trial as a comparison takes them.
#[derive(Debug, Serialize, ToSchema)]
pub struct TrialReadings {
    /// Name of the trial.
    pub trial: String,
    /// Which figure of the runs.
    pub measure: Measure,
    /// The setup that counts as 100 %.
    pub baseline: String,
    /// The gate, seconds after the first blow; null where another figure is meant, or there is no run.
    pub gate_s: Option<f64>,
    /// Runs of baseline and setups in time order.
    pub(super) rows: Vec<Reading>,
}
