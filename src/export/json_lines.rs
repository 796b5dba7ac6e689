//! JSON lines: one object a row, keys in the order of the columns, what is absent null.
//!
//! Times are ISO 8601 text, numbers read back the same. Notes of the table have no place here.

use super::sink::{Sink, SinkError};
use super::table::{Cell, Column, Table, utc};
use serde::ser::{Serialize, SerializeMap, Serializer};
use std::io::Write;

/// Writes rows to `W`.
pub struct JsonLines<W: Write> {
    to: W,
    columns: &'static [Column],
}

impl<W: Write> JsonLines<W> {
    /// There is no head.
    pub fn new(to: W, table: &Table) -> Self {
        Self { to, columns: table.columns }
    }
}

impl<W: Write> Sink for JsonLines<W> {
    fn row(&mut self, cells: &[Cell]) -> Result<(), SinkError> {
        serde_json::to_writer(&mut self.to, &Row(self.columns, cells)).map_err(std::io::Error::from)?;
        self.to.write_all(b"\n")?;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<(), SinkError> {
        Ok(self.to.flush()?)
    }
}

struct Row<'a>(&'a [Column], &'a [Cell]);

impl Serialize for Row<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (column, cell) in self.0.iter().zip(self.1) {
            match cell {
                Cell::Absent => map.serialize_entry(column.name, &())?,
                Cell::Text(text) => map.serialize_entry(column.name, text)?,
                Cell::Whole(number) => map.serialize_entry(column.name, number)?,
                Cell::Real(number) => map.serialize_entry(column.name, number)?,
                Cell::Flag(flag) => map.serialize_entry(column.name, flag)?,
                Cell::Time(utc_ns) => map.serialize_entry(column.name, &utc(*utc_ns))?,
                Cell::Words(words) => map.serialize_entry(column.name, words)?,
                Cell::Reals(numbers) => map.serialize_entry(column.name, numbers)?,
            }
        }
        map.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::Form;
    use crate::table::When;

    #[test]
    fn a_row_is_one_line_with_the_keys_in_order() {
        const COLUMNS: &[Column] = &[
            Column::new("run", Form::Whole, ""),
            Column::real("held_kN", "kN", ""),
            Column::reals("gates_kN", "kN", ""),
        ];
        let (when, tags) = (When::Column("utc"), Vec::new());
        let table = Table { name: "t", columns: COLUMNS, notes: Vec::new(), when, tags };
        let mut bytes = Vec::new();
        let mut lines: Box<dyn Sink + '_> = Box::new(JsonLines::new(&mut bytes, &table));
        lines.row(&[Cell::Whole(7), Cell::Absent, Cell::Reals(vec![Some(0.1), None])]).unwrap();
        lines.finish().unwrap();
        assert_eq!(
            String::from_utf8(bytes).unwrap(),
            "{\"run\":7,\"held_kN\":null,\"gates_kN\":[0.1,null]}\n"
        );
    }
}
