//! What a request over the network must show: that it is meant for this machine, that a change or a live feed comes from
//! our own page or from no page at all, and, where tokens are asked for, a token whose role allows it.
//!
//! Against pages elsewhere that make a browser talk to us (DNS rebinding, cross-site requests). On the Unix socket file
//! permission is the authentication, and none of this is asked.

use super::access::{Access, NotIn, Role, Visitor};
use super::held_open::{Pass, watched};
use super::problem::Problem;
use axum::Router;
use axum::extract::Request;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Response};
use std::net::{IpAddr, Ipv4Addr};
use std::sync::Arc;

/// Name of the cookie that holds a browser's token.
pub const COOKIE: &str = "boltscribe";

/// Where a connection comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Peer(pub IpAddr);

/// What is let in.
#[derive(Clone)]
pub struct Guard {
    /// The port that is served.
    pub port: u16,
    /// Other machines reach it: an address in place of a name is as good as ours, since nobody can rebind it.
    pub open: bool,
    /// The name of this machine, where it has one.
    pub host: Option<String>,
    /// Tokens; none: none is asked for.
    pub access: Option<Arc<Access>>,
}

/// Puts the router behind the checks.
pub fn guarded(router: Router, guard: Guard) -> Router {
    let guard = Arc::new(guard);
    router.layer(from_fn(move |mut request: Request, next: Next| {
        let guard = Arc::clone(&guard);
        async move {
            match guard.admit(&request) {
                Ok(visitor) => {
                    request.extensions_mut().insert(visitor);
                    if let Some(access) = &guard.access {
                        request.extensions_mut().insert(Arc::clone(access));
                    }
                    match guard.pass(&request) {
                        None => next.run(request).await,
                        Some(pass) => {
                            request.extensions_mut().insert(pass.clone());
                            watched(next.run(request).await, pass)
                        }
                    }
                }
                Err(problem) => problem.into_response() as Response,
            }
        }
    }))
}

impl Guard {
    fn admit(&self, request: &Request) -> Result<Visitor, Problem> {
        let headers = request.headers();
        let host = one(headers, "host")?.or_else(|| request.uri().authority().map(|a| a.as_str()));
        let host = host.unwrap_or("none");
        if !self.is_ours(host) {
            return Err(refuse("Host", "this machine's address and port", host));
        }
        if !request.method().is_safe() || headers.contains_key(header::UPGRADE) {
            self.check_origin(headers)?;
        }
        self.visitor(request)
    }

    /// What a request that was let in came in with.
    fn pass(&self, request: &Request) -> Option<Pass> {
        let access = self.access.as_ref()?;
        let token = token(request.headers()).ok()??;
        is_data(request.uri().path()).then(|| Pass::new(access, token))
    }

    /// Whether a host with its port means this machine.
    fn is_ours(&self, host: &str) -> bool {
        let bare = match host.rsplit_once(':') {
            Some((bare, port)) if port.parse() == Ok(self.port) && !port.starts_with('+') => bare,
            _ if self.port == 80 => host,
            _ => return false,
        };
        let known = ["127.0.0.1", "localhost", "[::1]"].into_iter().chain(self.host.as_deref());
        let inner = bare.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')).unwrap_or(bare);
        known.into_iter().any(|name| name.eq_ignore_ascii_case(bare))
            || (self.open && inner.parse::<IpAddr>().is_ok())
    }

    fn check_origin(&self, headers: &HeaderMap) -> Result<(), Problem> {
        if let Some(origin) = one(headers, "origin")?
            && !origin.strip_prefix("http://").is_some_and(|host| self.is_ours(host))
        {
            return Err(refuse("Origin", "this page or none", origin));
        }
        match one(headers, "sec-fetch-site")? {
            None | Some("same-origin" | "none") => Ok(()),
            Some(other) => Err(refuse("Sec-Fetch-Site", "same-origin or none", other)),
        }
    }

    fn visitor(&self, request: &Request) -> Result<Visitor, Problem> {
        let everything = Visitor { name: None, role: Role::Correct };
        let path = request.uri().path();
        let Some(access) = &self.access else { return Ok(everything) };
        let asks_to_come_in = path == "/api/v1/session" && request.method() == Method::POST;
        if !is_data(path) || asks_to_come_in {
            return Ok(Visitor { name: None, role: Role::View });
        }
        let from =
            request.extensions().get::<Peer>().map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), |peer| peer.0);
        let visitor = access.visitor(token(request.headers())?, from).map_err(not_in)?;
        let needed = needs(request.method(), path);
        if visitor.role < needed {
            return Err(Problem::new(
                StatusCode::FORBIDDEN,
                format!(
                    "expected a token with the role '{}', found '{}'",
                    needed.name(),
                    visitor.role.name()
                ),
            ));
        }
        Ok(visitor)
    }
}

/// The page itself holds nothing of anybody; it asks for the token that its requests then bring.
fn is_data(path: &str) -> bool {
    path.starts_with("/api/") || path == "/metrics"
}

/// The refusal of somebody who is not known.
pub(super) fn not_in(why: NotIn) -> Problem {
    match why {
        NotIn::Unknown => {
            Problem::new(StatusCode::UNAUTHORIZED, "expected a token that is known, found none")
                .hint("`boltscribe access add NAME` makes one")
        }
        NotIn::Wait => Problem::new(
            StatusCode::TOO_MANY_REQUESTS,
            "expected fewer tries with tokens that are not known: wait a minute",
        ),
    }
}

/// What a request needs. What is not listed as testing changes what is kept.
fn needs(method: &Method, path: &str) -> Role {
    let path = path.strip_prefix("/api/v1/").unwrap_or(path);
    if method.is_safe() || path == "session" {
        return Role::View;
    }
    let parts: Vec<&str> = path.split('/').collect();
    match parts[..] {
        ["rigs", _, "use" | "zero" | "readings"] | ["trials"] | ["trials", _, "ready" | "say"] => {
            Role::Operate
        }
        _ => Role::Correct,
    }
}

/// The token of a request: as a bearer (RFC 6750), else in our cookie.
fn token(headers: &HeaderMap) -> Result<Option<&str>, Problem> {
    if let Some(given) = one(headers, "authorization")? {
        return Ok(given.strip_prefix("Bearer ").map(str::trim));
    }
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = cookies.flat_map(|text| text.split(';')).filter_map(|pair| pair.trim().split_once('='));
    Ok(pairs.find(|(name, _)| *name == COOKIE).map(|(_, token)| token))
}

/// A header that may stand once.
fn one<'a>(headers: &'a HeaderMap, name: &'static str) -> Result<Option<&'a str>, Problem> {
    let mut values = headers.get_all(name).iter();
    let first = values.next();
    if values.next().is_some() {
        return Err(refuse(name, "it once", "several"));
    }
    match first.map(|value| value.to_str()) {
        None => Ok(None),
        Some(Ok(text)) => Ok(Some(text)),
        Some(Err(_)) => Err(refuse(name, "printable characters", "others")),
    }
}

fn refuse(name: &str, expected: &str, found: &str) -> Problem {
    Problem::new(StatusCode::FORBIDDEN, format!("header {name}: expected {expected}, found {found}"))
}

/// Adds what a browser must not do with our answers.
pub async fn harden(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    let rules = [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::REFERRER_POLICY, "no-referrer"),
    ];
    for (name, value) in rules {
        headers.insert(name, axum::http::HeaderValue::from_static(value));
    }
    response
}
