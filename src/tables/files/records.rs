//! Records of a CSV (RFC 4180) with the line each begins on.
//!
//! Lines that begin with `#` and blank lines are skipped, blanks around values and a byte order mark are taken
//! off. The crate `csv` takes the record apart; which line it stood on is counted here, because the crate counts
//! from before the lines that it skips. Must not know what the columns mean.

use std::io::{BufRead, BufReader, Read};

/// Longest record: a quote that is never closed must not take the rest of a big file into memory.
const RECORD_BYTES_MAX: usize = 1 << 20;
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();

/// Why there is no further record.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: expected {expected}, found {found}")]
pub struct RecordsError {
    /// Counted from 1.
    pub line: u64,
    /// What should be there.
    pub expected: &'static str,
    /// What is there.
    pub found: String,
}

/// Reads one record after the other.
pub struct Records<R> {
    from: BufReader<R>,
    text: Vec<u8>,
    record: csv::StringRecord,
    /// Lines read so far.
    lines: u64,
    /// Values of the first record, the header.
    columns: Option<usize>,
}

impl<R: Read> Records<R> {
    /// Begins at the first line.
    pub fn new(from: R) -> Self {
        let record = csv::StringRecord::new();
        Self { from: BufReader::new(from), text: Vec::new(), record, lines: 0, columns: None }
    }

    /// The next record and the line it begins on, or none at the end.
    ///
    /// # Errors
    /// What cannot be read, no UTF-8, a quote that is never closed, more or fewer values than the first record.
    pub fn read(&mut self) -> Result<Option<(u64, &csv::StringRecord)>, RecordsError> {
        let Some(line) = self.gather()? else { return Ok(None) };
        let wrong = |expected, found: String| RecordsError { line, expected, found };
        let text =
            std::str::from_utf8(&self.text).map_err(|_| wrong("text in UTF-8", "other bytes".to_owned()))?;
        self.record.clear();
        if text.contains('"') {
            let mut reader = csv::ReaderBuilder::new()
                .has_headers(false)
                .trim(csv::Trim::All)
                .buffer_capacity(text.len())
                .from_reader(text.as_bytes());
            reader
                .read_record(&mut self.record)
                .map_err(|e| wrong("comma-separated values", e.to_string()))?;
        } else {
            for value in text.split(',') {
                self.record.push_field(value.trim());
            }
        }
        let (values, columns) = (self.record.len(), *self.columns.get_or_insert(self.record.len()));
        if values != columns {
            let found = format!("{values} values below a header of {columns}");
            return Err(wrong("as many values as the header has", found));
        }
        Ok(Some((line, &self.record)))
    }

    /// Puts the lines of the next record into `text`.
    fn gather(&mut self) -> Result<Option<u64>, RecordsError> {
        self.text.clear();
        let (mut begin, mut quote) = (None, Quote::none());
        loop {
            let (at, line) = (self.text.len(), self.lines + 1);
            let rest = (RECORD_BYTES_MAX - at) as u64;
            let wrong = |expected, found: String| RecordsError { line, expected, found };
            let read = self
                .from
                .by_ref()
                .take(rest)
                .read_until(b'\n', &mut self.text)
                .map_err(|e| wrong("text", e.to_string()))?;
            if read as u64 == rest && self.text.last() != Some(&b'\n') {
                let found = format!("more than {RECORD_BYTES_MAX} bytes (a quote that is not closed?)");
                return Err(RecordsError { line: begin.unwrap_or(line), expected: "a record", found });
            }
            if read == 0 {
                return Ok(begin);
            }
            self.lines = line;
            if line == 1 && self.text.starts_with(BYTE_ORDER_MARK) {
                self.text.drain(..BYTE_ORDER_MARK.len());
            }
            if begin.is_none() && skipped(&self.text) {
                self.text.clear();
                continue;
            }
            let begin = *begin.get_or_insert(line);
            quote.read(&self.text[at..]);
            if !quote.open {
                return Ok(Some(begin));
            }
        }
    }
}

fn skipped(line: &[u8]) -> bool {
    let line = line.trim_ascii();
    line.is_empty() || line[0] == b'#'
}

/// Whether a quote that began a value is still open; one inside a value is a character like any other. Carried
/// from line to line, so that a long record is looked at once.
struct Quote {
    open: bool,
    before: u8,
}

impl Quote {
    const fn none() -> Self {
        Self { open: false, before: b',' }
    }

    fn read(&mut self, text: &[u8]) {
        for &byte in text {
            if byte == b'"' {
                self.open = !self.open && matches!(self.before, b',' | b'\n' | b'"');
            }
            self.before = byte;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(text: &str) -> Result<Vec<(u64, Vec<String>)>, RecordsError> {
        let mut records = Records::new(text.as_bytes());
        let mut rows = Vec::new();
        while let Some((line, record)) = records.read()? {
            rows.push((line, record.iter().map(str::to_owned).collect()));
        }
        Ok(rows)
    }

    #[test]
    fn every_record_tells_the_line_it_begins_on() {
        let text = "\u{feff}# head, \"odd\r\n\r\na, b\r\n#\r\n\"1\r\n2\",\"say \"\"no\"\"\"\r\n\r\n3,4";
        let rows = all(text).unwrap();
        let lines: Vec<u64> = rows.iter().map(|r| r.0).collect();
        assert_eq!(lines, [3, 5, 8]);
        assert_eq!(rows[0].1, ["a", "b"]);
        assert_eq!(rows[1].1, ["1\r\n2", "say \"no\""]);
        assert_eq!(rows[2].1, ["3", "4"]);
        assert_eq!(all("# only\n\n"), Ok(Vec::new()));
        assert_eq!(all("a,b\n5\" bolt,1\n").unwrap()[1].1, ["5\" bolt", "1"]);
    }

    #[test]
    fn what_is_no_record_is_told_with_its_line() {
        let fails = |text: &str| all(text).unwrap_err().to_string();
        assert_eq!(
            fails("a,b\n#\n1\n"),
            "line 3: expected as many values as the header has, found 1 values below a header of 2"
        );
        let mut records = Records::new(&b"a\n\xff\n"[..]);
        records.read().unwrap();
        assert_eq!(
            records.read().unwrap_err().to_string(),
            "line 2: expected text in UTF-8, found other bytes"
        );
        let open = format!("a,b\n\n1,\"{}", "x\n".repeat(RECORD_BYTES_MAX));
        assert!(fails(&open).starts_with("line 3: expected a record, found more than"), "{}", fails(&open));
    }
}
