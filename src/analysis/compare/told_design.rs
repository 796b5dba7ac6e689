//! What a comparison answers of its readings and their order: steps, mountings, drifts that stay, losses ruled out.
//!
//! Types only, beside those of [`super::told`]. Must not work anything out.

use super::answer::MountingsFound;
use super::arrangement::{Arrangement, Named};
use super::equivalence::{Claim, Equivalence};
use super::resolution::ResolutionFound;
use super::simulation::{Counted, Simulated};
use serde::Serialize;
use utoipa::ToSchema;

/// Whether a loss above the stated one is ruled out, by two one-sided tests.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonEquivalence)]
pub struct EquivalenceTold {
    /// p of a loss above the stated one, for all of this tool's setups together (Dunnett, one side).
    pub p_loss: f64,
    /// p of a loss or a gain above the stated one, likewise (Bonferroni).
    pub p_either: f64,
    /// What is claimed: `equivalent`, `no-such-loss`, or `not-ruled-out`.
    pub claim: Claim,
}

impl EquivalenceTold {
    pub(super) const fn of(found: Equivalence) -> Self {
        Self { p_loss: found.p_loss, p_either: found.p_either, claim: found.claim }
    }
}

/// The step of the readings against their scatter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonResolution)]
pub struct ResolutionTold {
    /// The coarsest step, percent of its reading.
    pub step_percent: f64,
    /// Repeats scatter by less than half a step, so all are rounded the same way: the rounding, step/√12, is in each limit
    /// and does not shrink with repeats.
    pub counts: bool,
}

impl ResolutionTold {
    pub(super) const fn of(found: ResolutionFound) -> Self {
        Self { step_percent: found.step_percent, counts: found.counts }
    }
}

/// How mountings scatter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonMountings)]
pub struct MountingsTold {
    /// How many there are.
    pub mountings: usize,
    /// SD from mounting to mounting, percent, what pulls scatter by taken off; null where that cannot be told.
    pub sd_percent: Option<f64>,
    /// SD of pulls within a mounting, percent; null where no mounting has two.
    pub pull_sd_percent: Option<f64>,
}

impl MountingsTold {
    pub(super) const fn of(found: MountingsFound) -> Self {
        let MountingsFound { mountings, sd_percent, pull_sd_percent } = found;
        Self { mountings, sd_percent, pull_sd_percent }
    }
}

/// What the order of the runs leaves in the percents, whatever the values are.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonArrangement)]
pub struct ArrangementTold {
    /// Whether alpha is the risk of a wrong verdict with this order of runs.
    pub risk_holds: bool,
    /// Setups whose runs all follow each other.
    pub in_blocks: Vec<String>,
    /// Setups of which runs follow each other while nobody noted whether the coupling was taken off between them.
    pub perhaps_one_mounting: Vec<String>,
    /// The most that a drift of 1 % which dies away leaves in any percent.
    pub drift_left_most_percent: f64,
    /// What a person should know of it, a sentence each.
    pub notes: Vec<String>,
}

impl ArrangementTold {
    pub(super) fn of(found: &Arrangement) -> Self {
        Self {
            risk_holds: found.risk_holds(),
            in_blocks: found.in_blocks.iter().map(Named::words).collect(),
            perhaps_one_mounting: found.perhaps_one_mounting.iter().map(Named::words).collect(),
            drift_left_most_percent: found.most_left(),
            notes: found.notes(),
        }
    }
}

/// How often this comparison is right: trials of its very order of runs with a known truth.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonSimulation)]
pub struct SimulationTold {
    /// Trials of each scenario.
    pub trials: u32,
    /// What they were drawn from: the same seed, the same counts.
    pub seed: u64,
    /// SD of one pull that was drawn with, percent.
    pub sd_percent: f64,
    /// Loss of each setup for coverage and power, percent.
    pub difference_percent: f64,
    /// What was counted.
    pub scenarios: Vec<ScenarioTold>,
}

/// What was counted of one scenario.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonScenario)]
pub struct ScenarioTold {
    /// What the rig and the couplings did besides scatter.
    pub scenario: &'static str,
    /// How often limits of one percent held the truth, percent.
    pub coverage_percent: f64,
    /// How often the simultaneous limits of a tool all did, percent.
    pub together_percent: f64,
    /// How often a difference was shown with a tool where none was, percent.
    pub false_differences_percent: f64,
    /// How often a setup that lost as stated was shown to, percent.
    pub power_percent: f64,
    /// Standard error of the false differences at the risk of the comparison, percent.
    pub se_percent: f64,
}

impl SimulationTold {
    /// As one part of the document.
    #[must_use]
    pub fn of(asked: &Simulated, counted: &[Counted], alpha: f64) -> Self {
        let se_percent = 100.0 * libm::sqrt(alpha * (1.0 - alpha) / f64::from(asked.trials));
        let scenario = |c: &Counted| ScenarioTold {
            scenario: c.scenario.name(),
            coverage_percent: 100.0 * c.coverage,
            together_percent: 100.0 * c.together,
            false_differences_percent: 100.0 * c.false_differences,
            power_percent: 100.0 * c.power,
            se_percent,
        };
        Self {
            trials: asked.trials,
            seed: asked.seed,
            sd_percent: asked.sd_percent,
            difference_percent: asked.difference_percent,
            scenarios: counted.iter().map(scenario).collect(),
        }
    }
}
