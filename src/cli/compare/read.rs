//! From a file to observations, and from a fault back to the file's line and column.
//! Must not judge the values: `files` and `compare` do.

use super::super::error::CliError;
use super::super::hints::nearest;
use boltscribe_analysis::compare::{CompareError, Observation};
use boltscribe_tables::files::{Readings, read_readings};
use flate2::read::MultiGzDecoder;
use std::io::Read;
use std::path::Path;

/// Largest file that is read, bytes.
const FILE_MAX: u64 = 1 << 30;

/// Reads the table of a file.
///
/// # Errors
/// A file that cannot be read, or is no table of readings.
pub fn table(path: &Path) -> Result<Readings, CliError> {
    let failed = |source| CliError::File { tried: "read", path: path.to_owned(), source };
    let file = std::fs::File::open(path).map_err(failed)?;
    let mut bytes = Vec::new();
    let zipped = path.extension().is_some_and(|e| e == "gz");
    let read = if zipped {
        MultiGzDecoder::new(file).take(FILE_MAX).read_to_end(&mut bytes)
    } else {
        file.take(FILE_MAX).read_to_end(&mut bytes)
    };
    read.map_err(failed)?;
    read_readings(bytes.as_slice()).map_err(|e| CliError::usage(format!("{}: {e}", path.display())))
}

/// The rows as observations; `resolution` is the step that could be read, in kN or N·m, that of the table where none is
/// told.
#[must_use]
pub fn observations(table: &Readings, resolution: Option<f64>) -> Vec<Observation> {
    let of = |r: &boltscribe_tables::files::Reading| Observation {
        run: r.run,
        time_s: r.time_s,
        setup: r.setup.clone(),
        tool: r.tool.clone(),
        value: r.value,
        pieces: r.pieces.clone(),
        mounting: r.mounting.clone(),
        resolution: resolution.or(table.step),
        excluded: r.excluded.clone(),
    };
    table.rows.iter().map(of).collect()
}

/// A fault with its place in the file.
#[must_use]
pub fn wrong(path: &Path, table: &Readings, error: &CompareError) -> CliError {
    let place = error.place().and_then(|(row, column)| {
        let column = if column == "value" { table.column } else { column };
        table.rows.get(row).map(|r| format!("line {}, column '{column}': ", r.line))
    });
    // What concerns no single line concerns a whole column.
    let place = place.unwrap_or_else(|| match error {
        CompareError::UnknownBaseline { .. }
        | CompareError::NoBaseline { .. }
        | CompareError::OneSetup { .. } => "column 'setup': ".to_owned(),
        CompareError::Drift => "column 'time_s': ".to_owned(),
        _ => String::new(),
    });
    let hint = match error {
        CompareError::Drift => Some("give `--drift none`, or repeat a setup later".to_owned()),
        CompareError::Bracket { .. } => Some(
            "`--drift bracket` needs baseline runs before and after each setup; `--drift linear` does not"
                .to_owned(),
        ),
        CompareError::UnknownBaseline { baseline, found } => {
            let near = nearest(baseline, found.iter().map(String::as_str));
            near.map(|near| format!("did you mean `--baseline '{near}'`?"))
        }
        _ => None,
    };
    CliError::Usage { what: format!("{}: {place}{error}", path.display()), hint }
}
