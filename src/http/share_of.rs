//! The share of a reference tool that a tool gives, from runs of both on one day.
//!
//! What the rig drifts between them is in no reading of either alone; as far as the runs show it, it is a line of the
//! budget. Must not judge; that is [`super::judging`].

use super::accept_query::{AcceptQuery, RUNS_MAX};
use super::budgets::{any_simulated, details};
use super::gains::ratio_of;
use super::judged::JudgedUnit;
use super::judging::{Judged, latest};
use super::problem::Problem;
use super::trial_state::figure;
use boltscribe_analysis::metrology::budget::Line;
use boltscribe_analysis::results::uncertainty::Value as Valued;
use boltscribe_analysis::results::{Measure, drift_between::drift_between};
use boltscribe_model::time::{bounds_of_day, day_in};
use boltscribe_store::{Reader, RunId, RunLine};
use jiff::tz::TimeZone;

/// The share in percent, with its budget.
///
/// # Errors
/// Too few runs of the reference on the day, gains that differ, the store's.
pub(super) fn share_of(
    reader: &Reader,
    query: &AcceptQuery,
    runs: &[RunLine],
    (reference, percent): (&str, f64),
    zone: &TimeZone,
) -> Result<Judged, Problem> {
    let ids: Vec<RunId> = runs.iter().map(|run| run.id).collect();
    let own = details(reader, &ids)?;
    let day = day_in(runs[0].utc_ns, zone);
    let setup = runs[0].setup.as_deref();
    let within = bounds_of_day(day, zone);
    let others = latest(reader, (reference, setup), query.measure(), RUNS_MAX, within)?;
    if others.len() < 2 {
        return Err(Problem::conflict(format!(
            "reference '{reference}': expected at least 2 runs that count on {day} with the setup '{}', found {}",
            setup.unwrap_or("none"),
            others.len()
        ))
        .hint("run the reference tool on the same day, setup and rig"));
    }
    let b = details(reader, &others.iter().map(|run| run.id).collect::<Vec<_>>())?;
    let mut notes = Vec::new();
    let simulated = any_simulated(&own) || any_simulated(&b);
    let mut value = ratio_of(reader, &own, &b, query.measure(), &mut notes)?.against.ratio;
    notes.extend(drift(&mut value, runs, &others, query.measure()));
    scale(&mut value, 100.0);
    Ok(Judged {
        value,
        own: "repeatability of A",
        unit: JudgedUnit::Percent,
        limit: percent,
        simulated,
        notes,
    })
}

/// Adds the line of the drift between tool and reference; what is to be known of it.
fn drift(value: &mut Valued, own: &[RunLine], others: &[RunLine], measure: Measure) -> Option<String> {
    let points = |runs: &[RunLine]| -> Vec<(f64, f64)> {
        let point = |run: &RunLine| Some(((run.utc_ns - own[0].utc_ns) as f64 / 1e9, figure(run, measure)?));
        runs.iter().filter_map(point).collect()
    };
    let (a, b) = (points(own), points(others));
    if let Some(found) = drift_between(&a, &b) {
        // As far as it may have gone either way, all of it as likely: rectangular.
        let half = value.value * found.share.abs();
        let line = Line::sampled("drift between tool and reference", half / libm::sqrt(3.0), found.freedom);
        value.budget.lines.push(line);
    }
    let time = |points: &[(f64, f64)]| {
        points
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (t, _)| (low.min(*t), high.max(*t)))
    };
    let ((first, last), (before, after)) = (time(&a), time(&b));
    let only = match (before < first, after > last) {
        (true, true) => return None,
        (false, true) => "only after the tool",
        (true, false) => "only before the tool",
        (false, false) => "only among the tool's runs",
    };
    Some(format!(
        "the reference was run {only}: what the rig drifts between them is taken from how the runs of each move; run the reference before and after"
    ))
}

fn scale(value: &mut Valued, by: f64) {
    value.value *= by;
    for line in &mut value.budget.lines {
        line.contribution *= by;
    }
    value.combined = value.budget.combine();
    value.expanded = value.combined.expand(value.expanded.level);
}
