//! What comes from a simulated device carries the mark in every answer, whatever the speed of its clock.
//!
//! The device names itself as SPEC.md says a virtual rig must, its time runs as fast as the wall's. All figures are
//! invented.

use crate::sample::{T0_NS, begin, calibration, in_force, put, result_with, whole};
use crate::support::House;
use axum::http::Method;
use boltscribe::store::{Recomputed, RunId, StreamId, Write};
use serde_json::{Value, json};

fn told(stream: StreamId, firmware: &str, simulated: bool) -> Write {
    let (serial, firmware) = ("7".to_owned(), firmware.to_owned());
    Write::Identity { stream, utc_ns: T0_NS, serial, firmware, time_scale: 1, simulated }
}

fn virtual_rig(house: &House, rig: &str) -> StreamId {
    let stream = begin(&house.store, rig);
    put(&house.store, rig, vec![told(stream, "virtual-rig", true)]);
    stream
}

fn real_rig(house: &House, rig: &str) -> StreamId {
    let stream = begin(&house.store, rig);
    put(&house.store, rig, vec![told(stream, "amplifier 1.0", false)]);
    stream
}

fn run(house: &House, stream: StreamId, run_seq: u32, setup: &str, tool: &str) {
    put(&house.store, "bench", whole(stream, result_with(run_seq, in_force(setup, tool), &[]), 8000));
}

/// Marks of all runs, oldest first.
async fn marks(house: &House, query: &str) -> Vec<bool> {
    let list = house.get(&format!("/api/v1/runs?limit=100{query}")).await;
    list["runs"].as_array().unwrap().iter().rev().map(|run| run["simulated"] == true).collect()
}

#[tokio::test]
async fn lists_and_runs_carry_the_mark_and_runs_of_hardware_do_not() {
    let house = House::new();
    let (invented, real) = (virtual_rig(&house, "bench"), real_rig(&house, "real"));
    run(&house, invented, 1, "bare", "wrench");
    run(&house, real, 1, "bare", "wrench");
    assert_eq!(marks(&house, "").await, [true, false]);
    assert_eq!(marks(&house, "&original=true").await, [true, false]);
    for (id, mark) in [(1, true), (2, false)] {
        assert_eq!(house.get(&format!("/api/v1/runs/{id}")).await["simulated"], mark);
    }
}

#[tokio::test]
async fn a_run_keeps_the_mark_of_the_device_that_it_came_from() {
    let house = House::new();
    let stream = virtual_rig(&house, "bench");
    run(&house, stream, 1, "bare", "wrench");
    // Another device at the same line.
    put(&house.store, "bench", vec![told(stream, "amplifier 1.0", false)]);
    run(&house, stream, 2, "bare", "wrench");
    put(&house.store, "bench", vec![told(stream, "virtual-rig", true)]);
    assert_eq!(marks(&house, "").await, [true, false]);
    let again = Recomputed {
        run: RunId(1),
        utc_ns: T0_NS,
        who: "Ana".into(),
        why: "again".into(),
        program: "0".into(),
        settings: Default::default(),
        line: calibration(),
        result: result_with(1, in_force("bare", "wrench"), &[]),
    };
    put(&house.store, "", vec![Write::Recompute(Box::new(again))]);
    assert_eq!(marks(&house, "").await, [true, false], "measured again");
}

#[tokio::test]
async fn a_run_that_was_stored_before_the_device_told_who_it_is_has_the_mark_once_it_does() {
    let house = House::new();
    let stream = begin(&house.store, "bench");
    run(&house, stream, 1, "bare", "wrench");
    assert_eq!(marks(&house, "").await, [false], "not known");
    put(&house.store, "bench", vec![told(stream, "virtual-rig", true)]);
    assert_eq!(marks(&house, "").await, [true]);
}

#[tokio::test]
async fn rows_of_older_programs_are_read_by_the_same_rule() {
    // Firmware, time scale, whether it is simulated.
    let cases = [("virtual-rig", 1, true), ("amplifier 1.0", 20, true), ("amplifier 1.0", 1, false)];
    for (firmware, time_scale, mark) in cases {
        let house = House::new();
        let stream = begin(&house.store, "bench");
        run(&house, stream, 1, "bare", "wrench");
        let db = rusqlite::Connection::open(house.store_file()).unwrap();
        let sql = "INSERT INTO identities (stream, utc_ns, serial, firmware, time_scale) VALUES (?1, 0, '7', ?2, ?3)";
        db.execute(sql, rusqlite::params![stream.0, firmware, time_scale]).unwrap();
        assert_eq!(marks(&house, "").await, [mark], "{firmware}, {time_scale}");
    }
}

