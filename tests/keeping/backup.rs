//! `store backup`: whole while others write, nothing half on a full disk, never over another file.
//!
//! A full disk is played by a limit on the size of files.

use crate::desk::{Desk, T0_NS, put, said};
use boltscribe::store::{Mode, Store, open_read_only};
use serde_json::Value;
use std::process::Command;

fn names(folder: &std::path::Path) -> Vec<String> {
    let mut names: Vec<String> =
        std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_copy_holds_every_run_and_is_read_by_itself() {
    let desk = Desk::with(&["two-runs", "plain-2000"]);
    let copy = desk.path("copy.sqlite");
    let to = copy.display().to_string();
    let answer = desk.json(&["store", "backup", &to]);
    assert_eq!((&answer["verified"], answer["runs"].as_u64()), (&true.into(), Some(3)));
    let list = |words: &[&str]| desk.json(&[words, &["runs", "list", "--all"]].concat());
    assert_eq!(list(&["--store", &to])["runs"], list(&[])["runs"]);
    assert!(open_read_only(&copy).unwrap().reader().unwrap().check().unwrap().ok);
    assert_eq!(names(&desk.path("store")), ["backup.lock", "lock", "store.sqlite"], "no part is left");
    use std::os::unix::fs::PermissionsExt;
    assert_eq!(std::fs::metadata(&copy).unwrap().permissions().mode() & 0o777, 0o600);
}

#[test]
fn a_name_that_is_taken_is_not_written_over_without_force() {
    let desk = Desk::with(&["plain-2000"]);
    let copy = desk.path("copy.sqlite");
    std::fs::write(&copy, "mine").unwrap();
    let to = copy.display().to_string();
    let words = desk.fails(1, &["store", "backup", &to]);
    assert!(words.contains("--force"), "{words}");
    assert_eq!(std::fs::read_to_string(&copy).unwrap(), "mine");
    desk.json(&["store", "backup", &to, "--force"]);
    assert!(open_read_only(&copy).unwrap().reader().unwrap().check().unwrap().ok);
    desk.fails(2, &["store", "backup", &desk.folder.path().display().to_string(), "--force"]);
    desk.fails(3, &["store", "backup", &desk.path("no/such/folder/x").display().to_string()]);
}

#[test]
fn copies_made_while_runs_are_stored_are_whole() {
    let desk = Desk::with(&["plain-2000"]);
    let store = Store::open(&desk.path("store"), Mode::Existing).unwrap();
    let readers = store.readers();
    let done = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for n in 0..12 {
                put(&store, "two-runs", T0_NS + n);
            }
            done.store(true, std::sync::atomic::Ordering::Relaxed);
        });
        let (mut made, mut last) = (0, 0);
        while made < 5 || !done.load(std::sync::atomic::Ordering::Relaxed) {
            let mut copy = boltscribe::store::backup::copy(&readers).unwrap();
            let path = desk.path("copy.sqlite");
            let mut file = std::fs::File::create(&path).unwrap();
            assert_eq!(std::io::copy(&mut copy.file, &mut file).unwrap(), copy.bytes);
            let report = open_read_only(&path).unwrap().reader().unwrap().check().unwrap();
            // A run that is going on in the copy is open there, as after a sudden end.
            assert!(report.ok, "{report:?}");
            assert!(report.rows["runs"] >= last);
            last = report.rows["runs"];
            made += 1;
        }
        assert!(last >= 1);
    });
}

#[test]
fn a_running_daemon_gives_the_copy_through_its_socket() {
    let desk = Desk::with(&["two-runs"]);
    let _daemon = desk.daemon();
    let to = desk.path("copy.sqlite").display().to_string();
    let answer: Value = desk.json(&["store", "backup", &to]);
    assert_eq!(answer["runs"], 2);
    let report = desk.json(&["--store", &to, "store", "check"]);
    assert_eq!(report["ok"], true, "{report}");
}

#[test]
fn a_full_disk_leaves_nothing_behind_and_says_so() {
    let desk = Desk::with(&["two-runs", "plain-2000"]);
    let to = desk.path("copy.sqlite");
    // A limit on the size of files stands for the full disk: the store itself is not written here.
    let store = std::fs::metadata(desk.path("store/store.sqlite")).unwrap().len();
    let blocks = store / 512 / 2;
    let daemon = desk.daemon();
    let inner = desk.command(&["store", "backup", &to.display().to_string()]);
    let output = Command::new("sh")
        .args(["-c", &format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$@\""), "sh"])
        .arg(inner.get_program())
        .args(inner.get_args())
        .env("USER", "ana")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(3), "{}", said(&output));
    assert!(said(&output).contains("cannot write"), "{}", said(&output));
    assert!(!to.exists());
    assert!(!names(desk.folder.path()).iter().any(|name| name.ends_with(".partial")));
    drop(daemon);
    desk.sound();
}
