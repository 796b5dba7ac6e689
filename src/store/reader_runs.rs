//! Reading runs: lists by filter, one run with all its rows.
//!
//! The list is the view `run_results` of the schema; whether a run counts is decided there alone.

use super::error::StoreError;
use super::prune::Tombstone;
use super::reader::Reader;
use super::recompute::Version;
use super::write::RunId;
use boltscribe_analysis::results::{Closed, Entry, RunResult};
use rusqlite::{Row, types::Value};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Most runs in one answer.
pub const RUNS_MAX: u32 = 1000;

/// Which runs; newest first. Tags are the latest ones, corrections applied.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RunFilter {
    /// Of this rig.
    pub rig: Option<String>,
    /// With this setup.
    pub setup: Option<String>,
    /// With this tool.
    pub tool: Option<String>,
    /// First blow at or after this wall time.
    pub since_utc_ns: Option<i64>,
    /// First blow before this wall time.
    pub until_utc_ns: Option<i64>,
    /// Only runs that are left out (true) or count (false).
    pub excluded: Option<bool>,
    /// Measures as they were announced, whatever was measured again since.
    pub original: bool,
    /// Only runs with a smaller number than this.
    pub before: Option<i64>,
    /// At most so many, 1 to [`RUNS_MAX`]; 0 stands for [`RUNS_MAX`].
    pub limit: u32,
}

/// Tension and torque at a gate.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GateLine {
    /// Seconds after the first blow.
    pub after_s: f64,
    /// Tension, kN; null where the tool had stopped.
    #[serde(rename = "tension_kN")]
    pub tension_kn: Option<f64>,
    /// Equivalent torque, N·m; null without a bolt factor.
    #[serde(rename = "torque_Nm")]
    pub torque_nm: Option<f64>,
}

/// One line of a list of runs. Absent figures are null; a reading by hand has one of `held_kN` and `peak_kN`.
#[derive(Default, Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RunLine {
    /// Number in the store.
    pub id: RunId,
    /// The rig.
    pub rig: String,
    /// Number at the rig.
    pub rig_run: i64,
    /// Wall time of the first blow, or of the reading by hand, ISO 8601.
    pub utc: String,
    /// The same, nanoseconds since 1970.
    pub utc_ns: i64,
    /// It comes from a simulated device.
    pub simulated: bool,
    /// Setup, corrections applied.
    pub setup: Option<String>,
    /// Its contacts.
    pub contacts: Option<u32>,
    /// Tool, corrections applied.
    pub tool: Option<String>,
    /// Test bolt.
    pub bolt: Option<String>,
    /// Name of the calibration.
    pub calibration: Option<String>,
    /// Whose clock its times come from: `device` or `host`.
    pub timing: Option<String>,
    /// First blow, seconds since sample 0 of the stream.
    pub first_blow_s: Option<f64>,
    /// Last blow, seconds since sample 0 of the stream.
    pub last_blow_s: Option<f64>,
    /// Last minus first blow, seconds.
    pub drive_time_s: Option<f64>,
    /// Blows; null where sampling cannot show them.
    pub blows: Option<u32>,
    /// Blows a second.
    pub blow_rate_hz: Option<f64>,
    /// Greatest filtered tension, kN.
    #[serde(rename = "peak_kN")]
    pub peak_kn: Option<f64>,
    /// Its time, seconds since sample 0 of the stream.
    pub peak_time_s: Option<f64>,
    /// The true peak may lie higher.
    pub peak_is_lower_bound: Option<bool>,
    /// Settled tension, kN.
    #[serde(rename = "held_kN")]
    pub held_kn: Option<f64>,
    /// Readings at fixed times after the first blow.
    pub gates: Vec<GateLine>,
    /// Fitted limit of the tension, kN.
    #[serde(rename = "plateau_kN")]
    pub plateau_kn: Option<f64>,
    /// Its standard error, kN.
    #[serde(rename = "plateau_se_kN")]
    pub plateau_se_kn: Option<f64>,
    /// Time constant of the fit, seconds.
    pub time_constant_s: Option<f64>,
    /// Equivalent torque of the held tension, N·m; null without a bolt factor.
    #[serde(rename = "equivalent_torque_Nm")]
    pub equivalent_torque_nm: Option<f64>,
    /// Why the run closed; null while it has not, and for a reading by hand.
    pub closed_by: Option<String>,
    /// Names of its flags.
    pub flags: Vec<String>,
    /// When its newest measures were made, ISO 8601; null where they are those of its announcement.
    pub recomputed_utc: Option<String>,
    /// It is left out of results.
    pub excluded: bool,
    /// Why; empty where it counts.
    pub left_out_because: Vec<String>,
    /// Of a reading by hand: the smallest step of the dial, kN.
    #[serde(rename = "resolution_kN")]
    pub resolution_kn: Option<f64>,
    /// Of a reading by hand: who typed it.
    pub entered_by: Option<String>,
    /// Of a reading by hand: what else was said.
    pub note: Option<String>,
}

