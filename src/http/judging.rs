//! Whether a tool meets a limit: runs of the store before `compare`'s judge.
//!
//! Absolute limits need a calibration against a reference; a share of a reference tool needs runs of both on the
//! same day and calibration, where the gain cancels.

use super::accept_query::{AcceptQuery, Look, RUNS_MIN, is_possible, of_class};
use super::body::Asked;
use super::budgets::{any_simulated, details, factor, figures, line};
use super::judged::{AcceptanceShown, JudgedUnit};
use super::openapi::Refused;
use super::problem::Problem;
use super::share_of::share_of;
use super::state::State;
use super::trial_state::figure;
use axum::Json;
use axum::extract::{Path, State as Shared};
use boltscribe_analysis::compare::ClassLimit;
use boltscribe_analysis::compare::acceptance::{Acceptance, Decision, Limit, Measured, accept};
use boltscribe_analysis::compare::looks::unplanned;
use boltscribe_analysis::metrology::budget::Budget;
use boltscribe_analysis::results::Measure;
use boltscribe_analysis::results::uncertainty::{Value as Valued, tension, torque};
use boltscribe_model::time::day_in;
use boltscribe_report::trial::Statement;
use boltscribe_store::{Reader, RunFilter, RunId, RunLine};
use jiff::tz::TimeZone;
use std::sync::Arc;

/// Most runs of a chart, and most that are looked through.
pub(super) const CHART_MAX: u32 = 1000;
/// Probability that a yes or no is right, where nobody says which.
const PROBABILITY: f64 = 0.95;
/// Runs that are judged where nobody says how many.
const RUNS: u32 = 5;

/// The latest runs of a tool that count and have the figure, newest first by the time of their first blow; of the time
/// from `within.0` to before `within.1` where that is given.
///
/// # Errors
/// The store's.
pub(super) fn latest(
    reader: &Reader,
    (tool, setup): (&str, Option<&str>),
    measure: Measure,
    limit: u32,
    within: Option<(i64, i64)>,
) -> Result<Vec<RunLine>, Problem> {
    let filter = RunFilter {
        tool: Some(tool.to_owned()),
        setup: setup.map(str::to_owned),
        excluded: Some(false),
        since_utc_ns: within.map(|within| within.0),
        until_utc_ns: within.map(|within| within.1),
        limit: CHART_MAX,
        ..RunFilter::default()
    };
    let mut runs = reader.runs(&filter)?;
    // A reading that was entered afterwards has a later number than runs that came after it.
    runs.sort_by_key(|run| std::cmp::Reverse((run.utc_ns, run.id)));
    Ok(runs.into_iter().filter(|run| figure(run, measure).is_some()).take(limit as usize).collect())
}

/// Whether the latest runs of a tool meet a limit: one of `limit_kN`, `limit_Nm`, and `reference` with `percent`; where
/// none is given, that of the class of the tool.
///
/// # Errors
/// No or several limits, no runs, a nominal calibration for an absolute limit.
#[utoipa::path(
    get, path = "/tools/{tool}/acceptance", operation_id = "accept_tool", tag = "tools",
    params(("tool" = String, Path, description = "Name of the tool"), AcceptQuery),
    responses(
        (status = 200, body = AcceptanceShown,
         description = "The decision, its probability, and what would decide it"),
        Refused
    )
)]
pub async fn acceptance(
    Shared(state): Shared<State>,
    Path(tool): Path<String>,
    Asked(query): Asked<AcceptQuery>,
) -> Result<Json<AcceptanceShown>, Problem> {
    let limits = Arc::clone(&state.limits);
    let zone = state.zone.clone();
    let judged =
        state.read(move |reader| judge(reader, &tool, &of_class(reader, &tool, query, &limits)?, &zone));
    judged.await.map(Json)
}

/// What is compared with what, in which unit.
pub(super) struct Judged {
    pub(super) value: Valued,
    pub(super) own: &'static str,
    pub(super) unit: JudgedUnit,
    pub(super) limit: f64,
    pub(super) simulated: bool,
    pub(super) notes: Vec<String>,
}

