//! The listeners: who may open the socket, how many, for how long, and how it ends.
//!
//! Real sockets; every wait for an answer has a limit.

use crate::support::House;
use boltscribe::http::serve::{self, CONNECTIONS_MAX};
use boltscribe::http::{News, Rigs};
use boltscribe::pipeline::Event;
use std::os::unix::fs::PermissionsExt;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream, UnixStream};
use tokio::sync::watch;
use tokio::time::timeout;

const LONG: Duration = Duration::from_secs(20);

async fn exchange(stream: &mut (impl AsyncReadExt + AsyncWriteExt + Unpin), request: &str) -> String {
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    timeout(LONG, stream.read_to_string(&mut answer)).await.unwrap().unwrap();
    answer
}

#[tokio::test]
async fn the_socket_is_for_owner_and_group_and_a_dead_one_is_replaced() {
    let house = House::new();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("api.sock");
    drop(serve::bind_unix(&path).unwrap());
    assert!(path.exists(), "a dead socket is left behind");
    let listener = serve::bind_unix(&path).unwrap();
    assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o660);
    let (stop, stopped) = watch::channel(false);
    let serving = tokio::spawn(serve::unix(listener, house.router.clone(), stopped));
    let mut client = UnixStream::connect(&path).await.unwrap();
    let request = "GET /api/v1/rigs HTTP/1.1\r\nHost: any\r\nConnection: close\r\n\r\n";
    let answer = exchange(&mut client, request).await;
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    stop.send(true).unwrap();
    timeout(LONG, serving).await.unwrap().unwrap();
    let other = folder.path().join("notes.txt");
    std::fs::write(&other, "kept").unwrap();
    assert!(serve::bind_unix(&other).is_err());
    assert_eq!(std::fs::read_to_string(&other).unwrap(), "kept");
}

#[tokio::test]
async fn only_a_loopback_address_is_served() {
    let house = House::new();
    let (_stop, stopped) = watch::channel(false);
    let listener = TcpListener::bind("0.0.0.0:0").await.unwrap();
    let error = serve::tcp(listener, house.router.clone(), None, None, stopped).await.unwrap_err();
    assert!(error.to_string().contains("expected a loopback address"), "{error}");
}

#[tokio::test]
async fn a_stop_ends_a_live_feed_that_would_never_end() {
    let house = House::new();
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let (stop, stopped) = watch::channel(false);
    let serving = tokio::spawn(serve::tcp(listener, house.router.clone(), None, None, stopped));
    let mut client = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    let request = format!("GET /api/v1/events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n");
    client.write_all(request.as_bytes()).await.unwrap();
    let mut first = [0_u8; 512];
    let n = timeout(LONG, client.read(&mut first)).await.unwrap().unwrap();
    let head = String::from_utf8_lossy(&first[..n]).into_owned();
    assert!(head.starts_with("HTTP/1.1 200"), "{head}");
    assert!(head.contains("x-content-type-options: nosniff"), "{head}");
    stop.send(true).unwrap();
    timeout(LONG, serving).await.unwrap().unwrap().unwrap();
    let mut rest = Vec::new();
    timeout(LONG, client.read_to_end(&mut rest)).await.unwrap().ok();
    assert!(TcpStream::connect(("127.0.0.1", port)).await.is_err());
}

#[tokio::test]
async fn half_open_connections_are_closed_and_others_get_their_turn() {
    let house = House::new();
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let (_stop, stopped) = watch::channel(false);
    tokio::spawn(serve::tcp(listener, house.router.clone(), None, None, stopped));
    let mut silent = Vec::new();
    for _ in 0..CONNECTIONS_MAX {
        let mut client = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
        client.write_all(b"GET /api/v1/rigs HTTP/1.1\r\nHo").await.unwrap();
        silent.push(client);
    }
    // Waits for a place until the silent ones have run out of time.
    let mut client = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    let request = format!("GET /api/v1/rigs HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n");
    let answer = exchange(&mut client, &request).await;
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    let mut rest = Vec::new();
    timeout(LONG, silent[0].read_to_end(&mut rest)).await.unwrap().ok();
    let rest = String::from_utf8_lossy(&rest);
    assert!(rest.is_empty() || rest.starts_with("HTTP/1.1 408"), "{rest}");
}

/// Asks for a WebSocket; gives the connection and what came first.
async fn upgraded(port: u16, origin: &str) -> (TcpStream, String) {
    let mut client = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    // The key of RFC 6455, section 1.3.
    let request = format!(
        "GET /api/v1/feed?live=bench HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\
         Origin: {origin}\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    );
    client.write_all(request.as_bytes()).await.unwrap();
    let mut head = Vec::new();
    while !head.windows(4).any(|four| four == b"\r\n\r\n") {
        let byte = timeout(LONG, client.read_u8()).await.unwrap().unwrap();
        head.push(byte);
    }
    (client, String::from_utf8(head).unwrap())
}

/// The text of the next unmasked frame (RFC 6455, section 5.2).
async fn frame(client: &mut TcpStream) -> (u8, Vec<u8>) {
    let mut head = [0_u8; 2];
    timeout(LONG, client.read_exact(&mut head)).await.unwrap().unwrap();
    let length = match head[1] {
        126 => client.read_u16().await.unwrap().into(),
        short => usize::from(short),
    };
    let mut text = vec![0; length];
    timeout(LONG, client.read_exact(&mut text)).await.unwrap().unwrap();
    (head[0], text)
}

#[tokio::test]
async fn the_feed_is_a_websocket_for_our_page_only_and_says_what_happens() {
    let house = House::new();
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let (stop, stopped) = watch::channel(false);
    let serving = tokio::spawn(serve::tcp(listener, house.router.clone(), None, None, stopped));
    let (_, refused) = upgraded(port, "http://elsewhere.example").await;
    assert!(refused.starts_with("HTTP/1.1 403"), "{refused}");
    let (mut client, head) = upgraded(port, &format!("http://127.0.0.1:{port}")).await;
    assert!(head.starts_with("HTTP/1.1 101"), "{head}");
    // The answer to that key, from the same section.
    assert!(head.contains("s3pPLMBiTxaQ9kYGzzhZRbK+xOo="), "{head}");
    assert_eq!(frame(&mut client).await, (0x81, b"{\"news\":\"alive\"}".to_vec()));
    house.rigs.tell("other", 7, News::Event(Event::Blow { run_seq: 1, at_s: 1.0 }));
    house.rigs.tell("bench", 7, News::Trial { trial: "couplings".into() });
    let (kind, text) = frame(&mut client).await;
    let document: serde_json::Value = serde_json::from_slice(&text).unwrap();
    assert_eq!((kind, &document["news"], &document["trial"]), (0x81, &"trial".into(), &"couplings".into()));
    // More than the channel holds, while nobody reads: cut off with "try again later" (1013).
    for n in 0..20_000 {
        house.rigs.tell("bench", n, News::Event(Event::Stale { stale: n % 2 == 0 }));
    }
    let closed = loop {
        let (kind, text) = frame(&mut client).await;
        if kind == 0x88 {
            break text;
        }
    };
    assert_eq!(u16::from_be_bytes([closed[0], closed[1]]), 1013, "{closed:?}");
    stop.send(true).unwrap();
    timeout(LONG, serving).await.unwrap().unwrap().unwrap();
}
