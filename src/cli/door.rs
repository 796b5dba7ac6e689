//! The one door to the store: an HTTP request goes to the daemon's Unix socket where one listens,
//! else to the same router in this process, which then holds the store's lock for one command.
//!
//! Verbs speak the HTTP API and cannot tell the two apart. A daemon that does not answer within
//! `ANSWER_WITHIN` is an error, never a reason to open the store behind its back.

use super::error::CliError;
use super::local::Local;
use axum::body::{Body, Bytes};
use axum::http::{Method, Request, Response, StatusCode, header};
use http_body_util::BodyExt;
use hyper_util::rt::TokioIo;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde_json::Value;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::net::UnixStream;
use tower::ServiceExt;

/// Longest wait for the head of an answer; `store check` on a large store is the slowest.
const ANSWER_WITHIN: Duration = Duration::from_secs(600);
/// Longest wait for a connection.
const CONNECT_WITHIN: Duration = Duration::from_secs(3);
/// Largest document read into memory, bytes; a page of 1,000 runs is about 2 MB.
const DOCUMENT_BYTES_MAX: usize = 256 << 20;
/// All but the unreserved characters of RFC 3986, section 2.3.
const SEGMENT: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'.').remove(b'_').remove(b'~');

/// Where requests go.
pub enum Door {
    /// A daemon's socket.
    Socket(PathBuf),
    /// The router in this process.
    InProcess(Box<Local>),
}

/// A name as one segment of a path or one value of a query.
#[must_use]
pub fn segment(name: &str) -> String {
    utf8_percent_encode(name, SEGMENT).to_string()
}

/// A query from what was given.
#[must_use]
pub fn query(parts: &[(&str, Option<String>)]) -> String {
    let given = parts.iter().filter_map(|(key, value)| Some(format!("{key}={}", segment(value.as_ref()?))));
    given.collect::<Vec<_>>().join("&")
}

/// Whether a daemon listens at this socket.
///
/// # Errors
/// Something is there but will not let us in.
pub async fn daemon_listens(socket: &Path) -> Result<bool, CliError> {
    match connect(socket).await {
        Ok(_) => Ok(true),
        Err(e) if matches!(e.kind(), ErrorKind::NotFound | ErrorKind::ConnectionRefused) => Ok(false),
        Err(source) => Err(CliError::Socket { tried: "reach boltscribed", path: socket.into(), source }),
    }
}

async fn connect(socket: &Path) -> std::io::Result<UnixStream> {
    match tokio::time::timeout(CONNECT_WITHIN, UnixStream::connect(socket)).await {
        Ok(connected) => connected,
        Err(_) => Err(std::io::Error::new(ErrorKind::TimedOut, "no connection within 3 s")),
    }
}

impl Door {
    /// Whether a daemon is behind it.
    #[must_use]
    pub const fn is_daemon(&self) -> bool {
        matches!(self, Self::Socket(_))
    }

    /// Gives the store back. Each change was answered after its commit, so nothing hangs on this.
    pub fn close(self) {
        if let Self::InProcess(local) = self {
            local.close();
        }
    }

    /// Sends one request and gives the answer as it comes, whatever its status.
    ///
    /// # Errors
    /// Nobody answers.
    pub async fn send(&self, request: Request<Body>) -> Result<Response<Body>, CliError> {
        match self {
            Self::Socket(path) => send_through(path, request).await.map_err(|source| CliError::Socket {
                tried: "talk to boltscribed",
                path: path.clone(),
                source,
            }),
            Self::InProcess(local) => match local.router().oneshot(request).await {
                Ok(answer) => Ok(answer),
                Err(never) => match never {},
            },
        }
    }

    /// Asks for a document.
    ///
    /// # Errors
    /// Nobody answers, or the answer is a refusal.
    pub async fn get(&self, path: &str) -> Result<Value, CliError> {
        self.ask(Method::GET, path, None).await
    }

    /// Changes something.
    ///
    /// # Errors
    /// Nobody answers, or the answer is a refusal.
    pub async fn change(&self, method: Method, path: &str, document: &Value) -> Result<Value, CliError> {
        self.ask(method, path, Some(document)).await
    }

    /// Asks for a file: the answer as it comes.
    ///
    /// # Errors
    /// Nobody answers, or the answer is a refusal.
    pub async fn download(&self, path: &str) -> Result<Response<Body>, CliError> {
        let name = format!("GET {path}");
        let answer = self.send(request(Method::GET, path, None)?).await?;
        let status = answer.status();
        if status.is_success() {
            return Ok(answer);
        }
        let bytes = read_all(answer.into_body(), &name).await?;
        Err(refusal(status, &bytes, true, &name))
    }

    async fn ask(&self, method: Method, path: &str, document: Option<&Value>) -> Result<Value, CliError> {
        let name = format!("{method} {path}");
        let answer = self.send(request(method, path, document)?).await?;
        let status = answer.status();
        let is_json = answer
            .headers()
            .get(header::CONTENT_TYPE)
            .and_then(|v| v.to_str().ok())
            .is_some_and(|v| v.contains("json"));
        let bytes = read_all(answer.into_body(), &name).await?;
        if status.is_success() {
            return document_of(&bytes, &name);
        }
        Err(refusal(status, &bytes, is_json, &name))
    }
}

