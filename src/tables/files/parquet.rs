//! A trace in Parquet: the same columns and units as in CSV, read by the crate `parquet`.
//!
//! Numbers of any width are taken; a null is refused like an empty cell. Rows are counted from 1. Columns that
//! are not needed are not read.

use super::trace::{Chosen, Place, Rows, Trace, TraceError, TraceUnit, choose, fits, trace_of, wanted};
use arrow_array::cast::AsArray;
use arrow_array::types::{
    ArrowPrimitiveType, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type, UInt8Type,
    UInt16Type, UInt32Type, UInt64Type,
};
use arrow_array::{Array, ArrayRef};
use arrow_schema::DataType;
use boltscribe_model::constants::Calibration;
use bytes::Bytes;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

/// Reads a trace.
///
/// # Errors
/// As for a CSV; besides, bytes that are no Parquet and columns that are no numbers.
pub fn read_parquet(bytes: Vec<u8>, calibration: Option<&Calibration>) -> Result<Trace, TraceError> {
    let broken = |error: &dyn std::fmt::Display| TraceError::Parquet {
        expected: "a whole Parquet file",
        found: error.to_string(),
    };
    let builder = ParquetRecordBatchReaderBuilder::try_new(Bytes::from(bytes)).map_err(|e| broken(&e))?;
    let names: Vec<String> = builder.schema().fields().iter().map(|field| field.name().clone()).collect();
    let Chosen { time, unit, name, value } = choose(&names, Place::Names, calibration.is_some())?;
    let mask = ProjectionMask::roots(builder.parquet_schema(), [time, value]);
    let reader = builder.with_projection(mask).build().map_err(|e| broken(&e))?;
    let mut rows = Rows::new(unit, None);
    for batch in reader {
        let batch = batch.map_err(|e| broken(&e))?;
        // A projection keeps the order of the file.
        let (at_time, at_value) = if time < value { (0, 1) } else { (1, 0) };
        let before = rows.times.len();
        numbers(batch.column(at_time), "time_s", None, before, &mut rows.times)?;
        numbers(batch.column(at_value), name, Some(unit), before, &mut rows.values)?;
        for row in before..rows.times.len() {
            if !rows.wants_decimals() {
                break;
            }
            let text = rows.times[row].to_string();
            rows.written(&text);
        }
    }
    trace_of(&rows, calibration)
}

/// The numbers of an array, each fit for its column.
fn numbers(
    array: &ArrayRef,
    column: &'static str,
    unit: Option<TraceUnit>,
    before: usize,
    to: &mut Vec<f64>,
) -> Result<(), TraceError> {
    let expected = wanted(unit);
    let wrong = |row: usize, found: String| TraceError::Cell {
        place: Place::Row((before + row) as u64 + 1),
        column,
        expected,
        found,
    };
    if let Some(row) = (0..array.len()).find(|row| array.is_null(*row)) {
        return Err(wrong(row, String::new()));
    }
    let from = to.len();
    match array.data_type() {
        DataType::Float64 => extend::<Float64Type>(array, to, |v| v),
        DataType::Float32 => extend::<Float32Type>(array, to, f64::from),
        DataType::Int64 => extend::<Int64Type>(array, to, |v| v as f64),
        DataType::Int32 => extend::<Int32Type>(array, to, f64::from),
        DataType::Int16 => extend::<Int16Type>(array, to, f64::from),
        DataType::Int8 => extend::<Int8Type>(array, to, f64::from),
        DataType::UInt64 => extend::<UInt64Type>(array, to, |v| v as f64),
        DataType::UInt32 => extend::<UInt32Type>(array, to, f64::from),
        DataType::UInt16 => extend::<UInt16Type>(array, to, f64::from),
        DataType::UInt8 => extend::<UInt8Type>(array, to, f64::from),
        other => {
            return Err(TraceError::Parquet {
                expected: "a column of numbers",
                found: format!("'{column}' of type {other}"),
            });
        }
    }
    match to[from..].iter().position(|number| !fits(*number, unit)) {
        Some(row) => Err(wrong(row, to[from + row].to_string())),
        None => Ok(()),
    }
}

fn extend<T: ArrowPrimitiveType>(array: &ArrayRef, to: &mut Vec<f64>, number: impl Fn(T::Native) -> f64) {
    to.extend(array.as_primitive::<T>().values().iter().map(|value| number(*value)));
}
