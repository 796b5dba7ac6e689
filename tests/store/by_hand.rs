//! Readings by hand among measured runs: numbers, columns, corrections, forwarding, the check.
//!
//! They have no samples, no stream and no closing; everything else is as with any run.

use crate::sample::{T0_NS, begin, in_force, put, result, whole};
use boltscribe::control::InForce;
use boltscribe::results::{ByHand, Dial, DialUnit, Entry, Reading, ReadingOf};
use boltscribe::store::{
    Correction, Mode, NewTags, OutboxItem, OutboxWrite, RunFilter, RunId, Store, Write, Written,
};
use rusqlite::Connection;

fn read(kn: f64, of: ReadingOf, in_force: InForce) -> ByHand {
    let dial = Dial {
        unit: DialUnit::Kn,
        piston_area: None,
        resolution: 0.5,
        range_kn: Some(250.0),
        correction: None,
    };
    let meaning = dial.read(kn, None).unwrap();
    let mut reading = Reading::new(dial, (kn, DialUnit::Kn), meaning, of, "ana".into());
    reading.note = Some("pointer trembled".into());
    ByHand::new(reading, in_force)
}

fn reading(n: i64, read: ByHand) -> Write {
    Write::Reading { utc_ns: T0_NS + n * 1_000_000_000, reading: Box::new(read) }
}

#[test]
fn readings_are_numbered_with_the_runs_and_come_back_equal_in_every_bit() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "bench");
    // A third of a newton is no short decimal: it shows whether figures are kept exactly.
    let third = read(250.0 / 3.0, ReadingOf::Held, in_force("bare", "tool A"));
    let peak = read(96.5, ReadingOf::Peak, InForce::default());
    assert_eq!(put(&store, "press", vec![reading(1, third.clone())]), [Written::Run(RunId(1))]);
    put(&store, "bench", whole(stream, result(1), 20_000));
    assert_eq!(put(&store, "press", vec![reading(3, peak.clone())]), [Written::Run(RunId(3))]);
    let reader = store.readers().reader().unwrap();
    let run = |id| reader.run(RunId(id)).unwrap().unwrap();
    assert_eq!(run(1).result, third.clone().into());
    assert_eq!(run(2).result, result(1).into());
    assert_eq!(run(3).result, Entry::from(peak));
    assert_eq!((run(1).line.rig_run, run(2).line.rig_run, run(3).line.rig_run), (1, 1, 2));
    let (held, peak) = (run(1).line, run(3).line);
    assert_eq!((held.held_kn, held.peak_kn), (Some(third.reading.tension.kn()), None));
    assert_eq!((peak.held_kn, peak.peak_kn, peak.equivalent_torque_nm), (None, Some(96.5), None));
    // The factor of the test's bolt is 312.5 N per N·m.
    assert!((held.equivalent_torque_nm.unwrap() - 250_000.0 / 3.0 / 312.5).abs() < 1e-9);
    assert_eq!((held.resolution_kn, held.note.as_deref()), (Some(0.5), Some("pointer trembled")));
    assert_eq!(held.entered_by.as_deref(), Some("ana"));
    for line in [&held, &peak] {
        assert_eq!((line.drive_time_s, line.first_blow_s, line.blows), (None, None, None));
        assert_eq!((&line.timing, &line.calibration, &line.closed_by), (&None, &None, &None));
        assert!(line.gates.is_empty() && !line.simulated);
    }
    assert_eq!((held.excluded, peak.left_out_because), (false, vec!["untagged".to_owned()]));
    assert_eq!(reader.trace(RunId(1)).unwrap(), None);
    assert!(reader.trace(RunId(2)).unwrap().is_some());
    let report = reader.check().unwrap();
    assert!(report.ok, "{:?}", report.faults);
}

#[test]
fn a_reading_is_tagged_excluded_and_restored_like_any_run() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    put(&store, "press", vec![reading(1, read(81.5, ReadingOf::Held, InForce::default()))]);
    let correct = |correction| Write::Correct {
        run: RunId(1),
        utc_ns: T0_NS,
        who: "ana".into(),
        why: "mistyped".into(),
        correction,
    };
    let reader = store.readers().reader().unwrap();
    let because = || reader.run(RunId(1)).unwrap().unwrap().line.left_out_because;
    let tags = NewTags { setup: Some("bare".into()), ..NewTags::default() };
    put(&store, "", vec![correct(Correction::Tag(tags))]);
    assert!(because().is_empty());
    let of_setup = RunFilter { setup: Some("bare".into()), ..RunFilter::default() };
    assert_eq!(reader.runs(&of_setup).unwrap().len(), 1);
    put(&store, "", vec![correct(Correction::Exclude)]);
    assert_eq!(because(), ["excluded by ana: mistyped"]);
    put(&store, "", vec![correct(Correction::Restore)]);
    assert!(because().is_empty());
    assert!(reader.check().unwrap().ok);
}

