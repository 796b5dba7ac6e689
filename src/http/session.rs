//! A browser comes in with its token, and goes out; and how another device finds the page.
//!
//! The token stands in a cookie that no script reads and no other site sends. Must not know which requests need which
//! role; that is `guard`.

use super::access::{Access, Role, Visitor};
use super::body::Body;
use super::guard::{COOKIE, Peer, not_in};
use super::openapi::Refused;
use super::problem::Problem;
use super::state::State;
use axum::extract::State as Shared;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use fast_qr::QRBuilder;
use fast_qr::convert::Builder;
use fast_qr::convert::svg::SvgBuilder;
use serde::{Deserialize, Serialize};
use std::net::{IpAddr, Ipv4Addr};
use std::sync::Arc;
use utoipa::ToSchema;

/// How long a browser keeps its token, seconds: a year.
const KEPT_S: u32 = 31_536_000;

/// A token as typed.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TokenBody {
    /// 64 hexadecimal digits, as `boltscribe access add` shows them.
    token: String,
}

/// Who asks.
#[derive(Debug, Serialize, ToSchema)]
pub struct Session {
    /// Tokens are asked for here.
    tokens: bool,
    /// Whose token this one is; null where none was sent.
    name: Option<String>,
    /// What it allows.
    role: Role,
}

/// The session is over.
#[derive(Debug, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SessionClosed {}

/// Where other devices find the page.
#[derive(Debug, Serialize, ToSchema)]
pub struct PageAddress {
    /// Its address; null where only this machine reaches it.
    address: Option<String>,
}

type MayHave<T> = Option<Extension<T>>;

/// Who asks: `{"tokens", "name", "role"}`.
#[utoipa::path(
    get, path = "/session", operation_id = "show_session", tag = "access",
    responses(
        (status = 200, body = Session,
         description = "Whether tokens are asked for, whose this one is, and its role: view, operate or correct"),
        Refused
    )
)]
pub async fn show(visitor: MayHave<Visitor>, access: MayHave<Arc<Access>>) -> Json<Session> {
    // Over the socket nobody guards.
    let visitor = visitor.map_or(Visitor { name: None, role: Role::Correct }, |Extension(visitor)| visitor);
    Json(Session { tokens: access.is_some(), name: visitor.name, role: visitor.role })
}

/// Takes a token into the browser's cookie.
///
/// # Errors
/// Not known, or too many that were not; none is asked for here.
#[utoipa::path(
    post, path = "/session", operation_id = "open_session", tag = "access", request_body = TokenBody,
    responses((status = 200, body = Session, description = "As for the one who asks; with a cookie"), Refused)
)]
pub async fn open(
    access: MayHave<Arc<Access>>,
    peer: MayHave<Peer>,
    Body(body): Body<TokenBody>,
) -> Result<Response, Problem> {
    let Some(Extension(access)) = access else {
        return Err(Problem::conflict("cannot take a token: none is asked for here"));
    };
    let from = peer.map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), |Extension(peer)| peer.0);
    let token = body.token.trim();
    let visitor = access.visitor(Some(token), from).map_err(not_in)?;
    let cookie = format!("{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict; Max-Age={KEPT_S}");
    let session = Session { tokens: true, name: visitor.name, role: visitor.role };
    Ok(([(header::SET_COOKIE, cookie)], Json(session)).into_response())
}

/// The browser forgets its token.
#[utoipa::path(
    delete, path = "/session", operation_id = "close_session", tag = "access",
    responses((status = 200, body = SessionClosed, description = "Nothing; the cookie is gone"), Refused)
)]
pub async fn close() -> Response {
    let cookie = format!("{COOKIE}=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0");
    (StatusCode::OK, [(header::SET_COOKIE, cookie)], Json(SessionClosed {})).into_response()
}

/// Where other devices find the page.
#[utoipa::path(
    get, path = "/page/address", operation_id = "page_address", tag = "access",
    responses(
        (status = 200, body = PageAddress, description = "The address, where other machines reach it"),
        Refused
    )
)]
pub async fn address(Shared(state): Shared<State>) -> Json<PageAddress> {
    Json(PageAddress { address: of_page(&state) })
}

fn of_page(state: &State) -> Option<String> {
    state.rigs.facts().into_iter().find(|(name, _)| name == "page").map(|(_, address)| address)
}

/// The page's address as a QR code (ISO/IEC 18004).
///
/// # Errors
/// Only this machine reaches the page.
#[utoipa::path(
    get, path = "/page/qr", operation_id = "page_qr", tag = "access",
    responses((status = 200, description = "The drawing", body = String, content_type = "image/svg+xml"), Refused)
)]
pub async fn qr(Shared(state): Shared<State>) -> Result<Response, Problem> {
    let Some(address) = of_page(&state) else {
        return Err(Problem::not_found(
            "the page is on this machine only: daemon.listen is a loopback address",
        ));
    };
    let code = QRBuilder::new(address.as_str()).build().map_err(|error| {
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, format!("cannot draw the address {address}: {error}"))
    })?;
    let text = SvgBuilder::default().margin(4).to_str(&code);
    Ok(([(header::CONTENT_TYPE, "image/svg+xml"), (header::CACHE_CONTROL, "no-store")], text).into_response())
}
