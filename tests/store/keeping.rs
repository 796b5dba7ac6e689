//! What is stored comes back exactly, once, and is never changed.
//!
//! Through the public store, and by a second client of the database where one might meddle.

use crate::sample::{T0_NS, announced, begin, block, closed, codes, put, raw, result, whole};
use boltscribe::pipeline::{Block, RunRow, Thin};
use boltscribe::store::{
    Correction, Mode, NewTags, Outcome, PruneWrite, PruningId, Recomputed, Refused, RunFilter, RunId,
    ShelfKind, Store, StreamId, Write, Written,
};
use boltscribe::units::Newtons;
use std::time::Duration;

fn outcomes(store: &Store, rig: &str, writes: Vec<Write>) -> Vec<Outcome> {
    store.writer().submit(rig, writes).unwrap().wait_blocking().unwrap()
}

#[test]
fn a_run_comes_back_equal_in_every_bit() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    for run_seq in 1..=50 {
        put(&store, "rig-1", vec![announced(stream, result(run_seq))]);
    }
    store.close();
    let store = Store::open(folder.path(), Mode::Existing).unwrap();
    let reader = store.readers().reader().unwrap();
    for run_seq in 1..=50 {
        let run = reader.run(RunId(i64::from(run_seq))).unwrap().unwrap();
        assert_eq!(run.result.measured(), Some(&result(run_seq)));
        assert_eq!(run.line.held_kn, result(run_seq).record.held.map(|f| f.kn()));
        assert_eq!(run.line.gates.len(), 2);
        assert_eq!(run.line.gates[1].tension_kn, None);
    }
    assert!(reader.run(RunId(51)).unwrap().is_none());
    let list = reader.runs(&RunFilter::default()).unwrap();
    assert_eq!(list[49].utc, "2026-01-01T00:00:10.000Z");
}

#[test]
fn runs_are_numbered_without_gaps_in_the_store_and_at_each_rig() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let (a, b) = (begin(&store, "rig-a"), begin(&store, "rig-b"));
    for run_seq in 1..=4 {
        put(&store, "rig-a", vec![announced(a, result(run_seq))]);
        // A refused row in between takes no number.
        let again = outcomes(&store, "rig-a", vec![announced(a, result(run_seq))]);
        assert!(matches!(again[0], Err(Refused::Duplicate(_))), "{again:?}");
        put(&store, "rig-b", vec![announced(b, result(run_seq))]);
    }
    let reader = store.readers().reader().unwrap();
    let list = reader.runs(&RunFilter::default()).unwrap();
    let numbers: Vec<(i64, &str, i64)> = list.iter().map(|r| (r.id.0, r.rig.as_str(), r.rig_run)).collect();
    assert_eq!(
        numbers,
        [
            (8, "rig-b", 4),
            (7, "rig-a", 4),
            (6, "rig-b", 3),
            (5, "rig-a", 3),
            (4, "rig-b", 2),
            (3, "rig-a", 2),
            (2, "rig-b", 1),
            (1, "rig-a", 1)
        ]
    );
}

#[test]
fn a_refused_row_is_counted_and_leaves_its_neighbours_alone() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    let mut broken = result(2);
    broken.record.peak = Newtons(f64::NAN);
    let all = outcomes(
        &store,
        "rig-1",
        vec![
            announced(stream, result(1)),
            announced(stream, broken),
            announced(StreamId(77), result(3)),
            closed(stream, 9),
            block(StreamId(77), Block::Raw { run_seq: 1, first_sample: 0, counts: vec![1], missing: vec![] }),
            announced(stream, result(4)),
        ],
    );
    assert_eq!(all[0], Ok(Written::Run(RunId(1))));
    assert!(matches!(all[1], Err(Refused::NotRepresentable(_))), "{all:?}");
    assert!(matches!(all[2], Err(Refused::Unknown { .. })), "{all:?}");
    assert!(matches!(all[3], Err(Refused::Unknown { .. })), "{all:?}");
    assert!(matches!(all[4], Err(Refused::Unknown { .. })), "{all:?}");
    assert_eq!(all[5], Ok(Written::Run(RunId(2))));
    let health = store.writer().health();
    let refused: u64 = health.refused.values().sum();
    assert_eq!((health.queued, health.committed, refused, health.waiting), (7, 3, 4, 0));
    assert_eq!(health.refused["unknown"], 3);
    assert_eq!(health.failing, None);
}

