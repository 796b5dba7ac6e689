//! Runs measured again: the new row, what is needed to measure one, and all versions of a run.
//!
//! Measuring itself is `pipeline::again`; here is only what it is given and what came out. Nothing is ever
//! updated: the views show the newest version.

use super::check::CheckReport;
use super::error::StoreError;
use super::insert::{Applied, exact_json};
use super::insert_run::{Parts, insert_named, measures};
use super::prune::Tombstone;
use super::reader::Reader;
use super::write::{Recomputed, Refused, RunId, StreamId, Written};
use super::{bolt_due, insert_block};
use boltscribe_analysis::results::RunResult;
use boltscribe_model::constants::Calibration;
use boltscribe_pipeline as pipeline;
use boltscribe_pipeline::{Block, Settings};
use boltscribe_signal::runs;
use rusqlite::{Connection, OptionalExtension, params};
use serde::Serialize;
use utoipa::ToSchema;

const AGAIN: Parts = Parts {
    blows: "INSERT INTO recomputed_blows (recomputation, blow, at_s, level_kN) VALUES (?1, ?2, ?3, ?4)",
    gates: "INSERT INTO recomputed_gates (recomputation, gate, after_s, tension_kN, torque_Nm)
            VALUES (?1, ?2, ?3, ?4, ?5)",
    flags: "INSERT INTO recomputed_flags (recomputation, flag) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
};

/// A version of a run that was measured again.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = Recomputation)]
pub struct Version {
    /// Number of the version in the store.
    pub id: i64,
    /// When, nanoseconds since 1970 UTC.
    pub utc_ns: i64,
    /// By whom.
    pub who: String,
    /// Why.
    pub why: String,
    /// Version of the program that measured.
    pub program: String,
    /// The line used.
    pub line: Calibration,
    /// How it was measured.
    pub settings: runs::Settings,
    /// The whole result.
    #[serde(skip)]
    pub result: RunResult,
}

/// A stored run with all that measuring it again takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Remeasurable {
    /// Its rig.
    pub rig: String,
    /// Its newest result.
    pub newest: RunResult,
    /// What it was announced as.
    pub original: RunResult,
    /// The line it was announced with, where it is known.
    pub line_at_first: Option<Calibration>,
    /// The line of its newest result, where it is known.
    pub line: Option<Calibration>,
    /// How its newest result was measured.
    pub measured_by: runs::Settings,
    /// Raw codes in order, as they came out of the pipeline.
    pub raw: Vec<Block>,
}

/// What stands in the way of measuring a run again.
#[derive(Clone, Debug, PartialEq)]
pub enum NotRemeasurable {
    /// There is no such run.
    Unknown,
    /// It is not closed yet.
    Open,
    /// Its samples were pruned.
    Pruned(Box<Tombstone>),
    /// It never had samples: a reading typed by a person.
    Typed,
    /// Its samples are gone, and nobody pruned them.
    Lost,
    /// A block does not read back.
    Damaged(String),
}

/// Stores a run that was measured again.
pub(super) fn insert(tx: &Connection, again: &Recomputed) -> Applied {
    let what = format!("run {} measured again", again.run.0);
    let closing: Option<Option<String>> = tx
        .prepare_cached("SELECT c.closing FROM runs r LEFT JOIN closings c ON c.run = r.id WHERE r.id = ?1")?
        .query_row([again.run.0], |row| row.get(0))
        .optional()?;
    let closing = match closing {
        None => return Ok(Err(Refused::Unknown { what, of: format!("run {}", again.run.0) })),
        Some(None) => return Ok(Err(Refused::Open(again.run.0))),
        Some(Some(text)) => text,
    };
    let documents = (exact_json(&again.result), exact_json(&again.settings), exact_json(&again.line));
    let (Some(document), Some(settings), Some(line)) = documents else {
        return Ok(Err(Refused::NotRepresentable(what)));
    };
    let mut row = measures(&again.result, &document);
    row.extend([
        (":run", again.run.0.into()),
        (":utc_ns", again.utc_ns.into()),
        (":who", again.who.clone().into()),
        (":why", again.why.clone().into()),
        (":program", again.program.clone().into()),
        (":settings", settings.into()),
        (":line", line.into()),
    ]);
    insert_named(tx, include_str!("insert_recomputation.sql"), &row)?;
    let id = tx.last_insert_rowid();
    AGAIN.insert(tx, id, &again.result)?;
    // How the run closed is no matter of measuring: its flags go with every version.
    if let Ok(closed) = serde_json::from_str::<boltscribe_analysis::results::Closed>(&closing) {
        AGAIN.insert_flags(tx, id, &closed.flags)?;
    }
    bolt_due::carry(tx, again.run.0, id)?;
    Ok(Ok(Written::Row))
}

