//! What a bug report needs to know of a store, told without going through it all.
//!
//! Each figure comes from an index, from the ends of a table, or from the newest rows.

use super::error::StoreError;
use super::reader::{EventRow, Reader};
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Flags are counted over so many of the newest runs.
pub const FLAGS_OF_RUNS: i64 = 1000;

/// Figures of a store.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = StoreFacts)]
pub struct Facts {
    /// Version of its schema.
    pub schema_version: u32,
    /// Bytes of the file.
    pub bytes: u64,
    /// Bytes in it that are free.
    pub free_bytes: u64,
    /// Greatest number by table; where rows are never taken away that is how many there are.
    pub numbers: BTreeMap<String, u64>,
    /// Runs that are still open.
    pub open_runs: u64,
    /// Flags of the newest runs: how many of them carry each.
    pub flags_of_last_1000_runs: BTreeMap<String, u64>,
    /// The latest check that is on record.
    pub last_check: Option<EventRow>,
    /// The latest look through the audit chain that is on record.
    pub last_verify: Option<EventRow>,
    /// The latest restore that is on record.
    pub last_restore: Option<EventRow>,
}

impl Reader {
    /// Figures for a bug report.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn facts(&self) -> Result<Facts, StoreError> {
        let (bytes, free_bytes) = self.room()?;
        let mut facts = Facts { bytes, free_bytes, ..Facts::default() };
        let version = self.first("PRAGMA user_version", [], |row| row.get::<_, i64>(0))?;
        facts.schema_version = version.unwrap_or(0) as u32;
        for (table, column) in [
            ("runs", "id"),
            ("streams", "id"),
            ("commands", "id"),
            ("corrections", "id"),
            ("events", "id"),
            ("recomputations", "id"),
            ("prunings", "id"),
            ("blocks", "id"),
            ("idle_blocks", "id"),
        ] {
            let sql = format!("SELECT MAX({column}) FROM {table}");
            let greatest = self.first(&sql, [], |row| row.get::<_, Option<i64>>(0))?;
            facts.numbers.insert(table.to_owned(), greatest.flatten().unwrap_or(0).unsigned_abs());
        }
        let count = |sql: &str| self.first(sql, [], |row| row.get::<_, i64>(0).map(i64::unsigned_abs));
        facts.open_runs = count("SELECT COUNT(*) FROM open_runs")?.unwrap_or(0);
        let stones = count("SELECT COUNT(*) FROM tombstones")?.unwrap_or(0);
        facts.numbers.insert("tombstones".into(), stones);
        let flags = self.all(
            "SELECT flag, COUNT(*) FROM run_flags
             WHERE run > (SELECT COALESCE(MAX(id), 0) FROM runs) - ?1 GROUP BY flag",
            [FLAGS_OF_RUNS],
            |row| Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?.unsigned_abs())),
        )?;
        facts.flags_of_last_1000_runs = flags.into_iter().collect();
        facts.last_check = self.last_event("store-check")?;
        facts.last_verify = self.last_event("store-verify")?;
        facts.last_restore = self.last_event("store-restored")?;
        Ok(facts)
    }

    /// The newest event of a kind.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn last_event(&self, kind: &str) -> Result<Option<EventRow>, StoreError> {
        self.first(
            "SELECT id, rig, utc_ns, kind, detail FROM events WHERE kind = ?1 ORDER BY id DESC LIMIT 1",
            [kind],
            |row| {
                Ok(EventRow {
                    id: row.get(0)?,
                    rig: row.get(1)?,
                    utc_ns: row.get(2)?,
                    kind: row.get(3)?,
                    detail: row.get(4)?,
                })
            },
        )
    }
}
