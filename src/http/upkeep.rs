//! Keeping the store: a copy of it, old samples away, and its check on record.
//!
//! A pruning goes in parts, one a request, so that no answer takes long and a client that goes away leaves a
//! sound store. Must not know where a copy is written to.

use super::body::{Body, check_who, check_why};
use super::openapi::Refused;
use super::problem::Problem;
use super::state::State;
use axum::Json;
use axum::body::{Body as Bytes, Bytes as Chunk};
use axum::extract::State as Shared;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use boltscribe_store::{
    Amount, CheckReport, Head, PruneWrite, PruningId, Reader, RunId, StoreError, VerifyReport, Write,
    Written, backup,
};
use serde::{Deserialize, Serialize};
use std::io::Read;
use tokio_stream::wrappers::ReceiverStream;
use utoipa::ToSchema;

/// Samples younger than this are never pruned, nanoseconds: one hour.
pub const RECENT_NS: i64 = 3_600_000_000_000;
/// Bytes of a copy sent at a time, and how many such pieces may wait for the client.
const CHUNK_BYTES: usize = 256 << 10;
const CHUNKS_WAITING: usize = 4;
/// Transactions in one answer to a pruning.
const PARTS_A_REQUEST: usize = 10;
/// Most runs that may be named to keep their samples.
const KEEP_MAX: usize = 5000;

/// Who checks.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CheckBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
}

/// Who looks through the audit chain.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VerifyBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// A head that was written down before, `NUMBER:LINK`; it must be in the chain.
    head: Option<String>,
}

/// What is to be pruned.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PruneBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// Why: 1 to 500 printable characters; asked for where a pruning begins.
    why: Option<String>,
    /// Samples before this time, nanoseconds since 1970 UTC, at least an hour ago.
    before_utc_ns: i64,
    /// Runs that keep their samples.
    #[serde(default)]
    #[schema(max_items = 5000)]
    keep: Vec<i64>,
    /// Prune nothing, tell what would go.
    #[serde(default)]
    dry_run: bool,
    /// Goes on with a pruning that was begun, after this run.
    go_on: Option<GoOn>,
}

/// Where a pruning stands.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GoOn {
    /// Number of the pruning.
    pruning: PruningId,
    /// The last run that was looked at.
    after: i64,
}

/// What a pruning does, or would do.
#[derive(Debug, Serialize, ToSchema)]
#[serde(untagged)]
pub enum PruneAnswer {
    /// Nothing was pruned.
    Would(WouldPrune),
    /// Some parts were.
    Done(Pruned),
}

/// What a pruning would take.
#[derive(Debug, Serialize, ToSchema)]
pub struct WouldPrune {
    /// What would go.
    would_prune: Amount,
    /// The file of the store.
    file: StoreFile,
}

/// What a pruning has taken.
#[derive(Debug, Serialize, ToSchema)]
pub struct Pruned {
    /// What is gone since it began.
    pruned: Amount,
    /// Where to go on; null at the end.
    go_on: Option<GoOn>,
    /// The file of the store.
    file: StoreFile,
}

/// The file of a store.
#[derive(Debug, Serialize, ToSchema)]
struct StoreFile {
    /// Its bytes.
    bytes: u64,
    /// Of these, bytes that are free for new rows.
    free_bytes: u64,
}

/// Checks the store, and keeps an event that tells when that was and what it found.
///
/// # Errors
/// The store's; a copy opened read-only keeps no events.
#[utoipa::path(
    post, path = "/store/check", operation_id = "check_store", tag = "store",
    request_body = CheckBody,
    responses(
        (status = 200, description = "Rows by table, samples counted, faults found", body = CheckReport),
        Refused
    )
)]
pub async fn check(
    Shared(state): Shared<State>,
    Body(body): Body<CheckBody>,
) -> Result<Json<CheckReport>, Problem> {
    check_who(&body.who)?;
    let report = state.read(Reader::check).await?;
    let faults = report.faults.len() as u64 + report.further_faults;
    let detail = format!("by {}: {faults} fault(s)", body.who);
    // A damaged store may not take the row; what the check found matters more.
    let _ = state.write("", Write::Event { utc_ns: state.now(), kind: "store-check".into(), detail }).await;
    Ok(Json(report))
}

/// Looks through the audit chain: each row that is never changed against the link it got when it was committed. Keeps an
/// event that tells when that was and what it found.
///
/// # Errors
/// A head that is none; the store's. A copy opened read-only keeps no events.
#[utoipa::path(
    post, path = "/store/verify", operation_id = "verify_store", tag = "store",
    request_body = VerifyBody,
    responses(
        (status = 200, description = "Links looked at, the last one, faults found", body = VerifyReport),
        Refused
    )
)]
pub async fn verify(
    Shared(state): Shared<State>,
    Body(body): Body<VerifyBody>,
) -> Result<Json<VerifyReport>, Problem> {
    check_who(&body.who)?;
    let known: Option<Head> = body
        .head
        .map(|text| text.parse())
        .transpose()
        .map_err(|error| Problem::unprocessable(format!("head: {error}")))?;
    let report = state.read(move |reader| reader.verify(known.as_ref())).await?;
    // As with a check: what was found matters more than the row that tells of it.
    let _ = state.write("", report.event(&body.who, state.now())).await;
    Ok(Json(report))
}

