//! A trace: a table with `time_s` and one of `tension_kN`, `tension_lbf`, `counts`.
//!
//! Counts may stand beside a tension: they are what it was made from, and are read where a calibration is
//! given. CSV is read here: RFC 4180, lines that begin with `#` are skipped, other columns are left alone. An
//! error names the place, the column, what was expected and what was found, long cells cut short.

use super::records::{Records, RecordsError};
use super::spacing::{Spacing, SpacingError, even};
use boltscribe_model::constants::{Calibration, CalibrationError};
use boltscribe_model::units::Newtons;
use boltscribe_signal::tension::Converter;
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
    #[error(transparent)]
    Csv(#[from] RecordsError),
    /// The bytes are not Parquet, or not a table of numbers.
    #[error("expected {expected}, found {found}")]
    Parquet {
        /// What should be there.
        expected: &'static str,
        /// What is there.
        found: String,
    },
    /// A column is missing or there is more than one of values.
    #[error("{place}: expected {expected}, found {}", columns_in_words(found))]
    Columns {
        /// The header.
        place: Place,
        /// What is needed.
        expected: &'static str,
        /// What is there.
        found: Vec<String>,
    },
    /// Two columns of one name: nobody can tell which is meant.
    #[error("{place}, columns {} and {}: expected the name '{name}' once, found it twice", places[0], places[1])]
    Twice {
        /// The header.
        place: Place,
        /// The name.
        name: &'static str,
        /// Where the columns stand, counted from 1.
        places: [usize; 2],
    },
    /// A cell is no finite number.
    #[error("{place}, column '{column}': expected {expected}, found '{}'", short(found))]
    Cell {
        /// The row.
        place: Place,
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
    #[error("{place}, column 'time_s': {source}")]
    Spacing {
        /// The row.
        place: Place,
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

/// Where something stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// A line of a text, counted from 1.
    Line(u64),
    /// A row of a table, counted from 1.
    Row(u64),
    /// The names of a table's columns.
    Names,
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Line(line) => write!(f, "line {line}"),
            Self::Row(row) => write!(f, "row {row}"),
            Self::Names => write!(f, "names of the columns"),
        }
    }
}

impl TraceError {
    /// What to do about it, where there is something to say.
    #[must_use]
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Columns { found, .. } if is_one_with(found, ';') => {
                Some("the separator should be a comma, and the decimal mark a point; this looks like ';'")
            }
            Self::Columns { found, .. } if is_one_with(found, '\t') => {
                Some("the separator should be a comma; this looks like a tab")
            }
            Self::NoCalibration => Some("give the calibration with `--calibration FILE`"),
            _ => None,
        }
    }
}

fn is_one_with(found: &[String], separator: char) -> bool {
    matches!(found, [one] if one.contains(separator))
}

/// Most characters of a file's own words in an error.
const QUOTED_MAX: usize = 80;
/// Most columns that an error names.
const NAMED_MAX: usize = 12;

/// A file's own words, cut short where they are long.
fn short(text: &str) -> String {
    match text.char_indices().nth(QUOTED_MAX) {
        Some((end, _)) => format!("{}… ({} characters)", &text[..end], text.chars().count()),
        None => text.to_owned(),
    }
}

fn columns_in_words(names: &[String]) -> String {
    let quoted: Vec<String> = names.iter().take(NAMED_MAX).map(|name| format!("'{}'", short(name))).collect();
    let more = names.len().saturating_sub(NAMED_MAX);
    let more = if more == 0 { String::new() } else { format!(" and {more} more") };
    format!("the columns {}{more}", quoted.join(", "))
}

/// Fewest rows of a trace.
const ROWS_MIN: usize = 8;
/// More decimals than this tell nothing.
const DECIMALS_MAX: usize = 12;

/// The columns that are read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chosen {
    /// Where the times stand.
    pub time: usize,
    /// What the values are in.
    pub unit: TraceUnit,
    /// The name of their column.
    pub name: &'static str,
    /// Where they stand.
    pub value: usize,
}

