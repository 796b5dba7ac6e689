//! What becomes of a file on the way: never half, never over another, nothing left after a failure or a signal.
//!
//! A full disk is played by a limit on the size of files, which the system enforces at the same call.

use crate::desk::{Desk, INVENTED, err};
use rustix::process::{Pid, Signal, kill_process};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

#[test]
fn a_file_that_is_there_is_replaced_by_force_only() {
    let desk = Desk::new();
    std::fs::write(desk.path("runs.csv"), "mine").unwrap();
    let said = desk.fails(1, &["export", "runs", "--out", "runs.csv"]);
    assert!(said.contains("runs.csv: expected no such file, found one"), "{said}");
    assert!(said.contains("hint: `--force` replaces it"), "{said}");
    assert_eq!(std::fs::read_to_string(desk.path("runs.csv")).unwrap(), "mine");
    desk.done(&["export", "runs", "--out", "runs.csv", "--force"]);
    let written = std::fs::read_to_string(desk.path("runs.csv")).unwrap();
    assert_eq!(written, desk.done(&["export", "runs"]));
    assert_eq!(desk.names(), ["runs.csv", "store"]);
}

#[test]
fn a_file_says_how_much_is_in_it_and_standard_output_holds_data_only() {
    let desk = Desk::new();
    let done = desk.run(&["export", "runs", "--all", "--out", "runs.jsonl"]);
    assert!(done.stdout.is_empty());
    let lines = std::fs::read_to_string(desk.path("runs.jsonl")).unwrap().lines().count();
    assert!(err(&done).starts_with(&format!("{lines} runs in ")), "{}", err(&done));
    let alone = err(&desk.run(&["export", "runs", "--rig", INVENTED]));
    assert!(alone.is_empty(), "{alone}");
    // Nothing is measured on hardware in the recordings, and nothing else is said.
    assert_eq!(err(&desk.run(&["export", "runs"])), "SIMULATED: some of it comes from no hardware\n");
}

#[test]
fn a_name_that_says_no_kind_is_asked_about() {
    let desk = Desk::new();
    let said = desk.fails(2, &["export", "runs", "--out", "runs.xlsx"]);
    assert!(said.contains("expected the ending csv, jsonl, lp or parquet"), "{said}");
    desk.done(&["export", "runs", "--out", "runs.txt", "--as", "csv"]);
    assert!(desk.fails(2, &["export", "runs", "--out", "store", "--as", "csv"]).contains("found a folder"));
    let nowhere = desk.fails(3, &["export", "runs", "--out", "no/such/folder/runs.csv"]);
    assert!(nowhere.contains("cannot make no/such/folder/"), "{nowhere}");
    assert_eq!(desk.names(), ["runs.txt", "store"]);
}

#[cfg(not(feature = "parquet"))]
#[test]
fn without_parquet_the_program_says_how_to_build_with_it() {
    let desk = Desk::new();
    let said = desk.fails(2, &["export", "runs", "--out", "runs.parquet"]);
    assert!(said.contains("cargo build --release --features parquet"), "{said}");
    std::fs::write(desk.path("a.parquet"), b"PAR1....PAR1").unwrap();
    let said = desk.fails(2, &["analyze", "a.parquet"]);
    assert!(said.contains("cannot read Parquet") && said.contains("--features parquet"), "{said}");
    assert_eq!(desk.names(), ["a.parquet", "store"]);
}

/// The program under a limit on the size of files, in blocks of 512 or 1,024 bytes.
fn limited(desk: &Desk, blocks: u32, words: &[&str]) -> std::process::Output {
    // Reading a copy: a store that is open for writing would run into the limit itself.
    let copy = desk.path("copy.sqlite");
    if !copy.exists() {
        std::fs::copy(desk.store().join("store.sqlite"), &copy).unwrap();
    }
    let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
    let mut command = Command::new("sh");
    command.current_dir(desk.folder.path()).args(["-c", &script, env!("CARGO_BIN_EXE_boltscribe")]);
    command.arg("--store").arg(&copy).args(words).stdin(Stdio::null());
    command.output().unwrap()
}

