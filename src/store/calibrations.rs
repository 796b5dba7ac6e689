//! Calibrations against a reference: stored once under a name, read back whole.
//!
//! The row is written inside the writer's transaction. Must not know how a line is fitted.

use super::error::StoreError;
use super::insert::{Applied, exact_json};
use super::reader::Reader;
use super::write::{Refused, Written};
use boltscribe_analysis::metrology::KeptCalibration;
use rusqlite::{Connection, params};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A stored calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CalibrationRow {
    /// When it was stored, nanoseconds since 1970 UTC.
    pub utc_ns: i64,
    /// Who stored it.
    pub who: String,
    /// The calibration.
    #[serde(flatten)]
    pub kept: KeptCalibration,
}

/// Stores one.
pub(super) fn insert(tx: &Connection, utc_ns: i64, who: &str, kept: &KeptCalibration) -> Applied {
    let name = &kept.taken.name;
    let Some(document) = exact_json(kept) else {
        return Ok(Err(Refused::NotRepresentable(format!("the calibration '{name}'"))));
    };
    let stands: bool = tx
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM calibrations WHERE name = ?1)")?
        .query_row([name], |row| row.get(0))?;
    if stands {
        return Ok(Err(Refused::Duplicate(format!("the calibration '{name}'"))));
    }
    tx.prepare_cached("INSERT INTO calibrations (name, utc_ns, who, document) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![name, utc_ns, who, document])?;
    Ok(Ok(Written::Row))
}

type Columns = (i64, i64, String, String);

fn columns(row: &rusqlite::Row<'_>) -> rusqlite::Result<Columns> {
    Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
}

fn whole((id, utc_ns, who, document): Columns) -> Result<CalibrationRow, StoreError> {
    serde_json::from_str(&document).map(|kept| CalibrationRow { utc_ns, who, kept }).map_err(|error| {
        StoreError::Unreadable { what: "the calibration of row", id, detail: error.to_string() }
    })
}

impl Reader {
    /// All calibrations, oldest first.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn kept_calibrations(&self) -> Result<Vec<CalibrationRow>, StoreError> {
        let rows = self.all("SELECT id, utc_ns, who, document FROM calibrations ORDER BY id", [], columns)?;
        rows.into_iter().map(whole).collect()
    }

    /// The calibration of a name.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn kept_calibration(&self, name: &str) -> Result<Option<CalibrationRow>, StoreError> {
        let sql = "SELECT id, utc_ns, who, document FROM calibrations WHERE name = ?1";
        self.first(sql, [name], columns)?.map(whole).transpose()
    }
}