/// Finds them; counts beside a tension are read where they can be converted.
pub(super) fn choose(names: &[String], place: Place, calibrated: bool) -> Result<Chosen, TraceError> {
    let column = |name: &'static str| -> Result<Option<usize>, TraceError> {
        let mut at = names.iter().enumerate().filter(|(_, n)| *n == name).map(|(at, _)| at);
        match (at.next(), at.next()) {
            (Some(a), Some(b)) => Err(TraceError::Twice { place, name, places: [a + 1, b + 1] }),
            (first, _) => Ok(first),
        }
    };
    let columns = |expected| TraceError::Columns { place, expected, found: names.to_vec() };
    let time = column("time_s")?.ok_or_else(|| columns("a column 'time_s'"))?;
    let mut given = Vec::new();
    for (unit, name) in TraceUnit::ALL {
        if let Some(value) = column(name)? {
            given.push(Chosen { time, unit, name, value });
        }
    }
    let (counts, tensions): (Vec<Chosen>, Vec<Chosen>) =
        given.into_iter().partition(|chosen| chosen.unit == TraceUnit::Counts);
    match (&tensions[..], &counts[..]) {
        ([], [counts]) => Ok(*counts),
        ([_], [counts]) if calibrated => Ok(*counts),
        ([tension], _) => Ok(*tension),
        _ => Err(columns("one of the columns 'tension_kN', 'tension_lbf', 'counts'")),
    }
}

/// What was read of them.
pub(super) struct Rows {
    /// What the values are in.
    pub unit: TraceUnit,
    /// Seconds.
    pub times: Vec<f64>,
    /// Values, finite.
    pub values: Vec<f64>,
    /// Lines of the rows; none: rows are counted.
    pub lines: Option<Vec<u64>>,
    /// Most decimals of a time.
    pub decimals: usize,
}

impl Rows {
    /// None yet.
    pub fn new(unit: TraceUnit, lines: Option<Vec<u64>>) -> Self {
        Self { unit, times: Vec::new(), values: Vec::new(), lines, decimals: 0 }
    }

    /// Remembers how finely a time was written.
    pub fn written(&mut self, text: &str) {
        self.decimals = self.decimals.max(decimals(text));
    }

    /// Whether that is still to be looked at.
    pub fn wants_decimals(&self) -> bool {
        self.decimals < DECIMALS_MAX
    }

    fn place(&self, row: usize) -> Place {
        match &self.lines {
            Some(lines) => Place::Line(lines.get(row).copied().unwrap_or(0)),
            None => Place::Row(row as u64 + 1),
        }
    }
}

/// A number that a cell may hold.
pub(super) fn fits(number: f64, unit: Option<TraceUnit>) -> bool {
    let whole = unit == Some(TraceUnit::Counts);
    number.is_finite() && (!whole || (number.fract() == 0.0 && number.abs() <= f64::from(i32::MAX)))
}

/// What a cell should hold.
pub(super) fn wanted(unit: Option<TraceUnit>) -> &'static str {
    if unit == Some(TraceUnit::Counts) {
        "a whole number of counts"
    } else {
        "a finite number with a decimal point"
    }
}

/// Reads a trace.
///
/// # Errors
/// Wrong columns, cells that are no finite numbers, times that are not evenly spaced, too few rows, counts
/// without a calibration.
pub fn read_trace(from: impl Read, calibration: Option<&Calibration>) -> Result<Trace, TraceError> {
    trace_of(&read_rows(from, calibration.is_some())?, calibration)
}

