//! Line protocol: each row is a point of a series that time-series stores take in.
//!
//! The measurement is `boltscribe_` and the name of the table; rig, tool and setup are tags, all else is fields.
//! Texts are fields too, control characters in them blanks. A list of numbers is one field a place, `gates_kN_1`.
//! What is absent is no field. The notes of the table have no place here.

use super::sink::{Sink, SinkError};
use super::table::{Cell, Column, Table, When};
use boltscribe_tables::line_protocol::{Point, Value};
use std::io::Write;

/// Columns that are tags.
const TAGS: [&str; 3] = ["rig", "setup", "tool"];

/// Writes rows to `W`.
pub struct Points<W: Write> {
    to: W,
    columns: &'static [Column],
    measurement: String,
    when: When,
    tags: Vec<(&'static str, String)>,
    text: String,
}

impl<W: Write> Points<W> {
    /// There is no head.
    pub fn new(to: W, table: &Table) -> Self {
        let measurement = format!("boltscribe_{}", table.name);
        let (when, tags) = (table.when, table.tags.clone());
        Self { to, columns: table.columns, measurement, when, tags, text: String::new() }
    }

    fn cell<'a>(&self, name: &str, cells: &'a [Cell]) -> Option<&'a Cell> {
        let at = self.columns.iter().position(|column| column.name == name)?;
        cells.get(at)
    }

    fn time_ns(&self, cells: &[Cell]) -> Option<i64> {
        let time = |name| match self.cell(name, cells)? {
            Cell::Time(utc_ns) => Some(*utc_ns),
            _ => None,
        };
        let ns = |name| match self.cell(name, cells)? {
            Cell::Real(seconds) => Some((seconds * 1e9).round() as i64),
            _ => None,
        };
        match self.when {
            When::Column(name) => time(name),
            When::After { time: name, seconds } => Some(time(name)?.saturating_add(ns(seconds)?)),
            When::Since { utc_ns, seconds } => Some(utc_ns.saturating_add(ns(seconds)?)),
        }
    }
}

impl<W: Write> Sink for Points<W> {
    fn row(&mut self, cells: &[Cell]) -> Result<(), SinkError> {
        let time_ns = self
            .time_ns(cells)
            .ok_or_else(|| SinkError::Structure("expected a row with a time, found none".to_owned()))?;
        let start = Point::new(&self.measurement, time_ns);
        let start = self.tags.iter().fold(start, |point, (key, value)| point.tag(key, Some(value)));
        let point =
            cells.iter().zip(self.columns).fold(start, |point, (cell, column)| add(point, cell, column));
        self.text.clear();
        point.write_to(&mut self.text).map_err(|error| SinkError::Structure(error.to_string()))?;
        Ok(self.to.write_all(self.text.as_bytes())?)
    }

    fn finish(mut self: Box<Self>) -> Result<(), SinkError> {
        Ok(self.to.flush()?)
    }
}

fn add(point: Point, cell: &Cell, column: &Column) -> Point {
    let text = |text: &str| Some(Value::Text(text.replace(char::is_control, " ")));
    match cell {
        Cell::Text(word) if TAGS.contains(&column.name) => {
            point.tag(column.name, Some(word).filter(|word| !word.is_empty()).map(String::as_str))
        }
        // The time of the point tells the one; others would be numbers without a meaning.
        Cell::Absent | Cell::Time(_) => point,
        Cell::Text(word) => point.field(column.name, text(word)),
        Cell::Whole(number) => point.integer(column.name, Some(*number)),
        Cell::Real(number) => point.float(column.name, Some(*number)),
        Cell::Flag(flag) => point.field(column.name, Some(Value::Boolean(*flag))),
        Cell::Words(words) if words.is_empty() => point,
        Cell::Words(words) => point.field(column.name, text(&words.join("; "))),
        Cell::Reals(numbers) => numbers.iter().zip(1..).fold(point, |point, (number, place)| {
            let place: i32 = place;
            point.float(&format!("{}_{place}", column.name), *number)
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::Form;

    const COLUMNS: &[Column] = &[
        Column::new("utc", Form::Time, ""),
        Column::new("setup", Form::Text, ""),
        Column::real("after_s", "s", ""),
        Column::new("blows", Form::Whole, ""),
        Column::new("excluded", Form::Flag, ""),
        Column::new("note", Form::Text, ""),
        Column::new("flags", Form::Words { between: " " }, ""),
        Column::reals("gates_kN", "kN", ""),
    ];

    fn written(when: When, cells: &[Cell]) -> Result<String, SinkError> {
        let tags = vec![("rig", "bench 1".to_owned())];
        let table = Table { name: "runs", columns: COLUMNS, notes: Vec::new(), when, tags };
        let mut bytes = Vec::new();
        let mut points: Box<dyn Sink + '_> = Box::new(Points::new(&mut bytes, &table));
        points.row(cells)?;
        points.finish()?;
        Ok(String::from_utf8(bytes).unwrap())
    }

    fn cells() -> Vec<Cell> {
        vec![
            Cell::Time(1_000),
            Cell::Text("ext,75".into()),
            Cell::Real(0.25),
            Cell::Whole(40),
            Cell::Flag(false),
            Cell::Text("a \"b\"\nc".into()),
            Cell::Words(vec!["gap".into(), "short".into()]),
            Cell::Reals(vec![Some(1.5), None, Some(2.0)]),
        ]
    }

    #[test]
    fn a_row_is_one_point_with_its_tags_and_fields() {
        assert_eq!(
            written(When::Column("utc"), &cells()).unwrap(),
            "boltscribe_runs,rig=bench\\ 1,setup=ext\\,75 after_s=0.25,blows=40i,excluded=false,\
             note=\"a \\\"b\\\" c\",flags=\"gap; short\",gates_kN_1=1.5,gates_kN_3=2.0 1000\n"
        );
    }

    #[test]
    fn seconds_are_added_to_a_time_and_a_row_without_a_time_is_refused() {
        let ends = |when, end: &str| written(when, &cells()).unwrap().ends_with(end);
        assert!(ends(When::After { time: "utc", seconds: "after_s" }, " 250001000\n"));
        assert!(ends(When::Since { utc_ns: -1, seconds: "after_s" }, " 249999999\n"));
        let mut cells = cells();
        cells[0] = Cell::Absent;
        assert!(matches!(written(When::Column("utc"), &cells), Err(SinkError::Structure(_))));
    }
}
