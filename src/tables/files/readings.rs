//! A table of readings: CSV with `run`, `time_s`, `setup`, perhaps `tool`, and one measure.
//!
//! RFC 4180; lines that begin with `#` are skipped; other columns are left alone. An error names the line,
//! the column, what was expected and what was found. Must not know what is done with the readings.

use super::records::{Records, RecordsError};
use boltscribe_model::units::{NewtonMetres, Newtons};
use std::io::Read;

/// What the column of values is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Tension in the test bolt, given in kN.
    Tension,
    /// Equivalent torque, given in N·m.
    Torque,
}

/// Columns of values: name, quantity, unit of it in kN or N·m.
const VALUES: [(&str, Quantity); 4] = [
    ("tension_kN", Quantity::Tension),
    ("tension_lbf", Quantity::Tension),
    ("torque_Nm", Quantity::Torque),
    ("torque_lbf_ft", Quantity::Torque),
];
const WHICH_VALUE: &str =
    "exactly one of the columns 'tension_kN', 'tension_lbf', 'torque_Nm', 'torque_lbf_ft'";
/// Most rows that are read.
pub const ROWS_MAX: usize = 1_000_000;
/// Longest name, bytes.
const NAME_MAX: usize = 200;

/// One line of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Line of the file, counted from 1.
    pub line: u64,
    /// Number of the run.
    pub run: u64,
    /// Seconds from any fixed moment.
    pub time_s: f64,
    /// Name of the setup.
    pub setup: String,
    /// Name of the tool; none without that column.
    pub tool: Option<String>,
    /// In kN or N·m, above zero; NaN where an excluded run has none.
    pub value: f64,
    /// What the column `pieces` names, split at `+`; empty without that column.
    pub pieces: Vec<String>,
    /// What the column `mounting` says; none where it is empty or missing.
    pub mounting: Option<String>,
    /// What the column `excluded` says; none where it is empty or missing: the run counts.
    pub excluded: Option<String>,
}

/// A table.
#[derive(Clone, Debug, PartialEq)]
pub struct Readings {
    /// What the values are.
    pub quantity: Quantity,
    /// Name of their column.
    pub column: &'static str,
    /// The coarsest of 1, 2 and 5 times a power of ten that all values typed are multiples of, in kN or N·m; none where
    /// there is none down to a millionth of the unit typed.
    pub step: Option<f64>,
    /// Whether there is a column `pieces`.
    pub has_pieces: bool,
    /// In the order of the file.
    pub rows: Vec<Reading>,
}

/// Why a file is no table of readings.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReadingsError {
    /// The text is not CSV.
    #[error(transparent)]
    Csv(#[from] RecordsError),
    /// A column is missing, or there is more than one of values.
    #[error("line {line}: expected {expected}, found the columns {found:?}")]
    Columns {
        /// Line of the header.
        line: u64,
        /// What is needed.
        expected: &'static str,
        /// What is there.
        found: Vec<String>,
    },
    /// A cell that cannot be used.
    #[error("line {line}, column '{column}': expected {expected}, found '{found}'")]
    Cell {
        /// Counted from 1.
        line: u64,
        /// Name of the column.
        column: &'static str,
        /// What would do.
        expected: &'static str,
        /// What is there.
        found: String,
    },
    /// No row at all.
    #[error("expected rows of readings below the header, found none")]
    Empty,
    /// Too many rows.
    #[error("expected at most {ROWS_MAX} rows, found more")]
    TooMany,
}

struct Columns {
    run: usize,
    time: usize,
    setup: usize,
    tool: Option<usize>,
    pieces: Option<usize>,
    mounting: Option<usize>,
    excluded: Option<usize>,
    value: usize,
    name: &'static str,
    quantity: Quantity,
}

/// Reads a table.
///
/// # Errors
/// Wrong columns; cells that are no numbers, not above zero, or empty names; no rows, or too many.
pub fn read_readings(from: impl Read) -> Result<Readings, ReadingsError> {
    let mut records = Records::new(from);
    let columns = match records.read()? {
        Some((line, header)) => Columns::of(line, header)?,
        None => Columns::of(1, &csv::StringRecord::new())?,
    };
    let (mut rows, mut typed) = (Vec::new(), Vec::new());
    while let Some((line, record)) = records.read()? {
        if rows.len() == ROWS_MAX {
            return Err(ReadingsError::TooMany);
        }
        let reading = columns.reading(line, record)?;
        if reading.excluded.is_none() {
            typed.extend(record.get(columns.value).and_then(|text| text.parse::<f64>().ok()));
        }
        rows.push(reading);
    }
    if rows.is_empty() {
        return Err(ReadingsError::Empty);
    }
    let Columns { quantity, name, pieces, .. } = columns;
    let step = coarsest_step(&typed).map(|step| in_unit(name, step));
    Ok(Readings { quantity, column: name, step, has_pieces: pieces.is_some(), rows })
}