/// A row of every other kind that is kept.
fn one_of_each(stream: StreamId) -> Vec<Write> {
    let who = "Ana".to_owned();
    vec![
        Write::Identity {
            stream,
            utc_ns: T0_NS,
            serial: "s".into(),
            firmware: "f".into(),
            time_scale: 1,
            simulated: false,
        },
        Write::Command {
            utc_ns: T0_NS,
            who: who.clone(),
            command: Box::new(boltscribe::control::Command::Zero),
        },
        Write::Zero { utc_ns: T0_NS, zero_kn: 0.25 },
        Write::Shelf {
            utc_ns: T0_NS,
            who: who.clone(),
            why: None,
            kind: ShelfKind::Pieces,
            name: "ext".into(),
            document: Some(serde_json::json!({"a": 1})),
        },
        Write::Correct {
            run: RunId(1),
            utc_ns: T0_NS,
            who,
            why: "w".into(),
            correction: Correction::Exclude,
        },
        Write::Event { utc_ns: T0_NS, kind: "k".into(), detail: "d".into() },
        Write::Recompute(Box::new(Recomputed {
            run: RunId(1),
            utc_ns: T0_NS,
            who: "Ana".into(),
            why: "w".into(),
            program: "0".into(),
            settings: crate::sample::settings().runs,
            line: crate::sample::calibration(),
            result: result(1),
        })),
        Write::Prune(PruneWrite::Begin {
            utc_ns: T0_NS,
            who: "Ana".into(),
            why: "w".into(),
            before_utc_ns: i64::MAX,
        }),
        Write::Prune(PruneWrite::Runs { pruning: PruningId(1), runs: vec![RunId(1)] }),
    ]
}

#[test]
fn stored_rows_cannot_be_changed_by_any_client() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    put(&store, "rig-1", whole(stream, result(1), 3000));
    put(&store, "rig-1", one_of_each(stream));
    store.close();
    let db = rusqlite::Connection::open(folder.path().join("store.sqlite")).unwrap();
    db.pragma_update(None, "foreign_keys", false).unwrap();
    let tables = [
        ("rigs", "rig"),
        ("streams", "rig"),
        ("identities", "serial"),
        ("commands", "who"),
        ("zeros", "zero_kN"),
        ("shelf", "name"),
        ("runs", "peak_kN"),
        ("blows", "at_s"),
        ("gates", "after_s"),
        ("run_flags", "flag"),
        ("closings", "reason"),
        ("corrections", "why"),
        ("events", "detail"),
        ("recomputations", "held_kN"),
        ("recomputed_blows", "at_s"),
        ("recomputed_gates", "after_s"),
        ("recomputed_flags", "flag"),
        ("prunings", "why"),
        ("tombstones", "sha256"),
        ("idle_tombstones", "blocks"),
        ("run_sources", "source"),
    ];
    // A run without flags has no row of flags; this one is the run's own.
    db.execute("INSERT INTO run_flags (run, flag) VALUES (1, 'spike')", []).unwrap();
    db.execute("INSERT INTO recomputed_flags (recomputation, flag) VALUES (1, 'spike')", []).unwrap();
    db.execute("INSERT INTO idle_tombstones VALUES (1, 1, 1, 0, 1, 1, 1, 1)", []).unwrap();
    for (table, column) in tables {
        let rows: i64 = db.query_row(&format!("SELECT COUNT(*) FROM {table}"), [], |row| row.get(0)).unwrap();
        assert!(rows > 0, "{table} is empty, so nothing is shown");
        for sql in [format!("UPDATE {table} SET {column} = {column}"), format!("DELETE FROM {table}")] {
            let error = db.execute(&sql, []).unwrap_err();
            assert_eq!(error.to_string(), format!("rows of {table} are never changed"));
        }
    }
    let gap = "INSERT INTO runs SELECT 5, rig, 2, stream, 9, first_blow_utc_ns, setup, contacts, tool, bolt,
        calibration, rate_hz, timing, zero_kN, zero_shift_kN, noise_kN, first_blow_s, last_blow_s,
        drive_time_s, blows, blow_rate_hz, ringing_kN, peak_kN, peak_time_s, peak_is_lower_bound, level_kN,
        held_kN, held_Nm, peak_Nm, plateau_kN, plateau_se_kN, plateau_Nm, time_constant_s,
        time_constant_se_s, spikes, missing, clipped, resolution_kN, entered_by, note, result, simulated,
        NULL, NULL, NULL FROM runs";
    assert_eq!(db.execute(gap, []).unwrap_err().to_string(), "runs are numbered without gaps");
}

