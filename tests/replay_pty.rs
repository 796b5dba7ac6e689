//! Recordings through real pseudo terminals to the real daemon: the runs in its store are equal to the last bit.
//!
//! All rigs run in one daemon at once; each gets its bytes in writes of another size, as fast as it reads. The
//! replayer answers nothing, for the recorded bytes hold the answers. Recordings with commands or changes of the
//! line after the first byte are left to tests/captures, which knows at which sample they came.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[path = "replay_pty/bench.rs"]
mod bench;
#[path = "captures/support.rs"]
#[allow(dead_code)]
mod support;

use bench::Bench;
use boltscribe::capture::Entry;
use boltscribe::cli::analyze::document;
use serde_json::Value;
use support::{Recording, all};

/// Keys that `analyze` and the store both have and that a replay must leave untouched.
const KEYS: [&str; 14] = [
    "first_blow_s",
    "last_blow_s",
    "drive_time_s",
    "blows",
    "blow_rate_hz",
    "peak_kN",
    "peak_time_s",
    "held_kN",
    "plateau_kN",
    "plateau_se_kN",
    "time_constant_s",
    "setup",
    "tool",
    "equivalent_torque_Nm",
];

/// Commands and the line's coming stand before the first byte, and the samples carry ticks.
fn can_be_replayed(recording: &Recording) -> bool {
    let entries = recording.capture.entries.iter();
    let later = entries.skip_while(|(_, entry)| !matches!(entry, Entry::Bytes(_)));
    recording.carries_ticks() && later.into_iter().all(|(_, entry)| matches!(entry, Entry::Bytes(_)))
}

fn gates(run: &Value) -> Vec<(Value, Value)> {
    let gates = run["gates"].as_array().unwrap().iter();
    gates.map(|gate| (gate["after_s"].clone(), gate["tension_kN"].clone())).collect()
}

fn flags(run: &Value) -> Vec<&str> {
    let mut flags: Vec<&str> = run["flags"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    flags.sort_unstable();
    flags
}

#[test]
fn runs_in_the_store_equal_the_recordings_to_the_last_bit() {
    let recordings: Vec<Recording> = all().into_iter().filter(can_be_replayed).take(32).collect();
    assert!(recordings.len() >= 28, "{}", recordings.len());
    let mut bench = Bench::new(&recordings);
    bench.replay(&recordings);
    bench.stop();
    let all_stored = bench.runs();
    let mut compared = 0;
    for recording in &recordings {
        let expected = document(recording.settings.clone(), &recording.capture.entries).unwrap();
        let expected = expected["runs"].as_array().unwrap();
        let stored: Vec<&Value> =
            all_stored.iter().filter(|run| run["rig"] == recording.name.as_str()).collect();
        assert_eq!(stored.len(), expected.len(), "{}: {stored:#?}", recording.name);
        for (stored, expected) in stored.iter().zip(expected) {
            for key in KEYS {
                assert_eq!(stored[key], expected[key], "{} {key}", recording.name);
            }
            assert_eq!(gates(stored), gates(expected), "{}", recording.name);
            // Bytes come as fast as the line takes them, so that the device's ticks contradict the clock here.
            let mut stored_flags = flags(stored);
            stored_flags.retain(|flag| *flag != "device-clock");
            assert_eq!(stored_flags, flags(expected), "{}", recording.name);
            compared += 1;
        }
    }
    assert!(compared >= recordings.len(), "{compared} runs of {} recordings", recordings.len());
}
