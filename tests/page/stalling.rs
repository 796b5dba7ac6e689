//! Tokens that are taken back while something is open: it is closed.
//!
//! Real sockets. Receive buffers are made small, so that what a client does not read soon reaches the server.

use crate::sample::{T0_NS, begin, put, result, whole};
use crate::support::House;
use boltscribe::page::access::{Access, Kept, Role};
use boltscribe::page::serve;
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::time::timeout;

const LONG: Duration = Duration::from_secs(30);

/// A house on a port; it is served until the sender is dropped.
async fn served(house: &House, access: Option<Arc<Access>>) -> (u16, watch::Sender<bool>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let (stop, stopped) = watch::channel(false);
    tokio::spawn(serve::tcp(listener, house.router.clone(), None, access, stopped));
    (port, stop)
}

/// Sends a request over a connection with a small receive buffer.
async fn asked(port: u16, request: &str) -> TcpStream {
    let mut client = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    socket2::SockRef::from(&client).set_recv_buffer_size(4096).unwrap();
    client.write_all(request.as_bytes()).await.unwrap();
    client
}

fn get(port: u16, path: &str, more: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{more}\r\n")
}

/// The key is that of RFC 6455, section 1.3.
const UPGRADE: &str = "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n\
                       Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n";

/// The status line and the headers.
async fn head(client: &mut TcpStream) -> String {
    let mut head = Vec::new();
    while !head.ends_with(b"\r\n\r\n") {
        head.push(timeout(LONG, client.read_u8()).await.unwrap().unwrap());
    }
    String::from_utf8(head).unwrap()
}

/// How long a client that reads waits for the end of its connection.
async fn closed_after(client: &mut TcpStream) -> Duration {
    let began = Instant::now();
    let mut rest = Vec::new();
    // A reset is an end as well.
    let _ = timeout(LONG, client.read_to_end(&mut rest)).await.expect("the connection stays open");
    began.elapsed()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_that_is_taken_back_closes_what_it_holds_open() {
    let house = House::new();
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", whole(stream, result(1), 8000));
    let file = tempfile::NamedTempFile::new().unwrap();
    let line = |name| format!("{}\n", Kept::of(name, Role::View, name).line());
    std::fs::write(file.path(), line("lost") + &line("stays")).unwrap();
    let access = Some(Arc::new(Access::open(file.path(), Arc::new(|| T0_NS)).unwrap()));
    let (port, _stop) = served(&house, access).await;
    let mut open = Vec::new();
    for token in ["lost", "stays"] {
        let bearer = format!("Authorization: Bearer {token}\r\n");
        let requests = [get(port, "/api/v1/events", &bearer), get(port, "/api/v1/feed", &(bearer + UPGRADE))];
        for request in requests {
            let mut client = asked(port, &request).await;
            let head = head(&mut client).await;
            assert!(head.starts_with("HTTP/1.1 200") || head.starts_with("HTTP/1.1 101"), "{head}");
            open.push(client);
        }
    }
    std::fs::write(file.path(), line("stays")).unwrap();
    // As if written later, whatever the file system's clock.
    let later = SystemTime::UNIX_EPOCH + Duration::from_secs(4_000_000_000);
    std::fs::File::options().write(true).open(file.path()).unwrap().set_modified(later).unwrap();
    for client in &mut open[..2] {
        let after = closed_after(client).await;
        println!("closed after {after:?}");
        assert!(after < Duration::from_secs(2), "{after:?}");
    }
    // What another token holds goes on.
    for client in &mut open[2..] {
        let mut bytes = [0; 4096];
        while let Ok(read) = timeout(Duration::from_millis(300), client.read(&mut bytes)).await {
            assert!(read.unwrap() > 0, "closed as well");
        }
    }
}
