//! The daemon from its arguments to its exit code: settings, store, recovery, rigs, API, and an end in
//! order.
//!
//! It starts with no rig at all and with no port there; only wrong settings and a store that cannot be
//! used keep it from starting.

use super::args::Args;
use super::config;
use super::error::DaemonError;
use super::hub::Hub;
use super::news::Feed;
use super::roster::Roster;
use super::start::{Line, Shared};
use super::wall::{Wall, look};
use super::{forwarding, logging, recovery, serving, supervisor, verifying, wall_watch};
use boltscribe_http::{State, walking};
use boltscribe_settings::Settings;
use boltscribe_store::{Mode, Store, StoreError};
use clap::Parser;
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::timeout;

/// Time for the rigs to close their streams.
const RIGS_END_WITHIN: Duration = Duration::from_millis(800);
/// Time for answers under way.
const SERVERS_END_WITHIN: Duration = Duration::from_millis(300);
/// Time for the store to take the last rows.
const STORE_ENDS_WITHIN: Duration = Duration::from_millis(700);

/// Time for the last lines of the log.
const LOG_ENDS_WITHIN: Duration = Duration::from_millis(100);

/// Runs the program with the arguments of the process.
#[must_use]
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(e) => {
            // clap sends help to standard output and mistakes to standard error by itself.
            let _ = e.print();
            return ExitCode::from(if e.use_stderr() { 2 } else { 0 });
        }
    };
    match run(&args) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            say(&e);
            ExitCode::from(e.exit_code())
        }
    }
}

/// On a thread of its own: a pipe that nobody empties must not keep the program from ending, and where standard
/// error is gone nobody is left to read it.
fn say(e: &DaemonError) {
    let hint = e.hint().map_or_else(String::new, |hint| format!("hint: {hint}\n"));
    let text = format!("error: {e}\n{hint}");
    let (said, was_said) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let _ = std::io::stderr().lock().write_all(text.as_bytes());
        let _ = said.send(());
    });
    let _ = was_said.recv_timeout(LOG_ENDS_WITHIN);
}

fn run(args: &Args) -> Result<(), DaemonError> {
    let settings = config::load(args)?;
    if args.check_config {
        let rigs = settings.rigs.len();
        let _ = writeln!(std::io::stderr(), "the settings can be used: {rigs} rig(s)");
        return Ok(());
    }
    let log = logging::start(settings.daemon.log.word()).map_err(|e| DaemonError::Settings(vec![e]))?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|source| DaemonError::System { tried: "start the runtime".into(), source })?;
    let ended = runtime.block_on(work(args, &settings));
    // What has not ended by now is cut: its rows are in the store already or were counted.
    runtime.shutdown_timeout(Duration::from_millis(100));
    log.finish(LOG_ENDS_WITHIN);
    ended
}

