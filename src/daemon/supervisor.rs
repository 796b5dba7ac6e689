//! Looks after the rigs at work: one whose thread or tasks ended unasked, or stand still, is noticed within two
//! seconds, reported everywhere, and started again where that is safe.
//!
//! What a dead stream left is closed as after a start of the program, so its open run is kept as interrupted. A
//! thread that stands still cannot be ended from outside: it is reported until it goes on. Must not know what is
//! measured.

use super::board;
use super::recovery;
use super::rig::on;
use super::roster::{ENDS_WITHIN, Roster};
use super::start::{Tasks, start};
use super::wall::look;
use boltscribe_http::{Link, News};
use boltscribe_model::time::MonoNs;
use boltscribe_pipeline::Event;
use boltscribe_store::Write;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};

/// How often the rigs are looked at.
const EVERY: Duration = Duration::from_millis(250);
/// A thread that has not turned for so long stands still, nanoseconds: it turns 20 times a second, and with the
/// time between two looks this stays under two seconds.
const STILL_NS: u64 = 1_500_000_000;
/// Wait before a rig is started again; it doubles with each time.
const AGAIN_FIRST: Duration = Duration::from_millis(100);
/// It grows no longer than this, and starts over when a rig worked for so long.
const AGAIN_MOST: Duration = Duration::from_secs(60);

/// When a rig's thread last turned.
#[derive(Debug, Default)]
pub struct Pulse(AtomicU64);

impl Pulse {
    /// It turns now.
    pub fn beat(&self, at: MonoNs) {
        self.0.store(at.0, Ordering::Relaxed);
    }

    /// For how long it has not; zero before its first turn.
    fn still_ns(&self, at: MonoNs) -> u64 {
        match self.0.load(Ordering::Relaxed) {
            0 => 0,
            last => at.since_ns(MonoNs(last)),
        }
    }
}

/// What was noticed since the start.
#[derive(Debug, Default)]
pub struct Noticed {
    /// Rigs of which a part ended unasked.
    pub broke_off: AtomicU64,
    /// Rigs that stood still.
    pub stood_still: AtomicU64,
    /// Rigs that were started again.
    pub started_again: AtomicU64,
    /// Tries by rig, and when the last one was.
    tries: Mutex<BTreeMap<String, (u32, MonoNs)>>,
}

impl Noticed {
    /// How long to wait before the next try.
    fn wait(&self, rig: &str, now: MonoNs) -> Duration {
        let mut tries = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
        let (tried, last) = tries.entry(rig.to_owned()).or_insert((0, now));
        if now.since_ns(*last) as u128 > AGAIN_MOST.as_nanos() {
            *tried = 0;
        }
        let wait = AGAIN_FIRST.saturating_mul(1 << (*tried).min(16)).min(AGAIN_MOST);
        (*tried, *last) = (tried.saturating_add(1), now);
        wait
    }
}

/// What one look at a rig found.
pub enum Seen {
    /// All is well.
    Well,
    /// It has not turned for so long, nanoseconds.
    Still(u64),
    /// This part of it has ended; all of them are handed over.
    Ended(&'static str, Tasks),
}

/// Looks after the rigs; the task is dropped at the end of the program.
pub async fn run(roster: Arc<Roster>) {
    let mut ticks = interval(EVERY);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        ticks.tick().await;
        for (name, seen) in roster.look_after(|pulse| {
            let still_ns = pulse.still_ns(look().mono);
            (still_ns > STILL_NS).then_some(still_ns)
        }) {
            match seen {
                Seen::Well => goes_on(&roster, &name),
                Seen::Still(still_ns) => stands_still(&roster, &name, still_ns),
                Seen::Ended(part, tasks) => {
                    tokio::spawn(broke_off(Arc::clone(&roster), name, part, tasks));
                }
            }
        }
    }
}

