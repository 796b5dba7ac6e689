//! Clients that stand still, and tokens that are taken back while something is open: neither holds on for long.
//!
//! Real sockets. Receive buffers are made small, so that what a client does not read soon reaches the server.

// Whether a limit of time is kept is seen by a clock.
#![allow(clippy::disallowed_methods)]

use crate::sample::{T0_NS, begin, put, result, whole};
use crate::support::House;
use boltscribe::http::access::{Access, Kept, Role};
use boltscribe::http::serve::{self, CONNECTIONS_MAX};
use boltscribe::http::socket::SOCKETS_MAX;
use boltscribe::http::{News, Rigs};
use boltscribe::pipeline::Event;
use boltscribe::store::Write;
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::time::timeout;

const LONG: Duration = Duration::from_secs(30);
/// What no longer moves is closed within 10 s; two more for a busy machine.
const STALLED_WITHIN: Duration = Duration::from_secs(12);

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
async fn readers_of_the_stream_who_stand_still_are_closed_and_shut_nobody_out() {
    let house = House::new();
    let (port, _stop) = served(&house, None).await;
    let rigs = Arc::clone(&house.rigs);
    let busy = tokio::spawn(async move {
        for n in 0.. {
            rigs.tell("bench", n, News::Event(Event::Stale { stale: n % 2 == 0 }));
            tokio::time::sleep(Duration::from_micros(500)).await;
        }
    });
    let mut still = Vec::new();
    for _ in 0..CONNECTIONS_MAX + 2 {
        still.push(asked(port, &get(port, "/api/v1/events", "")).await);
    }
    let began = Instant::now();
    let mut other = asked(port, &get(port, "/api/v1/rigs", "Connection: close\r\n")).await;
    let answer = timeout(LONG, head(&mut other)).await.expect("an answer for others");
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    println!("another one was answered after {:?}", began.elapsed());
    // A place in the stream is free again, for one who reads.
    loop {
        let mut next = asked(port, &get(port, "/api/v1/events", "")).await;
        if head(&mut next).await.starts_with("HTTP/1.1 200") {
            break;
        }
        assert!(began.elapsed() < LONG, "the stream stays full");
        tokio::time::sleep(Duration::from_millis(250)).await;
    }
    println!("the stream had room after {:?}", began.elapsed());
    busy.abort();
}

#[tokio::test(flavor = "multi_thread")]
async fn sockets_that_stand_still_make_room_within_ten_seconds() {
    let house = House::new();
    let (port, _stop) = served(&house, None).await;
    let request = get(port, "/api/v1/feed", UPGRADE);
    let mut still = Vec::new();
    for _ in 0..SOCKETS_MAX {
        let mut client = asked(port, &request).await;
        assert!(head(&mut client).await.starts_with("HTTP/1.1 101"));
        still.push(client);
    }
    let began = Instant::now();
    while !head(&mut asked(port, &request).await).await.starts_with("HTTP/1.1 101") {
        assert!(began.elapsed() < STALLED_WITHIN, "no room for another after {:?}", began.elapsed());
        tokio::time::sleep(Duration::from_millis(250)).await;
    }
    println!("room for another after {:?}", began.elapsed());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_body_that_does_not_come_is_not_waited_for() {
    let house = House::new();
    let (port, _stop) = served(&house, None).await;
    let answers =
        ["store/prune", "runs/recompute", "store/check", "rigs/bench/zero"].map(|path| async move {
            let request = format!(
                "POST /api/v1/{path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\n\
             Content-Length: 100\r\n\r\n{{"
            );
            let began = Instant::now();
            let mut client = asked(port, &request).await;
            let answer =
                timeout(LONG, head(&mut client)).await.unwrap_or_else(|_| panic!("{path}: no answer"));
            println!("{path}: {:?} after {:?}", answer.lines().next(), began.elapsed());
            assert!(answer.starts_with("HTTP/1.1 408"), "{path}: {answer}");
            assert!(began.elapsed() < STALLED_WITHIN, "{path}: {:?}", began.elapsed());
        });
    let mut tasks: Vec<_> = answers.into_iter().map(tokio::spawn).collect();
    for task in tasks.drain(..) {
        task.await.unwrap();
    }
}

/// Copies of this store that have lost their name and are still open.
fn copies(house: &House) -> usize {
    let folder = house.store_file().parent().unwrap().to_owned();
    let open = std::fs::read_dir("/proc/self/fd")
        .unwrap()
        .filter_map(|entry| std::fs::read_link(entry.ok()?.path()).ok());
    open.filter(|path| path.starts_with(&folder) && path.to_string_lossy().contains("backup.tmp (deleted)"))
        .count()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_that_nobody_reads_lets_go_of_its_copy() {
    let house = House::new();
    let event = || Write::Event { utc_ns: T0_NS, kind: "note".into(), detail: "x".repeat(400) };
    for _ in 0..20 {
        put(&house.store, "", (0..1000).map(|_| event()).collect());
    }
    let (port, _stop) = served(&house, None).await;
    let mut still = Vec::new();
    for _ in 0..3 {
        let mut client = asked(port, &get(port, "/api/v1/store/backup", "")).await;
        head(&mut client).await;
        still.push(client);
    }
    assert_eq!(copies(&house), 1, "one copy at a time, and it is being sent");
    let began = Instant::now();
    while copies(&house) > 0 {
        assert!(began.elapsed() < STALLED_WITHIN, "{} copies after {:?}", copies(&house), began.elapsed());
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    println!("the copy was gone after {:?}", began.elapsed());
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
