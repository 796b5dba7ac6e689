//! `report`: one self-contained HTML file, to be printed or mailed.
//!
//! The daemon writes the text; here it becomes a file that is whole or not there.

use super::context::Context;
use super::door::segment;
use super::error::CliError;
use super::export::of_target;
use super::output::{Format, print_text, say};
use crate::export::Target;
use clap::Subcommand;
use http_body_util::BodyExt;
use std::io::Write;
use std::path::{Path, PathBuf};

/// What can be reported.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// A kept calibration: circumstances, line, residuals, uncertainty.
    #[command(before_help = "Example:\n  boltscribe report calibration cell-3-2026 --out cell-3-2026.html")]
    Calibration {
        /// Its name.
        name: String,
        /// File to make; without it the text goes to standard output.
        #[arg(long, short, value_name = "FILE")]
        out: Option<PathBuf>,
        /// Replace the file if it is there.
        #[arg(long)]
        force: bool,
    },
}

/// Does it.
///
/// # Errors
/// Nothing of this name; a file that cannot be written.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    let Verb::Calibration { name, out, force } = verb;
    let path = format!("calibrations/{}/report", segment(name));
    let answer = context.door.download(&path).await?;
    let body = answer.into_body().collect().await.map_err(|error| CliError::Answer {
        request: format!("GET {path}"),
        expected: "a whole page",
        found: error.to_string(),
    })?;
    let bytes = body.to_bytes();
    match out {
        None => print_text(&String::from_utf8_lossy(&bytes)),
        Some(out) => {
            let bytes = write(out, *force, &bytes)?;
            if context.format == Format::Table {
                say(&format!("{}: {bytes} bytes; open it in a browser, print it from there", out.display()));
            }
            Ok(())
        }
    }
}

fn write(path: &Path, force: bool, bytes: &[u8]) -> Result<u64, CliError> {
    let mut target = Target::create(path, force).map_err(of_target)?;
    target.write_all(bytes).map_err(|source| CliError::File { tried: "write", path: path.into(), source })?;
    target.commit().map_err(of_target)
}
