//! `calibrate fit FILE`: a line through the loads of a file, or through any two of its columns.
//!
//! Opens the file and hands its text to `files`, the numbers to `metrology`. Needs neither store nor daemon.

use super::document::{self, Fitted};
use super::show;
use crate::error::CliError;
use crate::output::{Format, print};
use boltscribe_analysis::metrology::e74::{self, fit_e74};
use boltscribe_analysis::metrology::tension_fit::{self, TensionFitError, fit_tension};
use boltscribe_numerics::polynomial::DEGREE_MAX;
use boltscribe_numerics::{DoubleDouble, fit_polynomial_exact};
use boltscribe_tables::files::{Columns, ColumnsError, Loads, LoadsError, read_loads};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Options of `calibrate fit`.
#[derive(Clone, Debug, clap::Args)]
#[command(before_help = "Examples:\n  boltscribe calibrate fit cell-3.csv --degree 2\n  \
                   boltscribe calibrate fit cell-3.csv --deflection-on-force --format json\n  \
                   boltscribe calibrate fit table.csv --x load --y reading --degree 5")]
pub struct Args {
    /// CSV with series,direction,reference_kN (or reference_lbf),counts[,position_deg], or any columns
    /// with --x and --y. Lines that begin with # are skipped.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Degree: 1 to 3 for tension on counts (default 1), 1 to 5 for deflection on force (default by the
    /// rule of ASTM E74), up to 10 with --x and --y (default 1).
    #[arg(long, value_name = "N")]
    pub degree: Option<usize>,
    /// Column of abscissae; any numeric column, without the checks of load steps.
    #[arg(long, value_name = "NAME", requires = "y")]
    pub x: Option<String>,
    /// Column of ordinates.
    #[arg(long, value_name = "NAME", requires = "x")]
    pub y: Option<String>,
    /// Fit deflection on force after ASTM E74 instead of tension on counts. With --x and --y, x is force.
    #[arg(long)]
    pub deflection_on_force: bool,
    /// Least and greatest count the converter gives; others are refused.
    #[arg(long, value_name = "LOW,HIGH", value_delimiter = ',', allow_hyphen_values = true)]
    pub counts_range: Vec<f64>,
    /// Resolution of the deflection, below which no lower limit factor goes (deflection on force only;
    /// default 1 count, 0 with --x and --y).
    #[arg(long, value_name = "R")]
    pub resolution: Option<f64>,
}

/// Largest file that is read, bytes.
const FILE_MAX: u64 = 64 << 20;

/// Fits and shows.
///
/// # Errors
/// Options that do not go together, a file that cannot be read or does not fit, points that give no line.
pub fn run(args: &Args, format: Format) -> Result<(), CliError> {
    check(args)?;
    let bytes = read(&args.file)?;
    let fitted = match (&args.x, &args.y) {
        (Some(x), Some(y)) => columns(args, &bytes, x, y)?,
        _ => loads(args, &bytes)?,
    };
    let document = document::of(&fitted, &args.file.display().to_string());
    print(format, &document, &show::rows(&fitted, &document))?;
    if format == Format::Table {
        show::people(&fitted, &document)?;
    }
    Ok(())
}

fn check(args: &Args) -> Result<(), CliError> {
    let most = match (args.x.is_some(), args.deflection_on_force) {
        (_, true) => e74::DEGREE_MAX,
        (true, false) => DEGREE_MAX,
        (false, false) => tension_fit::DEGREE_MAX,
    };
    if let Some(found) = args.degree.filter(|d| !(1..=most).contains(d)) {
        return Err(CliError::usage(format!("--degree: expected from 1 to {most}, found {found}")));
    }
    match args.counts_range[..] {
        [] => {}
        [low, high] if low.is_finite() && high.is_finite() && low < high => {}
        _ => {
            return Err(CliError::usage(format!(
                "--counts-range: expected the least and then the greatest count, such as -8388608,8388607, found {:?}",
                args.counts_range
            )));
        }
    }
    if args.x.is_some() && !args.counts_range.is_empty() {
        return Err(CliError::usage("--counts-range: expected the form of a calibration, found --x and --y"));
    }
    if args.x.is_some() && args.x == args.y {
        return Err(CliError::usage("--x and --y: expected two columns, found the same one twice"));
    }
    if let Some(found) = args.resolution.filter(|r| !(r.is_finite() && *r >= 0.0)) {
        return Err(CliError::usage(format!("--resolution: expected at least 0, found {found}")));
    }
    if args.resolution.is_some() && !args.deflection_on_force {
        return Err(CliError::usage("--resolution: expected --deflection-on-force with it, found none"));
    }
    Ok(())
}

pub(super) fn read(path: &Path) -> Result<Vec<u8>, CliError> {
    let failed = |source| CliError::File { tried: "read", path: path.to_owned(), source };
    let mut bytes = Vec::new();
    std::fs::File::open(path).map_err(failed)?.take(FILE_MAX + 1).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > FILE_MAX {
        return Err(bad(path, format!("expected a file of at most {FILE_MAX} bytes, found more")));
    }
    Ok(bytes)
}

