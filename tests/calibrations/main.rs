//! Calibrations against a reference in the store: kept once, used by rigs, remembered by runs, reported.
//!
//! All loads here are invented.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[path = "../daemon_pty/bench.rs"]
#[allow(dead_code)]
mod bench;

use bench::{Bench, wait_for};
use std::path::PathBuf;

/// kN a count in the settings of the rig.
const SETTINGS_SLOPE: f64 = 5e-5;

/// A form whose line is `slope` kN a count, with a little scatter, to 200 kN.
fn form(bench: &Bench, slope: f64) -> PathBuf {
    let path = bench.path("cell.csv");
    let mut text = "# invented\nseries,direction,reference_kN,counts\n".to_owned();
    for i in 0..=10 {
        let counts = (f64::from(20 * i) / slope).round() + f64::from(i % 3);
        text.push_str(&format!("1,up,{},{counts}\n", 20 * i));
    }
    for i in (0..10).rev() {
        let counts = (f64::from(20 * i) / slope).round() + 4.0;
        text.push_str(&format!("1,down,{},{counts}\n", 20 * i));
    }
    std::fs::write(&path, text).unwrap();
    path
}

fn keep<'a>(name: &'a str, form: &'a str, until: &'a str) -> Vec<&'a str> {
    vec![
        "calibrate",
        "keep",
        name,
        form,
        "--on",
        "2024-03-01",
        "--valid-until",
        until,
        "--standard",
        "reference cell 7 (invented)",
        "--certificate",
        "K-0815",
        "--uncertainty-percent",
        "0.12",
        "--by",
        "ana",
    ]
}

#[test]
fn a_calibration_is_kept_once_put_in_force_and_remembered_by_runs() {
    let mut bench = Bench::new();
    bench.start_rig(2, &[]);
    let before = &bench.runs(1)[0];
    let form = form(&bench, SETTINGS_SLOPE * 1.02);
    let kept = bench.cli(&keep("cell-2024", form.to_str().unwrap(), "2999-12-31"));
    assert_eq!(kept["expired"], false);
    let llf = kept["llf_kN"].as_f64().unwrap();
    let same = bench.cli(&["calibrate", "fit", form.to_str().unwrap()]);
    assert_eq!(kept["line"]["coefficients_kN"], same["coefficients"], "as `calibrate fit` says");
    assert!((llf / same["llf_kN"].as_f64().unwrap() - 1.0).abs() < 1e-12);

    let again = keep("cell-2024", form.to_str().unwrap(), "2999-12-31");
    assert!(bench.fails(1, &again).contains("expected a new name"));
    assert!(bench.fails(1, &["calibrate", "use", "cell-1999"]).contains("cannot find the calibration"));

    wait_for("no run", || {
        let rig = bench.rig();
        rig["driving"] == false && rig["running"].is_null()
    });
    let nominal = ["calibrate", "nominal", "cell-2024", "--kN-per-count", "1e-4"];
    assert!(bench.fails(1, &nominal).contains("expected the line it was before"));
    bench.cli(&["calibrate", "use", "cell-2024"]);
    wait_for("the calibration", || bench.rig()["calibration"] == "cell-2024");
    assert!(!bench.rig()["standing"].to_string().contains("expired"));
    let listed = bench.cli(&["calibrate", "list"]);
    assert_eq!(listed["calibrations"][0]["rigs"][0], "bench");
    assert_eq!(bench.cli(&["calibrate", "show", "cell-2024"])["taken"]["reference"]["certificate"], "K-0815");

    // The first run under it: 2 % more tension a count than before.
    let id = before["id"].to_string();
    let words = ["runs", "recompute", id.as_str(), "--calibration", "cell-2024", "--why", "calibrated"];
    let anew = bench.cli(&words);
    assert_eq!(anew["outcomes"][0]["outcome"], "changed", "{anew}");
    let run = bench.cli(&["runs", "show", &id]);
    assert_eq!(run["calibration"], "cell-2024");
    let ratio = run["held_kN"].as_f64().unwrap() / before["held_kN"].as_f64().unwrap();
    assert!((ratio / 1.02 - 1.0).abs() < 1e-4, "{ratio}");
    assert_eq!(bench.cli(&["store", "check"])["ok"], true);
}

