//! The form of a calibration: `series,direction,reference_kN` (or `_lbf`)`,counts[,position_deg]`.
//!
//! A series is one run of loads at one mounting. Its loads are read in the order in which they were applied:
//! up, then down, and never the same one twice in a row, because what comes down differs from what goes up.
//! So a series out of order is an error and not sorted. Must not know how a line is fitted.

use super::columns::{Columns, ColumnsError};
use boltscribe_numerics::DoubleDouble;

/// The unit of the reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LoadUnit {
    /// `reference_kN`.
    Kilonewtons,
    /// `reference_lbf`.
    PoundsForce,
}

/// One load with what the instrument showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// Line of the file.
    pub line: usize,
    /// Name of its series.
    pub series: String,
    /// Applied from below.
    pub up: bool,
    /// Reference force as in the file.
    pub reference: f64,
    /// The same in kN.
    pub reference_kn: DoubleDouble,
    /// What the instrument showed.
    pub counts: DoubleDouble,
    /// Angle of the mounting.
    pub position_deg: Option<f64>,
}

/// The loads of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Loads {
    /// In the order of the file.
    pub loads: Vec<Load>,
    /// Unit of the reference in the file.
    pub unit: LoadUnit,
}

/// Why a file is no calibration.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LoadsError {
    /// See there.
    #[error(transparent)]
    Columns(#[from] ColumnsError),
    /// Two units, or none.
    #[error(
        "line {line}, column 'reference_kN': expected one of 'reference_kN' and 'reference_lbf', found {found}"
    )]
    Unit {
        /// Of the header.
        line: usize,
        /// How many of them.
        found: &'static str,
    },
    /// A load out of order.
    #[error(
        "line {line}, column '{column}': expected {expected} in series '{series}', found {found} after {before} in line {before_line}"
    )]
    Order {
        /// Counted from 1.
        line: usize,
        /// Which.
        column: &'static str,
        /// What would do.
        expected: &'static str,
        /// Of which series.
        series: String,
        /// What is there.
        found: String,
        /// What stands before it.
        before: String,
        /// Where.
        before_line: usize,
    },
    /// One load only.
    #[error(
        "line {line}, column '{column}': expected at least two different loads, found {found} throughout"
    )]
    OneLoad {
        /// Of the last row.
        line: usize,
        /// Which column.
        column: &'static str,
        /// The load.
        found: f64,
    },
    /// No rows.
    #[error("line {line}: expected rows of loads below the header, found none")]
    Empty {
        /// Of the header.
        line: usize,
    },
    /// A count the converter cannot give.
    #[error("line {line}, column 'counts': expected counts from {low} to {high}, found {found}")]
    CountsRange {
        /// Counted from 1.
        line: usize,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
        /// What is there.
        found: f64,
    },
    /// Less than a count a kilonewton.
    #[error(
        "line {line}, column 'counts': expected counts that move by at least 1 for each kN of the reference, found {counts} counts over {reference_kn} kN (are the columns exchanged?)"
    )]
    Exchanged {
        /// Of the header.
        line: usize,
        /// Their span.
        counts: f64,
        /// That of the reference.
        reference_kn: f64,
    },
}

/// Newtons in a pound-force over 1000, as a decimal.
const KN_PER_LBF: &str = "0.0044482216152605";

/// Reads the form; `counts_range` is what the converter can give, where known.
///
/// # Errors
/// Columns or cells that do not fit, loads below zero, a series out of order, one load only, counts out of
/// range or fewer than one a kilonewton.
pub fn read_loads(bytes: &[u8], counts_range: Option<(f64, f64)>) -> Result<Loads, LoadsError> {
    let columns = Columns::read(bytes)?;
    let unit = unit(&columns)?;
    let reference_name = unit.column();
    let places = Places {
        series: columns.place("series")?,
        direction: columns.place("direction")?,
        reference: columns.place(reference_name)?,
        counts: columns.place("counts")?,
        position: if columns.has("position_deg") { Some(columns.place("position_deg")?) } else { None },
    };
    let mut loads: Vec<Load> = Vec::with_capacity(columns.lines.len());
    for row in 0..columns.lines.len() {
        let load = load(&columns, &places, unit, row)?;
        if let Some(before) = loads.iter().rev().find(|l| l.series == load.series) {
            in_order(before, &load, unit)?;
        }
        let counts = load.counts.to_f64();
        if let Some((low, high)) = counts_range.filter(|(low, high)| !(*low..=*high).contains(&counts)) {
            return Err(LoadsError::CountsRange { line: load.line, low, high, found: counts });
        }
        loads.push(load);
    }
    whole(&columns, &loads, reference_name)?;
    Ok(Loads { loads, unit })
}

