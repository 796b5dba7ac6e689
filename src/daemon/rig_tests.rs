//! A rig's thread with a scripted pipeline and a real store: what goes where, and in which order.
//!
//! What a pipeline measures is tested in its own rooms; here only the wiring is.

use super::board::blank;
use super::identities::{A_MINUTE_MAX, Identities};
use super::keeper::Keeper;
use super::measuring::Measuring;
use super::news::Feed;
use super::order::Order;
use super::postman;
use super::recording::{Record, Recording};
use super::rig::{Board, Rig, Wires};
use super::wall::{Pair, Wall, look};
use crate::identities::tests::event;
use boltscribe_analysis::results::{Flag, RunResult};
use boltscribe_http::{Link, LiveMessage, News, Refusal, Reply};
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::{Command, InForce};
use boltscribe_model::time::MonoNs;
use boltscribe_model::units::Newtons;
use boltscribe_pipeline::{Block, Counters, Event, Fault, Input, LinkState, Output, RunRow};
use boltscribe_serial::{PortError, PortEvent};
use boltscribe_signal::runs::{Record as Measured, Timing};
use boltscribe_store::{Mode, Store, StreamId, Write, Written};
use std::io;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::{broadcast, mpsc, oneshot, watch};

/// Answers bytes by what they say, and notes every input's time.
#[derive(Default)]
struct Script {
    times: Vec<MonoNs>,
    first_blow: Option<MonoNs>,
    finished: bool,
}

impl Measuring for Script {
    fn push_into(&mut self, input: Input<'_>, out: &mut Vec<Output>) {
        match input {
            Input::Bytes { at, bytes } => {
                self.times.push(at);
                match bytes {
                    b"blow" => {
                        self.first_blow.get_or_insert(at);
                        out.push(Output::Event(Event::Blow { run_seq: 1, at_s: 0.0 }));
                    }
                    b"run" => {
                        out.extend(open_and_raw());
                        out.push(Output::Run(RunRow::Announced(Box::new(result(1)))));
                    }
                    b"open" => out.extend(open_and_raw()),
                    b"panic" => panic!("as the script says"),
                    b"bad" => out.push(Output::Fault(Fault { kind: "crc".into(), detail: "x".into() })),
                    b"flood" => {
                        out.extend((0..1000).map(|n| Output::Event(identity(n))));
                        out.push(Output::Event(Event::Blow { run_seq: 1, at_s: 0.0 }));
                    }
                    b"idle" => out.push(Output::Event(Event::Zeroed { zero: Newtons(1500.0) })),
                    _ => out.push(Output::Send(bytes.to_vec())),
                }
            }
            Input::Tick { at } | Input::Link { at, .. } | Input::Command { at, .. } => self.times.push(at),
        }
    }

    fn finish(&mut self, out: &mut Vec<Output>) {
        self.finished = true;
        out.extend(open_and_raw());
        out.push(Output::Run(RunRow::Announced(Box::new(result(1)))));
    }

    fn counters(&self) -> Counters {
        Counters { bytes_in: self.times.len() as u64, ..Counters::default() }
    }

    fn mono_at(&self, _stream_s: f64) -> Option<MonoNs> {
        self.first_blow
    }
}

fn identity(n: u32) -> Event {
    event(&n.to_string(), false)
}

fn open_and_raw() -> [Output; 2] {
    let in_force = Box::new(InForce::default());
    [
        Output::Block(Block::Open { run_seq: 1, first_sample: 0, rate_hz: 1000.0, in_force, opening: None }),
        Output::Block(Block::Raw { run_seq: 1, first_sample: 0, counts: vec![1, 2, 3], missing: vec![] }),
    ]
}

