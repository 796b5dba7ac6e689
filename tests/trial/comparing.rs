//! Comparisons of stored trials: limits with the calibration's part, and what cannot be compared.
//!
//! All loads and figures are invented.

use super::bench::{Bench, wait_for};
use super::{dial, plan, step};
use serde_json::{Value, json};

/// Keeps a calibration of this degree under this name: 5e-5 kN a count, slightly bent, with scatter.
fn keep(bench: &Bench, name: &str, degree: &str) {
    let path = bench.path(name);
    let mut text = "series,direction,reference_kN,counts\n".to_owned();
    for i in 0..=10 {
        let counts =
            f64::from(i * 400_000) * (1.0 + 0.001 * f64::from(i)) + [0.0, 900.0, -700.0][i as usize % 3];
        text.push_str(&format!("1,up,{},{counts:.0}\n", 20 * i));
    }
    std::fs::write(&path, text).unwrap();
    let words = "--on 2024-03-01 --valid-until 2999-12-31 --standard cell --certificate K-1 --by ana";
    let mut all = vec!["calibrate", "keep", name, path.to_str().unwrap(), "--degree", degree];
    all.extend(["--uncertainty-percent", "0.1"]);
    all.extend(words.split(' '));
    bench.cli(&all);
}

fn number(row: &Value, key: &str) -> f64 {
    row[key].as_f64().unwrap_or_else(|| panic!("{key}: {row}"))
}

#[test]
fn the_calibration_of_the_runs_widens_the_limits_by_what_does_not_cancel() {
    let mut bench = Bench::new();
    for words in ["setup chain add again socket", "setup tool add wrench --anvil 3/4 --source mains"] {
        bench.cli(&words.split(' ').collect::<Vec<_>>());
    }
    for (name, degree) in [("straight", "1"), ("bent", "2")] {
        keep(&bench, name, degree);
    }
    let planned = "trial new alone --tools wrench --baseline direct --setups again --repeats 3 --seed 3";
    bench.cli(&planned.split(' ').collect::<Vec<_>>());
    bench.cli(&["trial", "automatic"]);
    bench.start_rig_over_and_over(12);
    wait_for("the trial", || bench.cli(&["trial", "next"])["standing"] == "done");

    // The settings' line is nominal: nothing is known of it, which is told.
    let nominal = bench.cli(&["compare", "alone"]);
    let again = nominal["setups"].as_array().unwrap().iter().find(|row| row["setup"] == "again").unwrap();
    assert!(again["low"].is_number() && again["low_total"].is_null(), "{nominal}");
    assert!(nominal["notes"].to_string().contains("is not against a reference"), "{nominal}");
    assert_eq!((&nominal["trial"], &nominal["beside"]["measure"]), (&json!("alone"), &json!("plateau")));

    let ids: Vec<String> = bench.cli(&["trial", "show", "alone"])["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|step| step["run"].to_string())
        .collect();
    let mut widths = Vec::new();
    for name in ["straight", "bent"] {
        let mut words = vec!["runs", "recompute"];
        words.extend(ids.iter().map(String::as_str));
        words.extend(["--calibration", name, "--why", "calibrated"]);
        bench.cli(&words);
        let found = bench.cli(&["compare", "alone"]);
        let again = found["setups"].as_array().unwrap().iter().find(|row| row["setup"] == "again").unwrap();
        let (low, high) = (number(again, "low"), number(again, "high"));
        let (low_total, high_total) = (number(again, "low_total"), number(again, "high_total"));
        assert!(low_total <= low && high_total >= high, "{again}");
        assert!(found["notes"].to_string().contains("gain and reference cancel"), "{found}");
        assert!(found["setups"][0]["low_total"].is_null(), "a baseline has no limits");
        widths.push((low - low_total, found));
    }
    // With the zero taken off, a straight line's slope cancels wholly; what is left is how far the bent cell lies off
    // it at both loads. The bent line lies nearer.
    let (straight, bent) = (widths[0].0, widths[1].0);
    assert!(bent > 0.0 && straight > 10.0 * bent && straight < 0.1, "{straight} {bent} {}", widths[1].1);

    // One run measured with another line: there is no common one.
    bench.cli(&["runs", "recompute", &ids[0], "--calibration", "straight", "--why", "other"]);
    let mixed = bench.cli(&["compare", "alone"]);
    assert!(mixed["setups"][1]["low_total"].is_null(), "{mixed}");
    assert!(mixed["notes"].to_string().contains("not all on one calibration"), "{mixed}");
    assert!(
        mixed["notes"].to_string().contains("the difference of their gains, which does not cancel"),
        "{mixed}"
    );
    let told = bench.done_talk(&["compare", "alone", "--drift", "bracket"]);
    assert!(told.contains("not all on one calibration") && told.contains("caution:"), "{told}");
}

#[test]
fn a_trial_whose_setup_left_the_shelf_can_be_looked_at_and_goes_on_without_it() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "1"]));
    for kind_and_name in [["chain", "direct"], ["tool", "wrench"]] {
        desk.done(&[&["setup", "remove"], &kind_and_name[..], &["--why", "lost"]].concat());
    }
    assert_eq!(desk.json(&["trial", "list"])["trials"][0]["standing"], "ready to go on");
    let next = desk.json(&["trial", "next"])["next"].clone();
    assert_eq!(
        (&next["setup"], &next["pieces"], &next["source"]),
        (&json!("direct"), &json!([]), &json!(null))
    );
    let told = desk.fails(2, &["trial", "ready"]);
    assert!(told.contains("cannot find 'wrench' among the tools"), "{told}");
    desk.json(&["trial", "skip", "--step", "1", "--why", "lost"]);
    assert_eq!(desk.json(&["trial", "next"])["next"]["number"], 2);
}

