//! What a request over the network must show: that it is meant for this machine and, for a change, that
//! it comes from our own page or from no page at all.
//!
//! Against pages elsewhere that make a browser talk to us (DNS rebinding, cross-site requests). On the
//! Unix socket file permission is the authentication, and none of this is asked.

use super::problem::Problem;
use axum::Router;
use axum::extract::Request;
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// Puts the router behind the checks for a loopback listener at this port.
pub fn guarded(router: Router, port: u16) -> Router {
    let hosts: Arc<[String]> = ["127.0.0.1", "localhost", "[::1]"]
        .iter()
        .flat_map(|host| {
            let bare = (port == 80).then(|| (*host).to_owned());
            std::iter::once(format!("{host}:{port}")).chain(bare)
        })
        .collect();
    router.layer(from_fn(move |request: Request, next: Next| {
        let hosts = Arc::clone(&hosts);
        async move {
            match admit(&hosts, &request) {
                Ok(()) => next.run(request).await,
                Err(problem) => problem.into_response() as Response,
            }
        }
    }))
}

fn admit(hosts: &[String], request: &Request) -> Result<(), Problem> {
    let headers = request.headers();
    let host = one(headers, "host")?.or_else(|| request.uri().authority().map(|a| a.as_str()));
    let host = host.unwrap_or("none");
    if !hosts.iter().any(|allowed| allowed.eq_ignore_ascii_case(host)) {
        return Err(refuse("Host", &hosts.join(" or "), host));
    }
    if request.method().is_safe() {
        return Ok(());
    }
    if let Some(origin) = one(headers, "origin")? {
        let ours = origin
            .strip_prefix("http://")
            .is_some_and(|host| hosts.iter().any(|allowed| allowed.eq_ignore_ascii_case(host)));
        if !ours {
            return Err(refuse("Origin", "this page or none", origin));
        }
    }
    match one(headers, "sec-fetch-site")? {
        None | Some("same-origin" | "none") => Ok(()),
        Some(other) => Err(refuse("Sec-Fetch-Site", "same-origin or none", other)),
    }
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
    Problem::new(
        StatusCode::FORBIDDEN,
        format!("header {name}: expected {expected}, found {found}"),
    )
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
