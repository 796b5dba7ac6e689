//! `store prune`: only old samples go, each run's with a tombstone, and the record says who and why.
//!
//! Digests are made anew from the recordings, not taken from the store.

use crate::desk::{Desk, recording};
use boltscribe::pipeline::{Block, Output, replay};
use boltscribe::store::codec::RawBlock;
use boltscribe::store::prune::digest;
use serde_json::Value;

/// The digest of a recording's first run, from what the pipeline gave, not from the store.
fn digest_of(name: &str) -> String {
    let (settings, capture) = recording(name);
    let (outputs, _) = replay(settings, &capture.entries).unwrap();
    let raw: Vec<RawBlock> = outputs
        .into_iter()
        .filter_map(|output| match output {
            Output::Block(Block::Raw { run_seq: 1, first_sample, counts, missing }) => {
                Some(RawBlock { first_sample, counts, missing })
            }
            _ => None,
        })
        .collect();
    digest(&raw)
}

#[test]
fn old_samples_go_results_stay_and_a_tombstone_tells() {
    let desk = Desk::with(&["plain-2000", "lost-frames", "two-runs"]);
    let before = desk.json(&["runs", "list", "--all"]);
    let words = ["store", "prune", "--before", "2020-01-03"];
    let dry = desk.json(&[&words[..], &["--dry-run"]].concat());
    assert_eq!(dry["would_prune"]["runs"], 2);
    let done = desk.json(&[&words[..], &["--why", "disk"]].concat());
    assert_eq!(done["pruned"], dry["would_prune"], "what was said is what went");
    let free = |answer: &serde_json::Value| answer["file"]["free_bytes"].as_u64().unwrap();
    assert!(free(&done) > free(&dry), "{done}");
    assert_eq!(desk.json(&["runs", "list", "--all"])["runs"], before["runs"], "results stay");
    for (run, name) in [(1, "plain-2000"), (2, "lost-frames")] {
        let shown = desk.json(&["runs", "show", &run.to_string()]);
        let stone = &shown["samples_pruned"];
        assert_eq!(stone["sha256"], digest_of(name), "run {run}");
        assert_eq!((&stone["who"], &stone["why"]), (&"ana".into(), &"disk".into()));
    }
    assert!(desk.json(&["runs", "show", "3"])["samples_pruned"].is_null());
    let report = desk.sound();
    assert_eq!(report["pruned_runs"], 2);
    let table = String::from_utf8(desk.run(&["runs", "show", "1"]).stdout).unwrap();
    assert!(table.contains("samples pruned") && table.contains("no trace"), "{table}");
    // Twice is as once.
    let twice = desk.json(&[&words[..], &["--why", "again"]].concat());
    assert_eq!((&twice["pruned"]["runs"], &twice["pruned"]["idle_blocks"]), (&0.into(), &0.into()));
    desk.sound();
}

#[test]
fn named_runs_keep_their_samples_and_the_last_hour_is_never_pruned() {
    let desk = Desk::with(&["plain-2000", "two-runs"]);
    let done = desk.json(&["store", "prune", "--older-than", "30d", "--keep", "1,3", "--why", "disk"]);
    assert_eq!(done["pruned"]["runs"], 1);
    for (run, pruned) in [("1", false), ("2", true), ("3", false)] {
        assert_eq!(desk.json(&["runs", "show", run])["samples_pruned"].is_object(), pruned, "run {run}");
    }
    let said = desk.fails(2, &["store", "prune", "--before", "2200-01-01", "--why", "x"]);
    assert!(said.contains("last hour"), "{said}");
    desk.fails(2, &["store", "prune", "--older-than", "3", "--why", "x"]);
    desk.fails(2, &["store", "prune", "--older-than", "3d"]);
    desk.fails(2, &["store", "prune", "--why", "x"]);
}

