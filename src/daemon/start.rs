//! Starts one rig: its stream in the store, what was in force and its zero, its port, its thread.
//!
//! A port that is not there does not keep a rig from starting. Must not know what is measured.

use super::board::blank;
use super::dial;
use super::error::DaemonError;
use super::faults::FaultLog;
use super::identities::Identities;
use super::keeper::Keeper;
use super::news::Feed;
use super::order::{ORDERS_MAX, Order};
use super::postman::{self, LETTERS_MAX};
use super::recording::{self, Recording};
use super::rig::{Board, Rig, Wires};
use super::roster::Seat;
use super::supervisor::Pulse;
use super::wall::{Wall, look};
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::Command;
use boltscribe_model::time::MonoNs;
use boltscribe_model::units::Newtons;
use boltscribe_pipeline::{self as pipeline, Pipeline};
use boltscribe_serial as port;
use boltscribe_settings::{self as settings, Instrument};
use boltscribe_signal::tension::Converter;
use boltscribe_store::{Reader, Readers, StreamId, Write, Writer, Written};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use tokio::runtime::Handle;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::task::JoinHandle;

/// Reads of one port that may wait for its pipeline; each is at most 64 KiB.
const PORT_EVENTS_MAX: usize = 64;
/// Messages that may wait for one device.
const SENDS_MAX: usize = 16;
/// Who gave the commands that are taken up again at the start.
const RESTORED: &str = "boltscribed";

/// What every rig shares.
pub struct Shared {
    /// Reads the store.
    pub readers: Readers,
    /// Writes to it.
    pub writer: Writer,
    /// The live feed.
    pub feed: Feed,
    /// Both clocks.
    pub wall: Arc<Wall>,
    /// Where inputs are recorded, if they are.
    pub record: Option<PathBuf>,
}

/// Which calibration a rig starts with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    /// That of its settings, which were just given.
    Own,
    /// The one last put in force by command, where there is one.
    Stored,
}

/// A rig at work.
pub struct Running {
    /// As it was set, without what the store puts over it.
    pub settings: settings::Rig,
    /// What the hub holds of it.
    pub seat: Seat,
    /// Which calibration it started with.
    pub line: Line,
    /// True ends it.
    pub stop: watch::Sender<bool>,
    /// Where its samples go; none for a dial.
    pub stream: Option<StreamId>,
    /// When its thread last turned; a dial's never does.
    pub pulse: Arc<Pulse>,
    /// What works for it; none while it is started again.
    pub tasks: Option<Tasks>,
}

/// What works for one rig.
pub struct Tasks {
    /// Ends when the stream is closed and handed to the store.
    pub thread: JoinHandle<()>,
    /// Ends when the port is closed; none for a dial.
    pub port: Option<JoinHandle<()>>,
    /// Ends after the thread, when all runs were reported; none for a dial.
    pub postman: Option<JoinHandle<()>>,
}

impl Tasks {
    /// The part that has ended, in words.
    #[must_use]
    pub fn ended(&self) -> Option<&'static str> {
        let over = |task: &Option<JoinHandle<()>>| task.as_ref().is_some_and(JoinHandle::is_finished);
        match (self.thread.is_finished(), over(&self.port), over(&self.postman)) {
            (true, ..) => Some("its thread"),
            (_, true, _) => Some("the reader of its port"),
            (.., true) => Some("what tells of its runs"),
            _ => None,
        }
    }

    /// Waits for the end of thread and port; gives what made one of them break off, in words.
    pub async fn join(self) -> String {
        let mut why = Vec::new();
        for task in [Some(self.thread), self.port, self.postman].into_iter().flatten() {
            why.extend(task.await.err().map(|e| e.to_string()));
        }
        if why.is_empty() { "it ended unasked".to_owned() } else { why.join("; ") }
    }
}

/// Starts one rig.
///
/// # Errors
/// The store does not take the stream or cannot be read, or a recording cannot begin.
pub async fn start(set: &settings::Rig, line: Line, shared: &Shared) -> Result<Running, DaemonError> {
    match &set.instrument {
        Instrument::Dial(dial) => dial::start(set, dial, shared),
        Instrument::Line(wire) => {
            let wire = match line {
                Line::Own => settings::Line::clone(wire),
                Line::Stored => with_calibration(&set.name, wire, &shared.readers.reader()?)?,
            };
            start_line(set, &wire, line, shared).await
        }
    }
}

