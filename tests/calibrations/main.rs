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
    bench.start_rig(1, &[]);
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
    let told = bench.fails(1, &nominal);
    assert!(told.contains("expected the line it was before"), "{told}");
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
    assert_eq!(anew["outcomes"][0]["outcome"], "recomputed", "{anew}");
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
        ("--counts-range", "-100,1000", "column 'counts': expected counts from -100 to 1000"),
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
    assert_eq!(text.matches(">up</td>").count(), 11);
    assert!(!text.contains("<script") && !text.contains("http"));
    assert!(bench.fails(1, &words).contains("expected no such file"));
    assert!(bench.fails(1, &["report", "calibration", "other"]).contains("cannot find the calibration"));
}

/// A bolt on the shelf with a measured factor, from invented tightenings around 310 N per N·m.
fn measured_bolt(bench: &Bench) -> serde_json::Value {
    let path = bench.path("bolt.csv");
    let rows = "tightening,torque_Nm,tension_kN\n1,100,30.9\n1,200,61.8\n2,100,32.1\n2,200,64.2\n3,100,30.0\n3,200,60.0\n";
    std::fs::write(&path, rows).unwrap();
    let words = [
        "calibrate",
        "bolt",
        "m20",
        "--file",
        path.to_str().unwrap(),
        "--wrench",
        "hand wrench 3 (invented)",
    ];
    bench.cli(&[&words[..], &["--wrench-uncertainty-percent", "3"]].concat())
}

#[test]
fn a_bolt_factor_is_measured_and_stands_on_the_shelf_with_its_scatter() {
    let bench = Bench::new();
    let found = measured_bolt(&bench);
    // Ratios 309, 321, 300: mean 310, SD 10.536 N per N·m.
    assert!((found["factor_N_per_Nm"].as_f64().unwrap() - 310.0).abs() < 1e-9);
    assert!((found["sd_N_per_Nm"].as_f64().unwrap() - 111.0_f64.sqrt()).abs() < 1e-9);
    assert!((found["factor_lbf_per_lbf_ft"].as_f64().unwrap() - 310.0 * 0.3048).abs() < 1e-9);
    let bolt = bench.cli(&["setup", "list", "bolt"])["bolts"][0].clone();
    assert_eq!((&bolt["factor"]["given"], &bolt["factor"]["tightenings"]), (&"measured".into(), &3.into()));
    assert_eq!(bolt["factor_source"], "hand wrench 3 (invented)");
    assert_eq!(bolt["allowed_kN"], 130.0, "what else was known of it stays");
    let two = bench.path("two.csv");
    std::fs::write(&two, "tightening,torque_Nm,tension_kN\n1,100,30.9\n2,100,32.1\n").unwrap();
    let words = ["calibrate", "bolt", "m20", "--file", two.to_str().unwrap(), "--wrench", "w"];
    let told = bench.fails(2, &[&words[..], &["--wrench-uncertainty-percent", "3"]].concat());
    assert!(told.contains("at least 3 separate tightenings, found 2"), "{told}");
    // A unit slip: torque in lbf ft under a name of N·m, and a scatter that no bolt is calibrated with.
    for (rows, told) in [
        ("1,1000,3.09\n2,1000,3.21\n3,1000,3.0\n", "nut factor from 0.05 to 0.6"),
        ("1,100,30.9\n2,100,12.1\n3,100,60.0\n", "scatter by 70 % (SD): expected at most 25 %"),
    ] {
        let file = bench.path("odd.csv");
        std::fs::write(&file, format!("tightening,torque_Nm,tension_kN\n{rows}")).unwrap();
        let odd = ["calibrate", "bolt", "m20", "--file", file.to_str().unwrap(), "--wrench", "w"];
        let odd = [&odd[..], &["--wrench-uncertainty-percent", "3"]].concat();
        let said = bench.fails(2, &odd);
        assert!(said.contains(told), "{said}");
        assert_eq!(bench.cli(&["setup", "list", "bolt"])["bolts"][0], bolt, "the shelf is as it was");
    }
    let lost = ["calibrate", "bolt", "none", "--file", two.to_str().unwrap(), "--wrench", "w"];
    bench.fails(1, &[&lost[..], &["--wrench-uncertainty-percent", "3"]].concat());
}

