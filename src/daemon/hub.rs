//! The page's view of the rigs: their boards, the way of an order to a rig, the feed, the ports.
//!
//! Implements `page::Rigs`. It holds senders and shared boards only; it must not touch a pipeline.

use super::forwarding::Forwarding;
use super::hearing::hear;
use super::logging;
use super::news::Feed;
use super::order::Order;
use super::rig::on;
use super::roster::Roster;
use super::wall::Wall;
use boltscribe_analysis::results::ByHand;
use boltscribe_http::{
    ForwardState, Hear, Heard, Later, LiveMessage, News, PortState, Refusal, Reply, RigState, Rigs,
};
use boltscribe_model::control::Command;
use boltscribe_serial as port;
use boltscribe_store::RunId;
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::{broadcast, oneshot};

/// All rigs of the daemon.
pub struct Hub {
    roster: Arc<Roster>,
    feed: Feed,
    wall: Arc<Wall>,
    facts: Mutex<Vec<(String, String)>>,
    forwarding: Option<Forwarding>,
}

impl Hub {
    /// With its rigs, in the order of the settings.
    #[must_use]
    pub fn new(roster: Arc<Roster>, feed: Feed, wall: Arc<Wall>, forwarding: Option<Forwarding>) -> Self {
        Self { roster, feed, wall, facts: Mutex::new(Vec::new()), forwarding }
    }

    /// Adds a fact for `doctor`, such as the address that was given by the system.
    pub fn fact(&self, name: &str, value: String) {
        let mut facts = self.facts.lock().unwrap_or_else(PoisonError::into_inner);
        facts.retain(|(known, _)| known != name);
        facts.push((name.to_owned(), value));
    }
}

impl Rigs for Hub {
    fn rigs(&self) -> Vec<RigState> {
        self.roster.states()
    }

    fn command<'a>(
        &'a self,
        rig: &'a str,
        who: &'a str,
        command: Command,
    ) -> Later<'a, Result<Reply, Refusal>> {
        Box::pin(async move {
            if matches!(command, Command::Calibrate { .. }) {
                // Stored before it came here; the rig takes it up with a stream of its own.
                return self.roster.take_up_anew(rig).await.map(|()| Reply::Done);
            }
            let Some(orders) = self.roster.orders(rig) else {
                return Err(Refusal::UnknownRig(rig.to_owned()));
            };
            let (reply, answer) = oneshot::channel();
            let order = Order { who: who.to_owned(), command, reply };
            let refused = |reason: &str| Refusal::Refused { rig: rig.to_owned(), reason: reason.to_owned() };
            if orders.try_send(order).is_err() {
                return Err(refused("too many orders are waiting"));
            }
            answer.await.unwrap_or_else(|_| Err(refused("its reader has ended")))
        })
    }

    fn keep<'a>(
        &'a self,
        rig: &'a Value,
        replace: bool,
        head: &'a str,
    ) -> Later<'a, Result<String, Refusal>> {
        Box::pin(self.roster.keep(rig, replace, head))
    }

    fn drop_rig<'a>(&'a self, rig: &'a str) -> Later<'a, Result<(), Refusal>> {
        Box::pin(self.roster.drop_rig(rig))
    }

    fn hear<'a>(&'a self, at: &'a Hear) -> Later<'a, Result<Heard, Refusal>> {
        Box::pin(hear(at))
    }

    fn was_read(&self, rig: &str, utc_ns: i64, id: RunId, read: ByHand) {
        self.roster.each(|seat| {
            if seat.name == rig {
                on(&seat.board).counters.runs += 1;
            }
        });
        self.feed.tell(rig, utc_ns, News::Reading { id, read: Box::new(read) });
    }

    fn tell(&self, rig: &str, utc_ns: i64, news: News) {
        self.feed.tell(rig, utc_ns, news);
    }

    fn subscribe(&self) -> broadcast::Receiver<Arc<LiveMessage>> {
        self.feed.subscribe()
    }

    fn ports(&self) -> Vec<PortState> {
        let rigs = self.rigs();
        let used = |name: &str| rigs.iter().find(|r| r.port.as_deref() == Some(name)).map(|r| r.rig.clone());
        port::list_ports()
            .into_iter()
            .map(|listed| PortState {
                rig: used(&listed.path)
                    .or_else(|| used(&listed.device))
                    .or_else(|| listed.other_names.iter().find_map(|name| used(name))),
                not_allowed: listed
                    .allowed
                    .err()
                    .map(|denied| format!("{}; {}", denied.why, denied.what_to_do)),
                device: Some(listed.words).filter(|words| !words.is_empty()),
                path: listed.path,
            })
            .collect()
    }

    fn facts(&self) -> Vec<(String, String)> {
        self.facts.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn forward(&self) -> Option<ForwardState> {
        self.forwarding.as_ref().map(Forwarding::state)
    }

    fn forward_now(&self) -> bool {
        self.forwarding.as_ref().map(Forwarding::try_now).is_some()
    }

    fn counters(&self) -> BTreeMap<String, u64> {
        let mut all = BTreeMap::new();
        let mut add = |name: String, value: u64| *all.entry(name).or_default() += value;
        self.roster.each(|seat| {
            let port = seat.port_counters.now();
            for (name, value) in [
                ("port_bytes_in", port.bytes_in),
                ("port_waits", port.waits),
                ("port_bytes_cleared", port.bytes_cleared),
                ("port_attempts", port.attempts),
                ("port_opens", port.opens),
                ("port_losses", port.losses),
                ("port_bytes_sent", port.bytes_sent),
                ("port_bytes_send_dropped", port.bytes_send_dropped),
            ] {
                add(format!("boltscribe_{name}_total"), value);
            }
            let faults = seat.faults.lock().unwrap_or_else(PoisonError::into_inner);
            for (kind, count) in faults.counts() {
                let kind: String =
                    kind.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
                add(format!("boltscribe_fault_{kind}_total"), count);
            }
            add("boltscribe_messages_unsent_total".into(), faults.unsent);
            let dropped = faults.dropped;
            add("boltscribe_blocks_dropped_total".into(), dropped.blocks);
            add("boltscribe_run_rows_dropped_total".into(), dropped.runs);
            add("boltscribe_rows_dropped_total".into(), dropped.rows);
            add("boltscribe_run_news_dropped_total".into(), dropped.news);
        });
        add("boltscribe_wall_clock_steps_total".into(), self.wall.steps());
        let noticed = &self.roster.noticed;
        for (name, count) in [
            ("broke_off", &noticed.broke_off),
            ("stood_still", &noticed.stood_still),
            ("started_again", &noticed.started_again),
        ] {
            add(format!("boltscribe_rigs_{name}_total"), count.load(Ordering::Relaxed));
        }
        add("boltscribe_log_lines_dropped_total".into(), logging::lines_lost());
        all
    }
}
