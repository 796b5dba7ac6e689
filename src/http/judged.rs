//! What is answered about a tool and its limit.
//!
//! A type of answers only; what it holds is worked out by [`super::judging`]. Decisions are guarded as in JCGM 106.

use boltscribe_analysis::compare::acceptance::Decision;
use boltscribe_analysis::results::Measure;
use serde::Serialize;
use utoipa::ToSchema;

/// On which side of a limit a tool must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub enum Side {
    /// Not below it.
    #[serde(rename = "at least")]
    AtLeast,
    /// Not above it.
    #[serde(rename = "at most")]
    AtMost,
}

impl Side {
    /// Of an upper limit, or of a lower one.
    #[must_use]
    pub const fn of(upper: bool) -> Self {
        if upper { Self::AtMost } else { Self::AtLeast }
    }

    /// As it is written.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::AtLeast => "at least",
            Self::AtMost => "at most",
        }
    }
}

/// The unit a tool is judged in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub enum JudgedUnit {
    /// Tension, kN.
    #[serde(rename = "kN")]
    Kilonewtons,
    /// Equivalent torque, N·m.
    #[serde(rename = "Nm")]
    NewtonMetres,
    /// Percent of a reference tool.
    #[serde(rename = "percent")]
    Percent,
}

impl JudgedUnit {
    /// As it is written.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Kilonewtons => "kN",
            Self::NewtonMetres => "Nm",
            Self::Percent => "percent",
        }
    }
}

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
    /// One of these, or of the reference tool's, comes from a simulated device.
    pub simulated: bool,
    /// Unit of value, limit, uncertainties and guard.
    pub unit: JudgedUnit,
    /// Mean of the runs.
    pub value: f64,
    /// What it was held against.
    pub limit: f64,
    /// On which side of the limit it must be.
    pub side: Side,
    /// What is decided.
    pub decision: Decision,
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
    /// After how many runs one may judge; empty where one look was planned.
    pub looks: Vec<u32>,
    /// Which look this is, from 1; null where one was planned.
    pub look: Option<usize>,
    /// Runs that another test, of new runs by themselves, would need to decide if value and spread are these; null where
    /// it is decided or runs alone do not decide. Not to be added to these.
    pub runs_of_a_new_test: Option<usize>,
    /// Standard uncertainty that would decide; null where it is decided.
    pub standard_uncertainty_to_decide: Option<f64>,
    /// What a person should know, a sentence each.
    pub notes: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn words_in_sentences_are_those_of_the_document() {
        for side in [Side::AtLeast, Side::AtMost] {
            assert_eq!(json!(side), side.name());
        }
        for unit in [JudgedUnit::Kilonewtons, JudgedUnit::NewtonMetres, JudgedUnit::Percent] {
            assert_eq!(json!(unit), unit.name());
        }
        for decision in [Decision::Conforms, Decision::DoesNotConform, Decision::Undecided] {
            assert_eq!(json!(decision), decision.name());
        }
    }
}
