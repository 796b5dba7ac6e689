//! Parquet as others read and write it: pyarrow and pandas find every value, type, unit, null and time, and
//! `analyze` reads what pandas wrote.
//!
//! The expectation is the JSON lines of the same export, which other tests hold against the store.

use crate::desk::{Desk, INVENTED};
use crate::python::{read_back, run};
use boltscribe::export::table::Form;
use boltscribe::export::{Column, blows, range, runs, trace};
use serde_json::{Value, json};

/// Exports the same twice: as Parquet read back by Python, and as JSON lines.
fn both(desk: &Desk, words: &[&str]) -> (Value, Vec<Value>) {
    let file = desk.path("it.parquet");
    desk.done(&[words, &["--out", "it.parquet", "--force"]].concat());
    let lines = desk.done(&[words, &["--as", "jsonl"]].concat());
    (read_back(&file), lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect())
}

fn arrow_type(form: Form) -> &'static str {
    match form {
        Form::Text => "string",
        Form::Whole => "int64",
        Form::Real => "double",
        Form::Flag => "bool",
        Form::Time => "timestamp[ns, tz=UTC]",
        Form::Words { .. } => "list<item: string>",
        Form::Reals => "list<item: double>",
    }
}

/// What JSON lines say, in Parquet's terms: times as nanoseconds.
fn expected(column: &Column, line: &Value) -> Value {
    let said = &line[column.name];
    match (column.form, said) {
        (Form::Time, Value::String(text)) => {
            let stamp: jiff::Timestamp = text.parse().unwrap();
            json!(i64::try_from(stamp.as_nanosecond()).unwrap())
        }
        _ => said.clone(),
    }
}

fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        // 3 and 3.0 are one number; every bit of it counts.
        (Value::Number(a), Value::Number(b)) => a.as_f64() == b.as_f64(),
        (Value::Array(a), Value::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b)),
        _ => a == b,
    }
}

fn compare(columns: &[Column], found: &Value, lines: &[Value]) {
    assert_eq!(found["rows"].as_u64(), Some(lines.len() as u64));
    assert_eq!(found["compression"], "ZSTD");
    let fields = found["fields"].as_array().unwrap();
    assert_eq!(fields.len(), columns.len());
    for (column, field) in columns.iter().zip(fields) {
        let name = column.name;
        assert_eq!(field["name"], name);
        assert_eq!(field["type"], arrow_type(column.form), "{name}");
        assert_eq!(field["metadata"]["unit"].as_str(), column.unit, "{name}");
        assert_eq!(field["metadata"]["description"], column.about, "{name}");
        let nulls = lines.iter().filter(|line| line[name].is_null()).count();
        assert_eq!(field["nulls"].as_u64(), Some(nulls as u64), "{name}");
        assert_eq!(found["pandas_nulls"][name].as_u64(), Some(nulls as u64), "{name}");
        for reader in ["columns", "pandas"] {
            let values = found[reader][name].as_array().unwrap();
            for (row, (value, line)) in values.iter().zip(lines).enumerate() {
                let expected = expected(column, line);
                assert!(same(value, &expected), "{reader} {name}, row {row}: {value}, expected {expected}");
            }
        }
    }
}

#[test]
fn runs_are_found_by_others_with_every_value_type_unit_null_and_time() {
    let desk = Desk::new();
    let (found, lines) = both(&desk, &["export", "runs", "--all"]);
    assert!(lines.len() > 10);
    compare(runs::COLUMNS, &found, &lines);
    let dtype = |name: &str| found["pandas_dtypes"][name].as_str().unwrap().to_owned();
    assert_eq!(dtype("utc"), "datetime64[ns, UTC]");
    assert_eq!(
        (dtype("id"), dtype("peak_kN"), dtype("excluded")),
        ("int64".into(), "float64".into(), "bool".into())
    );
    // There is something to be wrong about: nulls, lists with nulls, words with commas.
    let fields = found["fields"].as_array().unwrap();
    assert!(fields.iter().any(|field| field["nulls"] != 0));
    assert_eq!(found["metadata"]["table"], "runs");
    assert_eq!(found["metadata"]["runs"], "all, those left out too");
    assert!(found["columns"]["rig"].as_array().unwrap().contains(&json!(INVENTED)));
}

#[test]
fn blows_and_readings_are_found_by_others() {
    let desk = Desk::new();
    let (found, lines) = both(&desk, &["export", "blows", "--all"]);
    compare(blows::COLUMNS, &found, &lines);
    let words = ["export", "trace", "--rig", "knock", "--from", "2026-01-01", "--to", "2026-01-02"];
    let (found, lines) = both(&desk, &words);
    compare(range::COLUMNS, &found, &lines);
    assert_eq!(found["metadata"]["zero"], "none is taken off");
    let (found, lines) = both(&desk, &["export", "runs", "--rig", "nobody"]);
    assert_eq!((found["rows"].as_u64(), lines.len()), (Some(0), 0));
}

#[test]
fn a_trace_carries_its_calibration_and_measures_the_same_as_its_csv() {
    let desk = Desk::new();
    let (found, lines) = both(&desk, &["export", "trace", "1"]);
    compare(trace::COLUMNS_OF_SIMULATED, &found, &lines);
    let calibration: Value =
        serde_json::from_str(found["metadata"]["calibration"].as_str().unwrap()).unwrap();
    assert!(calibration["coefficients_kN"].as_array().unwrap().len() >= 2, "{calibration}");
    desk.done(&["export", "trace", "1", "--out", "run.csv"]);
    let of = |file: &str| -> Value {
        serde_json::from_str(&desk.done(&["--format", "json", "analyze", file])).unwrap()
    };
    let csv = of("run.csv");
    assert_eq!(csv["runs"].as_array().unwrap().len(), 1);
    assert_eq!(of("it.parquet"), csv);
    // What pandas writes, with a column that is none of ours.
    let (from, to) = (desk.path("run.csv"), desk.path("pandas.parquet"));
    // Whatever it is packed with; snappy is what pandas takes by itself.
    for packing in ["snappy", "gzip", "zstd", "none"] {
        run("write.py", &[from.to_str().unwrap(), to.to_str().unwrap(), "float64", packing]);
        assert_eq!(of("pandas.parquet"), csv, "{packing}");
    }
    run("write.py", &[from.to_str().unwrap(), to.to_str().unwrap(), "float32", "snappy"]);
    let held = |document: &Value| document["runs"][0]["held_kN"].as_f64().unwrap();
    assert!((held(&of("pandas.parquet")) / held(&csv) - 1.0).abs() < 1e-6);
    run("write.py", &[from.to_str().unwrap(), to.to_str().unwrap(), "str", "snappy"]);
    let said = desk.fails(2, &["analyze", "pandas.parquet"]);
    assert!(said.contains("pandas.parquet: expected a column of numbers, found 'tension_kN'"), "{said}");
}

#[test]
fn what_is_no_trace_is_said_with_its_place() {
    let desk = Desk::new();
    desk.done(&["export", "runs", "--all", "--out", "runs.parquet"]);
    let said = desk.fails(2, &["analyze", "runs.parquet"]);
    assert!(said.contains("names of the columns: expected a column 'time_s'"), "{said}");
    let bytes = std::fs::read(desk.path("runs.parquet")).unwrap();
    std::fs::write(desk.path("cut.parquet"), &bytes[..bytes.len() / 2]).unwrap();
    let said = desk.fails(2, &["analyze", "cut.parquet"]);
    assert!(said.contains("cut.parquet: expected a whole Parquet file, found"), "{said}");
}
