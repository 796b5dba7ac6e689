//! Which run takes which step of a trial: the one that names it in its tags, whatever the clock says.
//!
//! At a dial, or with runs as a pipeline gives them. All figures are invented.

use crate::sample::{T0_NS, announced, begin, closed, opening, put, result_with};
use crate::support::House;
use axum::http::{Method, StatusCode};
use boltscribe::control::InForce;
use boltscribe::http::walking;
use boltscribe::results::{ByHand, Reading, ReadingOf};
use boltscribe::store::Write;
use serde_json::{Value, json};
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Longest wait for what the daemon does by itself; a fault of the test, not a measure of speed.
const PATIENCE: Duration = Duration::from_secs(20);

async fn furnished() -> House {
    let house = House::new();
    house.furnish().await;
    house
}

async fn plan(house: &House, name: &str, rig: &str) {
    let plan = json!({"name": name, "rig": rig, "tools": ["wrench"], "baseline": "bare", "setups": ["long"],
                      "repeats": 2, "seed": 7, "measure": "held"});
    house.created("/api/v1/trials", json!({"who": "Ana", "plan": plan})).await;
}

async fn ready(house: &House, trial: &str) -> Value {
    house.done(Method::POST, &format!("/api/v1/trials/{trial}/ready"), json!({"who": "Ana"})).await
}

async fn say(house: &House, trial: &str, say: Value) -> Value {
    house.done(Method::POST, &format!("/api/v1/trials/{trial}/say"), json!({"who": "Ana", "say": say})).await
}

async fn enter(house: &House, kn: f64) -> Value {
    house.created("/api/v1/rigs/press/readings", json!({"who": "Ana", "reading": kn})).await
}

async fn shown(house: &House, trial: &str) -> Value {
    house.get(&format!("/api/v1/trials/{trial}")).await
}

/// The go that is awaited; 0 where none is.
async fn goes_on(house: &House, trial: &str) -> i64 {
    let shown = shown(house, trial).await;
    let awaits = shown["standing"] == "awaiting a run";
    shown["next"]["go"].as_i64().filter(|_| awaits).unwrap_or(0)
}

fn in_force(house: &House, rig: &str) -> InForce {
    house.store.readers().reader().unwrap().in_force(rig).unwrap().unwrap().in_force
}

#[tokio::test]
async fn a_trial_that_was_laid_aside_awaits_no_run_when_it_goes_on() {
    let house = furnished().await;
    plan(&house, "a", "press").await;
    plan(&house, "b", "press").await;
    ready(&house, "a").await;
    say(&house, "a", json!({"entry": "abort", "why": "b is urgent"})).await;
    ready(&house, "b").await;
    house.is_later(1);
    enter(&house, 80.0).await;
    house.is_later(2);
    let resumed = say(&house, "a", json!({"entry": "resume"})).await;
    assert_eq!(resumed["standing"], "ready to go on", "{resumed}");
    assert_eq!(resumed["next"]["number"], 1);
    ready(&house, "a").await;
    house.is_later(3);
    enter(&house, 80.1).await;
    for trial in ["a", "b"] {
        assert_eq!(shown(&house, trial).await["steps_done"], 1, "{trial}");
    }
}

#[tokio::test]
async fn an_automatic_trial_that_was_laid_aside_goes_on_by_itself() {
    let house = furnished().await;
    plan(&house, "a", "press").await;
    plan(&house, "b", "press").await;
    say(&house, "a", json!({"entry": "automatic", "on": true})).await;
    say(&house, "a", json!({"entry": "abort", "why": "b is urgent"})).await;
    ready(&house, "b").await;
    house.is_later(1);
    enter(&house, 80.0).await;
    house.is_later(2);
    let resumed = say(&house, "a", json!({"entry": "resume"})).await;
    assert_eq!((&resumed["standing"], &resumed["next"]["go"]), (&json!("awaiting a run"), &json!(2)));
    house.is_later(3);
    let run = enter(&house, 80.1).await;
    assert_eq!(shown(&house, "a").await["steps"][0]["run"], run["id"]);
}

