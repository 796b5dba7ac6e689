//! What the real server holds equals what the store holds, field by field, also after it was killed.
//!
//! The comparison reads the store's tables with SQLite and the server's export, and knows nothing of how points
//! are made but their documented names (manual, "Many rigs, one central store").

use crate::central::{Central, Series, name};
use crate::courier::Case;
use crate::sample::{T0_NS, put};
use boltscribe::store::{Correction, NewTags, RunId, Write};
use rusqlite::{Connection, OptionalExtension, types::ValueRef};
use std::collections::BTreeMap;
use std::time::Duration;

/// The server turns numbers into decimals and keeps 12 digits at least; that no bit is lost on the way to a
/// server is checked against the scripted one.
const RELATIVE_MAX: f64 = 1e-12;

/// Columns of the tables, and the names they are sent by where those differ.
const RENAMED: [(&str, &str); 4] = [
    ("id", "run"),
    ("held_Nm", "equivalent_torque_held_Nm"),
    ("peak_Nm", "equivalent_torque_peak_Nm"),
    ("plateau_Nm", "equivalent_torque_plateau_Nm"),
];
/// Columns that are no figures, or that belong to the store alone.
const NOT_SENT: [&str; 11] = [
    "rig",
    "stream",
    "run_seq",
    "first_blow_utc_ns",
    "setup",
    "tool",
    "bolt",
    "calibration",
    "timing",
    "result",
    "verdict",
];

struct Expected<'a> {
    db: &'a Connection,
    series: Series,
}

impl Expected<'_> {
    fn add(&mut self, measurement: &str, field: &str, tags: &[(&str, String)], ns: i64, value: f64) {
        let full = format!("{measurement}_{field}");
        let mut labels: BTreeMap<&str, &str> = BTreeMap::from([("__name__", full.as_str())]);
        labels.extend(tags.iter().map(|(key, value)| (*key, value.as_str())));
        self.series.insert((name(&labels), ns.div_euclid(1_000_000)), value);
    }

    /// Every figure of a row of `runs` or of the view that has the corrected tags.
    fn row(&mut self, measurement: &str, from: &str, run: i64, steps: i64) {
        let mut select = self.db.prepare(&format!("SELECT * FROM {from} WHERE id = ?1")).unwrap();
        let names: Vec<String> = select.column_names().map(str::to_owned).collect();
        let mut rows = select.query([run]).unwrap();
        let row = rows.next().unwrap().unwrap();
        let now = if from == "runs_tagged" { "_now" } else { "" };
        let tag = |name: &str| row.get::<_, Option<String>>(format!("{name}{now}").as_str()).unwrap();
        let mut tags = vec![("rig", row.get("rig").unwrap())];
        tags.extend(["tool", "setup"].into_iter().filter_map(|key| Some((key, tag(key)?))));
        let ns: i64 = row.get("first_blow_utc_ns").unwrap();
        let mut found = Vec::new();
        for column in &names {
            if NOT_SENT.contains(&column.as_str()) || column.ends_with("_now") || column == "contacts" {
                continue;
            }
            let renamed =
                RENAMED.iter().find(|(from, _)| from == column).map_or(column.as_str(), |(_, to)| to);
            let value = match row.get_ref(column.as_str()).unwrap() {
                ValueRef::Null => continue,
                ValueRef::Integer(n) => n as f64,
                ValueRef::Real(x) => x,
                other => panic!("{column}: {other:?}"),
            };
            found.push((renamed.to_owned(), value));
        }
        if let Some(contacts) = row.get::<_, Option<f64>>(format!("contacts{now}").as_str()).unwrap() {
            found.push(("contacts".into(), contacts));
        }
        for (field, value) in found {
            self.add(measurement, &field, &tags, ns + steps * 1_000_000, value);
        }
        self.flags(measurement, run, &tags, ns + steps * 1_000_000);
        self.gates(run, &tags, ns);
        if measurement == "boltscribe_run" {
            self.closing(run, &tags, ns);
        }
    }

    fn flags(&mut self, measurement: &str, run: i64, tags: &[(&str, String)], ns: i64) {
        let mut select = self.db.prepare("SELECT flag FROM run_flags WHERE run = ?1").unwrap();
        let flags: Vec<String> =
            select.query_map([run], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
        for flag in flags {
            self.add(measurement, &format!("flag_{}", flag.replace('-', "_")), tags, ns, 1.0);
        }
    }

    fn gates(&mut self, run: i64, tags: &[(&str, String)], ns: i64) {
        let sql = "SELECT gate, after_s, tension_kN, torque_Nm FROM gates WHERE run = ?1";
        let mut select = self.db.prepare(sql).unwrap();
        let mut rows = select.query([run]).unwrap();
        while let Some(row) = rows.next().unwrap() {
            let gate: f64 = row.get::<_, i64>(0).unwrap() as f64;
            let at = ns + gate as i64 * 1_000_000;
            let figures = [
                ("run", Some(run as f64)),
                ("gate", Some(gate)),
                ("after_s", row.get(1).unwrap()),
                ("tension_kN", row.get(2).unwrap()),
                ("torque_Nm", row.get(3).unwrap()),
            ];
            for (field, value) in figures {
                if let Some(value) = value {
                    self.add("boltscribe_gate", field, tags, at, value);
                }
            }
        }
    }

    fn closing(&mut self, run: i64, tags: &[(&str, String)], ns: i64) {
        let sql = "SELECT closed_s, reason, re_pulled, re_pulled_level_kN FROM closings WHERE run = ?1";
        let read = |row: &rusqlite::Row<'_>| {
            Ok((
                row.get::<_, f64>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, f64>(2)?,
                row.get::<_, Option<f64>>(3)?,
            ))
        };
        let Some((closed_s, reason, re_pulled, level)) =
            self.db.query_row(sql, [run], read).optional().unwrap()
        else {
            return;
        };
        let m = "boltscribe_run";
        self.add(m, "closed_s", tags, ns, closed_s);
        self.add(m, &format!("closed_by_{}", reason.replace('-', "_")), tags, ns, 1.0);
        self.add(m, "re_pulled", tags, ns, re_pulled);
        if let Some(level) = level {
            self.add(m, "re_pulled_level_kN", tags, ns, level);
        }
        let left_out = "SELECT EXISTS (SELECT 1 FROM run_flags rf JOIN flags f USING (flag) WHERE rf.run = ?1 AND f.leaves_out)";
        let left_out: bool = self.db.query_row(left_out, [run], |row| row.get(0)).unwrap();
        self.add(m, "counts", tags, ns, f64::from(u8::from(!left_out)));
        self.add(m, "simulated", tags, ns, 0.0);
    }
}

