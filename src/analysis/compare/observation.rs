//! What is compared, what is asked of it, and why it cannot be answered.
//!
//! An error names the observation by its place; who read it from a file knows the line.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// One run's value and what was coupled.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Observation {
    /// Number of the run.
    pub run: u64,
    /// When, in seconds from any fixed moment; rising from observation to observation.
    pub time_s: f64,
    /// Name of the setup.
    pub setup: String,
    /// Name of the tool; none where only one was used.
    pub tool: Option<String>,
    /// The measure, above zero, in any unit.
    pub value: f64,
    /// Pieces of the setup, where they are known.
    pub pieces: Vec<String>,
    /// Which mounting of the setup it belongs to; none where nobody noted it.
    pub mounting: Option<String>,
    /// The smallest step that could be read, in the unit of the value; none: nobody knows, or far finer than its scatter.
    pub resolution: Option<f64>,
    /// Why it does not count; none: it counts.
    pub excluded: Option<String>,
}

/// How the rig's drift is taken out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Drift {
    /// Not at all.
    None,
    /// A straight line in time, one for the rig, fitted together with the setups.
    Linear,
    /// Each run against the baseline runs before and after it, interpolated in time.
    Bracket,
}

impl Drift {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Linear => "linear",
            Self::Bracket => "bracket",
        }
    }
}

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// The setup that counts as 100 %.
    pub baseline: String,
    /// How drift is taken out; none: linear where the baseline stands at both ends, else not at all.
    pub drift: Option<Drift>,
    /// The risk of a wrong verdict, over one tool's setups; intervals have the confidence 1 − alpha.
    pub alpha: f64,
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CompareError {
    /// Nothing counts.
    #[error("expected runs that count, found none")]
    Empty,
    /// A value whose logarithm cannot be taken.
    #[error("run {run}: expected a value above zero, found {found}")]
    Value {
        /// Place of the observation.
        row: usize,
        /// Its run.
        run: u64,
        /// The value.
        found: f64,
    },
    /// Times must rise.
    #[error("run {run}: expected a time after {before} s, found {found} s")]
    Time {
        /// Place of the observation.
        row: usize,
        /// Its run.
        run: u64,
        /// Time of the observation before.
        before: f64,
        /// Its time.
        found: f64,
    },
    /// A run stands twice.
    #[error("run {run}: expected each run once, found it a second time")]
    Twice {
        /// Place of the second.
        row: usize,
        /// The run.
        run: u64,
    },
    /// No such setup.
    #[error("expected a baseline among the setups {found:?}, found '{baseline}'")]
    UnknownBaseline {
        /// What was asked for.
        baseline: String,
        /// What there is.
        found: Vec<String>,
    },
    /// No run of the baseline counts.
    #[error("expected runs of the baseline '{baseline}'{}, found none that counts", with(tool.as_deref()))]
    NoBaseline {
        /// What was asked for.
        baseline: String,
        /// The tool that lacks it.
        tool: Option<String>,
    },
    /// Nothing to compare with the baseline.
    #[error("expected at least one setup besides the baseline '{baseline}', found none that counts")]
    OneSetup {
        /// The baseline.
        baseline: String,
    },
    /// No setup has runs at different times.
    #[error("cannot tell a drift from the setups: expected a setup with runs at different times, found none")]
    Drift,
    /// A run without baseline runs on both sides.
    #[error("run {run}: expected runs of the baseline{} before and after it, found none {side}", with(tool.as_deref()))]
    Bracket {
        /// Place of the observation.
        row: usize,
        /// Its run.
        run: u64,
        /// Its tool.
        tool: Option<String>,
        /// `before` or `after`.
        side: &'static str,
    },
    /// A run whose mounting is not known, while that of others is.
    #[error("run {run}: expected the mounting, as other runs have one, found none")]
    NoMounting {
        /// Place of the observation.
        row: usize,
        /// Its run.
        run: u64,
    },
    /// A coupling that was taken off and put on again is a mounting of its own.
    #[error("run {run}: expected a new name for the mounting, found '{mounting}' again after another")]
    MountedAgain {
        /// Place of the observation.
        row: usize,
        /// Its run.
        run: u64,
        /// The name.
        mounting: String,
    },
    /// A run whose pieces are not known.
    #[error("run {run}: expected the pieces of its chain, found none")]
    NoPieces {
        /// Place of the observation.
        row: usize,
        /// Its run.
        run: u64,
    },
    /// One name, two chains.
    #[error("run {run}: expected the setup '{setup}' to be '{expected}' as before, found '{found}'")]
    TwoChains {
        /// Place of the observation.
        row: usize,
        /// Its run.
        run: u64,
        /// The setup.
        setup: String,
        /// Its chain at its first run.
        expected: String,
        /// Its chain here.
        found: String,
    },
    /// Compliances have a baseline of their own with each tool.
    #[error("compliance: expected runs of one tool, found {found}")]
    ManyTools {
        /// How many tools there are.
        found: usize,
    },
    /// The method found no compliances above zero.
    #[error("compliance: expected losses that a sum of compliances can make, found none that fit")]
    NoCompliance,
    /// Brackets know no pieces.
    #[error("pieces: expected the drift none or linear, found bracket")]
    NoPieceBracket,
    /// A risk outside its range.
    #[error("expected a risk between 0 and 0.5, found {found}")]
    Alpha {
        /// What was given.
        found: f64,
    },
    /// The fit refused.
    #[error(transparent)]
    Fit(#[from] boltscribe_numerics::LinearError),
}

fn with(tool: Option<&str>) -> String {
    tool.map_or_else(String::new, |tool| format!(" with the tool '{tool}'"))
}

impl CompareError {
    /// Place of the observation that is wrong, with the column it is wrong in.
    #[must_use]
    pub const fn place(&self) -> Option<(usize, &'static str)> {
        match self {
            Self::Value { row, .. } => Some((*row, "value")),
            Self::Time { row, .. } => Some((*row, "time_s")),
            Self::Twice { row, .. } => Some((*row, "run")),
            Self::Bracket { row, .. } => Some((*row, "setup")),
            Self::NoMounting { row, .. } | Self::MountedAgain { row, .. } => Some((*row, "mounting")),
            Self::NoPieces { row, .. } | Self::TwoChains { row, .. } => Some((*row, "pieces")),
            _ => None,
        }
    }
}