fn judge(
    reader: &Reader,
    tool: &str,
    query: &AcceptQuery,
    zone: &TimeZone,
) -> Result<AcceptanceShown, Problem> {
    let look = query.look()?;
    let first = look.as_ref().map_or(RUNS, |look| look.looks.runs()[look.at]);
    let wanted = query.runs.unwrap_or(first);
    let probability = query.probability.unwrap_or(PROBABILITY);
    is_possible(tool, query)?;
    let mut runs = latest(reader, (tool, query.setup.as_deref()), query.measure(), wanted, None)?;
    let Some(newest) = runs.first() else {
        return Err(Problem::conflict(format!("tool '{tool}': expected runs that count, found none")));
    };
    let day = day_in(newest.utc_ns, zone);
    if query.reference.is_some() {
        // A share of a reference holds for one day: runs of others are of another rig, as far as anybody knows.
        runs.retain(|run| day_in(run.utc_ns, zone) == day);
    }
    let Some(newest) = runs.first() else {
        return Err(Problem::conflict("expected runs of one day, found none"));
    };
    let setup = newest.setup.clone();
    if let Some(other) = runs.iter().find(|run| run.setup != setup) {
        return Err(Problem::conflict(format!(
            "tool '{tool}': expected its latest {} runs on one setup, found '{}' and '{}'",
            runs.len(),
            setup.as_deref().unwrap_or("none"),
            other.setup.as_deref().unwrap_or("none")
        ))
        .hint("name the setup"));
    }
    let n = runs.len();
    if look.is_some() && n < wanted as usize {
        return Err(Problem::conflict(format!(
            "tool '{tool}': expected {wanted} runs that count for this look, found {n}"
        )));
    }
    let (found, answer) =
        decided(reader, tool, query, &runs, (at_this_look(look.as_ref(), probability), zone))?;
    let ids: Vec<i64> = runs.iter().map(|run| run.id.0).collect();
    let mut notes = found.notes;
    notes.extend(advice(&answer, look.as_ref(), 1.0 - probability));
    if n < wanted as usize {
        let on = query.reference.as_ref().map_or_else(String::new, |_| format!(" on {day}"));
        notes.push(format!("{n} runs that count were found{on}, {wanted} were asked for"));
    }
    Ok(AcceptanceShown {
        tool: tool.to_owned(),
        setup,
        measure: query.measure(),
        runs: ids,
        simulated: found.simulated,
        unit: found.unit,
        value: found.value.value,
        limit: found.limit,
        side: query.side(),
        decision: answer.decision,
        probability_of_conformity: answer.probability,
        probability_of_a_right_decision: probability,
        standard_uncertainty: answer.u,
        degrees_of_freedom: Some(answer.freedom).filter(|f| f.is_finite()),
        guard: answer.guard,
        looks: look.as_ref().map_or_else(Vec::new, |look| look.looks.runs().to_vec()),
        look: look.as_ref().map(|look| look.at + 1),
        runs_of_a_new_test: answer.runs_of_a_new_test,
        standard_uncertainty_to_decide: answer.u_to_decide,
        notes,
    })
}

/// The decision about these runs.
fn decided(
    reader: &Reader,
    tool: &str,
    query: &AcceptQuery,
    runs: &[RunLine],
    (probability, zone): (f64, &TimeZone),
) -> Result<(Judged, Acceptance), Problem> {
    let n = runs.len();
    if n < RUNS_MIN as usize {
        return Err(Problem::conflict(format!(
            "tool '{tool}': expected at least {RUNS_MIN} runs that count, found {n}"
        ))
        .hint("one run does not tell how a tool scatters"));
    }
    let found = asked(reader, query, runs, zone)?;
    let limit = if query.upper { Limit::Upper(found.limit) } else { Limit::Lower(found.limit) };
    let answer = accept(&split(&found.value, found.own, n), limit, probability).ok_or_else(|| {
        Problem::unprocessable(format!(
            "tool '{tool}': its figures cannot be judged: {n} runs without a spread"
        ))
    })?;
    Ok((found, answer))
}

/// Whether these runs of a tool meet the limit of its class, for a report; a reason why that is not known counts as
/// undecided.
pub(super) fn statement(reader: &Reader, tool: &str, limit: &ClassLimit, runs: &[RunLine]) -> Statement {
    let setup = limit.setup.clone();
    let query = AcceptQuery::of(limit, setup.clone());
    let side = query.side().name();
    match decided(reader, tool, &query, runs, (PROBABILITY, &TimeZone::UTC)) {
        Ok((found, answer)) => Statement {
            tool: tool.to_owned(),
            words: format!(
                "class {}: {side} {} {} by {} with '{setup}'; found {:.2} from {} runs, guard band {:.2}",
                limit.class,
                found.limit,
                found.unit.name(),
                query.measure().name(),
                found.value.value,
                runs.len(),
                answer.guard
            ),
            decision: answer.decision.name(),
            probability: Some(answer.probability),
        },
        Err(problem) => Statement {
            tool: tool.to_owned(),
            words: format!("class {}, setup '{setup}': {}", limit.class, problem.detail),
            decision: Decision::Undecided.name(),
            probability: None,
        },
    }
}

/// The probability that a yes or no at this look must have, so that all looks together have the one that is asked.
fn at_this_look(look: Option<&Look>, probability: f64) -> f64 {
    let level = look.and_then(|look| look.looks.level(look.at, 1.0 - probability));
    level.map_or(probability, |level| 1.0 - level)
}

