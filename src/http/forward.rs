//! Forwarding as people see it: its state, its quarantine, and the word to try again.
//!
//! The outbox is read from the store; how the last try went comes from whoever runs the rigs. Must not know how
//! rows are sent.

use super::body::{Asked, Body};
use super::openapi::Refused;
use super::problem::Problem;
use super::state::State;
use axum::Json;
use axum::extract::State as Shared;
use boltscribe_store::outbox::RUNS_AT_ONCE_MAX;
use boltscribe_store::{OutboxStatus, OutboxWrite, QuarantineRow, Reader, StoreError, Write, Written};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Most rows of the quarantine in one answer.
const QUARANTINE_MAX: u32 = 1000;
/// Advice where nothing is set up.
const SET_UP: &str = "set forward.url in the settings and start boltscribed again";

/// How the last tries went.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ForwardState {
    /// `starting`, `good`, `retrying` or `alarm`.
    pub condition: String,
    /// Since when, nanoseconds since 1970 UTC.
    pub since_utc_ns: i64,
    /// What the last failure said.
    pub trouble: Option<String>,
    /// Where it goes; never with a name, a password or a token.
    pub url: String,
    /// Rows that the server took and that are not safe yet.
    pub unsettled: u64,
    /// Requests made since the start.
    pub requests: u64,
    /// Tries that failed.
    pub failures: u64,
    /// Times that rows were sent again, because the server was or may have been restarted.
    pub sent_again: u64,
    /// Whether the server tells when it started.
    pub tells_start: bool,
}

/// How forwarding goes.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ForwardStatus {
    /// What waits in the store.
    pub outbox: OutboxStatus,
    /// How the last tries went; null where nothing is set up, or no daemon runs.
    pub server: Option<ForwardState>,
}

/// What the central store would not have.
#[derive(Debug, Serialize, ToSchema)]
pub struct Quarantine {
    /// The rows, oldest first.
    rows: Vec<QuarantineRow>,
}

/// What is tried again.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ForwardRetry)]
pub struct Retried {
    /// Rows that were put in again.
    rows: u64,
    /// Somebody tries at once.
    woken: bool,
}

/// How forwarding to a central store goes.
///
/// # Errors
/// The store's.
#[utoipa::path(
    get, path = "/forward", operation_id = "forward_status", tag = "forward",
    responses(
        (status = 200, body = ForwardStatus,
         description = "The outbox, and how the last try went; `server` is null where nothing is set up"),
        Refused
    )
)]
pub async fn status(Shared(state): Shared<State>) -> Result<Json<ForwardStatus>, Problem> {
    let outbox = state.read(Reader::outbox_status).await?;
    Ok(Json(ForwardStatus { outbox, server: state.rigs.forward() }))
}

/// How many rows to show.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct QuarantineQuery {
    /// Most rows; 1000 where nothing is said, and more are never given.
    limit: Option<u32>,
}

/// What the central store would not have, and why: `{"rows": [...]}`, oldest first.
///
/// # Errors
/// The store's.
#[utoipa::path(
    get, path = "/forward/quarantine", operation_id = "forward_quarantine", tag = "forward",
    params(QuarantineQuery),
    responses((status = 200, description = "The rows, oldest first", body = Quarantine), Refused)
)]
pub async fn quarantine(
    Shared(state): Shared<State>,
    Asked(asked): Asked<QuarantineQuery>,
) -> Result<Json<Quarantine>, Problem> {
    let limit = asked.limit.unwrap_or(QUARANTINE_MAX).clamp(1, QUARANTINE_MAX);
    let rows = state.read(move |reader| reader.quarantine(limit)).await?;
    Ok(Json(Quarantine { rows }))
}

/// What is to be tried again; nothing given: what waits.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(default, deny_unknown_fields)]
pub struct RetryBody {
    /// All rows in quarantine.
    quarantined: bool,
    /// One row in quarantine.
    row: Option<i64>,
    /// Stored runs from this number on, whether they were sent before or not.
    first_run: Option<i64>,
    /// Up to this number; the newest where none is given.
    last_run: Option<i64>,
}

/// Tries again to forward: what waits, what is in quarantine, or runs that were sent before.
///
/// # Errors
/// Nothing is set up, no such row, numbers that make no sense.
#[utoipa::path(
    post, path = "/forward/retry", operation_id = "forward_retry", tag = "forward",
    request_body = RetryBody,
    responses(
        (status = 200, body = Retried,
         description = "How many rows were put in again, and whether somebody tries at once"),
        Refused
    )
)]
pub async fn retry(
    Shared(state): Shared<State>,
    Body(body): Body<RetryBody>,
) -> Result<Json<Retried>, Problem> {
    if body.quarantined && body.row.is_some() || body.last_run.is_some() && body.first_run.is_none() {
        return Err(Problem::unprocessable(
            "cannot try again: expected all of the quarantine or one row, and a last run with a first one only",
        ));
    }
    let (outbox, runs) =
        state.read(|reader| Ok::<_, StoreError>((reader.outbox_status()?, reader.run_count()?))).await?;
    if !outbox.forwarding {
        return Err(Problem::conflict("cannot forward: expected an address, found none set up").hint(SET_UP));
    }
    let mut rows = 0;
    if body.quarantined || body.row.is_some() {
        rows += change(&state, OutboxWrite::Again(body.row)).await?;
    }
    if let Some(first) = body.first_run {
        let newest = i64::try_from(runs).unwrap_or(i64::MAX);
        let last = body.last_run.unwrap_or(newest);
        if first < 1 || last < first || last > newest {
            return Err(Problem::unprocessable(format!(
                "cannot send runs {first} to {last}: expected numbers from 1 to {newest} in order"
            )));
        }
        rows += runs_again(&state, first, last).await?;
    }
    Ok(Json(Retried { rows, woken: state.rigs.forward_now() }))
}

/// In pieces, so that the writer is free for runs between them.
async fn runs_again(state: &State, first: i64, last: i64) -> Result<u64, Problem> {
    let mut rows = 0;
    let mut at = first;
    while at <= last {
        let end = last.min(at + RUNS_AT_ONCE_MAX - 1);
        rows += change(state, OutboxWrite::Runs { first: at, last: end }).await?;
        at = end + 1;
    }
    Ok(rows)
}

async fn change(state: &State, write: OutboxWrite) -> Result<u64, Problem> {
    match state.write("", Write::Outbox(write)).await? {
        Written::Rows(rows) => Ok(rows),
        _ => Ok(0),
    }
}
