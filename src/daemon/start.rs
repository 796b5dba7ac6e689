//! Starts one rig: its stream in the store, what was in force and its zero, its port, its thread.
//!
//! A port that is not there does not keep a rig from starting. Must not know what is measured.

use super::board::blank;
use super::error::DaemonError;
use super::faults::FaultLog;
use super::hub::Seat;
use super::keeper::Keeper;
use super::news::Feed;
use super::order::{ORDERS_MAX, Order};
use super::postman::{self, LETTERS_MAX};
use super::recording::{self, Recording};
use super::rig::{Board, Rig, Wires};
use super::wall::{Wall, look};
use crate::control::Command;
use crate::pipeline::Pipeline;
use crate::port;
use crate::settings;
use crate::store::{Reader, Store, StreamId, Write, Written};
use crate::time::MonoNs;
use std::path::Path;
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
pub struct Shared<'a> {
    /// The store.
    pub store: &'a Store,
    /// The live feed.
    pub feed: Feed,
    /// Both clocks.
    pub wall: Arc<Wall>,
    /// True: the end.
    pub stop: watch::Receiver<bool>,
    /// Where inputs are recorded, if they are.
    pub record: Option<&'a Path>,
}

/// A rig at work.
pub struct Running {
    /// What the hub holds of it.
    pub seat: Seat,
    /// Ends when the stream is closed and handed to the store.
    pub thread: JoinHandle<()>,
}

/// Starts one rig.
///
/// # Errors
/// The store does not take the stream or cannot be read, or a recording cannot begin.
pub async fn start(settings: &settings::Rig, shared: &Shared<'_>) -> Result<Running, DaemonError> {
    let name = settings.name.as_str();
    let pipeline = Pipeline::new(settings.pipeline.clone())
        .map_err(|e| DaemonError::Settings(vec![format!("rig '{name}': {e}")]))?;
    let stream = new_stream(settings, shared).await?;
    let utc =
        jiff::Timestamp::from_nanosecond(i128::from(shared.wall.utc_ns(look().mono))).unwrap_or_default();
    let recording =
        shared.record.map(|folder| recording::begin(folder, settings, &format!("{utc:.0}"))).transpose()?;
    let calibration = settings.pipeline.calibration.as_ref().map(|c| c.id.clone());
    let board: Board = Arc::new(Mutex::new(blank(name, &settings.port, calibration)));
    let faults: Arc<Mutex<FaultLog>> = Arc::default();
    let (letters, letters_in) = mpsc::channel(LETTERS_MAX);
    let (orders, orders_in) = mpsc::channel(ORDERS_MAX);
    take_up_again(name, &shared.store.readers().reader()?, &orders)?;
    let (port, to_port, port_counters) = open_port(settings, shared);
    tokio::spawn(postman::run(name.to_owned(), letters_in, shared.feed.clone(), Arc::clone(&shared.wall)));
    let rig = Rig {
        name: name.to_owned(),
        pipeline,
        keeper: Keeper::new(name, stream, shared.store.writer(), letters),
        board: Arc::clone(&board),
        feed: shared.feed.clone(),
        wall: Arc::clone(&shared.wall),
        recording: Recording::new(recording),
        faults: Arc::clone(&faults),
        last: MonoNs(0),
        accounts_at: MonoNs(0),
        waiting: Vec::new(),
    };
    let wires = Wires { port, to_port, orders: orders_in, stop: shared.stop.clone() };
    let here = Handle::current();
    // A thread of its own: the measuring of a long run must not hold up the others or the API.
    let thread = tokio::task::spawn_blocking(move || drop(here.block_on(rig.run(wires))));
    let seat = Seat { name: name.to_owned(), board, orders, port_counters, faults };
    Ok(Running { seat, thread })
}

type PortEnds = (mpsc::Receiver<port::PortEvent>, mpsc::Sender<Vec<u8>>, Arc<port::Counters>);

fn open_port(settings: &settings::Rig, shared: &Shared<'_>) -> PortEnds {
    let (events, events_in) = mpsc::channel(PORT_EVENTS_MAX);
    let (to_port, sends_in) = mpsc::channel(SENDS_MAX);
    let counters = Arc::<port::Counters>::default();
    let line = port::Settings { path: settings.port.clone(), baud: settings.baud };
    tokio::spawn(port::run(line, events, sends_in, shared.stop.clone(), Arc::clone(&counters)));
    (events_in, to_port, counters)
}

async fn new_stream(settings: &settings::Rig, shared: &Shared<'_>) -> Result<StreamId, DaemonError> {
    let write = Write::Stream {
        started_utc_ns: shared.wall.utc_ns(look().mono),
        settings: Box::new(settings.pipeline.clone()),
    };
    let outcomes = shared.store.writer().submit(&settings.name, vec![write])?.wait().await?;
    match outcomes.into_iter().next() {
        Some(Ok(Written::Stream(stream))) => Ok(stream),
        Some(Err(refused)) => Err(refused.into()),
        _ => Err(DaemonError::System {
            tried: format!("begin the stream of rig '{}'", settings.name),
            source: std::io::Error::other("the store gave it no number"),
        }),
    }
}

/// What was in force and the zero of the last start go first through the queue of orders.
fn take_up_again(rig: &str, reader: &Reader, orders: &mpsc::Sender<Order>) -> Result<(), DaemonError> {
    let in_force = reader.in_force(rig)?.map(|row| Command::Use { in_force: row.in_force });
    let zero = reader.zero_kn(rig)?.map(|zero_kn| Command::RestoreZero { zero_kn });
    for command in in_force.into_iter().chain(zero) {
        // Nobody waits for these answers.
        let (reply, _) = oneshot::channel();
        let order = Order { who: RESTORED.to_owned(), command, reply };
        if orders.try_send(order).is_err() {
            tracing::error!("rig '{rig}': what was in force could not be taken up again");
        }
    }
    Ok(())
}
