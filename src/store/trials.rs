//! Trials and what was said of them, and which run took which go.
//!
//! Rows are written inside the writer's transaction. What a plan means is the business of `trial`.

use super::error::StoreError;
use super::insert::{Applied, ensure_rig, exact_json};
use super::reader::Reader;
use super::write::{Refused, RunId, Written};
use boltscribe_analysis::results::Flag;
use boltscribe_analysis::trial::{Plan, Said};
use boltscribe_model::control::{Attempt, InForce};
use rusqlite::{Connection, OptionalExtension, params};
use serde::Serialize;
use utoipa::ToSchema;

/// A stored trial.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TrialRow {
    /// Its number.
    pub id: i64,
    /// When it was planned.
    pub utc_ns: i64,
    /// Who planned it.
    pub who: String,
    /// The plan.
    pub plan: Plan,
}

/// What somebody said of a trial.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct TrialEntry {
    /// When, nanoseconds since 1970 UTC.
    pub utc_ns: i64,
    /// Who.
    pub who: String,
    /// What.
    #[serde(flatten)]
    pub said: Said,
}

/// Stores a plan.
pub(super) fn insert(tx: &Connection, utc_ns: i64, who: &str, plan: &Plan) -> Applied {
    let what = || format!("the trial '{}'", plan.name);
    let Some(document) = exact_json(plan) else { return Ok(Err(Refused::NotRepresentable(what()))) };
    let stands: bool = tx
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM trials WHERE name = ?1)")?
        .query_row([&plan.name], |row| row.get(0))?;
    if stands {
        return Ok(Err(Refused::Duplicate(what())));
    }
    ensure_rig(tx, &plan.rig)?;
    tx.prepare_cached("INSERT INTO trials (name, rig, utc_ns, who, document) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![plan.name, plan.rig, utc_ns, who, document])?;
    Ok(Ok(Written::Row))
}

/// Stores what was said.
pub(super) fn insert_entry(tx: &Connection, trial: i64, utc_ns: i64, who: &str, said: &Said) -> Applied {
    let what = || format!("an entry of trial {trial}");
    let Some(document) = exact_json(said) else { return Ok(Err(Refused::NotRepresentable(what()))) };
    let (kind, go) = match said {
        Said::Ready(go) => ("ready", Some(go.go)),
        Said::Repeat { go, .. } => ("repeat", Some(*go)),
        Said::Skip { .. } => ("skip", None),
        Said::Warm { .. } => ("warm", None),
        Said::Abort { .. } => ("abort", None),
        Said::Resume => ("resume", None),
        Said::Automatic { .. } => ("automatic", None),
    };
    tx.prepare_cached(
        "INSERT INTO trial_entries (trial, utc_ns, who, kind, go, document) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute(params![trial, utc_ns, who, kind, go, document])?;
    Ok(Ok(Written::Row))
}

/// The step of a trial that a run takes.
pub(super) struct Taking {
    /// Number of the trial.
    pub trial: i64,
    /// Number of the step; 0 for the warm-up.
    pub step: u32,
    /// Which "ready" of the trial.
    pub attempt: u32,
}

/// Which step a run takes: the one that its tags name, if somebody was ready for it at this rig and no run before
/// it took it. This is the whole rule; whatever else joins runs to steps reads what it said, from the run's row.
pub(super) fn takes(tx: &Connection, rig: &str, tags: &InForce) -> rusqlite::Result<Option<Taking>> {
    let Some(Attempt { trial, step, attempt }) = &tags.attempt else { return Ok(None) };
    let sql =
        "SELECT t.id FROM trials t JOIN trial_entries e ON e.trial = t.id AND e.kind = 'ready' AND e.go = ?3
               WHERE t.name = ?1 AND t.rig = ?2
                 AND NOT EXISTS (SELECT 1 FROM runs r WHERE r.trial = t.id AND r.attempt = ?3)";
    let found =
        tx.prepare_cached(sql)?.query_row(params![trial, rig, attempt], |row| row.get(0)).optional()?;
    Ok(found.map(|trial| Taking { trial, step: *step, attempt: *attempt }))
}

/// Flags a run of a warm-up as `cold`, inside the transaction of the run.
pub(super) fn flag_cold(tx: &Connection, id: i64, taken: Option<&Taking>) -> rusqlite::Result<()> {
    if taken.is_some_and(|taken| taken.step == 0) {
        tx.prepare_cached("INSERT INTO run_flags (run, flag) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?
            .execute(params![id, Flag::Cold.name()])?;
    }
    Ok(())
}

/// Number, time, who and document: the columns of a trial, here of `t`, and of an entry.
pub(super) type Columns = (i64, i64, String, String);

/// What [`columns`] reads of a trial, in its order.
pub(super) const TRIAL_COLUMNS: &str = "t.id, t.utc_ns, t.who, t.document";

pub(super) fn columns(row: &rusqlite::Row<'_>) -> rusqlite::Result<Columns> {
    Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
}

fn read<T: serde::de::DeserializeOwned>(what: &'static str, id: i64, text: &str) -> Result<T, StoreError> {
    serde_json::from_str(text).map_err(|error| StoreError::Unreadable { what, id, detail: error.to_string() })
}

pub(super) fn entry((id, utc_ns, who, document): Columns) -> Result<TrialEntry, StoreError> {
    Ok(TrialEntry { utc_ns, who, said: read("the entry of a trial,", id, &document)? })
}

pub(super) fn whole((id, utc_ns, who, document): Columns) -> Result<TrialRow, StoreError> {
    Ok(TrialRow { id, utc_ns, who, plan: read("the plan of trial", id, &document)? })
}

impl Reader {
    /// The trial of a name.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trial(&self, name: &str) -> Result<Option<TrialRow>, StoreError> {
        let sql = format!("SELECT {TRIAL_COLUMNS} FROM trials t WHERE t.name = ?1");
        self.first(&sql, [name], columns)?.map(whole).transpose()
    }

    /// What was said of a trial, in order.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trial_entries(&self, trial: i64) -> Result<Vec<TrialEntry>, StoreError> {
        let sql = "SELECT id, utc_ns, who, document FROM trial_entries WHERE trial = ?1 ORDER BY id";
        self.all(sql, [trial], columns)?.into_iter().map(entry).collect()
    }

    /// The zero that a run's newest figures stand above, in the calibration's terms; none for a reading by hand.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn run_zero_kn(&self, id: RunId) -> Result<Option<f64>, StoreError> {
        Ok(self.first("SELECT zero_kN FROM runs_measured WHERE id = ?1", [id.0], |row| row.get(0))?.flatten())
    }
}
