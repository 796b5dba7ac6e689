//! The table of paths: which handlers are served, each under the path and method of its own attribute.
//!
//! The same attributes make the document of [`super::openapi`], which is where to look for paths. GET changes
//! nothing. Every answer comes within [`ANSWER_WITHIN`], or says that it does not; but for the live feed and what
//! goes through the whole store or many of its runs.

use super::body::BODY_BYTES_MAX;
use super::openapi::{Described, Head};
use super::problem::Problem;
use super::socket::Room;
use super::state::State;
use super::{
    budgets, built, calibrating, calibrations, comparing, corrections, exporting, forward, health, history,
    judging, keeping, limits, live, openapi, readings, recompute, reporting, runs, session, shelf, socket,
    tags, trace, trials, upkeep,
};
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Router};
use std::time::Duration;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// Longest refusal that the framework words.
const WORDS_BYTES_MAX: usize = 4096;
/// Longest time for an answer.
pub const ANSWER_WITHIN: Duration = Duration::from_secs(10);

/// The whole interface; over a network it goes behind [`super::guard`].
pub fn router(state: State) -> Router {
    let (router, document) = table().split_for_parts();
    router
        .fallback(built::file)
        .method_not_allowed_fallback(not_that_way)
        .layer(from_fn(as_problem))
        .layer(Extension(Room::default()))
        .layer(Extension(live::StreamRoom::default()))
        .layer(Extension(Described::new(document)))
        .layer(DefaultBodyLimit::max(BODY_BYTES_MAX))
        .with_state(state)
}

/// The document of the whole interface, as it is served; no store and no rig is needed for it.
#[must_use]
pub fn document() -> serde_json::Value {
    Described::new(table().into_openapi()).whole()
}

fn table() -> OpenApiRouter<State> {
    let timed = OpenApiRouter::default()
        .routes(routes!(openapi::document))
        .routes(routes!(health::status))
        .routes(routes!(health::doctor))
        .routes(routes!(forward::status))
        .routes(routes!(forward::quarantine))
        .routes(routes!(forward::retry))
        .routes(routes!(session::show, session::open, session::close))
        .routes(routes!(session::address))
        .routes(routes!(session::qr))
        .routes(routes!(live::rigs, keeping::add))
        .routes(routes!(keeping::replace, keeping::remove))
        .routes(routes!(live::ports))
        .routes(routes!(keeping::hear))
        .routes(routes!(tags::put_in_force))
        .routes(routes!(calibrating::calibrate))
        .routes(routes!(tags::zero))
        .routes(routes!(readings::enter))
        .routes(routes!(calibrations::list, calibrations::keep))
        .routes(routes!(calibrations::show))
        .routes(routes!(calibrations::report))
        .routes(routes!(trials::list, trials::plan))
        .routes(routes!(trials::show))
        .routes(routes!(trials::ready))
        .routes(routes!(trials::said))
        .routes(routes!(trials::readings))
        .routes(routes!(comparing::comparison))
        .routes(routes!(reporting::trial))
        .routes(routes!(budgets::budget))
        .routes(routes!(judging::acceptance))
        .routes(routes!(limits::list))
        .routes(routes!(history::history))
        .routes(routes!(history::drawn))
        .routes(routes!(runs::list))
        .routes(routes!(runs::show))
        .routes(routes!(trace::trace))
        .routes(routes!(corrections::tag))
        .routes(routes!(corrections::exclude))
        .routes(routes!(corrections::restore))
        .routes(routes!(shelf::list))
        .routes(routes!(shelf::show, shelf::put, shelf::remove))
        .layer(from_fn(within));
    let untimed = OpenApiRouter::default()
        .routes(routes!(live::events))
        .routes(routes!(socket::feed))
        .routes(routes!(recompute::recompute))
        .routes(routes!(health::check, upkeep::check))
        .routes(routes!(upkeep::verify))
        .routes(routes!(upkeep::copy))
        .routes(routes!(upkeep::prune))
        .routes(routes!(exporting::runs))
        .routes(routes!(exporting::blows))
        .routes(routes!(exporting::range))
        .routes(routes!(exporting::trace));
    OpenApiRouter::with_openapi(Head::openapi())
        .nest("/api/v1", timed.merge(untimed))
        .routes(routes!(health::metrics))
}

async fn within(request: Request, next: Next) -> Response {
    let changes = !request.method().is_safe();
    match tokio::time::timeout(ANSWER_WITHIN, next.run(request)).await {
        Ok(response) => response,
        Err(_) => {
            let seconds = ANSWER_WITHIN.as_secs();
            let after = if changes { "; the change may still be stored" } else { "" };
            Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                format!("expected an answer within {seconds} s, found none{after}"),
            )
            .hint("look at 'boltscribe doctor' for what the store says")
            .into_response()
        }
    }
}

/// A refusal that the framework words by itself, such as a path that is no UTF-8, told like all others.
async fn as_problem(request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let response = next.run(request).await;
    let status = response.status();
    let kind = response.headers().get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    if !status.is_client_error() || !kind.starts_with("text/plain") {
        return response;
    }
    let words = axum::body::to_bytes(response.into_body(), WORDS_BYTES_MAX).await.unwrap_or_default();
    let words = String::from_utf8_lossy(&words);
    Problem::new(status, format!("cannot answer at {path}: {words}")).into_response()
}

async fn not_that_way(request: Request) -> Problem {
    Problem::new(
        StatusCode::METHOD_NOT_ALLOWED,
        format!("cannot {} {}", request.method(), request.uri().path()),
    )
}