fn result(run_seq: u32) -> RunResult {
    let record = Measured {
        first_sample: 0,
        rate_hz: 1000.0,
        timing: Timing::Device,
        zero: Newtons(0.0),
        zero_shift: Newtons(0.0),
        noise: Newtons(10.0),
        first_blow_s: 1.0,
        last_blow_s: 3.0,
        drive_time_s: 2.0,
        blow_count: Some(20),
        blow_rate_hz: Some(10.0),
        ringing: None,
        blows: vec![],
        peak: Newtons(80_000.0),
        peak_time_s: 3.0,
        peak_is_lower_bound: false,
        level: Some(Newtons(79_000.0)),
        held: Some(Newtons(78_000.0)),
        gates: vec![],
        plateau: None,
        spikes: 0,
        missing: 0,
        clipped: 0,
        flags: vec![],
        figures: boltscribe_signal::runs::Figures::default(),
    };
    let context =
        boltscribe_analysis::results::result::Context { calibration: "cell".into(), ..Default::default() };
    RunResult::new(run_seq, record, context)
}

/// Notes what is recorded; fails from the third thing on.
struct Notes(Arc<Mutex<Vec<String>>>);

impl Notes {
    fn note(&self, what: String) -> io::Result<()> {
        let mut notes = self.0.lock().unwrap();
        notes.push(what);
        if notes.len() >= 3 { Err(io::Error::other("disk full")) } else { Ok(()) }
    }
}

impl Record for Notes {
    fn bytes(&mut self, _: MonoNs, bytes: &[u8]) -> io::Result<()> {
        self.note(String::from_utf8_lossy(bytes).into_owned())
    }
    fn command(&mut self, _: MonoNs, command: &Command) -> io::Result<()> {
        self.note(format!("{command:?}"))
    }
    fn link(&mut self, _: MonoNs, state: LinkState) -> io::Result<()> {
        self.note(format!("{state:?}"))
    }
}

struct Bench {
    folder: tempfile::TempDir,
    store: Store,
    stream: StreamId,
    board: Board,
    port: mpsc::Sender<PortEvent>,
    sent: mpsc::Receiver<Vec<u8>>,
    orders: mpsc::Sender<Order>,
    stop: watch::Sender<bool>,
    feed: broadcast::Receiver<Arc<LiveMessage>>,
    notes: Arc<Mutex<Vec<String>>>,
    rig: tokio::task::JoinHandle<Rig<Script>>,
}

fn bench(first: Pair) -> Bench {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let started = Write::Stream { started_utc_ns: 1, settings: Box::new(settings()) };
    let pending = store.writer().submit("a", vec![started]).unwrap();
    let outcome = std::thread::spawn(|| pending.wait_blocking()).join().unwrap().unwrap();
    let Ok(Written::Stream(stream)) = outcome[0] else { panic!("{outcome:?}") };
    let (feed, wall) = (Feed::default(), Arc::new(Wall::new(first)));
    let (letters, letters_in) = mpsc::channel(16);
    tokio::spawn(postman::run("a".into(), letters_in, feed.clone(), Arc::clone(&wall)));
    let cell =
        Calibration { id: "cell".into(), coefficients_kn: vec![0.0, 1e-3], nominal: false, range_kn: None };
    let board: Board = Arc::new(Mutex::new(blank("a", "/dev/x", Some(&cell), None)));
    let notes = Arc::new(Mutex::new(Vec::new()));
    let (port, port_in) = mpsc::channel(16);
    let (to_port, sent) = mpsc::channel(16);
    let (orders, orders_in) = mpsc::channel(16);
    let (stop, stop_in) = watch::channel(false);
    let listening = feed.subscribe();
    let rig = Rig {
        name: "a".into(),
        pipeline: Script::default(),
        keeper: Keeper::new("a", stream, store.writer(), letters),
        board: Arc::clone(&board),
        feed,
        wall,
        recording: Recording::new(Some(Box::new(Notes(Arc::clone(&notes))))),
        faults: Arc::default(),
        last: MonoNs(0),
        accounts_at: MonoNs(0),
        waiting: vec![],
        rest_counts: None,
        identities: Identities::default(),
        pulse: Arc::default(),
        valid_until: None,
    };
    let wires = Wires { port: port_in, to_port, orders: orders_in, stop: stop_in };
    let rig = tokio::spawn(rig.run(wires));
    Bench { folder, store, stream, board, port, sent, orders, stop, feed: listening, notes, rig }
}