/// What can be done where it is undecided.
fn advice(answer: &Acceptance, look: Option<&Look>, risk: f64) -> Option<String> {
    let to_decide = answer.u_to_decide?;
    if let Some(look) = look
        && let Some(next) = look.looks.runs().get(look.at + 1)
    {
        return Some(format!(
            "undecided at look {} of {}: add runs until there are {next}, and judge again with the looks {}",
            look.at + 1,
            look.looks.runs().len(),
            look.looks.words()
        ));
    }
    let Some(n) = answer.runs_of_a_new_test else {
        return Some(format!(
            "undecided: runs alone do not decide; the standard uncertainty would have to fall from {:.4} to {to_decide:.4}",
            answer.u
        ));
    };
    Some(format!(
        "undecided, and these runs stay so: to add runs and look again raises the risk of a wrong answer from {:.0} to {:.0} % \
         with one more look and to {:.0} % with four. A new test of {n} runs by themselves would decide, if value and \
         spread are these; or fix the looks before the first run of it (looks)",
        100.0 * risk,
        100.0 * unplanned(2, risk),
        100.0 * unplanned(5, risk)
    ))
}

fn asked(reader: &Reader, query: &AcceptQuery, runs: &[RunLine], zone: &TimeZone) -> Result<Judged, Problem> {
    let ids: Vec<RunId> = runs.iter().map(|run| run.id).collect();
    let own = details(reader, &ids)?;
    let all: Vec<&_> = own.iter().collect();
    let simulated = any_simulated(&own);
    let mut notes = Vec::new();
    match (query.limit_kn, query.limit_nm, &query.reference, query.percent) {
        (Some(limit), None, None, None) | (None, Some(limit), None, None) => {
            let known = line(reader, &all, &mut notes)?.ok_or_else(|| absolute(&notes))?;
            let slope = known.fit.polynomial.coefficients[1];
            let figures = figures(&own, query.measure(), Some(slope))?;
            let found =
                tension(&figures, Some(&known)).ok_or_else(|| Problem::unprocessable("runs: found none"))?;
            if found.outside {
                notes.push("a figure lies outside the loads of the calibration".to_owned());
            }
            if query.limit_kn.is_some() {
                return Ok(Judged {
                    value: found.mean,
                    own: "repeatability",
                    unit: JudgedUnit::Kilonewtons,
                    limit,
                    simulated,
                    notes,
                });
            }
            let factor = factor(reader, &all, &mut notes)?.ok_or_else(|| absolute(&notes))?;
            let value = torque(&found.mean, runs.len(), factor);
            Ok(Judged {
                value,
                own: "repeatability",
                unit: JudgedUnit::NewtonMetres,
                limit,
                simulated,
                notes,
            })
        }
        (None, None, Some(reference), Some(percent)) => {
            share_of(reader, query, runs, (reference, percent), zone)
        }
        _ => Err(Problem::unprocessable(
            "expected one limit: limit_kN, limit_Nm, or reference with percent".to_owned(),
        )),
    }
}

fn absolute(notes: &[String]) -> Problem {
    Problem::conflict(format!("cannot judge against an absolute limit: {}", notes.join("; "))).hint(
        "a share of a reference tool run on the same day needs no calibration: --reference TOOL --percent P",
    )
}

/// What repeats vary by apart from what they have in common.
fn split(value: &Valued, own: &str, runs: usize) -> Measured {
    let is_own = |line: &&boltscribe_analysis::metrology::budget::Line| line.name == own;
    let spread = value.budget.lines.iter().find(is_own).map_or(0.0, |line| line.contribution.abs());
    let common =
        Budget::new(value.budget.lines.iter().filter(|line| !is_own(line)).cloned().collect()).combine();
    Measured {
        value: value.value,
        u_common: common.standard_uncertainty,
        common_freedom: common.degrees_of_freedom,
        sd: spread * libm::sqrt(runs as f64),
        runs,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_is_undecided_is_told_to_add_runs_only_where_that_was_planned() {
        let answer = Acceptance {
            decision: Decision::Undecided,
            u: 0.3,
            freedom: 8.0,
            guard: 0.5,
            probability: 0.8,
            runs_of_a_new_test: Some(12),
            u_to_decide: Some(0.1),
        };
        let told = advice(&answer, None, 0.05).unwrap();
        assert!(told.contains("these runs stay so") && told.contains("A new test of 12 runs"), "{told}");
        // One side: Armitage, McPherson and Rowe's risk of two looks at 10 % both sides together, halved.
        assert!(told.contains("from 5 to 8 % with one more look and to 13 % with four"), "{told}");
        let look = |at| Look { looks: boltscribe_analysis::compare::Looks::new(&[5, 10]).unwrap(), at };
        let told = advice(&answer, Some(&look(0)), 0.05).unwrap();
        assert_eq!(
            told,
            "undecided at look 1 of 2: add runs until there are 10, and judge again with the looks 5,10"
        );
        assert!(advice(&answer, Some(&look(1)), 0.05).unwrap().contains("these runs stay so"));
        let decided = Acceptance { u_to_decide: None, ..answer };
        assert_eq!(advice(&decided, None, 0.05), None);
    }
}
