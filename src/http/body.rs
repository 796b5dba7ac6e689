//! What comes in with a request: JSON bodies, queries, and who says so and why.
//!
//! A body is at most [`BODY_BYTES_MAX`] long, comes within [`BODY_WITHIN`], and must say that it is JSON: a form on another page cannot.

use super::problem::Problem;
use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, Query, Request};
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use boltscribe_model::setups::check_text;
use serde::de::DeserializeOwned;
use std::time::Duration;

/// Most bytes of a body.
pub const BODY_BYTES_MAX: usize = 64 << 10;
/// Longest time for a body to come; shorter than that for an answer, so that the body is named.
pub const BODY_WITHIN: Duration = Duration::from_secs(8);
/// Most characters of a reason.
pub const WHY_CHARS_MAX: usize = 500;

/// A JSON body.
pub struct Body<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Body<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let kind = request.headers().get(header::CONTENT_TYPE);
        let kind = kind.and_then(|value| value.to_str().ok()).unwrap_or("none");
        if kind.split(';').next().map(str::trim) != Some("application/json") {
            return Err(Problem::new(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                format!("cannot read the body: expected the type application/json, found {kind}"),
            ));
        }
        let read = tokio::time::timeout(BODY_WITHIN, Bytes::from_request(request, state)).await;
        let read = read.map_err(|_| {
            let seconds = BODY_WITHIN.as_secs();
            let detail = format!("cannot read the body: expected all of it within {seconds} s");
            Problem::new(StatusCode::REQUEST_TIMEOUT, detail)
        })?;
        let bytes = read.map_err(|rejection| {
            let status = rejection.status();
            let detail =
                format!("cannot read the body: expected at most {BODY_BYTES_MAX} bytes: {rejection}");
            Problem::new(status, detail)
        })?;
        // Serde would take an array for an object, member by member.
        if bytes.iter().find(|byte| !byte.is_ascii_whitespace()) != Some(&b'{') {
            return Err(Problem::unprocessable(
                "cannot read the body: expected a JSON object, found something else",
            ));
        }
        serde_json::from_slice(&bytes)
            .map(Self)
            .map_err(|error| Problem::unprocessable(format!("cannot read the body: {error}")))
    }
}

/// A query.
pub struct Asked<T>(pub T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Asked<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        Query::<T>::from_request_parts(parts, state).await.map(|Query(asked)| Self(asked)).map_err(
            |rejection| {
                Problem::new(
                    StatusCode::BAD_REQUEST,
                    format!("cannot read the query: {}", rejection.body_text()),
                )
            },
        )
    }
}

/// Checks who says so.
///
/// # Errors
/// Not 1 to 64 printable characters.
pub fn check_who(who: &str) -> Result<(), Problem> {
    check_text("who", who).map_err(|error| Problem::unprocessable(error.to_string()))
}

/// Checks a reason.
///
/// # Errors
/// Empty, longer than [`WHY_CHARS_MAX`], or with control characters.
pub fn check_why(why: &str) -> Result<(), Problem> {
    let found = why.chars().count();
    if why.trim().is_empty() || found > WHY_CHARS_MAX {
        return Err(Problem::unprocessable(format!(
            "why: expected 1 to {WHY_CHARS_MAX} characters, found {found}"
        )));
    }
    if why.chars().any(char::is_control) {
        return Err(Problem::unprocessable("why: expected printable characters, found a control character"));
    }
    Ok(())
}