#[test]
fn a_run_of_a_step_that_was_left_out_does_not_count_and_says_why() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "1"]));
    desk.json(&["trial", "ready"]);
    let left = desk.json(&["trial", "skip", "--step", "1", "--why", "cracked"]);
    assert_eq!((&left["standing"], &left["next"]["number"]), (&json!("ready to go on"), &json!(2)));
    // What is run from then on is for no step.
    desk.json(&["runs", "enter", "80.1"]);
    let shown = desk.json(&["trial", "show"]);
    assert_eq!((&shown["steps_done"], &shown["not_counted"]), (&json!(0), &json!([])));
    desk.json(&["trial", "ready"]);
    desk.json(&["runs", "enter", "80.2"]);
    let left = desk.json(&["trial", "skip", "--step", "2", "--why", "cracked"]);
    assert_eq!((&left["steps_done"], &left["not_counted"][0]["run"]), (&json!(0), &json!(2)));
    assert_eq!(left["not_counted"][0]["why"], "its step was left out: cracked", "{left}");
}

#[test]
fn a_trial_that_is_looked_at_before_its_end_says_what_that_does_to_the_risk() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "4", "--looks", "2,4", "--baseline-every", "3"]));
    let steps = desk.json(&["trial", "show"])["steps"].clone();
    let begins_third = steps.as_array().unwrap().iter().position(|s| s["block"] == 3).unwrap();
    for _ in 0..begins_third {
        step(&desk);
    }
    let at_look = desk.json(&["compare", "couplings", "--drift", "linear"]);
    let notes = at_look["arrangement"]["notes"].to_string();
    assert!(notes.contains("look 1 of 2, after 2 of 4 repeats"), "{notes}");
    // Of 5 %, what the O'Brien-Fleming type spends on half of the runs: 4 * (1 - Phi(2.2414/sqrt(1/2))).
    let alpha = at_look["alpha"].as_f64().unwrap();
    assert!((alpha - 0.003_05).abs() < 1e-4, "{alpha}");
    step(&desk);
    let between = desk.json(&["compare", "couplings", "--drift", "linear"]);
    assert!(between["arrangement"]["notes"].to_string().contains("no look is planned here"), "{between}");
    assert_eq!((&between["alpha"], &between["arrangement"]["risk_holds"]), (&json!(0.05), &json!(false)));
    while desk.json(&["trial", "next"])["standing"] != "done" {
        step(&desk);
    }
    let whole = desk.json(&["compare", "couplings"]);
    assert!((whole["alpha"].as_f64().unwrap() + alpha - 0.05).abs() < 1e-12, "{whole}");
}

