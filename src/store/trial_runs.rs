//! Runs that took a step of a trial, as many trials as are asked for with one question.
//!
//! Which run took which step stands in the run's row; whether it counts is what the view `run_results` says.

use super::error::StoreError;
use super::reader::Reader;
use super::reader_runs::{COLUMNS, COLUMNS_COUNT, RunLine, line};
use super::trials::{TRIAL_COLUMNS, TrialEntry, TrialRow, entry, whole};
use super::write::RunId;
use rusqlite::types::Type;
use std::collections::HashMap;

/// What tells that nothing was stored that a trial's standing follows from: rows are never changed, so the same marks
/// stand for the same rows. How a run closed is not in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Mark {
    /// The newest thing that was said of the trial.
    entry: i64,
    /// How many runs it has.
    runs: i64,
    /// The newest of the store, whatever runs they are of.
    spoken_of: SpokenOf,
}

/// The newest correction and the newest recomputation.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SpokenOf {
    correction: i64,
    recomputation: i64,
}

impl Mark {
    /// Nothing is said and no run has come since `before`; runs may have been spoken of.
    #[must_use]
    pub fn goes_on_from(&self, before: &Self) -> bool {
        (self.entry, self.runs) == (before.entry, before.runs)
    }

    /// Up to where runs were spoken of.
    #[must_use]
    pub const fn spoken_of(&self) -> SpokenOf {
        self.spoken_of
    }
}

impl SpokenOf {
    /// The earlier of both, for each kind.
    #[must_use]
    pub fn earlier(self, other: Self) -> Self {
        let (correction, recomputation) = (self.correction, self.recomputation);
        Self {
            correction: correction.min(other.correction),
            recomputation: recomputation.min(other.recomputation),
        }
    }

    /// Whether something of this is newer than `before`.
    #[must_use]
    pub const fn is_newer(self, before: Self) -> bool {
        self.correction > before.correction || self.recomputation > before.recomputation
    }
}

/// As much of a run as the standing of its trial follows from.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialRun {
    /// Which "ready" of the trial it took, from 1.
    pub attempt: u32,
    /// Its number in the store.
    pub id: RunId,
    /// Its setup, corrections applied.
    pub setup: Option<String>,
    /// Its tool, corrections applied.
    pub tool: Option<String>,
    /// Tension at the first gate, held tension, peak and fitted limit, kN, where it has them.
    pub figures_kn: [Option<f64>; 4],
    /// Why it is left out; empty where it counts.
    pub left_out_because: Vec<String>,
    /// What its closing may say of it is known.
    pub is_closed: bool,
}

/// What was said of a trial, and the runs that took its attempts, each in order.
pub type Walked = (Vec<TrialEntry>, Vec<TrialRun>);

/// One line a run of these trials.
const RUNS_OF: &str =
    "SELECT t.trial, t.attempt, v.id, v.setup, v.tool, json_extract(v.gates, '$[0].tension_kN'),
           v.held_kN, v.peak_kN, v.plateau_kN, v.left_out_because,
           v.closed_by IS NOT NULL OR v.entered_by IS NOT NULL
    FROM (SELECT id AS run, trial, attempt FROM runs WHERE trial IN (SELECT value FROM json_each(?1))) t
    JOIN run_results v ON v.id = t.run
    ORDER BY t.trial, t.attempt";