#[tokio::test]
async fn a_run_made_while_a_trial_is_laid_aside_takes_no_step() {
    let house = furnished().await;
    plan(&house, "a", "press").await;
    ready(&house, "a").await;
    say(&house, "a", json!({"entry": "abort", "why": "showing a visitor"})).await;
    house.is_later(1);
    let visitors = enter(&house, 50.0).await;
    house.is_later(2);
    let resumed = say(&house, "a", json!({"entry": "resume"})).await;
    assert_eq!((&resumed["steps_done"], &resumed["not_counted"]), (&json!(0), &json!([])), "{resumed}");
    assert_eq!(resumed["standing"], "ready to go on");
    ready(&house, "a").await;
    house.is_later(3);
    let run = enter(&house, 80.0).await;
    assert_ne!(run["id"], visitors["id"]);
    assert_eq!(shown(&house, "a").await["steps"][0]["run"], run["id"]);
}

#[tokio::test]
async fn a_run_that_a_repeat_gave_back_takes_no_step() {
    let house = furnished().await;
    plan(&house, "a", "press").await;
    for (go, entry) in [
        (1, json!({"entry": "repeat", "go": 1, "why": "not yet"})),
        (2, json!({"entry": "skip", "number": 1, "why": "no such piece"})),
    ] {
        ready(&house, "a").await;
        say(&house, "a", entry).await;
        house.is_later(go);
        enter(&house, 50.0).await;
    }
    let shown = shown(&house, "a").await;
    assert_eq!((&shown["not_counted"], &shown["next"]["number"]), (&json!([]), &json!(2)), "{shown}");
}

#[tokio::test]
async fn a_run_takes_its_step_whatever_the_wall_clock_says() {
    let house = furnished().await;
    plan(&house, "dialled", "press").await;
    plan(&house, "measured", "bench").await;
    house.is_later(100);
    ready(&house, "dialled").await;
    ready(&house, "measured").await;
    // The clock steps back by a quarter of a minute, or the first blow is dated before the word.
    house.is_later(85);
    let read = enter(&house, 80.0).await;
    let stream = begin(&house.store, "bench");
    let run = announced(stream, result_with(1, in_force(&house, "bench"), &[]));
    assert!(
        matches!(&run, Write::Run { first_blow_utc_ns, .. } if *first_blow_utc_ns < T0_NS + 100_000_000_000)
    );
    put(&house.store, "bench", vec![opening(stream, 1), run, closed(stream, 1)]);
    assert_eq!(shown(&house, "dialled").await["steps"][0]["run"], read["id"]);
    assert_eq!(shown(&house, "measured").await["steps"][0]["run"], 2);
}

#[tokio::test]
async fn one_run_takes_an_attempt_and_those_after_it_are_for_no_trial() {
    let house = furnished().await;
    plan(&house, "a", "press").await;
    ready(&house, "a").await;
    let first = enter(&house, 80.0).await;
    assert_eq!(first["in_force"]["attempt"], json!({"trial": "a", "step": 1, "attempt": 1}));
    let second = enter(&house, 80.1).await;
    assert!(second["in_force"]["attempt"].is_null(), "{second}");
    let shown = shown(&house, "a").await;
    assert_eq!((&shown["steps"][0]["run"], &shown["not_counted"]), (&first["id"], &json!([])));
    // Who speaks of the battery only does not take the attempt back.
    ready(&house, "a").await;
    let told =
        json!({"who": "Ana", "source": {"kind": "battery", "id": "b1", "rested_v": 20.0, "fresh": true}});
    let used = house.done(Method::POST, "/api/v1/rigs/press/use", told).await;
    assert_eq!(used["in_force"]["attempt"]["attempt"], 2);
}