/// A value typed in a column, in kN or N·m.
fn in_unit(column: &str, typed: f64) -> f64 {
    match column {
        "tension_lbf" => Newtons::from_lbf(typed).kn(),
        "torque_lbf_ft" => NewtonMetres::from_lbf_ft(typed).get(),
        _ => typed,
    }
}

/// Finest step that is looked for, as a power of ten, and coarsest.
const STEP_POWERS: (i32, i32) = (-6, 3);

/// The coarsest of 1, 2 and 5 times a power of ten that all values are multiples of.
fn coarsest_step(values: &[f64]) -> Option<f64> {
    // A value of nine digits in millionths is a whole number to this.
    let whole = |value: f64| (value - value.round()).abs() < 1e-6;
    let steps = (STEP_POWERS.0..=STEP_POWERS.1).rev().flat_map(|power| [5.0, 2.0, 1.0].map(|by| (by, power)));
    let step = |(by, power): (f64, i32)| by * 10.0_f64.powi(power);
    let fits = |of: &(f64, i32)| values.iter().all(|value| whole(value / step(*of)));
    if values.is_empty() { None } else { steps.into_iter().find(fits).map(step) }
}

impl Columns {
    fn of(line: u64, header: &csv::StringRecord) -> Result<Self, ReadingsError> {
        let found: Vec<String> = header.iter().map(str::to_owned).collect();
        let column = |name: &str| found.iter().position(|f| f == name);
        let missing = |expected| ReadingsError::Columns { line, expected, found: found.clone() };
        let twice = found.iter().enumerate().any(|(i, f)| found[..i].contains(f) && !f.is_empty());
        if twice {
            return Err(missing("each column once"));
        }
        let values: Vec<_> = VALUES.iter().filter_map(|(n, q)| Some((*n, *q, column(n)?))).collect();
        let [(name, quantity, value)] = values[..] else { return Err(missing(WHICH_VALUE)) };
        Ok(Self {
            run: column("run").ok_or_else(|| missing("a column 'run'"))?,
            time: column("time_s").ok_or_else(|| missing("a column 'time_s'"))?,
            setup: column("setup").ok_or_else(|| missing("a column 'setup'"))?,
            tool: column("tool"),
            pieces: column("pieces"),
            mounting: column("mounting"),
            excluded: column("excluded"),
            value,
            name,
            quantity,
        })
    }

    fn reading(&self, line: u64, record: &csv::StringRecord) -> Result<Reading, ReadingsError> {
        let text = |at: usize| record.get(at).unwrap_or("");
        let wrong = |column, expected, found: &str| ReadingsError::Cell {
            line,
            column,
            expected,
            found: found.to_owned(),
        };
        let number = |at: usize, column, expected, fits: fn(f64) -> bool| {
            let value = text(at).parse::<f64>().ok().filter(|v| v.is_finite() && fits(*v));
            value.ok_or_else(|| wrong(column, expected, text(at)))
        };
        let name = |at: usize, column| {
            let name = text(at);
            let sound = !name.is_empty() && name.len() <= NAME_MAX;
            sound.then(|| name.to_owned()).ok_or_else(|| wrong(column, "a name", name))
        };
        let excluded = self.excluded.map(text).filter(|why| !why.is_empty()).map(str::to_owned);
        let run = text(self.run)
            .parse::<u64>()
            .map_err(|_| wrong("run", "a whole number of the run", text(self.run)))?;
        // A run that does not count may well have no value.
        let given =
            match number(self.value, self.name, "a number above zero with a decimal point", |v| v > 0.0) {
                Err(_) if excluded.is_some() => f64::NAN,
                other => other?,
            };
        let value = in_unit(self.name, given);
        let pieces = match self.pieces {
            Some(at) => pieces(text(at)).ok_or_else(|| wrong("pieces", "pieces joined by '+'", text(at)))?,
            None => Vec::new(),
        };
        Ok(Reading {
            line,
            run,
            time_s: number(self.time, "time_s", "a finite number of seconds", |_| true)?,
            setup: name(self.setup, "setup")?,
            tool: self.tool.map(|at| name(at, "tool")).transpose()?,
            value,
            pieces,
            mounting: self.mounting.map(text).filter(|m| !m.is_empty()).map(str::to_owned),
            excluded,
        })
    }
}

