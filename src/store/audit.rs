//! The audit chain: one link for each row that is never changed, made in the transaction that stores the row.
//!
//! A link covers the row, what belongs to it in other tables, and the link before it. Which bytes those are stands in
//! `audit.sql`. Looking through the chain is in `verify.rs`. Covers neither `blocks` (they are packed again; the digest of
//! the codes is covered instead) nor scratch. Who can rewrite the file can rewrite the chain too: that shows only against
//! a head that was written down elsewhere.

use rusqlite::hooks::Action;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, OptionalExtension, Row, params};
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};

/// A link, and the digest in it.
pub(super) type Link = [u8; 32];

/// Before the first link.
pub(super) const ORIGIN: Link = [0; 32];

/// Tables whose rows get links, by their INTEGER PRIMARY KEY (other row numbers do not survive VACUUM). `rigs` has none
/// and holds names only, which the rows here repeat; rows of the other kept tables belong to one of these.
pub(super) const SUBJECTS: [&str; 17] = [
    "streams",
    "identities",
    "commands",
    "zeros",
    "shelf",
    "calibrations",
    "trials",
    "trial_entries",
    "runs",
    "closings",
    "sample_digests",
    "corrections",
    "events",
    "recomputations",
    "prunings",
    "tombstones",
    "idle_tombstones",
];

/// What belongs to a row, as a query by the row's number.
fn parts_of(subject: &str) -> &'static [&'static str] {
    match subject {
        "runs" => &[
            "SELECT * FROM blows WHERE run = ?1 ORDER BY blow",
            "SELECT * FROM gates WHERE run = ?1 ORDER BY gate",
            "SELECT s.* FROM run_sources s JOIN runs r ON r.id = s.run
             WHERE s.source = CASE WHEN json_valid(r.result) THEN json_extract(r.result, '$.in_force.source.id') END
               AND s.first_blow_utc_ns = r.first_blow_utc_ns AND s.run = ?1",
        ],
        "recomputations" => &[
            "SELECT * FROM recomputed_blows WHERE recomputation = ?1 ORDER BY blow",
            "SELECT * FROM recomputed_gates WHERE recomputation = ?1 ORDER BY gate",
            "SELECT * FROM recomputed_flags WHERE recomputation = ?1 ORDER BY flag",
        ],
        _ => &[],
    }
}

/// Notes which rows a connection inserts, to be linked before they are committed.
pub(super) struct Recorder {
    inserted: Arc<Mutex<Vec<(usize, i64)>>>,
}

impl Recorder {
    /// Watches a connection.
    ///
    /// # Errors
    /// SQLite takes no hook.
    pub(super) fn watch(connection: &mut Connection) -> rusqlite::Result<Self> {
        let inserted = Arc::new(Mutex::new(Vec::new()));
        let noted = Arc::clone(&inserted);
        connection.update_hook(Some(move |action: Action, _: &str, table: &str, row: i64| {
            if action != Action::SQLITE_INSERT {
                return;
            }
            if let Some(subject) = SUBJECTS.iter().position(|subject| *subject == table) {
                noted.lock().unwrap_or_else(PoisonError::into_inner).push((subject, row));
            }
        }))?;
        Ok(Self { inserted })
    }

    /// Forgets what was noted: a transaction begins.
    pub(super) fn forget(&self) {
        self.inserted.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }

    /// Links what was inserted since, in that order. A row that a savepoint took back is not there any more.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn link(&self, connection: &Connection) -> rusqlite::Result<()> {
        let noted = std::mem::take(&mut *self.inserted.lock().unwrap_or_else(PoisonError::into_inner));
        if noted.is_empty() {
            return Ok(());
        }
        let mut before = head(connection)?.map_or(ORIGIN, |(_, link)| link);
        let mut seen = BTreeSet::new();
        for (subject, row) in noted {
            if seen.insert((subject, row)) {
                before = append(connection, before, SUBJECTS[subject], row)?;
            }
        }
        Ok(())
    }
}

