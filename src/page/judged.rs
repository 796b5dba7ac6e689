//! What is answered about a tool and its limit.
//!
//! A type of answers only; what it holds is worked out by [`super::judging`]. Decisions are guarded as in JCGM 106.

use crate::results::Measure;
use serde::Serialize;
use utoipa::ToSchema;

/// Whether the latest runs of a tool meet a limit.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ToolAcceptance)]
pub struct AcceptanceShown {
    /// The tool.
    pub tool: String,
    /// The setup of its runs; null where they have none.
    pub setup: Option<String>,
    /// Which figure of them.
    pub measure: Measure,
    /// Numbers of the runs that were judged, newest first.
    pub runs: Vec<i64>,
    /// Unit of value, limit, uncertainties and guard: `kN`, `Nm`, or `percent` of a reference tool.
    pub unit: &'static str,
    /// Mean of the runs.
    pub value: f64,
    /// What it was held against.
    pub limit: f64,
    /// `at least` or `at most` the limit.
    pub side: &'static str,
    /// `conforms`, `does not conform` or `undecided`.
    pub decision: &'static str,
    /// Probability that the tool meets the limit, 0 to 1.
    pub probability_of_conformity: f64,
    /// Probability that was asked of a yes or no, above 0.5 and below 1.
    pub probability_of_a_right_decision: f64,
    /// Standard uncertainty of the value.
    pub standard_uncertainty: f64,
    /// Of that; null where there is no end to them.
    pub degrees_of_freedom: Option<f64>,
    /// How far inside the limit the value must lie.
    pub guard: f64,
    /// Runs that would decide, if value and spread stay; null where it is decided or runs alone do not decide.
    pub runs_to_decide: Option<usize>,
    /// Standard uncertainty that would decide; null where it is decided.
    pub standard_uncertainty_to_decide: Option<f64>,
    /// What a person should know, a sentence each.
    pub notes: Vec<String>,
}
