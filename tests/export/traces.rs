//! Samples: a run's file measures equal when it is read back, gaps are gaps, and a day is all there is of it.
//!
//! Files are read back by `analyze` or by the crate `csv`.

use crate::desk::{Desk, INVENTED, RECORDINGS};
use crate::sample::{T0_NS, codes};
use crate::support::all;
use serde_json::Value;

/// The two figures agree to a millionth: single precision holds a tension to 6e-8 of itself, and taking the
/// zero off moves that rounding.
fn close(a: &Value, b: &Value) -> bool {
    match (a.as_f64(), b.as_f64()) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-6 * (1.0 + a.abs()),
        _ => a == b,
    }
}

const FIGURES: [&str; 10] = [
    "first_blow_s",
    "last_blow_s",
    "drive_time_s",
    "blows",
    "blow_rate_hz",
    "peak_kN",
    "peak_time_s",
    "held_kN",
    "plateau_kN",
    "time_constant_s",
];

fn run_of(desk: &Desk, rig: &str) -> Value {
    let listed = desk.done(&["--format", "json", "runs", "list", "--rig", rig]);
    serde_json::from_str::<Value>(&listed).unwrap()["runs"][0].clone()
}

/// Measures an exported file, with the calibration of its recording where `counted`.
fn measured(desk: &Desk, file: &str, rig: &str, counted: bool) -> Value {
    let settings = all().into_iter().find(|r| r.name == rig).unwrap().settings;
    let calibration = settings.calibration.unwrap();
    let gates: Vec<String> = settings.runs.gates_s.iter().map(ToString::to_string).collect();
    let gates = gates.join(",");
    let path = desk.path("cell.json");
    std::fs::write(&path, serde_json::to_string(&calibration).unwrap()).unwrap();
    let range = calibration.range_kn.map(|kn| kn.to_string());
    let mut words = vec!["--format", "json", "analyze", file, "--gate", &gates];
    if counted {
        words.extend(["--calibration", path.to_str().unwrap()]);
    }
    if let Some(range) = &range {
        words.extend(["--range-kN", range]);
    }
    let document: Value = serde_json::from_str(&desk.done(&words)).unwrap();
    assert_eq!(document["runs"].as_array().unwrap().len(), 1, "{document}");
    document["runs"][0].clone()
}

#[test]
fn an_exported_run_measures_equal_from_tension_and_from_counts() {
    let desk = Desk::new();
    for rig in RECORDINGS {
        let run = run_of(&desk, rig);
        let id = run["id"].to_string();
        let file = format!("{rig}.csv");
        desk.done(&["export", "trace", &id, "--out", &file]);
        for counted in [false, true] {
            let again = measured(&desk, &file, rig, counted);
            for key in FIGURES {
                assert!(close(&again[key], &run[key]), "{rig} {counted} {key}: {again:#} {run:#}");
            }
            assert_eq!(
                again["gates"].as_array().map(Vec::len),
                run["gates"].as_array().map(Vec::len),
                "{rig}"
            );
            for (a, b) in again["gates"].as_array().unwrap().iter().zip(run["gates"].as_array().unwrap()) {
                assert!(close(&a["tension_kN"], &b["tension_kN"]), "{rig}: {a} {b}");
            }
            let of_measuring = ["gap", "clipped", "spike", "short", "blows-weak", "unsettled"];
            for flag in of_measuring {
                let has = |run: &Value| run["flags"].as_array().unwrap().iter().any(|f| f == flag);
                assert_eq!(has(&again), has(&run), "{rig} {counted}: {flag}");
            }
        }
    }
}

#[test]
fn a_missing_sample_is_no_row_and_the_head_says_so() {
    let desk = Desk::new();
    let run = run_of(&desk, INVENTED);
    let text = desk.done(&["export", "trace", &run["id"].to_string()]);
    let notes: Vec<&str> = text.lines().take_while(|line| line.starts_with('#')).collect();
    assert!(notes.contains(&"# missing_samples: 0 inside the run; a missing sample is no row"), "{notes:#?}");
    assert!(notes.iter().any(|note| note.starts_with("# calibration: {\"id\":\"cell-1\"")), "{notes:#?}");
    let run_seq = run["rig_run"].as_u64().unwrap() as u32;
    let body: Vec<&str> = text.lines().skip(notes.len() + 1).collect();
    let all = codes(run_seq, 1200);
    let first = u64::from(run_seq) * 20_000;
    let expected: Vec<(u64, i32)> = (0..1200_u64)
        // The sample blocks say that samples 503 and 504 lack.
        .filter(|at| !(503..505).contains(at))
        .map(|at| (first + at, all[at as usize]))
        .collect();
    let found: Vec<(u64, i32)> = body
        .iter()
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let sample = cells[0].parse::<f64>().unwrap() * 2000.0;
            assert!((sample - sample.round()).abs() < 1e-5);
            let counts: i32 = cells[2].parse().unwrap();
            let zero_kn = 123.0 / 7.0 / 1000.0;
            let kn: f64 = cells[1].parse().unwrap();
            assert!((kn - (-0.1 + 1e-4 * f64::from(counts) - zero_kn)).abs() < 1e-9, "{line}");
            (sample.round() as u64, counts)
        })
        .collect();
    assert_eq!(found, expected);
    let plain = desk.done(&["export", "trace", &run["id"].to_string(), "--no-notes"]);
    assert!(plain.starts_with("time_s,tension_kN,counts\r\n"));
}

