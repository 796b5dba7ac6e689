//! Named numeric columns of a CSV with the line of every row.
//!
//! RFC 4180, one record a line; lines that begin with `#` and blank lines are skipped. Numbers have a decimal
//! point and are read to all their digits. An error names line and column, what was expected and what was
//! found. Must not know what the columns mean.

use boltscribe_numerics::DoubleDouble;

/// Most rows: a hundred thousand readings are no calibration any more.
pub const ROWS_MAX: usize = 100_000;

/// Why a text gives no columns.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ColumnsError {
    /// No header.
    #[error("expected a line of column names, found none")]
    Empty,
    /// Not UTF-8.
    #[error("line {line}: expected text in UTF-8, found other bytes")]
    Encoding {
        /// Counted from 1.
        line: usize,
    },
    /// A semicolon or tab between values.
    #[error(
        "line {line}: expected commas between values and points in numbers, found {found} between the column names"
    )]
    Separator {
        /// Counted from 1.
        line: usize,
        /// What stands there.
        found: &'static str,
    },
    /// A column that is not there, or stands there twice.
    #[error("line {line}, column '{column}': expected it once, found {found} among the columns {names:?}")]
    Column {
        /// Of the header.
        line: usize,
        /// Which.
        column: String,
        /// How often it is there.
        found: usize,
        /// What is there.
        names: Vec<String>,
    },
    /// More or fewer values than columns.
    #[error(
        "line {line}, column '{column}': expected {expected} values as in the header, found {found}{comma}"
    )]
    Count {
        /// Counted from 1.
        line: usize,
        /// The first column without a value, or the last one.
        column: String,
        /// Columns.
        expected: usize,
        /// Values.
        found: usize,
        /// A guess where there are too many.
        comma: &'static str,
    },
    /// No number.
    #[error("line {line}, column '{column}': expected {expected}, found '{found}'")]
    Cell {
        /// Counted from 1.
        line: usize,
        /// Which.
        column: String,
        /// What would do.
        expected: &'static str,
        /// What is there.
        found: String,
    },
    /// Too many rows.
    #[error("line {line}: expected at most {ROWS_MAX} rows, found more")]
    Rows {
        /// The first too many.
        line: usize,
    },
}

/// The cells of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Columns {
    /// Line of the header.
    pub header_line: usize,
    /// Names in their order.
    pub names: Vec<String>,
    /// Line of each row.
    pub lines: Vec<usize>,
    rows: Vec<csv::StringRecord>,
}

/// What a number must look like.
const NUMBER: &str = "a finite number with a decimal point";

impl Columns {
    /// Reads a text.
    ///
    /// # Errors
    /// No header, another separator, rows that do not fit the header, too many rows, no UTF-8.
    pub fn read(bytes: &[u8]) -> Result<Self, ColumnsError> {
        let text = std::str::from_utf8(bytes).map_err(|e| {
            let before = &bytes[..e.valid_up_to()];
            ColumnsError::Encoding { line: 1 + before.iter().filter(|b| **b == b'\n').count() }
        })?;
        let text = text.trim_start_matches('\u{feff}');
        let mut lines = text
            .lines()
            .enumerate()
            .map(|(i, l)| (i + 1, l))
            .filter(|(_, l)| !l.trim_start().starts_with('#') && !l.trim().is_empty());
        let (header_line, header) = lines.next().ok_or(ColumnsError::Empty)?;
        let names: Vec<String> = record(header).iter().map(str::to_owned).collect();
        if names.len() == 1 {
            for (sign, found) in [(';', "semicolons"), ('\t', "tabs")] {
                if header.contains(sign) {
                    return Err(ColumnsError::Separator { line: header_line, found });
                }
            }
        }
        let mut columns = Self { header_line, names, lines: Vec::new(), rows: Vec::new() };
        for (line, text) in lines {
            if columns.rows.len() == ROWS_MAX {
                return Err(ColumnsError::Rows { line });
            }
            let row = record(text);
            let (expected, found) = (columns.names.len(), row.len());
            if found != expected {
                let column = columns.names[found.min(expected - 1)].clone();
                let comma = if found > expected { " (a decimal comma?)" } else { "" };
                return Err(ColumnsError::Count { line, column, expected, found, comma });
            }
            columns.lines.push(line);
            columns.rows.push(row);
        }
        Ok(columns)
    }

