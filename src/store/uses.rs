//! How often each thing was used, and since when: registers made of the runs alone.
//!
//! The views are in `keeping.sql`; counting goes through indexes, no run is read.

use super::error::StoreError;
use super::reader::Reader;
use super::write::ShelfKind;
use rusqlite::Row;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// How often one thing was used. Times are first blows, ISO 8601 UTC.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct Uses {
    /// Runs, those that do not count in results too.
    pub runs: u64,
    /// The first of them.
    pub first_utc: Option<String>,
    /// The last of them.
    pub last_utc: Option<String>,
    /// Of a test bolt: runs and second pulls.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub tightenings: Option<u64>,
    /// Of a test bolt: the same since it was last put on the shelf.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub tightenings_since: Option<u64>,
    /// Of a test bolt: when that was. Of a battery: when it was last said to be fresh.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub since_utc: Option<String>,
    /// Of a battery: runs since it was last said to be fresh.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub runs_since_fresh: Option<u64>,
}

const fn question(kind: ShelfKind) -> &'static str {
    match kind {
        ShelfKind::Tools => {
            "SELECT tool, runs, first_utc_ns, last_utc_ns, NULL, NULL, NULL, NULL FROM tool_uses"
        }
        ShelfKind::Setups => {
            "SELECT setup, runs, first_utc_ns, last_utc_ns, NULL, NULL, NULL, NULL FROM setup_uses"
        }
        ShelfKind::Pieces => {
            "SELECT piece, runs, first_utc_ns, last_utc_ns, NULL, NULL, NULL, NULL FROM piece_uses"
        }
        ShelfKind::Bolts => {
            "SELECT bolt, runs, first_utc_ns, last_utc_ns, tightenings, tightenings_since, since_utc_ns, NULL
             FROM bolt_uses"
        }
        ShelfKind::Sources => {
            "SELECT source, runs, first_utc_ns, last_utc_ns, NULL, NULL, fresh_utc_ns,
                    runs_since_fresh FROM source_uses"
        }
    }
}

fn read(row: &Row<'_>) -> rusqlite::Result<(String, Uses)> {
    let number = |at: usize| row.get::<_, Option<i64>>(at).map(|n| n.map(i64::unsigned_abs));
    let time = |at: usize| {
        let utc_ns: Option<i64> = row.get(at)?;
        let utc = utc_ns.and_then(|ns| jiff::Timestamp::from_nanosecond(i128::from(ns)).ok());
        Ok::<_, rusqlite::Error>(utc.map(|utc| format!("{utc:.3}")))
    };
    let uses = Uses {
        runs: number(1)?.unwrap_or(0),
        first_utc: time(2)?,
        last_utc: time(3)?,
        tightenings: number(4)?,
        tightenings_since: number(5)?,
        since_utc: time(6)?,
        runs_since_fresh: number(7)?,
    };
    Ok((row.get(0)?, uses))
}

impl Reader {
    /// The uses of all things of a kind that were used at all, by name.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn uses(&self, kind: ShelfKind) -> Result<BTreeMap<String, Uses>, StoreError> {
        Ok(self.all(question(kind), [], read)?.into_iter().collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Mode, Store};

    #[test]
    fn uses_are_counted_in_indexes_without_reading_a_run() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let reader = store.readers().reader().unwrap();
        for kind in ShelfKind::ALL {
            let plan = reader
                .all(&format!("EXPLAIN QUERY PLAN {}", question(kind)), [], |row| row.get::<_, String>(3))
                .unwrap();
            let scans: Vec<&String> = plan
                .iter()
                .filter(|step| step.starts_with("SCAN r") && !step.contains("COVERING INDEX"))
                .collect();
            assert!(
                scans.iter().all(|step| !step.contains("runs") && **step != "SCAN r"),
                "{kind:?}: {plan:#?}"
            );
        }
    }
}
