//! Runs as JSON: lists by filter with a cursor, one run with all its figures.
//!
//! Keys carry units; what is absent is null. Which runs count is decided by the store's views.

use super::body::Asked;
use super::coupled::Coupled;
use super::openapi::Refused;
use super::problem::Problem;
use super::run_shown::RunShown;
use super::state::State;
use axum::Json;
use axum::extract::{Path, State as Shared};
use axum::http::StatusCode;
use boltscribe_store::{Reader, RunFilter, RunId, RunLine};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Runs in one answer where nothing is said.
const LIMIT_DEFAULT: u32 = 100;
/// Most runs in one answer.
pub const LIMIT_MAX: u32 = boltscribe_store::reader_runs::RUNS_MAX;

/// Which runs are asked for.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(default, deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Query {
    /// Those at this rig only.
    rig: Option<String>,
    /// Those with this setup only.
    setup: Option<String>,
    /// Those of this tool only.
    tool: Option<String>,
    /// From this time on, such as 2026-01-31T13:00:00Z.
    since: Option<String>,
    /// Before this time, such as 2026-01-31T13:00:00Z.
    until: Option<String>,
    /// Only those that are left out of results, or only those that are not; all where nothing is said.
    excluded: Option<bool>,
    /// Figures of the announcement, not the newest.
    original: Option<bool>,
    /// Runs with a lower number than this: the cursor.
    before: Option<i64>,
    /// Most runs in the answer; 100 where nothing is said.
    #[param(minimum = 1, maximum = 1000)]
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
            original: self.original.unwrap_or(false),
            before: self.before,
            limit,
        })
    }
}

/// A moment in nanoseconds since 1970 UTC.
///
/// # Errors
/// No time with its zone.
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

/// Runs by filter.
#[derive(Debug, Serialize, ToSchema)]
pub struct RunList {
    /// The runs, newest first.
    runs: Vec<RunLine>,
    /// Goes into `before` for the runs that come next; null at the end.
    next: Option<RunId>,
}

/// Runs by filter, newest first: `{"runs": [...], "next": cursor}`; the cursor goes into `before`.
///
/// # Errors
/// A filter that cannot be read; the store's.
#[utoipa::path(
    get, path = "/runs", operation_id = "list_runs", tag = "runs",
    params(Query),
    responses(
        (status = 200, description = "Runs, and the cursor to those before them", body = RunList),
        Refused
    )
)]
pub async fn list(
    Shared(state): Shared<State>,
    Asked(query): Asked<Query>,
) -> Result<Json<RunList>, Problem> {
    let filter = query.filter()?;
    let limit = filter.limit as usize;
    let runs: Vec<RunLine> = state.read(move |reader| reader.runs(&filter)).await?;
    let next = (runs.len() == limit).then(|| runs.last().map(|run| run.id)).flatten();
    Ok(Json(RunList { runs, next }))
}

/// One run: its line and everything else that is known of it.
///
/// # Errors
/// No such run; the store's.
#[utoipa::path(
    get, path = "/runs/{id}", operation_id = "show_run", tag = "runs",
    params(("id" = i64, Path, description = "Number of the run in the store")),
    responses(
        (status = 200, body = RunShown,
         description = "All figures, tags, flags, corrections and recomputations"),
        Refused
    )
)]
pub async fn show(Shared(state): Shared<State>, Path(id): Path<String>) -> Result<Json<RunShown>, Problem> {
    let id = run_id(&id)?;
    let found: Option<RunShown> = state.read(move |reader| shown(reader, id)).await?;
    found.map(Json).ok_or_else(|| no_run(id))
}

/// One run with what it was coupled with.
///
/// # Errors
/// The store's.
pub(super) fn shown(reader: &Reader, id: RunId) -> Result<Option<RunShown>, Problem> {
    let Some(run) = reader.run(id)? else { return Ok(None) };
    let pieces = Coupled::of(reader, &[&run.line])?.pieces(&run.line).to_vec();
    Ok(Some(RunShown::new(run, pieces)))
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
