//! The interface described by itself: a document after the OpenAPI Specification 3.1.
//!
//! Paths, queries and bodies are told by attributes at the handlers and at the types they take; the router is built
//! of the same attributes, so nothing is served that is not described; answers are told by their types, which
//! [`super::strict`] closes. What stands here is what all paths have in common. Must not know what a handler does.

use super::problem::Details;
use super::strict;
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::sync::Arc;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{Content, OpenApi as Document, Ref, RefOr, Response as Answer, ResponseBuilder};
use utoipa::{IntoResponses, Modify, OpenApi, ToResponse};

/// What the document says beside its paths; version and licence are those of the package.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "boltscribe",
        description = "Finds, times and measures every run of a tightening tool on a bolt-tension rig"
    ),
    components(schemas(Details), responses(Details)),
    servers((url = "/", description = "Where this document came from")),
    modifiers(&Tokens),
    tags(
        (name = "state", description = "How things are, and the live feed"),
        (name = "access", description = "Tokens of other devices, and how they find the page"),
        (name = "rigs", description = "Rigs, their ports, and what is in force at them"),
        (name = "runs", description = "Runs, their traces, corrections and uncertainties"),
        (name = "shelf", description = "Pieces, setups, tools, sources and test bolts"),
        (name = "calibrations", description = "Calibrations against a reference"),
        (name = "trials", description = "Planned comparisons"),
        (name = "tools", description = "How tools are, and whether they meet a limit"),
        (name = "store", description = "Check, copy and pruning of the store"),
        (name = "export", description = "Everything out of the store as JSON lines"),
        (name = "forward", description = "Sending results to a central store"),
    )
)]
pub struct Head;

/// How another device says who it is.
struct Tokens;

impl Modify for Tokens {
    fn modify(&self, document: &mut Document) {
        let bearer = HttpBuilder::new().scheme(HttpAuthScheme::Bearer).description(Some(
            "Asked for where the settings name a `tokens_file`; made by `boltscribe access add`",
        ));
        let components = document.components.get_or_insert_default();
        components.add_security_scheme("token", SecurityScheme::Http(bearer.build()));
        // None, or one.
        let none = SecurityRequirement::default();
        document.security = Some(vec![none, SecurityRequirement::new("token", Vec::<String>::new())]);
    }
}

/// The document, as the router hands it to [`document`].
#[derive(Clone)]
pub struct Described(Arc<Document>);

impl Described {
    /// Of the paths that a router has.
    #[must_use]
    pub fn new(document: Document) -> Self {
        Self(Arc::new(document))
    }

    /// The whole document, answers closed.
    #[must_use]
    pub fn whole(&self) -> Value {
        let mut document = json!(*self.0);
        strict::answers(&mut document);
        document
    }
}

/// This document.
#[utoipa::path(
    get, path = "/openapi.json", operation_id = "openapi", tag = "state",
    responses((status = 200, description = "A document after OpenAPI 3.1", body = Object), Refused)
)]
pub async fn document(Extension(described): Extension<Described>) -> Response {
    Json(described.whole()).into_response()
}

/// What any path may answer instead: a problem.
pub struct Refused;

impl IntoResponses for Refused {
    fn responses() -> BTreeMap<String, RefOr<Answer>> {
        let (name, _) = Details::response();
        ["4XX", "5XX"].map(|status| (status.to_owned(), Ref::from_response_name(name).into())).into()
    }
}

impl<'r> ToResponse<'r> for Details {
    fn response() -> (&'r str, RefOr<Answer>) {
        let schema = Ref::from_schema_name("Problem");
        let answer = ResponseBuilder::new()
            .description("Refused, or not possible; nothing was changed unless the sentence says so")
            .content("application/problem+json", Content::new(Some(schema)));
        ("Problem", answer.build().into())
    }
}