/// What the server is to hold of the store in `folder`. Each run has at most one correction in these tests.
fn expected(case: &Case) -> Series {
    let db = Connection::open(case.folder.path().join("store.sqlite")).unwrap();
    let runs: i64 = db.query_row("SELECT MAX(id) FROM runs", [], |row| row.get(0)).unwrap();
    let mut all = Expected { db: &db, series: Series::new() };
    for run in 1..=runs {
        all.row("boltscribe_run", "runs", run, 0);
        let sql = "SELECT excluded, (SELECT COUNT(*) FROM corrections WHERE run = ?1) FROM run_results WHERE id = ?1";
        let (excluded, corrections): (bool, i64) =
            db.query_row(sql, [run], |r| Ok((r.get(0)?, r.get(1)?))).unwrap();
        if corrections == 0 {
            continue;
        }
        all.row("boltscribe_correction", "runs_tagged", run, corrections);
        let sql = "SELECT rig, tool_now, setup_now, first_blow_utc_ns FROM runs_tagged WHERE id = ?1";
        let (tags, ns) = db
            .query_row(sql, [run], |row| {
                let tags = [("rig", row.get(0)?), ("tool", row.get(1)?), ("setup", row.get(2)?)];
                Ok((tags, row.get::<_, i64>(3)?))
            })
            .unwrap();
        let at = ns + corrections * 1_000_000;
        all.add("boltscribe_correction", "counts", &tags, at, f64::from(u8::from(!excluded)));
        all.add("boltscribe_correction", "corrections", &tags, at, corrections as f64);
        all.add("boltscribe_correction", "simulated", &tags, at, 0.0);
    }
    all.series
}

