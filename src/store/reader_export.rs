//! Runs page by page, oldest first, for taking them out of the store: every figure, and the blows.
//!
//! A page goes on after the last number of the one before, so a store of any size is read in bounded memory
//! and no read holds the log for long. Whether a run counts is decided by the view `run_results` alone.

use super::error::StoreError;
use super::reader::Reader;
use super::reader_runs::{COLUMNS, COLUMNS_COUNT, RunFilter, RunLine, line};
use super::write::RunId;
use boltscribe_analysis::results::FiguresShown;
use boltscribe_model::control::SourceState;
use boltscribe_signal::runs::{Figures, Form};
use rusqlite::{params, types::Value};
use serde::{Deserialize, Serialize};

/// Everything that is known of one run but its blows and samples. Absent figures are null.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunExport {
    /// What lists show.
    #[serde(flatten)]
    pub line: RunLine,
    /// What drove the tool.
    pub source: Option<SourceState>,
    /// Samples a second.
    pub rate_hz: Option<f64>,
    /// Idle reading before the first blow, in the calibration's terms.
    #[serde(rename = "zero_kN")]
    pub zero_kn: Option<f64>,
    /// How far it stood from the rig's zero.
    #[serde(rename = "zero_shift_kN")]
    pub zero_shift_kn: Option<f64>,
    /// Noise before the first blow.
    #[serde(rename = "noise_kN")]
    pub noise_kn: Option<f64>,
    /// Median excursion after a blow.
    #[serde(rename = "ringing_kN")]
    pub ringing_kn: Option<f64>,
    /// Level just after the last blow.
    #[serde(rename = "level_kN")]
    pub level_kn: Option<f64>,
    /// Standard error of the time constant.
    pub time_constant_se_s: Option<f64>,
    /// Equivalent torque of the peak.
    #[serde(rename = "equivalent_torque_peak_Nm")]
    pub equivalent_torque_peak_nm: Option<f64>,
    /// Equivalent torque of the fitted limit.
    #[serde(rename = "equivalent_torque_plateau_Nm")]
    pub equivalent_torque_plateau_nm: Option<f64>,
    /// Spikes removed.
    pub spikes: Option<i64>,
    /// Samples missing inside.
    pub missing: Option<i64>,
    /// Samples at the end of the converter's range.
    pub clipped: Option<i64>,
    /// Pulled again after it was announced; null while it has not closed.
    pub re_pulled: Option<bool>,
    /// The level that gave.
    #[serde(rename = "re_pulled_level_kN")]
    pub re_pulled_level_kn: Option<f64>,
    /// What follows from the medians between blows.
    #[serde(flatten)]
    pub figures: FiguresShown,
}

/// One blow.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BlowExport {
    /// From 1.
    pub blow: i64,
    /// Onset, seconds since sample 0 of the stream.
    pub at_s: f64,
    /// Median tension from this onset to the next.
    #[serde(rename = "level_kN")]
    pub level_kn: f64,
}

impl RunFilter {
    /// Conditions that leave the order of the numbers to lead: the pages of one export are one walk along
    /// them. A leading `+` keeps an index from being taken, by which each page would be sorted anew.
    fn upward(&self, after: i64) -> (String, Vec<Value>) {
        let mut conditions = vec!["id > ?".to_owned()];
        let mut values: Vec<Value> = vec![after.into()];
        for (column, text) in [("rig", &self.rig), ("setup", &self.setup), ("tool", &self.tool)] {
            if let Some(text) = text {
                conditions.push(format!("+{column} = ?"));
                values.push(text.clone().into());
            }
        }
        let numbers = [
            ("+first_blow_utc_ns >= ?", self.since_utc_ns),
            ("+first_blow_utc_ns < ?", self.until_utc_ns),
            ("excluded = ?", self.excluded.map(i64::from)),
            ("id < ?", self.before),
        ];
        for (condition, number) in numbers {
            if let Some(number) = number {
                conditions.push(condition.to_owned());
                values.push(number.into());
            }
        }
        (conditions.join(" AND "), values)
    }

    fn upward_sql(&self, after: i64, limit: u32) -> (String, Vec<Value>) {
        let (conditions, mut values) = self.upward(after);
        values.push(i64::from(limit).into());
        let of_run = |column: &str| format!("(SELECT {column} FROM runs WHERE runs.id = run_results.id)");
        let measured =
            |column: &str| format!("(SELECT {column} FROM runs_measured m WHERE m.id = run_results.id)");
        let more = [
            of_run("json_extract(result, '$.in_force.source')"),
            "rate_hz".to_owned(),
            measured("zero_kN"),
            "zero_shift_kN, noise_kN".to_owned(),
            measured("ringing_kN"),
            "level_kN, time_constant_se_s, equivalent_torque_peak_Nm, equivalent_torque_plateau_Nm"
                .to_owned(),
            measured("spikes"),
            measured("missing"),
            measured("clipped"),
            "re_pulled, re_pulled_level_kN".to_owned(),
            // They have no columns of their own: they are read out of the newest document.
            "json_extract(COALESCE((SELECT n.result FROM recomputations n WHERE n.run = run_results.id
                 ORDER BY n.id DESC LIMIT 1), (SELECT result FROM runs WHERE runs.id = run_results.id)),
                 '$.record.figures', '$.record.plateau.form')"
                .to_owned(),
        ];
        let more = more.join(", ");
        let sql = format!("SELECT {COLUMNS}, {more} FROM run_results WHERE {conditions} ORDER BY id LIMIT ?");
        (sql, values)
    }
}

