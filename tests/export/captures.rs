//! Recordings: listed, chosen by rig and time, copied whole, damage and a cut last line said.
//!
//! Copied whole or not at all, and checked before.

use crate::desk::{Desk, names};
use serde_json::Value;

/// A recording as the daemon makes it.
fn recording(rig: &str, utc: &str, seconds: u64) -> String {
    let mut text = format!(
        "boltscribe-capture 1\n# rig {rig} on /dev/serial/by-id/x\n# recorded {utc}\nsettings {{\"a\":1}}\n"
    );
    for second in 0..=seconds {
        text.push_str(&format!("{} bytes 0102ff\n", 7_000_000_000 + second * 1_000_000_000));
    }
    text
}

fn furnished() -> Desk {
    let desk = Desk::empty();
    std::fs::create_dir(desk.path("made")).unwrap();
    let put = |name: &str, text: String| std::fs::write(desk.path("made").join(name), text).unwrap();
    put("a-morning.capture", recording("bay a", "2026-01-31T08:00:00Z", 3600));
    put("a-noon.capture", recording("bay a", "2026-01-31T12:00:00Z", 60));
    put("b-noon.capture", recording("bay b", "2026-01-31T12:00:00Z", 60));
    put("notes.txt", "no recording".into());
    desk
}

fn listed(desk: &Desk, words: &[&str]) -> Vec<Value> {
    let mut line = vec!["--format", "json", "export", "captures", "made"];
    line.extend(words);
    let document: Value = serde_json::from_str(&desk.done(&line)).unwrap();
    document["captures"].as_array().unwrap().clone()
}

fn files(listed: &[Value]) -> Vec<&str> {
    listed.iter().map(|c| c["file"].as_str().unwrap()).collect()
}

#[test]
fn recordings_are_chosen_by_rig_and_by_the_time_they_reach_into() {
    let desk = furnished();
    let all = listed(&desk, &[]);
    assert_eq!(files(&all), ["made/a-morning.capture", "made/a-noon.capture", "made/b-noon.capture"]);
    assert_eq!(all[0]["from"], "2026-01-31T08:00:00.000Z");
    assert_eq!(all[0]["to"], "2026-01-31T09:00:00.000Z");
    assert_eq!((all[0]["entries"].as_u64(), all[0]["line_bytes"].as_u64()), (Some(3601), Some(3 * 3601)));
    assert_eq!(files(&listed(&desk, &["--rig", "bay b"])), ["made/b-noon.capture"]);
    let morning = listed(&desk, &["--from", "2026-01-31T08:59", "--to", "2026-01-31T12:00"]);
    assert_eq!(files(&morning), ["made/a-morning.capture"]);
    assert!(listed(&desk, &["--from", "2026-01-31T09:01", "--to", "2026-01-31T12:00"]).is_empty());
}

#[test]
fn copies_are_whole_and_never_replace_others() {
    let desk = furnished();
    listed(&desk, &["--rig", "bay a", "--into", "report"]);
    assert_eq!(names(&desk.path("report")), ["a-morning.capture", "a-noon.capture"]);
    for name in names(&desk.path("report")) {
        let of = |folder: &str| std::fs::read(desk.path(folder).join(&name)).unwrap();
        assert_eq!(of("report"), of("made"), "{name}");
    }
    let again = ["export", "captures", "made", "--rig", "bay a", "--into", "report"];
    assert!(desk.fails(1, &again).contains("expected no such file, found one"));
    desk.done(&[&again[..], &["--force"]].concat());
}

#[test]
fn a_cut_last_line_is_left_out_of_the_copy_and_damage_is_named() {
    let desk = furnished();
    let whole = recording("bay c", "2026-01-31T13:00:00Z", 5);
    std::fs::write(desk.path("made/c.capture"), format!("{whole}99000000000 byt")).unwrap();
    let found = listed(&desk, &["--rig", "bay c", "--into", "report"]);
    assert_eq!((found[0]["cut_bytes"].as_u64(), &found[0]["fault"]), (Some(15), &Value::Null));
    assert_eq!(std::fs::read_to_string(desk.path("report/c.capture")).unwrap(), whole);
    std::fs::write(desk.path("made/d.capture"), whole.replace("0102ff", "0102fg")).unwrap();
    let said = desk.fails(1, &["export", "captures", "made"]);
    assert!(said.contains("1 of 5 recordings are damaged"), "{said}");
    let table = String::from_utf8(desk.run(&["export", "captures", "made"]).stdout).unwrap();
    assert!(table.contains("damaged: line 5"), "{table}");
    assert!(desk.fails(3, &["export", "captures", "nowhere"]).contains("cannot read the folder nowhere"));
}