/// A person's word on a run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct CorrectionRow {
    /// When, nanoseconds since 1970 UTC.
    pub utc_ns: i64,
    /// Who.
    pub who: String,
    /// Why.
    pub why: String,
    /// `tag`, `exclude` or `restore`.
    pub kind: String,
    /// What a restore undoes: `exclusion` or `flags`.
    pub lifts: Option<String>,
    /// The setup named.
    pub setup: Option<String>,
    /// Its contacts.
    pub contacts: Option<u32>,
    /// The tool named.
    pub tool: Option<String>,
}

/// All that is stored of a run but its samples.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RunDetail {
    /// Its line.
    pub line: RunLine,
    /// Its newest measures: the announcement or reading, exactly as it was made, or what was measured again since.
    pub result: Entry,
    /// Its announcement, where `result` is not that.
    pub original: Option<Box<RunResult>>,
    /// What was measured again, oldest first.
    pub versions: Vec<Version>,
    /// Cut-off of the low-pass that its newest measures were set to, hertz; none for a reading by hand, and where
    /// the store does not tell it.
    pub lowpass_hz: Option<f64>,
    /// What is left of its samples, where they were pruned.
    pub pruned: Option<Tombstone>,
    /// Its closing.
    pub closed: Option<Closed>,
    /// What people said about it, oldest first.
    pub corrections: Vec<CorrectionRow>,
}

/// What [`line`] reads, in its order.
pub(super) const COLUMNS: &str = "id, rig, rig_run, first_blow_utc, first_blow_utc_ns, simulated, setup, contacts, tool,
    bolt, calibration, first_blow_s, last_blow_s, drive_time_s, blows, blow_rate_hz, peak_kN, peak_time_s,
    peak_is_lower_bound, held_kN, plateau_kN, plateau_se_kN, time_constant_s, equivalent_torque_held_Nm,
    closed_by, flags, excluded, left_out_because, timing, gates, recomputed_utc, resolution_kN, entered_by, note";

/// How many [`COLUMNS`] there are.
pub(super) const COLUMNS_COUNT: usize = 34;

/// A run from a row of [`COLUMNS`].
pub(super) fn line(row: &Row<'_>) -> rusqlite::Result<RunLine> {
    Ok(RunLine {
        id: RunId(row.get(0)?),
        rig: row.get(1)?,
        rig_run: row.get(2)?,
        utc: row.get(3)?,
        utc_ns: row.get(4)?,
        simulated: row.get(5)?,
        setup: row.get(6)?,
        contacts: row.get(7)?,
        tool: row.get(8)?,
        bolt: row.get(9)?,
        calibration: row.get(10)?,
        first_blow_s: row.get(11)?,
        last_blow_s: row.get(12)?,
        drive_time_s: row.get(13)?,
        blows: row.get(14)?,
        blow_rate_hz: row.get(15)?,
        peak_kn: row.get(16)?,
        peak_time_s: row.get(17)?,
        peak_is_lower_bound: row.get(18)?,
        held_kn: row.get(19)?,
        plateau_kn: row.get(20)?,
        plateau_se_kn: row.get(21)?,
        time_constant_s: row.get(22)?,
        equivalent_torque_nm: row.get(23)?,
        closed_by: row.get(24)?,
        flags: json(row, 25)?,
        excluded: row.get(26)?,
        left_out_because: json(row, 27)?,
        timing: row.get(28)?,
        gates: json(row, 29)?,
        recomputed_utc: row.get(30)?,
        resolution_kn: row.get(31)?,
        entered_by: row.get(32)?,
        note: row.get(33)?,
    })
}

