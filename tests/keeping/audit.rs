//! The audit chain: whatever changes, goes or comes in a kept table of a stored session is found and named.
//!
//! Changes are made with SQLite's own statements in a copy, past the program, as a flipped bit or another client would.

use crate::desk::{Desk, T0_NS};
use boltscribe::store::{Head, Mode, ShelfKind, Store, StreamId, Write, open_read_only};
use rusqlite::types::Value;
use rusqlite::{Connection, params_from_iter};
use serde_json::json;
use std::collections::BTreeMap;
use std::path::Path;

/// A session with rows in every kept table that is easily filled: runs, a reading, a run measured again, corrections, a
/// trial, a pruned run, documents of the shelf.
fn session() -> Desk {
    let desk = Desk::with(&["two-runs", "plain-2000", "second-pull", "lost-frames"]);
    let store = Store::open(&desk.path("store"), Mode::Existing).unwrap();
    let writer = store.writer();
    let document = Some(json!({"name": "wrench", "anvil": "1/2", "source": "battery"}));
    let shelf = Write::Shelf {
        utc_ns: T0_NS,
        who: "ana".into(),
        why: Some("new".into()),
        kind: ShelfKind::Tools,
        name: "wrench".into(),
        document,
    };
    let event = Write::Event { utc_ns: T0_NS, kind: "note".into(), detail: "x".into() };
    let identity = Write::Identity {
        stream: StreamId(1),
        utc_ns: T0_NS,
        serial: "TEST-1".into(),
        firmware: "test".into(),
        time_scale: 1,
        simulated: true,
    };
    for write in [shelf, event, identity, Write::Zero { utc_ns: T0_NS, zero_kn: 1.0 / 3.0 }] {
        writer.store("bench", write).unwrap().unwrap();
    }
    store.close();
    let line = json!({"id": "cell-2", "coefficients": [0.0, 1e-4]});
    std::fs::write(desk.path("cell-2.json"), line.to_string()).unwrap();
    let file = desk.path("cell-2.json").display().to_string();
    desk.json(&["runs", "recompute", "1", "--calibration", &file, "--why", "calibrated"]);
    desk.json(&["runs", "exclude", "2", "--why", "socket slipped"]);
    desk.json(&["runs", "tag", "2", "--tool", "wrench", "--why", "was wrong"]);
    desk.json(&["store", "prune", "--before", "2020-01-02", "--why", "disk"]);
    desk.sound();
    desk
}

/// The store of a desk as a copy that any statement may change.
fn open_for_changes(desk: &Desk, name: &str) -> (std::path::PathBuf, Connection) {
    let copy = desk.path(name);
    std::fs::copy(desk.path("store/store.sqlite"), &copy).unwrap();
    let db = Connection::open(&copy).unwrap();
    db.execute_batch(
        "PRAGMA journal_mode = DELETE; PRAGMA synchronous = OFF; PRAGMA foreign_keys = OFF;
         PRAGMA ignore_check_constraints = ON;",
    )
    .unwrap();
    let triggers: Vec<String> = db
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    for trigger in triggers {
        db.execute_batch(&format!("DROP TRIGGER {trigger}")).unwrap();
    }
    (copy, db)
}

fn faults(file: &Path) -> Vec<String> {
    open_read_only(file).unwrap().reader().unwrap().verify(None).unwrap().faults
}

fn rows(db: &Connection, table: &str) -> (Vec<String>, Vec<Vec<Value>>) {
    let mut select = db.prepare(&format!("SELECT * FROM {table}")).unwrap();
    let names: Vec<String> = select.column_names().map(ToOwned::to_owned).collect();
    let found = select
        .query_map([], |row| (0..names.len()).map(|at| row.get(at)).collect())
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    (names, found)
}

/// Another value that the column can hold; a bit of a real number in the middle of its fraction.
fn another(value: &Value, kind: &str) -> Value {
    match value {
        Value::Integer(number) => Value::Integer(number + 1),
        Value::Real(number) => Value::Real(f64::from_bits(number.to_bits() ^ (1 << 30))),
        Value::Text(text) if text.starts_with(['{', '[']) => {
            // A document stays one: an extra space keeps it readable, and what it means.
            Value::Text(format!("{text} "))
        }
        Value::Text(text) => Value::Text(format!("{text}x")),
        Value::Blob(bytes) => {
            Value::Blob(bytes.iter().enumerate().map(|(i, b)| b ^ u8::from(i == 0)).collect())
        }
        Value::Null => match kind {
            "INTEGER" => Value::Integer(1),
            "REAL" => Value::Real(1.0),
            "BLOB" => Value::Blob(vec![1]),
            _ => Value::Text("[1]".into()),
        },
    }
}