impl Reader {
    /// All trials, or those of a rig, newest first, each with its mark.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trials_marked(&self, rig: Option<&str>) -> Result<Vec<(TrialRow, Mark)>, StoreError> {
        let sql = format!(
            "SELECT {TRIAL_COLUMNS},
                    (SELECT COALESCE(MAX(e.id), 0) FROM trial_entries e WHERE e.trial = t.id),
                    (SELECT COUNT(*) FROM runs r WHERE r.trial = t.id),
                    (SELECT COALESCE(MAX(id), 0) FROM corrections),
                    (SELECT COALESCE(MAX(id), 0) FROM recomputations)
             FROM trials t WHERE ?1 IS NULL OR t.rig = ?1 ORDER BY t.id DESC"
        );
        let rows = self.all(&sql, [rig], |row| {
            let (entry, runs) = (row.get(4)?, row.get(5)?);
            let spoken_of = SpokenOf { correction: row.get(6)?, recomputation: row.get(7)? };
            let mark = Mark { entry, runs, spoken_of };
            Ok((super::trials::columns(row)?, mark))
        })?;
        rows.into_iter().map(|(columns, mark)| Ok((whole(columns)?, mark))).collect()
    }

    /// The trials whose runs were corrected or measured again since, each with the newest of both.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trials_spoken_of(&self, since: SpokenOf) -> Result<HashMap<i64, SpokenOf>, StoreError> {
        // CROSS JOIN: from the few new rows to their runs, not the other way round.
        let sql = "SELECT trial, MAX(correction), MAX(recomputation) FROM (
                SELECT r.trial, c.id AS correction, 0 AS recomputation
                FROM corrections c CROSS JOIN runs r ON r.id = c.run WHERE c.id > ?1
                UNION ALL
                SELECT r.trial, 0, n.id FROM recomputations n CROSS JOIN runs r ON r.id = n.run WHERE n.id > ?2)
            WHERE trial IS NOT NULL GROUP BY trial";
        let rows = self.all(sql, [since.correction, since.recomputation], |row| {
            Ok((row.get(0)?, SpokenOf { correction: row.get(1)?, recomputation: row.get(2)? }))
        })?;
        Ok(rows.into_iter().collect())
    }

    /// What was said of these trials and the runs that took their attempts, by the number of the trial: two questions,
    /// however many there are.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn walked(&self, trials: &[i64]) -> Result<HashMap<i64, Walked>, StoreError> {
        let mut all: HashMap<i64, Walked> = HashMap::new();
        if trials.is_empty() {
            return Ok(all);
        }
        let which = format!("{trials:?}");
        let sql = "SELECT id, utc_ns, who, document, trial FROM trial_entries
                   WHERE trial IN (SELECT value FROM json_each(?1)) ORDER BY trial, id";
        for (trial, columns) in
            self.all(sql, [&which], |row| Ok((row.get(4)?, super::trials::columns(row)?)))?
        {
            all.entry(trial).or_default().0.push(entry(columns)?);
        }
        for (trial, run) in self.all(RUNS_OF, [&which], |row| Ok((row.get(0)?, trial_run(row)?)))? {
            all.entry(trial).or_default().1.push(run);
        }
        Ok(all)
    }

    /// The runs that took an attempt of a trial, in the order of attempts.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn trial_runs(&self, trial: i64) -> Result<Vec<(u32, RunLine)>, StoreError> {
        let sql = format!(
            "SELECT {COLUMNS}, attempt FROM (SELECT id AS run, attempt FROM runs WHERE trial = ?1)
             JOIN run_results ON id = run ORDER BY attempt"
        );
        self.all(&sql, [trial], |row| Ok((row.get(COLUMNS_COUNT)?, line(row)?)))
    }
}

fn trial_run(row: &rusqlite::Row<'_>) -> rusqlite::Result<TrialRun> {
    let why: String = row.get(9)?;
    let left_out_because = serde_json::from_str(&why)
        .map_err(|error| rusqlite::Error::FromSqlConversionFailure(9, Type::Text, Box::new(error)))?;
    Ok(TrialRun {
        attempt: row.get(1)?,
        id: RunId(row.get(2)?),
        setup: row.get(3)?,
        tool: row.get(4)?,
        figures_kn: [row.get(5)?, row.get(6)?, row.get(7)?, row.get(8)?],
        left_out_because,
        is_closed: row.get(10)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Mode, Store};

    #[test]
    fn runs_of_a_trial_are_found_by_its_number_and_not_among_all_runs() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let reader = store.readers().reader().unwrap();
        let one = format!(
            "SELECT {COLUMNS}, attempt FROM (SELECT id AS run, attempt FROM runs WHERE trial = ?1)
             JOIN run_results ON id = run ORDER BY attempt"
        );
        for sql in [RUNS_OF, &one] {
            let plan = reader
                .all(&format!("EXPLAIN QUERY PLAN {sql}"), ["[1]"], |row| row.get::<_, String>(3))
                .unwrap();
            let of_runs: Vec<&String> = plan.iter().filter(|step| step.contains(" runs")).collect();
            assert!(of_runs.iter().any(|step| step.contains("runs_by_attempt (trial=?")), "{plan:#?}");
            let whole = |step: &&String| {
                step.contains("AUTOMATIC")
                    || ["SCAN r", "SCAN m", "SCAN g", "SCAN f"].contains(&step.as_str())
            };
            assert!(!plan.iter().any(|step| whole(&step)), "{plan:#?}");
        }
    }
}
