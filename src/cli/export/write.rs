//! From rows to a file or standard output, in the kind that was asked for.
//!
//! A file gets its name when it is whole. Must not know what the rows are.

use crate::error::CliError;
use crate::output::Format;
use boltscribe_export::sink::{self, SinkError};
use boltscribe_export::{Cell, Kind, Sink, Table, Target, TargetError};
use clap::ValueEnum;
use std::io::{BufWriter, IsTerminal, Stdout, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// What a terminal or a pipe is named by.
const STANDARD_OUTPUT: &str = "-";
const BUFFER_BYTES: usize = 1 << 16;

/// Options of what is written.
#[derive(Clone, Debug, clap::Args)]
pub struct Out {
    /// File to make; `-` is standard output. Its ending (csv, jsonl, lp, parquet) says the kind.
    #[arg(long, short, value_name = "FILE", default_value = STANDARD_OUTPUT)]
    pub out: PathBuf,
    /// The kind, whatever the ending says.
    #[arg(long = "as", value_name = "KIND", value_enum)]
    pub kind: Option<Word>,
    /// Replace the file if it is there.
    #[arg(long)]
    pub force: bool,
}

/// Kinds as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Word {
    /// RFC 4180: header line, CRLF.
    Csv,
    /// One JSON object a line.
    Jsonl,
    /// Line protocol, for time-series stores.
    Lp,
    /// Parquet.
    Parquet,
}

impl Out {
    /// The kind of file.
    ///
    /// # Errors
    /// An ending that says nothing, Parquet in a build without it or onto a terminal.
    pub fn kind(&self, format: Format) -> Result<Kind, CliError> {
        let named = self.kind.map(|word| match word {
            Word::Csv => Kind::Csv,
            Word::Jsonl => Kind::JsonLines,
            Word::Lp => Kind::LineProtocol,
            Word::Parquet => Kind::Parquet,
        });
        let kind = match named {
            Some(kind) => kind,
            None if self.is_standard_output() => match format {
                Format::Json => Kind::JsonLines,
                Format::Csv | Format::Table => Kind::Csv,
            },
            None => Kind::of(&self.out).ok_or_else(|| {
                CliError::usage_with(
                    format!(
                        "cannot tell the kind of {}: expected the ending csv, jsonl, lp or parquet",
                        self.out.display()
                    ),
                    "say it with `--as csv|jsonl|lp|parquet`",
                )
            })?,
        };
        if kind == Kind::Parquet {
            if cfg!(not(feature = "parquet")) {
                return Err(without_parquet("write"));
            }
            if self.is_standard_output() && std::io::stdout().is_terminal() {
                return Err(CliError::usage_with(
                    "cannot write Parquet to a terminal: expected a file or a pipe",
                    "give `--out FILE.parquet`",
                ));
            }
        }
        Ok(kind)
    }

    fn is_standard_output(&self) -> bool {
        self.out == Path::new(STANDARD_OUTPUT)
    }
}

/// This build has no Parquet.
#[must_use]
pub fn without_parquet(tried: &str) -> CliError {
    CliError::usage_with(
        format!("cannot {tried} Parquet: expected a build with it, found one without"),
        "build with it: `cargo build --release --features parquet`; or use CSV",
    )
}

/// Where bytes go.
enum Place {
    Standard(Stdout),
    File(Target),
    Done,
}

/// Shared by the sink, which writes, and by whoever gives the file its name in the end.
#[derive(Clone)]
struct Handle(Arc<Mutex<Place>>);

impl Write for Handle {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        match &mut *self.0.lock().unwrap_or_else(PoisonError::into_inner) {
            Place::Standard(out) => out.write(bytes),
            Place::File(target) => target.write(bytes),
            Place::Done => Err(std::io::Error::other("the file is finished")),
        }
    }

    fn flush(&mut self) -> std::io::Result<()> {
        match &mut *self.0.lock().unwrap_or_else(PoisonError::into_inner) {
            Place::Standard(out) => out.flush(),
            Place::File(_) | Place::Done => Ok(()),
        }
    }
}

/// A file or standard output being written. Dropped before its end it leaves nothing behind.
pub struct Written {
    sink: Box<dyn Sink>,
    place: Handle,
    path: Option<PathBuf>,
    /// Rows so far.
    pub rows: u64,
}

impl Written {
    /// Opens it.
    ///
    /// # Errors
    /// A file that is there already, a folder that cannot be written.
    pub fn open(out: &Out, kind: Kind, table: &Table, noted: bool) -> Result<Self, CliError> {
        let (place, path) = if out.is_standard_output() {
            (Place::Standard(std::io::stdout()), None)
        } else {
            let target = Target::create(&out.out, out.force).map_err(of_target)?;
            let path = target.path().to_owned();
            (Place::File(target), Some(path))
        };
        let place = Handle(Arc::new(Mutex::new(place)));
        let buffered = BufWriter::with_capacity(BUFFER_BYTES, place.clone());
        let sink =
            sink::open(kind, buffered, table, noted).map_err(|error| of_sink(error, path.as_deref()))?;
        Ok(Self { sink, place, path, rows: 0 })
    }

    /// Writes a row.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn row(&mut self, cells: &[Cell]) -> Result<(), CliError> {
        self.rows += 1;
        self.sink.row(cells).map_err(|error| of_sink(error, self.path.as_deref()))
    }

    /// Writes the rest and gives the file its name; its path and size, none for standard output.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn finish(self) -> Result<Option<(PathBuf, u64)>, CliError> {
        self.sink.finish().map_err(|error| of_sink(error, self.path.as_deref()))?;
        let place =
            std::mem::replace(&mut *self.place.0.lock().unwrap_or_else(PoisonError::into_inner), Place::Done);
        match (place, self.path) {
            (Place::File(target), Some(path)) => {
                let bytes = target.commit().map_err(of_target)?;
                Ok(Some((path, bytes)))
            }
            _ => Ok(None),
        }
    }
}

fn of_sink(error: SinkError, path: Option<&Path>) -> CliError {
    let source = match error {
        SinkError::NotBuilt => return without_parquet("write"),
        SinkError::Io(source) => source,
        SinkError::Structure(what) => std::io::Error::other(what),
    };
    match path {
        Some(path) => CliError::File { tried: "write", path: path.into(), source },
        None => CliError::Output(source),
    }
}

/// A refusal of the file's place.
pub fn of_target(error: TargetError) -> CliError {
    match error {
        TargetError::Exists(_) => {
            CliError::No { what: error.to_string(), hint: Some("`--force` replaces it".into()) }
        }
        TargetError::NoFile { .. } => CliError::usage(error.to_string()),
        TargetError::Io { tried, path, source } => CliError::File { tried, path, source },
    }
}