struct Places {
    series: usize,
    direction: usize,
    reference: usize,
    counts: usize,
    position: Option<usize>,
}

impl LoadUnit {
    const fn column(self) -> &'static str {
        match self {
            Self::Kilonewtons => "reference_kN",
            Self::PoundsForce => "reference_lbf",
        }
    }
}

fn unit(columns: &Columns) -> Result<LoadUnit, LoadsError> {
    let line = columns.header_line;
    match (columns.has("reference_kN"), columns.has("reference_lbf")) {
        (true, false) => Ok(LoadUnit::Kilonewtons),
        (false, true) => Ok(LoadUnit::PoundsForce),
        (true, true) => Err(LoadsError::Unit { line, found: "both: two units in one file" }),
        (false, false) => Err(LoadsError::Unit { line, found: "neither" }),
    }
}

fn load(columns: &Columns, places: &Places, unit: LoadUnit, row: usize) -> Result<Load, LoadsError> {
    let series = columns.text(row, places.series).to_owned();
    if series.is_empty() {
        return Err(columns.wrong(row, places.series, "the name of a series").into());
    }
    let up = match columns.text(row, places.direction) {
        "up" => true,
        "down" => false,
        _ => return Err(columns.wrong(row, places.direction, "'up' or 'down'").into()),
    };
    let reference = columns.number(row, places.reference)?;
    if reference.to_f64() < 0.0 {
        return Err(columns.wrong(row, places.reference, "a load of at least 0").into());
    }
    let reference_kn = match unit {
        LoadUnit::Kilonewtons => reference,
        LoadUnit::PoundsForce => reference * KN_PER_LBF.parse().unwrap_or(DoubleDouble::ZERO),
    };
    let position_deg = match places.position {
        Some(place) => Some(columns.number(row, place)?.to_f64()),
        None => None,
    };
    Ok(Load {
        line: columns.lines[row],
        series,
        up,
        reference: reference.to_f64(),
        reference_kn,
        counts: columns.number(row, places.counts)?,
        position_deg,
    })
}

/// Holds a load against the one before it in its series.
fn in_order(before: &Load, load: &Load, unit: LoadUnit) -> Result<(), LoadsError> {
    let (was, is) = (before.reference, load.reference);
    let wrong = |column, expected, found: String, stood: String| LoadsError::Order {
        line: load.line,
        column,
        expected,
        series: load.series.clone(),
        found,
        before: stood,
        before_line: before.line,
    };
    let forces = |expected| Err(wrong(unit.column(), expected, is.to_string(), was.to_string()));
    if before.position_deg != load.position_deg {
        let degrees = |l: &Load| l.position_deg.map_or_else(String::new, |p| format!("{p}°"));
        return Err(wrong("position_deg", "one mounting", degrees(load), degrees(before)));
    }
    match (before.up, load.up) {
        (false, true) => Err(wrong(
            "direction",
            "no way up after the way down (a new mounting or run is a new series)",
            "up".into(),
            "down".into(),
        )),
        (true, true) if is == was => forces("a load only once on the way up"),
        (true, true) if is < was => forces("a greater load on the way up"),
        (false, false) if is == was => forces("a load only once on the way down"),
        (false, false) if is > was => forces("a smaller load on the way down"),
        (true, false) if is > was => forces("a way down from the greatest load"),
        _ => Ok(()),
    }
}

