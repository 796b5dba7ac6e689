//! The table of paths.
//!
//! GET changes nothing. Every answer comes within [`ANSWER_WITHIN`], or says that it does not; but for the live
//! feed and what goes through the whole store or many of its runs.

use super::body::BODY_BYTES_MAX;
use super::problem::Problem;
use super::socket::Room;
use super::state::State;
use super::{
    budgets, built, calibrating, calibrations, comparing, corrections, exporting, forward, health, history,
    judging, keeping, live, readings, recompute, reporting, runs, session, shelf, socket, tags, trace,
    trials, upkeep,
};
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::StatusCode;
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use axum::{Extension, Router};
use std::time::Duration;

/// Longest time for an answer.
pub const ANSWER_WITHIN: Duration = Duration::from_secs(10);

/// The whole interface; over a network it goes behind [`super::guard`].
pub fn router(state: State) -> Router {
    let timed = Router::new()
        .route("/status", get(health::status))
        .route("/doctor", get(health::doctor))
        .route("/forward", get(forward::status))
        .route("/forward/quarantine", get(forward::quarantine))
        .route("/forward/retry", post(forward::retry))
        .route("/session", get(session::show).post(session::open).delete(session::close))
        .route("/page/address", get(session::address))
        .route("/page/qr", get(session::qr))
        .route("/rigs", get(live::rigs).post(keeping::add))
        .route("/rigs/{rig}", put(keeping::replace).delete(keeping::remove))
        .route("/ports", get(live::ports))
        .route("/ports/hear", post(keeping::hear))
        .route("/rigs/{rig}/use", post(tags::put_in_force))
        .route("/rigs/{rig}/calibrate", post(calibrating::calibrate))
        .route("/rigs/{rig}/zero", post(tags::zero))
        .route("/rigs/{rig}/readings", post(readings::enter))
        .route("/calibrations", get(calibrations::list).post(calibrations::keep))
        .route("/calibrations/{name}", get(calibrations::show))
        .route("/calibrations/{name}/report", get(calibrations::report))
        .route("/trials", get(trials::list).post(trials::plan))
        .route("/trials/{name}", get(trials::show))
        .route("/trials/{name}/ready", post(trials::ready))
        .route("/trials/{name}/say", post(trials::said))
        .route("/trials/{name}/readings", get(trials::readings))
        .route("/trials/{name}/comparison", get(comparing::comparison))
        .route("/trials/{name}/report", get(reporting::trial))
        .route("/budget", get(budgets::budget))
        .route("/tools/{tool}/acceptance", get(judging::acceptance))
        .route("/tools/{tool}/history", get(history::history))
        .route("/tools/{tool}/history/chart", get(history::drawn))
        .route("/runs", get(runs::list))
        .route("/runs/{id}", get(runs::show))
        .route("/runs/{id}/trace", get(trace::trace))
        .route("/runs/{id}/tag", post(corrections::tag))
        .route("/runs/{id}/exclude", post(corrections::exclude))
        .route("/runs/{id}/restore", post(corrections::restore))
        .route("/shelf/{kind}", get(shelf::list))
        .route("/shelf/{kind}/{name}", get(shelf::show).put(shelf::put).delete(shelf::remove))
        .layer(from_fn(within));
    let untimed = Router::new()
        .route("/events", get(live::events))
        .route("/feed", get(socket::feed))
        .route("/runs/recompute", post(recompute::recompute))
        .route("/store/check", get(health::check).post(upkeep::check))
        .route("/store/backup", get(upkeep::copy))
        .route("/store/prune", post(upkeep::prune))
        .route("/export/runs", get(exporting::runs))
        .route("/export/blows", get(exporting::blows))
        .route("/export/trace", get(exporting::range))
        .route("/export/trace/{run}", get(exporting::trace));
    Router::new()
        .nest("/api/v1", timed.merge(untimed))
        .route("/metrics", get(health::metrics))
        .fallback(built::file)
        .method_not_allowed_fallback(not_that_way)
        .layer(Extension(Room::default()))
        .layer(DefaultBodyLimit::max(BODY_BYTES_MAX))
        .with_state(state)
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

async fn not_that_way(request: Request) -> Problem {
    Problem::new(
        StatusCode::METHOD_NOT_ALLOWED,
        format!("cannot {} {}", request.method(), request.uri().path()),
    )
}