#[test]
fn samples_packed_anew_are_the_same_bit_for_bit() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    let samples = 300_000;
    let blocks = |store: &Store| -> i64 {
        rusqlite::Connection::open(store.readers().path())
            .unwrap()
            .query_row("SELECT COUNT(*) FROM blocks", [], |row| row.get(0))
            .unwrap()
    };
    put(&store, "rig-1", raw(stream, 1, samples));
    put(&store, "rig-1", vec![announced(stream, result(1))]);
    assert_eq!(blocks(&store), 600);
    let trace = || store.readers().reader().unwrap().trace(RunId(1)).unwrap().unwrap();
    let flat = |trace: &boltscribe::store::RunTrace| -> Vec<i32> {
        trace.blocks.iter().flat_map(|b| b.counts.clone()).collect()
    };
    let before = trace();
    put(&store, "rig-1", vec![block(stream, Block::End { run_seq: 1 })]);
    assert_eq!(blocks(&store), 2);
    let after = trace();
    assert_eq!(flat(&before), codes(1, samples));
    assert_eq!(flat(&after), codes(1, samples));
    assert_eq!(after.blocks[0].first_sample, 20_000);
    assert_eq!(after.blocks[1].first_sample, 20_000 + (1 << 18));
    assert_eq!(after.blocks[0].missing, [(503, 2)]);
    assert_eq!(after.calibration, Some(crate::sample::calibration()));
    put(&store, "rig-1", vec![closed(stream, 1)]);
    let report = store.readers().reader().unwrap().check().unwrap();
    assert!(report.ok, "{report:?}");
    assert_eq!(report.samples, samples as u64);
    let bytes = report.sample_bytes as f64 / samples as f64;
    println!("{bytes:.3} bytes a sample");
}

#[test]
fn samples_of_what_was_no_run_are_forgotten_and_those_of_a_run_never() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    let none = |run_seq| Write::Recovered { stream, run_seq, result: None, first_blow_utc_ns: T0_NS };
    put(&store, "rig-1", vec![crate::sample::opening(stream, 1)]);
    put(&store, "rig-1", raw(stream, 1, 2000));
    put(&store, "rig-1", vec![none(1)]);
    put(&store, "rig-1", whole(stream, result(2), 8000));
    let refused = outcomes(&store, "rig-1", vec![none(2)]);
    assert!(matches!(refused[0], Err(Refused::Duplicate(_))), "{refused:?}");
    let report = store.readers().reader().unwrap().check().unwrap();
    assert!(report.ok, "{report:?}");
    assert_eq!(report.samples, 8000);
    assert_eq!((report.rows["open_runs"], report.rows["events"]), (0, 1));
}

#[test]
fn idle_time_is_stored_and_checked() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    let idle = |points: usize| Block::Idle {
        first_sample: 0,
        rate_hz: 2000.0,
        samples_per_point: 100,
        points: vec![Thin { min: -3, max: 9, mean: 1.5 }; points],
    };
    put(&store, "rig-1", vec![block(stream, idle(100)), block(stream, idle(0))]);
    let check = || store.readers().reader().unwrap().check().unwrap();
    let report = check();
    assert!(report.ok, "{report:?}");
    assert_eq!(report.rows["idle_blocks"], 1, "no point, no row");
    let db = rusqlite::Connection::open(store.readers().path()).unwrap();
    db.execute("UPDATE idle_blocks SET points = 99", []).unwrap();
    assert!(check().faults[0].contains("idle block 1 does not unpack"));
}

