//! Rigs that break off or stand still, with a real store: noticed, reported, started again.
//!
//! The rigs are real ones at ports that are not there; what breaks off is put in place of their threads.

use super::news::Feed;
use super::rig::on;
use super::roster::Roster;
use super::start::{Line, Shared};
use super::supervisor;
use super::wall::{Wall, look};
use boltscribe_http::{Link, News, RigState};
use boltscribe_settings::{self as settings, Settings};
use boltscribe_store::{Mode, Store};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// What is noticed is reported within this.
const TOLD_WITHIN: Duration = Duration::from_secs(2);
/// Longest wait for anything else; a fault of the test, not a measure of speed.
const PATIENCE: Duration = Duration::from_secs(20);

struct Bench {
    _folder: tempfile::TempDir,
    store: Store,
    roster: Arc<Roster>,
    feed: Feed,
}

impl Bench {
    /// Two rigs at ports that are not there, looked after.
    async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let feed = Feed::default();
        let shared = Shared {
            readers: store.readers(),
            writer: store.writer(),
            feed: feed.clone(),
            wall: Arc::new(Wall::new(look())),
            record: None,
        };
        let roster = Arc::new(Roster::new(shared, &Settings::default()));
        for name in ["a", "b"] {
            let document = serde_json::json!({
                "name": name, "port": folder.path().join(name), "instrument": "framed",
            });
            let set = settings::rig_from_document(&document, &boltscribe_signal::runs::Settings::default())
                .unwrap();
            roster.start(&set, Line::Own).await.unwrap();
        }
        tokio::spawn(supervisor::run(Arc::clone(&roster)));
        Self { _folder: folder, store, roster, feed }
    }

    fn rig(&self) -> RigState {
        self.roster.states().remove(0)
    }

    fn events(&self) -> Vec<(String, String)> {
        let rows = self.store.readers().reader().unwrap().events(100).unwrap();
        rows.into_iter().map(|row| (row.kind, row.detail)).collect()
    }

    /// Another thread in place of the first rig's.
    fn replace_thread(&self, thread: tokio::task::JoinHandle<()>) {
        let mut rigs = self.roster.rigs.write().unwrap();
        let old = std::mem::replace(&mut rigs[0].tasks.as_mut().unwrap().thread, thread);
        old.abort();
    }
}

async fn until(what: &str, within: Duration, mut is_so: impl FnMut() -> bool) {
    let since = look().mono;
    while !is_so() {
        assert!(look().mono.since_ns(since) as u128 <= within.as_nanos(), "waited in vain for {what}");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_rig_whose_thread_broke_off_is_told_everywhere_and_starts_again_in_its_place() {
    let bench = Bench::new().await;
    let mut feed = bench.feed.subscribe();
    let stream = bench.roster.rigs.read().unwrap()[0].stream;
    on(&bench.roster.rigs.read().unwrap()[0].seat.board).tension_kn = Some(60.0);
    bench.replace_thread(tokio::task::spawn_blocking(|| panic!("a scripted fault")));
    until("the event", TOLD_WITHIN, || bench.events().iter().any(|(kind, _)| kind == "rig-broke-off")).await;
    let detail = bench.events().into_iter().find(|(kind, _)| kind == "rig-broke-off").unwrap().1;
    assert!(detail.contains("its thread broke off") && detail.contains("a scripted fault"), "{detail}");
    until("another stream", PATIENCE, || bench.roster.rigs.read().unwrap()[0].stream != stream).await;
    let states = bench.roster.states();
    assert_eq!(states.iter().map(|s| s.rig.as_str()).collect::<Vec<_>>(), ["a", "b"], "in its place");
    assert_eq!((states[0].trouble.as_ref(), states[0].tension_kn), (None, None));
    assert_eq!(bench.roster.noticed.started_again.load(Ordering::Relaxed), 1);
    assert_eq!(bench.roster.noticed.broke_off.load(Ordering::Relaxed), 1, "the other one goes on");
    let mut heard = false;
    while let Ok(message) = feed.try_recv() {
        heard |= message.rig == "a"
            && matches!(&message.news, News::Link { link: Link::Down, detail: Some(d) } if d.contains("broke off"));
    }
    assert!(heard, "whoever watches hears of it");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_rig_that_breaks_off_again_and_again_is_tried_ever_less_often() {
    let bench = Bench::new().await;
    for n in 1..=3 {
        bench.replace_thread(tokio::task::spawn_blocking(|| panic!("a scripted fault")));
        until("the restart", PATIENCE, || bench.roster.noticed.started_again.load(Ordering::Relaxed) == n)
            .await;
    }
    assert!(bench.rig().trouble.is_none());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reader_of_a_port_that_ended_is_noticed_though_the_thread_works() {
    let bench = Bench::new().await;
    bench.roster.rigs.read().unwrap()[0].tasks.as_ref().unwrap().port.as_ref().unwrap().abort();
    until("the event", TOLD_WITHIN, || {
        bench.events().iter().any(|(kind, detail)| kind == "rig-broke-off" && detail.contains("port"))
    })
    .await;
    until("the restart", PATIENCE, || bench.roster.noticed.started_again.load(Ordering::Relaxed) == 1).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_thread_that_stands_still_is_told_within_two_seconds_and_when_it_goes_on() {
    let bench = Bench::new().await;
    // Its own thread ends; one that is held up stands in its place, and this test turns its pulse.
    let pulse = {
        let mut rigs = bench.roster.rigs.write().unwrap();
        let held = tokio::spawn(std::future::pending());
        let thread = std::mem::replace(&mut rigs[0].tasks.as_mut().unwrap().thread, held);
        drop(thread);
        let pulse = Arc::default();
        rigs[0].pulse = Arc::clone(&pulse);
        pulse
    };
    on(&bench.roster.rigs.read().unwrap()[0].seat.board).tension_kn = Some(60.0);
    pulse.beat(look().mono);
    until("the trouble", TOLD_WITHIN, || bench.rig().trouble.is_some()).await;
    let state = bench.rig();
    assert_eq!((state.stale, state.tension_kn), (true, None), "the last value is not shown as live");
    assert!(state.trouble.unwrap().contains("stood still"));
    until("the event", PATIENCE, || bench.events().iter().any(|(kind, _)| kind == "rig-stands-still")).await;
    until("its going on", PATIENCE, || {
        pulse.beat(look().mono);
        bench.rig().trouble.is_none()
    })
    .await;
    assert_eq!(bench.roster.noticed.stood_still.load(Ordering::Relaxed), 1, "reported once");
}
