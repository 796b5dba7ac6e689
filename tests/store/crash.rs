//! A program that dies: what was acknowledged is there, what was cut off is found, damage is told.
//!
//! What is killed is this test program, started once more by itself.

use crate::sample::{T0_NS, announced, begin, codes, opening, put, raw, result, whole};
use boltscribe::pipeline::Block;
use boltscribe::store::{Mode, RunId, Store, Write, Written, open_read_only};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

/// What lies on the disk while the store is still open, as a sudden end would leave it.
fn copy(from: &Path, to: &Path) {
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
}

#[test]
fn a_run_cut_off_before_its_announcement_is_found_with_its_samples() {
    let (live, after) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open(live.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    put(&store, "rig-1", whole(stream, result(1), 8000));
    put(&store, "rig-1", vec![opening(stream, 2)]);
    put(&store, "rig-1", raw(stream, 2, 3100));
    put(&store, "rig-1", vec![opening(stream, 3)]);
    copy(live.path(), after.path());

    let store = Store::open(after.path(), Mode::Existing).unwrap();
    let unfinished = store.unfinished().unwrap();
    assert_eq!(unfinished.len(), 2);
    let found = &unfinished[0];
    assert_eq!((found.rig.as_str(), found.stream, found.run_seq), ("rig-1", stream, 2));
    assert_eq!(found.settings, crate::sample::settings());
    assert_eq!(found.opened_utc_ns, T0_NS);
    let Block::Open { first_sample, rate_hz, in_force, .. } = &found.open else {
        panic!("expected an opening, found {:?}", found.open)
    };
    assert_eq!((*first_sample, *rate_hz), (40_000, 2000.0));
    assert_eq!(**in_force, crate::sample::in_force("bare", "tool A"));
    let counts: Vec<i32> = found
        .raw
        .iter()
        .flat_map(|block| match block {
            Block::Raw { counts, .. } => counts.clone(),
            other => panic!("expected samples, found {other:?}"),
        })
        .collect();
    assert_eq!(counts, codes(2, 3100));
    assert!(unfinished[1].raw.is_empty());

    let recovered = |run_seq, result| Write::Recovered { stream, run_seq, result, first_blow_utc_ns: T0_NS };
    let mut measured = result(2);
    measured.record.last_blow_s = 20.5;
    let written =
        put(&store, "rig-1", vec![recovered(2, Some(Box::new(measured.clone()))), recovered(3, None)]);
    assert_eq!(written[0], Written::Run(RunId(2)));
    assert!(store.unfinished().unwrap().is_empty());
    let reader = store.readers().reader().unwrap();
    let run = reader.run(RunId(2)).unwrap().unwrap();
    assert_eq!(run.result.measured(), Some(&measured));
    assert_eq!(run.line.closed_by.as_deref(), Some("interrupted"));
    assert_eq!(run.closed.unwrap().closing.closed_s, 21.55);
    assert_eq!(reader.events(5).unwrap()[0].kind, "run-not-recovered");
    let report = reader.check().unwrap();
    assert!(report.ok, "{report:?}");
    assert_eq!(report.rows["open_runs"], 0);
}

#[test]
fn a_run_announced_but_not_closed_is_closed_as_interrupted_at_the_next_start() {
    let (live, after) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open(live.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    put(&store, "rig-1", vec![opening(stream, 1)]);
    put(&store, "rig-1", raw(stream, 1, 8000));
    put(&store, "rig-1", vec![announced(stream, result(1))]);
    copy(live.path(), after.path());
    let store = Store::open(after.path(), Mode::Existing).unwrap();
    assert!(store.unfinished().unwrap().is_empty());
    let reader = store.readers().reader().unwrap();
    let run = reader.run(RunId(1)).unwrap().unwrap();
    assert_eq!(run.closed.unwrap().closing.closed_s, (20_000.0 + 8000.0) / 2000.0);
    let report = reader.check().unwrap();
    assert!(report.ok, "{report:?}");
    assert_eq!((report.rows["blocks"], report.rows["closings"]), (1, 1));
}

#[test]
fn a_copy_with_a_log_beside_it_shows_what_the_log_holds() {
    let (live, after) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open(live.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    put(&store, "rig-1", whole(stream, result(1), 8000));
    for name in ["store.sqlite", "store.sqlite-wal"] {
        std::fs::copy(live.path().join(name), after.path().join(name)).unwrap();
    }
    let reader = open_read_only(after.path()).unwrap().reader().unwrap();
    assert_eq!(reader.run(RunId(1)).unwrap().unwrap().result.measured(), Some(&result(1)));
}

const CHILD: &str = "BOLTSCRIBE_TEST_STORE_FOLDER";

/// In the killed process: stores runs and says which were acknowledged, until it is killed.
fn store_until_killed(folder: &Path) {
    let store = Store::open(folder, Mode::Create).unwrap();
    for found in store.unfinished().unwrap() {
        let write = Write::Recovered {
            stream: found.stream,
            run_seq: found.run_seq,
            result: None,
            first_blow_utc_ns: T0_NS,
        };
        put(&store, "rig-1", vec![write]);
    }
    let stream = begin(&store, "rig-1");
    for run_seq in 1.. {
        put(&store, "rig-1", vec![opening(stream, run_seq)]);
        put(&store, "rig-1", raw(stream, run_seq, 6500));
        let written = put(&store, "rig-1", vec![announced(stream, result(run_seq))]);
        println!("ack {:?} {run_seq}", written[0]);
        let end = crate::sample::block(stream, Block::End { run_seq });
        put(&store, "rig-1", vec![end, crate::sample::closed(stream, run_seq)]);
    }
}

#[test]
fn every_acknowledged_run_survives_a_kill() {
    if let Ok(folder) = std::env::var(CHILD) {
        store_until_killed(Path::new(&folder));
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let mut acknowledged: Vec<(i64, u32)> = Vec::new();
    for kill in 0..5_usize {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "crash::every_acknowledged_run_survives_a_kill", "--nocapture"])
            .env(CHILD, folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut acks = 0;
        while acks < 3 + kill {
            let line = lines.next().unwrap().unwrap();
            if let Some(ack) = line.find("ack ").map(|at| &line[at..]) {
                acks += 1;
                acknowledged.push(parse(ack));
            }
        }
        // At a different point of the work each time, by the system's own jitter.
        std::thread::sleep(std::time::Duration::from_micros(700 * kill as u64));
        child.kill().unwrap();
        child.wait().unwrap();
        acknowledged.extend(lines.map_while(Result::ok).filter(|l| l.starts_with("ack ")).map(|l| parse(&l)));
        let store = Store::open(folder.path(), Mode::Existing).unwrap();
        let reader = store.readers().reader().unwrap();
        for &(id, run_seq) in &acknowledged {
            let run = reader.run(RunId(id)).unwrap();
            let found = run.as_ref().and_then(|run| run.result.measured());
            assert_eq!(found, Some(&result(run_seq)), "run {id}");
        }
        let report = reader.check().unwrap();
        assert!(report.ok, "{report:?}");
        let stored = report.rows["runs"];
        // A run may have been committed without its acknowledgement getting out: one a kill.
        assert!((stored as usize) <= acknowledged.len() + kill + 1, "{stored}");
    }
}

fn parse(ack: &str) -> (i64, u32) {
    let digits = |text: &str| -> String { text.chars().filter(char::is_ascii_digit).collect() };
    let mut words = ack["ack ".len()..].split(' ');
    let id = digits(words.next().unwrap()).parse().unwrap();
    (id, words.next().unwrap().trim().parse().unwrap())
}

#[test]
fn a_check_names_what_was_changed_behind_its_back() {
    let changes = [
        ("UPDATE blocks SET counts = substr(counts, 1, length(counts) - 4)", "does not unpack"),
        ("UPDATE blocks SET samples = samples - 1", "does not unpack"),
        ("DELETE FROM blocks WHERE run_seq = 2", "run 2: it has no samples"),
        (
            "DROP TRIGGER runs_refuses_UPDATE; UPDATE runs SET peak_kN = 99.5 WHERE id = 2",
            "run 2: its column peak_kN differs from its document: expected",
        ),
        ("DROP TRIGGER runs_refuses_DELETE", "the trigger runs_refuses_DELETE is gone"),
        (
            "DROP TRIGGER blows_refuses_DELETE; DELETE FROM blows WHERE run = 1",
            "run 1: expected 3 blows, found 0",
        ),
        (
            "DROP TRIGGER closings_refuses_DELETE; DELETE FROM closings WHERE run = 3",
            "run 3: it is neither open nor closed",
        ),
        (
            "PRAGMA foreign_keys = OFF; DROP TRIGGER runs_refuses_DELETE; DELETE FROM runs WHERE id = 2",
            "the runs of the store have gaps",
        ),
    ];
    for (sql, finding) in changes {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let stream = begin(&store, "rig-1");
        for run_seq in 1..=3 {
            put(&store, "rig-1", whole(stream, result(run_seq), 8000));
        }
        assert!(store.readers().reader().unwrap().check().unwrap().ok);
        store.close();
        let path = folder.path().join("store.sqlite");
        let db = rusqlite::Connection::open(&path).unwrap();
        db.execute_batch(sql).unwrap();
        db.close().unwrap();
        let report = open_read_only(&path).unwrap().reader().unwrap().check().unwrap();
        assert!(!report.ok);
        assert!(report.faults.iter().any(|f| f.contains(finding)), "{sql}: {report:?}");
    }
}