/// What shows only in all rows together.
fn whole(columns: &Columns, loads: &[Load], reference_name: &'static str) -> Result<(), LoadsError> {
    let Some(last) = loads.last() else { return Err(LoadsError::Empty { line: columns.header_line }) };
    let span = |of: fn(&Load) -> f64| {
        let values = loads.iter().map(of);
        values.clone().fold(f64::MIN, f64::max) - values.fold(f64::MAX, f64::min)
    };
    let (reference_kn, counts) = (span(|l| l.reference_kn.to_f64()), span(|l| l.counts.to_f64()));
    if reference_kn == 0.0 {
        let found = last.reference;
        return Err(LoadsError::OneLoad { line: last.line, column: reference_name, found });
    }
    if counts < reference_kn {
        return Err(LoadsError::Exchanged { line: columns.header_line, counts, reference_kn });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "series,direction,reference_kN,counts\n";

    fn error(rows: &str) -> String {
        read_loads(format!("{HEAD}{rows}").as_bytes(), Some((-1e6, 1e6))).unwrap_err().to_string()
    }

    #[test]
    fn a_series_up_and_down_with_its_zeros_is_read() {
        let text = "# cell\nseries,direction,reference_lbf,counts,position_deg\n1,up,0,10,0\n1,up,1000,450000,0\n\
                    1,down,1000,450010,0\n1,down,0,12,0\n2,up,0,11,120\n2,up,1000,450020,120\n";
        let found = read_loads(text.as_bytes(), None).unwrap();
        assert_eq!((found.loads.len(), found.unit), (6, LoadUnit::PoundsForce));
        assert_eq!((found.loads[1].reference_kn.to_f64(), found.loads[1].line), (4.448_221_615_260_5, 4));
        assert!(!found.loads[2].up && found.loads[4].position_deg == Some(120.0));
    }

    #[test]
    fn each_wrong_load_is_named_by_line_and_column() {
        let cases = [
            ("1,up,10,100\n1,up,10,101\n", "line 3, column 'reference_kN': expected a load only once"),
            (
                "1,up,10,100\n1,up,5,50\n",
                "line 3, column 'reference_kN': expected a greater load on the way up",
            ),
            ("1,down,5,50\n1,down,10,100\n", "line 3, column 'reference_kN': expected a smaller load"),
            ("1,up,5,50\n1,down,10,100\n", "line 3, column 'reference_kN': expected a way down from"),
            ("1,down,5,50\n1,up,10,100\n", "line 3, column 'direction': expected no way up"),
            ("1,up,-5,50\n", "line 2, column 'reference_kN': expected a load of at least 0, found '-5'"),
            ("1,sideways,5,50\n", "line 2, column 'direction': expected 'up' or 'down', found 'sideways'"),
            (",up,5,50\n", "line 2, column 'series': expected the name"),
            ("1,up,\"5,5\",50\n", "line 2, column 'reference_kN': expected a finite number"),
            ("1,up,5,5,50\n", "line 2, column 'counts': expected 4 values"),
            ("1,up,5,nan\n", "line 2, column 'counts': expected a finite number"),
            (
                "1,up,5,9000000\n",
                "line 2, column 'counts': expected counts from -1000000 to 1000000, found 9000000",
            ),
            (
                "1,up,5,50\n2,up,5,51\n",
                "line 3, column 'reference_kN': expected at least two different loads",
            ),
            ("", "line 1: expected rows"),
            ("1,up,1000,5\n1,up,20000,10\n", "line 1, column 'counts': expected counts that move"),
        ];
        for (rows, expected) in cases {
            let found = error(rows);
            assert!(found.starts_with(expected), "{rows:?}: {found}");
        }
    }

    #[test]
    fn two_units_and_a_moved_mounting_are_refused() {
        let both = read_loads(b"series,direction,reference_kN,reference_lbf,counts\n", None).unwrap_err();
        assert!(both.to_string().contains("two units"), "{both}");
        let moved = b"series,direction,reference_kN,counts,position_deg\n1,up,1,10,0\n1,up,2,20,120\n";
        let moved = read_loads(moved, None).unwrap_err().to_string();
        assert!(moved.starts_with("line 3, column 'position_deg': expected one mounting"), "{moved}");
        let none = read_loads(b"series,direction,counts\n", None).unwrap_err().to_string();
        assert!(none.starts_with("line 1, column 'reference_kN'") && none.ends_with("neither"), "{none}");
    }
}
