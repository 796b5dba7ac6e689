//! Everything out of the store as streams of lines: runs, blows, samples.
//!
//! A page is read only when the one before has been taken, by a short reading of its own: a slow client holds
//! a few pages of memory, no thread, and no part of the store's log. The form of the lines is `export::stream`.

use super::body::Asked;
use super::exporting_samples::{Range, Samples};
use super::openapi::Refused;
use super::problem::Problem;
use super::runs::{no_run, run_id, time};
use super::state::State;
use axum::body::{Body, Bytes};
use axum::extract::{Path, State as Shared};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use boltscribe_export::blows::RunBlows;
use boltscribe_export::range::RangeHead;
use boltscribe_export::stream::Line;
use boltscribe_store::{Reader, RunExport, RunFilter, RunId};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use utoipa::IntoParams;

/// Runs in a page.
const PAGE_RUNS: u32 = 250;
/// Runs whose blows are read at once.
const PAGE_BLOWS: u32 = 25;
/// Pages that wait for a client.
const PAGES_WAITING: usize = 1;
/// Bytes handed over at once.
const PIECE_BYTES: usize = 64 << 10;

/// What one reading of a stream gives.
pub(super) struct Page {
    /// Whole lines.
    pub lines: Lines,
    /// There is no more.
    pub last: bool,
}

/// Rows as lines.
#[derive(Default)]
pub(super) struct Lines {
    text: Vec<u8>,
    /// How many rows.
    pub rows: u64,
}

impl Lines {
    /// Adds a row.
    pub fn row(&mut self, row: &impl Serialize) {
        self.put(&Line::<(), _>::Row(row));
        self.rows += 1;
    }

    fn put<H: Serialize, R: Serialize>(&mut self, line: &Line<H, R>) {
        let before = self.text.len();
        match serde_json::to_writer(&mut self.text, line) {
            Ok(()) => self.text.push(b'\n'),
            // Only a map with keys that are no text fails, and there is none.
            Err(_) => self.text.truncate(before),
        }
    }
}

/// What is read page by page.
pub(super) trait Pages: Send + 'static {
    /// Reads the next page.
    fn next(&mut self, reader: &Reader) -> Result<Page, Problem>;
}

/// Answers with a head, then whatever `pages` give.
pub(super) fn answer(state: State, head: &impl Serialize, pages: impl Pages) -> Response {
    let mut first = Lines::default();
    first.put::<_, ()>(&Line::Head(head));
    let (sender, receiver) = mpsc::channel::<Result<Bytes, std::convert::Infallible>>(PAGES_WAITING);
    tokio::spawn(feed(state, first, pages, sender));
    let body = Body::from_stream(ReceiverStream::new(receiver));
    ([(header::CONTENT_TYPE, "application/x-ndjson"), (header::CACHE_CONTROL, "no-store")], body)
        .into_response()
}

async fn feed(
    state: State,
    first: Lines,
    pages: impl Pages,
    to: mpsc::Sender<Result<Bytes, std::convert::Infallible>>,
) {
    let mut rows = 0;
    let mut waiting = first;
    let mut pages = Some(pages);
    loop {
        // The client is gone: nobody reads on.
        if !send(&to, std::mem::take(&mut waiting.text)).await {
            return;
        }
        let Some(mut reading) = pages.take() else { return };
        let read = state.read(move |reader| reading.next(reader).map(|page| (page, reading))).await;
        match read {
            Ok((page, more)) => {
                rows += page.lines.rows;
                waiting = page.lines;
                if page.last {
                    waiting.put::<(), ()>(&Line::End { rows });
                } else {
                    pages = Some(more);
                }
            }
            Err(problem) => {
                waiting.put::<(), ()>(&Line::Failed { detail: problem.detail, hint: problem.hint });
            }
        }
    }
}

async fn send(to: &mpsc::Sender<Result<Bytes, std::convert::Infallible>>, text: Vec<u8>) -> bool {
    let mut rest = Bytes::from(text);
    while !rest.is_empty() {
        let piece = rest.split_to(rest.len().min(PIECE_BYTES));
        if to.send(Ok(piece)).await.is_err() {
            return false;
        }
    }
    true
}

/// Which runs are asked for.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(default, deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct RunQuery {
    /// Those at this rig only.
    rig: Option<String>,
    /// Those with this setup only.
    setup: Option<String>,
    /// Those of this tool only.
    tool: Option<String>,
    /// From this time on, such as 2026-01-31T13:00:00Z.
    from: Option<String>,
    /// Before this time, such as 2026-01-31T13:00:00Z.
    to: Option<String>,
    /// Those that are left out of results too.
    all: bool,
}

impl RunQuery {
    fn filter(self) -> Result<RunFilter, Problem> {
        Ok(RunFilter {
            rig: self.rig,
            setup: self.setup,
            tool: self.tool,
            since_utc_ns: self.from.map(|text| time("from", &text)).transpose()?,
            until_utc_ns: self.to.map(|text| time("to", &text)).transpose()?,
            excluded: (!self.all).then_some(false),
            before: None,
            limit: 0,
            original: false,
        })
    }
}

/// Runs of a filter up to the last one there was at the start.
struct Runs {
    filter: RunFilter,
    after: i64,
    with_blows: bool,
}