impl Reader {
    /// What measuring a run again takes, or why it cannot be.
    ///
    /// # Errors
    /// The store cannot be read, or a document does not read back.
    pub fn remeasurable(&self, id: RunId) -> Result<Result<Remeasurable, NotRemeasurable>, StoreError> {
        let row = self.first(
            "SELECT r.stream, r.run_seq, r.rig, r.first_blow_utc_ns, s.settings, r.result,
                    EXISTS (SELECT 1 FROM closings c WHERE c.run = r.id)
             FROM runs r LEFT JOIN streams s ON s.id = r.stream WHERE r.id = ?1",
            [id.0],
            |row| {
                if row.get::<_, Option<i64>>(0)?.is_none() {
                    return Ok(None);
                }
                let key: (i64, u32, String, i64) = (row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?);
                let documents: (String, String) = (row.get(4)?, row.get(5)?);
                Ok(Some((key, documents, row.get::<_, bool>(6)?)))
            },
        )?;
        let ((stream, run_seq, rig, utc_ns), (settings, original), closed) = match row {
            None => return Ok(Err(NotRemeasurable::Unknown)),
            Some(None) => return Ok(Err(NotRemeasurable::Typed)),
            Some(Some(found)) => found,
        };
        if !closed {
            return Ok(Err(NotRemeasurable::Open));
        }
        let stream = StreamId(stream);
        let blocks = insert_block::read(self.connection(), stream, run_seq).map_err(|e| self.failed(e))?;
        if blocks.is_empty() {
            return Ok(Err(match self.tombstone(id)? {
                Some(tombstone) => NotRemeasurable::Pruned(Box::new(tombstone)),
                None => NotRemeasurable::Lost,
            }));
        }
        let mut raw = Vec::new();
        for block in blocks {
            match block {
                Ok(block) => raw.push(Block::Raw {
                    run_seq,
                    first_sample: block.first_sample,
                    counts: block.counts,
                    missing: block.missing,
                }),
                Err((block, detail)) => {
                    return Ok(Err(NotRemeasurable::Damaged(format!("block {block}: {detail}"))));
                }
            }
        }
        let settings: Settings = self.document("the settings of the stream of run", id.0, &settings)?;
        let original: RunResult = self.document("run", id.0, &original)?;
        let line_at_first = self.calibration(stream, &rig, &original.calibration, utc_ns)?;
        let (newest, line, measured_by) = match self.versions(id)?.pop() {
            Some(version) => (version.result, Some(version.line), version.settings),
            None => (original.clone(), line_at_first.clone(), settings.runs),
        };
        Ok(Ok(Remeasurable { rig, newest, original, line_at_first, line, measured_by, raw }))
    }

    /// All versions of a run that was measured again, oldest first.
    ///
    /// # Errors
    /// The store cannot be read, or a document does not read back.
    pub fn versions(&self, run: RunId) -> Result<Vec<Version>, StoreError> {
        let rows = self.all(
            "SELECT id, utc_ns, who, why, program, line, settings, result
             FROM recomputations WHERE run = ?1 ORDER BY id",
            [run.0],
            |row| {
                let said: (i64, i64, String, String, String) =
                    (row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?);
                let documents: [String; 3] = [row.get(5)?, row.get(6)?, row.get(7)?];
                Ok((said, documents))
            },
        )?;
        let read = |((id, utc_ns, who, why, program), [line, settings, result]): (_, [String; 3])| {
            Ok(Version {
                id,
                utc_ns,
                who,
                why,
                program,
                line: self.document("the line of version", id, &line)?,
                settings: self.document("the settings of version", id, &settings)?,
                result: self.document("version", id, &result)?,
            })
        };
        rows.into_iter().map(read).collect()
    }

    /// The settings a rig works with: those of its newest stream, with the calibration it was told since.
    ///
    /// # Errors
    /// The store cannot be read, or the settings do not read back.
    pub fn in_use(&self, rig: &str) -> Result<Option<pipeline::Settings>, StoreError> {
        let row = self.first(
            "SELECT id, settings, started_utc_ns FROM streams WHERE rig = ?1 ORDER BY id DESC LIMIT 1",
            [rig],
            |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?, row.get::<_, i64>(2)?)),
        )?;
        let Some((stream, text, started_utc_ns)) = row else {
            return Ok(None);
        };
        let mut settings: pipeline::Settings = self.document("the settings of stream", stream, &text)?;
        let told = self.first(
            "SELECT json_extract(command, '$.calibration') FROM commands
             WHERE rig = ?1 AND kind = 'calibrate' AND utc_ns >= ?2 ORDER BY id DESC LIMIT 1",
            params![rig, started_utc_ns],
            |row| row.get::<_, String>(0),
        )?;
        if let Some(told) = told {
            settings.calibration = Some(self.document("the calibration told after stream", stream, &told)?);
        }
        Ok(Some(settings))
    }

    /// Of the check: every version reads back, and its columns and parts are those of its document.
    pub(super) fn check_versions(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let mut after = 0_i64;
        loop {
            let page = self.all(
                "SELECT id, run, result FROM recomputations WHERE id > ?1 ORDER BY id LIMIT 100",
                [after],
                |row| Ok(((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?), row.get::<_, String>(2)?)),
            )?;
            let Some(last) = page.last() else { return Ok(()) };
            after = last.0.0;
            for ((id, run), text) in page {
                match serde_json::from_str::<RunResult>(&text) {
                    Err(error) => report.find(format!(
                        "run {run} as measured again in {id}: its document does not read: {error}"
                    )),
                    Ok(result) => self.check_again(report, (run, id), &result, &text)?,
                }
            }
        }
    }

    pub(super) fn document<T: serde::de::DeserializeOwned>(
        &self,
        what: &'static str,
        id: i64,
        text: &str,
    ) -> Result<T, StoreError> {
        serde_json::from_str(text).map_err(|error| StoreError::Unreadable {
            what,
            id,
            detail: error.to_string(),
        })
    }
}