/// The first difference, and how many there are.
fn difference(held: &Series, expected: &Series) -> Option<String> {
    let near = |a: f64, b: f64| (a - b).abs() <= RELATIVE_MAX * a.abs().max(b.abs());
    let wrong: Vec<String> = expected
        .iter()
        .filter(|(key, value)| !held.get(key).is_some_and(|found| near(*found, **value)))
        .map(|(key, value)| format!("{key:?}: expected {value:e}, found {:?}", held.get(key)))
        .chain(
            held.keys()
                .filter(|key| !expected.contains_key(key))
                .map(|key| format!("{key:?}: not in the store")),
        )
        .collect();
    wrong.first().map(|first| format!("{} differences, first {first}", wrong.len()))
}

fn correct(case: &Case, run: i64, correction: Correction) {
    let word = Write::Correct {
        run: RunId(run),
        utc_ns: T0_NS,
        who: "Ana".into(),
        why: "a test".into(),
        correction,
    };
    put(&case.store, "rig-1", vec![word]);
}

#[tokio::test(flavor = "multi_thread")]
async fn after_three_kills_the_server_holds_what_the_store_holds_field_by_field() {
    let mut central = Central::new();
    let mut case = Case::new(&central.url()).set(|settings| settings.settle_s = 10);
    case.start();
    for kill in 0..3_u64 {
        case.add(20);
        let tags = NewTags { setup: Some("ext 75".into()), contacts: Some(3), tool: None, shelf: None };
        correct(&case, 20 * kill.cast_signed() + 1, Correction::Tag(tags));
        correct(&case, 20 * kill.cast_signed() + 2, Correction::Exclude);
        case.pushed("a yes to all", |case| case.state().unsettled == case.status().waiting).await;
        // Within the time in which a yes is worth nothing yet.
        tokio::time::sleep(Duration::from_millis(300 + 900 * kill)).await;
        central.kill_and_start_again();
    }
    case.pushed("the outbox to be empty", |case| case.status().waiting == 0).await;
    assert!(case.state().tells_start && case.state().restarts >= 1, "{:?}", case.state());
    // What left the outbox is on the server's disk: a kill now takes nothing away.
    central.kill_and_start_again();
    let (held, expected) = (central.export(), expected(&case));
    assert!(expected.len() > 60 * 30, "{}", expected.len());
    assert_eq!(difference(&held, &expected), None);
    assert_eq!(
        (central.metric("vm_rows_invalid_total"), central.metric("vm_rows_ignored_total")),
        (0.0, 0.0)
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_settle_time_that_is_too_short_loses_rows_and_the_comparison_shows_it() {
    let mut central = Central::new();
    let mut case = Case::new(&central.url());
    case.start();
    // When the server writes to its disk is its own affair, so one kill may come just after it.
    for _ in 0..8 {
        case.add(3);
        case.pushed("the outbox to be empty", |case| case.status().waiting == 0).await;
        central.kill_and_start_again();
        if let Some(difference) = difference(&central.export(), &expected(&case)) {
            assert!(difference.contains("found None"), "{difference}");
            return;
        }
    }
    panic!("expected a loss within 8 kills, found none");
}

#[tokio::test(flavor = "multi_thread")]
async fn names_with_separators_and_backslashes_arrive_as_they_are() {
    let central = Central::new();
    let mut case = Case::new(&central.url());
    case.add(3);
    let names = ["a,b=c d", "\\", "ends with \\", "\"quoted\" 1/2\" × ü\\,\\=\\ "];
    for (run, name) in (1..).zip(&names[..3]) {
        let tags =
            NewTags { setup: Some((*name).into()), contacts: None, tool: Some(names[3].into()), shelf: None };
        correct(&case, run, Correction::Tag(tags));
    }
    case.start();
    case.pushed("the outbox to be empty", |case| case.status().waiting == 0).await;
    tokio::time::sleep(Duration::from_secs(2)).await;
    assert_eq!(difference(&central.export(), &expected(&case)), None);
}
