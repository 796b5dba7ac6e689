//! `runs recompute` through the real program: equal where nothing changed, a new row where something did.
//!
//! Answers are compared with what the programs told before.

use crate::desk::Desk;
use serde_json::{Value, json};

fn outcomes(answer: &Value) -> Vec<&str> {
    answer["outcomes"].as_array().unwrap().iter().map(|o| o["outcome"].as_str().unwrap()).collect()
}

#[test]
fn unchanged_code_and_calibration_find_every_stored_run_unchanged() {
    let names =
        ["plain-2000", "two-runs", "second-pull", "lost-frames", "clipped", "lines-decimals", "zero-command"];
    let desk = Desk::with(&names);
    let answer = desk.json(&["runs", "recompute", "--all", "--why", "program updated"]);
    assert!(outcomes(&answer).len() >= names.len());
    assert!(outcomes(&answer).iter().all(|o| *o == "unchanged"), "{answer}");
    let report = desk.sound();
    assert_eq!(report["rows"]["recomputations"], 0, "nothing changed, so nothing is stored");
}

#[test]
fn another_calibration_is_a_new_row_and_both_are_shown() {
    let desk = Desk::with(&["two-runs", "plain-2000"]);
    let before = desk.json(&["runs", "show", "1"]);
    let line = json!({"id": "cell-2", "coefficients": [0.0, 1e-4]});
    std::fs::write(desk.path("cell-2.json"), line.to_string()).unwrap();
    let file = desk.path("cell-2.json").display().to_string();
    let words = ["runs", "recompute", "1", "--calibration", &file];
    let dry = desk.json(&[&words[..], &["--dry-run"]].concat());
    assert_eq!(outcomes(&dry), ["would-change"]);
    assert_eq!(desk.json(&["runs", "show", "1"]), before, "a dry run stores nothing");
    let done = desk.json(&[&words[..], &["--why", "cell calibrated anew"]].concat());
    assert_eq!(outcomes(&done), ["recomputed"]);
    assert_eq!(dry["outcomes"][0]["differences"], done["outcomes"][0]["differences"]);

    let after = desk.json(&["runs", "show", "1"]);
    assert_eq!(after["calibration"], "cell-2");
    assert_ne!(after["held_kN"], before["held_kN"]);
    let change =
        after["since_announcement"].as_array().unwrap().iter().find(|c| c["figure"] == "held_kN").unwrap();
    assert_eq!((&change["before"], &change["after"]), (&before["held_kN"], &after["held_kN"]));
    let version = &after["recomputations"][0];
    assert_eq!((&version["who"], &version["why"]), (&json!("ana"), &json!("cell calibrated anew")));
    assert_eq!(version["program"], env!("CARGO_PKG_VERSION"));
    // Gates, blows and the trace follow.
    assert_ne!(after["gates"], before["gates"]);
    assert_ne!(after["blow_list"], before["blow_list"]);
    let table = String::from_utf8(desk.run(&["runs", "show", "1"]).stdout).unwrap();
    assert!(table.contains("measured again") && table.contains("announced as"), "{table}");

    let list = desk.json(&["runs", "list", "--all"]);
    let of = |list: &Value, id: i64| {
        list["runs"].as_array().unwrap().iter().find(|r| r["id"] == id).unwrap().clone()
    };
    assert_eq!(of(&list, 1)["held_kN"], after["held_kN"]);
    assert!(of(&list, 1)["recomputed_utc"].is_string() && of(&list, 2)["recomputed_utc"].is_null());
    let original = desk.json(&["runs", "list", "--all", "--original"]);
    assert_eq!(of(&original, 1)["held_kN"], before["held_kN"]);
    assert_eq!(of(&original, 1)["gates"], before["gates"]);
    assert_eq!(of(&original, 2), of(&list, 2));

    // Once more: as it was the last time. And back, by name: as announced.
    let again = desk.json(&["runs", "recompute", "1", "--why", "once more"]);
    assert_eq!(outcomes(&again), ["unchanged"]);
    let name = before["calibration"].as_str().unwrap();
    let back = desk.json(&["runs", "recompute", "1", "--calibration", name, "--why", "back"]);
    assert_eq!(outcomes(&back), ["recomputed"]);
    let last = desk.json(&["runs", "show", "1"]);
    assert_eq!(last["since_announcement"], json!([]), "three versions, the last equal to the announcement");
    assert_eq!(last["held_kN"], before["held_kN"]);
    assert_eq!(desk.sound()["rows"]["recomputations"], 2);
}

