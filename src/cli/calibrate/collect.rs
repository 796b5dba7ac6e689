//! `calibrate collect`: loads of a calibration taken at the rig, step by step, into the form that `fit` and `keep`
//! read.
//!
//! Each step waits until the reading stands, by the rule below, and is on disk before the next is asked for: the
//! same command goes on where it was broken off. Must not know how a line is fitted.

use super::super::ask::{Asker, number, tell};
use super::super::caution;
use super::super::context::{Context, who};
use super::super::error::CliError;
use super::fit::{bad, read};
use super::series_plan::{Step, plan};
use super::uncoupled;
use boltscribe_numerics::moments;
use boltscribe_tables::files::Columns;
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::time::sleep;

/// Looks at the live reading in half of a window, and the time between them: a half is one second.
const LOOKS: usize = 20;
const BETWEEN: Duration = Duration::from_millis(50);
/// It stands when the means of the two newest seconds differ by at most this share of the span of counts so far...
const SHARE_OF_SPAN: f64 = 0.000_1;
/// ... or by so many standard errors of their difference, or by so many counts.
const ERRORS: f64 = 3.0;
const COUNTS: f64 = 1.0;
/// Longest wait for it, seconds.
const WAIT_S: usize = 60;

/// Options of `calibrate collect`.
#[derive(Clone, Debug, clap::Args)]
#[command(before_help = "Example:
  boltscribe calibrate collect cell-3.csv --rig bench-1 --loads-kN 0,12,25,37,50,62,75,87,100 --series 4 \
    --positions-deg 0,0,120,240
")]
pub struct Collect {
    /// File that is written; where it is there already, the work goes on behind its last line.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// The rig; may be left out where there is only one.
    #[arg(long)]
    pub rig: Option<String>,
    /// Loads going up, kN, from 0.
    #[arg(long = "loads-kN", value_name = "KN,KN", value_delimiter = ',', required = true)]
    pub loads_kn: Vec<f64>,
    /// How many series.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub series: usize,
    /// Angle of the mounting of each series: the cell is mounted anew between them.
    #[arg(long, value_name = "DEG,DEG", value_delimiter = ',', allow_negative_numbers = true)]
    pub positions_deg: Vec<f64>,
    /// Only going up, without the way down.
    #[arg(long)]
    pub only_up: bool,
}

/// A reading that stood.
struct Stood {
    mean: f64,
    sd: f64,
    looks: usize,
}

/// Guides through all steps.
///
/// # Errors
/// A plan that cannot be, a file of another plan, a rig without a reading, the end of the input.
pub async fn run(args: &Collect, context: &Context) -> Result<(), CliError> {
    let steps =
        plan(&args.loads_kn, args.series, &args.positions_deg, !args.only_up).map_err(CliError::usage)?;
    let rig = context.rig_or_only(args.rig.as_deref()).await?;
    let (done, mut span) = done_so_far(&args.file, &steps)?;
    let mut asker = Asker::new();
    tell(&format!(
        "{} loads in {} series at rig '{rig}', into {}.\nA reading stands when the means of its two newest seconds \
         differ by at most {} % of the span of counts so far, {ERRORS} standard errors, or {COUNTS} count.\n",
        steps.len(),
        args.series,
        args.file.display(),
        100.0 * SHARE_OF_SPAN
    ))?;
    caution::show(context.format);
    if done > 0 {
        tell(&format!("{done} of them are there already; it goes on with load {}.\n", done + 1))?;
    }
    let uncoupled =
        uncoupled::begin(&rig, &who(None).unwrap_or_else(|_| "unknown".to_owned()), context).await?;
    let mut file = opened(&args.file, done == 0)?;
    for (at, step) in steps.iter().enumerate().skip(done) {
        if step.begins_series() {
            // A second series at one position is of the same mounting: that is what repeatability means.
            let stays = at > 0 && steps[at - 1].position_deg == step.position_deg;
            let how = match step.position_deg {
                Some(_) if stays => " Leave the cell as it is mounted.".to_owned(),
                Some(deg) => format!(" Mount the cell at {deg}°."),
                None => String::new(),
            };
            tell(&format!(
                "\nSeries {}.{how} Load it fully and unload it first, as your procedure asks.\n",
                step.series
            ))?;
        }
        let reference_kn = asked(step, at + 1, steps.len(), &mut asker).await?;
        let stood = standing(&rig, &mut span, context).await?;
        tell(&format!("  {:.1} counts (SD {:.1}, n {})\n", stood.mean, stood.sd, stood.looks))?;
        put(&mut file, &args.file, step, reference_kn, stood.mean)?;
    }
    uncoupled.end(context).await?;
    tell(&format!(
        "\nAll taken. Next:\n  boltscribe calibrate fit {0}\n  boltscribe calibrate keep NAME {0} --on DAY --standard ... --certificate ...\n",
        args.file.display()
    ))
}