    /// Whether a column of this name is there.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        self.names.iter().any(|n| n == name)
    }

    /// The place of a column.
    ///
    /// # Errors
    /// Not there, or there twice.
    pub fn place(&self, name: &str) -> Result<usize, ColumnsError> {
        let found = self.names.iter().filter(|n| *n == name).count();
        match self.names.iter().position(|n| n == name) {
            Some(at) if found == 1 => Ok(at),
            _ => Err(ColumnsError::Column {
                line: self.header_line,
                column: name.to_owned(),
                found,
                names: self.names.clone(),
            }),
        }
    }

    /// The text of a row in a column.
    #[must_use]
    pub fn text(&self, row: usize, place: usize) -> &str {
        self.rows.get(row).and_then(|r| r.get(place)).unwrap_or("")
    }

    /// The number of a row in a column.
    ///
    /// # Errors
    /// No finite number.
    pub fn number(&self, row: usize, place: usize) -> Result<DoubleDouble, ColumnsError> {
        let text = self.text(row, place);
        let number = text.parse::<DoubleDouble>().ok().filter(|v| v.is_finite());
        number.ok_or_else(|| self.wrong(row, place, NUMBER))
    }

    /// All numbers of a column.
    ///
    /// # Errors
    /// No such column, or a cell that is no finite number.
    pub fn numbers(&self, name: &str) -> Result<Vec<DoubleDouble>, ColumnsError> {
        let place = self.place(name)?;
        (0..self.rows.len()).map(|row| self.number(row, place)).collect()
    }

    /// What is wrong with a cell.
    #[must_use]
    pub fn wrong(&self, row: usize, place: usize, expected: &'static str) -> ColumnsError {
        ColumnsError::Cell {
            line: self.lines.get(row).copied().unwrap_or(self.header_line),
            column: self.names.get(place).cloned().unwrap_or_default(),
            expected,
            found: self.text(row, place).to_owned(),
        }
    }
}

/// The values of one line.
fn record(line: &str) -> csv::StringRecord {
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).trim(csv::Trim::All).from_reader(line.as_bytes());
    let mut record = csv::StringRecord::new();
    // A line of valid text always reads; an open quote runs to its end.
    let _ = reader.read_record(&mut record);
    record
}

#[cfg(test)]
mod tests {
    use super::*;

    fn error(text: &str) -> String {
        Columns::read(text.as_bytes()).unwrap_err().to_string()
    }

    #[test]
    fn rows_keep_their_line_whatever_stands_between() {
        let c = Columns::read("\u{feff}# head\n\na, b\r\n# between\n1,2\n\n3 , 4.5\n".as_bytes()).unwrap();
        assert_eq!((c.header_line, c.lines.as_slice()), (3, [5, 7].as_slice()));
        let b: Vec<f64> = c.numbers("b").unwrap().iter().map(|v| v.to_f64()).collect();
        assert_eq!(b, [2.0, 4.5]);
        assert_eq!(Columns::read(b"a\n1\n").unwrap().names, ["a"]);
    }

    #[test]
    fn every_way_to_go_wrong_names_its_line() {
        assert_eq!(error("# only\n"), "expected a line of column names, found none");
        assert!(error("a;b\n1;2\n").starts_with("line 1: expected commas"));
        assert!(error("a\tb\n").contains("tabs"));
        assert!(error("a,b\n1,2\n1,2,5\n").starts_with("line 3, column 'b': expected 2 values"));
        assert!(error("a,b\n1,2,5\n").ends_with("(a decimal comma?)"));
        assert!(error("a,b\n1\n").starts_with("line 2, column 'b'"));
        assert!(Columns::read(b"a\n\xff\n").unwrap_err().to_string().starts_with("line 2"));
        for cell in ["NaN", "inf", "\"1,5\"", "", "1 kN", "0x10", "1e999"] {
            let text = format!("a,b\n1,2\n{cell},3\n");
            let wrong = Columns::read(text.as_bytes()).unwrap().numbers("a").unwrap_err().to_string();
            assert!(wrong.starts_with("line 3, column 'a': expected a finite number"), "{cell}: {wrong}");
        }
        let twice = Columns::read(b"a,a\n1,2\n").unwrap();
        assert!(twice.numbers("a").unwrap_err().to_string().contains("found 2"));
        assert!(twice.numbers("z").unwrap_err().to_string().starts_with("line 1, column 'z'"));
    }
}
