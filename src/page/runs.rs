//! Runs as JSON: lists by filter with a cursor, one run with all its figures.
//!
//! Keys carry units; what is absent is null. Which runs count is decided by the store's views.

use super::body::Asked;
use super::problem::Problem;
use super::state::State;
use crate::store::{RunDetail, RunFilter, RunId, RunLine};
use axum::Json;
use axum::extract::{Path, State as Shared};
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Value, json};

/// Runs in one answer where nothing is said.
const LIMIT_DEFAULT: u32 = 100;
/// Most runs in one answer.
pub const LIMIT_MAX: u32 = crate::store::reader_runs::RUNS_MAX;

/// Which runs are asked for.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Query {
    rig: Option<String>,
    setup: Option<String>,
    tool: Option<String>,
    since: Option<String>,
    until: Option<String>,
    excluded: Option<bool>,
    before: Option<i64>,
    limit: Option<u32>,
}

impl Query {
    fn filter(self) -> Result<RunFilter, Problem> {
        let limit = self.limit.unwrap_or(LIMIT_DEFAULT);
        if !(1..=LIMIT_MAX).contains(&limit) {
            return Err(Problem::new(
                StatusCode::BAD_REQUEST,
                format!("limit: expected 1 to {LIMIT_MAX}, found {limit}"),
            ));
        }
        Ok(RunFilter {
            rig: self.rig,
            setup: self.setup,
            tool: self.tool,
            since_utc_ns: self.since.map(|text| time("since", &text)).transpose()?,
            until_utc_ns: self.until.map(|text| time("until", &text)).transpose()?,
            excluded: self.excluded,
            before: self.before,
            limit,
        })
    }
}

/// A time in a query.
///
/// # Errors
/// It is none.
pub(super) fn time(key: &str, text: &str) -> Result<i64, Problem> {
    let refuse = || {
        Problem::new(
            StatusCode::BAD_REQUEST,
            format!("{key}: expected a time such as 2026-01-31T13:00:00Z, found '{text}'"),
        )
    };
    let stamp: jiff::Timestamp = text.parse().map_err(|_| refuse())?;
    i64::try_from(stamp.as_nanosecond()).map_err(|_| refuse())
}

/// `GET /runs`: `{"runs": [...], "next": cursor}`; the cursor goes into `before`.
///
/// # Errors
/// A filter that cannot be read; the store's.
pub async fn list(Shared(state): Shared<State>, Asked(query): Asked<Query>) -> Result<Json<Value>, Problem> {
    let filter = query.filter()?;
    let limit = filter.limit as usize;
    let runs: Vec<RunLine> = state.read(move |reader| reader.runs(&filter)).await?;
    let next = (runs.len() == limit).then(|| runs.last().map(|run| run.id)).flatten();
    Ok(Json(json!({ "runs": runs, "next": next })))
}

/// `GET /runs/{id}`: its line and everything else that is known of it.
///
/// # Errors
/// No such run; the store's.
pub async fn show(Shared(state): Shared<State>, Path(id): Path<String>) -> Result<Json<Value>, Problem> {
    let id = run_id(&id)?;
    let found: Option<RunDetail> = state.read(move |reader| reader.run(id)).await?;
    found.map(|run| Json(document(&run))).ok_or_else(|| no_run(id))
}

/// The number in a path.
///
/// # Errors
/// Not a number: then there is no such run.
pub(super) fn run_id(text: &str) -> Result<RunId, Problem> {
    text.parse()
        .map(RunId)
        .map_err(|_| Problem::not_found(format!("cannot find a run '{text}': expected its number")))
}

/// There is no such run.
pub(super) fn no_run(id: RunId) -> Problem {
    Problem::not_found(format!("cannot find run {}", id.0))
}

fn document(run: &RunDetail) -> Value {
    let record = &run.result.record;
    let torques = &run.result.torques;
    let closing = run.closed.as_ref().map(|closed| &closed.closing);
    let blows: Vec<Value> =
        record.blows.iter().map(|blow| json!({ "at_s": blow.at_s, "level_kN": blow.level.kn() })).collect();
    let more = json!({
        "rate_hz": record.rate_hz,
        "zero_shift_kN": record.zero_shift.kn(),
        "noise_kN": record.noise.kn(),
        "ringing_kN": record.ringing.map(|f| f.kn()),
        "level_kN": record.level.map(|f| f.kn()),
        "time_constant_se_s": record.plateau.map(|p| p.time_constant_se_s),
        "equivalent_torque_peak_Nm": torques.peak,
        "equivalent_torque_plateau_Nm": torques.plateau,
        "spikes": record.spikes,
        "missing": record.missing,
        "clipped": record.clipped,
        "closed_s": closing.map(|c| c.closed_s),
        "re_pulled": closing.map(|c| c.re_pulled),
        "re_pulled_level_kN": closing.and_then(|c| c.re_pulled_level).map(|f| f.kn()),
        "in_force": run.result.in_force,
        "corrections": run.corrections,
        "blow_list": blows,
    });
    let mut all = serde_json::to_value(&run.line).unwrap_or_default();
    if let (Some(all), Value::Object(more)) = (all.as_object_mut(), more) {
        all.extend(more);
    }
    all
}
