//! Tools judged by a reference and by planned looks, and their history.
//!
//! All readings are invented.

use super::desk::Desk;
use super::dial;
use serde_json::{Value, json};

/// Five runs of a reference near 80 kN, and then of a wrench near 76 kN.
fn two_tools() -> Desk {
    let desk = dial();
    desk.done(&["setup", "tool", "add", "reference", "--anvil", "1/2", "--source", "battery"]);
    for (tool, level) in [("reference", 80.0), ("wrench", 76.0)] {
        desk.done(&["setup", "use", "direct", "--tool", tool]);
        for ripple in [0.2, -0.1, 0.1, -0.3, 0.1] {
            desk.done(&["runs", "enter", &format!("{:.1}", level + ripple)]);
        }
    }
    desk
}

/// The judgement of the wrench as a share of the reference, which ends with this code.
fn judge(desk: &Desk, percent: &str, code: i32) -> Value {
    let words = ["accept", "wrench", "--measure", "held", "--reference", "reference", "--percent", percent];
    let output = desk.run(&[&["--format", "json"], &words[..]].concat());
    assert_eq!(output.status.code(), Some(code), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice::<Value>(&output.stdout).unwrap()
}

#[test]
fn a_tool_is_judged_against_a_reference_of_the_same_day_and_charted() {
    let desk = two_tools();
    let judge = |percent: &str, code: i32| judge(&desk, percent, code);
    // 76 of 80 is 95 %, and five runs each tell it to about 0.2 %.
    let good = judge("94", 0);
    assert_eq!((&good["decision"], &good["unit"]), (&json!("conforms"), &json!("percent")));
    assert!((good["value"].as_f64().unwrap() - 95.0).abs() < 0.05, "{good}");
    assert_eq!(judge("96", 1)["decision"], "does not conform");
    let close = judge("95", 1);
    assert_eq!(close["decision"], "undecided");
    assert!((close["probability_of_conformity"].as_f64().unwrap() - 0.5).abs() < 0.2, "{close}");
    assert!(close["notes"].to_string().contains("undecided: "), "{close}");
    let told = desk.fails(1, &["accept", "wrench", "--measure", "held", "--limit-kN", "70"]);
    assert!(told.contains("cannot judge against an absolute limit"), "{told}");
    assert!(desk.fails(1, &["accept", "hammer", "--limit-kN", "70"]).contains("expected runs that count"));

    // Equal readings, of which no scatter tells: the step of the dial, 0.1/√12, is left of the budget.
    desk.done(&["setup", "tool", "add", "steady", "--anvil", "1/2", "--source", "battery"]);
    desk.done(&["setup", "use", "direct", "--tool", "steady"]);
    let equal: Vec<String> =
        (0..3).map(|_| desk.json(&["runs", "enter", "77.5"])["id"].to_string()).collect();
    let ids: Vec<&str> = equal.iter().map(String::as_str).collect();
    let found = desk.json(&[&["runs", "budget", "--measure", "held"], &ids[..]].concat())["tension"].clone();
    let u = found["standard_uncertainty_kN"].as_f64().unwrap();
    assert!((u - 0.1 / 12.0_f64.sqrt()).abs() < 1e-9, "{found}");

    let chart = desk.json(&["history", "wrench", "--measure", "held", "--least-kN", "70"]);
    assert_eq!((&chart["runs"], &chart["setup"]), (&json!(5), &json!("direct")));
    // Mean 76.0; mean moving range (0.3 + 0.2 + 0.4 + 0.4)/4 = 0.325; limits at 2.66 of it (ISO 7870-2).
    assert!((chart["centre_kN"].as_f64().unwrap() - 76.0).abs() < 1e-9);
    assert!((chart["high_kN"].as_f64().unwrap() - (76.0 + 2.66 * 0.325)).abs() < 0.001, "{chart}");
    assert!(chart["capability"]["ppk"].as_f64().unwrap() > 5.0);
    // The spread from run to run alone: mean range over 2/√π.
    let cpk = chart["capability"]["cpk"].as_f64().unwrap();
    assert!((cpk - 6.0 / (3.0 * 0.325 / std::f64::consts::FRAC_2_SQRT_PI)).abs() < 1e-9, "{chart}");
    let drawn = desk.done(&["history", "wrench", "--measure", "held"]).0;
    assert!(drawn.contains('o') && drawn.contains('|'), "{drawn}");
}

#[test]
fn planned_looks_ask_more_of_each_look_and_no_other_number_of_runs_is_judged() {
    let desk = two_tools();
    let close = judge(&desk, "95", 1);
    let looks = |looks: &str, runs: &str| {
        let words = ["accept", "wrench", "--measure", "held", "--reference", "reference", "--percent", "95"];
        desk.run(&[&["--format", "json"], &words[..], &["--looks", looks, "--runs", runs]].concat())
    };
    let first: Value = serde_json::from_slice(&looks("3,5", "3").stdout).unwrap();
    let last: Value = serde_json::from_slice(&looks("3,5", "5").stdout).unwrap();
    assert!(
        first["notes"].to_string().contains("undecided at look 1 of 2: add runs until there are 5"),
        "{first}"
    );
    assert_eq!((&first["look"], &last["look"], &last["looks"]), (&json!(1), &json!(2), &json!([3, 5])));
    assert!(last["guard"].as_f64().unwrap() > close["guard"].as_f64().unwrap(), "{last} {close}");
    for (plan, runs, said) in
        [("3,5", "4", "expected one of the looks 3,5"), ("5,3", "5", "looks: expected 2 to 5 whole")]
    {
        let output = looks(plan, runs);
        assert!(output.status.code() != Some(0) && String::from_utf8_lossy(&output.stderr).contains(said));
    }
}

#[test]
fn readings_of_another_month_are_neither_the_latest_nor_of_the_same_day() {
    let desk = two_tools();
    let good = judge(&desk, "94", 0);
    assert!(good["notes"].to_string().contains("the reference was run only before the tool"), "{good}");
    for tool in ["reference", "wrench"] {
        let old = ["90.0", "90.4"].map(|figure| {
            let run = desk.json(&["runs", "enter", figure, "--at", "2024-03-04T10:00:00Z"])["id"].to_string();
            desk.done(&[
                "runs",
                "tag",
                &run,
                "--setup",
                "direct",
                "--tool",
                tool,
                "--why",
                "told afterwards",
            ]);
            run
        });
        let again = judge(&desk, "94", 0);
        assert_eq!((&again["value"], &again["runs"]), (&good["value"], &good["runs"]), "{old:?}: {again}");
    }
    let asked = desk.run(&[
        "--format",
        "json",
        "accept",
        "wrench",
        "--measure",
        "held",
        "--runs",
        "7",
        "--reference",
        "reference",
        "--percent",
        "94",
    ]);
    let asked: Value = serde_json::from_slice(&asked.stdout).unwrap();
    assert_eq!((&asked["value"], asked["runs"].as_array().unwrap().len()), (&good["value"], 5), "{asked}");
    assert!(asked["notes"].to_string().contains("7 were asked for"), "{asked}");
    let whole = desk.json(&["history", "wrench", "--measure", "held"]);
    assert_eq!(whole["points"][0]["value_kN"], 90.0, "oldest first by time: {whole}");
    assert_eq!((&whole["points"][0]["rig"], &whole["notes"]), (&json!("press"), &json!([])));
}
