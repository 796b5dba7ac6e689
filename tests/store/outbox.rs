//! The outbox: who enters, with which transaction, who leaves, and that an older store gets one.
//!
//! Forwarding itself is tested in tests/forward.

use crate::sample::{T0_NS, announced, begin, closed, in_force, opening, put, result, result_with, whole};
use boltscribe::store::{
    Correction, Mode, NewTags, OutboxItem, OutboxStatus, OutboxWrite, RunId, Store, StreamId, Write, Written,
    outbox,
};

struct Case {
    store: Store,
    stream: StreamId,
    folder: tempfile::TempDir,
}

impl Case {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let stream = begin(&store, "rig-1");
        Self { store, stream, folder }
    }

    fn forwarding() -> Self {
        let case = Self::new();
        case.change(OutboxWrite::Forwarding(true));
        case
    }

    fn change(&self, write: OutboxWrite) -> Written {
        put(&self.store, "", vec![Write::Outbox(write)])[0]
    }

    fn correct(&self, run: i64, correction: Correction) {
        let who = "Ana".to_owned();
        let write = Write::Correct { run: RunId(run), utc_ns: T0_NS, who, why: "a test".into(), correction };
        put(&self.store, "rig-1", vec![write]);
    }

    fn rows(&self) -> Vec<(i64, String)> {
        let rows = self.store.readers().reader().unwrap().outbox(0, 10_000).unwrap();
        rows.into_iter()
            .map(|row| {
                let word = match row.item {
                    OutboxItem::Run(run) => format!("run {}", run.key.run),
                    OutboxItem::Closing(closing) => format!("closing {}", closing.key.run),
                    OutboxItem::Correction(run) => format!("correction {}", run.key.run),
                    OutboxItem::Health(lines) => format!("health {lines}"),
                };
                (row.id, word)
            })
            .collect()
    }

    fn words(&self) -> Vec<String> {
        self.rows().into_iter().map(|(_, word)| word).collect()
    }

    fn status(&self) -> OutboxStatus {
        self.store.readers().reader().unwrap().outbox_status().unwrap()
    }

    fn sound(&self) {
        let report = self.store.readers().reader().unwrap().check().unwrap();
        assert!(report.ok, "{:?}", report.faults);
    }
}

fn tag(setup: &str) -> Correction {
    Correction::Tag(NewTags { setup: Some(setup.into()), contacts: None, tool: None, shelf: None })
}

#[test]
fn nothing_enters_the_outbox_while_nothing_is_set_up_to_forward() {
    let case = Case::new();
    put(&case.store, "rig-1", whole(case.stream, result(1), 12_000));
    case.correct(1, tag("other"));
    case.change(OutboxWrite::Health { lines: "m f=1".into() });
    assert!(case.words().is_empty());
    case.change(OutboxWrite::Forwarding(true));
    put(&case.store, "rig-1", whole(case.stream, result(2), 12_000));
    case.change(OutboxWrite::Forwarding(false));
    put(&case.store, "rig-1", whole(case.stream, result(3), 12_000));
    assert_eq!(case.words(), ["run 2", "closing 2"], "what waits is kept, what comes later does not enter");
    case.sound();
}

#[test]
fn a_run_its_closing_and_each_correction_enter_once_and_a_refused_row_enters_nothing() {
    let case = Case::forwarding();
    put(&case.store, "rig-1", whole(case.stream, result(1), 12_000));
    assert_eq!(case.words(), ["run 1", "closing 1"]);
    case.correct(1, Correction::Exclude);
    case.correct(1, Correction::Restore);
    assert_eq!(case.words(), ["run 1", "closing 1", "correction 1", "correction 1"]);
    let again = case.store.writer().store("rig-1", announced(case.stream, result(1))).unwrap();
    assert!(again.is_err());
    assert_eq!(case.status().waiting, 4);
    case.sound();
}

#[test]
fn a_correction_made_before_the_closing_goes_with_it() {
    let case = Case::forwarding();
    put(&case.store, "rig-1", vec![announced(case.stream, result(1))]);
    case.correct(1, tag("other"));
    assert_eq!(case.words(), ["run 1"]);
    put(&case.store, "rig-1", vec![closed(case.stream, 1)]);
    assert_eq!(case.words(), ["run 1", "closing 1", "correction 1"]);
}

#[test]
fn a_run_cut_off_by_a_crash_is_closed_and_forwarded_at_the_next_opening() {
    let case = Case::forwarding();
    put(&case.store, "rig-1", vec![opening(case.stream, 1), announced(case.stream, result(1))]);
    let Case { store, folder, stream } = case;
    store.close();
    let store = Store::open(folder.path(), Mode::Existing).unwrap();
    let case = Case { store, stream, folder };
    assert_eq!(case.words(), ["run 1", "closing 1"]);
}