fn request(method: Method, path: &str, document: Option<&Value>) -> Result<Request<Body>, CliError> {
    let name = format!("{method} {path}");
    let builder = Request::builder()
        .method(method)
        .uri(format!("/api/v1/{path}"))
        .header(header::HOST, "localhost")
        .header(header::ACCEPT, "application/json");
    let built = match document {
        None => builder.body(Body::empty()),
        Some(document) => {
            builder.header(header::CONTENT_TYPE, "application/json").body(Body::from(document.to_string()))
        }
    };
    built.map_err(|e| CliError::usage(format!("cannot ask for {name}: {e}")))
}

/// A request for the live feed.
///
/// # Errors
/// Never with a fixed path; the builder's own.
pub fn feed_request(path: &str) -> Result<Request<Body>, CliError> {
    let mut request = request(Method::GET, path, None)?;
    request.headers_mut().insert(header::ACCEPT, header::HeaderValue::from_static("text/event-stream"));
    Ok(request)
}

/// Asks for an answer that comes line by line; a refusal is an error.
///
/// # Errors
/// Nobody answers, or a refusal.
pub async fn stream(door: &Door, path: &str) -> Result<Body, CliError> {
    let name = format!("GET {path}");
    let answer = door.send(request(Method::GET, path, None)?).await?;
    let status = answer.status();
    if status.is_success() {
        return Ok(answer.into_body());
    }
    Err(refusal(status, &read_all(answer.into_body(), &name).await?, true, &name))
}

async fn send_through(path: &Path, request: Request<Body>) -> std::io::Result<Response<Body>> {
    let stream = connect(path).await?;
    let (mut sender, connection) =
        hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(std::io::Error::other)?;
    // Ends by itself when the answer is read or either side goes away.
    tokio::spawn(connection);
    match tokio::time::timeout(ANSWER_WITHIN, sender.send_request(request)).await {
        Ok(Ok(answer)) => Ok(answer.map(Body::new)),
        Ok(Err(e)) => Err(std::io::Error::other(e)),
        Err(_) => Err(std::io::Error::new(ErrorKind::TimedOut, "no answer within 600 s")),
    }
}

async fn read_all(body: Body, name: &str) -> Result<Bytes, CliError> {
    let limited = http_body_util::Limited::new(body, DOCUMENT_BYTES_MAX);
    match limited.collect().await {
        Ok(collected) => Ok(collected.to_bytes()),
        Err(e) => Err(CliError::Answer {
            request: name.to_owned(),
            expected: "a whole document",
            found: e.to_string(),
        }),
    }
}

fn document_of(bytes: &[u8], name: &str) -> Result<Value, CliError> {
    if bytes.is_empty() {
        return Ok(Value::Null);
    }
    serde_json::from_slice(bytes).map_err(|_| CliError::Answer {
        request: name.to_owned(),
        expected: "a JSON document",
        found: shortened(bytes),
    })
}

/// RFC 9457 problem details into an error; anything else is shown shortened.
fn refusal(status: StatusCode, bytes: &[u8], is_json: bool, name: &str) -> CliError {
    let problem: Option<Value> = is_json.then(|| serde_json::from_slice(bytes).ok()).flatten();
    let word = |key: &str| problem.as_ref().and_then(|p| p[key].as_str()).map(str::to_owned);
    let detail = word("detail")
        .or_else(|| word("title"))
        .unwrap_or_else(|| format!("{name} was refused with status {status}: {}", shortened(bytes)));
    CliError::Refused { status: status.as_u16(), detail, hint: word("hint") }
}

fn shortened(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(200)]);
    format!("'{}'", super::output::printable(&text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_one_segment_whatever_it_holds() {
        assert_eq!(segment("1/2 ext?"), "1%2F2%20ext%3F");
        assert_eq!(segment("ü-._~"), "%C3%BC-._~");
    }

    #[test]
    fn a_refusal_brings_its_own_words_and_advice() {
        let problem =
            br#"{"type":"about:blank","title":"Not Found","status":404,"detail":"no run 9","hint":"list"}"#;
        let error = refusal(StatusCode::NOT_FOUND, problem, true, "GET runs/9");
        assert_eq!(error.to_string(), "no run 9");
        assert_eq!(super::super::hints::hint(&error).unwrap(), "list");
        let error = refusal(StatusCode::BAD_GATEWAY, b"<html>", false, "GET runs/9");
        assert!(error.to_string().contains("502") && error.to_string().contains("<html>"));
    }

    #[tokio::test]
    async fn no_socket_means_no_daemon() {
        let folder = tempfile::tempdir().unwrap();
        assert!(!daemon_listens(&folder.path().join("api.sock")).await.unwrap());
    }
}