fn goes_on(roster: &Roster, name: &str) {
    let mut was_in_trouble = false;
    roster.at(name, |seat| was_in_trouble = on(&seat.board).trouble.take().is_some());
    if was_in_trouble {
        tracing::warn!("rig '{name}': its thread goes on");
        event(roster, name, "rig-goes-on", "its thread goes on".to_owned());
    }
}

fn stands_still(roster: &Roster, name: &str, still_ns: u64) {
    let trouble =
        format!("its thread has stood still for {:.1} s: nothing is measured", still_ns as f64 * 1e-9);
    let mut is_news = false;
    roster.at(name, |seat| {
        let mut state = on(&seat.board);
        is_news = state.trouble.is_none();
        state.trouble = Some(trouble.clone());
        board::take(&mut state, &Event::Stale { stale: true });
    });
    if is_news {
        roster.noticed.stood_still.fetch_add(1, Ordering::Relaxed);
        tracing::error!("rig '{name}': {trouble}");
        event(roster, name, "rig-stands-still", trouble);
        tell(roster, name, News::Event(Event::Stale { stale: true }));
    }
}

/// Tells of it, ends what is left, closes the stream, and starts the rig again.
async fn broke_off(roster: Arc<Roster>, name: String, part: &'static str, tasks: Tasks) {
    roster.noticed.broke_off.fetch_add(1, Ordering::Relaxed);
    roster.ask_to_end(&name);
    let (words, ended) = match timeout(ENDS_WITHIN, tasks.join()).await {
        Ok(words) => (words, true),
        Err(_) => ("the rest of it does not end: restart boltscribed".to_owned(), false),
    };
    trouble(&roster, &name, "rig-broke-off", format!("{part} broke off: {words}"));
    if !ended {
        return;
    }
    loop {
        sleep(roster.noticed.wait(&name, look().mono)).await;
        match again(&roster, &name).await {
            Ok(()) => return,
            Err(why) => {
                trouble(&roster, &name, "rig-not-started", format!("it cannot be started again: {why}"))
            }
        }
    }
}

/// A rig that measures nothing: board, log, event row, feed.
fn trouble(roster: &Roster, name: &str, kind: &str, words: String) {
    tracing::error!("rig '{name}': {words}");
    roster.at(name, |seat| {
        let mut state = on(&seat.board);
        board::take_link(&mut state, Link::Down, Some(words.clone()));
        (state.running, state.driving) = (None, false);
        state.trouble = Some(words.clone());
    });
    tell(roster, name, News::Link { link: Link::Down, detail: Some(words.clone()) });
    event(roster, name, kind, words);
}

async fn again(roster: &Roster, name: &str) -> Result<(), String> {
    let _one = roster.changing.lock().await;
    let Some((settings, line, stream)) = roster.as_set(name) else { return Ok(()) };
    let shared = &roster.shared;
    if let Some(stream) = stream {
        let kept = recovery::recover_stream(&shared.readers, &shared.writer, name, stream).await;
        let kept = kept.map_err(|e| e.to_string())?;
        if kept > 0 {
            tracing::warn!("rig '{name}': the run that was cut off is kept as interrupted");
        }
    }
    let running = start(&settings, line, shared).await.map_err(|e| e.to_string())?;
    roster.put_back(running);
    roster.noticed.started_again.fetch_add(1, Ordering::Relaxed);
    tracing::warn!("rig '{name}': started again");
    event(roster, name, "rig-started-again", "with a stream of its own".to_owned());
    Ok(())
}

fn event(roster: &Roster, name: &str, kind: &str, detail: String) {
    let utc_ns = roster.shared.wall.utc_ns(look().mono);
    let row = Write::Event { utc_ns, kind: kind.to_owned(), detail };
    if roster.shared.writer.try_send(name, vec![row]).is_err() {
        tracing::error!("rig '{name}': the store's queue has no room for the event {kind}");
    }
}

fn tell(roster: &Roster, name: &str, news: News) {
    roster.shared.feed.tell(name, roster.shared.wall.utc_ns(look().mono), news);
}
