//! What is to be compared, how often, in which kind of order.
//!
//! Names are those of the shelf; whether the pieces fit each tool is looked at where the shelf is known.

use crate::compare::Looks;
use crate::results::Measure;
use boltscribe_model::control::SourceState;
use boltscribe_model::setups::{NameError, check_text};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Most tools, setups and repeats: a trial is a day's work.
pub const TOOLS_MAX: usize = 8;
/// Most setups besides the baseline.
pub const SETUPS_MAX: usize = 24;
/// Most repeats.
pub const REPEATS_MAX: u32 = 50;
/// Longest rest, seconds.
pub const REST_S_MAX: f64 = 3600.0;

/// Pressures that a band may have, kPa.
pub const AIR_KPA: (f64, f64) = (50.0, 2000.0);

/// The kind of order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// Each repeat is a block of all setups in random order.
    #[default]
    Blocks,
    /// Each setup stands at each place of a block equally often, and follows each other setup equally often (Williams
    /// 1949, Aust. J. Sci. Res. A 2:149); the repeats must go round: multiples of the number of setups, of twice that
    /// number where it is odd. (With the first drawing: a square that turns by one place, as far as the repeats go round.)
    LatinSquare,
}

/// How the order follows from the seed: a trial that is stored has its seed and not its order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
#[schema(as = TrialDrawing)]
pub enum Drawing {
    /// As trials were drawn that do not say: baselines counted over all tools, squares that turn by one place, a
    /// warm-up with the first tool only.
    #[default]
    First,
    /// Baselines counted tool by tool, about √k times as many as runs of one of k setups; squares balanced for what
    /// follows what; a warm-up with each tool.
    Second,
}

/// When a fresh source is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
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
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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
    /// How the order is drawn; none: as trials were that do not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drawing: Option<Drawing>,
    /// A baseline run after so many others; none: about √k times as many as runs of one of the k setups, spread evenly
    /// (with the first drawing: only at both ends).
    #[serde(default)]
    pub baseline_every: Option<u32>,
    /// Runs on the baseline until readings are steady come first.
    #[serde(default)]
    pub warm_up: bool,
    /// The figure that is compared.
    #[serde(default)]
    pub measure: Measure,
    /// The coupling is taken off and put on again before each run, also where the setup stays: so that repeats are
    /// repeats of the coupling. False: it stays on while the setup stays, and such runs are one mounting. None: nobody
    /// said, and nothing is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remount: Option<bool>,
    /// After how many repeats one may compare, the last of them all; empty: once, when all runs are there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub looks: Vec<u32>,
    /// Rest before each run, seconds; told, not forced.
    #[serde(default)]
    pub rest_s: f64,
    /// When a fresh source is asked for.
    #[serde(default)]
    pub fresh: Fresh,
    /// Least and greatest dynamic pressure at the tool that a fresh air supply may have, kPa; none: any that was
    /// read.
    #[serde(default, rename = "air_kPa", skip_serializing_if = "Option::is_none")]
    pub air_kpa: Option<(f64, f64)>,
    /// The test bolt; none: the one in force.
    #[serde(default)]
    pub bolt: Option<String>,
}

