//! The listeners: who may open the socket, how many, for how long, and how it ends.
//!
//! Real sockets; every wait for an answer has a limit.

use crate::support::House;
use boltscribe::page::serve::{self, CONNECTIONS_MAX};
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
