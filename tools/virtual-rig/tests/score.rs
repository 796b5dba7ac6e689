//! The score of measured runs against the truth.
//!
//! Expected percents are worked out from the truth here, not by the code under test.
#![allow(clippy::unwrap_used)] // Test helpers fail by panicking.

use virtual_rig::score::{read_runs, read_truth, score};
use virtual_rig::{Scenario, render};

fn depot() -> (Scenario, Vec<virtual_rig::TruthRun>) {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios/depot.toml");
    let scenario = Scenario::from_toml(&std::fs::read_to_string(path).unwrap()).unwrap();
    let truth = render(&scenario).truth;
    (scenario, truth)
}

#[test]
fn percent_is_the_plain_ratio_of_means_and_excluded_runs_are_left_out() {
    let (_, truth) = depot();
    let runs = read_runs(
        r#"{"runs":[
            {"setup":"direct","tool":"wrench 1","held_kN":80.0,"equivalent_torque_Nm":272.0,"excluded":false,"other":1},
            {"setup":"direct","tool":"wrench 1","held_kN":90.0,"equivalent_torque_Nm":306.0,"excluded":false},
            {"setup":"direct","tool":"wrench 1","held_kN":10.0,"excluded":true},
            {"setup":"75 mm extension","tool":"wrench 1","held_kN":76.5,"excluded":false},
            {"setup":null,"tool":null,"held_kN":null,"excluded":false}
        ]}"#,
    )
    .unwrap();
    let result = score(&truth, &runs, "direct").unwrap();
    let row = |name: &str| result.setups.iter().find(|row| row.setup == name).unwrap();
    assert_eq!((row("direct").runs, row("direct").held_kn), (2, Some(85.0)));
    assert_eq!(row("75 mm extension").percent_of_baseline, Some(90.0));
    assert_eq!(row("universal joint").held_kn, None);
    let true_mean = |name: &str| {
        let held: Vec<f64> = truth.iter().filter(|run| run.setup == name).map(|run| run.held_kn).collect();
        held.iter().sum::<f64>() / held.len() as f64
    };
    let expected = 100.0 * true_mean("universal joint") / true_mean("direct");
    assert!((row("universal joint").percent_truth.unwrap() - expected).abs() < 1e-9);
    let json = serde_json::to_value(&result).unwrap();
    let keys: Vec<&str> = json["setups"][0].as_object().unwrap().keys().map(String::as_str).collect();
    let mut wanted =
        ["setup", "tool", "runs", "held_kN", "held_truth_kN", "percent_of_baseline", "percent_truth"];
    wanted.sort_unstable();
    let mut found = keys.clone();
    found.sort_unstable();
    assert_eq!(found, wanted);
    assert!(json["setups"][2]["held_kN"].is_null());
    let table = result.table("direct");
    assert!(table.contains("simulated") && table.contains("held") && table.contains("289.0"), "{table}");
    assert!(score(&truth, &runs, "nothing").is_err());
}

#[test]
fn a_truth_file_must_say_that_it_is_simulated() {
    let (_, truth) = depot();
    let line = serde_json::to_string(&truth[0]).unwrap();
    let text = format!("{{\"simulated\":true}}\n{line}\n");
    assert_eq!(read_truth(&text).unwrap(), truth[..1]);
    assert!(read_truth(&format!("{line}\n")).is_err());
    assert!(read_truth("{\"simulated\":true}\n{}\n").unwrap_err().to_string().contains("truth line 2"));
}

#[test]
fn what_is_true_of_runs_that_were_left_out_is_left_out_too() {
    let (_, truth) = depot();
    let truth = &truth[..3];
    // Newest first, as a list of runs has them; the first run played does not count.
    let run = |id: usize, excluded: bool| {
        let played = &truth[id - 1];
        format!(
            r#"{{"id":{id},"setup":"{}","tool":"{}","held_kN":80.0,"excluded":{excluded}}}"#,
            played.setup, played.tool
        )
    };
    let document = format!(r#"{{"runs":[{},{},{}]}}"#, run(3, false), run(2, false), run(1, true));
    let result = score(truth, &read_runs(&document).unwrap(), &truth[1].setup).unwrap();
    let row = result.setups.iter().find(|row| row.setup == truth[1].setup).unwrap();
    assert_eq!(row.held_truth_kn, Some(truth[1].held_kn));
    assert!(!result.setups.iter().any(|row| row.setup == truth[0].setup), "direct was warm-up only");
    // A run that was missed breaks the pairing: then all that was played counts.
    let fewer = format!(r#"{{"runs":[{},{}]}}"#, run(2, false), run(1, true));
    let result = score(truth, &read_runs(&fewer).unwrap(), &truth[1].setup).unwrap();
    assert!(result.setups.iter().any(|row| row.setup == truth[0].setup && row.held_truth_kn.is_some()));
}
