//! `analyze FILE`: runs in a trace or in a recording of raw bytes, without a rig or a store.
//!
//! This file holds the options of the verb. It must not know the daemon.

use super::error::CliError;
use super::output::Format;
use std::path::PathBuf;

/// Options of `analyze`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    before_help = "Examples:\n  boltscribe analyze trace.csv\n  boltscribe analyze counts.csv.gz --calibration cell.json --gate 1,2,5 --format json"
)]
pub struct Args {
    /// A trace (CSV, CSV.gz, Parquet; columns time_s and tension_kN, tension_lbf or counts) or a
    /// recording.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Calibration for a trace in counts: JSON with coefficients_kN.
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    /// Gates in seconds after the first blow.
    #[arg(long, value_name = "LIST", value_delimiter = ',')]
    pub gate: Vec<f64>,
    /// Full range of the rig in kN.
    #[arg(long = "range-kN", value_name = "KN")]
    pub range_kn: Option<f64>,
}

/// Finds and measures the runs of a file.
///
/// # Errors
/// Always, in this build.
pub fn run(args: &Args, format: Format) -> Result<(), CliError> {
    let _ = (args, format);
    Err(CliError::NotBuilt("analyze"))
}
