//! An uncertainty budget as it is shown: value, uncertainties, and the lines they are made of.
//!
//! Terms are those of the GUM (JCGM 100:2008). Keys end in their unit, so each unit has its type. Which runs and
//! which lines is known to [`super::budgets`].

use boltscribe_analysis::metrology::budget::Line;
use boltscribe_analysis::results::Measure;
use boltscribe_analysis::results::uncertainty::{LEVEL, Value as Valued};
use boltscribe_store::RunId;
use serde::Serialize;
use utoipa::ToSchema;

/// The uncertainty budget of runs.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Budget)]
pub struct BudgetShown {
    /// Numbers of the runs.
    pub runs: Vec<RunId>,
    /// Which figure of them.
    pub measure: Measure,
    /// One of these, or of the others, comes from a simulated device.
    pub simulated: bool,
    /// Their mean tension.
    pub tension: Tension,
    /// Its equivalent torque; null where how far the bolt factor scatters is not known.
    pub torque: Option<Torque>,
    /// Their mean over that of the others; null where no others were named.
    pub ratio: Option<Ratio>,
    /// A simulation of the same; null where none was asked for.
    pub monte_carlo: Option<MonteCarlo>,
    /// What a person should know, a sentence each.
    pub notes: Vec<String>,
}

macro_rules! valued {
    ($(#[$doc:meta])* $name:ident, $as:ident, $line:ident, $line_as:ident,
     $value:tt, $contribution:tt, $standard:tt, $expanded:tt) => {
        $(#[$doc])*
        #[derive(Debug, Serialize, ToSchema)]
        #[schema(as = $as)]
        pub struct $name {
            /// The value.
            #[serde(rename = $value)]
            value: f64,
            /// What its uncertainty is made of.
            lines: Vec<$line>,
            /// Standard uncertainty.
            #[serde(rename = $standard)]
            standard_uncertainty: f64,
            /// Effective degrees of freedom; null where there is no end to them.
            degrees_of_freedom: Option<f64>,
            /// Expanded over standard uncertainty.
            coverage_factor: f64,
            /// Probability that the expanded uncertainty covers, 0 to 1.
            level: f64,
            /// Expanded uncertainty.
            #[serde(rename = $expanded)]
            expanded_uncertainty: f64,
            /// Name of the line that has most of the variance; null without a line.
            dominating: Option<String>,
        }

        /// A line of a budget.
        #[derive(Debug, Serialize, ToSchema)]
        #[schema(as = $line_as)]
        struct $line {
            /// Its name.
            line: String,
            /// Its standard uncertainty times its sensitivity.
            #[serde(rename = $contribution)]
            contribution: f64,
            /// Its part of the variance, percent.
            share_percent: f64,
            /// Of its standard uncertainty; null where there is no end to them.
            degrees_of_freedom: Option<f64>,
        }

        impl $name {
            /// Of a value in the unit that `by` makes of its own.
            pub(super) fn of(value: &Valued, by: f64) -> Self {
                let total: f64 = value.budget.lines.iter().map(variance).sum();
                let line = |line: &Line| $line {
                    line: line.name.clone(),
                    contribution: by * line.contribution.abs(),
                    share_percent: share_percent(line, total),
                    degrees_of_freedom: finite(line.degrees_of_freedom),
                };
                Self {
                    value: by * value.value,
                    lines: value.budget.lines.iter().map(line).collect(),
                    standard_uncertainty: by * value.combined.standard_uncertainty,
                    degrees_of_freedom: finite(value.combined.degrees_of_freedom),
                    coverage_factor: value.expanded.coverage_factor,
                    level: LEVEL,
                    expanded_uncertainty: by * value.expanded.uncertainty,
                    dominating: value.combined.dominating.as_ref().map(|(name, _)| name.clone()),
                }
            }
        }
    };
}

valued!(
    /// A tension, kN.
    Tension, BudgetOfTension, TensionLine, BudgetLineOfTension,
    "value_kN", "contribution_kN", "standard_uncertainty_kN", "expanded_uncertainty_kN"
);
valued!(
    /// An equivalent torque, N·m.
    Torque, BudgetOfTorque, TorqueLine, BudgetLineOfTorque,
    "value_Nm", "contribution_Nm", "standard_uncertainty_Nm", "expanded_uncertainty_Nm"
);
valued!(
    /// A ratio, percent.
    Percent, BudgetOfPercent, PercentLine, BudgetLineOfPercent,
    "value_percent", "contribution_percent", "standard_uncertainty_percent", "expanded_uncertainty_percent"
);

fn variance(line: &Line) -> f64 {
    line.contribution * line.contribution
}

fn share_percent(line: &Line, total: f64) -> f64 {
    if total > 0.0 { 100.0 * line.contribution * line.contribution / total } else { 0.0 }
}

fn finite(number: f64) -> Option<f64> {
    number.is_finite().then_some(number)
}

/// The mean of runs over that of others.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = BudgetOfRatio)]
pub struct Ratio {
    #[serde(flatten)]
    pub(super) percent: Percent,
    /// What the calibration's line would bring if both were from calibrations of their own, percent.
    pub(super) calibration_line_if_nothing_cancelled_percent: Option<f64>,
    /// What both have in common, and so leaves no trace.
    pub(super) cancels: Vec<&'static str>,
}

/// A simulation of a budget (JCGM 101:2008).
#[derive(Debug, Serialize, ToSchema)]
pub struct MonteCarlo {
    /// Trials.
    pub trials: usize,
    /// What they were drawn from.
    pub seed: u64,
    /// Probability that the limits cover, 0 to 1.
    pub level: f64,
    /// Of the tension, kN.
    #[serde(rename = "tension_kN")]
    pub tension_kn: SimulatedShown,
    /// Of the equivalent torque, N·m.
    #[serde(rename = "torque_Nm")]
    pub torque_nm: Option<SimulatedShown>,
}

/// What a simulation gives, in the unit of its value.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Simulated)]
pub struct SimulatedShown {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub standard_uncertainty: f64,
    /// Lower limit, as many below it as above the upper one.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}