#[test]
fn a_reading_is_forwarded_at_once_and_each_correction_of_it_too() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let early = read(80.0, ReadingOf::Held, in_force("bare", "tool A"));
    put(&store, "press", vec![reading(1, early)]);
    put(&store, "", vec![Write::Outbox(OutboxWrite::Forwarding(true))]);
    put(&store, "press", vec![reading(2, read(81.5, ReadingOf::Held, InForce::default()))]);
    let exclude = |run| Write::Correct {
        run: RunId(run),
        utc_ns: T0_NS,
        who: "ana".into(),
        why: "mistyped".into(),
        correction: Correction::Exclude,
    };
    put(&store, "", vec![exclude(2)]);
    let rows = || store.readers().reader().unwrap().outbox(0, 100).unwrap();
    let [OutboxItem::Run(run), OutboxItem::Correction(corrected)] =
        &rows().into_iter().map(|row| row.item).collect::<Vec<_>>()[..]
    else {
        panic!("expected a run and its correction, found {:?}", rows());
    };
    // Nothing was in force, so a flag leaves it out; no closing will say so later.
    assert_eq!((run.key.run, run.counts, run.simulated, run.corrections), (2, Some(false), Some(false), 0));
    assert_eq!((corrected.key.run, corrected.counts, corrected.corrections), (2, Some(false), 1));
    let figures: Vec<_> = run.figures.iter().filter(|(_, value)| value.is_some()).collect();
    assert_eq!(figures, [&("held_kN", Some(81.5)), &("resolution_kN", Some(0.5))]);
    // What came before it was set up is sent when a person asks for it, corrections included.
    put(&store, "", vec![Write::Outbox(OutboxWrite::Forwarding(false)), exclude(1)]);
    put(&store, "", vec![Write::Outbox(OutboxWrite::Runs { first: 1, last: 2 })]);
    let kinds: Vec<(bool, i64)> = rows()
        .iter()
        .map(|row| match &row.item {
            OutboxItem::Run(run) => (false, run.key.run),
            OutboxItem::Correction(run) => (true, run.key.run),
            other => panic!("expected runs and corrections, found {other:?}"),
        })
        .collect();
    assert_eq!(kinds, [(false, 2), (true, 2), (false, 1), (true, 1)]);
    assert!(store.readers().reader().unwrap().check().unwrap().ok);
}

#[test]
fn what_was_in_force_at_a_moment_is_the_last_word_by_then() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let told = |s: i64, setup: &str| Write::Command {
        utc_ns: T0_NS + s * 1_000_000_000,
        who: "ana".into(),
        command: Box::new(boltscribe::control::Command::Use { in_force: in_force(setup, "tool A") }),
    };
    put(&store, "press", vec![told(10, "bare"), told(20, "long")]);
    let reader = store.readers().reader().unwrap();
    let at = |s: i64| reader.in_force_at("press", T0_NS + s * 1_000_000_000).unwrap().setup;
    assert_eq!(at(9), None);
    assert_eq!(at(10).as_deref(), Some("bare"));
    assert_eq!(at(19).as_deref(), Some("bare"));
    assert_eq!(at(20).as_deref(), Some("long"));
    assert_eq!(reader.in_force_at("other", T0_NS + 30_000_000_000).unwrap(), InForce::default());
}

#[test]
fn the_schema_demands_of_a_measured_run_what_only_a_dial_may_lack() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "bench");
    put(&store, "bench", whole(stream, result(1), 20_000));
    put(&store, "press", vec![reading(1, read(81.5, ReadingOf::Held, InForce::default()))]);
    store.close();
    let open = Connection::open(folder.path().join("store.sqlite")).unwrap();
    let columns: Vec<String> = open
        .prepare("SELECT name FROM pragma_table_info('runs')")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    // A copy of run `of` with the next numbers, one column set to null.
    let without = |of: i64, column: &str| {
        let values: Vec<String> = columns
            .iter()
            .map(|name| match name.as_str() {
                _ if name == column => "NULL".into(),
                "id" => "3".into(),
                "rig_run" => "2".into(),
                "run_seq" => "run_seq + 1".into(),
                _ => name.clone(),
            })
            .collect();
        open.execute_batch("BEGIN").unwrap();
        let done = open
            .execute(&format!("INSERT INTO runs SELECT {} FROM runs WHERE id = {of}", values.join(", ")), []);
        open.execute_batch("ROLLBACK").unwrap();
        done.map_err(|error| error.to_string())
    };
    assert_eq!(without(1, "setup"), Ok(1));
    assert_eq!(without(2, "note"), Ok(1));
    for column in
        ["rate_hz", "timing", "calibration", "zero_kN", "drive_time_s", "peak_kN", "spikes", "stream"]
    {
        let told = without(1, column).unwrap_err();
        assert!(told.contains("CHECK constraint failed"), "{column}: {told}");
    }
    for column in ["held_kN", "resolution_kN", "entered_by"] {
        let told = without(2, column).unwrap_err();
        assert!(told.contains("CHECK constraint failed"), "{column}: {told}");
    }
}

#[test]
fn the_check_finds_a_reading_whose_columns_are_not_those_of_its_document() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    put(&store, "press", vec![reading(1, read(81.5, ReadingOf::Held, InForce::default()))]);
    store.close();
    let open = Connection::open(folder.path().join("store.sqlite")).unwrap();
    open.execute_batch("DROP TRIGGER runs_refuses_UPDATE; UPDATE runs SET held_kN = 82.5 WHERE id = 1;")
        .unwrap();
    drop(open);
    let store = Store::open(folder.path(), Mode::Existing).unwrap();
    let report = store.readers().reader().unwrap().check().unwrap();
    assert!(
        report
            .faults
            .iter()
            .any(|f| f == "run 1: its column held_kN differs from its document: expected 81.5, found 82.5"),
        "{report:?}"
    );
}
