//! One rig at work: port news, orders and ticks in, in order of time; outputs to the port, the store
//! and the feed.
//!
//! Runs on a thread of its own, so that measuring a long run delays no other rig. Bytes are pushed and
//! their events told in one go; nothing in that path sleeps or gathers. What a pipeline measures is not
//! known here.

use super::board;
use super::faults::FaultLog;
use super::identities::{A_MINUTE_MAX, Heard, Identities, Who};
use super::keeper::Keeper;
use super::measuring::Measuring;
use super::news::Feed;
use super::order::{ANSWER_WITHIN_NS, Answer, ORDERS_MAX, Order, Waiting, answer_in, holds_at_once};
use super::recording::Recording;
use super::supervisor::Pulse;
use super::wall::{Wall, look};
use boltscribe_analysis::results::Flag;
use boltscribe_http::{Link, News, RigState};
use boltscribe_model::control::Command;
use boltscribe_model::time::{MonoNs, day_utc};
use boltscribe_pipeline::{Block, Event, Fault, Input, LinkState, Output, RunRow};
use boltscribe_serial::PortEvent;
use boltscribe_store::Write;
use jiff::civil::Date;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::time::{MissedTickBehavior, interval};

/// A pipeline learns at least this often that time passes.
pub const TICK: Duration = Duration::from_millis(50);
/// The accounts are copied to the board this often, nanoseconds.
const ACCOUNTS_EVERY_NS: u64 = 250_000_000;

/// The fault of a device that says again and again who it is.
const MANY_IDENTITIES: &str = "identities";

/// The board of one rig, shared with whoever shows it.
pub type Board = Arc<Mutex<RigState>>;

/// A lock that outlives a panic elsewhere: the board is plain data.
pub fn on(board: &Board) -> MutexGuard<'_, RigState> {
    board.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The queues of a rig's thread.
pub struct Wires {
    /// News of the port.
    pub port: mpsc::Receiver<PortEvent>,
    /// Bytes for the device.
    pub to_port: mpsc::Sender<Vec<u8>>,
    /// Orders of people.
    pub orders: mpsc::Receiver<Order>,
    /// True: the end.
    pub stop: watch::Receiver<bool>,
}

/// A rig's thread and all it holds.
pub struct Rig<M> {
    /// Its name.
    pub name: String,
    /// Measures.
    pub pipeline: M,
    /// Stores.
    pub keeper: Keeper,
    /// Shows.
    pub board: Board,
    /// Tells.
    pub feed: Feed,
    /// Knows UTC.
    pub wall: Arc<Wall>,
    /// Writes down the input.
    pub recording: Recording,
    /// Counts and logs faults.
    pub faults: Arc<Mutex<FaultLog>>,
    /// Time of the last input.
    pub last: MonoNs,
    /// When the accounts were copied last.
    pub accounts_at: MonoNs,
    /// Orders without an answer, oldest first; at most `ORDERS_MAX`.
    pub waiting: Vec<Waiting>,
    /// Where the rig rests, as it was stored last in this stream.
    pub rest_counts: Option<f64>,
    /// Which identities of the device are stored.
    pub identities: Identities,
    /// When this thread last turned.
    pub pulse: Arc<Pulse>,
    /// Last day (UTC) on which its calibration holds.
    pub valid_until: Option<Date>,
}

impl<M: Measuring> Rig<M> {
    /// Works until told to stop, then closes the stream.
    pub async fn run(mut self, mut wires: Wires) -> Self {
        let mut ticks = interval(TICK);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut out = Vec::new();
        let mut port_is_there = true;
        loop {
            self.pulse.beat(look().mono);
            // Bytes go before ticks: a tick must not overtake bytes that arrived before it.
            tokio::select! {
                biased;
                () = stopped(&mut wires.stop) => break,
                Some(order) = wires.orders.recv() => self.order(order, &mut out, &wires.to_port),
                event = wires.port.recv(), if port_is_there => match event {
                    Some(event) => self.port(event, &mut out, &wires.to_port),
                    None => port_is_there = false,
                },
                _ = ticks.tick() => {
                    let at = self.now(look().mono);
                    self.push(Input::Tick { at }, &mut out, &wires.to_port);
                }
            }
        }
        self.end(&mut out, &wires.to_port);
        self
    }

    /// Monotonic, whatever the order in which threads looked at the clock.
    fn now(&mut self, at: MonoNs) -> MonoNs {
        self.last = self.last.max(at);
        self.last
    }

    fn end(&mut self, out: &mut Vec<Output>, to_port: &mpsc::Sender<Vec<u8>>) {
        self.pipeline.finish(out);
        self.deliver(out, to_port);
        self.keeper.save();
        for waiting in self.waiting.drain(..) {
            waiting.order.answer(&self.name, Answer::Refused("the daemon stops".into()));
        }
        self.show_accounts();
    }

