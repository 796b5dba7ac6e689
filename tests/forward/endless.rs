//! A server whose answer never ends: the client takes a bounded part of it, in a bounded time, and says that it failed.
//!
//! Counted is what the server could send, since other tests share this process's memory. What the system's socket
//! buffers take is in that figure.

use boltscribe::forward::answer::Answer;
use boltscribe::forward::transport::ANSWER_WITHIN;
use boltscribe::forward::{Influx, Settings, Start, Transport};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// After this the server gives up, so that a client without a limit fails the test and not the machine.
const SENT_BYTES_MAX: u64 = 1 << 30;
/// Most bytes that the client may take: its steps, each of which takes at most one buffer of hyper 0.14, 408 KiB.
const TAKEN_BYTES_MAX: u64 = 64 * (408 << 10);
/// What the socket buffers of both ends may hold besides (`tcp_wmem` and `tcp_rmem` grow to 4 and 6 MiB by default).
const SOCKETS_BYTES_MAX: u64 = 12 << 20;

/// Answers every request with `head`, then with `piece` again and again; gives its address and what it could send.
fn endless(head: &'static str, piece: Vec<u8>, rest: Duration) -> (SocketAddr, Arc<AtomicU64>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    let sent = Arc::new(AtomicU64::new(0));
    let count = Arc::clone(&sent);
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            stream.set_write_timeout(Some(Duration::from_secs(30))).unwrap();
            let _ = stream.read(&mut [0; 8192]).unwrap();
            let mut written = stream.write_all(head.as_bytes());
            while written.is_ok() && count.load(Ordering::SeqCst) < SENT_BYTES_MAX {
                written = stream.write_all(&piece);
                count.fetch_add(piece.len() as u64, Ordering::SeqCst);
                std::thread::sleep(rest);
            }
        }
    });
    (address, sent)
}

fn influx(address: SocketAddr) -> Influx {
    Influx::new(&Settings { url: format!("http://{address}"), ..Settings::default() }).unwrap()
}

fn chunk(bytes: usize) -> Vec<u8> {
    [format!("{bytes:x}\r\n").as_bytes(), &vec![b'x'; bytes], b"\r\n"].concat()
}

#[tokio::test(flavor = "multi_thread")]
async fn an_answer_without_end_is_given_up_after_a_part_of_it() {
    for (head, piece) in [
        ("HTTP/1.1 500 x\r\ntransfer-encoding: chunked\r\n\r\n", chunk(1 << 20)),
        ("HTTP/1.1 200 x\r\ntransfer-encoding: chunked\r\n\r\n", chunk(100)),
        ("HTTP/1.1 400 x\r\ncontent-length: 9000000000000\r\n\r\n", vec![b'x'; 1 << 20]),
        ("HTTP/1.1 413 x\r\nconnection: close\r\n\r\n", vec![b'x'; 1 << 20]),
        ("HTTP/1.1 204 x\r\n", b"a-header: of many\r\n".repeat(1000)),
        ("HTTP/1.1 204 x\r\na-header: ", vec![b'x'; 1 << 20]),
    ] {
        let (address, sent) = endless(head, piece, Duration::ZERO);
        let began = Instant::now();
        let answer = influx(address).write("tension,rig=a value=1 1\n".into()).await;
        let (took, sent) = (began.elapsed(), sent.load(Ordering::SeqCst));
        assert!(matches!(answer, Answer::Failed(_)), "{head}: {answer:?}");
        assert!(sent <= TAKEN_BYTES_MAX + SOCKETS_BYTES_MAX, "{head}: {sent} bytes were taken in {took:?}");
        assert!(took < ANSWER_WITHIN, "{head}: {took:?}");
        println!("{head:?}: {sent} bytes sent, given up after {took:?}: {answer:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_answer_that_trickles_without_end_is_given_up_in_time() {
    let head = "HTTP/1.1 500 x\r\ntransfer-encoding: chunked\r\n\r\n";
    let (address, sent) = endless(head, chunk(1), Duration::from_millis(400));
    let began = Instant::now();
    let answer = influx(address).write("tension,rig=a value=1 1\n".into()).await;
    let took = began.elapsed();
    assert!(matches!(answer, Answer::Failed(_)), "{answer:?}");
    assert!(took < ANSWER_WITHIN + Duration::from_secs(2), "{took:?}, {sent:?} bytes");
}

#[tokio::test(flavor = "multi_thread")]
async fn metrics_without_end_tell_no_start() {
    let head = "HTTP/1.1 200 x\r\ntransfer-encoding: chunked\r\n\r\n";
    let (address, sent) = endless(head, chunk(1 << 20), Duration::ZERO);
    assert_eq!(influx(address).start().await, Start::Untold);
    let sent = sent.load(Ordering::SeqCst);
    assert!(sent <= TAKEN_BYTES_MAX + SOCKETS_BYTES_MAX, "{sent} bytes were taken");
}
