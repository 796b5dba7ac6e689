//! What a person has checked of each recording: its runs, their tags and flags, and what was lost on the way.
//!
//! Frames hold 10 samples at 1000 samples/s, so that what each fault costs can be counted by hand: a damaged frame
//! 10 samples, half a frame joined to the next 20. Held tension and onsets are held against what was played, which
//! the recordings' heads tell and the measuring side does not know. At 80 samples/s no single blow is seen, and the run
//! says so.

use crate::support::{Recording, all};
use boltscribe::cli::analyze::document;
use serde_json::Value;

/// A run: setup (empty: none), flags besides `nominal`, and which played run it is where it can be compared.
type Run = (&'static str, &'static str, Option<usize>);

struct Fact {
    name: &'static str,
    runs: &'static [Run],
    /// Samples missing between frames.
    missing: u64,
    /// Reasons for which bytes were thrown away.
    discarded: &'static str,
    /// Samples dropped because they had been there.
    repeated: u64,
}

const fn fact(
    name: &'static str,
    runs: &'static [Run],
    missing: u64,
    discarded: &'static str,
    repeated: u64,
) -> Fact {
    Fact { name, runs, missing, discarded, repeated }
}

const FACTS: &[Fact] = &[
    fact("plain-2000", &[("direct", "", Some(0))], 0, "", 0),
    fact("plain-500", &[("direct", "", Some(0))], 0, "", 0),
    fact("two-runs", &[("direct", "", Some(0)), ("direct", "", Some(1))], 0, "", 0),
    fact("setups-between", &[("direct", "", Some(0)), ("ext75", "", Some(1))], 0, "", 0),
    fact("setup-changed", &[("direct", "setup-changed", Some(0))], 0, "", 0),
    fact("untagged", &[("", "no-limit untagged", Some(0))], 0, "", 0),
    fact("over-limit", &[("direct", "over-limit", Some(0))], 0, "", 0),
    fact("no-limit", &[("direct", "no-limit", Some(0))], 0, "", 0),
    fact("not-fresh", &[("direct", "not-fresh", Some(0))], 0, "", 0),
    fact("torque-70", &[("direct", "", Some(0))], 0, "", 0),
    fact("garbage", &[("direct", "gap", Some(0))], 30, "cobs crc", 0),
    fact("bit-flips", &[("direct", "gap", Some(0))], 30, "cobs crc", 0),
    fact("splice", &[("direct", "gap", Some(0))], 60, "cobs crc", 0),
    fact("lost-bytes", &[("direct", "gap", Some(0))], 20, "cobs crc", 0),
    fact("lost-frames", &[("direct", "gap", Some(0))], 40, "", 0),
    fact("lost-second", &[("direct", "interrupted unsettled", None)], 1000, "", 0),
    fact("doubled-frames", &[("direct", "", Some(0))], 0, "", 20),
    fact("wrong-version", &[("direct", "gap", Some(0))], 20, "version", 0),
    fact("overlong", &[("direct", "gap", Some(0))], 10, "overlong", 0),
    fact("reset", &[("direct", "interrupted unsettled", None), ("direct", "", Some(1))], 0, "cobs", 0),
    fact("boot", &[("direct", "", Some(0))], 0, "resync", 0),
    fact("link-lost", &[("direct", "interrupted unsettled", None), ("direct", "", Some(1))], 0, "resync", 0),
    fact("stall", &[("direct", "", Some(0))], 0, "", 0),
    fact("clipped", &[("direct", "clipped", None)], 0, "", 0),
    fact("spikes", &[("direct", "spike", Some(0))], 0, "", 0),
    fact("tick-wrap", &[("direct", "", Some(0))], 0, "", 0),
    fact("second-pull", &[("direct", "re-pulled", Some(0))], 0, "", 0),
    fact("reverse-release", &[("direct", "", Some(0))], 0, "", 0),
    fact("never-released", &[("direct", "", Some(0))], 0, "", 0),
    fact("cut-in-run", &[("direct", "interrupted unsettled", None)], 0, "", 0),
    fact("short-run", &[("direct", "short", Some(0))], 0, "", 0),
    fact("knock", &[("direct", "", Some(0))], 0, "", 0),
    fact("zero-command", &[("direct", "", Some(0))], 0, "", 0),
    fact("lines-banner", &[("direct", "end-estimated", Some(0))], 0, "no-match resync", 0),
    fact("lines-bursts", &[("direct", "end-estimated", Some(0))], 0, "resync", 0),
    fact("lines-decimals", &[("direct", "end-estimated", Some(0))], 0, "resync", 0),
    fact("lines-millis", &[("direct", "end-estimated", Some(0))], 0, "resync", 0),
    fact("lines-micros-wrap", &[("direct", "", Some(0))], 0, "resync", 0),
    fact("lines-tick-kn", &[("direct", "", Some(0))], 0, "resync", 0),
    fact("lines-garbage", &[("direct", "gap spike", Some(0))], 17, "not-text overlong resync", 0),
    fact(
        "lines-reset",
        &[("direct", "interrupted unsettled", None), ("direct", "blows-unsure end-estimated", Some(1))],
        0,
        "no-match resync",
        0,
    ),
];