/// Rows of a range as (name, cell) maps.
fn readings(desk: &Desk, words: &[&str]) -> Vec<std::collections::BTreeMap<String, String>> {
    let mut line = vec!["export", "trace", "--no-notes"];
    line.extend(words);
    let text = desk.done(&line);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    reader.deserialize().map(|row| row.unwrap()).collect()
}

#[test]
fn a_stretch_of_time_holds_every_sample_of_its_runs_and_idle_time_around_them_in_order() {
    let desk = Desk::new();
    for rig in RECORDINGS {
        let whole = readings(&desk, &["--rig", rig, "--from", "2026-01-01", "--to", "2026-01-02"]);
        let run = run_of(&desk, rig);
        let trace = desk.done(&["export", "trace", &run["id"].to_string(), "--no-notes"]);
        let of_run: Vec<&str> =
            whole.iter().filter(|row| !row["run"].is_empty()).map(|row| row["counts"].as_str()).collect();
        let expected: Vec<&str> = trace.lines().skip(1).map(|line| line.split(',').nth(2).unwrap()).collect();
        assert_eq!(of_run, expected, "{rig}");
        assert!(whole.iter().any(|row| row["run"].is_empty()), "{rig}: no idle time");
        let times: Vec<f64> = whole.iter().map(|row| row["time_s"].parse().unwrap()).collect();
        assert!(times.is_sorted_by(|a, b| a < b), "{rig}");
        for row in &whole {
            let utc: jiff::Timestamp = row["utc"].parse().unwrap();
            let since_ns = utc.as_nanosecond() - i128::from(T0_NS);
            let time_s: f64 = row["time_s"].parse().unwrap();
            assert!((since_ns as f64 * 1e-9 - time_s).abs() < 1e-6, "{rig}: {row:?}");
            let reading = |name: &str| row[name].parse::<f64>().unwrap();
            assert!(reading("reading_min_kN") <= reading("reading_kN"), "{row:?}");
            assert!(reading("reading_kN") <= reading("reading_max_kN"), "{row:?}");
        }
        // Half of it, cut at a time: every row of the whole that lies there, and no other.
        let cut = &whole[whole.len() / 2]["utc"];
        let before = readings(&desk, &["--rig", rig, "--from", "2026-01-01", "--to", cut]);
        let after = readings(&desk, &["--rig", rig, "--from", cut, "--to", "2026-01-02"]);
        assert_eq!(before.len() + after.len(), whole.len(), "{rig}");
        assert_eq!([before, after].concat(), whole, "{rig}");
    }
}

#[test]
fn thinned_runs_keep_their_greatest_and_least_sample() {
    let desk = Desk::new();
    let words = ["--rig", "plain-2000", "--from", "2026-01-01", "--to", "2026-01-02"];
    let full = readings(&desk, &words);
    let thinned = readings(&desk, &[&words[..], &["--thinned"]].concat());
    assert!(thinned.len() * 20 < full.len(), "{} of {}", thinned.len(), full.len());
    let extreme = |rows: &[std::collections::BTreeMap<String, String>]| {
        let runs = rows.iter().filter(|row| !row["run"].is_empty());
        let ends = runs.map(|row| {
            (row["counts_min"].parse::<i64>().unwrap(), row["counts_max"].parse::<i64>().unwrap())
        });
        ends.fold((i64::MAX, i64::MIN), |(low, high), (min, max)| (low.min(min), high.max(max)))
    };
    assert_eq!(extreme(&full), extreme(&thinned));
}

#[test]
fn what_is_not_there_is_said() {
    let desk = Desk::new();
    assert!(desk.fails(1, &["export", "trace", "9999"]).contains("cannot find run 9999"));
    let words = ["export", "trace", "--rig", "nobody", "--from", "2026-01-01", "--to", "2026-01-02"];
    assert!(desk.fails(1, &words).contains("cannot find the rig 'nobody'"));
    let words = ["export", "trace", "--rig", "knock", "--from", "2026-01-02", "--to", "2026-01-01"];
    assert!(desk.fails(2, &words).contains("expected a time after"));
    desk.fails(2, &["export", "trace"]);
    desk.fails(2, &["export", "trace", "1", "--rig", "knock"]);
    assert!(desk.fails(2, &["export", "runs", "--from", "soon"]).contains("expected a time such as"));
}
