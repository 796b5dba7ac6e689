//! What is live: the rigs, the ports, and the feed of events (Server-Sent Events of the HTML standard).
//!
//! The feed is bounded: a client that reads too slowly misses messages and is told how many; one that does not read
//! is cut off by its connection ([`super::paced`]). Streams have room of their own, so that they shut nobody else out.

use super::body::Asked;
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::{LiveMessage, News, PortState, RigState};
use super::state::State;
use axum::body::{Body, Bytes};
use axum::extract::State as Shared;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use boltscribe_pipeline::Event;
use boltscribe_store::StoreError;
use serde::{Deserialize, Serialize};
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Semaphore;
use tokio_stream::StreamExt;
use tokio_stream::wrappers::errors::BroadcastStreamRecvError;
use tokio_stream::wrappers::{BroadcastStream, IntervalStream};
use utoipa::{IntoParams, ToSchema};

/// A comment goes out this often, so that a dead connection is found.
const KEEP_ALIVE: Duration = Duration::from_secs(10);
/// Most streams at once.
pub const STREAMS_MAX: usize = 32;

/// Room for streams.
#[derive(Clone)]
pub struct StreamRoom(Arc<Semaphore>);

impl Default for StreamRoom {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(STREAMS_MAX)))
    }
}

/// All rigs.
#[derive(Debug, Serialize, ToSchema)]
pub struct RigList {
    /// The rigs, in the order of the settings.
    rigs: Vec<RigState>,
}

/// All serial ports.
#[derive(Debug, Serialize, ToSchema)]
pub struct PortList {
    /// The ports of this machine.
    ports: Vec<PortState>,
}

/// All rigs as they are now: `{"rigs": [...]}`.
///
/// # Errors
/// The store's.
#[utoipa::path(
    get, path = "/rigs", operation_id = "list_rigs", tag = "rigs",
    responses(
        (status = 200, body = RigList,
         description = "The rigs, each with its line, live reading and what is in force"),
        Refused
    )
)]
pub async fn rigs(Shared(state): Shared<State>) -> Result<Json<RigList>, Problem> {
    let mut rigs = state.rig_states();
    let names: Vec<String> = rigs.iter().filter_map(|rig| rig.calibration.clone()).collect();
    let today = state.today();
    let expired = state
        .read(move |reader| {
            let mut expired = Vec::new();
            for name in names {
                if reader.kept_calibration(&name)?.is_some_and(|row| row.kept.expired_on(today)) {
                    expired.push(name);
                }
            }
            Ok::<_, StoreError>(expired)
        })
        .await?;
    for rig in &mut rigs {
        if rig.calibration.as_ref().is_some_and(|name| expired.contains(name)) {
            rig.standing.insert(0, "calibration expired");
        }
        // The last value is never shown as live.
        if rig.stale || rig.link != super::rigs::Link::Up {
            rig.tension_kn = None;
            rig.counts = None;
        }
    }
    Ok(Json(RigList { rigs }))
}

/// All serial ports: `{"ports": [...]}`.
#[utoipa::path(
    get, path = "/ports", operation_id = "list_ports", tag = "rigs",
    responses(
        (status = 200, description = "The ports, each with the rig that has it, if one has", body = PortList),
        Refused
    )
)]
pub async fn ports(Shared(state): Shared<State>) -> Json<PortList> {
    let rigs = Arc::clone(&state.rigs);
    // Looking at /dev may block.
    let ports = tokio::task::spawn_blocking(move || rigs.ports()).await;
    Json(PortList { ports: ports.unwrap_or_default() })
}

/// Which news are wanted.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct EventsQuery {
    /// The rig whose readings and blows are wanted; those of all where nothing is said.
    live: Option<String>,
}

impl EventsQuery {
    pub(super) fn live(&self) -> Option<&str> {
        self.live.as_deref()
    }
}

/// The live feed: one message for each piece of news, without end.
///
/// With `live` the readings and blows of other rigs are left out, so that a page that shows one rig gets 30 readings a
/// second, not 30 for each rig.
///
/// Each message has `rig`, `utc_ns` and `news`: `event` (provisional: what the pipeline just saw, named by `event`;
/// readings of `live` are in newtons), `run` and `reading` (stored, with their number `id`), `changed` (a run was
/// corrected or measured again), `trial` (something was said of one) and `link`. More kinds may come. Messages are not
/// kept: after a reconnect ask anew for what you show.
///
/// # Errors
/// Too many streams; a query that cannot be read.
#[utoipa::path(
    get, path = "/events", operation_id = "events", tag = "state",
    params(EventsQuery),
    responses(
        (status = 200, body = String, content_type = "text/event-stream",
         description = "Server-Sent Events; `data` is one JSON object"),
        Refused
    )
)]
pub async fn events(
    Shared(state): Shared<State>,
    Extension(room): Extension<StreamRoom>,
    Asked(query): Asked<EventsQuery>,
) -> Result<Response, Problem> {
    let permit = room.0.try_acquire_owned().map_err(|_| {
        Problem::new(
            StatusCode::SERVICE_UNAVAILABLE,
            format!("expected at most {STREAMS_MAX} live streams, found more"),
        )
        .hint("end a `boltscribe rig watch` that is not looked at")
    })?;
    let news =
        BroadcastStream::new(state.rigs.subscribe()).filter_map(move |message| match (message, &permit) {
            (Ok(message), _) => wanted(&message, query.live()).then(|| framed(&message)),
            (Err(BroadcastStreamRecvError::Lagged(skipped)), _) => {
                Some(Bytes::from(format!(": skipped {skipped}\n\n")))
            }
        });
    let alive =
        IntervalStream::new(tokio::time::interval(KEEP_ALIVE)).map(|_| Bytes::from_static(b": alive\n\n"));
    let body = Body::from_stream(Ended::new(news, alive).map(Ok::<Bytes, Infallible>));
    let headers = [(header::CONTENT_TYPE, "text/event-stream"), (header::CACHE_CONTROL, "no-store")];
    Ok((headers, body).into_response())
}

pub(super) fn wanted(message: &LiveMessage, live: Option<&str>) -> bool {
    let fast = matches!(message.news, News::Event(Event::Live { .. } | Event::Blow { .. }));
    !fast || live.is_none_or(|rig| rig == message.rig)
}

fn framed(message: &LiveMessage) -> Bytes {
    // A message that cannot be written as JSON (a number that is not finite) is left out, not garbled.
    match serde_json::to_string(message) {
        Ok(text) => Bytes::from(format!("data: {text}\n\n")),
        Err(_) => Bytes::from_static(b": unreadable\n\n"),
    }
}

/// News with signs of life between them; ends when the news end.
struct Ended<N, A> {
    news: N,
    alive: A,
}

impl<N, A> Ended<N, A> {
    const fn new(news: N, alive: A) -> Self {
        Self { news, alive }
    }
}

impl<N, A> tokio_stream::Stream for Ended<N, A>
where
    N: tokio_stream::Stream<Item = Bytes> + Unpin,
    A: tokio_stream::Stream<Item = Bytes> + Unpin,
{
    type Item = Bytes;

    fn poll_next(
        mut self: std::pin::Pin<&mut Self>,
        context: &mut std::task::Context<'_>,
    ) -> std::task::Poll<Option<Bytes>> {
        use std::task::Poll;
        match std::pin::Pin::new(&mut self.news).poll_next(context) {
            Poll::Pending => std::pin::Pin::new(&mut self.alive).poll_next(context),
            ready => ready,
        }
    }
}
