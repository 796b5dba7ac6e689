//! What a comparison answers as one document: its members, with unit and range.
//!
//! Types only, for programs that read the document; absent figures are null. Must not work anything out.

use super::answer::{DriftFound, Verdict};
use super::document::Asked;
use super::observation::Drift;
use super::pieces::PieceModel;
use super::told_design::{ArrangementTold, EquivalenceTold, MountingsTold, ResolutionTold, SimulationTold};
use serde::Serialize;
use utoipa::ToSchema;

/// What every answer opens with.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonHead)]
pub struct Head {
    /// Which figure of a run: `gate`, `held`, `peak`, `plateau`, or the quantity of a file that does not say.
    pub measure: String,
    /// `tension` or `torque`.
    pub quantity: String,
    /// `kN` or `N·m`.
    pub unit: String,
    /// The gate, seconds after the first blow; null where the measure is none.
    pub gate_s: Option<f64>,
    /// The setup that counts as 100 %.
    pub baseline: String,
    /// Risk of a wrong verdict over one tool's setups, above 0 and below 0.5; intervals have the confidence 1 - alpha.
    pub alpha: f64,
}

impl Head {
    pub(super) fn of(asked: &Asked<'_>) -> Self {
        Self {
            measure: asked.measure.to_owned(),
            quantity: asked.quantity.to_owned(),
            unit: asked.unit.to_owned(),
            gate_s: asked.gate_s,
            baseline: asked.baseline.to_owned(),
            alpha: asked.alpha,
        }
    }
}

/// What was fitted: the drift that was taken out, and what is left.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonFit)]
pub struct FitTold {
    /// How the drift was taken out.
    drift: Drift,
    /// Its slope, percent per hour; null where no line was fitted.
    drift_percent_per_hour: Option<f64>,
    /// Standard error of the slope, percent per hour.
    drift_se_percent_per_hour: Option<f64>,
    /// Two-sided p of no drift; shown, never used to choose.
    drift_p_value: Option<f64>,
    /// SD of one run, percent; null without a residual degree of freedom.
    residual_sd_percent: Option<f64>,
    /// Residual degrees of freedom.
    degrees_of_freedom: usize,
}

impl FitTold {
    pub(super) fn of(
        drift: Drift,
        found: Option<DriftFound>,
        residual_sd_percent: Option<f64>,
        degrees_of_freedom: usize,
    ) -> Self {
        Self {
            drift,
            drift_percent_per_hour: found.map(|d| d.percent_per_hour),
            drift_se_percent_per_hour: found.and_then(|d| d.se_percent_per_hour),
            drift_p_value: found.and_then(|d| d.p_value),
            residual_sd_percent,
            degrees_of_freedom,
        }
    }
}

/// A run that was left out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct LeftOut {
    /// Its number.
    pub run: u64,
    /// Why; null where it has no tag to be compared by.
    pub why: Option<String>,
}

/// A comparison of setups.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SetupsCompared {
    /// What was asked.
    #[serde(flatten)]
    pub head: Head,
    /// What was fitted.
    #[serde(flatten)]
    pub fit: FitTold,
    /// The loss that is to be ruled out, percent; null where nobody asked.
    pub no_loss_above_percent: Option<f64>,
    /// The step of the readings against their scatter; null where no step is known.
    pub resolution: Option<ResolutionTold>,
    /// How mountings scatter; null where nobody noted them. Where there are any, the mean of each is one reading, and the
    /// residual SD that of such a mean.
    pub mountings: Option<MountingsTold>,
    /// Runs that do not count.
    pub excluded: Vec<LeftOut>,
    /// Each tool's baseline, then its other setups.
    pub setups: Vec<SetupCompared>,
    /// What the residuals look like.
    pub checks: ChecksTold,
    /// What the order of the runs leaves in the percents.
    pub arrangement: ArrangementTold,
    /// How often this comparison is right, counted; null where nobody asked.
    pub simulation: Option<SimulationTold>,
    /// How many runs would show a difference; null where nobody asked.
    pub planning: Option<Planning>,
    /// What the limits hold, or why there are none, a sentence each.
    pub notes: Vec<String>,
}

/// One setup with one tool.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SetupCompared {
    /// Name of the setup.
    pub setup: String,
    /// Name of the tool; null where only one was used.
    pub tool: Option<String>,
    /// Runs that count.
    pub runs: usize,
    /// Mountings that they belong to; null where nobody noted them.
    pub mountings: Option<usize>,
    /// Percent of the baseline; 100 for the baseline itself.
    pub percent_of_baseline: f64,
    /// Lower limit of this percent alone.
    pub low: Option<f64>,
    /// Upper limit of this percent alone.
    pub high: Option<f64>,
    /// Lower limit that holds for all of this tool's setups together, percent.
    pub low_simultaneous: Option<f64>,
    /// Upper limit likewise.
    pub high_simultaneous: Option<f64>,
    /// Lower limit for all of this tool's setups together with what the calibration leaves in a ratio, percent.
    pub low_total: Option<f64>,
    /// Upper limit likewise.
    pub high_total: Option<f64>,
    /// Difference over its standard error.
    pub t: Option<f64>,
    /// Residual degrees of freedom.
    pub degrees_of_freedom: Option<usize>,
    /// Two-sided p of this comparison alone.
    pub p_value: Option<f64>,
    /// p for all of this tool's setups together; the verdict follows from it.
    pub p_adjusted: Option<f64>,
    /// The least difference that these repeats would have shown, percent.
    pub detectable_percent: Option<f64>,
    /// The percent by a fit that outliers pull less (Huber); null for the baseline and where there is no such fit.
    pub percent_by_huber: Option<f64>,
    /// That is off by more than half of the interval `low` to `high`, or of the one that outliers do not widen: look at the
    /// runs.
    pub huber_disagrees: Option<bool>,
    /// Percent that a drift of 1 % which dies away leaves in this percent, from the order of the runs alone, with its
    /// sign: that of readings which begin too high; null for the baseline.
    pub drift_left_percent: Option<f64>,
    /// The time constant of such a drift at which it leaves most, seconds.
    pub drift_left_time_constant_s: Option<f64>,
    /// What the adjusted p says; null where nothing can be said.
    pub verdict: Option<Verdict>,
    /// Whether the stated loss is ruled out; null where nobody asked, or nothing can be said.
    pub equivalence: Option<EquivalenceTold>,
    /// Why something is missing.
    pub note: Option<&'static str>,
}

