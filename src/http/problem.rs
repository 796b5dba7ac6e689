//! Refusals as problem details (RFC 9457): what was tried, expected and found, and a hint.
//!
//! The one place where errors of other rooms get an HTTP status.

use super::rigs::Refusal;
use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use boltscribe_store::{Refused, SendError, StoreError};
use serde::Serialize;
use utoipa::ToSchema;

/// A refusal on its way out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// HTTP status.
    pub status: StatusCode,
    /// The sentence.
    pub detail: String,
    /// What to do about it.
    pub hint: Option<String>,
}

impl Problem {
    /// With a status and a sentence.
    pub fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        Self { status, detail: detail.into(), hint: None }
    }

    /// What was asked for cannot be understood or breaks a rule.
    pub fn unprocessable(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, detail)
    }

    /// There is no such thing.
    pub fn not_found(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, detail)
    }

    /// It cannot be done as things are.
    pub fn conflict(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::CONFLICT, detail)
    }

    /// Adds what to do about it.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

/// A refusal as it is sent: problem details after RFC 9457, with a hint.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Problem)]
pub struct Details {
    /// Always `about:blank`: the status says what kind it is.
    #[serde(rename = "type")]
    kind: &'static str,
    /// The words of the status.
    title: &'static str,
    /// HTTP status.
    #[schema(minimum = 400, maximum = 599)]
    status: u16,
    /// What was tried, what was expected, what was found.
    detail: String,
    /// What to do about it, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    hint: Option<String>,
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let body = Details {
            kind: "about:blank",
            title: self.status.canonical_reason().unwrap_or("Error"),
            status: self.status.as_u16(),
            detail: self.detail,
            hint: self.hint,
        };
        let mut response = (self.status, Json(body)).into_response();
        response
            .headers_mut()
            .insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        response
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        let hint = error.hint();
        let status = match &error {
            StoreError::NoRoom { .. } => StatusCode::INSUFFICIENT_STORAGE,
            StoreError::Busy { .. } => StatusCode::CONFLICT,
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        let problem = Self::new(status, error.to_string());
        match hint {
            Some(hint) => problem.hint(hint),
            None => problem,
        }
    }
}

impl From<SendError> for Problem {
    fn from(error: SendError) -> Self {
        Self::new(StatusCode::SERVICE_UNAVAILABLE, error.to_string())
            .hint("look at 'boltscribe doctor' for what the store says")
    }
}

impl From<Refused> for Problem {
    fn from(refused: Refused) -> Self {
        let status = match &refused {
            Refused::Unknown { .. } => StatusCode::NOT_FOUND,
            Refused::Duplicate(_) | Refused::NotLeftOut(_) | Refused::Open(_) => StatusCode::CONFLICT,
            Refused::NotRepresentable(_) | Refused::Row { .. } => StatusCode::UNPROCESSABLE_ENTITY,
        };
        Self::new(status, refused.to_string())
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        let detail = refusal.to_string();
        match refusal {
            Refusal::UnknownRig(_) => Self::not_found(detail),
            Refusal::NotServed(_) => Self::conflict(detail).hint("start boltscribed"),
            Refusal::Refused { .. } => Self::conflict(detail),
            Refusal::Settings(_) => Self::unprocessable(detail),
            Refusal::Failed { .. } => Self::new(StatusCode::INTERNAL_SERVER_ERROR, detail),
        }
    }
}
