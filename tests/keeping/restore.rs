//! `store restore`: the copy in place, the old store beside it, and no way to lose both.
//!
//! Each refusal must leave the present store as it was.

use crate::desk::Desk;
use boltscribe::store::restore::READY_PREFIX;

fn backed_up() -> (Desk, String) {
    let desk = Desk::with(&["two-runs"]);
    let copy = desk.path("copy.sqlite").display().to_string();
    desk.json(&["store", "backup", &copy]);
    // What came after the copy.
    desk.json(&["runs", "exclude", "1", "--why", "after the copy"]);
    (desk, copy)
}

fn excluded(desk: &Desk, store: &[&str]) -> bool {
    desk.json(&[store, &["runs", "show", "1"]].concat())["excluded"] == true
}

#[test]
fn the_copy_is_in_place_and_the_store_before_it_is_kept() {
    let (desk, copy) = backed_up();
    assert!(excluded(&desk, &[]));
    let answer = desk.json(&["store", "restore", &copy]);
    assert_eq!(answer["runs"], 2);
    assert!(!excluded(&desk, &[]));
    let kept = answer["replaced_store"].as_str().unwrap();
    assert!(kept.contains("replaced-"), "{kept}");
    let kept_file = format!("{kept}/store.sqlite");
    assert!(excluded(&desk, &["--store", &kept_file]), "what was there is kept");
    desk.sound();
    let output = desk.run(&["--format", "json", "doctor"]);
    let doctor: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let words = doctor["daemon"]["store"]["facts"]["last_restore"]["detail"].as_str().unwrap();
    assert!(words.contains("by ana from"), "{words}");
}

#[test]
fn a_running_daemon_is_not_disturbed() {
    let (desk, copy) = backed_up();
    let _daemon = desk.daemon();
    let said = desk.fails(1, &["store", "restore", &copy]);
    assert!(said.contains("boltscribed works on it"), "{said}");
    assert!(excluded(&desk, &[]));
}

#[test]
fn a_missing_or_damaged_store_is_replaced() {
    for damage in ["missing", "truncated", "garbage", "folder gone"] {
        let (desk, copy) = backed_up();
        let store = desk.path("store/store.sqlite");
        match damage {
            "missing" => std::fs::remove_file(&store).unwrap(),
            "truncated" => {
                let bytes = std::fs::read(&store).unwrap();
                std::fs::write(&store, &bytes[..bytes.len() / 3]).unwrap();
            }
            "garbage" => std::fs::write(&store, "no store at all").unwrap(),
            _ => std::fs::remove_dir_all(desk.path("store")).unwrap(),
        }
        let answer = desk.json(&["store", "restore", &copy]);
        let kept = !answer["replaced_store"].is_null();
        assert_eq!(kept, matches!(damage, "truncated" | "garbage"), "{damage}: {answer}");
        assert!(!excluded(&desk, &[]), "{damage}");
        desk.sound();
    }
}

#[test]
fn what_is_no_whole_copy_is_refused_and_the_store_is_untouched() {
    let (desk, copy) = backed_up();
    let whole = std::fs::read(&copy).unwrap();
    let bad = desk.path("bad.sqlite");
    let mut flipped = whole.clone();
    // A page in the middle, zeroed.
    let at = whole.len() / 2 / 4096 * 4096;
    flipped[at..at + 4096].fill(0);
    let mut newer = whole.clone();
    // The user version (SQLite database file format, section 1.3: offset 60).
    newer[60..64].copy_from_slice(&99_u32.to_be_bytes());
    let mut other = whole.clone();
    // The application id (offset 68).
    other[68..72].copy_from_slice(&7_u32.to_be_bytes());
    for (what, bytes) in [
        ("truncated", whole[..whole.len() / 2].to_vec()),
        ("truncated by a page", whole[..whole.len() - 4096].to_vec()),
        ("a header alone", whole[..100].to_vec()),
        ("empty", Vec::new()),
        ("text", b"time_s,tension_kN\n".repeat(50)),
        ("a page zeroed", flipped),
        ("newer", newer),
        ("another program's", other),
    ] {
        std::fs::write(&bad, &bytes).unwrap();
        let said = desk.fails(3, &["store", "restore", &bad.display().to_string()]);
        assert!(said.starts_with("error: "), "{what}: {said}");
        assert!(excluded(&desk, &[]), "{what}");
        let entries = std::fs::read_dir(desk.path("store")).unwrap();
        let left: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        assert!(!left.iter().any(|n| n.contains("restore") || n.contains("replaced")), "{what}: {left:?}");
    }
    desk.fails(3, &["store", "restore", &desk.path("nothing").display().to_string()]);
    desk.sound();
}

#[test]
fn whoever_opens_the_store_finishes_a_restore_that_was_decided() {
    let (desk, copy) = backed_up();
    let store = desk.path("store");
    // As it is when the process dies after the deciding rename, and after the first of the further steps.
    for moved in [false, true] {
        let label = if moved { "replaced-b" } else { "replaced-a" };
        desk.json(&["runs", "list"]);
        std::fs::copy(&copy, store.join(format!("{READY_PREFIX}{label}"))).unwrap();
        if moved {
            std::fs::create_dir(store.join(label)).unwrap();
            std::fs::rename(store.join("store.sqlite"), store.join(label).join("store.sqlite")).unwrap();
        }
        assert!(!excluded(&desk, &[]), "finished by a verb that reads");
        assert!(store.join(label).join("store.sqlite").exists());
        desk.json(&["runs", "exclude", "1", "--why", "again"]);
    }
    desk.sound();
}
