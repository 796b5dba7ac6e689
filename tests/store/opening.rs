//! Which stores open and which do not, and that a refused one is not touched.
//!
//! Untouched means equal in every byte of every file of the folder but the lock.

use crate::sample::{begin, codes, put, result, whole};
use boltscribe::store::migrate::SCHEMA_VERSION;
use boltscribe::store::{Mode, RunId, Store, StoreError, open_read_only};
use std::collections::BTreeMap;
use std::path::Path;

fn bytes(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| {
            let name = entry.file_name().into_string().unwrap();
            (name, std::fs::read(entry.path()).unwrap())
        })
        .filter(|(name, _)| name != "lock")
        .collect()
}

fn filled(folder: &Path) {
    let store = Store::open(folder, Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    put(&store, "rig-1", whole(stream, result(1), 12_000));
}

fn refused(folder: &Path) -> StoreError {
    match Store::open(folder, Mode::Create) {
        Ok(_) => panic!("expected a refusal, found an open store"),
        Err(error) => error,
    }
}

#[test]
fn a_store_in_use_names_the_process_that_holds_it() {
    let folder = tempfile::tempdir().unwrap();
    let _open = Store::open(folder.path(), Mode::Create).unwrap();
    let error = refused(folder.path());
    assert!(
        matches!(&error, StoreError::Held { holder, .. } if *holder == std::process::id().to_string()),
        "{error}"
    );
}

#[test]
fn a_closed_store_opens_again_and_leaves_no_log_behind() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path());
    let names: Vec<String> = bytes(folder.path()).into_keys().collect();
    assert_eq!(names, ["store.sqlite"]);
    let store = Store::open(folder.path(), Mode::Existing).unwrap();
    assert_eq!(store.readers().reader().unwrap().run_count().unwrap(), 1);
}

#[test]
fn a_store_of_a_newer_version_is_refused_untouched() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path());
    let db = rusqlite::Connection::open(folder.path().join("store.sqlite")).unwrap();
    db.pragma_update(None, "journal_mode", "DELETE").unwrap();
    db.pragma_update(None, "user_version", 99).unwrap();
    db.close().unwrap();
    let before = bytes(folder.path());
    let error = refused(folder.path());
    assert!(matches!(error, StoreError::Newer { known: SCHEMA_VERSION, found: 99, .. }), "{error}");
    let known = format!("expected schema version {SCHEMA_VERSION} or older, found 99");
    assert!(error.to_string().contains(&known));
    assert!(open_read_only(folder.path()).is_err());
    assert_eq!(bytes(folder.path()), before);
}

#[test]
fn what_is_no_store_is_refused_untouched() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("store.sqlite");
    std::fs::write(&path, "time_s,tension_kN\n".repeat(20)).unwrap();
    let before = bytes(folder.path());
    assert!(matches!(refused(folder.path()), StoreError::NotADatabase { .. }));
    assert_eq!(bytes(folder.path()), before);

    std::fs::remove_file(&path).unwrap();
    let db = rusqlite::Connection::open(&path).unwrap();
    db.execute_batch("CREATE TABLE other (a); PRAGMA application_id = 7;").unwrap();
    db.close().unwrap();
    let before = bytes(folder.path());
    assert!(matches!(refused(folder.path()), StoreError::NotOurs { found: 7, .. }));
    assert_eq!(bytes(folder.path()), before);
}

#[test]
fn a_missing_store_is_not_made_when_one_is_expected() {
    let folder = tempfile::tempdir().unwrap();
    let error = Store::open(folder.path(), Mode::Existing).err();
    assert!(matches!(error, Some(StoreError::Missing { .. })), "{error:?}");
    assert!(matches!(open_read_only(folder.path()), Err(StoreError::Missing { .. })));
    assert!(bytes(folder.path()).is_empty());
}

#[test]
fn a_copy_is_read_without_a_byte_being_written() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path());
    let before = bytes(folder.path());
    let reader = open_read_only(&folder.path().join("store.sqlite")).unwrap().reader().unwrap();
    assert_eq!(reader.run_count().unwrap(), 1);
    assert!(reader.check().unwrap().ok);
    drop(reader);
    assert_eq!(bytes(folder.path()), before);
}

#[test]
fn damage_is_an_error_or_a_finding_but_never_a_panic_or_another_value() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Mode::Create).unwrap();
    let stream = begin(&store, "rig-1");
    for run_seq in 1..=60 {
        put(&store, "rig-1", whole(stream, result(run_seq), 12_000));
    }
    store.close();
    let path = folder.path().join("store.sqlite");
    let whole = std::fs::read(&path).unwrap();
    let (mut told, mut read) = (0, 0);
    for step in 0..60_usize {
        let mut copy = whole.clone();
        // Spread over the file, past the header, which has tests of its own.
        let at = 100 + step * (copy.len() - 200) / 60;
        for byte in &mut copy[at..at + 64] {
            *byte = !*byte;
        }
        std::fs::write(&path, &copy).unwrap();
        let readers = open_read_only(&path).unwrap();
        let checked = readers.reader().and_then(|reader| reader.check());
        let quiet = matches!(&checked, Ok(report) if report.ok);
        told += usize::from(!quiet);
        for run_seq in (1..=60_u32).step_by(7) {
            let id = RunId(i64::from(run_seq));
            let Ok(reader) = readers.reader() else { continue };
            // Lost or refused is one thing; another value would be a lie.
            if let Ok(Some(run)) = reader.run(id) {
                assert_eq!(run.result.measured(), Some(&result(run_seq)), "64 bytes from {at}");
                read += 1;
            }
            if let Ok(Some(trace)) = reader.trace(id) {
                let found: Vec<i32> = trace.blocks.iter().flat_map(|b| b.counts.clone()).collect();
                assert!(found == codes(run_seq, 12_000) || !quiet, "64 bytes from {at}");
            }
        }
    }
    println!("{told} of 60 damaged copies were told");
    assert!(told > 40, "only {told} of 60 damaged copies were told");
    // Of 9 runs in each copy.
    assert!(read > 270, "only {read} of 540 runs were read back");
}