/// The tables whose rows are never changed, as the store itself has them: what refuses changes must find them too. `rigs`
/// holds names only, which other rows repeat.
fn kept_tables(db: &Connection) -> Vec<String> {
    let kept: Vec<String> = db
        .prepare(
            "SELECT tbl_name FROM sqlite_schema WHERE type = 'trigger' AND name = tbl_name || '_refuses_UPDATE'
             AND tbl_name <> 'rigs' ORDER BY tbl_name",
        )
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    assert!(kept.len() >= 25, "{kept:?}");
    kept
}

/// Of each table so many rows are tried, spread over it: the first and the last among them.
const ROWS_TRIED: usize = 4;

#[test]
fn every_changed_value_and_every_row_that_goes_is_found() {
    let desk = session();
    let tables = kept_tables(&Connection::open(desk.path("store/store.sqlite")).unwrap());
    let (copy, db) = open_for_changes(&desk, "changed.sqlite");
    assert_eq!(faults(&copy), Vec::<String>::new());
    let mut tried: BTreeMap<&str, usize> = BTreeMap::new();
    for table in tables.iter().map(String::as_str) {
        let (names, all) = rows(&db, table);
        let kinds: BTreeMap<String, String> = db
            .prepare(&format!("SELECT name, type FROM pragma_table_info('{table}')"))
            .unwrap()
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
            .unwrap()
            .collect::<Result<_, _>>()
            .unwrap();
        let step = (all.len() / ROWS_TRIED).max(1);
        let chosen = all.iter().step_by(step).chain(all.last());
        let same = names.iter().enumerate().map(|(at, name)| format!("{name} IS ?{}", at + 1));
        let same = same.collect::<Vec<_>>().join(" AND ");
        for row in chosen {
            for (at, name) in names.iter().enumerate() {
                let mut changed = row.clone();
                changed[at] = another(&row[at], &kinds[name]);
                let set = |to: usize| format!("UPDATE {table} SET {name} = ?{to} WHERE {same}");
                let to = names.len() + 1;
                let values = |from: &[Value], to: &Value| {
                    params_from_iter(from.iter().cloned().chain([to.clone()]).collect::<Vec<_>>())
                };
                if db.execute(&set(to), values(row, &changed[at])).is_err() {
                    // The key of another row: nothing was changed.
                    continue;
                }
                let found = faults(&copy);
                assert!(!found.is_empty(), "{table}.{name} of {row:?} became {:?}", changed[at]);
                assert_eq!(db.execute(&set(to), values(&changed, &row[at])).unwrap(), 1);
                *tried.entry(table).or_default() += 1;
            }
            let marks = (1..=names.len()).map(|at| format!("?{at}")).collect::<Vec<_>>().join(", ");
            assert_eq!(
                db.execute(&format!("DELETE FROM {table} WHERE {same}"), params_from_iter(row.iter()))
                    .unwrap(),
                1
            );
            assert!(!faults(&copy).is_empty(), "{table}: {row:?} went");
            db.execute(&format!("INSERT INTO {table} VALUES ({marks})"), params_from_iter(row.iter()))
                .unwrap();
        }
    }
    assert_eq!(faults(&copy), Vec::<String>::new(), "all was put back");
    for table in
        ["runs", "blows", "gates", "closings", "recomputations", "corrections", "tombstones", "audit"]
    {
        assert!(tried.get(table).is_some_and(|n| *n > 0), "{table}: no row to be tried in {tried:?}");
    }
    let all: usize = tried.values().sum();
    assert!(all > 400, "only {all} changes tried");
}

#[test]
fn a_row_that_another_program_added_is_named() {
    let desk = session();
    let (copy, db) = open_for_changes(&desk, "added.sqlite");
    db.execute_batch(
        "INSERT INTO corrections (run, utc_ns, who, why, kind) VALUES (3, 1, 'bo', 'x', 'exclude')",
    )
    .unwrap();
    let found = faults(&copy);
    assert!(
        found.len() == 1 && found[0].contains("corrections") && found[0].contains("no link"),
        "{found:?}"
    );
    db.execute_batch("INSERT INTO run_flags VALUES (3, 'short')").unwrap();
    assert!(
        faults(&copy).iter().any(|fault| fault.contains("runs 3: expected its flags")),
        "{:?}",
        faults(&copy)
    );
}

