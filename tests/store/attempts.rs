//! Attempts at the steps of trials, as the store takes them: with the tags, whole or not at all.
//!
//! What a step means is the business of `trial`; here runs name one, rightly or not.

use crate::sample::{T0_NS, announced, begin, in_force, put, result_with};
use boltscribe::control::{Attempt, Command, InForce};
use boltscribe::results::Measure;
use boltscribe::store::{Mode, Refused, RunId, Store, StreamId, Write, Written};
use boltscribe::trial::{Fresh, Go, Order, Phase, Plan, Said, Step};

fn plan(name: &str, rig: &str) -> Write {
    let plan = Plan {
        name: name.into(),
        rig: rig.into(),
        tools: vec!["tool A".into()],
        baseline: "bare".into(),
        setups: vec!["long".into()],
        repeats: 2,
        order: Order::Blocks,
        seed: 1,
        drawing: None,
        baseline_every: None,
        warm_up: true,
        measure: Measure::Held,
        remount: None,
        looks: Vec::new(),
        rest_s: 0.0,
        fresh: Fresh::No,
        air_kpa: None,
        bolt: None,
    };
    Write::Trial { utc_ns: T0_NS, who: "Ana".into(), plan: Box::new(plan) }
}

fn tags(trial: &str, step: u32, attempt: u32) -> InForce {
    let attempt = Some(Attempt { trial: trial.into(), step, attempt });
    InForce { attempt, ..in_force("bare", "tool A") }
}

/// "Ready" as the page stores it: what is said and the tags.
fn ready(trial: i64, go: u32, in_force: InForce) -> Write {
    let number = in_force.attempt.as_ref().map_or(0, |attempt| attempt.step);
    let phase = if number == 0 { Phase::WarmUp } else { Phase::Baseline };
    let step = Step { number, phase, tool: "tool A".into(), setup: "bare".into(), block: 0 };
    let (utc_ns, who) = (T0_NS + i64::from(go), "Ana".to_owned());
    Write::Many(vec![
        Write::Command { utc_ns, who: who.clone(), command: Box::new(Command::Use { in_force }) },
        Write::TrialEntry { trial, utc_ns, who, said: Said::Ready(Go { go, step }) },
    ])
}

struct Case {
    store: Store,
    stream: StreamId,
    _folder: tempfile::TempDir,
}

/// Two trials, the first at this rig and the second at another one.
fn case() -> Case {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    put(&store, "bench", vec![plan("one", "bench"), plan("two", "other")]);
    let stream = begin(&store, "bench");
    Case { store, stream, _folder: folder }
}

fn run(case: &Case, run_seq: u32, tags: InForce) {
    put(&case.store, "bench", vec![announced(case.stream, result_with(run_seq, tags, &[]))]);
}

fn taken(store: &Store, trial: i64) -> Vec<(u32, RunId)> {
    let runs = store.readers().reader().unwrap().trial_runs(trial).unwrap();
    runs.into_iter().map(|(attempt, line)| (attempt, line.id)).collect()
}

#[test]
fn one_run_takes_an_attempt_and_only_one_that_was_given_at_its_rig() {
    let case = case();
    put(&case.store, "bench", vec![ready(1, 1, tags("one", 1, 1))]);
    put(&case.store, "other", vec![ready(2, 1, tags("two", 1, 1))]);
    // Of no such trial, of another rig's, one that nobody was ready for, then twice the right one.
    let all =
        [tags("none", 1, 1), tags("two", 1, 1), tags("one", 2, 2), tags("one", 1, 1), tags("one", 1, 1)];
    for (run_seq, tags) in (1..).zip(all) {
        run(&case, run_seq, tags);
    }
    let reader = case.store.readers().reader().unwrap();
    assert_eq!(reader.run_count().unwrap(), 5, "whatever they name, runs are stored");
    assert_eq!((taken(&case.store, 1), taken(&case.store, 2)), (vec![(1, RunId(4))], vec![]));
    assert_eq!(reader.in_force("bench").unwrap().unwrap().in_force, in_force("bare", "tool A"));
    assert!(reader.in_force("other").unwrap().unwrap().in_force.attempt.is_some(), "still awaited");
    assert!(reader.check().unwrap().faults.iter().all(|fault| !fault.contains("attempt")));
}

#[test]
fn a_run_of_the_warm_up_is_cold_and_those_beside_it_are_not() {
    let case = case();
    put(&case.store, "bench", vec![ready(1, 1, tags("one", 0, 1))]);
    for run_seq in 1..=2 {
        run(&case, run_seq, tags("one", 0, 1));
    }
    let reader = case.store.readers().reader().unwrap();
    let is_cold = |id| reader.run(RunId(id)).unwrap().unwrap().line.flags.contains(&"cold".to_owned());
    assert_eq!([is_cold(1), is_cold(2)], [true, false]);
}

#[test]
fn rows_that_belong_together_are_stored_together_or_not_at_all() {
    let case = case();
    let commands = || {
        let sql = "SELECT COUNT(*) FROM commands WHERE kind = 'use'";
        let file = case.store.readers().path().to_owned();
        rusqlite::Connection::open(file).unwrap().query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap()
    };
    let store = |write: Write| case.store.writer().store("bench", write).unwrap();
    assert_eq!(store(ready(1, 1, tags("one", 1, 1))), Ok(Written::Row));
    assert_eq!(commands(), 1);
    // The second one is as late as can be: the tags would have been stored before.
    let refused = store(ready(1, 1, tags("one", 2, 1))).unwrap_err();
    assert_eq!(refused, Refused::Duplicate("an entry of a trial".into()));
    let refused = store(ready(99, 1, tags("one", 2, 1))).unwrap_err();
    assert!(matches!(&refused, Refused::Unknown { what, .. } if what == "an entry of a trial"), "{refused}");
    assert_eq!(commands(), 1, "what was refused left no trace");
    let before = case.store.writer().health().commits;
    assert_eq!(store(ready(1, 2, tags("one", 2, 2))), Ok(Written::Row));
    assert_eq!((commands(), case.store.writer().health().commits - before), (2, 1));
}