fn number(object: &Value, key: &str) -> f64 {
    object[key].as_f64().unwrap_or_else(|| panic!("no {key} in {object}"))
}

fn flags(run: &Value) -> String {
    let mut flags: Vec<&str> = run["flags"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(flags.contains(&"nominal"), "every calibration here is nominal: {flags:?}");
    flags.retain(|flag| *flag != "nominal");
    flags.sort_unstable();
    flags.join(" ")
}

fn check(fact: &Fact, recording: &Recording) {
    let name = fact.name;
    let found = document(recording.settings.clone(), &recording.capture.entries).unwrap();
    let runs = found["runs"].as_array().unwrap();
    assert_eq!(runs.len(), fact.runs.len(), "{name}: {runs:#?}");
    for (run, (setup, wanted, played)) in runs.iter().zip(fact.runs) {
        assert_eq!(run["setup"].as_str().unwrap_or_default(), *setup, "{name}");
        assert_eq!(flags(run), *wanted, "{name}");
        if let Some(index) = played {
            as_played(name, recording, run, &recording.played()[*index], *index == 0);
        }
    }
    let counters = &found["counters"];
    assert_eq!(counters["samples_missing"], fact.missing, "{name}: {counters}");
    let reasons: Vec<&str> =
        counters["bytes_discarded"].as_object().unwrap().keys().map(String::as_str).collect();
    assert_eq!(reasons.join(" "), fact.discarded, "{name}");
    assert_eq!(counters["samples_dropped"]["repeated"].as_u64().unwrap_or(0), fact.repeated, "{name}");
}

/// Held within 0.2 %; where the device's clock runs on from sample 0, onsets within 5 ms or 1.5 samples.
fn as_played(name: &str, recording: &Recording, run: &Value, played: &Value, same_clock: bool) {
    let (held, held_true) = (number(run, "held_kN"), number(played, "held_kN"));
    assert!((held / held_true - 1.0).abs() < 0.002, "{name}: held {held}, played {held_true} kN");
    let rate_hz = recording.settings.samples.rate_hz.unwrap();
    if same_clock && recording.carries_ticks() {
        let (first, first_true) = (number(run, "first_blow_s"), number(played, "first_blow_s"));
        // Lines that were thrown away while the port was taken up are no samples: up to two lines.
        let off = (first - first_true).abs();
        assert!(off < 0.005_f64.max(2.5 / rate_hz), "{name}: first blow {first}, played {first_true} s");
    }
    if let (Some(blows), true) = (run["blows"].as_f64(), same_clock) {
        let lost = number(played, "blows") - blows;
        assert!(lost.abs() <= 1.0, "{name}: {blows} blows, played {}", played["blows"]);
    }
    // Full-scale codes, wrong signs and forgotten zeros would all fall outside.
    let peak = number(run, "peak_kN");
    assert!((peak / number(played, "peak_kN") - 1.0).abs() < 0.02, "{name}: peak {peak}");
}

#[test]
fn every_recording_holds_what_a_person_has_checked() {
    let recordings = all();
    let known: Vec<&str> = FACTS.iter().map(|fact| fact.name).collect();
    for recording in &recordings {
        assert!(known.contains(&recording.name.as_str()), "no facts of {}", recording.name);
    }
    for fact in FACTS {
        let recording = recordings.iter().find(|r| r.name == fact.name);
        check(fact, recording.unwrap_or_else(|| panic!("no recording {}", fact.name)));
    }
}