#[test]
fn a_correction_holds_the_tags_and_the_verdict_of_its_time_and_a_run_those_of_its_own() {
    let case = Case::forwarding();
    put(&case.store, "rig-1", whole(case.stream, result_with(1, in_force("bare", "tool A"), &[]), 12_000));
    case.correct(1, tag("ext 75"));
    case.correct(1, Correction::Exclude);
    let rows = case.store.readers().reader().unwrap().outbox(0, 10).unwrap();
    let OutboxItem::Run(run) = &rows[0].item else { panic!("expected the run first") };
    assert_eq!((run.key.setup.as_deref(), run.corrections, run.counts), (Some("bare"), 0, None));
    let OutboxItem::Closing(closing) = &rows[1].item else { panic!("expected the closing second") };
    assert_eq!((closing.key.setup.as_deref(), closing.counts), (Some("bare"), true));
    let OutboxItem::Correction(run) = &rows[3].item else { panic!("expected a correction last") };
    assert_eq!((run.key.setup.as_deref(), run.corrections, run.counts), (Some("ext 75"), 2, Some(false)));
    assert!(run.numbers.contains(&("contacts", None)), "contacts belong to the setup: {:?}", run.numbers);
    assert_eq!(run.gates.len(), 2);
}

#[test]
fn delivered_rows_leave_and_those_in_quarantine_stay_until_they_are_sent_again() {
    let case = Case::forwarding();
    for run in 1..=3 {
        put(&case.store, "rig-1", whole(case.stream, result(run), 12_000));
    }
    let ids: Vec<i64> = case.rows().iter().map(|(id, _)| *id).collect();
    case.change(OutboxWrite::Quarantine { id: ids[2], reason: "no".repeat(1000) });
    assert_eq!(case.change(OutboxWrite::Delivered { first: ids[0], last: ids[4] }), Written::Rows(4));
    assert_eq!(case.words(), ["closing 3"]);
    let status = case.status();
    assert_eq!((status.waiting, status.quarantined, status.delivered), (1, 1, 4));
    let kept = case.store.readers().reader().unwrap().quarantine(10).unwrap();
    assert_eq!((kept[0].kind.as_str(), kept[0].run, kept[0].reason.len()), ("run", Some(2), 500));
    let unknown = case.store.writer().store("", Write::Outbox(OutboxWrite::Again(Some(ids[5])))).unwrap();
    assert!(unknown.unwrap_err().to_string().contains("in quarantine"));
    assert_eq!(case.change(OutboxWrite::Again(None)), Written::Rows(1));
    // A new number: a late word about the rows it was sent with must not take it along.
    assert_eq!(case.change(OutboxWrite::Delivered { first: ids[0], last: ids[5] }), Written::Rows(1));
    assert_eq!(case.words(), ["run 2"]);
    case.sound();
}

#[test]
fn stored_runs_enter_again_by_number_and_none_twice() {
    let case = Case::new();
    for run in 1..=3 {
        put(&case.store, "rig-1", whole(case.stream, result(run), 12_000));
    }
    case.correct(2, Correction::Exclude);
    case.change(OutboxWrite::Forwarding(true));
    assert_eq!(case.change(OutboxWrite::Runs { first: 2, last: 3 }), Written::Rows(5));
    assert_eq!(case.words(), ["run 2", "closing 2", "correction 2", "run 3", "closing 3"]);
    assert_eq!(case.change(OutboxWrite::Runs { first: 1, last: 3 }), Written::Rows(2));
    assert_eq!(case.change(OutboxWrite::Runs { first: 1, last: 3 }), Written::Rows(0));
}

#[test]
fn a_full_outbox_takes_no_more_rows_of_runs_counts_them_and_keeps_the_runs() {
    let case = Case::forwarding();
    let db = rusqlite::Connection::open(case.folder.path().join("store.sqlite")).unwrap();
    let most = outbox::WAITING_MAX;
    db.execute("UPDATE outbox_state SET waiting = ?1", [most]).unwrap();
    put(&case.store, "rig-1", whole(case.stream, result(1), 12_000));
    assert!(case.words().is_empty());
    let status = case.status();
    assert_eq!((status.rows_dropped, status.waiting), (2, most.unsigned_abs()));
    assert_eq!(case.store.readers().reader().unwrap().run_count().unwrap(), 1);
    // Two rows a run, three where it was corrected.
    assert!(most / 3 >= 1_000_000);
}