/// What the residuals look like; shown, never used to drop a run or to choose a model.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonChecks)]
pub struct ChecksTold {
    /// The run that stands out most.
    pub outlier: Option<OutlierTold>,
    /// p of no trend in time.
    pub trend_p_value: Option<f64>,
    /// Correlation of each residual with the next, -1 to 1.
    pub lag_1_correlation: Option<f64>,
    /// About 2 where neighbours have nothing in common.
    pub von_neumann_ratio: Option<f64>,
}

/// The run that stands out most.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonOutlier)]
pub struct OutlierTold {
    /// Its number.
    pub run: u64,
    /// Its residual over what residuals spread by.
    pub studentised: f64,
    /// p of such a run where none is wrong.
    pub p_value: f64,
}

/// How many runs of a new trial would show a difference. Runs added to those that were compared are a second look,
/// which errs more often than alpha says.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = ComparisonPlanning)]
pub struct Planning {
    /// The difference, percent.
    pub difference_percent: f64,
    /// Probability of showing it, 0 to 1.
    pub power: f64,
    /// SD of one run that was reckoned with, percent; null where none is known.
    pub sd_percent: Option<f64>,
    /// Where that is from: `expected`, `residuals` or `none`.
    pub sd_from: &'static str,
    /// Runs of each setup and of the baseline in a new trial; null where they cannot be told.
    pub runs_each: Option<usize>,
    /// Why something is missing.
    pub note: Option<&'static str>,
}

/// What pieces do.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct PiecesCompared {
    /// What was asked.
    #[serde(flatten)]
    pub head: Head,
    /// What was fitted.
    #[serde(flatten)]
    pub fit: FitTold,
    /// Runs that do not count.
    pub excluded: Vec<LeftOut>,
    /// How losses go together in what follows.
    pub model: PieceModel,
    /// How the same runs lie about the other model; null where it cannot be fitted.
    pub other_model: Option<OtherModelTold>,
    /// Pieces that are in every chain: part of the baseline's level.
    pub in_every_chain: Vec<String>,
    /// What one more of each leaves.
    pub pieces: Vec<PieceCompared>,
    /// Whether losses multiply; null where nothing is left to test with.
    pub lack_of_fit: Option<LackOfFitTold>,
    /// The untried chain; null where none was asked for.
    pub prediction: Option<PredictionTold>,
}

/// How runs lie about a model that was not chosen.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = OtherPieceModel)]
pub struct OtherModelTold {
    /// Which.
    pub model: PieceModel,
    /// SD of one run about it, percent; null without a residual degree of freedom.
    pub residual_sd_percent: Option<f64>,
    /// Its lack of fit; null where nothing is left to test with.
    pub lack_of_fit: Option<LackOfFitTold>,
}

/// What one more of a piece leaves.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct PieceCompared {
    /// The piece, or several where the runs cannot tell them apart, such as `ext + joint`.
    pub piece: String,
    /// The same in parts.
    pub combination: Vec<PartCompared>,
    /// What it leaves, percent.
    pub percent: f64,
    /// Lower limit of that percent.
    pub low: Option<f64>,
    /// Upper limit of that percent.
    pub high: Option<f64>,
    /// Two-sided p of no effect.
    pub p_value: Option<f64>,
    /// The same times the number of effects, at most 1.
    pub p_adjusted: Option<f64>,
    /// Why something is missing.
    pub note: Option<&'static str>,
}

/// A part of what cannot be told apart.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct PartCompared {
    /// Name of the piece.
    pub piece: String,
    /// How often it counts.
    pub count: f64,
}

/// Whether losses multiply.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = LackOfFit)]
pub struct LackOfFitTold {
    /// Mean square of what pieces do not explain over that of repeats.
    pub f: f64,
    /// Degrees of freedom above: chains beyond what pieces explain.
    pub df_above: usize,
    /// Degrees of freedom below: those of the repeats.
    pub df_below: usize,
    /// p of losses that multiply.
    pub p_value: f64,
}

/// A chain that was not tried.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = Prediction)]
pub struct PredictionTold {
    /// Its pieces.
    pub pieces: Vec<String>,
    /// Percent of the baseline; null where the runs cannot tell.
    pub percent_of_baseline: Option<f64>,
    /// Lower limit of its mean, percent.
    pub low: Option<f64>,
    /// Upper limit of its mean, percent.
    pub high: Option<f64>,
    /// Lower limit of one run of it, percent.
    pub low_one_run: Option<f64>,
    /// Upper limit of one run of it, percent.
    pub high_one_run: Option<f64>,
    /// Why something is missing, or a caution.
    pub note: Option<&'static str>,
}