fn settings() -> boltscribe_pipeline::Settings {
    boltscribe_pipeline::Settings {
        instrument: boltscribe_signal::frames::settings::Settings::Framed,
        samples: boltscribe_signal::samples::settings::Settings::default(),
        runs: boltscribe_signal::runs::Settings::default(),
        calibration: None,
    }
}

impl Bench {
    async fn bytes(&self, bytes: &[u8]) {
        let event = PortEvent::Bytes { at: look().mono, bytes: bytes.to_vec() };
        self.port.send(event).await.unwrap();
    }

    async fn news(&mut self) -> News {
        let message = tokio::time::timeout(Duration::from_secs(5), self.feed.recv()).await;
        message.expect("news within 5 s").unwrap().news.clone()
    }

    async fn order(&self, command: Command) -> Result<Reply, Refusal> {
        let (reply, answer) = oneshot::channel();
        let order = Order { who: "me".into(), command, reply };
        assert!(self.orders.send(order).await.is_ok());
        answer.await.unwrap()
    }

    async fn end(self) -> (Rig<Script>, Store, tempfile::TempDir) {
        self.stop.send(true).unwrap();
        (self.rig.await.unwrap(), self.store, self.folder)
    }
}

#[tokio::test]
async fn a_run_is_told_with_its_number_after_it_is_in_the_store() {
    let mut bench = bench(look());
    bench.bytes(b"run").await;
    let News::Run { id, row } = bench.news().await else { panic!("not a run") };
    let RunRow::Announced(run) = *row else { panic!("not announced") };
    assert!(!run.flags.contains(&Flag::ClockSuspect));
    let stored = bench.store.readers().reader().unwrap().run(id).unwrap();
    assert!(stored.is_some());
}

#[tokio::test]
async fn a_flood_of_identities_reaches_the_live_feed_ten_times_and_hides_no_other_news() {
    let mut bench = bench(look());
    bench.bytes(b"flood").await;
    let mut identities = 0;
    while let News::Event(Event::Identity { .. }) = bench.news().await {
        identities += 1;
    }
    assert_eq!(identities, A_MINUTE_MAX);
    // The newest is told once the minute is over.
    let at = MonoNs(look().mono.0 + 61_000_000_000);
    bench.port.send(PortEvent::Bytes { at, bytes: b"bad".to_vec() }).await.unwrap();
    loop {
        if let News::Event(event @ Event::Identity { .. }) = bench.news().await {
            assert_eq!(event, identity(999));
            break;
        }
    }
}

#[tokio::test]
async fn a_wall_clock_step_inside_a_run_flags_it_and_changes_no_duration() {
    let now = look();
    let mut bench = bench(Pair { mono: now.mono, utc_ns: now.utc_ns - 3_600_000_000_000 });
    bench.bytes(b"blow").await;
    assert!(matches!(bench.news().await, News::Event(Event::Blow { .. })));
    tokio::time::sleep(Duration::from_millis(2)).await;
    bench.bytes(b"run").await;
    let News::Run { row, .. } = bench.news().await else { panic!("not a run") };
    let RunRow::Announced(run) = *row else { panic!("not announced") };
    assert!(run.flags.contains(&Flag::ClockSuspect), "{:?}", run.flags);
    assert_eq!(run.record, result(1).record);
}

