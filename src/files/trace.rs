//! A trace: CSV with `time_s` and one of `tension_kN`, `tension_lbf`, `counts`.
//!
//! RFC 4180; lines that begin with `#` are skipped; other columns are left alone. An error names the
//! line, the column, what was expected and what was found.

use super::spacing::{Spacing, SpacingError, even};
use crate::constants::{Calibration, CalibrationError};
use crate::tension::Converter;
use crate::units::Newtons;
use std::io::Read;

/// What the column of values is in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TraceUnit {
    /// `tension_kN`.
    Kilonewtons,
    /// `tension_lbf`.
    PoundsForce,
    /// `counts`, to be converted by a calibration.
    Counts,
}

impl TraceUnit {
    const ALL: [(Self, &'static str); 3] =
        [(Self::Kilonewtons, "tension_kN"), (Self::PoundsForce, "tension_lbf"), (Self::Counts, "counts")];
}

/// A trace, evenly spaced.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Time of the first sample, seconds, as in the file.
    pub start_s: f64,
    /// Spacing and gaps.
    pub spacing: Spacing,
    /// Newtons in the file's own terms.
    pub tension: Vec<f32>,
}

/// Why a file is no trace.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TraceError {
    /// The text is not CSV.
    #[error("line {line}: expected comma-separated values, found {found}")]
    Csv {
        /// Counted from 1.
        line: u64,
        /// What the reader says.
        found: String,
    },
    /// A column is missing or there is more than one of values.
    #[error("line {line}: expected {expected}, found the columns {found:?}")]
    Columns {
        /// Line of the header.
        line: u64,
        /// What is needed.
        expected: &'static str,
        /// What is there.
        found: Vec<String>,
    },
    /// A cell is no finite number.
    #[error("line {line}, column '{column}': expected {expected}, found '{found}'")]
    Cell {
        /// Counted from 1.
        line: u64,
        /// Name of the column.
        column: &'static str,
        /// What kind of number.
        expected: &'static str,
        /// What is there.
        found: String,
    },
    /// Too few rows for any run.
    #[error("expected at least {expected} rows of samples, found {found}")]
    Short {
        /// Fewest.
        expected: usize,
        /// How many.
        found: usize,
    },
    /// Times are not evenly spaced.
    #[error("line {line}, column 'time_s': {source}")]
    Spacing {
        /// Counted from 1.
        line: u64,
        /// What is wrong.
        source: SpacingError,
    },
    /// Counts without a calibration.
    #[error("cannot turn the column 'counts' into tension: expected a calibration, found none")]
    NoCalibration,
    /// A calibration that cannot be used.
    #[error(transparent)]
    Calibration(#[from] CalibrationError),
}

/// Fewest rows of a trace.
const ROWS_MIN: usize = 8;

struct Rows {
    unit: TraceUnit,
    times: Vec<f64>,
    values: Vec<f64>,
    lines: Vec<u64>,
    decimals: usize,
}

/// Reads a trace.
///
/// # Errors
/// Wrong columns, cells that are no finite numbers, times that are not evenly spaced, too few rows, counts
/// without a calibration.
pub fn read_trace(from: impl Read, calibration: Option<&Calibration>) -> Result<Trace, TraceError> {
    let rows = read_rows(from)?;
    if rows.times.len() < ROWS_MIN {
        return Err(TraceError::Short { expected: ROWS_MIN, found: rows.times.len() });
    }
    let resolution_s = 0.5 * 10_f64.powi(-(rows.decimals as i32));
    let spacing = even(&rows.times, resolution_s).map_err(|(row, source)| TraceError::Spacing {
        line: rows.lines.get(row).copied().unwrap_or(0),
        source,
    })?;
    let tension = match rows.unit {
        TraceUnit::Kilonewtons => rows.values.iter().map(|v| Newtons::from_kn(*v).get() as f32).collect(),
        TraceUnit::PoundsForce => rows.values.iter().map(|v| Newtons::from_lbf(*v).get() as f32).collect(),
        TraceUnit::Counts => {
            let converter = Converter::new(calibration.ok_or(TraceError::NoCalibration)?)?;
            let counts: Vec<i32> = rows.values.iter().map(|v| *v as i32).collect();
            let (mut tension, mut clipped) = (Vec::new(), Vec::new());
            converter.convert(&counts, &mut tension, &mut clipped);
            tension
        }
    };
    Ok(Trace { start_s: rows.times[0], spacing, tension })
}

fn read_rows(from: impl Read) -> Result<Rows, TraceError> {
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).trim(csv::Trim::All).flexible(false).from_reader(from);
    let headers = reader.headers().map_err(|e| csv_error(&e))?.clone();
    let header_line = headers.position().map_or(1, csv::Position::line);
    let names: Vec<String> = headers.iter().map(|h| h.trim_start_matches('\u{feff}').to_owned()).collect();
    let column = |name: &str| names.iter().position(|n| n == name);
    let columns = |expected| TraceError::Columns { line: header_line, expected, found: names.clone() };
    let time = column("time_s").ok_or_else(|| columns("a column 'time_s'"))?;
    let given: Vec<(TraceUnit, &'static str, usize)> =
        TraceUnit::ALL.iter().filter_map(|(unit, name)| Some((*unit, *name, column(name)?))).collect();
    let [(unit, name, value)] = given[..] else {
        return Err(columns("exactly one of the columns 'tension_kN', 'tension_lbf', 'counts'"));
    };
    let mut rows = Rows { unit, times: Vec::new(), values: Vec::new(), lines: Vec::new(), decimals: 0 };
    let mut record = csv::StringRecord::new();
    while reader.read_record(&mut record).map_err(|e| csv_error(&e))? {
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |at: usize, column, whole: bool| {
            let text = record.get(at).unwrap_or("");
            let number = text.parse::<f64>().ok().filter(|v| v.is_finite());
            let fits = |v: &f64| !whole || (v.fract() == 0.0 && v.abs() <= f64::from(i32::MAX));
            let expected =
                if whole { "a whole number of counts" } else { "a finite number with a decimal point" };
            number.filter(fits).ok_or_else(|| TraceError::Cell {
                line,
                column,
                expected,
                found: text.to_owned(),
            })
        };
        rows.times.push(cell(time, "time_s", false)?);
        rows.values.push(cell(value, name, unit == TraceUnit::Counts)?);
        rows.lines.push(line);
        if rows.decimals < 12 {
            rows.decimals = rows.decimals.max(decimals(record.get(time).unwrap_or("")));
        }
    }
    Ok(rows)
}

/// Decimals of a number as written; many for the exponent form.
fn decimals(text: &str) -> usize {
    if text.contains(['e', 'E']) {
        return 12;
    }
    text.split_once('.').map_or(0, |(_, fraction)| fraction.len())
}

fn csv_error(error: &csv::Error) -> TraceError {
    let (line, found) = csv_error_line(error);
    TraceError::Csv { line, found }
}

/// Where a text stops being CSV, and what the reader says of it.
pub(super) fn csv_error_line(error: &csv::Error) -> (u64, String) {
    (error.position().map_or(1, csv::Position::line), error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trace(text: &str) -> Result<Trace, TraceError> {
        read_trace(text.as_bytes(), None)
    }

    fn rows(n: u32, step: f64) -> String {
        (0..n).map(|i| format!("{:.4},{}\n", f64::from(i) * step, i % 3)).collect()
    }

    #[test]
    fn a_plain_trace_is_read_with_comments_and_other_columns() {
        let text = format!("# a rig\ntime_s,tension_kN\n{}# end\n", rows(100, 0.001));
        let t = trace(&text).unwrap();
        assert!((t.spacing.rate_hz - 1000.0).abs() < 1e-6);
        assert_eq!((t.tension.len(), t.tension[2]), (100, 2000.0));
        let pounds: String = (0..9).map(|i| format!("x,{:.2},{}\n", f64::from(i) * 0.01, i % 3)).collect();
        let lbf = trace(&format!("note,time_s,tension_lbf\n{pounds}")).unwrap();
        assert!((f64::from(lbf.tension[1]) - 4.448_221_6).abs() < 1e-6);
    }

    #[test]
    fn wrong_columns_and_cells_are_named_with_their_line() {
        assert!(matches!(trace("a,b\n1,2\n"), Err(TraceError::Columns { line: 1, .. })));
        assert!(matches!(trace("time_s,tension_kN,counts\n1,2,3\n"), Err(TraceError::Columns { .. })));
        let nan = trace("time_s,tension_kN\n0,1\n0.1,NaN\n").unwrap_err();
        assert!(matches!(&nan, TraceError::Cell { line: 3, column: "tension_kN", .. }), "{nan}");
        let comma = trace("time_s,tension_kN\n0,\"1,5\"\n").unwrap_err();
        assert!(matches!(&comma, TraceError::Cell { line: 2, found, .. } if found == "1,5"), "{comma}");
        assert!(matches!(trace("time_s,tension_kN\n0,1,2\n"), Err(TraceError::Csv { line: 2, .. })));
        assert!(matches!(trace("time_s,tension_kN\n0,1\n"), Err(TraceError::Short { found: 1, .. })));
        let counts = format!("time_s,counts\n{}", rows(20, 0.01));
        assert_eq!(trace(&counts), Err(TraceError::NoCalibration));
        assert!(matches!(trace("time_s,counts\n0,1.5\n"), Err(TraceError::Cell { line: 2, .. })));
    }

    #[test]
    fn uneven_spacing_is_refused_with_its_line() {
        let text = format!("time_s,tension_kN\n{}0.2006,0\n0.2010,0\n", rows(201, 0.001));
        let error = trace(&text).unwrap_err();
        assert!(matches!(error, TraceError::Spacing { line: 203, .. }), "{error}");
    }
}
