//! What a tool is asked to meet: one limit, or that of its class.
//!
//! Must not judge; that is [`super::judging`].

use super::judged::Side;
use super::problem::Problem;
use super::tags::on_shelf;
use boltscribe_analysis::compare::acceptance::Limit;
use boltscribe_analysis::compare::looks::{EXPECTED, Looks};
use boltscribe_analysis::compare::{ClassLimit, LimitUnit};
use boltscribe_analysis::results::Measure;
use boltscribe_model::setups::Tool;
use boltscribe_store::{Reader, ShelfKind};
use serde::Deserialize;
use utoipa::IntoParams;

/// Fewest runs that are judged: one does not tell how a tool scatters.
pub(super) const RUNS_MIN: u32 = 2;
/// Most runs that are judged.
pub(super) const RUNS_MAX: u32 = 200;
/// Greatest limit: a tension in kN, a torque in N·m.
const LIMIT_MAX: f64 = 1e6;
/// Greatest share of a reference tool, percent.
const PERCENT_MAX: f64 = 1000.0;

/// What is to be met.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct AcceptQuery {
    /// Runs with this setup; without it the latest runs must all be on one.
    pub(super) setup: Option<String>,
    /// How many of the latest runs are judged; 5 where nothing is said.
    #[param(minimum = 2, maximum = 200)]
    pub(super) runs: Option<u32>,
    /// Which figure; `gate`, or that of the class of the tool, where nothing is said.
    #[param(inline)]
    pub(super) measure: Option<Measure>,
    /// Limit of the tension, kN.
    #[param(exclusive_minimum = 0, maximum = 1_000_000)]
    #[serde(rename = "limit_kN")]
    pub(super) limit_kn: Option<f64>,
    /// Limit of the equivalent torque, N·m.
    #[param(exclusive_minimum = 0, maximum = 1_000_000)]
    #[serde(rename = "limit_Nm")]
    pub(super) limit_nm: Option<f64>,
    /// A tool that the limit is a share of.
    pub(super) reference: Option<String>,
    /// The share of the reference tool, percent.
    #[param(exclusive_minimum = 0, maximum = 1000)]
    pub(super) percent: Option<f64>,
    /// The limit is the greatest that is allowed; else the least.
    #[serde(default)]
    pub(super) upper: bool,
    /// Probability that a yes or no is right, above 0.5 and below 1; 0.95 where nothing is said.
    #[param(exclusive_minimum = 0.5, exclusive_maximum = 1)]
    pub(super) probability: Option<f64>,
    /// After how many runs one may judge, such as `5,10`, fixed before the first of them; `runs` says which look it is.
    pub(super) looks: Option<String>,
}

/// A look that was planned.
pub(super) struct Look {
    pub(super) looks: Looks,
    /// From 0.
    pub(super) at: usize,
}

impl AcceptQuery {
    /// Which look is asked for; none where none are planned.
    ///
    /// # Errors
    /// Looks that cannot be, or a number of runs that is none of them.
    pub(super) fn look(&self) -> Result<Option<Look>, Problem> {
        let Some(text) = &self.looks else { return Ok(None) };
        let looks = Looks::read(text)
            .ok_or_else(|| Problem::unprocessable(format!("looks: expected {EXPECTED}, found '{text}'")))?;
        let runs = self.runs.unwrap_or(looks.runs()[0]);
        let at = looks.at(runs).ok_or_else(|| {
            Problem::unprocessable(format!("runs: expected one of the looks {}, found {runs}", looks.words()))
                .hint("a plan of looks holds only where nobody looks in between")
        })?;
        Ok(Some(Look { looks, at }))
    }

    pub(super) fn measure(&self) -> Measure {
        self.measure.unwrap_or_default()
    }

    pub(super) fn side(&self) -> Side {
        Side::of(self.upper)
    }

    /// What a class asks of runs of this setup.
    pub(super) fn of(limit: &ClassLimit, setup: String) -> Self {
        let (Limit::Lower(value) | Limit::Upper(value)) = limit.limit;
        let (in_kn, in_nm) = match limit.unit {
            LimitUnit::Kilonewtons => (Some(value), None),
            LimitUnit::NewtonMetres => (None, Some(value)),
        };
        Self {
            setup: Some(setup),
            runs: None,
            measure: Some(limit.measure),
            limit_kn: in_kn,
            limit_nm: in_nm,
            reference: None,
            percent: None,
            upper: matches!(limit.limit, Limit::Upper(_)),
            probability: None,
            looks: limit.looks.as_ref().map(Looks::words),
        }
    }
}

/// The question with the limit of the tool's class, where none is given.
///
/// # Errors
/// No limit is given, and none stands in the settings for its class.
pub(super) fn of_class(
    reader: &Reader,
    tool: &str,
    query: AcceptQuery,
    limits: &[ClassLimit],
) -> Result<AcceptQuery, Problem> {
    let given = query.limit_kn.is_some()
        || query.limit_nm.is_some()
        || query.reference.is_some()
        || query.percent.is_some();
    if given {
        return Ok(query);
    }
    let known: Tool = on_shelf(reader, ShelfKind::Tools, tool)?;
    let class = known.class.as_deref();
    let found = limits.iter().find(|limit| Some(limit.class.as_str()) == class).ok_or_else(|| {
        let class = class.map_or_else(|| "the tool has none".to_owned(), |class| format!("its class is '{class}'"));
        Problem::unprocessable(format!(
            "tool '{tool}': expected one limit: limit_kN, limit_Nm, reference with percent, or one of its class in the settings ({class}), found none"
        ))
    })?;
    if let Some(other) = query.measure.filter(|measure| *measure != found.measure) {
        return Err(Problem::unprocessable(format!(
            "measure: expected {}, by which the limit of the class '{}' is meant, found {}",
            found.measure.name(),
            found.class,
            other.name()
        )));
    }
    let setup = query.setup.clone().unwrap_or_else(|| found.setup.clone());
    let of_class = AcceptQuery::of(found, setup);
    let looks = query.looks.or(of_class.looks);
    Ok(AcceptQuery { runs: query.runs, probability: query.probability, looks, ..of_class })
}

/// Checks that what is asked can be met at all.
pub(super) fn is_possible(tool: &str, query: &AcceptQuery) -> Result<(), Problem> {
    if let Some(found) = query.runs.filter(|runs| !(RUNS_MIN..=RUNS_MAX).contains(runs)) {
        let what = format!("runs: expected {RUNS_MIN} to {RUNS_MAX}, found {found}");
        return Err(Problem::unprocessable(what));
    }
    if let Some(found) = query.probability.filter(|found| !(*found > 0.5 && *found < 1.0)) {
        let what = format!("probability: expected above 0.5 and below 1, found {found}");
        return Err(Problem::unprocessable(what));
    }
    let bounded = [
        ("limit_kN", query.limit_kn, LIMIT_MAX),
        ("limit_Nm", query.limit_nm, LIMIT_MAX),
        ("percent", query.percent, PERCENT_MAX),
    ];
    for (name, found, most) in bounded {
        if let Some(found) = found.filter(|found| !(*found > 0.0 && *found <= most)) {
            let what = format!("{name}: expected above 0 and at most {most}, found {found}");
            return Err(Problem::unprocessable(what));
        }
    }
    if query.reference.as_deref() == Some(tool) {
        return Err(Problem::unprocessable(format!(
            "reference: expected another tool than '{tool}', found it"
        )));
    }
    Ok(())
}
