//! `report`: one self-contained HTML file, to be printed or mailed.
//!
//! The daemon writes the text; here it becomes a file that is whole or not there.

use super::context::Context;
use super::door::{query, segment};
use super::error::CliError;
use super::export::of_target;
use super::output::{Format, print_text, say};
use super::shown::{self, Units};
use boltscribe_export::Target;
use clap::Subcommand;
use http_body_util::BodyExt;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Reports.
#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct Report {
    #[command(subcommand)]
    kept: Option<Verb>,
    #[command(flatten)]
    trial: OfTrial,
}

/// The report of a trial.
#[derive(Debug, clap::Args)]
struct OfTrial {
    /// Name of the trial.
    #[arg(required = true, value_name = "TRIAL")]
    name: Option<String>,
    /// Who tested, with the address.
    #[arg(long, value_name = "TEXT")]
    laboratory: Option<String>,
    /// For whom.
    #[arg(long, value_name = "TEXT")]
    customer: Option<String>,
    /// Who answers for the report.
    #[arg(long, value_name = "TEXT")]
    authorised_by: Option<String>,
    /// Anything else that belongs into it.
    #[arg(long, value_name = "TEXT")]
    remark: Option<String>,
    #[command(flatten)]
    file: OutFile,
}

/// Where the page goes.
#[derive(Debug, clap::Args)]
pub struct OutFile {
    /// File to make; without it the text goes to standard output.
    #[arg(long, short, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace the file if it is there.
    #[arg(long)]
    force: bool,
}

/// What else can be reported.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// A kept calibration: circumstances, line, residuals, uncertainty.
    #[command(before_help = "Example:\n  boltscribe report calibration cell-3-2026 --out cell-3-2026.html")]
    Calibration {
        /// Its name.
        name: String,
        /// Where it goes.
        #[command(flatten)]
        file: OutFile,
    },
}

/// Does it.
///
/// # Errors
/// Nothing of this name; a file that cannot be written.
pub async fn run(report: &Report, context: &Context) -> Result<(), CliError> {
    let (path, file) = match (&report.kept, &report.trial) {
        (Some(Verb::Calibration { name, file }), _) => {
            (format!("calibrations/{}/report", segment(name)), file)
        }
        (None, OfTrial { name, laboratory, customer, authorised_by, remark, file }) => {
            let units = match shown::chosen() {
                Units::Kilonewtons => "kN",
                Units::PoundsForce => "lbf",
            };
            let query = query(&[
                ("units", Some(units.to_owned())),
                ("laboratory", laboratory.clone()),
                ("customer", customer.clone()),
                ("authorised_by", authorised_by.clone()),
                ("remark", remark.clone()),
            ]);
            // Clap asks for the name where no other report is.
            let name = name.as_deref().unwrap_or_default();
            (format!("trials/{}/report?{query}", segment(name)), file)
        }
    };
    match &file.out {
        None => print_text(&String::from_utf8_lossy(&fetched(&path, context).await?)),
        Some(out) => {
            let bytes = write(out, file.force, &fetched(&path, context).await?)?;
            if context.format == Format::Table {
                say(&format!("{}: {bytes} bytes; open it in a browser, print it from there", out.display()));
            }
            Ok(())
        }
    }
}

/// What the daemon writes under this path, whole.
///
/// # Errors
/// Nothing there, or the answer broke off.
pub async fn fetched(path: &str, context: &Context) -> Result<Vec<u8>, CliError> {
    let answer = context.door.download(path).await?;
    let body = answer.into_body().collect().await.map_err(|error| CliError::Answer {
        request: format!("GET {path}"),
        expected: "a whole page",
        found: error.to_string(),
    })?;
    Ok(body.to_bytes().to_vec())
}

/// Writes a file that is whole or not there; gives its length.
///
/// # Errors
/// It is there already, or cannot be written.
pub fn write(path: &Path, force: bool, bytes: &[u8]) -> Result<u64, CliError> {
    let mut target = Target::create(path, force).map_err(of_target)?;
    target.write_all(bytes).map_err(|source| CliError::File { tried: "write", path: path.into(), source })?;
    target.commit().map_err(of_target)
}
