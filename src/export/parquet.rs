//! Parquet: a column a column, times as UTC nanoseconds, units and words in each field's metadata.
//!
//! Units are codes of UCUM (`kN`, `N.m`, `s`, `Hz`). Notes of the table are metadata of the schema. Row groups
//! are small enough that a file of any length is written in bounded memory. Follows the Apache Parquet format;
//! bytes are the crate's work.

use super::sink::{Sink, SinkError};
use super::table::{Cell, Column, Form, Table};
use arrow_array::builder::{
    ArrayBuilder, BooleanBuilder, Float64Builder, Int64Builder, ListBuilder, StringBuilder,
    TimestampNanosecondBuilder,
};
use arrow_array::{ArrayRef, RecordBatch};
use arrow_schema::{DataType, Field, Schema, TimeUnit};
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::schema::types::ColumnPath;
use std::collections::HashMap;
use std::io::{self, Write};
use std::sync::Arc;

/// Rows handed to the writer at once.
const BATCH_ROWS: usize = 4096;
/// Rows in a row group.
const GROUP_ROWS: usize = 1 << 17;

/// Writes rows to `W`.
pub struct Parquet<W: Write + Send> {
    to: ArrowWriter<W>,
    schema: Arc<Schema>,
    builders: Vec<Builder>,
    rows: usize,
}

enum Builder {
    Text(StringBuilder),
    Whole(Int64Builder),
    Real(Float64Builder),
    Flag(BooleanBuilder),
    Time(TimestampNanosecondBuilder),
    Words(ListBuilder<StringBuilder>),
    Reals(ListBuilder<Float64Builder>),
}

impl<W: Write + Send> Parquet<W> {
    /// Opens the file.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn new(to: W, table: &Table) -> Result<Self, SinkError> {
        let fields: Vec<Field> = table.columns.iter().map(field).collect();
        let mut metadata: HashMap<String, String> = table.notes.iter().cloned().collect();
        metadata.insert("table".to_owned(), table.name.to_owned());
        let schema = Arc::new(Schema::new_with_metadata(fields, metadata));
        let mut properties = WriterProperties::builder()
            .set_created_by(format!("boltscribe {}", env!("CARGO_PKG_VERSION")))
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_max_row_group_row_count(Some(GROUP_ROWS));
        for column in table.columns {
            // Codes and times differ little from one row to the next.
            if matches!(column.form, Form::Time | Form::Whole) {
                let path = || ColumnPath::from(column.name);
                properties = properties
                    .set_column_dictionary_enabled(path(), false)
                    .set_column_encoding(path(), Encoding::DELTA_BINARY_PACKED);
            }
        }
        let to = ArrowWriter::try_new(to, Arc::clone(&schema), Some(properties.build())).map_err(failed)?;
        let builders = table.columns.iter().map(|column| Builder::new(column.form)).collect();
        Ok(Self { to, schema, builders, rows: 0 })
    }

    fn write(&mut self) -> Result<(), SinkError> {
        if self.rows == 0 {
            return Ok(());
        }
        self.rows = 0;
        let arrays: Vec<ArrayRef> = self.builders.iter_mut().map(Builder::finish).collect();
        let batch = RecordBatch::try_new(Arc::clone(&self.schema), arrays)
            .map_err(|error| SinkError::Structure(error.to_string()))?;
        self.to.write(&batch).map_err(failed)
    }
}

impl<W: Write + Send> Sink for Parquet<W> {
    fn row(&mut self, cells: &[Cell]) -> Result<(), SinkError> {
        for (builder, cell) in self.builders.iter_mut().zip(cells) {
            builder.put(cell)?;
        }
        self.rows += 1;
        if self.rows == BATCH_ROWS { self.write() } else { Ok(()) }
    }

    fn finish(mut self: Box<Self>) -> Result<(), SinkError> {
        self.write()?;
        self.to.finish().map_err(failed)?;
        Ok(self.to.inner_mut().flush()?)
    }
}

fn field(column: &Column) -> Field {
    let kind = match column.form {
        Form::Text => DataType::Utf8,
        Form::Whole => DataType::Int64,
        Form::Real => DataType::Float64,
        Form::Flag => DataType::Boolean,
        Form::Time => DataType::Timestamp(TimeUnit::Nanosecond, Some("UTC".into())),
        Form::Words { .. } => DataType::List(Arc::new(Field::new_list_field(DataType::Utf8, true))),
        Form::Reals => DataType::List(Arc::new(Field::new_list_field(DataType::Float64, true))),
    };
    let mut metadata = HashMap::from([("description".to_owned(), column.about.to_owned())]);
    if let Some(unit) = column.unit {
        metadata.insert("unit".to_owned(), unit.to_owned());
    }
    Field::new(column.name, kind, true).with_metadata(metadata)
}

impl Builder {
    fn new(form: Form) -> Self {
        match form {
            Form::Text => Self::Text(StringBuilder::new()),
            Form::Whole => Self::Whole(Int64Builder::new()),
            Form::Real => Self::Real(Float64Builder::new()),
            Form::Flag => Self::Flag(BooleanBuilder::new()),
            Form::Time => Self::Time(TimestampNanosecondBuilder::new().with_timezone("UTC")),
            Form::Words { .. } => Self::Words(ListBuilder::new(StringBuilder::new())),
            Form::Reals => Self::Reals(ListBuilder::new(Float64Builder::new())),
        }
    }

    fn put(&mut self, cell: &Cell) -> Result<(), SinkError> {
        match (self, cell) {
            (Self::Text(to), Cell::Text(text)) => to.append_value(text),
            (Self::Whole(to), Cell::Whole(number)) => to.append_value(*number),
            (Self::Real(to), Cell::Real(number)) => to.append_value(*number),
            (Self::Flag(to), Cell::Flag(flag)) => to.append_value(*flag),
            (Self::Time(to), Cell::Time(utc_ns)) => to.append_value(*utc_ns),
            (Self::Words(to), Cell::Words(words)) => to.append_value(words.iter().map(Some)),
            (Self::Reals(to), Cell::Reals(numbers)) => to.append_value(numbers.iter().copied()),
            (Self::Text(to), Cell::Absent) => to.append_null(),
            (Self::Whole(to), Cell::Absent) => to.append_null(),
            (Self::Real(to), Cell::Absent) => to.append_null(),
            (Self::Flag(to), Cell::Absent) => to.append_null(),
            (Self::Time(to), Cell::Absent) => to.append_null(),
            (Self::Words(to), Cell::Absent) => to.append_null(),
            (Self::Reals(to), Cell::Absent) => to.append_null(),
            (_, cell) => {
                return Err(SinkError::Structure(format!("expected a cell of its column, found {cell:?}")));
            }
        }
        Ok(())
    }

    fn finish(&mut self) -> ArrayRef {
        let builder: &mut dyn ArrayBuilder = match self {
            Self::Text(b) => b,
            Self::Whole(b) => b,
            Self::Real(b) => b,
            Self::Flag(b) => b,
            Self::Time(b) => b,
            Self::Words(b) => b,
            Self::Reals(b) => b,
        };
        builder.finish()
    }
}

/// The system's own words where it was the system that refused.
fn failed(error: ParquetError) -> SinkError {
    match error {
        ParquetError::External(inner) => match inner.downcast::<io::Error>() {
            Ok(io) => SinkError::Io(*io),
            Err(other) => SinkError::Structure(other.to_string()),
        },
        other => SinkError::Structure(other.to_string()),
    }
}