#[test]
fn a_new_version_on_the_shelf_leaves_the_old_one_stored() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let shelf = |document: Option<serde_json::Value>| Write::Shelf {
        utc_ns: T0_NS,
        who: "Ana".into(),
        why: Some("bought".into()),
        kind: ShelfKind::Pieces,
        name: "ext 125".into(),
        document,
    };
    let put_one = |document| store.writer().store("", shelf(document)).unwrap();
    assert!(matches!(put_one(None), Err(Refused::Unknown { .. })));
    put_one(Some(serde_json::json!({"length_mm": 125.0}))).unwrap();
    put_one(Some(serde_json::json!({"length_mm": 126.0}))).unwrap();
    let reader = store.readers().reader().unwrap();
    let now = reader.shelf(ShelfKind::Pieces).unwrap();
    assert_eq!(now.len(), 1);
    assert_eq!(now[0].document["length_mm"], 126.0);
    put_one(None).unwrap();
    assert_eq!(reader.shelf_entry(ShelfKind::Pieces, "ext 125").unwrap(), None);
    assert_eq!(reader.check().unwrap().rows["shelf"], 3);
}

#[test]
fn rows_wait_in_memory_while_the_store_cannot_be_written() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    let other = rusqlite::Connection::open(folder.path().join("store.sqlite")).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let pending = store.writer().submit("rig-1", vec![announced(stream, result(1))]).unwrap();
    while store.writer().health().failing.is_none() {
        std::thread::sleep(Duration::from_millis(10));
    }
    assert_eq!(store.writer().health().committed, 1, "only the stream is committed yet");
    other.execute_batch("ROLLBACK").unwrap();
    assert_eq!(pending.wait_blocking().unwrap(), [Ok(Written::Run(RunId(1)))]);
    let health = store.writer().health();
    assert!(health.failed_commits > 0 && health.failing.is_none(), "{health:?}");
}

#[test]
fn a_list_of_2000_runs_is_complete_page_by_page() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    let writes = (1..=2000).map(|run_seq| announced(stream, result(run_seq))).collect();
    put(&store, "rig-1", writes);
    let tag = NewTags { setup: Some("with joint".into()), ..NewTags::default() };
    let correct = |run| Write::Correct {
        run: RunId(run),
        utc_ns: T0_NS,
        who: "Ana".into(),
        why: "was on".into(),
        correction: Correction::Tag(tag.clone()),
    };
    put(&store, "rig-1", (1..=500).map(correct).collect());
    let reader = store.readers().reader().unwrap();
    let pages = |filter: RunFilter| -> Vec<i64> {
        let mut ids = Vec::new();
        let mut before = None;
        loop {
            let page = reader.runs(&RunFilter { before, limit: 300, ..filter.clone() }).unwrap();
            ids.extend(page.iter().map(|run| run.id.0));
            match page.last() {
                Some(last) => before = Some(last.id.0),
                None => return ids,
            }
        }
    };
    assert_eq!(pages(RunFilter::default()), (1..=2000).rev().collect::<Vec<i64>>());
    let of_setup = |name: &str| RunFilter { setup: Some(name.into()), ..RunFilter::default() };
    assert_eq!(pages(of_setup("with joint")), (1..=500).rev().collect::<Vec<i64>>());
    assert_eq!(pages(of_setup("bare")), (501..=2000).rev().collect::<Vec<i64>>());
    let since = RunFilter { since_utc_ns: Some(T0_NS + 1990 * 10_000_000_000), ..RunFilter::default() };
    assert_eq!(pages(since), (1990..=2000).rev().collect::<Vec<i64>>());
    let detail = reader.run(RunId(3)).unwrap().unwrap();
    assert_eq!(detail.line.setup.as_deref(), Some("with joint"));
    assert_eq!(detail.line.contacts, None, "contacts of another setup are not taken over");
    assert_eq!(detail.result.in_force().setup.as_deref(), Some("bare"));
    assert!(matches!(
        announced(stream, detail.result.measured().unwrap().clone()),
        Write::Run { row: RunRow::Announced(_), .. }
    ));
}
