//! A small client of the daemon's API on its Unix socket (HTTP/1.1, RFC 9112).
//!
//! One question a connection, or the feed of events line by line. Must not know what is measured.

use super::figure::Outcome;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::time::Duration;

fn ask(socket: &Path, path: &str) -> Outcome<UnixStream> {
    let mut stream = UnixStream::connect(socket)?;
    write!(stream, "GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")?;
    Ok(stream)
}

/// The JSON document at a path.
pub fn get(socket: &Path, path: &str) -> Outcome<Value> {
    let mut stream = ask(socket, path)?;
    stream.set_read_timeout(Some(Duration::from_secs(20)))?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer)?;
    let (head, body) = answer.split_once("\r\n\r\n").ok_or("an answer without a head")?;
    if !head.starts_with("HTTP/1.1 200") {
        return Err(format!("{path}: expected 200, found {head}").into());
    }
    Ok(serde_json::from_str(body)?)
}

/// Calls `seen` with each message of the event feed until it returns false or the feed ends.
pub fn events(socket: &Path, mut seen: impl FnMut(&Value) -> bool) -> Outcome<()> {
    for line in BufReader::new(ask(socket, "/api/v1/events")?).lines() {
        let line = line?;
        // Sizes of chunks, comments and blank lines stand between the messages.
        let Some(text) = line.strip_prefix("data: ") else { continue };
        if !seen(&serde_json::from_str(text)?) {
            break;
        }
    }
    Ok(())
}
