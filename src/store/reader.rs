//! Reading: a short-lived connection and the questions that concern rigs and the shelf.
//!
//! Runs are asked for in `reader_runs.rs`, traces in `trace.rs`, the check in `check.rs`.

use super::error::StoreError;
use super::write::{InForceRow, ShelfKind};
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::{Command, InForce};
use rusqlite::{Connection, OptionalExtension, Params, Row, params};
use serde::Serialize;
use std::path::{Path, PathBuf};
use utoipa::ToSchema;

/// A connection for reading.
pub struct Reader {
    connection: Connection,
    path: PathBuf,
    asked: std::cell::Cell<u32>,
}

/// A document on the shelf, its latest version.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShelfRow {
    /// Its name.
    pub name: String,
    /// When this version was written.
    pub utc_ns: i64,
    /// By whom.
    pub who: String,
    /// The document.
    pub document: serde_json::Value,
}

/// A stored event.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct EventRow {
    /// Number in the store.
    pub id: i64,
    /// The rig; none: the daemon itself.
    pub rig: Option<String>,
    /// When, nanoseconds since 1970 UTC.
    pub utc_ns: i64,
    /// A short fixed word.
    pub kind: String,
    /// What happened.
    pub detail: String,
}

impl Reader {
    pub(super) fn new(connection: Connection, path: PathBuf) -> Self {
        Self { connection, path, asked: std::cell::Cell::new(0) }
    }

    /// Questions asked so far, to a row or a list of rows each.
    #[must_use]
    pub fn asked(&self) -> u32 {
        self.asked.get()
    }

    pub(super) fn connection(&self) -> &Connection {
        &self.connection
    }