impl Pages for Runs {
    fn next(&mut self, reader: &Reader) -> Result<Page, Problem> {
        let limit = if self.with_blows { PAGE_BLOWS } else { PAGE_RUNS };
        let runs: Vec<RunExport> = reader.runs_upward(&self.filter, self.after, limit)?;
        let mut lines = Lines::default();
        let last = runs.len() < limit as usize;
        self.after = runs.last().map_or(self.after, |run| run.line.id.0);
        for run in runs {
            if self.with_blows {
                let blows = reader.blows(run.line.id)?;
                lines.row(&RunBlows { run: run.line, blows });
            } else {
                lines.row(&run);
            }
        }
        Ok(Page { lines, last })
    }
}

/// `GET /export/runs` and `GET /export/blows`.
async fn runs_or_blows(state: State, query: RunQuery, with_blows: bool) -> Result<Response, Problem> {
    let mut filter = query.filter()?;
    let last = state.read(Reader::run_last).await?;
    filter.before = Some(last + 1);
    let head: Value = json!({ "last_run": last });
    Ok(answer(state, &head, Runs { filter, after: 0, with_blows }))
}

/// Runs with all their figures as JSON lines, oldest first.
///
/// # Errors
/// A filter that cannot be read; the store's.
#[utoipa::path(
    get, path = "/export/runs", operation_id = "export_runs", tag = "export",
    params(RunQuery),
    responses(
        (status = 200, body = String, content_type = "application/x-ndjson",
         description = "A head, a line for each run, an end; `failed` where it broke off"),
        Refused
    )
)]
pub async fn runs(Shared(state): Shared<State>, Asked(query): Asked<RunQuery>) -> Result<Response, Problem> {
    runs_or_blows(state, query, false).await
}

/// The blows of runs as JSON lines, oldest first.
///
/// # Errors
/// A filter that cannot be read; the store's.
#[utoipa::path(
    get, path = "/export/blows", operation_id = "export_blows", tag = "export",
    params(RunQuery),
    responses(
        (status = 200, body = String, content_type = "application/x-ndjson",
         description = "A head, a line for each run with its blows, an end; `failed` where it broke off"),
        Refused
    )
)]
pub async fn blows(Shared(state): Shared<State>, Asked(query): Asked<RunQuery>) -> Result<Response, Problem> {
    runs_or_blows(state, query, true).await
}

/// The samples of a run as recorded, as JSON lines.
///
/// # Errors
/// No such run, no samples; the store's.
#[utoipa::path(
    get, path = "/export/trace/{run}", operation_id = "export_trace", tag = "export",
    params(("run" = i64, Path, description = "Number of the run in the store")),
    responses(
        (status = 200, body = String, content_type = "application/x-ndjson",
         description = "A head, stretches of raw codes, an end; `failed` where it broke off"),
        Refused
    )
)]
pub async fn trace(Shared(state): Shared<State>, Path(id): Path<String>) -> Result<Response, Problem> {
    let id = run_id(&id)?;
    let samples = state.read(move |reader| match Samples::of(reader, id)? {
        Some(found) => Ok(found),
        None if reader.run(id)?.is_none() => Err(no_run(id)),
        None => Err(no_samples(id)),
    });
    let (head, samples) = samples.await?;
    if head.samples == 0 {
        return Err(no_samples(id));
    }
    Ok(answer(state, &head, samples))
}

fn no_samples(id: RunId) -> Problem {
    Problem::not_found(format!("cannot find samples of run {}", id.0))
        .hint("a reading by hand has none, and pruned ones are gone: see `boltscribe runs show`")
}

/// Which readings are asked for.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct RangeQuery {
    /// Name of the rig.
    rig: String,
    /// From this time on, such as 2026-01-31T13:00:00Z.
    from: String,
    /// Before this time, after `from`.
    to: String,
    /// Runs in points of 0.1 s as well; else sample by sample.
    #[serde(default)]
    thinned: bool,
}

/// All that a rig read between two times, as JSON lines.
///
/// # Errors
/// Times that cannot be read or are in the wrong order, no such rig; the store's.
#[utoipa::path(
    get, path = "/export/trace", operation_id = "export_range", tag = "export",
    params(RangeQuery),
    responses(
        (status = 200, body = String, content_type = "application/x-ndjson",
         description = "A head, stretches in time order, an end; `failed` where it broke off"),
        Refused
    )
)]
pub async fn range(
    Shared(state): Shared<State>,
    Asked(query): Asked<RangeQuery>,
) -> Result<Response, Problem> {
    let head = RangeHead {
        from_utc_ns: time("from", &query.from)?,
        to_utc_ns: time("to", &query.to)?,
        rig: query.rig,
        thinned: query.thinned,
    };
    if head.from_utc_ns >= head.to_utc_ns {
        let detail = format!("to: expected a time after {}, found {}", query.from, query.to);
        return Err(Problem::new(StatusCode::BAD_REQUEST, detail));
    }
    let asked = head.clone();
    let pages = state
        .read(move |reader| {
            if !reader.knows_rig(&asked.rig)? {
                let detail = format!("cannot find the rig '{}' in the store", asked.rig);
                return Err(Problem::not_found(detail));
            }
            Ok::<_, Problem>(Range::of(reader, asked)?)
        })
        .await?;
    Ok(answer(state, &head, pages))
}