/// Links all that a store of an older version holds.
///
/// # Errors
/// The store's.
pub(super) fn link_all(connection: &Connection) -> rusqlite::Result<()> {
    let mut before = ORIGIN;
    for subject in SUBJECTS {
        let mut rows = connection.prepare(&format!("SELECT rowid FROM {subject} ORDER BY rowid"))?;
        let mut rows = rows.query([])?;
        while let Some(row) = rows.next()? {
            before = append(connection, before, subject, row.get(0)?)?;
        }
    }
    Ok(())
}

/// Number and value of the last link.
///
/// # Errors
/// The store's.
pub(super) fn head(connection: &Connection) -> rusqlite::Result<Option<(i64, Link)>> {
    connection
        .prepare_cached("SELECT id, link FROM audit ORDER BY id DESC LIMIT 1")?
        .query_row([], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()
}

fn append(connection: &Connection, before: Link, subject: &str, row: i64) -> rusqlite::Result<Link> {
    let flags = flags_now(connection, subject, row)?;
    let Some(link) = link_of(connection, before, (subject, row), flags.as_deref())? else {
        return Ok(before);
    };
    connection
        .prepare_cached("INSERT INTO audit (subject, row, flags, link) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![subject, row, flags, link])?;
    Ok(link)
}

/// The flags of a run, where the subject is the run or its closing.
pub(super) fn flags_now(
    connection: &Connection,
    subject: &str,
    row: i64,
) -> rusqlite::Result<Option<String>> {
    if !matches!(subject, "runs" | "closings") {
        return Ok(None);
    }
    connection
        .prepare_cached(
            "SELECT json_group_array(flag) FROM (SELECT flag FROM run_flags WHERE run = ?1 ORDER BY flag)",
        )?
        .query_row([row], |found| found.get(0).map(Some))
}

/// The link of a row after another one; none where there is no such row.
///
/// # Errors
/// The store's.
pub(super) fn link_of(
    connection: &Connection,
    before: Link,
    (subject, row): (&str, i64),
    flags: Option<&str>,
) -> rusqlite::Result<Option<Link>> {
    let mut sum = Sha256::new();
    sum.update(before);
    put(&mut sum, subject.as_bytes());
    sum.update(row.to_le_bytes());
    let own = format!("SELECT * FROM {subject} WHERE rowid = ?1");
    if rows_into(&mut sum, connection, &own, row)? == 0 {
        return Ok(None);
    }
    for part in parts_of(subject) {
        rows_into(&mut sum, connection, part, row)?;
    }
    put(&mut sum, flags.unwrap_or("").as_bytes());
    Ok(Some(sum.finalize().into()))
}

/// Adds the rows of a query; gives how many there are, which is added too.
fn rows_into(sum: &mut Sha256, connection: &Connection, sql: &str, row: i64) -> rusqlite::Result<u64> {
    let mut query = connection.prepare_cached(sql)?;
    let mut columns: Vec<(String, usize)> =
        query.column_names().enumerate().map(|(at, name)| (name.to_owned(), at)).collect();
    columns.sort();
    let mut rows = query.query([row])?;
    let mut count = 0_u64;
    while let Some(found) = rows.next()? {
        count += 1;
        row_into(sum, &columns, found)?;
    }
    sum.update(count.to_le_bytes());
    Ok(count)
}

fn row_into(sum: &mut Sha256, columns: &[(String, usize)], row: &Row<'_>) -> rusqlite::Result<()> {
    for (name, at) in columns {
        let value = row.get_ref(*at)?;
        if value == ValueRef::Null {
            continue;
        }
        put(sum, name.as_bytes());
        match value {
            ValueRef::Null => {}
            ValueRef::Integer(number) => {
                sum.update(b"i");
                sum.update(number.to_le_bytes());
            }
            ValueRef::Real(number) => {
                sum.update(b"r");
                sum.update(number.to_le_bytes());
            }
            ValueRef::Text(text) => {
                sum.update(b"t");
                put(sum, text);
            }
            ValueRef::Blob(bytes) => {
                sum.update(b"b");
                put(sum, bytes);
            }
        }
    }
    // No name is empty, so this ends the row.
    put(sum, b"");
    Ok(())
}

/// Bytes with their length before them, so that nothing can be read two ways.
fn put(sum: &mut Sha256, bytes: &[u8]) {
    sum.update((bytes.len() as u64).to_le_bytes());
    sum.update(bytes);
}