/// A house with a tool on a virtual rig, another on hardware, and a calibration against a reference.
async fn with_tools() -> House {
    let house = House::new();
    let load = |at: u32| {
        let counts = 20_000.0 * f64::from(at);
        let ripple = [0.001, -0.001, 0.0005, -0.0004, 0.0002][at as usize % 5];
        json!({"series": "one", "up": true, "reference_kN": counts * 1e-4 + ripple, "counts": counts,
               "position_deg": 0.0})
    };
    let taken = json!({
        "name": "cell-1", "degree": 1, "loads": (1..=50).map(load).collect::<Vec<_>>(),
        "reference": {"standard": "ring 7", "certificate": "c-1", "uncertainty_percent": 0.1, "valid_until": "2027-01-31"},
        "performed_on": "2025-12-30", "performed_by": "Ana", "valid_until": "2026-12-30",
    });
    house.created("/api/v1/calibrations", json!({"who": "Ana", "calibration": taken})).await;
    house.furnish().await;
    let (invented, real) = (virtual_rig(&house, "bench"), real_rig(&house, "real"));
    for run_seq in 1..=4 {
        run(&house, invented, run_seq, "bare", "wrench");
        run(&house, real, run_seq, "bare", "big");
    }
    house
}

#[tokio::test]
async fn the_incoming_check_a_history_and_a_budget_say_that_runs_are_simulated() {
    let house = with_tools().await;
    for (tool, mark) in [("wrench", true), ("big", false)] {
        for question in ["acceptance?measure=held&limit_kN=70", "history?measure=held"] {
            let shown = house.get(&format!("/api/v1/tools/{tool}/{question}")).await;
            assert_eq!(shown["simulated"], mark, "{tool} {question}: {shown}");
        }
    }
    // A reference tool counts as much as the one that is judged.
    let shared = "acceptance?measure=held&reference=wrench&percent=95";
    assert_eq!(house.get(&format!("/api/v1/tools/big/{shared}")).await["simulated"], true);
    for (run, mark) in [(1, true), (2, false)] {
        let shown = house.get(&format!("/api/v1/budget?measure=held&runs={run}")).await;
        assert_eq!(shown["simulated"], mark, "{shown}");
    }
    let chart = |tool: &str| format!("/api/v1/tools/{tool}/history/chart?measure=held");
    assert!(house.text(&chart("wrench")).await.contains("simulated"));
    assert!(!house.text(&chart("big")).await.contains("simulated"));
}

/// Walks a trial of a baseline and one setup on this rig; gives its name.
async fn walked(house: &House, rig: &str, stream: StreamId) -> String {
    let name = format!("on-{rig}");
    let plan = json!({"name": name, "rig": rig, "tools": ["wrench"], "baseline": "bare", "setups": ["long"],
                      "repeats": 2, "seed": 7, "baseline_every": 2, "measure": "held"});
    house.created("/api/v1/trials", json!({"who": "Ana", "plan": plan})).await;
    let path = format!("/api/v1/trials/{name}");
    for run_seq in 20..30 {
        house.is_later(10 * i64::from(run_seq) - 1);
        if house.get(&path).await["standing"] == "done" {
            break;
        }
        house.done(Method::POST, &format!("{path}/ready"), json!({"who": "Ana"})).await;
        let tags = house.store.readers().reader().unwrap().in_force(rig).unwrap().unwrap().in_force;
        put(&house.store, rig, whole(stream, result_with(run_seq, tags, &[]), 8000));
    }
    assert_eq!(house.get(&path).await["standing"], "done");
    name
}

#[tokio::test]
async fn a_comparison_its_pieces_and_the_report_say_that_runs_are_simulated() {
    for mark in [true, false] {
        let house = House::new();
        house.furnish().await;
        let bolt = json!({"name": "M20", "thread": "M20x2.5", "diameter_mm": 20.0});
        house.done(Method::PUT, "/api/v1/shelf/bolts/M20", json!({"who": "Ana", "document": bolt})).await;
        let stream = if mark { virtual_rig(&house, "bench") } else { real_rig(&house, "bench") };
        let name = walked(&house, "bench", stream).await;
        let path = format!("/api/v1/trials/{name}");
        for question in ["comparison", "comparison?by=piece"] {
            let shown: Value = house.get(&format!("{path}/{question}")).await;
            assert_eq!(shown["simulated"], mark, "{question}: {shown}");
        }
        let report = house.text(&format!("{path}/report")).await;
        assert_eq!(report.contains("Simulated: these runs come from a virtual rig"), mark);
    }
}