#[test]
fn runs_after_the_last_day_are_flagged_and_the_rig_says_so() {
    let mut bench = Bench::new();
    let form = form(&bench, SETTINGS_SLOPE);
    bench.cli(&keep("cell-2024", form.to_str().unwrap(), "2025-02-28"));
    assert_eq!(bench.cli(&["calibrate", "use", "cell-2024"])["expired"], true);
    bench.start_rig(1, &[]);
    let run = &bench.runs(1)[0];
    assert_eq!(run["calibration"], "cell-2024");
    assert!(run["flags"].to_string().contains("expired"), "{run}");
    assert_eq!(run["excluded"], false, "kept, shown, and counted: percent of baseline is not touched");
    assert!(bench.rig()["standing"].to_string().contains("calibration expired"));
    // After a restart too.
    bench.stop_daemon();
    bench.start_daemon();
    assert!(bench.rig()["standing"].to_string().contains("calibration expired"));
}

#[test]
fn what_cannot_be_kept_is_told_and_nothing_is_stored() {
    let bench = Bench::new();
    let form = form(&bench, SETTINGS_SLOPE);
    let form = form.to_str().unwrap();
    fn with<'a>(form: &'a str, name: &'a str, value: &'a str) -> Vec<&'a str> {
        let mut words = keep("c", form, "2999-12-31");
        match words.iter().position(|word| *word == name) {
            Some(at) => words[at + 1] = value,
            None => words.extend([name, value]),
        }
        words
    }
    for (name, value, said) in [
        ("--valid-until", "2020-01-01", "valid_until: expected a day from 2024-03-01 on"),
        ("--on", "2998-01-01", "performed_on: expected no day after today"),
        ("--uncertainty-percent", "0", "reference.uncertainty_percent: expected above 0"),
        (
            "--standard-valid-until",
            "2023-12-31",
            "reference.valid_until: expected a certificate that held on",
        ),
        ("--certificate", " ", "reference.certificate: expected a text"),
        ("--degree", "4", "expected a degree from 1 to 3"),
    ] {
        let told = bench.fails(2, &with(form, name, value));
        assert!(told.contains(said), "{name} {value}: {told}");
    }
    let bad = bench.path("bad.csv");
    std::fs::write(&bad, "series,direction,reference_kN,counts\n1,up,0,0\n1,up,20,\"180,5\"\n").unwrap();
    let told = bench.fails(2, &keep("c", bad.to_str().unwrap(), "2999-12-31"));
    assert!(told.contains("bad.csv: line 3, column 'counts'"), "{told}");
    assert_eq!(bench.cli(&["calibrate", "list"])["calibrations"], serde_json::json!([]));
}

#[test]
fn a_report_is_one_file_that_stands_alone() {
    let bench = Bench::new();
    let form = form(&bench, SETTINGS_SLOPE);
    bench.cli(&keep("cell-2024", form.to_str().unwrap(), "2999-12-31"));
    let out = bench.path("report.html");
    let words = ["report", "calibration", "cell-2024", "--out", out.to_str().unwrap()];
    bench.done(&words);
    let text = std::fs::read_to_string(&out).unwrap();
    for part in
        ["Calibration cell-2024", "K-0815", "performed by", "residual standard deviation", "qualified people"]
    {
        assert!(text.contains(part), "{part}");
    }
    assert_eq!(text.matches("<td>up</td>").count(), 11);
    assert!(!text.contains("<script") && !text.contains("http"));
    assert!(bench.fails(1, &words).contains("expected no such file"));
    assert!(bench.fails(1, &["report", "calibration", "other"]).contains("cannot find the calibration"));
}