impl Reader {
    /// Runs by filter with a number above `after`, oldest first, at most `limit`.
    ///
    /// # Errors
    /// The store cannot be read, or what drove the tool does not read back.
    pub fn runs_upward(
        &self,
        filter: &RunFilter,
        after: i64,
        limit: u32,
    ) -> Result<Vec<RunExport>, StoreError> {
        let (sql, values) = filter.upward_sql(after, limit);
        let rows = self.all(&sql, rusqlite::params_from_iter(values), |row| {
            let at = |more: usize| COLUMNS_COUNT + more;
            let source: Option<String> = row.get(at(0))?;
            let figures: String = row.get(at(15))?;
            let run = RunExport {
                line: line(row)?,
                source: None,
                rate_hz: row.get(at(1))?,
                zero_kn: row.get(at(2))?,
                zero_shift_kn: row.get(at(3))?,
                noise_kn: row.get(at(4))?,
                ringing_kn: row.get(at(5))?,
                level_kn: row.get(at(6))?,
                time_constant_se_s: row.get(at(7))?,
                equivalent_torque_peak_nm: row.get(at(8))?,
                equivalent_torque_plateau_nm: row.get(at(9))?,
                spikes: row.get(at(10))?,
                missing: row.get(at(11))?,
                clipped: row.get(at(12))?,
                re_pulled: row.get(at(13))?,
                re_pulled_level_kn: row.get(at(14))?,
                figures: FiguresShown::default(),
            };
            Ok((run, source, figures))
        })?;
        let read_back = |(mut run, source, figures): (RunExport, Option<String>, String)| {
            let id = run.line.id.0;
            let (figures, form): (Option<Figures>, Option<Form>) =
                serde_json::from_str(&figures).map_err(|error| StoreError::Unreadable {
                    what: "figures of run",
                    id,
                    detail: error.to_string(),
                })?;
            // A document without the form is of a program that knew one.
            let form = form.or(run.line.plateau_kn.map(|_| Form::default()));
            let gates_s = run.line.gates.iter().map(|gate| gate.after_s);
            run.figures = FiguresShown::of(&figures.unwrap_or_default(), form, gates_s);
            let read = source.map(|text| serde_json::from_str(&text)).transpose();
            run.source = read.map_err(|error| StoreError::Unreadable {
                what: "what drove the tool of run",
                id,
                detail: error.to_string(),
            })?;
            Ok(run)
        };
        rows.into_iter().map(read_back).collect()
    }

    /// The blows of a run by its newest measures, in order.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn blows(&self, run: RunId) -> Result<Vec<BlowExport>, StoreError> {
        self.all(
            "SELECT blow, at_s, level_kN FROM run_blows WHERE run = ?1 ORDER BY blow",
            params![run.0],
            |row| Ok(BlowExport { blow: row.get(0)?, at_s: row.get(1)?, level_kn: row.get(2)? }),
        )
    }

    /// The greatest number of a run; 0 where there is none.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn run_last(&self) -> Result<i64, StoreError> {
        let last = self.first("SELECT COALESCE(MAX(id), 0) FROM runs", [], |row| row.get(0))?;
        Ok(last.unwrap_or(0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Mode, Store};

    #[test]
    fn pages_walk_along_the_numbers_and_sort_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let reader = store.readers().reader().unwrap();
        let filter = RunFilter {
            rig: Some("r".into()),
            setup: Some("s".into()),
            tool: Some("t".into()),
            since_utc_ns: Some(1),
            until_utc_ns: Some(2),
            excluded: Some(false),
            before: Some(9),
            limit: 0,
            original: false,
        };
        for filter in [RunFilter::default(), filter] {
            let (sql, values) = filter.upward_sql(5, 100);
            let plan = reader
                .all(&format!("EXPLAIN QUERY PLAN {sql}"), rusqlite::params_from_iter(values), |row| {
                    Ok((row.get::<_, i64>(1)?, row.get::<_, String>(3)?))
                })
                .unwrap();
            let outer: Vec<&str> =
                plan.iter().filter(|(parent, _)| *parent == 0).map(|(_, step)| step.as_str()).collect();
            assert!(!outer.iter().any(|step| step.contains("TEMP B-TREE")), "{filter:?}: {outer:?}");
            assert!(
                outer.iter().any(|step| step.contains("SEARCH r USING INTEGER PRIMARY KEY")),
                "{filter:?}: {outer:?}"
            );
        }
    }
}
