//! Data on standard output in the three formats, and talk on standard error.
//!
//! `table` is for people, `json` is one document with units in its keys, `csv` is RFC 4180 (CRLF,
//! one header row, units in the names). A table's cells and a CSV's cells come from the same rows, so
//! the two cannot tell different stories. Text cells that a spreadsheet would run as a formula are
//! guarded with an apostrophe.

use super::error::CliError;
use super::shown::{Units, chosen, converted};
use clap::ValueEnum;
use comfy_table::{CellAlignment, Table, presets};
use serde_json::Value;
use std::io::Write;

/// How data is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people.
    #[default]
    Table,
    /// One JSON document; keys carry units.
    Json,
    /// RFC 4180; header names carry units.
    Csv,
}

/// One cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Nothing to say: `–` in a table, empty in CSV.
    None,
    /// A word.
    Text(String),
    /// A number: full precision in CSV, `decimals` in a table.
    Number {
        /// The value.
        value: f64,
        /// Decimals shown to people.
        decimals: usize,
    },
}

impl Cell {
    /// A word, or nothing where it is absent.
    pub fn text(word: Option<&str>) -> Self {
        word.map_or(Self::None, |w| Self::Text(w.to_owned()))
    }

    /// A number, or nothing where it is absent.
    #[must_use]
    pub fn number(value: Option<f64>, decimals: usize) -> Self {
        value.map_or(Self::None, |value| Self::Number { value, decimals })
    }

    /// The word under `key` of a JSON object.
    #[must_use]
    pub fn text_of(object: &Value, key: &str) -> Self {
        match &object[key] {
            Value::Null => Self::None,
            Value::String(s) => Self::Text(s.clone()),
            other => Self::Text(other.to_string()),
        }
    }

    /// The number under `key` of a JSON object.
    #[must_use]
    pub fn number_of(object: &Value, key: &str, decimals: usize) -> Self {
        Self::number(object[key].as_f64(), decimals)
    }

    /// As people read it.
    #[must_use]
    pub fn words(&self) -> String {
        self.for_people()
    }

    fn for_people(&self) -> String {
        match self {
            Self::None => "–".to_owned(),
            Self::Text(text) => printable(text),
            Self::Number { value, decimals } => minus(&format!("{value:.decimals$}")),
        }
    }

    fn for_csv(&self) -> String {
        match self {
            Self::None => String::new(),
            Self::Text(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) => format!("'{text}"),
            Self::Text(text) => text.clone(),
            Self::Number { value, .. } => value.to_string(),
        }
    }
}

/// Never `-0.0`: a zero that was rounded from below is a zero.
fn minus(number: &str) -> String {
    match number.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
        _ => number.to_owned(),
    }
}

/// A stored text cannot move the cursor or change colours: control characters become `·`.
#[must_use]
pub fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '·' } else { c }).collect()
}

/// Rows under named columns.
#[derive(Clone, Debug, Default)]
pub struct Rows {
    /// Column names; a unit stands last.
    pub columns: Vec<&'static str>,
    /// Each as long as `columns`.
    pub rows: Vec<Vec<Cell>>,
}

