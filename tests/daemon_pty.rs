//! The daemon over a pseudo terminal: a virtual rig plays an invented scenario, the real binaries listen.
//!
//! The truth comes from the virtual rig's own file; what measures knows nothing of it.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[path = "daemon_pty/bench.rs"]
#[allow(dead_code)]
mod bench;

use bench::{Bench, wait_for};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::Duration;

#[test]
fn every_run_is_measured_as_it_was_played_and_carries_what_was_in_force() {
    let mut bench = Bench::new();
    bench.start_rig(3, &[]);
    let runs = bench.runs(3);
    let truth = bench.truth(3);
    for (run, truth) in runs.iter().zip(&truth) {
        let (held, held_true) = (number(run, "held_kN"), number(truth, "held_kN"));
        assert!((held / held_true - 1.0).abs() < 0.002, "held {held} kN, played {held_true} kN");
        for time in ["first_blow_s", "last_blow_s"] {
            // The stream's sample 0 is the device's first sample.
            assert!((number(run, time) - number(truth, time)).abs() < 0.005, "{time}: {run} {truth}");
        }
        assert_eq!(run["blows"], truth["blows"]);
        assert_eq!((&run["setup"], &run["bolt"]), (&"direct".into(), &"m20".into()));
        assert_eq!(run["simulated"], true);
    }
    // The names of the rows are the store's numbers, without gaps.
    let ids: Vec<_> = runs.iter().map(|run| run["id"].as_u64().unwrap()).collect();
    assert_eq!(ids, [1, 2, 3]);
    assert_eq!(bench.stop_daemon(), Some(0));
    assert_eq!(bench.cli(&["store", "check"])["ok"], true);
}

#[test]
fn a_virtual_rig_whose_time_runs_as_fast_as_the_walls_is_simulated_too() {
    let mut bench = Bench::new();
    let mut watch = bench.spawn_cli(&["rig", "watch", "bench"]);
    let lines = BufReader::new(watch.stdout.take().unwrap()).lines();
    bench.start_rig_at(1.0, 0, &[]);
    wait_for("the device's answer", || bench.rig()["identity"].is_object());
    let rig = bench.rig();
    assert_eq!((&rig["identity"]["time_scale"], &rig["simulated"]), (&1.into(), &true.into()), "{rig}");
    let told = lines
        .map(|line| serde_json::from_str::<Value>(&line.unwrap()).unwrap())
        .find(|message| message["event"] == "identity")
        .unwrap();
    assert_eq!(told["simulated"], true, "{told}");
    watch.kill().unwrap();
    watch.wait().unwrap();
    let identity = bench.stored("SELECT COUNT(*) FROM identities WHERE simulated = 1 AND time_scale = 1");
    assert!(identity >= 1, "the store knows it too");
}

#[test]
fn a_killed_daemon_keeps_the_open_run_as_interrupted_and_goes_on_counting() {
    let mut bench = Bench::new();
    // Slow enough that the 250 ms which may be lost are a small part of a run.
    bench.start_rig_at(2.0, 4, &[]);
    bench.runs(1);
    wait_for("a second run well under way", || {
        let rig = bench.rig();
        rig["running"] == 2 && rig["tension_kN"].as_f64().is_some_and(|kn| kn > 60.0)
    });
    bench.kill_daemon();
    bench.start_daemon();
    let runs = bench.runs(2);
    let ids: Vec<_> = runs.iter().map(|run| run["id"].as_u64().unwrap()).collect();
    assert_eq!(ids, (1..=ids.len() as u64).collect::<Vec<_>>());
    assert!(!flags(&runs[0]).contains(&"interrupted".to_owned()), "{runs:?}");
    assert!(flags(&runs[1]).contains(&"interrupted".to_owned()), "{runs:?}");
    assert_eq!((&runs[1]["excluded"], &runs[1]["setup"]), (&true.into(), &"direct".into()));
    // 60 kN are reached about a second after the first blow; at most half a device second is lost.
    assert!(number(&runs[1], "peak_kN") > 40.0, "{runs:?}");
    assert_eq!(bench.cli(&["setup", "show"])["rigs"][0]["in_force"]["setup"], "direct");
    assert_eq!(bench.stop_daemon(), Some(0));
    assert_eq!(bench.cli(&["store", "check"])["ok"], true);
}