#[test]
fn an_open_run_keeps_its_samples() {
    use crate::desk::{T0_NS, put};
    use boltscribe::store::{Mode, PruneWrite, RunId, Store, Write, Written};
    let desk = Desk::with(&[]);
    let store = Store::open(&desk.path("store"), Mode::Create).unwrap();
    let stream = put(&store, "plain-2000", T0_NS);
    let (settings, capture) = recording("two-runs");
    let (outputs, _) = replay(settings, &capture.entries).unwrap();
    // Up to the announcement: the closing and the end of the samples are still to come.
    let (writer, mut announced) = (store.writer(), false);
    for output in outputs {
        let write = match output {
            Output::Block(mut block) => {
                match &mut block {
                    Block::Open { run_seq, .. } | Block::Raw { run_seq, .. } => *run_seq += 10,
                    _ => continue,
                }
                Write::Block { stream, utc_ns: T0_NS, block }
            }
            Output::Run(boltscribe::pipeline::RunRow::Announced(mut run)) => {
                run.run_seq += 10;
                announced = true;
                let row = boltscribe::pipeline::RunRow::Announced(run);
                Write::Run { stream, row, first_blow_utc_ns: T0_NS }
            }
            _ => continue,
        };
        writer.store("bench", write).unwrap().unwrap();
        if announced {
            break;
        }
    }
    let begin =
        PruneWrite::Begin { utc_ns: T0_NS, who: "a".into(), why: "b".into(), before_utc_ns: i64::MAX };
    let Ok(Ok(Written::Pruning(pruning))) = writer.store("", Write::Prune(begin)) else { panic!() };
    let reader = store.readers().reader().unwrap();
    assert_eq!(reader.next_to_prune(i64::MAX, 0, &[]).unwrap(), [RunId(1)]);
    let runs = vec![RunId(1), RunId(2)];
    writer.store("", Write::Prune(PruneWrite::Runs { pruning, runs })).unwrap().unwrap();
    assert!(reader.tombstone(RunId(1)).unwrap().is_some());
    assert!(reader.tombstone(RunId(2)).unwrap().is_none());
    assert!(!reader.trace(RunId(2)).unwrap().unwrap().blocks.is_empty());
}

#[test]
fn shrinking_makes_the_file_smaller_and_a_daemon_says_what_to_do_instead() {
    let desk = Desk::with(&["plain-2000", "lost-frames", "two-runs", "second-pull", "plain-500"]);
    let file = desk.path("store/store.sqlite");
    let size = || std::fs::metadata(&file).unwrap().len();
    let before = size();
    {
        let _daemon = desk.daemon();
        let words = desk.fails(1, &["store", "prune", "--older-than", "1d", "--shrink", "--why", "disk"]);
        assert!(words.contains("stop boltscribed"), "{words}");
        let done: Value = desk.json(&["store", "prune", "--older-than", "1d", "--why", "disk"]);
        assert!(done["pruned"]["runs"].as_u64().unwrap() >= 5, "the daemon prunes: {done}");
    }
    desk.sound();
    assert!(size() >= before, "freed room stays in the file until it is used again");
    desk.json(&["store", "prune", "--older-than", "1d", "--shrink", "--why", "disk"]);
    assert!(size() < before, "{} of {before} bytes", size());
    let dry = desk.json(&["store", "prune", "--older-than", "1d", "--dry-run"]);
    assert_eq!(dry["file"]["free_bytes"], 0, "nothing is left to give back");
    desk.sound();
}

#[test]
fn a_check_tells_when_samples_or_tombstones_are_gone() {
    for (sql, finding) in [
        ("DELETE FROM blocks WHERE run_seq = 1 AND stream = 2", "run 2: it has no samples"),
        ("DROP TRIGGER tombstones_refuses_DELETE; DELETE FROM tombstones", "run 1: it has no samples"),
        (
            "INSERT INTO tombstones SELECT 2, 1, 0, 1, 1, printf('%064d', 0)",
            "run 2: it has samples, and a tombstone",
        ),
    ] {
        let desk = Desk::with(&["plain-2000", "plain-500"]);
        desk.json(&["store", "prune", "--before", "2020-01-02", "--why", "disk"]);
        let db = rusqlite::Connection::open(desk.path("store/store.sqlite")).unwrap();
        db.execute_batch(sql).unwrap();
        db.close().unwrap();
        let output = desk.run(&["store", "check"]);
        assert_eq!(output.status.code(), Some(1));
        assert!(String::from_utf8_lossy(&output.stdout).contains(finding), "{sql}");
    }
}