    fn push(&mut self, input: Input<'_>, out: &mut Vec<Output>, to_port: &mpsc::Sender<Vec<u8>>) {
        self.pipeline.push_into(input, out);
        self.deliver(out, to_port);
        let at = self.last;
        self.keeper.tick(at);
        self.give_up_waiting(at);
        if at.since_ns(self.accounts_at) >= ACCOUNTS_EVERY_NS {
            self.accounts_at = at;
            self.show_accounts();
            self.keep_rest();
            if let Some((who, event)) = self.identities.due(at) {
                self.keep_identity(who);
                self.feed.tell(&self.name, self.wall.utc_ns(at), News::Event(event));
            }
        }
    }

    /// Where the rig rests is stored as often as it moves: the next start begins with it.
    fn keep_rest(&mut self) {
        let rests = self.pipeline.rest_counts();
        if let Some(counts) = rests.filter(|_| rests != self.rest_counts) {
            self.rest_counts = rests;
            self.keeper.row(Write::Rest { utc_ns: self.wall.utc_ns(self.last), counts });
        }
    }

    fn show_accounts(&self) {
        on(&self.board).counters = self.pipeline.counters();
        self.faults_now().dropped = self.keeper.dropped;
    }

    fn port(&mut self, event: PortEvent, out: &mut Vec<Output>, to_port: &mpsc::Sender<Vec<u8>>) {
        match event {
            PortEvent::Bytes { at, bytes } => {
                let at = self.now(at);
                self.recording.put(&self.name, |to| to.bytes(at, &bytes));
                self.push(Input::Bytes { at, bytes: &bytes }, out, to_port);
            }
            PortEvent::Up { at } => {
                tracing::info!("rig '{}': the line is open", self.name);
                self.link(at, LinkState::Up, None, out, to_port);
            }
            PortEvent::Down { at, reason } => {
                let detail = match reason.advice() {
                    Some(advice) => format!("{reason}; {advice}"),
                    None => reason.to_string(),
                };
                tracing::warn!("rig '{}': {detail}", self.name);
                self.link(at, LinkState::Down, Some(detail), out, to_port);
            }
        }
    }

    fn link(
        &mut self,
        at: MonoNs,
        state: LinkState,
        detail: Option<String>,
        out: &mut Vec<Output>,
        to_port: &mpsc::Sender<Vec<u8>>,
    ) {
        let at = self.now(at);
        let link = match state {
            LinkState::Up => Link::Up,
            LinkState::Down => Link::Down,
        };
        self.recording.put(&self.name, |to| to.link(at, state));
        let changed = board::take_link(&mut on(&self.board), link, detail.clone());
        self.push(Input::Link { at, state }, out, to_port);
        if changed {
            let utc_ns = self.wall.utc_ns(at);
            let kind = match state {
                LinkState::Up => "line-up",
                LinkState::Down => "line-down",
            };
            let words = detail.clone().unwrap_or_default();
            self.keeper.row(Write::Event { utc_ns, kind: kind.to_owned(), detail: words });
            self.feed.tell(&self.name, utc_ns, News::Link { link, detail });
        }
    }

    fn order(&mut self, order: Order, out: &mut Vec<Output>, to_port: &mpsc::Sender<Vec<u8>>) {
        if self.waiting.len() >= ORDERS_MAX {
            order.answer(&self.name, Answer::Refused("too many orders are waiting".into()));
            return;
        }
        let at = self.now(look().mono);
        let command = order.command.clone();
        self.recording.put(&self.name, |to| to.command(at, &command));
        let at_once = holds_at_once(&command);
        self.waiting.push(Waiting { order, since: at });
        self.push(Input::Command { at, command }, out, to_port);
        if at_once && let Some(waiting) = self.waiting.pop_if(|w| holds_at_once(&w.order.command)) {
            waiting.order.answer(&self.name, Answer::Done);
        }
    }

    fn give_up_waiting(&mut self, at: MonoNs) {
        while let Some(first) = self.waiting.first()
            && at.since_ns(first.since) > ANSWER_WITHIN_NS
        {
            let waiting = self.waiting.remove(0);
            let why = "no answer within 3 s: expected a steady idle reading".to_owned();
            waiting.order.answer(&self.name, Answer::Refused(why));
        }
    }

    /// Sends every output where it belongs, in order.
    fn deliver(&mut self, out: &mut Vec<Output>, to_port: &mpsc::Sender<Vec<u8>>) {
        for output in out.drain(..) {
            match output {
                Output::Send(bytes) => {
                    if to_port.try_send(bytes).is_err() {
                        self.faults_now().unsent += 1;
                    }
                }
                Output::Event(event) => self.event(event),
                Output::Run(row) => self.run_row(row),
                Output::Block(block) => {
                    let utc_ns = self.wall.utc_ns(self.began(&block));
                    self.keeper.block(block, utc_ns);
                }
                Output::Fault(fault) => {
                    let utc_ns = self.wall.utc_ns(self.last);
                    let row = self.faults_now().take(&self.name, &fault, self.last, utc_ns);
                    if let Some(row) = row {
                        self.keeper.row(row);
                    }
                }
            }
        }
    }