#[test]
fn tags_exclusions_and_the_closing_stay_with_a_run_measured_again() {
    let desk = Desk::with(&["second-pull"]);
    desk.json(&["runs", "exclude", "1", "--why", "socket slipped"]);
    let before = desk.json(&["runs", "show", "1"]);
    assert_eq!(before["re_pulled"], true);
    std::fs::write(desk.path("l.json"), r#"{"coefficients_kN": [0.0, 6e-5], "nominal": true}"#).unwrap();
    let file = desk.path("l.json").display().to_string();
    desk.json(&[
        "runs",
        "recompute",
        "--setup",
        before["setup"].as_str().unwrap(),
        "--calibration",
        &file,
        "--why",
        "x",
    ]);
    let after = desk.json(&["runs", "show", "1"]);
    assert_eq!(after["calibration"], "l", "a file without a name lends its own");
    for key in ["setup", "tool", "excluded", "left_out_because", "re_pulled", "closed_by", "corrections"] {
        assert_eq!(after[key], before[key], "{key}");
    }
    let flags: Vec<&str> = after["flags"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(flags.contains(&"re-pulled") && flags.contains(&"nominal"), "{flags:?}");
}

#[test]
fn what_cannot_be_measured_again_is_refused_in_words() {
    let desk = Desk::with(&["plain-2000", "two-runs"]);
    let said = desk.fails(1, &["runs", "recompute", "99", "--why", "x"]);
    assert!(said.contains("cannot be measured again"), "{said}");
    assert!(
        desk.fails(1, &["runs", "recompute", "1", "--calibration", "nobody", "--why", "x"])
            .contains("nobody")
    );
    desk.fails(2, &["runs", "recompute", "1"]);
    desk.fails(2, &["runs", "recompute", "--why", "x"]);
    std::fs::write(desk.path("bad.json"), r#"{"coefficients_kN": [1.0]}"#).unwrap();
    let file = desk.path("bad.json").display().to_string();
    desk.fails(2, &["runs", "recompute", "1", "--calibration", &file, "--why", "x"]);
    desk.json(&["store", "prune", "--before", "2020-01-02", "--why", "disk"]);
    let output = desk.run(&["--format", "json", "runs", "recompute", "--all", "--why", "x"]);
    assert_eq!(output.status.code(), Some(1));
    let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
    let reason = answer["outcomes"][0]["reason"].as_str().unwrap();
    assert!(reason.contains("pruned") && reason.contains("by ana: disk"), "{reason}");
    assert_eq!(outcomes(&answer).len(), 3, "{answer}");
    assert!(outcomes(&answer)[1..].iter().all(|o| *o == "unchanged"), "the others are done: {answer}");
}

#[test]
fn a_reading_typed_from_a_dial_has_no_samples_to_measure_or_to_prune() {
    let desk = Desk::with(&["plain-2000"]);
    let settings = std::fs::read_to_string(desk.path("settings.toml")).unwrap();
    let dial =
        "[[rig]]\nname = \"press\"\ninstrument = \"typed\"\ndial_unit = \"kN\"\ndial_resolution = 0.5\n";
    std::fs::write(desk.path("settings.toml"), settings + dial).unwrap();
    desk.json(&["runs", "enter", "81.5", "--rig", "press", "--at", "2020-02-01T00:00:00Z"]);
    let output = desk.run(&["--format", "json", "runs", "recompute", "--all", "--why", "x"]);
    assert_eq!(output.status.code(), Some(1));
    let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(outcomes(&answer), ["unchanged", "refused"]);
    let reason = answer["outcomes"][1]["reason"].as_str().unwrap();
    assert!(reason.contains("typed by hand"), "{reason}");
    let pruned = desk.json(&["store", "prune", "--older-than", "30d", "--why", "disk"]);
    assert_eq!(pruned["pruned"]["runs"], 1);
    desk.sound();
}
