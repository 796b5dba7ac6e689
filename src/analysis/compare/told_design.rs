//! What a comparison answers of its readings and their order: steps, mountings, drifts that stay, losses ruled out.
//!
//! Types only, beside those of [`super::told`]. Must not work anything out.

use super::answer::MountingsFound;
use super::arrangement::{Arrangement, Named};
use super::equivalence::{Claim, Equivalence};
use super::resolution::ResolutionFound;
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
    /// What is claimed: `equivalent`, `no such loss`, or `not ruled out`.
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
