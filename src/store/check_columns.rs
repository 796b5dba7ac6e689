//! Do the columns of a run, its blows and its gates say what its document says?
//!
//! The document is the record; columns are what lists, exports and comparisons read. Both are made by the same code in
//! `insert_run.rs` and `insert_reading.rs`, so that a column which is stored is a column that is compared. Reads only.

use super::check::CheckReport;
use super::error::StoreError;
use super::insert_reading;
use super::insert_run::{context, measures};
use super::reader::Reader;
use boltscribe_analysis::results::{ByHand, RunResult};
use rusqlite::types::Value;
use std::collections::BTreeMap;

/// Where the rows of one kind of measuring stand.
struct Tables {
    row: &'static str,
    blows: &'static str,
    gates: &'static str,
    flags: &'static str,
}

const ANNOUNCED: Tables = Tables {
    row: "SELECT * FROM runs WHERE id = ?1",
    blows: "SELECT at_s, level_kN FROM blows WHERE run = ?1 ORDER BY blow",
    gates: "SELECT after_s, tension_kN, torque_Nm FROM gates WHERE run = ?1 ORDER BY gate",
    flags: "SELECT flag FROM run_flags WHERE run = ?1",
};

const AGAIN: Tables = Tables {
    row: "SELECT * FROM recomputations WHERE id = ?1",
    blows: "SELECT at_s, level_kN FROM recomputed_blows WHERE recomputation = ?1 ORDER BY blow",
    gates: "SELECT after_s, tension_kN, torque_Nm FROM recomputed_gates WHERE recomputation = ?1 ORDER BY gate",
    flags: "SELECT flag FROM recomputed_flags WHERE recomputation = ?1",
};

impl Reader {
    /// A run as it was announced.
    pub(super) fn check_measured(
        &self,
        report: &mut CheckReport,
        id: i64,
        result: &RunResult,
        document: &str,
    ) -> Result<(), StoreError> {
        let mut expected = measures(result, document);
        expected.extend(context(result));
        self.check_row(report, (&format!("run {id}"), id), &ANNOUNCED, &expected)?;
        self.check_parts(report, (&format!("run {id}"), id), &ANNOUNCED, result)
    }

    /// A run as it was measured again.
    pub(super) fn check_again(
        &self,
        report: &mut CheckReport,
        (run, id): (i64, i64),
        result: &RunResult,
        document: &str,
    ) -> Result<(), StoreError> {
        let what = format!("run {run} as measured again in {id}");
        self.check_row(report, (&what, id), &AGAIN, &measures(result, document))?;
        self.check_parts(report, (&what, id), &AGAIN, result)
    }

    /// A run that was read by hand.
    pub(super) fn check_reading(
        &self,
        report: &mut CheckReport,
        id: i64,
        read: &ByHand,
        document: &str,
    ) -> Result<(), StoreError> {
        let what = format!("run {id}");
        self.check_row(report, (&what, id), &ANNOUNCED, &insert_reading::columns(read, document))?;
        self.check_flags(report, (&what, id), &ANNOUNCED, read.flags.iter().map(|flag| flag.name()))
    }

    fn check_row(
        &self,
        report: &mut CheckReport,
        (what, id): (&str, i64),
        tables: &Tables,
        expected: &[(&'static str, Value)],
    ) -> Result<(), StoreError> {
        let found = self.first(tables.row, [id], |row| {
            let names: Vec<String> = row.as_ref().column_names().map(ToOwned::to_owned).collect();
            names
                .into_iter()
                .enumerate()
                .map(|(at, name)| Ok((name, row.get::<_, Value>(at)?)))
                .collect::<rusqlite::Result<BTreeMap<String, Value>>>()
        })?;
        let Some(found) = found else { return Ok(()) };
        for (name, expected) in expected {
            let name = name.trim_start_matches(':');
            let found = found.get(name).unwrap_or(&Value::Null);
            if !same(expected, found) {
                report.find(format!(
                    "{what}: its column {name} differs from its document: expected {}, found {}",
                    told(expected),
                    told(found)
                ));
            }
        }
        Ok(())
    }

    fn check_parts(
        &self,
        report: &mut CheckReport,
        (what, id): (&str, i64),
        tables: &Tables,
        result: &RunResult,
    ) -> Result<(), StoreError> {
        let blows: Vec<(f64, f64)> = self.all(tables.blows, [id], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let expected: Vec<(f64, f64)> =
            result.record.blows.iter().map(|blow| (blow.at_s, blow.level.kn())).collect();
        compare(report, what, "blow", &expected, &blows);
        type Gate = (f64, Option<f64>, Option<f64>);
        let gates: Vec<Gate> =
            self.all(tables.gates, [id], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        let torques = result.torques.gates.iter().copied().chain(std::iter::repeat(None));
        let expected: Vec<Gate> = result
            .record
            .gates
            .iter()
            .zip(torques)
            .map(|(gate, torque)| (gate.after_s, gate.tension.map(|f| f.kn()), torque.map(|t| t.get())))
            .collect();
        compare(report, what, "gate", &expected, &gates);
        self.check_flags(report, (what, id), tables, result.flags.iter().map(|flag| flag.name()))
    }

    /// Further flags come from the closing and from the store: those of the document must be there.
    fn check_flags(
        &self,
        report: &mut CheckReport,
        (what, id): (&str, i64),
        tables: &Tables,
        expected: impl Iterator<Item = &'static str>,
    ) -> Result<(), StoreError> {
        let found: Vec<String> = self.all(tables.flags, [id], |row| row.get(0))?;
        for flag in expected.filter(|flag| !found.iter().any(|found| found == flag)) {
            report.find(format!("{what}: expected its flag {flag}, found [{}]", found.join(" ")));
        }
        Ok(())
    }
}

fn compare<T: PartialEq + std::fmt::Debug>(
    report: &mut CheckReport,
    what: &str,
    part: &str,
    expected: &[T],
    found: &[T],
) {
    if expected.len() != found.len() {
        report.find(format!("{what}: expected {} {part}s, found {}", expected.len(), found.len()));
    }
    for (at, (expected, found)) in expected.iter().zip(found).enumerate().filter(|(_, (a, b))| a != b) {
        report.find(format!("{what}: its {part} {} differs: expected {expected:?}, found {found:?}", at + 1));
    }
}

/// A whole number may stand as a real one and the other way round, by the type of its column.
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Integer(a), Value::Real(b)) | (Value::Real(b), Value::Integer(a)) => *a as f64 == *b,
        (a, b) => a == b,
    }
}

fn told(value: &Value) -> String {
    const SHOWN_MAX: usize = 60;
    match value {
        Value::Null => "nothing".to_owned(),
        Value::Integer(number) => number.to_string(),
        Value::Real(number) => number.to_string(),
        Value::Text(text) => format!("'{}'", text.chars().take(SHOWN_MAX).collect::<String>()),
        Value::Blob(bytes) => format!("{} bytes", bytes.len()),
    }
}