#[test]
fn a_full_disk_is_said_and_leaves_nothing_behind_and_what_was_there_untouched() {
    let desk = Desk::new();
    let run = desk.done(&["export", "runs", "--rig", "plain-2000", "--as", "jsonl", "--all"]);
    let id =
        serde_json::from_str::<serde_json::Value>(run.lines().next().unwrap()).unwrap()["id"].to_string();
    std::fs::write(desk.path("run.csv"), "mine").unwrap();
    let kinds: &[&str] =
        if cfg!(feature = "parquet") { &["csv", "jsonl", "parquet"] } else { &["csv", "jsonl"] };
    for kind in kinds {
        let blocks = if *kind == "parquet" { 4 } else { 64 };
        let words = ["export", "trace", &id, "--out", "run.csv", "--force", "--as", kind];
        let done = limited(&desk, blocks, &words);
        let said = err(&done);
        assert_eq!(done.status.code(), Some(3), "{kind}: {said}");
        assert!(said.contains("cannot write") && said.contains("run.csv: File too large"), "{kind}: {said}");
        assert!(said.contains("hint: nothing was left behind: free some space"), "{kind}: {said}");
        assert_eq!(std::fs::read_to_string(desk.path("run.csv")).unwrap(), "mine");
        assert_eq!(desk.names(), ["copy.sqlite", "run.csv", "store"], "{kind}");
    }
    // The same without the limit, so that the limit is what was tested.
    let done = limited(&desk, 1 << 20, &["export", "trace", &id, "--out", "run.csv", "--force"]);
    assert_eq!(done.status.code(), Some(0), "{}", err(&done));
}

#[test]
fn standard_output_that_takes_nothing_is_said() {
    let desk = Desk::new();
    let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
    let done = desk.command(&["export", "runs", "--all"]).stdout(full).output().unwrap();
    assert_eq!(done.status.code(), Some(3));
    assert!(err(&done).contains("cannot write to standard output: No space left"), "{}", err(&done));
}

#[test]
fn a_reader_that_goes_away_ends_the_work_quietly() {
    let desk = Desk::new();
    let mut child = desk
        .command(&["export", "trace", "--rig", "plain-2000", "--from", "2026-01-01", "--to", "2026-01-02"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let done = child.wait_with_output().unwrap();
    assert_eq!((done.status.code(), err(&done)), (Some(0), String::new()));
}

#[test]
fn a_signal_leaves_no_half_file_and_what_was_there_untouched() {
    for signal in [Signal::INT, Signal::TERM] {
        let desk = Desk::new();
        std::fs::write(desk.path("blows.csv"), "mine").unwrap();
        // A daemon that is stopped in the middle of an answer: the program waits for the rest.
        let daemon = crate::daemon::Stalled::open(&desk.path("stalled"));
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribe"));
        command.current_dir(desk.folder.path()).arg("--store").arg(desk.path("stalled"));
        command.args(["export", "blows", "--out", "blows.csv", "--force"]);
        let child = command.stdin(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
        let began = Instant::now();
        while !desk.names().iter().any(|name| name.ends_with(".part")) {
            assert!(began.elapsed() < Duration::from_secs(30), "{:?}", desk.names());
            std::thread::sleep(Duration::from_millis(10));
        }
        kill_process(Pid::from_child(&child), signal).unwrap();
        let done = child.wait_with_output().unwrap();
        assert_eq!(done.status.code(), Some(128 + signal.as_raw()), "{}", err(&done));
        assert!(err(&done).contains("stopped by a signal; nothing was left behind"), "{}", err(&done));
        assert_eq!(std::fs::read_to_string(desk.path("blows.csv")).unwrap(), "mine");
        assert_eq!(desk.names(), ["blows.csv", "stalled", "store"]);
        drop(daemon);
    }
}

#[test]
fn an_answer_that_breaks_off_is_no_file() {
    let desk = Desk::empty();
    let daemon = crate::daemon::Stalled::open(&desk.path("store"));
    let child =
        desk.command(&["export", "blows", "--out", "blows.csv"]).stderr(Stdio::piped()).spawn().unwrap();
    let began = Instant::now();
    while !desk.names().iter().any(|name| name.ends_with(".part")) {
        assert!(began.elapsed() < Duration::from_secs(30), "{:?}", desk.names());
        std::thread::sleep(Duration::from_millis(10));
    }
    daemon.hang_up();
    let done = child.wait_with_output().unwrap();
    assert_eq!(done.status.code(), Some(3), "{}", err(&done));
    assert!(err(&done).contains("expected"), "{}", err(&done));
    assert_eq!(desk.names(), ["store"]);
}