async fn work(args: &Args, settings: &Settings) -> Result<(), DaemonError> {
    let mut signals = Signals::listen()?;
    let store = open_store(&settings.store.folder).await?;
    let wall = Arc::new(Wall::new(look()));
    tokio::spawn(wall_watch::run(Arc::clone(&wall)));
    let recovered = recovery::recover_all(&store).await?;
    if recovered > 0 {
        tracing::warn!("{recovered} run(s) of the last start were kept as interrupted");
    }
    let (stop, stopped) = watch::channel(false);
    forwarding::switch(&store, settings.forward.as_ref()).await?;
    let carrier = forwarding::start(&store, settings.forward.as_ref(), &wall, &stopped)?;
    let feed = Feed::default();
    let shared = Shared {
        readers: store.readers(),
        writer: store.writer(),
        feed: feed.clone(),
        wall: Arc::clone(&wall),
        record: args.record.clone(),
    };
    let roster = Arc::new(Roster::new(shared, settings));
    for rig in &settings.rigs {
        roster.start(rig, Line::Stored).await?;
    }
    tokio::spawn(supervisor::run(Arc::clone(&roster)));
    let (forwarding, carrier) = carrier.unzip();
    let hub = Arc::new(Hub::new(Arc::clone(&roster), feed, Arc::clone(&wall), forwarding));
    let health = settings.forward.as_ref().map(|forward| {
        let every = Duration::from_secs(u64::from(forward.health_s));
        let (hub, wall) = (Arc::clone(&hub), Arc::clone(&wall));
        tokio::spawn(forwarding::health(every, hub, store.writer(), wall, stopped.clone()))
    });
    let clock = Arc::clone(&wall);
    let state = State {
        readers: store.readers(),
        writer: Some(store.writer()),
        rigs: Arc::clone(&hub) as _,
        now_utc_ns: Arc::new(move || clock.utc_ns(look().mono)),
        zone: settings.daemon.time_zone.clone().unwrap_or_else(jiff::tz::TimeZone::system),
        limits: settings.limits.clone().into(),
        turns: Default::default(),
        trial_lines: Default::default(),
    };
    let socket = args.socket.clone().unwrap_or_else(|| settings.store.socket());
    let walker = walk(state.clone(), stopped.clone());
    let verifier =
        tokio::spawn(verifying::run(store.readers(), store.writer(), Arc::clone(&wall), stopped.clone()));
    let mut servers = serving::start(state, &socket, &settings.daemon, &stopped, &hub).await?;
    servers.extend(carrier.into_iter().chain(health).chain([walker, verifier]));
    tracing::info!("{} rig(s), store in {}", settings.rigs.len(), settings.store.folder.display());
    signals.wait().await;
    tracing::info!("stopping");
    let _ = stop.send(true);
    end(&roster, servers, store, &socket).await
}

/// Looks for the lock of a store this long before giving up: a command line working in-process while no
/// daemon runs holds it for one command only.
const LOCK_WAIT: Duration = Duration::from_secs(2);

async fn open_store(folder: &Path) -> Result<Store, DaemonError> {
    let mut waited = Duration::ZERO;
    loop {
        match Store::open(folder, Mode::Create) {
            Err(StoreError::Held { .. }) if waited < LOCK_WAIT => {
                let pause = Duration::from_millis(50);
                tokio::time::sleep(pause).await;
                waited += pause;
            }
            opened => return Ok(opened?),
        }
    }
}

/// Goes on with automatic trials until the stop.
fn walk(state: State, mut stop: watch::Receiver<bool>) -> JoinHandle<()> {
    tokio::spawn(async move {
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => {}
            () = walking::follow(state) => {}
        }
    })
}

/// The end in order: streams closed, answers finished, rows stored.
async fn end(
    roster: &Roster,
    servers: Vec<JoinHandle<()>>,
    store: Store,
    socket: &std::path::Path,
) -> Result<(), DaemonError> {
    let rigs_ended = timeout(RIGS_END_WITHIN, roster.end()).await.is_ok();
    for server in servers {
        let abort = server.abort_handle();
        if timeout(SERVERS_END_WITHIN, server).await.is_err() {
            abort.abort();
        }
    }
    let _ = std::fs::remove_file(socket);
    let closing = tokio::task::spawn_blocking(move || store.close());
    let stored = timeout(STORE_ENDS_WITHIN, closing).await.is_ok();
    match (rigs_ended, stored) {
        (true, true) => Ok(()),
        (false, _) => Err(DaemonError::Late("a rig")),
        (_, false) => Err(DaemonError::Late("the store")),
    }
}

/// The two signals that ask for an end.
struct Signals {
    terminate: Signal,
    interrupt: Signal,
}

impl Signals {
    fn listen() -> Result<Self, DaemonError> {
        let listen = |kind| {
            signal(kind).map_err(|source| DaemonError::System { tried: "listen for signals".into(), source })
        };
        Ok(Self { terminate: listen(SignalKind::terminate())?, interrupt: listen(SignalKind::interrupt())? })
    }

    async fn wait(&mut self) {
        tokio::select! {
            _ = self.terminate.recv() => {}
            _ = self.interrupt.recv() => {}
        }
    }
}