    /// When the first sample of thinned points was taken: they are handed out seconds later. Of other blocks
    /// the present moment.
    fn began(&self, block: &Block) -> MonoNs {
        let Block::Idle { first_sample, rate_hz, samples_per_point, points } = block else {
            return self.last;
        };
        let at = self.pipeline.mono_at(*first_sample as f64 / rate_hz).filter(|at| *at <= self.last);
        // Where the line broke off its clock is gone; the points then end about now.
        let length_s = points.len() as f64 * f64::from(*samples_per_point) / rate_hz;
        at.unwrap_or(MonoNs(self.last.0.saturating_sub((length_s * 1e9) as u64)))
    }

    fn faults_now(&self) -> MutexGuard<'_, FaultLog> {
        self.faults.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn event(&mut self, event: Event) {
        let utc_ns = self.wall.utc_ns(self.last);
        board::take(&mut on(&self.board), &event);
        match self.identities.take(&event, self.last) {
            Some(Heard::New(who)) => self.keep_identity(who),
            // Not told either: a flood would push other news out of the feed.
            Some(Heard::TooMany { first }) => return self.too_many_identities(first, utc_ns),
            Some(Heard::Known) | None => {}
        }
        match &event {
            // A zero taken up again at the start stands in the store already.
            Event::Zeroed { zero } if !self.restores_zero() => {
                self.keeper.row(Write::Zero { utc_ns, zero_kn: zero.kn() })
            }
            Event::Stale { stale } => {
                let detail = if *stale { "the device is silent" } else { "the device sends again" };
                tracing::warn!("rig '{}': {detail}", self.name);
                self.keeper.row(Write::Event { utc_ns, kind: "stale".into(), detail: detail.into() });
            }
            Event::AwaitsRest { awaits, below } => {
                let detail = if *awaits {
                    format!(
                        "no release was seen since the start: what is driven is no run, or is left out, until \
                         tension stands still below {:.2} kN; if nothing pulls, take the zero",
                        below.kn()
                    )
                } else {
                    "the rig rests: runs are found".to_owned()
                };
                tracing::warn!("rig '{}': {detail}", self.name);
                self.keeper.row(Write::Event { utc_ns, kind: "awaits-rest".into(), detail });
            }
            _ => {}
        }
        let answered = self.waiting.iter().position(|w| answer_in(&event, &w.order.command).is_some());
        if let Some(at) = answered {
            let waiting = self.waiting.remove(at);
            if let Some(answer) = answer_in(&event, &waiting.order.command) {
                waiting.order.answer(&self.name, answer);
            }
        }
        self.feed.tell(&self.name, utc_ns, News::Event(event));
    }

    fn keep_identity(&mut self, who: Who) {
        let Who { serial, firmware, time_scale, simulated } = who;
        let (stream, utc_ns) = (self.keeper.stream(), self.wall.utc_ns(self.last));
        self.keeper.row(Write::Identity { stream, utc_ns, serial, firmware, time_scale, simulated });
    }

    fn too_many_identities(&mut self, first: bool, utc_ns: i64) {
        if !first {
            return self.faults_now().count(MANY_IDENTITIES);
        }
        let detail =
            format!("expected at most {A_MINUTE_MAX} identities a minute, found more; they are counted");
        let fault = Fault { kind: MANY_IDENTITIES.to_owned(), detail };
        let row = self.faults_now().take(&self.name, &fault, self.last, utc_ns);
        row.into_iter().for_each(|row| self.keeper.row(row));
    }

    fn restores_zero(&self) -> bool {
        self.waiting.iter().any(|w| matches!(w.order.command, Command::RestoreZero { .. }))
    }

    fn run_row(&mut self, mut row: RunRow) {
        self.notice_step();
        let now = self.last;
        let mut first_blow_utc_ns = self.wall.utc_ns(now);
        match &mut row {
            RunRow::Announced(run) => {
                board::take_announced(&mut on(&self.board), run.run_seq);
                if let Some(first) = self.pipeline.mono_at(run.record.first_blow_s) {
                    first_blow_utc_ns = self.wall.utc_ns(first);
                    if self.wall.stepped_between(first, now) {
                        run.flags.push(Flag::ClockSuspect);
                    }
                }
                // What day it is, is not known where flags are raised otherwise.
                if self.valid_until.is_some_and(|until| until < day_utc(first_blow_utc_ns)) {
                    run.flags.push(Flag::Expired);
                }
                run.flags.sort_unstable();
                run.flags.dedup();
                tracing::info!("rig '{}': run {} of this stream measured", self.name, run.run_seq);
            }
            RunRow::Closed(closed) => board::take_closed(&mut on(&self.board), closed.run_seq),
        }
        self.keeper.run(row, first_blow_utc_ns);
    }

    /// Looks at both clocks at the moment that matters, so that a step just now is not missed.
    fn notice_step(&self) {
        if let Some(step) = self.wall.observe(look()) {
            super::wall_watch::log(step);
        }
    }
}

/// Until the flag is true, or nobody can raise it any more.
async fn stopped(stop: &mut watch::Receiver<bool>) {
    let _ = stop.wait_for(|stop| *stop).await;
}