#[test]
fn a_bolt_factor_follows_from_friction_and_geometry() {
    let bench = Bench::new();
    let bolt = "setup bolt add m12 --thread M12 --thread-friction 0.12 --bearing-friction 0.12 --bearing-outer-mm 16.63 \
                --hole-mm 13.5";
    bench.cli(&bolt.split_whitespace().collect::<Vec<_>>());
    let shown = bench.cli(&["setup", "list", "bolt"]);
    let bolt = shown["bolts"].as_array().unwrap().iter().find(|bolt| bolt["name"] == "m12").unwrap();
    // ISO 16047: T/F = P/2π + 0.577·µ·d2 + µ·Db/2 with P = 1.75 mm, d2 = 10.863 mm, Db = 15.065 mm.
    let torque_mm = 1.75 / (2.0 * std::f64::consts::PI) + 0.577 * 0.12 * 10.863 + 0.12 * 15.065 / 2.0;
    let factor = bolt["factor"]["factor_N_per_Nm"].as_f64().unwrap();
    assert!((factor / (1000.0 / torque_mm) - 1.0).abs() < 1e-4, "{factor}");
    assert!(bolt["factor_source"].as_str().unwrap().contains("0.12/0.12"), "{bolt}");
    let unified = "setup bolt add u --thread 3/4-10 --thread-friction 0.1 --bearing-friction 0.1 --bearing-outer-mm 27 --hole-mm 20";
    assert!(bench.fails(2, &unified.split(' ').collect::<Vec<_>>()).contains("expected a metric thread"));
}

#[test]
fn budgets_tell_which_line_dominates_and_what_cancels() {
    let mut bench = Bench::new();
    let form = form(&bench, SETTINGS_SLOPE);
    bench.cli(&keep("cell-2024", form.to_str().unwrap(), "2999-12-31"));
    bench.cli(&["calibrate", "use", "cell-2024"]);
    measured_bolt(&bench);
    bench.cli(&["setup", "use", "direct", "--bolt", "m20"]);
    bench.start_rig(3, &[]);
    bench.runs(3);
    let one = bench.cli(&["runs", "budget", "1", "--measure", "held", "--monte-carlo", "200000"]);
    let tension = &one["tension"];
    let number = |value: &serde_json::Value, key: &str| value[key].as_f64().unwrap();
    let squares: f64 =
        tension["lines"].as_array().unwrap().iter().map(|line| number(line, "contribution_kN").powi(2)).sum();
    let u = number(tension, "standard_uncertainty_kN");
    assert!((squares.sqrt() / u - 1.0).abs() < 1e-12, "the lines make the whole");
    // 1.96 times 0.06 % is the least that a reference of 0.12 % (k = 2) leaves.
    let held = number(tension, "value_kN");
    assert!(number(tension, "expanded_uncertainty_kN") > 0.001_17 * held && u < 0.01 * held, "{one}");
    assert_eq!(one["torque"]["dominating"], "bolt factor, this tightening");
    let simulated = number(&one["monte_carlo"]["tension_kN"], "standard_uncertainty");
    assert!((simulated / u - 1.0).abs() < 0.05, "linear lines: {simulated} against {u}");
    let again = bench.cli(&["runs", "budget", "1", "--measure", "held", "--monte-carlo", "200000"]);
    assert_eq!(again["monte_carlo"], one["monte_carlo"], "the same seed, the same trials");

    let ratio = bench.cli(&["runs", "budget", "1", "--measure", "held", "--against", "2,3"])["ratio"].clone();
    assert!((number(&ratio, "value_percent") - 100.0).abs() < 10.0);
    let line =
        ratio["lines"].as_array().unwrap().iter().find(|l| l["line"].as_str().unwrap().contains("cancelled"));
    let apart = number(&ratio, "calibration_line_if_nothing_cancelled_percent");
    assert!(number(line.unwrap(), "contribution_percent") < 0.1 * apart, "{ratio}");
    assert!(ratio["cancels"].to_string().contains("reference standard"));
    bench.fails(1, &["runs", "budget", "99"]);
    assert!(
        bench.fails(2, &["runs", "budget", "1", "--monte-carlo", "5"]).contains("monte_carlo: expected 100")
    );
}

#[test]
fn runs_past_the_last_tightening_of_a_bolt_are_flagged() {
    let mut bench = Bench::new();
    let bolt = "setup bolt add m20 --thread M20x2.5 --class 8.8 --nut-factor 0.17 --due-after 1";
    let added = bench.cli(&bolt.split(' ').collect::<Vec<_>>());
    bench.cli(&["setup", "use", "direct", "--bolt", "m20"]);
    bench.start_rig(2, &[]);
    let runs = bench.runs(2);
    let due = |at: usize| runs[at]["flags"].to_string().contains("bolt-due");
    assert!(!due(0) && due(1), "{runs:?}");
    // ISO 898-1:2013, table 5: proof load of M20, class 8.8, is 147 kN; three quarters are proposed.
    let allowed = bench.cli(&["setup", "list", "bolt"])["bolts"][0]["allowed_kN"].as_f64().unwrap();
    assert!((allowed - 110.25).abs() < 1e-9, "{added}");
    let anew = ["runs", "recompute", "2", "--bolt-figures", "--why", "limit", "--measure-settings"];
    bench.cli(&anew);
    assert!(bench.cli(&["runs", "show", "2"])["flags"].to_string().contains("bolt-due"));
    assert_eq!(bench.cli(&["store", "check"])["ok"], true);
}
