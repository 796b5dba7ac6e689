//! The port's life over real pseudo terminals: bytes, loss, return behind a link, locks, back-pressure.
//!
//! The master end plays the device. Waits are limits for a slow machine, not measurements, except the
//! one second within which a port that is back must be taken up.

use super::*;
use crate::event::PortEvent;
use boltscribe_model::time::MonoNs;
use serialport::TTYPort;
use std::io::{Read, Write};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use tokio::task::JoinHandle;

const LONG: Duration = Duration::from_secs(20);

struct Running {
    events: mpsc::Receiver<PortEvent>,
    send: mpsc::Sender<Vec<u8>>,
    stop: watch::Sender<bool>,
    counters: Arc<Counters>,
    task: JoinHandle<()>,
}

fn start(path: &Path, queue: usize) -> Running {
    let (to, events) = mpsc::channel(queue);
    let (send, from) = mpsc::channel(8);
    let (stop, stopped) = watch::channel(false);
    let counters = Arc::new(Counters::default());
    let settings = Settings { path: path.to_string_lossy().into_owned(), baud: 115_200 };
    let task = tokio::spawn(run(settings, to, from, stopped, Arc::clone(&counters)));
    Running { events, send, stop, counters, task }
}

impl Running {
    async fn next(&mut self) -> PortEvent {
        tokio::time::timeout(LONG, self.events.recv())
            .await
            .expect("an event in time")
            .expect("the port runs")
    }

    async fn up(&mut self) -> MonoNs {
        loop {
            if let PortEvent::Up { at } = self.next().await {
                return at;
            }
        }
    }

    async fn down(&mut self) -> PortError {
        loop {
            if let PortEvent::Down { reason, .. } = self.next().await {
                return reason;
            }
        }
    }

    async fn bytes(&mut self, n: usize) -> Vec<u8> {
        let mut all = Vec::new();
        while all.len() < n {
            match self.next().await {
                PortEvent::Bytes { bytes, .. } => all.extend(bytes),
                other => panic!("expected bytes, found {other:?}"),
            }
        }
        all
    }

    async fn end(self) {
        self.stop.send(true).expect("the port listens");
        tokio::time::timeout(LONG, self.task)
            .await
            .expect("the port stops in time")
            .expect("without a panic");
    }
}

/// A pseudo terminal: its device end, and the path of the end a program opens.
fn pty() -> (TTYPort, PathBuf) {
    let (mut master, slave) = TTYPort::pair().expect("a pseudo terminal");
    master.set_timeout(LONG).expect("a timeout");
    let path = PathBuf::from(slave.name().expect("a name"));
    (master, path)
}

#[tokio::test]
async fn bytes_arrive_in_order_with_times_that_do_not_go_back() {
    let (mut master, path) = pty();
    let mut port = start(&path, 64);
    let up = port.up().await;
    master.write_all(b"first ").unwrap();
    assert_eq!(port.bytes(6).await, b"first ");
    master.write_all(b"second").unwrap();
    let PortEvent::Bytes { at, bytes } = port.next().await else {
        panic!("expected bytes");
    };
    assert_eq!(bytes, b"second");
    assert!(at > up && at <= clock::now());
    assert_eq!(port.counters.now().bytes_in, 12);
    port.end().await;
}

#[tokio::test]
async fn every_byte_value_passes_unchanged_both_ways() {
    let (mut master, path) = pty();
    let mut port = start(&path, 64);
    port.up().await;
    let all: Vec<u8> = (0..=255).collect();
    master.write_all(&all).unwrap();
    assert_eq!(port.bytes(256).await, all);
    port.send.send(all.clone()).await.unwrap();
    let mut back = vec![0; 256];
    let back = tokio::task::spawn_blocking(move || master.read_exact(&mut back).map(|()| (back, master)))
        .await
        .unwrap()
        .unwrap();
    assert_eq!(back.0, all);
    assert_eq!(port.counters.now().bytes_sent, 256);
    port.end().await;
}

#[tokio::test]
async fn a_missing_port_is_told_once_and_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("rig");
    let mut port = start(&link, 64);
    assert!(matches!(port.down().await, PortError::Missing { .. }));
    port.send.send(b"lost".to_vec()).await.unwrap();
    tokio::time::sleep(Duration::from_millis(700)).await;
    // Told once although tried again; what was to be sent is dropped and counted.
    assert!(port.events.try_recv().is_err());
    let counted = port.counters.now();
    assert!((3..=6).contains(&counted.attempts), "{counted:?}");
    assert_eq!(counted.bytes_send_dropped, 4);
    let (mut master, path) = pty();
    symlink(path, &link).unwrap();
    port.up().await;
    master.write_all(b"here").unwrap();
    assert_eq!(port.bytes(4).await, b"here");
    port.end().await;
}

