//! `doctor`: everything a bug report needs, and a hint for each thing that is wrong.
//!
//! No rig is plugged in, so its line is the trouble that must be told.

use crate::desk::Desk;
use serde_json::Value;

fn doctor(desk: &Desk) -> Value {
    let output = desk.run(&["--format", "json", "doctor"]);
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn one_document_tells_versions_settings_store_limits_and_who_holds_the_store() {
    let desk = Desk::with(&["two-runs"]);
    desk.sound();
    let daemon = desk.daemon();
    let report = doctor(&desk);
    let values = report["settings"]["values"].as_array().unwrap();
    let folder = values.iter().find(|v| v["key"] == "store.folder").unwrap();
    assert!(folder["source"].as_str().unwrap().contains("settings.toml:4"), "{folder}");
    assert!(values.iter().any(|v| v["source"] == "built-in"));
    assert_eq!(report["lock_holder"]["process"], daemon.0.id());
    let of_daemon = &report["daemon"];
    for key in ["version", "sqlite", "schema_version", "rigs", "ports", "counters", "limits", "events"] {
        assert!(!of_daemon[key].is_null(), "no {key}");
    }
    let facts = &of_daemon["store"]["facts"];
    assert_eq!(facts["numbers"]["runs"], 2);
    assert_eq!(facts["last_check"]["detail"], "by ana: 0 fault(s)");
    assert!(of_daemon["store"]["disk_free_bytes"].as_u64() > Some(0));
    assert_eq!(of_daemon["limits"]["store_queue_rows"], 65_536);
    // The port of the settings is not there: that is a trouble, with the reason.
    let troubles: Vec<&str> =
        report["troubles"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(troubles.iter().any(|t| t.contains("its line is down")), "{troubles:?}");
    let output = desk.run(&["doctor"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stdout).contains("settings.store.folder"));
}

#[test]
fn a_damaged_store_and_wrong_settings_are_told_without_a_door() {
    let desk = Desk::with(&["plain-500"]);
    std::fs::write(desk.path("store/store.sqlite"), "no store at all").unwrap();
    let report = doctor(&desk);
    let troubles = report["troubles"].to_string();
    assert!(troubles.contains("expected a SQLite database"), "{troubles}");
    std::fs::write(desk.path("settings.toml"), "[daemon]\nlog = 3\n").unwrap();
    assert!(doctor(&desk)["troubles"].to_string().contains("settings.toml:2:"));
}