#[test]
fn a_port_that_goes_away_and_comes_back_is_taken_up_again() {
    let mut bench = Bench::new();
    wait_for("the missing port as a state", || bench.rig()["link"] == "down");
    assert!(bench.rig()["link_detail"].as_str().unwrap().contains("no such port"));
    bench.start_rig(3, &["hang-up@40:300"]);
    wait_for("the open port", || bench.rig()["link"] == "up");
    wait_for("a second opening", || {
        bench.cli(&["doctor"])["daemon"]["counters"]["boltscribe_port_opens_total"].as_u64() >= Some(2)
    });
    wait_for("samples after it", || bench.rig()["stale"] == false && bench.rig()["link"] == "up");
    let counters = bench.cli(&["doctor"])["daemon"]["counters"].clone();
    assert_eq!(counters["boltscribe_port_losses_total"], 1, "{counters}");
}

#[test]
fn a_rig_that_stops_sampling_is_started_again_shown_and_reported_once() {
    let mut bench = Bench::new();
    // Idle, in wall time: a restart that nobody hears of, then a converter that stands for 4 s.
    bench.start_rig_at(1.0, 0, &["quiet-reset@6:300", "halt@12:4000"]);
    let again = "SELECT COUNT(*) FROM events WHERE kind = 'started-again'";
    wait_for("the restart", || bench.stored(again) == 1);
    wait_for("samples after it", || bench.rig()["stale"] == false);
    wait_for("the halted converter in the rig's state", || {
        bench.rig()["link_detail"].as_str().is_some_and(|words| words.contains("sends no samples"))
    });
    let troubles = bench.cli(&["doctor"])["troubles"].to_string();
    assert!(troubles.contains("sends no samples"), "{troubles}");
    wait_for("samples after it", || bench.rig()["stale"] == false && bench.rig()["link_detail"].is_null());
    // Once for each of the two; silence and its end at most once for each too, and once at the first opening.
    assert_eq!(bench.stored(again), 2);
    let stale = bench.stored("SELECT COUNT(*) FROM events WHERE kind = 'stale'");
    assert!((2..=6).contains(&stale), "{stale}");
}

/// Standard errors that take no line: a pipe whose reader is gone, one that nobody empties, a full disk.
fn unwritable() -> Vec<(&'static str, std::process::Stdio, Option<std::io::PipeReader>)> {
    use std::os::fd::AsFd;
    let (closed, full) = (std::io::pipe().unwrap(), std::io::pipe().unwrap());
    drop(closed.0);
    let fd = full.1.as_fd();
    let flags = rustix::fs::fcntl_getfl(fd).unwrap();
    rustix::fs::fcntl_setfl(fd, flags | rustix::fs::OFlags::NONBLOCK).unwrap();
    while (&full.1).write(&[b'x'; 4096]).is_ok() {}
    while (&full.1).write(b"x").is_ok() {}
    rustix::fs::fcntl_setfl(full.1.as_fd(), flags).unwrap();
    let disk = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    vec![
        ("closed pipe", closed.1.into(), None),
        ("full pipe", full.1.into(), Some(full.0)),
        ("full disk", disk.into(), None),
    ]
}

#[test]
fn a_log_that_cannot_be_written_stops_no_measuring_and_is_told() {
    for (what, stderr, reader) in unwritable() {
        let mut bench = Bench::new();
        assert_eq!(bench.stop_daemon(), Some(0));
        bench.start_daemon_logging_to(stderr);
        bench.start_rig(3, &[]);
        let runs = bench.runs(3);
        assert!(runs.iter().all(|run| run["held_kN"].is_number()), "{what}: {runs:?}");
        wait_for("a live reading", || bench.rig()["tension_kN"].is_number());
        let doctor = bench.cli(&["doctor"]);
        if reader.is_none() {
            // Lines wait in memory where a pipe is full: some thousands, before any is lost.
            let lost = doctor["daemon"]["counters"]["boltscribe_log_lines_dropped_total"].as_u64();
            assert!(lost > Some(2), "{what}: {lost:?}");
            assert!(doctor["troubles"].to_string().contains("lines of the daemon's log"), "{what}: {doctor}");
        }
        // It ends in time and in order, whatever the log does.
        assert_eq!(bench.stop_daemon(), Some(0), "{what}");
    }
}