async fn asked(step: &Step, at: usize, of: usize, asker: &mut Asker) -> Result<f64, CliError> {
    let direction = if step.up { "up" } else { "down" };
    let word = if step.load_kn == 0.0 { "Unload fully" } else { "Bring the load to it and hold it" };
    tell(&format!("\nLoad {at} of {of}: {} kN, {direction}. {word}.\n", step.load_kn))?;
    let usual = step.load_kn.to_string();
    asker
        .ask("it stands; the reference shows, kN", Some(&usual), |answer| {
            number(answer).and_then(|kn| if kn >= 0.0 { Ok(kn) } else { Err("expected at least 0".into()) })
        })
        .await
}

/// Waits until the reading stands.
async fn standing(rig: &str, span: &mut (f64, f64), context: &Context) -> Result<Stood, CliError> {
    let mut counts: Vec<f64> = Vec::new();
    for _ in 0..WAIT_S * LOOKS {
        counts.push(look(rig, context).await?);
        if counts.len() >= 2 * LOOKS {
            let (before, newest) = counts[counts.len() - 2 * LOOKS..].split_at(LOOKS);
            let (Some(a), Some(b)) = (moments(before), moments(newest)) else { continue };
            let (sd_a, sd_b) = (a.sd.unwrap_or(0.0), b.sd.unwrap_or(0.0));
            let error = libm::sqrt((sd_a * sd_a + sd_b * sd_b) / LOOKS as f64);
            let width = (span.1.max(b.mean) - span.0.min(b.mean)).max(0.0);
            if (b.mean - a.mean).abs() <= (SHARE_OF_SPAN * width).max(ERRORS * error).max(COUNTS) {
                *span = (span.0.min(b.mean), span.1.max(b.mean));
                return Ok(Stood { mean: b.mean, sd: sd_b, looks: LOOKS });
            }
        }
        sleep(BETWEEN).await;
    }
    Err(CliError::No {
        what: format!("the reading of rig '{rig}' did not stand within {WAIT_S} s"),
        hint: Some("hold the load still, then run the same command again: it goes on with this load".into()),
    })
}

async fn look(rig: &str, context: &Context) -> Result<f64, CliError> {
    let (_, rigs) = context.list("rigs", "rigs").await?;
    let found = rigs.iter().find(|known| known["rig"] == rig).and_then(|known| known["counts"].as_f64());
    found.ok_or_else(|| CliError::No {
        what: format!("cannot read rig '{rig}': expected live counts, found none"),
        hint: Some("`boltscribe rig list` says what is wrong; the same command goes on afterwards".into()),
    })
}

fn opened(path: &Path, new: bool) -> Result<File, CliError> {
    let failed = |source| CliError::File { tried: "write", path: path.to_owned(), source };
    let mut file = File::options().append(true).create(true).open(path).map_err(failed)?;
    if new {
        file.write_all(b"series,direction,reference_kN,counts,position_deg\n").map_err(failed)?;
    }
    Ok(file)
}

/// Writes a load and waits until it is on disk.
fn put(file: &mut File, path: &Path, step: &Step, reference_kn: f64, counts: f64) -> Result<(), CliError> {
    let direction = if step.up { "up" } else { "down" };
    let position = step.position_deg.unwrap_or(0.0);
    let line = format!("{},{direction},{reference_kn},{counts:.2},{position}\n", step.series);
    file.write_all(line.as_bytes()).and_then(|()| file.sync_data()).map_err(|source| CliError::File {
        tried: "write",
        path: path.to_owned(),
        source,
    })
}

/// How many loads of the plan the file holds, and the span of their counts.
fn done_so_far(path: &Path, steps: &[Step]) -> Result<(usize, (f64, f64)), CliError> {
    let empty = (f64::INFINITY, f64::NEG_INFINITY);
    if !path.exists() {
        return Ok((0, empty));
    }
    let failed = |error| bad(path, error);
    let table = Columns::read(&read(path)?).map_err(failed)?;
    let (series, direction) =
        (table.place("series").map_err(failed)?, table.place("direction").map_err(failed)?);
    let counts = table.numbers("counts").map_err(failed)?;
    for (row, line) in table.lines.iter().enumerate() {
        let found = (table.text(row, series), table.text(row, direction));
        let wanted =
            steps.get(row).map(|step| (step.series.to_string(), if step.up { "up" } else { "down" }));
        if wanted.as_ref().map(|(series, direction)| (series.as_str(), *direction)) != Some(found) {
            let expected = wanted.map_or("no further line".to_owned(), |(s, d)| format!("series {s}, {d}"));
            let found = format!("series {}, {}", found.0, found.1);
            return Err(bad(
                path,
                format!("line {line}: expected {expected} by the plan, found {found}: it is of another plan"),
            ));
        }
    }
    let span = counts.iter().map(|c| c.to_f64()).fold(empty, |(low, high), c| (low.min(c), high.max(c)));
    Ok((counts.len(), span))
}
