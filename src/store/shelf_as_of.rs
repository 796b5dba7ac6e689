//! What a name on the shelf meant at some time: the version that stood there then, also where it was replaced or taken off
//! since.
//!
//! A run keeps the number of the shelf's newest row at the time its names were looked up, so no clock is needed. Runs of
//! older programs have none; for them the time of the run tells.

use super::error::StoreError;
use super::reader::{Reader, ShelfRow, shelf_row};
use super::write::{RunId, ShelfKind};
use rusqlite::params;
use std::collections::HashMap;

/// Which state of the shelf.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AsOf {
    /// As it was when this row was its newest.
    Row(i64),
    /// As it was at this wall time, nanoseconds since 1970 UTC.
    Time(i64),
}

/// Which states of the shelf the names of a run are of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NamesAsOf {
    /// Its setup, corrections applied.
    pub setup: AsOf,
    /// Its tool, corrections applied.
    pub tool: AsOf,
    /// Its bolt.
    pub bolt: AsOf,
}

impl AsOf {
    fn bounds(self) -> (i64, i64) {
        match self {
            Self::Row(row) => (row, i64::MAX),
            Self::Time(utc_ns) => (i64::MAX, utc_ns),
        }
    }
}

impl Reader {
    /// Number of the newest row of the shelf, 0 where it is empty.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn shelf_newest(&self) -> Result<i64, StoreError> {
        let newest = self.first("SELECT COALESCE(MAX(id), 0) FROM shelf", [], |row| row.get(0))?;
        Ok(newest.unwrap_or(0))
    }

    /// One document of the shelf as it was; none where it did not stand there.
    ///
    /// # Errors
    /// The store cannot be read, or the document does not read back.
    pub fn shelf_entry_as_of(
        &self,
        kind: ShelfKind,
        name: &str,
        as_of: AsOf,
    ) -> Result<Option<ShelfRow>, StoreError> {
        let (row, utc_ns) = as_of.bounds();
        let found = self.first(
            "SELECT name, utc_ns, who, document FROM
                 (SELECT name, utc_ns, who, document FROM shelf
                  WHERE kind = ?1 AND name = ?2 AND id <= ?3 AND utc_ns <= ?4 ORDER BY id DESC LIMIT 1)
             WHERE document IS NOT NULL",
            params![kind.name(), name, row, utc_ns],
            shelf_row,
        )?;
        found.transpose()
    }

    /// Which states of the shelf the names of these runs are of.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn names_as_of(&self, runs: &[RunId]) -> Result<HashMap<RunId, NamesAsOf>, StoreError> {
        let which = serde_json::json!(runs).to_string();
        // Who names a setup or tool afterwards means it as it stands then.
        let rows = self.all(
            "SELECT r.id, r.first_blow_utc_ns, json_extract(r.result, '$.in_force.shelf'),
                    s.id IS NOT NULL, s.utc_ns, s.shelf, t.id IS NOT NULL, t.utc_ns, t.shelf
             FROM runs r
             LEFT JOIN corrections s ON s.id = (SELECT MAX(id) FROM corrections WHERE run = r.id AND setup IS NOT NULL)
             LEFT JOIN corrections t ON t.id = (SELECT MAX(id) FROM corrections WHERE run = r.id AND tool IS NOT NULL)
             WHERE r.id IN (SELECT value FROM json_each(?1))",
            [which],
            |row| {
                let state = |time: Option<i64>, shelf: Option<i64>| {
                    shelf.map_or(AsOf::Time(time.unwrap_or(i64::MAX)), AsOf::Row)
                };
                let own = state(row.get(1)?, row.get(2)?);
                let corrected = |at: usize| -> rusqlite::Result<AsOf> {
                    Ok(if row.get(at)? { state(row.get(at + 1)?, row.get(at + 2)?) } else { own })
                };
                Ok((RunId(row.get(0)?), NamesAsOf { setup: corrected(3)?, tool: corrected(6)?, bolt: own }))
            },
        )?;
        Ok(rows.into_iter().collect())
    }
}