async fn start_line(
    set: &settings::Rig,
    line: &settings::Line,
    from: Line,
    shared: &Shared,
) -> Result<Running, DaemonError> {
    let name = set.name.as_str();
    let pipeline = Pipeline::new(line.pipeline.clone())
        .map_err(|e| DaemonError::Settings(vec![format!("rig '{name}': {e}")]))?;
    let stream = new_stream(name, &line.pipeline, shared).await?;
    let utc =
        jiff::Timestamp::from_nanosecond(i128::from(shared.wall.utc_ns(look().mono))).unwrap_or_default();
    let recording = shared
        .record
        .as_deref()
        .map(|folder| recording::begin(folder, name, line, &format!("{utc:.0}")))
        .transpose()?;
    let (calibration, range_kn) = (line.pipeline.calibration.as_ref(), line.pipeline.runs.range_kn);
    let valid_until = match calibration {
        Some(line) => {
            shared.readers.reader()?.kept_calibration(&line.id)?.and_then(|row| row.kept.taken.valid_until)
        }
        None => None,
    };
    let mut state = blank(name, &line.port, calibration, range_kn);
    state.gates_s.clone_from(&line.pipeline.runs.gates_s);
    let board: Board = Arc::new(Mutex::new(state));
    let faults: Arc<Mutex<FaultLog>> = Arc::default();
    let (letters, letters_in) = mpsc::channel(LETTERS_MAX);
    let (orders, orders_in) = mpsc::channel(ORDERS_MAX);
    take_up_again(name, calibration, &shared.readers.reader()?, &orders)?;
    let (stop, stopped) = watch::channel(false);
    let (port, to_port, port_counters, port_task) = open_port(line, &stopped);
    let postman = tokio::spawn(postman::run(
        name.to_owned(),
        letters_in,
        shared.feed.clone(),
        Arc::clone(&shared.wall),
    ));
    let pulse = Arc::<Pulse>::default();
    let rig = Rig {
        name: name.to_owned(),
        pipeline,
        keeper: Keeper::new(name, stream, shared.writer.clone(), letters),
        board: Arc::clone(&board),
        feed: shared.feed.clone(),
        wall: Arc::clone(&shared.wall),
        recording: Recording::new(recording),
        faults: Arc::clone(&faults),
        last: MonoNs(0),
        accounts_at: MonoNs(0),
        waiting: Vec::new(),
        rest_counts: None,
        identities: Identities::default(),
        pulse: Arc::clone(&pulse),
        valid_until,
    };
    let wires = Wires { port, to_port, orders: orders_in, stop: stopped };
    let here = Handle::current();
    // A thread of its own: the measuring of a long run must not hold up the others or the API.
    let thread = tokio::task::spawn_blocking(move || drop(here.block_on(rig.run(wires))));
    let seat = Seat { name: name.to_owned(), board, orders, port_counters, faults };
    let tasks = Some(Tasks { thread, port: Some(port_task), postman: Some(postman) });
    Ok(Running { settings: set.clone(), seat, line: from, stop, stream: Some(stream), pulse, tasks })
}

/// A calibration that was put in force by command stands over that of the settings: one stream, one
/// calibration, so that a run can be measured again from what is stored.
fn with_calibration(
    name: &str,
    set: &settings::Line,
    reader: &Reader,
) -> Result<settings::Line, DaemonError> {
    let mut line = set.clone();
    if let Some(stored) = reader.calibrated(name)? {
        let own = set.pipeline.calibration.as_ref().map_or("none", |c| c.id.as_str());
        if own != stored.id {
            tracing::info!("rig '{name}': calibration '{}' stands over '{own}' of its settings", stored.id);
        }
        line.pipeline.calibration = Some(stored);
    }
    Ok(line)
}

type PortEnds = (mpsc::Receiver<port::PortEvent>, mpsc::Sender<Vec<u8>>, Arc<port::Counters>, JoinHandle<()>);

fn open_port(line: &settings::Line, stop: &watch::Receiver<bool>) -> PortEnds {
    let (events, events_in) = mpsc::channel(PORT_EVENTS_MAX);
    let (to_port, sends_in) = mpsc::channel(SENDS_MAX);
    let counters = Arc::<port::Counters>::default();
    let line = port::Settings { path: line.port.clone(), baud: line.baud };
    let task = tokio::spawn(port::run(line, events, sends_in, stop.clone(), Arc::clone(&counters)));
    (events_in, to_port, counters, task)
}

async fn new_stream(
    name: &str,
    settings: &pipeline::Settings,
    shared: &Shared,
) -> Result<StreamId, DaemonError> {
    let write = Write::Stream {
        started_utc_ns: shared.wall.utc_ns(look().mono),
        settings: Box::new(settings.clone()),
    };
    let outcomes = shared.writer.clone().submit(name, vec![write])?.wait().await?;
    match outcomes.into_iter().next() {
        Some(Ok(Written::Stream(stream))) => Ok(stream),
        Some(Err(refused)) => Err(refused.into()),
        _ => Err(DaemonError::System {
            tried: format!("begin the stream of rig '{name}'"),
            source: std::io::Error::other("the store gave it no number"),
        }),
    }
}

/// What was in force, the zero and the rest of the last start go first through the queue of orders.
fn take_up_again(
    rig: &str,
    calibration: Option<&Calibration>,
    reader: &Reader,
    orders: &mpsc::Sender<Order>,
) -> Result<(), DaemonError> {
    let in_force = reader.in_force(rig)?.map(|row| Command::Use { in_force: row.in_force });
    let zero_kn = reader.zero_kn(rig)?;
    let zero = zero_kn.map(|zero_kn| Command::RestoreZero { zero_kn });
    // What the rig does now may have begun before this start: a run begins where it was seen at rest.
    let rest = rest_counts(rig, zero_kn, calibration, reader)?;
    let rest = rest.map(|rest_counts| Command::AwaitRest { rest_counts });
    for command in in_force.into_iter().chain(zero).chain(rest) {
        // Nobody waits for these answers.
        let (reply, _) = oneshot::channel();
        let order = Order { who: RESTORED.to_owned(), command, reply };
        if orders.try_send(order).is_err() {
            tracing::error!("rig '{rig}': what was in force could not be taken up again");
        }
    }
    Ok(())
}

/// Where a rig rests, as a code. Where it was not stored (an older program ran last): its zero, or that of its last
/// run; none where there is neither in the terms of this calibration.
fn rest_counts(
    rig: &str,
    zero_kn: Option<f64>,
    calibration: Option<&Calibration>,
    reader: &Reader,
) -> Result<Option<f64>, DaemonError> {
    if let Some(counts) = reader.rest_counts(rig)? {
        return Ok(Some(counts));
    }
    let Some(calibration) = calibration else { return Ok(None) };
    let of_run = reader.last_zero_kn(rig, &calibration.id)?;
    let counts = |zero_kn: f64| {
        Converter::new(calibration).ok().and_then(|line| line.counts_at(Newtons::from_kn(zero_kn)))
    };
    Ok(of_run.or(zero_kn).and_then(counts))
}