fn json<T: serde::de::DeserializeOwned>(row: &Row<'_>, column: usize) -> rusqlite::Result<T> {
    let text: String = row.get(column)?;
    serde_json::from_str(&text).map_err(|error| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, Box::new(error))
    })
}

/// The condition on a tag: an index finds the candidates by their first or a corrected tag, the view
/// then says which one is in force.
fn tag_condition(column: &str) -> String {
    format!(
        "{column} = ? AND id IN (SELECT id FROM runs WHERE {column} = ?
                                 UNION SELECT run FROM corrections WHERE {column} = ?)"
    )
}

impl RunFilter {
    fn sql(&self) -> (String, Vec<Value>) {
        let mut conditions: Vec<String> = Vec::new();
        let mut values: Vec<Value> = Vec::new();
        if let Some(rig) = &self.rig {
            conditions.push("rig = ?".to_owned());
            values.push(rig.clone().into());
        }
        for (column, tag) in [("setup", &self.setup), ("tool", &self.tool)] {
            if let Some(tag) = tag {
                conditions.push(tag_condition(column));
                values.extend(std::iter::repeat_n(Value::from(tag.clone()), 3));
            }
        }
        let numbers = [
            ("first_blow_utc_ns >= ?", self.since_utc_ns),
            ("first_blow_utc_ns < ?", self.until_utc_ns),
            ("excluded = ?", self.excluded.map(i64::from)),
            ("id < ?", self.before),
        ];
        for (condition, number) in numbers {
            if let Some(number) = number {
                conditions.push(condition.to_owned());
                values.push(number.into());
            }
        }
        let limit = if self.limit == 0 { RUNS_MAX } else { self.limit.min(RUNS_MAX) };
        values.push(i64::from(limit).into());
        let filter = if conditions.is_empty() { "1".to_owned() } else { conditions.join(" AND ") };
        // Within a rig both numbers rise together, and the index of a rig's runs is in order of its own.
        let order = if self.rig.is_some() { "rig_run" } else { "id" };
        let view = if self.original { "run_originals" } else { "run_results" };
        (format!("SELECT {COLUMNS} FROM {view} WHERE {filter} ORDER BY {order} DESC LIMIT ?"), values)
    }
}