/// The pieces of a chain written as `a + b + c`; none where a name is empty.
#[must_use]
pub fn pieces(text: &str) -> Option<Vec<String>> {
    let names: Vec<String> = text.split('+').map(|p| p.trim().to_owned()).collect();
    (!names.iter().any(String::is_empty)).then_some(names)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Readings, ReadingsError> {
        read_readings(text.as_bytes())
    }

    #[test]
    fn a_table_is_read_with_comments_other_columns_and_other_units() {
        let text = "# readings\nrun,time_s,setup,tool,note,tension_lbf,pieces,excluded\n\
                    1,0,direct,w,x,10000,socket,\n# between\n2,60,long,w,y,9000,ext + socket,slipped\n";
        let table = read(text).unwrap();
        assert_eq!(
            (table.quantity, table.column, table.has_pieces),
            (Quantity::Tension, "tension_lbf", true)
        );
        assert!((table.rows[0].value - 44.482_216_152_605).abs() < 1e-12);
        assert_eq!((table.rows[1].line, table.rows[1].excluded.as_deref()), (5, Some("slipped")));
        assert_eq!(table.rows[1].pieces, ["ext", "socket"]);
        let torque = read("run,time_s,setup,torque_lbf_ft\n1,0,a,100\n").unwrap();
        assert!((torque.rows[0].value - 135.581_794_833_14).abs() < 1e-10);
        assert_eq!(torque.rows[0].tool, None);
    }

    #[test]
    fn the_step_of_a_table_is_the_coarsest_that_all_its_values_are_multiples_of() {
        let step = |values: &[&str]| {
            let rows: String = values.iter().enumerate().map(|(i, v)| format!("{i},{i},a,{v}\n")).collect();
            read(&format!("run,time_s,setup,tension_kN\n{rows}")).unwrap().step
        };
        assert_eq!(step(&["77.5", "77.500", "78.0"]), Some(0.5));
        assert_eq!(step(&["79.8", "80.1", "76.43"]), Some(0.01));
        assert_eq!(step(&["80", "76", "79"]), Some(1.0));
        assert_eq!(step(&["80.1234567", "76.7654321"]), None);
        let psi = read("run,time_s,setup,tension_lbf\n1,0,a,10000\n2,1,a,10050\n").unwrap().step.unwrap();
        assert!((psi - 50.0 * 0.004_448_221_615_260_5).abs() < 1e-12, "{psi}");
    }

    #[test]
    fn each_fault_is_named_with_line_and_column() {
        let cell = |text: &str| match read(text).unwrap_err() {
            ReadingsError::Cell { line, column, .. } => (line, column),
            other => panic!("{other}"),
        };
        let head = "run,time_s,setup,tension_kN\n";
        for (row, column) in [
            ("1,0,a,0", "tension_kN"),
            ("1,0,a,-3", "tension_kN"),
            ("1,0,a,NaN", "tension_kN"),
            ("1,0,a,\"1,5\"", "tension_kN"),
            ("1,0,a,", "tension_kN"),
            ("x,0,a,1", "run"),
            ("-1,0,a,1", "run"),
            ("1,soon,a,1", "time_s"),
            ("1,inf,a,1", "time_s"),
            ("1,0,,1", "setup"),
        ] {
            assert_eq!(cell(&format!("{head}1,0,a,80\n{row}\n")), (3, column), "{row}");
        }
        assert!(matches!(read("run,setup,tension_kN\n"), Err(ReadingsError::Columns { line: 1, .. })));
        let both = read("run,time_s,setup,tension_kN,torque_Nm\n1,0,a,1,1\n");
        assert!(matches!(both, Err(ReadingsError::Columns { expected: WHICH_VALUE, .. })));
        assert!(matches!(read("run,run,time_s,setup,tension_kN\n"), Err(ReadingsError::Columns { .. })));
        assert!(matches!(
            read("run,time_s,setup,tension_kN\n1,2,a\n"),
            Err(ReadingsError::Csv(RecordsError { line: 2, .. }))
        ));
        assert_eq!(read(head), Err(ReadingsError::Empty));
        assert_eq!(cell("run,time_s,setup,tension_kN,pieces\n1,0,a,1,ext++socket\n"), (2, "pieces"));
    }
}