#[test]
fn what_a_trial_cannot_answer_is_told() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "2"]));
    while desk.json(&["trial", "next"])["standing"] != "done" {
        step(&desk);
    }
    let runs = desk.json(&["runs", "list", "--all"])["runs"].clone();
    let of = |setup: &str| -> Vec<String> {
        let all = runs.as_array().unwrap().iter().filter(|run| setup.is_empty() || run["setup"] == setup);
        all.map(|run| run["id"].to_string()).collect()
    };
    for (words, code, said) in [
        (&["--baseline", "nothing"][..], 2, "expected a baseline among the setups"),
        (&["--measure", "gate"], 1, "expected runs with a figure 'gate', found none"),
        (&["--measure", "held", "--gate-s", "3"], 2, "--gate-s: expected a file"),
        (&["--by", "piece", "--drift", "bracket"], 2, "found bracket"),
        (&["--by", "piece", "--predict", "a + "], 2, "--predict: expected pieces joined by '+'"),
        (&["--alpha", "0.6"], 2, "--alpha: expected a risk"),
        (&["--difference", "0"], 2, "--difference: expected percent"),
    ] {
        let told = desk.fails(code, &[&["compare", "couplings"], words].concat());
        assert!(told.contains(said), "{words:?}: {told}");
    }
    let asked = desk.json(&["compare", "couplings", "--difference", "1", "--expected-sd", "0.5"]);
    assert!(asked["planning"]["runs_each"].as_u64().is_some_and(|n| n > 2), "{asked}");
    assert!(asked["setups"][1]["detectable_percent"].is_number() && asked["beside"].is_null(), "{asked}");
    let untried =
        desk.json(&["compare", "couplings", "--by", "piece", "--predict", "long + long + socket 30"]);
    assert!(untried["prediction"]["note"].as_str().unwrap().contains("more often"), "{untried}");

    for id in of("direct") {
        desk.done(&["runs", "exclude", &id, "--why", "cell slipped"]);
    }
    let told = desk.fails(2, &["compare", "couplings"]);
    assert!(
        told.contains(
            "expected runs of the baseline 'direct' with the tool 'wrench', found none that counts"
        ),
        "{told}"
    );
    for id in of("ext").iter().chain(&of("other")) {
        desk.done(&["runs", "exclude", id, "--why", "cell slipped"]);
    }
    assert!(desk.fails(2, &["compare", "couplings"]).contains("expected runs that count, found none"));
}

#[test]
fn air_counts_as_fresh_inside_its_band_only() {
    let desk = dial();
    desk.done(&["setup", "tool", "add", "air tool", "--anvil", "1/2", "--source", "air"]);
    let band = |low_high: &'static str| {
        let mut words = plan(&["--repeats", "1", "--fresh", "each-run", "--air-kPa", low_high]);
        words[4] = "air tool";
        words
    };
    assert!(desk.fails(2, &band("650,590")).contains("air_kPa: expected two pressures that rise"));
    assert!(desk.fails(2, &band("650")).contains("--air-kPa: expected two pressures"));
    desk.json(&band("590,650"));
    let told = desk.fails(1, &["trial", "ready", "--air-kPa", "560"]);
    assert!(told.contains("air from 590 to 650 kPa, found 560 kPa"), "{told}");
    assert_eq!(desk.json(&["trial", "next"])["standing"], "ready to go on", "nothing was kept");
    assert!(desk.done(&["trial", "next"]).0.contains("a fresh source is due (air, 590 to 650 kPa)"));
    desk.json(&["trial", "ready", "--air-kPa", "600"]);
    let run = desk.json(&["runs", "enter", "80.1"]);
    assert_eq!(run["in_force"]["source"]["dynamic_kPa"], 600.0, "{run}");
}