    /// The database file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn failed(&self, source: rusqlite::Error) -> StoreError {
        StoreError::sql("read", &self.path, source)
    }

    pub(super) fn all<T>(
        &self,
        sql: &str,
        params: impl Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        self.asked.set(self.asked.get() + 1);
        let query = || -> rusqlite::Result<Vec<T>> {
            let mut select = self.connection.prepare_cached(sql)?;
            select.query_map(params, read)?.collect()
        };
        query().map_err(|source| self.failed(source))
    }

    pub(super) fn first<T>(
        &self,
        sql: &str,
        params: impl Params,
        read: impl FnOnce(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Option<T>, StoreError> {
        self.asked.set(self.asked.get() + 1);
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row(params, read).optional())
            .map_err(|source| self.failed(source))
    }

    /// What stands on the shelf, by name.
    ///
    /// # Errors
    /// The store cannot be read, or a document does not read back.
    pub fn shelf(&self, kind: ShelfKind) -> Result<Vec<ShelfRow>, StoreError> {
        let rows = self.all(
            "SELECT name, utc_ns, who, document FROM shelf_now WHERE kind = ?1 ORDER BY name",
            [kind.name()],
            shelf_row,
        )?;
        rows.into_iter().collect()
    }

    /// One document of the shelf.
    ///
    /// # Errors
    /// The store cannot be read, or the document does not read back.
    pub fn shelf_entry(&self, kind: ShelfKind, name: &str) -> Result<Option<ShelfRow>, StoreError> {
        let row = self.first(
            "SELECT name, utc_ns, who, document FROM shelf_now WHERE kind = ?1 AND name = ?2",
            [kind.name(), name],
            shelf_row,
        )?;
        row.transpose()
    }

    /// The latest `use` of a rig, as the next run will carry it: without an attempt that a run has taken.
    ///
    /// # Errors
    /// The store cannot be read, or the command does not read back.
    pub fn in_force(&self, rig: &str) -> Result<Option<InForceRow>, StoreError> {
        let row =
            self.first("SELECT rig, utc_ns, who, in_force FROM in_force WHERE rig = ?1", [rig], |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get::<_, String>(3)?))
            })?;
        let Some((rig, utc_ns, who, text)) = row else {
            return Ok(None);
        };
        let in_force = serde_json::from_str(&text).map_err(|error| StoreError::Unreadable {
            what: "the tags in force told at",
            id: utc_ns,
            detail: error.to_string(),
        })?;
        Ok(Some(InForceRow { rig, utc_ns, who, in_force: self.for_the_next_run(in_force)? }))
    }

    /// Without the attempt, where a run has taken it.
    fn for_the_next_run(&self, tags: InForce) -> Result<InForce, StoreError> {
        let Some(attempt) = &tags.attempt else { return Ok(tags) };
        let taken = self.first(
            "SELECT 1 FROM trials t JOIN runs r ON r.trial = t.id AND r.attempt = ?2 WHERE t.name = ?1",
            params![attempt.trial, attempt.attempt],
            |_| Ok(()),
        )?;
        Ok(if taken.is_some() { tags.without_attempt() } else { tags })
    }

    /// What was in force at a rig at a moment: the latest `use` told by then, without an attempt that a run has taken.
    ///
    /// # Errors
    /// The store cannot be read, or the command does not read back.
    pub fn in_force_at(&self, rig: &str, utc_ns: i64) -> Result<InForce, StoreError> {
        let row = self.first(
            "SELECT id, json_extract(command, '$.in_force') FROM commands
             WHERE rig = ?1 AND kind = 'use' AND utc_ns <= ?2 ORDER BY id DESC LIMIT 1",
            params![rig, utc_ns],
            |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?)),
        )?;
        let Some((id, text)) = row else {
            return Ok(InForce::default());
        };
        let tags = serde_json::from_str(&text).map_err(|error| StoreError::Unreadable {
            what: "command",
            id,
            detail: error.to_string(),
        })?;
        self.for_the_next_run(tags)
    }

    /// The rig's latest zero since its calibration was last changed, kN in that calibration's terms.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn zero_kn(&self, rig: &str) -> Result<Option<f64>, StoreError> {
        self.first(
            "SELECT zero_kN FROM zeros WHERE rig = ?1 AND utc_ns >= COALESCE((SELECT MAX(utc_ns) FROM commands
             WHERE rig = ?1 AND kind = 'calibrate'), utc_ns) ORDER BY id DESC LIMIT 1",
            [rig],
            |row| row.get(0),
        )
    }

    /// Where a rig was last seen at rest, as a raw code.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn rest_counts(&self, rig: &str) -> Result<Option<f64>, StoreError> {
        self.first("SELECT code FROM rests WHERE rig = ?1", [rig], |row| row.get(0))
    }

    /// The zero of a rig's last run, kN, where it was measured with this calibration.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn last_zero_kn(&self, rig: &str, calibration: &str) -> Result<Option<f64>, StoreError> {
        let last = self.first(
            "SELECT zero_kN, calibration FROM runs WHERE rig = ?1 ORDER BY rig_run DESC LIMIT 1",
            [rig],
            |row| Ok((row.get::<_, Option<f64>>(0)?, row.get::<_, Option<String>>(1)?)),
        )?;
        Ok(last.filter(|(_, line)| line.as_deref() == Some(calibration)).and_then(|(zero_kn, _)| zero_kn))
    }

    /// The calibration that was last put in force at a rig by command.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn calibrated(&self, rig: &str) -> Result<Option<Calibration>, StoreError> {
        let text: Option<(i64, String)> = self.first(
            "SELECT id, command FROM commands WHERE rig = ?1 AND kind = 'calibrate' ORDER BY id DESC LIMIT 1",
            [rig],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        text.map(|(id, text)| calibration_of(id, &text)).transpose()
    }

    /// Lines known under a name, oldest first: of the calibration that is kept, of commands, of streams, then of
    /// runs that were measured again. More than one differing from the first means that the name was used twice.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn calibrations_named(&self, name: &str) -> Result<Vec<Calibration>, StoreError> {
        let told: Vec<(i64, String)> = self.all(
            "SELECT id, command FROM commands
             WHERE kind = 'calibrate' AND json_extract(command, '$.calibration.id') = ?1 ORDER BY id",
            [name],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        let mut all: Vec<Calibration> =
            self.kept_calibration(name)?.map(|row| row.kept.line).into_iter().collect();
        for (id, text) in &told {
            all.push(calibration_of(*id, text)?);
        }
        let of_streams: Vec<(i64, String)> = self.all(
            "SELECT MIN(id), json_extract(settings, '$.calibration') FROM streams
             WHERE json_extract(settings, '$.calibration.id') = ?1 GROUP BY 2 ORDER BY 1",
            [name],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        let of_versions: Vec<(i64, String)> = self.all(
            "SELECT MIN(id), line FROM recomputations WHERE calibration = ?1 GROUP BY 2 ORDER BY 1",
            [name],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        for (id, text) in of_streams.into_iter().chain(of_versions) {
            all.push(serde_json::from_str(&text).map_err(|error| unreadable(id, &error))?);
        }
        Ok(all)
    }

    /// The latest events, newest first, at most `limit`.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn events(&self, limit: u32) -> Result<Vec<EventRow>, StoreError> {
        self.all(
            "SELECT id, rig, utc_ns, kind, detail FROM events ORDER BY id DESC LIMIT ?1",
            params![limit],
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

pub(super) fn shelf_row(row: &Row<'_>) -> rusqlite::Result<Result<ShelfRow, StoreError>> {
    let utc_ns: i64 = row.get(1)?;
    let text: String = row.get(3)?;
    let (name, who) = (row.get(0)?, row.get(2)?);
    Ok(serde_json::from_str(&text).map(|document| ShelfRow { name, utc_ns, who, document }).map_err(
        |error| StoreError::Unreadable {
            what: "the document of the shelf written at",
            id: utc_ns,
            detail: error.to_string(),
        },
    ))
}

pub(super) fn calibration_of(id: i64, text: &str) -> Result<Calibration, StoreError> {
    match serde_json::from_str(text) {
        Ok(Command::Calibrate { calibration }) => Ok(calibration),
        Ok(_) => Err(StoreError::Unreadable {
            what: "the calibration of command",
            id,
            detail: "another command".to_owned(),
        }),
        Err(error) => Err(unreadable(id, &error)),
    }
}

fn unreadable(id: i64, error: &serde_json::Error) -> StoreError {
    StoreError::Unreadable { what: "the calibration of row", id, detail: error.to_string() }
}
