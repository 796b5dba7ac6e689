//! A store with runs and the real carrier on its way to some server.
//!
//! Its carrier can be called to try at once, so that tests need not wait. Makes no claim of its own.

use crate::sample::{T0_NS, begin, put, result, whole};
use boltscribe::forward::{Board, Courier, Influx, Now, Settings, State, Wires, points::points};
use boltscribe::line_protocol::Point;
use boltscribe::store::{Mode, OutboxItem, OutboxStatus, OutboxWrite, Store, StreamId, Write};
use boltscribe::time::MonoNs;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;

/// Longest wait for anything; a fault of the test, not a measure of speed.
const PATIENCE: Duration = Duration::from_secs(60);

pub struct Case {
    pub store: Store,
    pub stream: StreamId,
    pub board: Board,
    pub wake: Arc<Notify>,
    settings: Settings,
    stop: watch::Sender<bool>,
    task: Option<JoinHandle<()>>,
    pub folder: tempfile::TempDir,
    next: u32,
}

impl Case {
    /// A store that forwards, and a carrier at rest.
    pub fn new(url: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        put(&store, "", vec![Write::Outbox(OutboxWrite::Forwarding(true))]);
        let stream = begin(&store, "rig-1");
        let settings = Settings { url: url.to_owned(), settle_s: 1, ..Settings::default() };
        let (stop, _) = watch::channel(false);
        let (board, wake) = (Board::default(), Arc::default());
        Self { store, stream, board, wake, settings, stop, task: None, folder, next: 1 }
    }

    pub fn set(mut self, change: impl FnOnce(&mut Settings)) -> Self {
        change(&mut self.settings);
        self
    }

    pub fn start(&mut self) {
        let began = Instant::now();
        let wires = Wires {
            readers: self.store.readers(),
            writer: self.store.writer(),
            clock: Arc::new(move || {
                let since = began.elapsed().as_nanos();
                Now { mono: MonoNs(1 + since as u64), utc_ns: T0_NS + since as i64 }
            }),
            board: self.board.clone(),
            wake: Arc::clone(&self.wake),
            stop: self.stop.subscribe(),
        };
        let influx = Influx::new(&self.settings).unwrap();
        self.task = Some(tokio::spawn(Courier::new(influx, self.settings.clone(), wires).run()));
    }

    pub fn started(url: &str, runs: u32) -> Self {
        let mut case = Self::new(url);
        case.add(runs);
        case.start();
        case
    }

    /// Stores so many runs more.
    pub fn add(&mut self, runs: u32) {
        for _ in 0..runs {
            let run = result(self.next);
            self.next += 1;
            // Few samples: what is forwarded are figures.
            put(&self.store, "rig-1", whole(self.stream, run, 500));
        }
    }

    pub async fn stop(&mut self) {
        let _ = self.stop.send(true);
        self.task.take().unwrap().await.unwrap();
        self.stop = watch::channel(false).0;
    }

    pub fn status(&self) -> OutboxStatus {
        self.store.readers().reader().unwrap().outbox_status().unwrap()
    }

    pub fn state(&self) -> State {
        self.board.now()
    }

    pub fn events(&self, kind: &str) -> Vec<String> {
        let events = self.store.readers().reader().unwrap().events(1000).unwrap();
        events.into_iter().filter(|event| event.kind == kind).map(|event| event.detail).collect()
    }

    /// Waits until `is_so`, trying at once instead of waiting for the carrier's own next try.
    pub async fn pushed(&self, what: &str, is_so: impl Fn(&Self) -> bool) {
        self.wait(what, true, is_so).await;
    }

    pub async fn wait(&self, what: &str, push: bool, is_so: impl Fn(&Self) -> bool) {
        let since = Instant::now();
        while !is_so(self) {
            assert!(
                since.elapsed() < PATIENCE,
                "waited in vain for {what}: {:?} {:?}",
                self.state(),
                self.status()
            );
            if push {
                self.wake.notify_one();
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// All that a server is to hold, in the shape of [`super::scripted::Scripted::taken`]; to be asked before
    /// rows leave.
    pub fn expected(&self) -> BTreeMap<String, BTreeMap<String, String>> {
        let rows = self.store.readers().reader().unwrap().outbox(0, 10_000).unwrap();
        let mut expected: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
        for row in rows {
            let lines = match row.item {
                OutboxItem::Health(lines) => lines,
                item => points(&item).iter().map(|point: &Point| point.line().unwrap()).collect(),
            };
            for line in lines.lines() {
                let plain = line.replace("\\ ", "_");
                let parts: Vec<&str> = plain.split(' ').collect();
                let fields = expected.entry(format!("{} {}", parts[0], parts[2])).or_default();
                fields.extend(parts[1].split(',').map(|field| {
                    let (name, value) = field.split_once('=').unwrap();
                    (name.to_owned(), value.to_owned())
                }));
            }
        }
        expected
    }
}