/// The whole store as one SQLite file, as it is at this moment.
///
/// # Errors
/// No room for the copy, another one being made.
#[utoipa::path(
    get, path = "/store/backup", operation_id = "back_up_store", tag = "store",
    responses(
        (status = 200, description = "The file", body = String, content_type = "application/vnd.sqlite3"),
        Refused
    )
)]
pub async fn copy(Shared(state): Shared<State>) -> Result<Response, Problem> {
    let readers = state.readers.clone();
    let made = tokio::task::spawn_blocking(move || backup::copy(&readers)).await;
    let copy = made.map_err(|error| {
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, format!("copying the store broke off: {error}"))
    })??;
    let length = copy.bytes;
    let (chunks, waiting) = tokio::sync::mpsc::channel::<std::io::Result<Chunk>>(CHUNKS_WAITING);
    // Reading may block; where the client goes away the channel closes and the file is gone.
    tokio::task::spawn_blocking(move || {
        // All of it, with its turn: the next copy is made when this one is sent or given up.
        let mut copy = copy;
        let mut buffer = vec![0; CHUNK_BYTES];
        loop {
            let chunk = match copy.file.read(&mut buffer) {
                Ok(0) => return,
                Ok(n) => Ok(Chunk::copy_from_slice(&buffer[..n])),
                Err(error) => Err(error),
            };
            if chunks.blocking_send(chunk).is_err() {
                return;
            }
        }
    });
    let headers = [
        (header::CONTENT_TYPE, "application/vnd.sqlite3".to_owned()),
        (header::CONTENT_LENGTH, length.to_string()),
        (header::CACHE_CONTROL, "no-store".to_owned()),
    ];
    Ok((headers, Bytes::from_stream(ReceiverStream::new(waiting))).into_response())
}

/// Prunes old samples: tells what would go, or takes the next parts of it away.
///
/// # Errors
/// Samples that are too young, too many runs to keep; the store's.
#[utoipa::path(
    post, path = "/store/prune", operation_id = "prune_store", tag = "store",
    request_body = PruneBody,
    responses(
        (status = 200, body = PruneAnswer,
         description = "What would go (`dry_run`), or what went and where to go on"),
        Refused
    )
)]
pub async fn prune(
    Shared(state): Shared<State>,
    Body(body): Body<PruneBody>,
) -> Result<Json<PruneAnswer>, Problem> {
    check_who(&body.who)?;
    if body.keep.len() > KEEP_MAX {
        let found = body.keep.len();
        return Err(Problem::unprocessable(format!("keep: expected at most {KEEP_MAX} runs, found {found}")));
    }
    if body.before_utc_ns > state.now() - RECENT_NS {
        return Err(Problem::unprocessable(
            "cannot prune samples of the last hour: expected an earlier time, found a later one",
        ));
    }
    let (before, keep) = (body.before_utc_ns, body.keep.clone());
    if body.dry_run {
        let (amount, room) = state
            .read(move |reader| Ok::<_, StoreError>((reader.prunable(before, &keep)?, reader.room()?)))
            .await?;
        return Ok(Json(PruneAnswer::Would(WouldPrune { would_prune: amount, file: file(room) })));
    }
    let go_on = match body.go_on {
        Some(go_on) => go_on,
        None => {
            let Some(why) = body.why.clone() else {
                return Err(Problem::unprocessable("why: expected a reason, found none"));
            };
            check_why(&why)?;
            let begin = PruneWrite::Begin { utc_ns: state.now(), who: body.who, why, before_utc_ns: before };
            match state.write("", Write::Prune(begin)).await? {
                Written::Pruning(pruning) => GoOn { pruning, after: 0 },
                other => {
                    let detail = format!("expected the number of a pruning, found {other:?}");
                    return Err(Problem::new(StatusCode::INTERNAL_SERVER_ERROR, detail));
                }
            }
        }
    };
    let next = slice(&state, before, &body.keep, go_on).await?;
    let pruning = go_on.pruning;
    let (pruned, room): (Amount, _) =
        state.read(move |reader| Ok::<_, StoreError>((reader.pruned(pruning)?, reader.room()?))).await?;
    let go_on = next.map(|after| GoOn { pruning, after });
    Ok(Json(PruneAnswer::Done(Pruned { pruned, go_on, file: file(room) })))
}

fn file((bytes, free_bytes): (u64, u64)) -> StoreFile {
    StoreFile { bytes, free_bytes }
}

/// Some parts; gives where to go on, or none at the end.
async fn slice(state: &State, before: i64, keep: &[i64], go_on: GoOn) -> Result<Option<i64>, Problem> {
    let pruning = go_on.pruning;
    let mut after = go_on.after;
    for _ in 0..PARTS_A_REQUEST {
        let named = keep.to_vec();
        let runs: Vec<RunId> = state.read(move |reader| reader.next_to_prune(before, after, &named)).await?;
        if let Some(last) = runs.last() {
            after = last.0;
            state.write("", Write::Prune(PruneWrite::Runs { pruning, runs })).await?;
            continue;
        }
        let Some(until_block) = state.read(move |reader| reader.next_idle_to_prune(before)).await? else {
            return Ok(None);
        };
        state.write("", Write::Prune(PruneWrite::Idle { pruning, until_block })).await?;
    }
    Ok(Some(after))
}
