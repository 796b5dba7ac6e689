//! Trials and what was said of them, and which run took which go.
//!
//! Rows are written inside the writer's transaction. What a plan means is the business of `trial`.

use super::error::StoreError;
use super::insert::{Applied, ensure_rig, exact_json};
use super::reader::Reader;
use super::reader_runs::{COLUMNS, RunLine, line};
use super::write::{Refused, RunId, Written};
use crate::results::Flag;
use crate::trial::{Plan, Said};
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

/// Flags a run that a warm-up's go took as `cold`, inside the transaction of the run.
pub(super) fn flag_cold(tx: &Connection, id: i64, rig: &str, utc_ns: i64) -> rusqlite::Result<()> {
    let tried: bool = tx
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM trials WHERE rig = ?1)")?
        .query_row([rig], |row| row.get(0))?;
    if !tried {
        return Ok(());
    }
    // Backwards from the newest entry, so that old trials cost nothing.
    let last: Option<(i64, Option<String>)> = tx
        .prepare_cached(
            "SELECT e.utc_ns, json_extract(e.document, '$.step.phase') FROM trial_entries e
             WHERE e.kind = 'ready' AND e.utc_ns <= ?2
               AND (SELECT t.rig FROM trials t WHERE t.id = e.trial) = ?1
             ORDER BY e.id DESC LIMIT 1",
        )?
        .query_row(params![rig, utc_ns], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let Some((since_utc_ns, Some(phase))) = last else { return Ok(()) };
    let taken: bool = tx
        .prepare_cached(
            "SELECT EXISTS (SELECT 1 FROM runs WHERE +rig = ?1 AND id < ?2 AND first_blow_utc_ns >= ?3)",
        )?
        .query_row(params![rig, id, since_utc_ns], |row| row.get(0))?;
    if phase == "warm-up" && !taken {
        tx.prepare_cached("INSERT INTO run_flags (run, flag) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?
            .execute(params![id, Flag::Cold.name()])?;
    }
    Ok(())
}

type Columns = (i64, i64, String, String);

fn columns(row: &rusqlite::Row<'_>) -> rusqlite::Result<Columns> {
    Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
}

fn read<T: serde::de::DeserializeOwned>(what: &'static str, id: i64, text: &str) -> Result<T, StoreError> {
    serde_json::from_str(text).map_err(|error| StoreError::Unreadable { what, id, detail: error.to_string() })
}

fn whole((id, utc_ns, who, document): Columns) -> Result<TrialRow, StoreError> {
    Ok(TrialRow { id, utc_ns, who, plan: read("the plan of trial", id, &document)? })
}

impl Reader {
    /// All trials, newest first.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trials(&self) -> Result<Vec<TrialRow>, StoreError> {
        let rows = self.all("SELECT id, utc_ns, who, document FROM trials ORDER BY id DESC", [], columns)?;
        rows.into_iter().map(whole).collect()
    }

    /// The trial of a name.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trial(&self, name: &str) -> Result<Option<TrialRow>, StoreError> {
        let sql = "SELECT id, utc_ns, who, document FROM trials WHERE name = ?1";
        self.first(sql, [name], columns)?.map(whole).transpose()
    }

    /// What was said of a trial, in order.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trial_entries(&self, trial: i64) -> Result<Vec<TrialEntry>, StoreError> {
        let sql = "SELECT id, utc_ns, who, document FROM trial_entries WHERE trial = ?1 ORDER BY id";
        let rows: Vec<Columns> = self.all(sql, [trial], columns)?;
        rows.into_iter()
            .map(|(id, utc_ns, who, text)| {
                Ok(TrialEntry { utc_ns, who, said: read("the entry of a trial,", id, &text)? })
            })
            .collect()
    }

    /// The runs that gos of a trial took, in order.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trial_runs(&self, trial: i64) -> Result<Vec<(u32, RunId)>, StoreError> {
        let sql = "SELECT go, run FROM trial_runs WHERE trial = ?1 AND run IS NOT NULL ORDER BY go";
        self.all(sql, [trial], |row| Ok((row.get(0)?, RunId(row.get(1)?))))
    }

    /// Whether a trial goes on by itself.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn is_automatic(&self, trial: i64) -> Result<bool, StoreError> {
        let sql = "SELECT json_extract(document, '$.on') FROM trial_entries
                   WHERE trial = ?1 AND kind = 'automatic' ORDER BY id DESC LIMIT 1";
        Ok(self.first(sql, [trial], |row| row.get::<_, bool>(0))?.unwrap_or(false))
    }

    /// The zero that a run's newest figures stand above, in the calibration's terms; none for a reading by hand.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn run_zero_kn(&self, id: RunId) -> Result<Option<f64>, StoreError> {
        Ok(self.first("SELECT zero_kN FROM runs_measured WHERE id = ?1", [id.0], |row| row.get(0))?.flatten())
    }

    /// One run as lists show it.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn run_line(&self, id: RunId) -> Result<Option<RunLine>, StoreError> {
        self.first(&format!("SELECT {COLUMNS} FROM run_results WHERE id = ?1"), [id.0], line)
    }
}

#[cfg(test)]
mod tests {
    use crate::store::{Mode, Store};

    #[test]
    fn the_run_of_a_go_is_found_by_its_time_and_not_among_all_runs_of_the_rig() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let reader = store.readers().reader().unwrap();
        let plan = reader
            .all("EXPLAIN QUERY PLAN SELECT go, run FROM trial_runs WHERE trial = 1", [], |row| {
                row.get::<_, String>(3)
            })
            .unwrap();
        let of_runs: Vec<&String> = plan.iter().filter(|step| step.contains(" r ")).collect();
        assert!(!of_runs.is_empty() && of_runs.iter().all(|step| step.contains("runs_by_time")), "{plan:#?}");
        let of_next: Vec<&String> = plan.iter().filter(|step| step.contains(" n ")).collect();
        assert!(of_next.iter().all(|step| step.contains("PRIMARY KEY")), "{plan:#?}");
        assert!(!plan.iter().any(|step| step.contains("TEMP B-TREE")), "{plan:#?}");
    }
}