#[test]
fn an_end_that_was_cut_off_shows_against_a_head_that_was_noted() {
    let desk = session();
    let report = desk.json(&["store", "verify"]);
    assert_eq!(report["ok"], true, "{report}");
    let noted = Head {
        number: report["head"]["number"].as_i64().unwrap(),
        link: report["head"]["link"].as_str().unwrap().into(),
    };
    let again = desk.json(&["store", "verify", "--head", &noted.to_string()]);
    assert_eq!(again["ok"], true, "the look itself left an event, so the chain is longer: {again}");
    assert!(again["head"]["number"].as_i64().unwrap() > noted.number);

    let (copy, db) = open_for_changes(&desk, "cut.sqlite");
    db.execute_batch("DELETE FROM events; DELETE FROM audit WHERE id >= (SELECT MIN(id) FROM audit WHERE subject = 'events')")
        .unwrap();
    let cut: i64 = db.query_row("SELECT MAX(id) FROM audit", [], |row| row.get(0)).unwrap();
    db.close().unwrap();
    assert!(cut < noted.number);
    let against =
        |head: Option<&Head>| open_read_only(&copy).unwrap().reader().unwrap().verify(head).unwrap().faults;
    assert!(
        against(Some(&noted)).iter().any(|fault| fault.contains("written down")),
        "{:?}",
        against(Some(&noted))
    );
    let other = Head { number: cut, link: "0".repeat(64) };
    assert!(against(Some(&other)).iter().any(|fault| fault.contains("not the one that was written down")));
    assert!(desk.fails(2, &["store", "verify", "--head", "12"]).contains("NUMBER:LINK"));
}

#[test]
fn a_check_says_which_column_differs_from_its_document() {
    let desk = session();
    for (sql, finding) in [
        (
            "UPDATE runs SET drive_time_s = drive_time_s + 1 WHERE id = 1",
            "run 1: its column drive_time_s differs",
        ),
        ("UPDATE runs SET plateau_kN = 1.5 WHERE id = 3", "run 3: its column plateau_kN differs"),
        ("UPDATE runs SET bolt = 'x' WHERE id = 3", "run 3: its column bolt differs"),
        (
            "UPDATE gates SET tension_kN = tension_kN + 8 WHERE run = 1 AND gate = 1",
            "run 1: its gate 1 differs",
        ),
        ("UPDATE blows SET level_kN = level_kN + 8 WHERE run = 2 AND blow = 3", "run 2: its blow 3 differs"),
        (
            "UPDATE recomputed_gates SET tension_kN = 1.0 WHERE gate = 1",
            "as measured again in 1: its gate 1 differs",
        ),
        ("UPDATE recomputations SET held_kN = 1.0", "as measured again in 1: its column held_kN differs"),
        ("DELETE FROM blows WHERE run = 2 AND blow = 3", "run 2: expected"),
        ("DELETE FROM run_flags WHERE run = 4", "run 4: expected its flag"),
        (
            "UPDATE sample_digests SET sha256 = replace(sha256, 'a', 'b')",
            "its samples are not those that were recorded",
        ),
    ] {
        let (copy, db) = open_for_changes(&desk, "column.sqlite");
        assert!(db.execute(sql, []).unwrap() > 0, "{sql}");
        db.close().unwrap();
        let report = open_read_only(&copy).unwrap().reader().unwrap().check().unwrap();
        assert!(report.faults.iter().any(|fault| fault.contains(finding)), "{sql}: {:?}", report.faults);
        std::fs::remove_file(copy).unwrap();
    }
}

#[test]
fn what_the_daily_look_finds_is_an_event_and_a_trouble() {
    let desk = session();
    let (copy, db) = open_for_changes(&desk, "store.sqlite");
    db.execute_batch("UPDATE gates SET tension_kN = tension_kN + 8 WHERE run = 1 AND gate = 1").unwrap();
    db.close().unwrap();
    std::fs::copy(&copy, desk.path("store/store.sqlite")).unwrap();
    let said = desk.run(&["--format", "json", "store", "verify"]);
    assert_eq!(said.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&said.stdout).contains("runs 1: it is not what was committed"));
    let doctor = desk.run(&["doctor"]);
    assert!(String::from_utf8_lossy(&doctor.stdout).contains("not what was committed"));
}

/// Tables of which the session has no row: they get their links by the same code, as others of their kind.
const WITHOUT_ROWS: [&str; 5] = ["calibrations", "idle_tombstones", "run_sources", "trial_entries", "trials"];

#[test]
fn the_session_holds_what_is_to_be_changed() {
    let desk = session();
    let db = Connection::open(desk.path("store/store.sqlite")).unwrap();
    for table in kept_tables(&db).iter().filter(|table| !WITHOUT_ROWS.contains(&table.as_str())) {
        assert!(!rows(&db, table).1.is_empty(), "{table} is empty");
    }
}