#[tokio::test]
async fn ready_is_one_transaction_and_refused_whole() {
    let house = furnished().await;
    plan(&house, "a", "press").await;
    let commits = || house.store.writer().health().commits;
    let before = commits();
    ready(&house, "a").await;
    assert_eq!(commits() - before, 1, "tags and attempt are stored together or not at all");
    say(&house, "a", json!({"entry": "repeat", "go": 1, "why": "not yet"})).await;
    assert_eq!(commits() - before, 2);
    // Two devices are ready at the same moment.
    let path = "/api/v1/trials/a/ready";
    let (one, two) = tokio::join!(
        house.ask(Method::POST, path, Some(json!({"who": "Ana", "go": 2}))),
        house.ask(Method::POST, path, Some(json!({"who": "Bo", "go": 2})))
    );
    let taken = [one.0, two.0].into_iter().filter(|status| *status == StatusCode::OK).count();
    assert_eq!(taken, 1, "{one:?} {two:?}");
    assert_eq!(commits() - before, 3, "whoever was second stored nothing");
}

#[tokio::test]
async fn what_the_rig_does_not_know_of_is_awaited_by_nobody_and_tried_again() {
    let house = furnished().await;
    plan(&house, "a", "press").await;
    house.rigs.deaf.store(true, Ordering::Relaxed);
    let (_, told) = house.refused(Method::POST, "/api/v1/trials/a/ready", Some(json!({"who": "Ana"}))).await;
    assert!(told.contains("too many orders are waiting"), "{told}");
    let stands = shown(&house, "a").await;
    assert_eq!((&stands["standing"], &stands["next"]["number"]), (&json!("ready to go on"), &json!(1)));
    assert!(stands["entries"][1]["why"].as_str().unwrap().contains("did not take the tags"), "{stands}");
    assert_eq!(in_force(&house, "press").attempt, None);
    // An automatic trial does not try as fast as it can, says why it is stuck, and goes on when the rig is back.
    say(&house, "a", json!({"entry": "automatic", "on": true})).await;
    let driver = tokio::spawn(walking::follow(house.state.clone()));
    let stuck = || {
        let events = house.store.readers().reader().unwrap().events(100).unwrap();
        events.iter().filter(|event| event.kind == "trial-stuck").count()
    };
    let went_on = async {
        while stuck() < 2 {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        house.rigs.deaf.store(false, Ordering::Relaxed);
        while goes_on(&house, "a").await == 0 {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    };
    assert!(tokio::time::timeout(PATIENCE, went_on).await.is_ok(), "waited in vain");
    driver.abort();
    let given = goes_on(&house, "a").await;
    assert!(given < 20, "{given} attempts");
}

#[tokio::test]
async fn an_automatic_trial_goes_on_though_no_news_reached_anybody() {
    let house = furnished().await;
    plan(&house, "alone", "press").await;
    say(&house, "alone", json!({"entry": "automatic", "on": true})).await;
    let driver = tokio::spawn(walking::follow(house.state.clone()));
    for run in 1..=3 {
        // Only the store hears of it: as where the feed has dropped what it could not hold.
        let tags = in_force(&house, "press");
        let dial = house.rigs_state("press").dial.unwrap();
        let unit = dial.unit;
        let meaning = dial.read(80.0, None).unwrap();
        let reading = Reading::new(dial, (80.0, unit), meaning, ReadingOf::Held, "Ana".into());
        let reading = Box::new(ByHand::new(reading, tags));
        put(&house.store, "press", vec![Write::Reading { utc_ns: T0_NS + run * 1_000_000_000, reading }]);
        let went_on = async {
            while goes_on(&house, "alone").await != run + 1 {
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
        };
        let in_time = tokio::time::timeout(PATIENCE, went_on).await;
        assert!(in_time.is_ok(), "waited in vain for the attempt after run {run}");
    }
    driver.abort();
}