/// Makes a trace of rows.
pub(super) fn trace_of(rows: &Rows, calibration: Option<&Calibration>) -> Result<Trace, TraceError> {
    if rows.times.len() < ROWS_MIN {
        return Err(TraceError::Short { expected: ROWS_MIN, found: rows.times.len() });
    }
    let resolution_s = 0.5 * 10_f64.powi(-(rows.decimals as i32));
    let spacing = even(&rows.times, resolution_s)
        .map_err(|(row, source)| TraceError::Spacing { place: rows.place(row), source })?;
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

fn read_rows(from: impl Read, calibrated: bool) -> Result<Rows, TraceError> {
    let mut records = Records::new(from);
    let (line, names) = match records.read()? {
        Some((line, header)) => (line, header.iter().map(str::to_owned).collect()),
        None => (1, Vec::new()),
    };
    let Chosen { time, unit, name, value } = choose(&names, Place::Line(line), calibrated)?;
    let mut rows = Rows::new(unit, Some(Vec::new()));
    while let Some((line, record)) = records.read()? {
        let cell = |at: usize, column, unit: Option<TraceUnit>| {
            let text = record.get(at).unwrap_or("");
            text.parse::<f64>().ok().filter(|v| fits(*v, unit)).ok_or_else(|| TraceError::Cell {
                place: Place::Line(line),
                column,
                expected: wanted(unit),
                found: text.to_owned(),
            })
        };
        rows.times.push(cell(time, "time_s", None)?);
        rows.values.push(cell(value, name, Some(unit))?);
        if let Some(lines) = &mut rows.lines {
            lines.push(line);
        }
        if rows.wants_decimals() {
            rows.written(record.get(time).unwrap_or(""));
        }
    }
    Ok(rows)
}

/// Decimals of a number as written; many for the exponent form.
fn decimals(text: &str) -> usize {
    if text.contains(['e', 'E']) {
        return DECIMALS_MAX;
    }
    text.split_once('.').map_or(0, |(_, fraction)| fraction.len())
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
        let first = Place::Line(1);
        assert!(matches!(trace("a,b\n1,2\n"), Err(TraceError::Columns { place, .. }) if place == first));
        let two = trace("time_s,tension_kN,tension_lbf\n1,2,3\n");
        assert!(matches!(two, Err(TraceError::Columns { .. })));
        let nan = trace("time_s,tension_kN\n0,1\n0.1,NaN\n").unwrap_err();
        assert!(
            matches!(&nan, TraceError::Cell { place: Place::Line(3), column: "tension_kN", .. }),
            "{nan}"
        );
        let comma = trace("time_s,tension_kN\n0,\"1,5\"\n").unwrap_err();
        assert!(
            matches!(&comma, TraceError::Cell { place: Place::Line(2), found, .. } if found == "1,5"),
            "{comma}"
        );
        assert!(matches!(
            trace("time_s,tension_kN\n0,1,2\n"),
            Err(TraceError::Csv(RecordsError { line: 2, .. }))
        ));
        assert!(matches!(trace("time_s,tension_kN\n0,1\n"), Err(TraceError::Short { found: 1, .. })));
        let counts = format!("time_s,counts\n{}", rows(20, 0.01));
        assert_eq!(trace(&counts), Err(TraceError::NoCalibration));
        let half = trace("time_s,counts\n0,1.5\n");
        assert!(matches!(half, Err(TraceError::Cell { place: Place::Line(2), .. })));
    }

    #[test]
    fn counts_beside_a_tension_are_read_where_a_calibration_is_given() {
        let text: String = (0..20).map(|i| format!("{:.2},{i},{}\n", f64::from(i) * 0.01, 100 * i)).collect();
        let text = format!("time_s,tension_kN,counts\n{text}");
        assert_eq!(trace(&text).unwrap().tension[7], 7000.0);
        let calibration =
            Calibration { id: "c".into(), coefficients_kn: vec![0.5, 0.001], nominal: false, range_kn: None };
        let counted = read_trace(text.as_bytes(), Some(&calibration)).unwrap();
        assert_eq!(counted.tension[7], 1200.0);
    }

    #[test]
    fn a_name_that_stands_twice_is_refused_with_both_places() {
        let twice = trace("time_s,tension_kN,note,tension_kN\n0,1,x,2\n").unwrap_err();
        assert_eq!(
            twice.to_string(),
            "line 1, columns 2 and 4: expected the name 'tension_kN' once, found it twice"
        );
        let twice = trace("# a\ntime_s,time_s,counts\n0,1,2\n").unwrap_err();
        assert!(twice.to_string().starts_with("line 2, columns 1 and 2: "), "{twice}");
        assert!(matches!(trace("time_s,note,note,counts\n"), Err(TraceError::Short { .. })));
    }

    #[test]
    fn a_wrong_separator_is_hinted_at() {
        let hint = |text: &str| trace(text).unwrap_err().hint();
        assert!(hint("time_s;tension_kN\n0,1;2,5\n").unwrap().contains("should be a comma"));
        assert!(hint("time_s\ttension_kN\n0\t1\n").unwrap().contains("a tab"));
        assert_eq!(hint("time\n0\n"), None);
        assert_eq!(hint("time;s,tension_kN\n0,1\n"), None);
    }

    #[test]
    fn long_cells_and_names_are_cut_short() {
        let long = "é".repeat(5000);
        let cell = trace(&format!("time_s,tension_kN\n0,{long}\n")).unwrap_err().to_string();
        assert!(cell.chars().count() < 200 && cell.contains("(5000 characters)"), "{cell}");
        let name = trace(&format!("time_s,{long}\n0,1\n")).unwrap_err().to_string();
        assert!(name.chars().count() < 250, "{name}");
        let many = vec!["x"; 500].join(",");
        let many = trace(&format!("{many}\n")).unwrap_err().to_string();
        assert!(many.len() < 200 && many.ends_with("and 488 more"), "{many}");
    }

    #[test]
    fn uneven_spacing_is_refused_with_its_line() {
        let text = format!("time_s,tension_kN\n{}0.2006,0\n0.2010,0\n", rows(201, 0.001));
        let error = trace(&text).unwrap_err();
        assert!(matches!(error, TraceError::Spacing { place: Place::Line(203), .. }), "{error}");
    }
}
