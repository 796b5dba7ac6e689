//! A server that is away, slow, or loses what it said yes to: nothing is lost, and the rows leave only when safe.
//!
//! Long outages run in simulated time: the carrier reads no clock but the one it is given.

use crate::courier::Case;
use crate::sample::{T0_NS, begin, put, result, whole};
use crate::scripted::{Reply, Scripted};
use boltscribe::forward::answer::Answer;
use boltscribe::forward::{Board, Condition, Courier, Now, Settings, Start, Transport, Wires};
use boltscribe::store::{Mode, OutboxWrite, Store, Write};
use boltscribe::time::MonoNs;
use std::net::TcpListener;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::sync::watch;

#[tokio::test(flavor = "multi_thread")]
async fn runs_wait_while_there_is_no_server_and_arrive_when_there_is_one() {
    // A port that was free a moment ago; nobody listens there now.
    let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let mut case = Case::started(&format!("http://{address}"), 3);
    case.pushed("some tries", |case| case.state().failures >= 3).await;
    assert_eq!(case.state().condition, Condition::Retrying);
    case.add(3);
    let expected = case.expected();
    assert_eq!(case.status().waiting, 12);
    let server = Scripted::at(address, &[]);
    case.pushed("the outbox to be empty", |case| case.status().waiting == 0).await;
    assert_eq!(server.taken(), expected);
    assert_eq!(case.events("forward-retrying").len(), 1, "an outage is told once");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_silent_server_holds_a_request_for_ten_seconds_and_no_second_one_is_made() {
    let server =
        Scripted::new(&[Reply::Silence(Duration::from_secs(15)), Reply::Late(Duration::from_secs(2))]);
    let mut case = Case::new(&server.url());
    case.add(2);
    let expected = case.expected();
    let began = Instant::now();
    case.start();
    case.pushed("the end of patience", |case| case.state().failures == 1).await;
    let waited = began.elapsed();
    assert!((Duration::from_secs(9)..Duration::from_secs(14)).contains(&waited), "{waited:?}");
    case.pushed("the outbox to be empty", |case| case.status().waiting == 0).await;
    assert_eq!(server.taken(), expected);
    assert_eq!(server.requests(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_was_restarted_gets_again_what_may_be_lost() {
    let server = Scripted::new(&[]);
    server.started_at(1_000.0);
    let mut case = Case::new(&server.url()).set(|settings| settings.settle_s = 4);
    case.add(5);
    let expected = case.expected();
    case.start();
    case.wait("a yes to all", false, |case| case.state().unsettled == 10).await;
    assert_eq!(server.taken(), expected);
    server.lose_everything();
    server.started_at(1_007.0);
    case.pushed("the outbox to be empty", |case| case.status().waiting == 0).await;
    assert_eq!(server.taken(), expected, "all of it again");
    assert_eq!((case.state().restarts, case.events("forward-again").len()), (1, 1));
    assert!(case.state().tells_start);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_tells_nothing_and_was_away_gets_again_what_may_be_lost() {
    let server = Scripted::new(&[]);
    let address = server.address;
    let mut case = Case::new(&server.url()).set(|settings| settings.settle_s = 9);
    case.add(5);
    let expected = case.expected();
    case.start();
    case.wait("a yes to all", false, |case| case.state().unsettled == 10).await;
    drop(server);
    // Rows rest, so the server is looked at every five seconds.
    tokio::time::sleep(Duration::from_secs(7)).await;
    let server = Scripted::at(address, &[]);
    assert!(server.taken().is_empty());
    case.wait("the outbox to be empty", false, |case| case.status().waiting == 0).await;
    assert_eq!(server.taken(), expected, "all of it again");
    assert_eq!(case.state().restarts, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_carrier_that_ends_before_rows_are_safe_sends_them_again_at_its_next_start() {
    let server = Scripted::new(&[]);
    let mut case = Case::new(&server.url()).set(|settings| settings.settle_s = 600);
    case.add(4);
    let expected = case.expected();
    case.start();
    case.wait("a yes to all", false, |case| case.state().unsettled == 8).await;
    case.stop().await;
    assert_eq!(case.status().waiting, 8);
    server.lose_everything();
    let mut case = case.set(|settings| settings.settle_s = 1);
    case.start();
    case.pushed("the outbox to be empty", |case| case.status().waiting == 0).await;
    assert_eq!(server.taken(), expected);
    assert_eq!(server.overwritten(), Vec::<String>::new());
}

/// A server of this process, away as long as it is told so.
#[derive(Clone, Default)]
struct Simulated {
    away: Arc<AtomicBool>,
    lines: Arc<Mutex<Vec<String>>>,
    tries: Arc<AtomicU64>,
}

impl Transport for Simulated {
    async fn write(&self, lines: String) -> Answer {
        self.tries.fetch_add(1, Ordering::SeqCst);
        if self.away.load(Ordering::SeqCst) {
            return Answer::Failed("away".into());
        }
        self.lines.lock().unwrap().extend(lines.lines().map(str::to_owned));
        Answer::Taken
    }

    async fn start(&self) -> Start {
        if self.away.load(Ordering::SeqCst) { Start::Away } else { Start::At(1.0) }
    }
}

struct Simulation {
    store: Store,
    courier: Courier<Simulated>,
    server: Simulated,
    now_ns: Arc<AtomicU64>,
    _stop: watch::Sender<bool>,
    _folder: tempfile::TempDir,
}

impl Simulation {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        put(&store, "", vec![Write::Outbox(OutboxWrite::Forwarding(true))]);
        let now_ns = Arc::new(AtomicU64::new(1));
        let (clock, server) = (Arc::clone(&now_ns), Simulated::default());
        let (stop, stopped) = watch::channel(false);
        let wires = Wires {
            readers: store.readers(),
            writer: store.writer(),
            clock: Arc::new(move || {
                let ns = clock.load(Ordering::SeqCst);
                Now { mono: MonoNs(ns), utc_ns: T0_NS + ns.cast_signed() }
            }),
            board: Board::default(),
            wake: Arc::default(),
            stop: stopped,
        };
        let courier = Courier::new(server.clone(), Settings::default(), wires);
        Self { store, courier, server, now_ns, _stop: stop, _folder: folder }
    }

    /// Steps until so much time has passed; each step's wait passes at once.
    async fn pass(&mut self, time: Duration) {
        let end = self.now_ns.load(Ordering::SeqCst) + time.as_nanos() as u64;
        while self.now_ns.load(Ordering::SeqCst) < end {
            let wait = self.courier.step().await;
            self.now_ns.fetch_add(wait.as_nanos() as u64, Ordering::SeqCst);
        }
    }

    fn waiting(&self) -> u64 {
        self.store.readers().reader().unwrap().outbox_status().unwrap().waiting
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_outage_of_six_hours_loses_nothing_and_floods_neither_server_nor_events() {
    let mut sim = Simulation::new();
    let stream = begin(&sim.store, "rig-1");
    sim.server.away.store(true, Ordering::SeqCst);
    for hour in 1..=6 {
        put(&sim.store, "rig-1", whole(stream, result(hour), 500));
        sim.pass(Duration::from_secs(3600)).await;
    }
    assert_eq!(sim.waiting(), 12);
    let tries = sim.server.tries.load(Ordering::SeqCst);
    // 30 s in the mean: 720; five standard errors are 11 %.
    assert!((640..=820).contains(&tries), "{tries} tries");
    let events = sim.store.readers().reader().unwrap().events(1000).unwrap();
    assert_eq!(events.iter().filter(|event| event.kind.starts_with("forward")).count(), 1);
    sim.server.away.store(false, Ordering::SeqCst);
    sim.pass(Duration::from_secs(200)).await;
    assert_eq!((sim.waiting(), sim.server.lines.lock().unwrap().len()), (0, 6 * 4));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_row_rests_for_a_minute_after_the_yes_and_not_longer() {
    let mut sim = Simulation::new();
    let stream = begin(&sim.store, "rig-1");
    put(&sim.store, "rig-1", whole(stream, result(1), 500));
    sim.pass(Duration::from_secs(59)).await;
    assert_eq!((sim.waiting(), sim.server.lines.lock().unwrap().len()), (2, 4));
    sim.pass(Duration::from_secs(4)).await;
    assert_eq!((sim.waiting(), sim.server.lines.lock().unwrap().len()), (0, 4));
}
