//! Wires forwarding: tells the store whether it is on, starts the one who carries, and puts points about the
//! rigs' health into the outbox at an interval.
//!
//! Must not know what a point looks like on the wire beyond its encoder.

use super::error::DaemonError;
use super::hub::Hub;
use super::wall::{Wall, look};
use boltscribe_forward::{self as forward, Board, Now, Settings, points};
use boltscribe_http::{ForwardState, Link, RigState, Rigs};
use boltscribe_store::{OutboxWrite, Store, Write, Writer};
use boltscribe_tables::line_protocol::Point;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;

/// What the hub shows of it and may ask of it.
#[derive(Clone)]
pub struct Forwarding {
    url: String,
    board: Board,
    wake: Arc<Notify>,
}

impl Forwarding {
    /// For the page.
    #[must_use]
    pub fn state(&self) -> ForwardState {
        let now = self.board.now();
        ForwardState {
            condition: now.condition.word().to_owned(),
            since_utc_ns: now.since_utc_ns,
            trouble: now.trouble,
            url: self.url.clone(),
            unsettled: now.unsettled,
            requests: now.requests,
            failures: now.failures,
            sent_again: now.restarts,
            tells_start: now.tells_start,
        }
    }

    /// Tries at once.
    pub fn try_now(&self) {
        self.wake.notify_one();
    }
}

/// Tells the store whether rows are wanted from now on. Before any rig starts, so that no run is missed.
///
/// # Errors
/// The store does not take it.
pub async fn switch(store: &Store, settings: Option<&Settings>) -> Result<(), DaemonError> {
    let write = Write::Outbox(OutboxWrite::Forwarding(settings.is_some()));
    for outcome in store.writer().submit("", vec![write])?.wait().await? {
        outcome?;
    }
    Ok(())
}

/// Starts the carrier, where there is something to carry to.
///
/// # Errors
/// An address, a token or certificates that cannot be used; a program built without forwarding.
pub fn start(
    store: &Store,
    settings: Option<&Settings>,
    wall: &Arc<Wall>,
    stop: &watch::Receiver<bool>,
) -> Result<Option<(Forwarding, JoinHandle<()>)>, DaemonError> {
    let Some(settings) = settings else {
        return Ok(None);
    };
    let forwarding = Forwarding { url: settings.url.clone(), board: Board::default(), wake: Arc::default() };
    let wall = Arc::clone(wall);
    let wires = forward::Wires {
        readers: store.readers(),
        writer: store.writer(),
        clock: Arc::new(move || {
            let mono = look().mono;
            Now { mono, utc_ns: wall.utc_ns(mono) }
        }),
        board: forwarding.board.clone(),
        wake: Arc::clone(&forwarding.wake),
        stop: stop.clone(),
    };
    let task = carrier(settings, wires).map_err(|e| DaemonError::Settings(vec![e]))?;
    Ok(Some((forwarding, task)))
}

/// Whether it could start: reads the token and the certificates, sends nothing.
///
/// # Errors
/// A sentence, without a byte of the token.
#[cfg(feature = "forward")]
pub fn check(settings: &Settings) -> Result<(), String> {
    forward::Influx::new(settings).map(drop)
}

#[cfg(feature = "forward")]
fn carrier(settings: &Settings, wires: forward::Wires) -> Result<JoinHandle<()>, String> {
    let influx = forward::Influx::new(settings)?;
    Ok(tokio::spawn(forward::Courier::new(influx, settings.clone(), wires).run()))
}

/// Whether it could start.
///
/// # Errors
/// Always: this program cannot.
#[cfg(not(feature = "forward"))]
pub fn check(_: &Settings) -> Result<(), String> {
    Err("forward.url: expected a program built with the feature 'forward', found one without".to_owned())
}

#[cfg(not(feature = "forward"))]
fn carrier(settings: &Settings, _: forward::Wires) -> Result<JoinHandle<()>, String> {
    check(settings)?;
    Err("forward.url: nothing carries".to_owned())
}

/// Puts health into the outbox until the end.
pub async fn health(
    every: Duration,
    hub: Arc<Hub>,
    writer: Writer,
    wall: Arc<Wall>,
    mut stop: watch::Receiver<bool>,
) {
    loop {
        tokio::select! {
            () = tokio::time::sleep(every) => {}
            _ = stop.wait_for(|stop| *stop) => return,
        }
        let utc_ns = wall.utc_ns(look().mono);
        for rig in hub.rigs() {
            match point(&rig, utc_ns).line() {
                // A full queue counts it as refused; the next point comes soon.
                Ok(lines) => {
                    drop(writer.try_send(&rig.rig, vec![Write::Outbox(OutboxWrite::Health { lines })]))
                }
                Err(e) => tracing::error!("rig '{}': its health cannot be forwarded: {e}", rig.rig),
            }
        }
    }
}

fn point(rig: &RigState, utc_ns: i64) -> Point {
    let counters = &rig.counters;
    let whole = |n: u64| Some(i64::try_from(n).unwrap_or(i64::MAX));
    if rig.dial.is_some() {
        // There is no line that could be open or silent, and nothing that comes over it.
        return Point::new(points::RIG, utc_ns)
            .tag("rig", Some(&rig.rig))
            .integer("runs", whole(counters.runs));
    }
    Point::new(points::RIG, utc_ns)
        .tag("rig", Some(&rig.rig))
        .integer("up", Some(i64::from(rig.link == Link::Up)))
        .integer("stale", Some(i64::from(rig.stale)))
        .integer("simulated", Some(i64::from(rig.simulated)))
        .float("rate_hz", rig.rate_hz.filter(|rate| rate.is_finite()))
        .float("zero_kN", rig.zero_kn.filter(|zero| zero.is_finite()))
        .integer("bytes", whole(counters.bytes_in))
        .integer("bytes_discarded", whole(counters.bytes_discarded.values().sum()))
        .integer("frames", whole(counters.frames))
        .integer("samples", whole(counters.samples_in))
        .integer("samples_missing", whole(counters.samples_missing))
        .integer("runs", whole(counters.runs))
}
