//! What is to be compared, how often, in which kind of order.
//!
//! Names are those of the shelf; whether the pieces fit each tool is looked at where the shelf is known.

use crate::results::Measure;
use crate::setups::{NameError, check_text};
use serde::{Deserialize, Serialize};

/// Most tools, setups and repeats: a trial is a day's work.
pub const TOOLS_MAX: usize = 8;
/// Most setups besides the baseline.
pub const SETUPS_MAX: usize = 24;
/// Most repeats.
pub const REPEATS_MAX: u32 = 50;
/// Longest rest, seconds.
pub const REST_S_MAX: f64 = 3600.0;

/// The kind of order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// Each repeat is a block of all setups in random order.
    #[default]
    Blocks,
    /// Each setup stands at each place of a block equally often, as far as the repeats go round.
    LatinSquare,
}

/// When a fresh source is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fresh {
    /// Never.
    #[default]
    No,
    /// Before each run.
    EachRun,
    /// Before each change of setup or tool.
    EachSetup,
}

/// A planned comparison.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// Its name.
    pub name: String,
    /// The rig it runs at.
    pub rig: String,
    /// The tools; each has its own baseline.
    pub tools: Vec<String>,
    /// The setup that counts as 100 %.
    pub baseline: String,
    /// The setups that are compared with it.
    pub setups: Vec<String>,
    /// Runs of each setup with each tool.
    pub repeats: u32,
    /// The kind of order.
    #[serde(default)]
    pub order: Order,
    /// What the order is drawn from: the same seed, the same order.
    pub seed: u64,
    /// A baseline run after so many others; none: only at both ends.
    #[serde(default)]
    pub baseline_every: Option<u32>,
    /// Runs on the baseline until readings are steady come first.
    #[serde(default)]
    pub warm_up: bool,
    /// The figure that is compared.
    #[serde(default)]
    pub measure: Measure,
    /// Rest before each run, seconds; told, not forced.
    #[serde(default)]
    pub rest_s: f64,
    /// When a fresh source is asked for.
    #[serde(default)]
    pub fresh: Fresh,
    /// The test bolt; none: the one in force.
    #[serde(default)]
    pub bolt: Option<String>,
}

/// Why a plan is not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// A name.
    #[error(transparent)]
    Name(#[from] NameError),
    /// A figure or list that cannot be.
    #[error("{field}: expected {expected}, found {found}")]
    Field {
        /// Which, as in the document.
        field: &'static str,
        /// What would do.
        expected: String,
        /// What is there.
        found: String,
    },
}

impl Plan {
    /// Checks names, lists and figures.
    ///
    /// # Errors
    /// The first that cannot be.
    pub fn check(&self) -> Result<(), PlanError> {
        check_text("name", &self.name)?;
        let list = |field, names: &[String], most: usize| {
            if names.is_empty() || names.len() > most {
                return Err(wrong(field, format!("1 to {most}"), names.len()));
            }
            let twice = names.iter().enumerate().find(|(at, name)| names[..*at].contains(name));
            match twice {
                Some((_, name)) => Err(wrong(field, "each once", format!("'{name}' twice"))),
                None => Ok(()),
            }
        };
        list("tools", &self.tools, TOOLS_MAX)?;
        list("setups", &self.setups, SETUPS_MAX)?;
        if self.setups.contains(&self.baseline) {
            let found = format!("the baseline '{}' among them", self.baseline);
            return Err(wrong("setups", "setups besides the baseline", found));
        }
        if !(1..=REPEATS_MAX).contains(&self.repeats) {
            return Err(wrong("repeats", format!("1 to {REPEATS_MAX}"), self.repeats));
        }
        if self.baseline_every == Some(0) {
            return Err(wrong("baseline_every", "at least 1", 0));
        }
        if !(0.0..=REST_S_MAX).contains(&self.rest_s) {
            return Err(wrong("rest_s", format!("0 to {REST_S_MAX}"), self.rest_s));
        }
        Ok(())
    }
}

fn wrong(field: &'static str, expected: impl ToString, found: impl ToString) -> PlanError {
    PlanError::Field { field, expected: expected.to_string(), found: found.to_string() }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// An invented plan.
    pub(crate) fn plan() -> Plan {
        Plan {
            name: "couplings".into(),
            rig: "bench".into(),
            tools: vec!["wrench 1".into(), "wrench 2".into()],
            baseline: "direct".into(),
            setups: vec!["ext 75".into(), "ext 250".into(), "joint".into()],
            repeats: 4,
            order: Order::Blocks,
            seed: 7,
            baseline_every: Some(4),
            warm_up: true,
            measure: Measure::Gate,
            rest_s: 0.0,
            fresh: Fresh::No,
            bolt: None,
        }
    }

    #[test]
    fn what_cannot_be_planned_is_told_by_its_field() {
        assert_eq!(plan().check(), Ok(()));
        let error = |change: &dyn Fn(&mut Plan)| {
            let mut plan = plan();
            change(&mut plan);
            plan.check().unwrap_err().to_string()
        };
        assert!(error(&|p| p.tools.clear()).starts_with("tools: expected 1 to 8"));
        assert!(error(&|p| p.setups.push("ext 75".into())).contains("'ext 75' twice"));
        assert!(error(&|p| p.setups.push("direct".into())).contains("baseline 'direct' among them"));
        assert!(error(&|p| p.setups.clear()).starts_with("setups: expected 1"));
        assert!(error(&|p| p.repeats = 0).starts_with("repeats"));
        assert!(error(&|p| p.baseline_every = Some(0)).starts_with("baseline_every"));
        assert!(error(&|p| p.rest_s = f64::NAN).starts_with("rest_s"));
        assert!(error(&|p| p.name = " ".into()).contains("name"));
    }
}
