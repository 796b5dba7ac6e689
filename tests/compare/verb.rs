//! `boltscribe compare` as a script meets it: its document, its errors, its exit codes.
//! The real program runs; expected numbers are those of `regression`.

use super::regression::TWO_TOOLS;
use super::support::assert_near;
use serde_json::Value;
use std::process::{Command, Output, Stdio};

fn run(text: &str, words: &[&str]) -> (Output, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("runs.csv");
    std::fs::write(&file, text).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribe"));
    command.arg("compare").arg(&file).args(words).stdin(Stdio::null());
    (command.output().unwrap(), folder)
}

fn json(text: &str, words: &[&str]) -> Value {
    let mut all = vec!["--baseline", "direct", "--format", "json"];
    all.extend(words);
    let (output, _folder) = run(text, &all);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Runs what must fail with 2 and nothing on standard output.
fn refused(text: &str, words: &[&str]) -> String {
    let (output, _folder) = run(text, words);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!((output.status.code(), output.stdout.len()), (Some(2), 0), "{said}");
    said
}

#[test]
fn the_document_has_every_key_and_the_numbers_of_the_library() {
    let document =
        json(TWO_TOOLS, &["--drift", "linear", "--difference", "2", "--measure", "gate", "--gate-s", "3"]);
    assert_eq!((document["measure"].as_str(), document["gate_s"].as_f64()), (Some("gate"), Some(3.0)));
    assert_eq!(
        (document["drift"].as_str(), document["degrees_of_freedom"].as_u64()),
        (Some("linear"), Some(12))
    );
    assert_near("sd", document["residual_sd_percent"].as_f64().unwrap(), 0.7806511443881946, 1e-12);
    assert_near("drift", document["drift_percent_per_hour"].as_f64().unwrap(), -1.4925330525170644, 1e-11);
    let setups = document["setups"].as_array().unwrap();
    assert_eq!(setups.len(), 7);
    let ext = setups.iter().find(|s| s["setup"] == "ext" && s["tool"] == "w2").unwrap();
    for (key, expected) in [
        ("percent_of_baseline", 97.56378714841848),
        ("low", 96.06020583357663),
        ("high", 99.09090325324672),
        ("p_value", 0.004717345072883108),
        ("p_adjusted", 0.008890730176726258),
    ] {
        assert_near(key, ext[key].as_f64().unwrap(), expected, 2e-6);
    }
    assert_eq!((ext["runs"].as_u64(), ext["verdict"].as_str()), (Some(2), Some("lower")));
    assert!(document["planning"]["runs_each"].as_u64().is_some_and(|n| n > 2));
    assert_eq!(setups[0]["verdict"], "baseline");
}

#[test]
fn a_run_left_out_is_named_and_numbers_that_cannot_be_had_are_null() {
    let text = "run,time_s,setup,torque_Nm,excluded\n1,0,direct,400,\n2,60,ext,380,\n3,120,ext,,socket slipped\n4,180,direct,401,\n";
    let document = json(text, &[]);
    assert_eq!(document["measure"], "torque");
    assert_eq!(document["excluded"], serde_json::json!([{ "run": 3, "why": "socket slipped" }]));
    let ext = &document["setups"][1];
    assert_eq!(ext["tool"], Value::Null);
    for key in ["low", "high", "p_value", "p_adjusted", "verdict", "low_simultaneous", "low_total"] {
        assert_eq!(ext[key], Value::Null, "{key}");
    }
    assert!(ext["note"].as_str().is_some_and(|n| n.contains("fewer than 3")));
    assert!(ext["percent_of_baseline"].as_f64().is_some_and(|p| p > 94.0 && p < 96.0));
}

#[test]
fn a_table_of_a_coarse_dial_is_judged_by_its_step_and_says_so() {
    let text = "run,time_s,setup,tension_kN\n1,0,direct,80\n2,60,ext,77.5\n3,120,direct,80\n4,180,ext,77.5\n\
                5,240,direct,80\n6,300,ext,77.5\n7,360,direct,80\n";
    let document = json(text, &[]);
    assert_eq!(document["resolution"]["counts"], true);
    let ext = &document["setups"][1];
    assert!(ext["low"].as_f64().unwrap() < 96.5 && ext["p_value"].as_f64().unwrap() > 0.0, "{ext}");
    let finer = json(text, &["--resolution", "0.1"]);
    assert!(finer["setups"][1]["low"].as_f64().unwrap() > ext["low"].as_f64().unwrap());
    let (output, _folder) = run(text, &["--baseline", "direct"]);
    assert!(String::from_utf8_lossy(&output.stderr).contains("less than half of one"));
    assert!(refused(text, &["--baseline", "direct", "--resolution", "0"]).contains("--resolution: expected"));
}

#[test]
fn a_simulation_of_just_these_runs_is_counted_and_told_with_its_seed() {
    let words = ["--simulate", "400", "--seed", "7"];
    let document = json(TWO_TOOLS, &words);
    let found = &document["simulation"];
    assert_eq!((found["trials"].as_u64(), found["seed"].as_u64()), (Some(400), Some(7)));
    assert_near("sd", found["sd_percent"].as_f64().unwrap(), 0.7806511443881946, 1e-12);
    let scenarios = found["scenarios"].as_array().unwrap();
    assert_eq!((scenarios.len(), scenarios[0]["scenario"].as_str()), (4, Some("no drift")));
    assert!(scenarios[0]["coverage_percent"].as_f64().is_some_and(|p| p > 90.0), "{found}");
    assert_eq!(json(TWO_TOOLS, &words)["simulation"], *found, "the same seed, the same counts");
    let (output, _folder) = run(TWO_TOOLS, &["--baseline", "direct", "--simulate", "100"]);
    assert!(
        String::from_utf8_lossy(&output.stderr)
            .contains("100 simulated trials of just this order of runs (seed 1")
    );
    let base = ["--baseline", "direct"];
    assert!(refused(TWO_TOOLS, &[&base[..], &["--simulate", "5"]].concat()).contains("100 to 100000 trials"));
    let brackets = [&base[..], &["--simulate", "100", "--drift", "bracket"]].concat();
    assert!(refused(&TWO_TOOLS.replace("2,151,ext,w1", "2,151,direct,w1"), &brackets).contains("--"));
}

#[test]
fn people_get_a_table_the_measure_and_the_caution() {
    let (output, _folder) = run(TWO_TOOLS, &["--baseline", "direct"]);
    let (out, err) = (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap());
    assert!(out.contains("lower") && out.contains("93.18"), "{out}");
    // The limits that the verdict goes by, and no p that looks like none at all.
    assert!(out.contains("96.36") && out.contains("99.58") && !out.contains("99.26"), "{out}");
    assert!(out.contains("< 0.0001") && !out.contains("0.0000"), "{out}");
    for words in
        ["measure: tension", "a straight line of -1.49 % an hour", "verdict: from p adjusted", "caution:"]
    {
        assert!(err.contains(words), "{err}");
    }
    let (output, _folder) = run(TWO_TOOLS, &["--baseline", "direct", "--format", "csv"]);
    let csv = String::from_utf8(output.stdout).unwrap();
    assert!(csv.starts_with("setup,tool,runs,percent_of_baseline,low,high,low_simultaneous"), "{csv}");
    assert!(csv.lines().count() == 8 && !String::from_utf8_lossy(&output.stderr).contains("caution"));
}

#[test]
fn each_fault_names_file_line_and_column() {
    let head = "run,time_s,setup,tension_kN\n";
    for (rows, words, expected) in [
        ("1,0,direct,80\n1,1,ext,78\n", &["--baseline", "direct"][..], "runs.csv: line 3, column 'run': "),
        ("1,5,direct,80\n2,5,ext,78\n", &["--baseline", "direct"], "runs.csv: line 3, column 'time_s': "),
        (
            "1,0,direct,80\n2,5,ext,-78\n",
            &["--baseline", "direct"],
            "runs.csv: line 3, column 'tension_kN': ",
        ),
        (
            "1,0,direct,80\n2,5,ext,nan\n",
            &["--baseline", "direct"],
            "runs.csv: line 3, column 'tension_kN': ",
        ),
        ("1,0,direct,80\n2,5,ext,78\n", &["--baseline", "dierct"], "did you mean `--baseline 'direct'`?"),
        (
            "1,0,direct,80\n2,5,direct,78\n",
            &["--baseline", "direct"],
            "runs.csv: column 'setup': expected at least one",
        ),
        (
            "1,0,direct,80\n2,5,ext,78\n",
            &["--baseline", "direct", "--drift", "linear"],
            "runs.csv: column 'time_s': cannot tell a drift",
        ),
        (
            "1,0,direct,80\n2,5,ext,78\n",
            &["--baseline", "direct", "--drift", "bracket"],
            "runs.csv: line 3, column 'setup': run 2: expected runs of the baseline before and after it, found none after",
        ),
        ("1,0,direct,80\n2,5,ext,78\n", &["--baseline", "direct", "--alpha", "0.7"], "--alpha: expected"),
        (
            "1,0,direct,80\n2,5,ext,78\n",
            &["--baseline", "direct", "--by", "piece"],
            "expected a column 'pieces'",
        ),
        ("1,0,direct,80\n2,5,ext,78\n", &["--baseline", "direct", "--measure", "gate"], "--gate-s"),
    ] {
        let said = refused(&format!("{head}{rows}"), words);
        assert!(said.contains(expected), "{rows:?} {words:?}: {said}");
    }
    let tools = "run,time_s,setup,tool,tension_kN\n1,0,direct,a,80\n2,5,ext,a,78\n3,9,ext,b,78\n";
    let said = refused(tools, &["--baseline", "direct"]);
    assert!(said.contains("runs of the baseline 'direct' with the tool 'b'"), "{said}");
    let (output, _folder) = run("", &["--baseline", "direct", "--format", "json"]);
    assert_eq!(output.status.code(), Some(2));
    let missing = Command::new(env!("CARGO_BIN_EXE_boltscribe"))
        .args(["compare", "no-such-file.csv", "--baseline", "direct"])
        .output()
        .unwrap();
    assert_eq!(missing.status.code(), Some(3));
}

#[test]
fn pieces_are_shown_with_what_they_leave() {
    let text = "run,time_s,setup,tension_kN,pieces\n1,0,direct,80,socket\n2,1,ext,78,ext+socket\n3,2,joint,72,joint+socket\n\
                4,3,both,70.5,ext+joint+socket\n5,4,direct,80.4,socket\n6,5,ext,77.6,ext+socket\n7,6,joint,72.3,joint+socket\n\
                8,7,both,70,ext+joint+socket\n9,8,direct,79.9,socket\n";
    let document = json(text, &["--by", "piece", "--predict", "joint + socket"]);
    let pieces = document["pieces"].as_array().unwrap();
    assert_eq!(pieces.len(), 2);
    assert_eq!(
        (pieces[0]["piece"].as_str(), document["in_every_chain"][0].as_str()),
        (Some("ext"), Some("socket"))
    );
    let joint = pieces[1]["percent"].as_f64().unwrap();
    assert_near("tried", document["prediction"]["percent_of_baseline"].as_f64().unwrap(), joint, 1e-12);
    let (output, _folder) = run(text, &["--baseline", "direct", "--by", "piece"]);
    assert!(String::from_utf8_lossy(&output.stderr).contains("nothing speaks against losses that multiply"));
}