#[tokio::test]
async fn stopping_closes_the_stream_and_the_open_run_is_stored() {
    let bench = bench(look());
    let stream = bench.stream;
    let (rig, store, _folder) = bench.end().await;
    assert!(rig.pipeline.finished);
    assert_eq!(rig.keeper.stream(), stream);
    drop(rig);
    // Reading waits for the commit: a row of our own stands behind the run's.
    let event = Write::Event { utc_ns: 2, kind: "end".into(), detail: String::new() };
    let pending = store.writer().submit("a", vec![event]).unwrap();
    pending.wait().await.unwrap()[0].clone().unwrap();
    assert_eq!(store.writer().health().refused.values().sum::<u64>(), 0);
    let reader = store.readers().reader().unwrap();
    assert!(reader.run(boltscribe_store::RunId(1)).unwrap().is_some());
}

#[tokio::test]
async fn times_never_go_back_whatever_the_port_says() {
    let bench = bench(look());
    bench.bytes(b"a").await;
    let old = PortEvent::Bytes { at: MonoNs(1), bytes: b"b".to_vec() };
    bench.port.send(old).await.unwrap();
    tokio::time::sleep(Duration::from_millis(120)).await;
    let (rig, ..) = bench.end().await;
    assert!(rig.pipeline.times.is_sorted(), "{:?}", rig.pipeline.times);
    assert!(rig.pipeline.times.len() > 3, "ticks came too");
}

#[tokio::test]
async fn a_zero_is_answered_when_it_was_taken_and_is_stored() {
    let mut bench = bench(look());
    let (zero, ()) = tokio::join!(bench.order(Command::Zero), async {
        tokio::time::sleep(Duration::from_millis(20)).await;
        bench.bytes(b"idle").await;
    });
    assert_eq!(zero, Ok(Reply::Done));
    assert!(matches!(bench.news().await, News::Event(Event::Zeroed { .. })));
    assert_eq!(bench.board.lock().unwrap().zero_kn, Some(1.5));
    let usage = Command::Use { in_force: InForce::default() };
    assert_eq!(bench.order(usage).await, Ok(Reply::Done));
}

#[tokio::test]
async fn what_the_pipeline_sends_goes_to_the_port_and_a_lost_line_is_told_once() {
    let mut bench = bench(look());
    bench.bytes(b"ask").await;
    assert_eq!(bench.sent.recv().await.unwrap(), b"ask");
    let down = || PortEvent::Down { at: look().mono, reason: PortError::Gone { path: "/dev/x".into() } };
    bench.port.send(down()).await.unwrap();
    bench.port.send(down()).await.unwrap();
    bench.bytes(b"blow").await;
    let News::Link { link: Link::Down, detail } = bench.news().await else { panic!("not a link") };
    assert!(detail.unwrap().contains("unplugged"));
    assert!(matches!(bench.news().await, News::Event(Event::Blow { .. })), "told once");
}

#[tokio::test]
async fn a_recording_that_fails_ends_and_the_rig_goes_on() {
    let mut bench = bench(look());
    for _ in 0..3 {
        bench.bytes(b"bad").await;
    }
    bench.bytes(b"blow").await;
    assert!(matches!(bench.news().await, News::Event(Event::Blow { .. })));
    assert_eq!(bench.notes.lock().unwrap().len(), 3);
}

#[tokio::test]
async fn a_thread_that_breaks_off_has_stored_what_came_before_and_its_run_is_found() {
    let bench = bench(look());
    bench.bytes(b"open").await;
    bench.bytes(b"panic").await;
    let broken = bench.rig.await.err().expect("it broke off");
    assert!(broken.is_panic());
    let pending = bench.store.writer().submit("a", vec![Write::BrokeOff { stream: bench.stream }]).unwrap();
    pending.wait().await.unwrap()[0].clone().unwrap();
    let left = bench.store.readers().unfinished(bench.stream).unwrap();
    assert_eq!(left.len(), 1);
    assert_eq!(left[0].raw.len(), 1, "its samples came with the opening");
    assert!(bench.store.readers().unfinished(StreamId(bench.stream.0 + 1)).unwrap().is_empty());
}