#[tokio::test]
async fn a_port_closed_and_reopened_behind_its_link_is_read_again_within_a_second() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("rig");
    let (mut master, path) = pty();
    symlink(path, &link).unwrap();
    let mut port = start(&link, 64);
    port.up().await;
    for away_ms in [0, 100, 1500] {
        master.write_all(b"abc").unwrap();
        assert_eq!(port.bytes(3).await, b"abc");
        let closed = clock::now();
        drop(master);
        std::fs::remove_file(&link).unwrap();
        assert!(matches!(port.down().await, PortError::Gone { .. }));
        assert!(clock::now().since_ns(closed) < 1_000_000_000);
        tokio::time::sleep(Duration::from_millis(away_ms)).await;
        let (next, path) = pty();
        master = next;
        let back = clock::now();
        symlink(path, &link).unwrap();
        let up = port.up().await;
        assert!(
            up.since_ns(back) < 1_000_000_000,
            "away {away_ms} ms, taken up after {} ms",
            up.since_ns(back) / 1_000_000
        );
    }
    assert_eq!(port.counters.now().losses, 3);
    assert_eq!(port.counters.now().opens, 4);
    port.end().await;
}

#[tokio::test]
async fn bytes_that_wait_at_the_opening_are_cleared_and_counted() {
    let (mut master, path) = pty();
    // Somebody without a lock holds the other end open, or the kernel would keep nothing.
    let keep = std::fs::File::open(&path).unwrap();
    master.write_all(b"old\n").unwrap();
    let mut port = start(&path, 64);
    port.up().await;
    drop(keep);
    master.write_all(b"new").unwrap();
    assert_eq!(port.bytes(3).await, b"new");
    assert_eq!(port.counters.now().bytes_cleared, 4);
    port.end().await;
}

#[tokio::test]
async fn a_second_reader_is_refused_and_told_who_has_the_port() {
    let (_master, path) = pty();
    let mut first = start(&path, 64);
    first.up().await;
    let mut second = start(&path, 64);
    let reason = second.down().await;
    let PortError::Busy { holders, .. } = &reason else {
        panic!("expected busy, found {reason:?}");
    };
    assert!(holders.iter().any(|holder| holder.pid == std::process::id()));
    first.end().await;
    second.up().await;
    second.end().await;
}

#[tokio::test]
async fn a_full_queue_holds_the_writer_back_and_loses_nothing() {
    const TOTAL: usize = 1_000_000;
    let (mut master, path) = pty();
    let mut port = start(&path, 2);
    port.up().await;
    let byte = |i: usize| (i * 31 % 251) as u8;
    let writer = std::thread::spawn(move || {
        let all: Vec<u8> = (0..TOTAL).map(byte).collect();
        // Small writes, so that the two places of the queue are full long before the end.
        for part in all.chunks(500) {
            master.write_all(part).unwrap();
        }
        master
    });
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert!(!writer.is_finished(), "the writer is held back");
    let all = port.bytes(TOTAL).await;
    assert_eq!(all.len(), TOTAL);
    assert!(all.iter().enumerate().all(|(i, &b)| b == byte(i)));
    let counted = port.counters.now();
    assert!(counted.waits > 0);
    assert_eq!(counted.bytes_in, TOTAL as u64);
    let _master = writer.join().unwrap();
    port.end().await;
}

#[tokio::test]
async fn bytes_before_a_loss_are_handed_on_before_it_is_told() {
    let (mut master, path) = pty();
    let mut port = start(&path, 64);
    port.up().await;
    master.write_all(b"last words").unwrap();
    assert_eq!(port.bytes(10).await, b"last words");
    drop(master);
    assert!(matches!(port.down().await, PortError::Gone { .. }));
    port.end().await;
}

#[tokio::test]
async fn too_much_to_send_is_dropped_whole_and_counted() {
    let (_master, path) = pty();
    let mut port = start(&path, 64);
    port.up().await;
    port.send.send(vec![0; SEND_BYTES_MAX + 1]).await.unwrap();
    port.send.send(b"x".to_vec()).await.unwrap();
    for _ in 0..2000 {
        if port.counters.now().bytes_sent == 1 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    assert_eq!(port.counters.now().bytes_sent, 1);
    assert_eq!(port.counters.now().bytes_send_dropped, SEND_BYTES_MAX as u64 + 1);
    port.end().await;
}

#[tokio::test]
async fn it_ends_when_nobody_listens_any_more() {
    let (_master, path) = pty();
    let mut port = start(&path, 64);
    port.up().await;
    drop(port.events);
    tokio::time::timeout(LONG, port.task).await.unwrap().unwrap();
    let missing = start(Path::new("/dev/does-not-exist"), 64);
    drop(missing.events);
    tokio::time::timeout(LONG, missing.task).await.unwrap().unwrap();
}
