//! The figures of a run as typed: one set of words for every verb.
//!
//! What each figure is, `results` knows.

use boltscribe_analysis::results;
use clap::ValueEnum;

/// A figure of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Measure {
    /// Tension at the first gate.
    Gate,
    /// Settled tension after the last blow.
    Held,
    /// Greatest filtered tension.
    Peak,
    /// Fitted limit.
    Plateau,
}

impl From<Measure> for results::Measure {
    fn from(typed: Measure) -> Self {
        match typed {
            Measure::Gate => Self::Gate,
            Measure::Held => Self::Held,
            Measure::Peak => Self::Peak,
            Measure::Plateau => Self::Plateau,
        }
    }
}

impl Measure {
    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        results::Measure::from(self).name()
    }
}
