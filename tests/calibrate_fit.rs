//! `calibrate fit` by the real program: what it answers, how it refuses, with which exit code.
//!
//! Loads here are invented. Published values are held in `tests/metrology`.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use serde_json::Value;
use std::io::Write;
use std::process::{Command, Output};

/// Runs the program on a file with this text.
fn fit(text: &str, options: &[&str]) -> Output {
    let mut file = tempfile::NamedTempFile::with_suffix(".csv").unwrap();
    file.write_all(text.as_bytes()).unwrap();
    Command::new(env!("CARGO_BIN_EXE_boltscribe"))
        .args(["calibrate", "fit"])
        .arg(file.path())
        .args(options)
        .output()
        .unwrap()
}

fn document(text: &str, options: &[&str]) -> Value {
    let out = fit(text, &[options, &["--format", "json"]].concat());
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

fn refusal(text: &str, options: &[&str]) -> (i32, String) {
    let out = fit(text, options);
    assert!(out.stdout.is_empty(), "{}", String::from_utf8_lossy(&out.stdout));
    (out.status.code().unwrap(), String::from_utf8(out.stderr).unwrap())
}

/// Three series on a line of 1 kN for 2,500 counts, with a little scatter, and two come down.
fn loads(unit: &str, per_kn: f64) -> String {
    let mut text = format!("# an invented cell\nseries,direction,{unit},counts,position_deg\n");
    for (series, position) in [(1, 0), (2, 0), (3, 120), (4, 240)] {
        for step in 0..=8_i32 {
            let scatter = [0, 3, -2, 1, -1, 2, -3, 1, 0][step as usize] + series;
            let force = 10.0 * f64::from(step) * per_kn;
            text += &format!("{series},up,{force},{},{position}\n", 25_000 * step + scatter);
        }
        for step in (0..8).rev().filter(|_| series > 2) {
            let force = 10.0 * f64::from(step) * per_kn;
            text += &format!("{series},down,{force},{},{position}\n", 25_000 * step + series + 9);
        }
    }
    text
}

fn figure(document: &Value, key: &str) -> f64 {
    document[key].as_f64().unwrap_or_else(|| panic!("{key} in {document}"))
}

#[test]
fn loads_give_the_line_its_errors_and_the_figures_of_each_step() {
    let d = document(&loads("reference_kN", 1.0), &["--degree", "1"]);
    let slope = d["coefficients"][1].as_f64().unwrap();
    assert!((slope - 4e-4).abs() < 1e-8, "{slope}");
    assert_eq!((d["degrees_of_freedom"].as_u64(), d["points"].as_u64()), (Some(50), Some(52)));
    assert!((figure(&d, "llf_kN") - 2.4 * figure(&d, "residual_sd_kN")).abs() < 1e-15);
    assert_eq!(d["steps"].as_array().unwrap().len(), 8);
    assert_eq!(d["steps"][0]["class"], "00");
    assert!(d["standard_errors"][1].as_f64().unwrap() > 0.0);
    let pounds = document(&loads("reference_lbf", 224.808_943_099_710_5), &[]);
    let same = pounds["coefficients"][1].as_f64().unwrap();
    assert!((same / slope - 1.0).abs() < 1e-12, "lbf are turned into kN");
}

#[test]
fn without_positions_mounting_figures_are_null_with_a_note() {
    let without: String = loads("reference_kN", 1.0)
        .lines()
        .map(|l| {
            if l.starts_with('#') { format!("{l}\n") } else { format!("{}\n", l.rsplit_once(',').unwrap().0) }
        })
        .collect();
    let d = document(&without, &[]);
    assert!(d["steps"][0]["reproducibility_percent"].is_null() && d["class"].is_null());
    assert!(d["steps"][0]["repeatability_percent"].is_f64());
    assert!(d["notes"].to_string().contains("position_deg"), "{}", d["notes"]);
}

#[test]
fn deflection_on_force_answers_in_counts_and_kilonewtons() {
    let d = document(&loads("reference_kN", 1.0), &["--deflection-on-force"]);
    assert_eq!(d["model"], "deflection-on-force");
    assert!((figure(&d, "llf_kN") / figure(&d, "llf_counts") / 4e-4 - 1.0).abs() < 1e-3);
    assert!(figure(&d, "class_AA_from_kN") >= figure(&d, "class_A_from_kN"));
    let coarse = document(&loads("reference_kN", 1.0), &["--deflection-on-force", "--resolution", "1000"]);
    assert_eq!(coarse["resolution_governs"], true);
    assert!((figure(&coarse, "llf_kN") - 0.4).abs() < 1e-4);
}

#[test]
fn any_two_columns_are_fitted_without_the_checks_of_loads() {
    let text = "a,b,c\n3,-1,x\n1,5,y\n1,4,z\n2,0,w\n-4,9,v\n";
    let d = document(text, &["--x", "b", "--y", "a", "--degree", "2"]);
    assert_eq!(
        (d["x"].as_str(), d["y"].as_str(), d["degrees_of_freedom"].as_u64()),
        (Some("b"), Some("a"), Some(2))
    );
    assert!(d.get("residual_sd_kN").is_none() && d["residual_sd"].is_f64());
    let (code, said) = refusal(text, &["--x", "b", "--y", "c"]);
    assert!(code == 2 && said.contains("line 2, column 'c': expected a finite number"), "{said}");
    let (code, said) = refusal(text, &["--x", "b", "--y", "a", "--degree", "4"]);
    assert!(code == 2 && said.contains("expected at least 6 points for degree 4, found 5"), "{said}");
}

#[test]
fn a_slip_is_pointed_out_by_its_line_and_kept() {
    let slip = loads("reference_kN", 1.0).replace("2,up,40,100001,0", "2,up,40,100901,0");
    let d = document(&slip, &[]);
    assert!(d["notes"].to_string().contains("line 16: stands off the line"), "{}", d["notes"]);
    assert_eq!(d["points"], 52);
}

#[test]
fn each_refusal_names_file_line_and_column_with_its_exit_code() {
    let good = loads("reference_kN", 1.0);
    let head = "series,direction,reference_kN,counts\n";
    let cases: [(String, &[&str], i32, &str); 12] = [
        (
            good.replacen("1,up,20,", "1,up,5,", 1),
            &[],
            2,
            "line 5, column 'reference_kN': expected a greater load",
        ),
        (
            good.replacen("1,up,20,", "1,up,10,", 1),
            &[],
            2,
            "line 5, column 'reference_kN': expected a load only once",
        ),
        (
            good.replacen("1,up,20,", "1,up,-20,", 1),
            &[],
            2,
            "line 5, column 'reference_kN': expected a load of at least 0",
        ),
        (good.replacen("1,up,20,", "1,up,NaN,", 1), &[], 2, "line 5, column 'reference_kN'"),
        (good.replacen("1,up,20,", "1,up,\"20,0\",", 1), &[], 2, "line 5, column 'reference_kN'"),
        (good.replace(',', ";"), &[], 2, "line 2: expected commas"),
        (
            good.clone(),
            &["--counts-range", "-32768,32767"],
            2,
            "line 5, column 'counts': expected counts from",
        ),
        (
            format!("{head}1,up,10,100\n1,up,20,200\n"),
            &[],
            2,
            "lines 2 to 3, column 'counts': expected at least 3 points",
        ),
        (
            format!("{head}1,up,10,100\n2,up,10,101\n3,up,10,99\n"),
            &[],
            2,
            "line 4, column 'reference_kN': expected at least two different loads",
        ),
        (
            format!("{head}1,up,25000,10\n1,up,50000,20\n1,up,75000,30\n"),
            &[],
            2,
            "line 1, column 'counts': expected counts that move",
        ),
        (good.replace("reference_kN", "load"), &[], 2, "line 2, column 'reference_kN': expected one of"),
        (
            format!("{head}1,up,0,0\n1,up,5,900\n1,up,10,1000\n1,up,15,800\n1,up,20,600\n"),
            &["--degree", "2"],
            1,
            "column 'counts': expected a line of degree 2 that rises or falls throughout",
        ),
    ];
    for (text, options, code, expected) in cases {
        let (found, said) = refusal(&text, options);
        assert!(
            found == code && said.contains(".csv: ") && said.contains(expected),
            "{expected}\n{found}: {said}"
        );
    }
}

#[test]
fn options_that_do_not_go_together_and_missing_files_have_their_codes() {
    let good = loads("reference_kN", 1.0);
    for options in [
        &["--degree", "4"][..],
        &["--degree", "0"],
        &["--x", "counts"],
        &["--x", "counts", "--y", "counts"],
        &["--resolution", "1"],
        &["--counts-range", "5,1"],
        &["--deflection-on-force", "--degree", "6"],
    ] {
        assert_eq!(refusal(&good, options).0, 2, "{options:?}");
    }
    let missing = Command::new(env!("CARGO_BIN_EXE_boltscribe"))
        .args(["calibrate", "fit", "no-such-file.csv"])
        .output()
        .unwrap();
    assert_eq!(missing.status.code(), Some(3));
}

#[test]
fn the_fit_is_a_calibration_for_analyze_and_the_other_models_are_not() {
    let folder = tempfile::tempdir().unwrap();
    let calibration = folder.path().join("cell.json");
    let trace = folder.path().join("trace.csv");
    let rows: String = (0..400).map(|i| format!("{:.3},{}\n", f64::from(i) * 0.01, 100 + i % 3)).collect();
    std::fs::write(&trace, format!("time_s,counts\n{rows}")).unwrap();
    let analyze = || {
        Command::new(env!("CARGO_BIN_EXE_boltscribe"))
            .arg("analyze")
            .arg(&trace)
            .arg("--calibration")
            .arg(&calibration)
            .output()
            .unwrap()
    };
    std::fs::write(&calibration, document(&loads("reference_kN", 1.0), &[]).to_string()).unwrap();
    let out = analyze();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let other = document(&loads("reference_kN", 1.0), &["--deflection-on-force"]);
    std::fs::write(&calibration, other.to_string()).unwrap();
    let out = analyze();
    assert!(out.status.code() == Some(2), "{}", String::from_utf8_lossy(&out.stderr));
}

#[test]
fn people_see_residuals_drawn_and_csv_has_a_row_a_point() {
    let table = fit(&loads("reference_kN", 1.0), &[]);
    let text = String::from_utf8(table.stdout).unwrap();
    assert!(
        text.contains("residual drawn") && text.contains("##########|") && text.contains("llf kN: "),
        "{text}"
    );
    let csv = fit(&loads("reference_kN", 1.0), &["--format", "csv"]);
    assert_eq!(String::from_utf8(csv.stdout).unwrap().lines().count(), 53);
}
