//! The answer as rows: all of it for CSV, what a person decides by for a table.
//! Must not work anything out: cells come from the document.

use super::super::output::{Cell, Format, Rows};
use serde_json::Value;

/// Name and decimals of a column of numbers.
type Number = (&'static str, usize);

/// The least p that is shown by its number.
const SMALL_P: f64 = 0.0001;

const FOR_PEOPLE: [Number; 5] = [
    ("runs", 0),
    ("percent_of_baseline", 2),
    ("low_simultaneous", 2),
    ("high_simultaneous", 2),
    ("p_adjusted", 4),
];
const ALL: [Number; 17] = [
    ("runs", 0),
    ("percent_of_baseline", 2),
    ("low", 2),
    ("high", 2),
    ("low_simultaneous", 2),
    ("high_simultaneous", 2),
    ("low_total", 2),
    ("high_total", 2),
    ("t", 2),
    ("degrees_of_freedom", 0),
    ("p_value", 4),
    ("p_adjusted", 4),
    ("detectable_percent", 2),
    ("drift_left_percent", 2),
    ("drift_left_time_constant_s", 0),
    ("mountings", 0),
    ("percent_by_huber", 2),
];

/// A p for people: what four decimals would show as nothing is not nothing.
#[must_use]
pub fn small_p(p: &Value) -> Cell {
    match p.as_f64() {
        Some(p) if p < SMALL_P => Cell::Text(format!("< {SMALL_P}")),
        p => Cell::number(p, 4),
    }
}

/// Rows of the setups.
#[must_use]
pub fn of(document: &Value, format: Format) -> Rows {
    let people = format == Format::Table;
    let numbers: &[Number] = if people { &FOR_PEOPLE } else { &ALL };
    let setups = document["setups"].as_array().map_or(&[][..], Vec::as_slice);
    let tools = !people || setups.iter().any(|s| !s["tool"].is_null());
    let mut words = vec!["setup"];
    words.extend(tools.then_some("tool"));
    let columns: Vec<&'static str> = words
        .iter()
        .copied()
        .chain(numbers.iter().map(|n| n.0))
        .chain(if people { vec!["verdict"] } else { vec!["verdict", "note"] })
        .collect();
    let mut rows = Rows::new(&columns);
    for setup in setups {
        let cell = |name: &&'static str| match numbers.iter().find(|n| n.0 == *name) {
            Some((name, _)) if people && name.starts_with("p_") => small_p(&setup[name]),
            Some((name, decimals)) => Cell::number_of(setup, name, *decimals),
            None => Cell::text_of(setup, name),
        };
        rows.rows.push(columns.iter().map(cell).collect());
    }
    rows
}