impl Rows {
    /// No rows yet.
    #[must_use]
    pub fn new(columns: &[&'static str]) -> Self {
        Self { columns: columns.to_vec(), rows: Vec::new() }
    }

    /// The same in the units that people chose.
    fn in_units(&self, units: Units) -> (Vec<String>, Vec<Vec<Cell>>) {
        let changes: Vec<_> = self.columns.iter().map(|name| converted(name, units)).collect();
        let names = self.columns.iter().zip(&changes);
        let names =
            names.map(|(name, change)| change.as_ref().map_or_else(|| (*name).to_owned(), |c| c.0.clone()));
        let cell = |(cell, change): (&Cell, &Option<(String, f64, usize)>)| match (cell, change) {
            (Cell::Number { value, decimals }, Some((_, factor, fewer))) => {
                Cell::Number { value: value * factor, decimals: decimals.saturating_sub(*fewer) }
            }
            _ => cell.clone(),
        };
        let rows = self.rows.iter().map(|row| row.iter().zip(&changes).map(cell).collect()).collect();
        (names.collect(), rows)
    }

    /// As a table for people, `width` characters wide at most where that is known.
    #[must_use]
    pub fn table(&self, width: Option<u16>) -> String {
        let (columns, rows) = self.in_units(chosen());
        let mut table = Table::new();
        table.load_style(presets::UTF8_BORDERS_ONLY);
        if let Some(width) = width {
            table.set_width(width);
            table.set_content_arrangement(comfy_table::ContentArrangement::Dynamic);
        }
        table.set_header(columns.iter().map(|c| c.replace('_', " ")));
        for row in &rows {
            table.add_row(row.iter().map(|cell| {
                let alignment = match cell {
                    Cell::Number { .. } => CellAlignment::Right,
                    Cell::None | Cell::Text(_) => CellAlignment::Left,
                };
                comfy_table::Cell::new(cell.for_people()).set_alignment(alignment)
            }));
        }
        table.to_string()
    }

    /// As CSV (RFC 4180).
    ///
    /// # Errors
    /// What `to` answers.
    pub fn csv(&self, to: impl Write) -> Result<(), CliError> {
        let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(to);
        let as_io = |e: csv::Error| match e.into_kind() {
            csv::ErrorKind::Io(io) => CliError::Output(io),
            other => CliError::Output(std::io::Error::other(format!("{other:?}"))),
        };
        writer.write_record(&self.columns).map_err(as_io)?;
        for row in &self.rows {
            writer.write_record(row.iter().map(Cell::for_csv)).map_err(as_io)?;
        }
        writer.flush()?;
        Ok(())
    }
}

/// Width of the terminal that shows standard output; none where it is not one.
#[must_use]
pub fn terminal_width() -> Option<u16> {
    rustix::termios::tcgetwinsize(std::io::stdout())
        .ok()
        .map(|size| size.ws_col)
        .filter(|columns| *columns > 0)
}

/// Writes `document` as JSON, or `rows` as table or CSV.
///
/// # Errors
/// Standard output cannot take it.
pub fn print(format: Format, document: &Value, rows: &Rows) -> Result<(), CliError> {
    let mut out = std::io::stdout().lock();
    match format {
        Format::Json => {
            serde_json::to_writer_pretty(&mut out, document).map_err(std::io::Error::from)?;
            writeln!(out)?;
        }
        Format::Csv => rows.csv(&mut out)?,
        Format::Table => writeln!(out, "{}", rows.table(terminal_width()))?,
    }
    out.flush()?;
    Ok(())
}

/// Writes text to standard output.
///
/// # Errors
/// Standard output cannot take it.
pub fn print_text(text: &str) -> Result<(), CliError> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{text}")?;
    out.flush()?;
    Ok(())
}

/// Talk: a line on standard error. Nobody is told when it cannot be written.
pub fn say(line: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{line}");
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows() -> Rows {
        let mut rows = Rows::new(&["id", "held_kN"]);
        rows.rows.push(vec![Cell::Text("=A1".into()), Cell::number(Some(-0.001), 2)]);
        rows.rows.push(vec![Cell::Text("a\"b,c".into()), Cell::None]);
        rows
    }

    #[test]
    fn csv_is_rfc_4180_with_formulas_guarded_and_full_precision() {
        let mut text = Vec::new();
        rows().csv(&mut text).unwrap();
        let text = String::from_utf8(text).unwrap();
        assert_eq!(text, "id,held_kN\r\n'=A1,-0.001\r\n\"a\"\"b,c\",\r\n");
    }

    #[test]
    fn people_never_see_a_negative_zero_and_absent_is_a_dash() {
        let table = rows().table(None);
        assert!(table.contains("0.00") && !table.contains("-0.00"), "{table}");
        assert!(table.contains('–'), "{table}");
        assert!(table.contains("held kN"), "{table}");
    }

    #[test]
    fn pounds_are_shown_to_people_who_chose_them() {
        let mut rows = Rows::new(&["run", "held_kN", "factor_N_per_Nm"]);
        rows.rows.push(vec![
            Cell::number(Some(1.0), 0),
            Cell::number(Some(80.0), 2),
            Cell::number(Some(250.0), 2),
        ]);
        let (columns, cells) = rows.in_units(Units::PoundsForce);
        assert_eq!(columns, ["run", "held_lbf", "factor_N_per_Nm"]);
        assert_eq!(cells[0].iter().map(Cell::words).collect::<Vec<_>>(), ["1", "17985", "250.00"]);
        assert_eq!(rows.in_units(Units::Kilonewtons).1, rows.rows);
    }

    #[test]
    fn stored_text_cannot_drive_the_terminal() {
        assert_eq!(printable("a\u{1b}[31mb\n"), "a·[31mb·");
    }
}
