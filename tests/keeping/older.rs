//! A store of the version before this one is brought up whole.
//!
//! It is made of that version's own schema files and of rows that the present program stored.

use crate::desk::Desk;
use boltscribe::store::migrate::{APPLICATION_ID, SCHEMA_VERSION};

#[test]
fn a_store_of_version_2_keeps_every_row_and_gets_its_registers() {
    let (new, old) = (Desk::with(&["two-runs", "not-fresh", "second-pull"]), Desk::new());
    std::fs::create_dir(old.path("store")).unwrap();
    let db = rusqlite::Connection::open(old.path("store/store.sqlite")).unwrap();
    db.execute_batch(include_str!("../../src/store/schema.sql")).unwrap();
    db.execute_batch(include_str!("../../src/store/outbox.sql")).unwrap();
    let from = new.path("store/store.sqlite").display().to_string();
    db.execute("ATTACH ?1 AS new", [&from]).unwrap();
    for table in [
        "meta",
        "flags",
        "rigs",
        "streams",
        "identities",
        "commands",
        "zeros",
        "shelf",
        "runs",
        "blows",
        "gates",
        "run_flags",
        "closings",
        "corrections",
        "blocks",
        "idle_blocks",
        "open_runs",
        "events",
    ] {
        db.execute_batch(&format!("INSERT INTO main.{table} SELECT * FROM new.{table}")).unwrap();
    }
    db.execute_batch("DETACH new").unwrap();
    db.pragma_update(None, "application_id", APPLICATION_ID).unwrap();
    db.pragma_update(None, "user_version", 2).unwrap();
    db.close().unwrap();

    // As a copy it is not touched, and it can be put in place of another store.
    let copy = old.path("store/store.sqlite").display().to_string();
    assert!(old.fails(3, &["--store", &copy, "runs", "list"]).contains("schema version"));
    let third = Desk::with(&["plain-500"]);
    assert_eq!(third.json(&["store", "restore", &copy])["runs"], 4);
    for desk in [&old, &third] {
        assert_eq!(desk.sound()["schema_version"], SCHEMA_VERSION);
        assert_eq!(
            desk.json(&["runs", "list", "--all"])["runs"],
            new.json(&["runs", "list", "--all"])["runs"]
        );
        let again = desk.json(&["runs", "recompute", "--all", "--dry-run"]);
        assert!(again["outcomes"].as_array().unwrap().iter().all(|o| o["outcome"] == "unchanged"), "{again}");
    }
    let sources = |desk: &Desk| {
        let db = rusqlite::Connection::open(desk.path("store/store.sqlite")).unwrap();
        let sql = "SELECT json_group_array(source || first_blow_utc_ns || run) FROM run_sources";
        db.query_row(sql, [], |row| row.get::<_, String>(0)).unwrap()
    };
    assert!(sources(&new).len() > 2, "a recording names its battery");
    assert_eq!(sources(&old), sources(&new));
}