pub(super) fn bad(path: &Path, error: impl std::fmt::Display) -> CliError {
    CliError::usage(format!("{}: {error}", path.display()))
}

fn columns(args: &Args, bytes: &[u8], x: &str, y: &str) -> Result<Fitted, CliError> {
    let failed = |e: &dyn std::fmt::Display| bad(&args.file, format!("columns '{x}' and '{y}': {e}"));
    let table = Columns::read(bytes).map_err(|e| bad(&args.file, e))?;
    let numbers = |name: &str| table.numbers(name).map_err(|e| bad(&args.file, e));
    let (xs, ys) = (numbers(x)?, numbers(y)?);
    let points = document::Points { lines: table.lines.clone(), x: f64s(&xs), y: f64s(&ys) };
    let names = (x.to_owned(), y.to_owned());
    if args.deflection_on_force {
        let per_unit = mean_ratio(&xs, &ys);
        let resolution = args.resolution.unwrap_or(0.0) * per_unit;
        let fit = fit_e74(&xs, &ys, args.degree, resolution).map_err(|e| failed(&e))?;
        return Ok(Fitted::ColumnsE74 { fit: Box::new(fit), names, points });
    }
    let degree = args.degree.unwrap_or(1);
    if xs.len() < degree + 2 {
        let (least, found) = (degree + 2, xs.len());
        return Err(failed(&format!("expected at least {least} points for degree {degree}, found {found}")));
    }
    let fit = fit_polynomial_exact(&xs, &ys, degree, None).map_err(|e| failed(&e))?;
    Ok(Fitted::Columns { fit: Box::new(fit), names, points })
}

fn loads(args: &Args, bytes: &[u8]) -> Result<Fitted, CliError> {
    let range = match args.counts_range[..] {
        [low, high] => Some((low, high)),
        _ => None,
    };
    let file = read_loads(bytes, range).map_err(|e| {
        let what = format!("{}: {e}", args.file.display());
        match e {
            LoadsError::Unit { .. } | LoadsError::Columns(ColumnsError::Column { .. }) => {
                CliError::usage_with(what, "--x NAME --y NAME fits any two columns")
            }
            _ => CliError::usage(what),
        }
    })?;
    let span = format!("lines {} to {}", file.loads[0].line, file.loads[file.loads.len() - 1].line);
    let tension: Vec<DoubleDouble> = file.loads.iter().map(|l| l.reference_kn).collect();
    if args.deflection_on_force {
        let (deflection, notes) = deflections(&file);
        let resolution = args.resolution.unwrap_or(1.0) * mean_ratio(&tension, &deflection);
        let fit = fit_e74(&tension, &deflection, args.degree, resolution)
            .map_err(|e| bad(&args.file, format!("{span}, column 'counts': {e}")))?;
        return Ok(Fitted::LoadsE74 { fit: Box::new(fit), deflection: f64s(&deflection), file, notes });
    }
    let counts: Vec<DoubleDouble> = file.loads.iter().map(|l| l.counts).collect();
    let fit = fit_tension(&counts, &tension, args.degree.unwrap_or(1)).map_err(|e| {
        let what = format!("{}: {span}, column 'counts': {e}", args.file.display());
        match e {
            // The file is as it should be; there is no such line through it.
            TensionFitError::Turns { .. } => CliError::No {
                what,
                hint: Some("try a lower --degree, and look for slips in the file".into()),
            },
            _ => CliError::usage(what),
        }
    })?;
    Ok(Fitted::Loads { fit: Box::new(fit), file })
}

/// Counts less those of the zero that the series began with, where every series has one.
fn deflections(file: &Loads) -> (Vec<DoubleDouble>, Vec<&'static str>) {
    let zero_of = |series: &str| {
        file.loads.iter().find(|l| l.series == series && l.up && l.reference == 0.0).map(|l| l.counts)
    };
    let zeros: Option<Vec<DoubleDouble>> = file.loads.iter().map(|l| zero_of(&l.series)).collect();
    match zeros {
        Some(zeros) => (file.loads.iter().zip(zeros).map(|(l, z)| l.counts - z).collect(), Vec::new()),
        None => (
            file.loads.iter().map(|l| l.counts).collect(),
            vec!["not every series begins with a load of zero: deflections are bare counts"],
        ),
    }
}

/// Mean of |x/y| where y is not zero: what one unit of deflection is in units of force.
fn mean_ratio(x: &[DoubleDouble], y: &[DoubleDouble]) -> f64 {
    let ratios: Vec<f64> = x
        .iter()
        .zip(y)
        .filter(|(x, y)| x.to_f64() != 0.0 && y.to_f64() != 0.0)
        .map(|(x, y)| (x.to_f64() / y.to_f64()).abs())
        .collect();
    ratios.iter().sum::<f64>() / ratios.len().max(1) as f64
}

fn f64s(v: &[DoubleDouble]) -> Vec<f64> {
    v.iter().map(|v| v.to_f64()).collect()
}