impl Reader {
    /// Runs by filter, newest first.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn runs(&self, filter: &RunFilter) -> Result<Vec<RunLine>, StoreError> {
        let (sql, values) = filter.sql();
        self.all(&sql, rusqlite::params_from_iter(values), line)
    }

    /// How many runs there are.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn run_count(&self) -> Result<u64, StoreError> {
        // Numbers have no gaps, so the greatest is the count.
        let count = self.first("SELECT COALESCE(MAX(id), 0) FROM runs", [], |row| row.get::<_, i64>(0))?;
        Ok(count.unwrap_or(0).unsigned_abs())
    }

    /// One run with all its rows.
    ///
    /// # Errors
    /// The store cannot be read, or a document does not read back.
    pub fn run(&self, id: RunId) -> Result<Option<RunDetail>, StoreError> {
        let sql = format!("SELECT {COLUMNS} FROM run_results WHERE id = ?1");
        let Some(line) = self.first(&sql, [id.0], line)? else {
            return Ok(None);
        };
        let documents = self.first(
            "SELECT r.result, c.closing FROM runs r LEFT JOIN closings c ON c.run = r.id WHERE r.id = ?1",
            [id.0],
            |row| Ok((row.get::<_, String>(0)?, row.get::<_, Option<String>>(1)?)),
        )?;
        let (result, closing) = documents.unwrap_or_default();
        let announced = Entry::from_json(&result).map_err(|error| StoreError::Unreadable {
            what: "run",
            id: id.0,
            detail: error.to_string(),
        })?;
        let closed = closing.map(|text| self.document("the closing of run", id.0, &text)).transpose()?;
        let versions = self.versions(id)?;
        let (result, original) = match (versions.last(), announced) {
            (Some(newest), Entry::Measured(announced)) => {
                (Entry::Measured(Box::new(newest.result.clone())), Some(announced))
            }
            (_, announced) => (announced, None),
        };
        let lowpass_hz = self.lowpass_hz(id)?;
        let corrections = self.corrections(id)?;
        let pruned = self.tombstone(id)?;
        Ok(Some(RunDetail { line, result, original, versions, lowpass_hz, pruned, closed, corrections }))
    }

    /// The cut-off as the document of settings has it, not as a default would fill it in.
    fn lowpass_hz(&self, id: RunId) -> Result<Option<f64>, StoreError> {
        let found = self.first(
            "SELECT CASE WHEN n.id IS NULL THEN json_extract(s.settings, '$.runs.lowpass_hz')
                    ELSE json_extract(n.settings, '$.lowpass_hz') END
             FROM runs r LEFT JOIN streams s ON s.id = r.stream
             LEFT JOIN recomputations n ON n.id = (SELECT MAX(m.id) FROM recomputations m WHERE m.run = r.id)
             WHERE r.id = ?1",
            [id.0],
            |row| row.get::<_, Option<f64>>(0),
        )?;
        Ok(found.flatten())
    }

    fn corrections(&self, id: RunId) -> Result<Vec<CorrectionRow>, StoreError> {
        self.all(
            "SELECT utc_ns, who, why, kind, lifts, setup, contacts, tool
             FROM corrections WHERE run = ?1 ORDER BY id",
            [id.0],
            |row| {
                Ok(CorrectionRow {
                    utc_ns: row.get(0)?,
                    who: row.get(1)?,
                    why: row.get(2)?,
                    kind: row.get(3)?,
                    lifts: row.get(4)?,
                    setup: row.get(5)?,
                    contacts: row.get(6)?,
                    tool: row.get(7)?,
                })
            },
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Mode, Store};

    #[test]
    fn the_newest_runs_are_found_without_sorting_all_of_them() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let reader = store.readers().reader().unwrap();
        let of_rig = RunFilter { rig: Some("r".into()), ..RunFilter::default() };
        let counting = RunFilter { excluded: Some(false), ..RunFilter::default() };
        for filter in [RunFilter::default(), of_rig, counting] {
            let (sql, values) = filter.sql();
            let plan = reader
                .all(&format!("EXPLAIN QUERY PLAN {sql}"), rusqlite::params_from_iter(values), |row| {
                    Ok((row.get::<_, i64>(1)?, row.get::<_, String>(3)?))
                })
                .unwrap();
            // Steps of the outermost query have no parent; those inside sort one run's flags.
            let outer: Vec<&str> =
                plan.iter().filter(|(parent, _)| *parent == 0).map(|(_, step)| step.as_str()).collect();
            assert!(!outer.iter().any(|step| step.contains("TEMP B-TREE")), "{filter:?}: {outer:?}");
            assert!(outer.iter().any(|step| step.contains(" r")), "{outer:?}");
            // Inside, one run's flags and gates are looked up; no table is gone through for them.
            let whole =
                |step: &str| step.contains("AUTOMATIC") || ["SCAN g", "SCAN f", "SCAN n"].contains(&step);
            assert!(!plan.iter().any(|(_, step)| whole(step)), "{filter:?}: {plan:#?}");
        }
    }
}
