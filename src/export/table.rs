//! A table to be written: columns with their form and unit, and the cells of a row.
//!
//! The one description that every kind of file is written from, so that no two can tell different stories.
//! Must not know how any of them is written.

/// What the cells of a column are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Words.
    Text,
    /// A whole number.
    Whole,
    /// A real number.
    Real,
    /// Yes or no.
    Flag,
    /// A wall time, nanoseconds since 1970 UTC.
    Time,
    /// Any number of words.
    Words {
        /// What stands between them where a cell is one text.
        between: &'static str,
    },
    /// Any number of real numbers, some of which may lack.
    Reals,
}

/// One column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its name; a unit stands last, as in the API's documents.
    pub name: &'static str,
    /// What its cells are.
    pub form: Form,
    /// The unit, as Parquet's field metadata names it.
    pub unit: Option<&'static str>,
    /// What it is, in a few words.
    pub about: &'static str,
}

impl Column {
    /// A column without a unit.
    #[must_use]
    pub const fn new(name: &'static str, form: Form, about: &'static str) -> Self {
        Self { name, form, unit: None, about }
    }

    /// A column of real numbers with a unit.
    #[must_use]
    pub const fn real(name: &'static str, unit: &'static str, about: &'static str) -> Self {
        Self { name, form: Form::Real, unit: Some(unit), about }
    }

    /// A column of lists of real numbers with a unit.
    #[must_use]
    pub const fn reals(name: &'static str, unit: &'static str, about: &'static str) -> Self {
        Self { name, form: Form::Reals, unit: Some(unit), about }
    }
}

/// One cell; its kind is that of its column, or it is absent.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Nothing is known.
    Absent,
    /// Words.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// A finite real number.
    Real(f64),
    /// Yes or no.
    Flag(bool),
    /// Nanoseconds since 1970 UTC.
    Time(i64),
    /// Words.
    Words(Vec<String>),
    /// Real numbers.
    Reals(Vec<Option<f64>>),
}

impl Cell {
    /// A text or nothing.
    #[must_use]
    pub fn text(text: Option<&str>) -> Self {
        text.map_or(Self::Absent, |text| Self::Text(text.to_owned()))
    }

    /// A whole number or nothing.
    #[must_use]
    pub fn whole(number: Option<i64>) -> Self {
        number.map_or(Self::Absent, Self::Whole)
    }

    /// A real number or nothing; what is not finite is nothing.
    #[must_use]
    pub fn real(number: Option<f64>) -> Self {
        number.filter(|n| n.is_finite()).map_or(Self::Absent, Self::Real)
    }

    /// Yes, no, or nothing.
    #[must_use]
    pub fn flag(flag: Option<bool>) -> Self {
        flag.map_or(Self::Absent, Self::Flag)
    }
}

/// A table before its rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// What it holds, one word: Parquet's metadata and nothing else uses it.
    pub name: &'static str,
    /// Its columns.
    pub columns: &'static [Column],
    /// What is true of all rows, as (key, value): comment lines above a trace, metadata in Parquet.
    pub notes: Vec<(String, String)>,
    /// When a row was.
    pub when: When,
    /// What all rows are looked up by in a time-series store, besides their columns `rig`, `tool`, `setup`.
    pub tags: Vec<(&'static str, String)>,
}

/// What tells the wall time of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// A column of [`Form::Time`].
    Column(&'static str),
    /// So many seconds after such a column.
    After {
        /// The column of times.
        time: &'static str,
        /// The column of seconds.
        seconds: &'static str,
    },
    /// So many seconds after a moment.
    Since {
        /// The moment.
        utc_ns: i64,
        /// The column of seconds.
        seconds: &'static str,
    },
}

/// A wall time in ISO 8601 with `Z` and as many digits as it needs, at least milliseconds.
#[must_use]
pub fn utc(utc_ns: i64) -> String {
    let stamp = jiff::Timestamp::from_nanosecond(i128::from(utc_ns)).unwrap_or_default();
    let digits = [3, 6].into_iter().find(|d| utc_ns % 10_i64.pow(9 - d) == 0).unwrap_or(9);
    format!("{stamp:.*}", digits as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_has_milliseconds_at_least_and_loses_no_nanosecond() {
        assert_eq!(utc(1_767_225_600_000_000_000), "2026-01-01T00:00:00.000Z");
        assert_eq!(utc(1_767_225_600_123_400_000), "2026-01-01T00:00:00.123400Z");
        assert_eq!(utc(1_767_225_600_123_456_789), "2026-01-01T00:00:00.123456789Z");
    }

    #[test]
    fn what_is_not_finite_is_absent() {
        assert_eq!(Cell::real(Some(f64::NAN)), Cell::Absent);
        assert_eq!(Cell::real(Some(f64::INFINITY)), Cell::Absent);
    }
}