/// Whether what was read at a source makes it a fresh one: a battery swapped in with its rested voltage, air inside
/// the band, mains with its voltage.
///
/// # Errors
/// What was expected of it, in words.
pub fn is_fresh(source: Option<&SourceState>, air_kpa: Option<(f64, f64)>) -> Result<(), String> {
    let expected = "a fresh source before this run".to_owned();
    match source {
        Some(SourceState::Battery { fresh: Some(true), rested_v: Some(_), .. })
        | Some(SourceState::Mains { voltage_v: Some(_) }) => Ok(()),
        Some(SourceState::Battery { id, .. }) => {
            Err(format!("{expected}, found battery '{id}' without its rested voltage or not fresh"))
        }
        Some(SourceState::Air { dynamic_kpa: Some(kpa) }) => match air_kpa {
            Some((low, high)) if !(low..=high).contains(kpa) => {
                Err(format!("{expected}: air from {low} to {high} kPa, found {kpa} kPa"))
            }
            _ => Ok(()),
        },
        _ => Err(format!("{expected}, found none told")),
    }
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
    /// How its order is drawn.
    #[must_use]
    pub fn drawing(&self) -> Drawing {
        self.drawing.unwrap_or_default()
    }

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
        if !self.looks.is_empty() {
            let last = self.looks.last() == Some(&self.repeats);
            if !last || Looks::new(&self.looks).is_none() {
                let expected = format!("2 to 5 numbers of repeats that rise from 2 to all {}", self.repeats);
                return Err(wrong("looks", expected, format!("{:?}", self.looks)));
            }
        }
        if self.order == Order::LatinSquare && self.drawing() == Drawing::Second {
            let rows = super::williams::rows(self.setups.len());
            if !(self.repeats as usize).is_multiple_of(rows) {
                let expected = format!(
                    "a multiple of {rows} for a square of {} setups, so that each follows each equally often",
                    self.setups.len()
                );
                return Err(wrong("repeats", expected, self.repeats));
            }
        }
        if self.baseline_every == Some(0) {
            return Err(wrong("baseline_every", "at least 1", 0));
        }
        if !(0.0..=REST_S_MAX).contains(&self.rest_s) {
            return Err(wrong("rest_s", format!("0 to {REST_S_MAX}"), self.rest_s));
        }
        if let Some((low, high)) = self.air_kpa {
            let range = AIR_KPA.0..=AIR_KPA.1;
            if !(range.contains(&low) && range.contains(&high) && low < high) {
                let expected = format!("two pressures that rise, from {} to {}", AIR_KPA.0, AIR_KPA.1);
                return Err(wrong("air_kPa", expected, format!("{low} and {high}")));
            }
            if self.fresh == Fresh::No {
                return Err(wrong("air_kPa", "a rule for fresh sources beside it", "none"));
            }
        }
        Ok(())
    }
}

fn wrong(field: &'static str, expected: impl ToString, found: impl ToString) -> PlanError {
    PlanError::Field { field, expected: expected.to_string(), found: found.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::plan;

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
        assert!(error(&|p| p.looks = vec![2, 3]).starts_with("looks: expected 2 to 5 numbers"));
        assert!(error(&|p| p.looks = vec![4]).contains("all 4, found [4]"));
        let square = |p: &mut Plan, repeats| {
            (p.order, p.drawing, p.repeats) = (Order::LatinSquare, Some(Drawing::Second), repeats);
        };
        assert!(error(&|p| square(p, 4)).starts_with("repeats: expected a multiple of 6 for a square of 3"));
        let whole = &mut plan();
        square(whole, 6);
        assert_eq!(whole.check(), Ok(()));
        assert!(error(&|p| p.rest_s = f64::NAN).starts_with("rest_s"));
        assert!(error(&|p| p.name = " ".into()).contains("name"));
        let band = |p: &mut Plan, air| (p.fresh, p.air_kpa) = (Fresh::EachRun, Some(air));
        assert!(error(&|p| band(p, (650.0, 590.0))).starts_with("air_kPa: expected two pressures that rise"));
        assert!(error(&|p| band(p, (f64::NAN, 590.0))).starts_with("air_kPa"));
        assert!(error(&|p| p.air_kpa = Some((590.0, 650.0))).contains("a rule for fresh sources"));
    }

    #[test]
    fn a_battery_needs_its_rested_voltage_and_air_its_band() {
        let battery = |fresh, rested_v| Some(SourceState::Battery { id: "b3".into(), rested_v, fresh });
        assert_eq!(is_fresh(battery(Some(true), Some(19.8)).as_ref(), None), Ok(()));
        for not in [battery(Some(true), None), battery(None, Some(19.8)), battery(Some(false), Some(19.8))] {
            assert!(is_fresh(not.as_ref(), None).unwrap_err().contains("battery 'b3'"));
        }
        let air = |kpa| Some(SourceState::Air { dynamic_kpa: kpa });
        assert_eq!(is_fresh(air(Some(500.0)).as_ref(), None), Ok(()));
        let band = Some((590.0, 650.0));
        assert_eq!(is_fresh(air(Some(590.0)).as_ref(), band), Ok(()));
        let told = is_fresh(air(Some(560.0)).as_ref(), band).unwrap_err();
        assert!(told.ends_with("air from 590 to 650 kPa, found 560 kPa"), "{told}");
        assert!(is_fresh(air(None).as_ref(), band).is_err() && is_fresh(None, None).is_err());
        assert_eq!(is_fresh(Some(&SourceState::Mains { voltage_v: Some(231.0) }), None), Ok(()));
    }
}