#[test]
fn a_zero_is_taken_from_the_idle_reading_and_outlives_a_restart() {
    let mut bench = Bench::new();
    bench.start_rig(0, &[]);
    wait_for("a live reading", || bench.rig()["tension_kN"].is_number());
    let zeroed = bench.zero();
    // The scenario's zero is 1.2 kN, and drifts by 0.01 kN a minute.
    let zero_kn = number(&zeroed, "zero_kN");
    assert!((zero_kn - 1.2).abs() < 0.05, "{zeroed}");
    assert_eq!(bench.stop_daemon(), Some(0));
    assert_eq!(bench.rig()["zero_kN"].as_f64(), Some(zero_kn), "known while no daemon runs");
    bench.start_daemon();
    wait_for("the zero of the last start", || bench.rig()["zero_kN"].as_f64() == Some(zero_kn));
}

#[test]
fn watching_tells_of_a_run_by_its_number_once_it_is_stored() {
    let mut bench = Bench::new();
    let mut watch = bench.spawn_cli(&["rig", "watch", "bench"]);
    let lines = BufReader::new(watch.stdout.take().unwrap()).lines();
    bench.start_rig(1, &[]);
    let (mut kinds, mut stored) = (Vec::new(), false);
    for line in lines {
        let message: Value = serde_json::from_str(&line.unwrap()).unwrap();
        assert_eq!(message["rig"], "bench");
        if message["news"] == "run" {
            stored = true;
            assert_eq!(message["id"], 1);
            assert_eq!(bench.cli(&["runs", "show", "1"])["id"], 1);
            break;
        }
        kinds.push(message["event"].as_str().unwrap_or("link").to_owned());
    }
    watch.kill().unwrap();
    watch.wait().unwrap();
    assert!(stored, "nothing was told of a run");
    for kind in ["live", "started", "blow"] {
        assert!(kinds.iter().any(|k| k == kind), "no {kind} among {kinds:?}");
    }
}

#[test]
fn the_address_that_is_logged_answers_and_changes_from_elsewhere_are_refused() {
    let bench = Bench::new();
    let ask = |request: &str| {
        let mut stream = TcpStream::connect(&bench.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer
    };
    let host = &bench.address;
    let answer = ask(&format!("GET /api/v1/status HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"));
    assert!(answer.starts_with("HTTP/1.1 200") && answer.contains("\"rigs\""), "{answer}");
    let foreign = format!(
        "POST /api/v1/rigs/bench/zero HTTP/1.1\r\nHost: {host}\r\nOrigin: http://elsewhere.test\r\n\
         Content-Type: application/json\r\nContent-Length: 13\r\nConnection: close\r\n\r\n{{\"who\":\"eve\"}}"
    );
    assert!(ask(&foreign).starts_with("HTTP/1.1 403"));
}

#[test]
fn a_second_daemon_on_the_same_store_is_refused_and_names_the_first() {
    let bench = Bench::new();
    let output = bench.second_daemon();
    assert_eq!(output.status.code(), Some(3));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.contains(&bench.pid().to_string()), "{said}");
    assert_eq!(bench.rig()["rig"], "bench", "the first one goes on");
}

#[test]
fn settings_that_cannot_be_used_are_refused_before_the_store_is_touched() {
    let output = bench::check_config("[[rig]]\nname = \"a\"\nport = \"/dev/x\"\ninstrument = \"framd\"\n");
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.contains("settings.toml:4:"), "{said}");
    assert_eq!(bench::check_config("").status.code(), Some(0));
}

fn number(object: &Value, key: &str) -> f64 {
    object[key].as_f64().unwrap_or_else(|| panic!("no {key} in {object}"))
}

fn flags(run: &Value) -> Vec<String> {
    run["flags"].as_array().unwrap().iter().map(|flag| flag.as_str().unwrap().to_owned()).collect()
}
