//! CSV as RFC 4180 has it: a header line, CRLF, quotes where needed; a decimal point, full precision.
//!
//! Absent is an empty cell. A text that a spreadsheet would run as a formula is guarded with an apostrophe.
//! Notes, where wanted, are lines above the header that begin with `#`.

use super::sink::{Sink, SinkError};
use super::table::{Cell, Column, Form, Table, utc};
use std::fmt::Write as _;
use std::io::{self, Write};

/// Writes rows to `W`.
pub struct Csv<W: Write> {
    to: csv::Writer<W>,
    columns: &'static [Column],
    text: String,
}

impl<W: Write> Csv<W> {
    /// Writes notes and header.
    ///
    /// # Errors
    /// They cannot be written.
    pub fn new(mut to: W, table: &Table, noted: bool) -> Result<Self, SinkError> {
        if noted {
            for (key, value) in &table.notes {
                let one_line = value.replace(['\r', '\n'], " ");
                write!(to, "# {key}: {one_line}\r\n")?;
            }
        }
        let mut to = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(to);
        to.write_record(table.columns.iter().map(|column| column.name)).map_err(as_io)?;
        Ok(Self { to, columns: table.columns, text: String::new() })
    }
}

impl<W: Write> Sink for Csv<W> {
    fn row(&mut self, cells: &[Cell]) -> Result<(), SinkError> {
        for (cell, column) in cells.iter().zip(self.columns) {
            self.text.clear();
            put(&mut self.text, cell, column.form);
            self.to.write_field(&self.text).map_err(as_io)?;
        }
        self.to.write_record(None::<&[u8]>).map_err(as_io)?;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<(), SinkError> {
        Ok(self.to.flush()?)
    }
}

fn as_io(error: csv::Error) -> SinkError {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => SinkError::Io(error),
        other => SinkError::Io(io::Error::other(format!("{other:?}"))),
    }
}

fn put(text: &mut String, cell: &Cell, form: Form) {
    // Writing to a String never fails.
    let _ = match cell {
        Cell::Absent => Ok(()),
        Cell::Text(word) => guarded(text, word),
        Cell::Whole(number) => write!(text, "{number}"),
        Cell::Real(number) => write!(text, "{number}"),
        Cell::Flag(flag) => write!(text, "{flag}"),
        Cell::Time(utc_ns) => write!(text, "{}", utc(*utc_ns)),
        Cell::Words(words) => {
            let between = if let Form::Words { between } = form { between } else { " " };
            guarded(text, &words.join(between))
        }
        // An empty place keeps the others at theirs.
        Cell::Reals(numbers) => numbers.iter().enumerate().try_for_each(|(at, number)| {
            text.push_str(if at == 0 { "" } else { ";" });
            number.map_or(Ok(()), |number| write!(text, "{number}"))
        }),
    };
}

fn guarded(text: &mut String, word: &str) -> std::fmt::Result {
    if word.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        text.push('\'');
    }
    text.push_str(word);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::When;

    const COLUMNS: &[Column] = &[
        Column::new("utc", Form::Time, ""),
        Column::new("setup", Form::Text, ""),
        Column::real("held_kN", "kN", ""),
        Column::new("flags", Form::Words { between: " " }, ""),
        Column::reals("gates_kN", "kN", ""),
    ];

    #[test]
    fn lines_end_with_crlf_and_what_is_absent_is_empty() {
        let notes = vec![("rig".into(), "two\nlines".into())];
        let table =
            Table { name: "runs", columns: COLUMNS, notes, when: When::Column("utc"), tags: Vec::new() };
        let mut bytes = Vec::new();
        let mut csv: Box<dyn Sink + '_> = Box::new(Csv::new(&mut bytes, &table, true).unwrap());
        csv.row(&[
            Cell::Time(1_767_225_600_000_000_000),
            Cell::Text("=a\",b".into()),
            Cell::Real(0.1 + 0.2),
            Cell::Words(vec!["short".into(), "gap".into()]),
            Cell::Reals(vec![Some(1.5), None, Some(2.0)]),
        ])
        .unwrap();
        csv.row(&[Cell::Absent, Cell::Absent, Cell::Absent, Cell::Absent, Cell::Absent]).unwrap();
        csv.finish().unwrap();
        let expected = "# rig: two lines\r\nutc,setup,held_kN,flags,gates_kN\r\n\
            2026-01-01T00:00:00.000Z,\"'=a\"\",b\",0.30000000000000004,short gap,1.5;;2\r\n,,,,\r\n";
        assert_eq!(String::from_utf8(bytes).unwrap(), expected);
    }
}
