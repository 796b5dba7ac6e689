//! The news as WebSocket messages (RFC 6455), for the page: one JSON text each.
//!
//! It carries what `/events` carries. It is never the source: who reads too slowly is cut off and asks anew. Must not
//! know what the news mean.

use super::body::Asked;
use super::held_open::{Pass, taken_back};
use super::live::{EventsQuery, wanted};
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::LiveMessage;
use super::state::State;
use axum::Extension;
use axum::body::Bytes;
use axum::extract::State as Shared;
use axum::extract::ws::rejection::WebSocketUpgradeRejection;
use axum::extract::ws::{CloseFrame, Message, WebSocket, WebSocketUpgrade, close_code};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Semaphore, broadcast};

/// Most sockets at once.
pub const SOCKETS_MAX: usize = 32;
/// Longest message that a client may send; none is expected.
const CLIENT_BYTES_MAX: usize = 1024;
/// Longest time for a message to go out.
const SENT_WITHIN: Duration = Duration::from_secs(5);
/// How often an answer is asked for (a ping of RFC 6455, which every browser answers by itself), and how many may
/// stay without: who stands still is cut off after 9 s.
const PING: Duration = Duration::from_secs(3);
const UNANSWERED_MAX: u32 = 2;
/// How often a sign of life is given.
const ALIVE: Duration = Duration::from_secs(10);

/// Room for sockets.
#[derive(Clone)]
pub struct Room(pub Arc<Semaphore>);

impl Default for Room {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(SOCKETS_MAX)))
    }
}

/// The live feed as a WebSocket: the news of `/events`, and `{"news":"alive"}` every 10 s.
///
/// # Errors
/// No WebSocket; too many of them; a query that cannot be read.
#[utoipa::path(
    get, path = "/feed", operation_id = "feed", tag = "state",
    params(EventsQuery),
    responses((status = 101, description = "A WebSocket (RFC 6455); each message is one JSON text"), Refused)
)]
pub async fn feed(
    Shared(state): Shared<State>,
    Extension(room): Extension<Room>,
    pass: Option<Extension<Pass>>,
    Asked(query): Asked<EventsQuery>,
    upgrade: Result<WebSocketUpgrade, WebSocketUpgradeRejection>,
) -> Result<Response, Problem> {
    let upgrade = upgrade.map_err(|rejection| {
        let detail = format!("expected a WebSocket, found another request: {rejection}");
        Problem::new(rejection.into_response().status(), detail)
    })?;
    let permit = Arc::clone(&room.0).try_acquire_owned().map_err(|_| {
        Problem::new(
            StatusCode::SERVICE_UNAVAILABLE,
            format!("expected at most {SOCKETS_MAX} live feeds, found more"),
        )
        .hint("close pages that are not looked at")
    })?;
    let news = state.rigs.subscribe();
    let upgrade = upgrade.max_message_size(CLIENT_BYTES_MAX).max_frame_size(CLIENT_BYTES_MAX);
    Ok(upgrade.on_upgrade(move |socket| async move {
        serve(socket, news, query, pass.map(|Extension(pass)| pass)).await;
        drop(permit);
    }))
}

async fn serve(
    mut socket: WebSocket,
    mut news: broadcast::Receiver<Arc<LiveMessage>>,
    query: EventsQuery,
    pass: Option<Pass>,
) {
    let mut alive = tokio::time::interval(ALIVE);
    let mut pings = tokio::time::interval(PING);
    pings.reset();
    let mut unanswered = 0;
    let taken_back = taken_back(pass);
    tokio::pin!(taken_back);
    loop {
        let message = tokio::select! {
            () = &mut taken_back => return close(socket, close_code::POLICY, "the token was taken back").await,
            _ = pings.tick() => {
                if unanswered >= UNANSWERED_MAX {
                    return;
                }
                unanswered += 1;
                Message::Ping(Bytes::new())
            }
            _ = alive.tick() => Message::text("{\"news\":\"alive\"}"),
            message = news.recv() => match message {
                Ok(message) if !wanted(&message, query.live()) => continue,
                // A message that cannot be written as JSON (a number that is not finite) is left out, not garbled.
                Ok(message) => match serde_json::to_string(&*message) {
                    Ok(text) => Message::text(text),
                    Err(_) => continue,
                },
                Err(broadcast::error::RecvError::Lagged(_)) => {
                    return close(socket, close_code::AGAIN, "too slow: ask anew").await;
                }
                Err(broadcast::error::RecvError::Closed) => return close(socket, close_code::AWAY, "stopping").await,
            },
            heard = socket.recv() => match heard {
                // Pings are answered by the library; a page has nothing else to say.
                Some(Ok(Message::Ping(_) | Message::Pong(_))) => {
                    unanswered = 0;
                    continue;
                }
                Some(Ok(Message::Text(_) | Message::Binary(_))) => {
                    return close(socket, close_code::POLICY, "expected nothing, found a message").await;
                }
                Some(Ok(Message::Close(_)) | Err(_)) | None => return,
            },
        };
        match tokio::time::timeout(SENT_WITHIN, socket.send(message)).await {
            Ok(Ok(())) => {}
            // Gone, or so slow that what it shows would be old: it finds that out by the silence.
            Ok(Err(_)) | Err(_) => return,
        }
    }
}

async fn close(mut socket: WebSocket, code: u16, reason: &'static str) {
    let frame = Message::Close(Some(CloseFrame { code, reason: reason.into() }));
    // Who does not take it is gone anyway.
    let _ = tokio::time::timeout(SENT_WITHIN, socket.send(frame)).await;
}
