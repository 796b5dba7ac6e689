//! The words after `export`, and how each table is fetched and written.
//!
//! One loop for all: ask, open the file, rows to cells, the file gets its name. Must not know kinds of files.

use super::captures;
use super::progress::Progress;
use super::rows::Answer;
use super::time::time;
use super::write::{Out, Written};
use crate::caution;
use crate::context::Context;
use crate::door::segment;
use crate::error::CliError;
use crate::output::{Format, say};
use boltscribe_export::blows::{self, RunBlows};
use boltscribe_export::range::{self, RangeHead, RangePiece};
use boltscribe_export::runs;
use boltscribe_export::samples::Stretch;
use boltscribe_export::trace::{self, TraceHead};
use boltscribe_store::RunExport;
use clap::{ArgGroup, Args, Subcommand};
use jiff::Timestamp;
use serde::Deserialize;

/// What can be taken out.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Every figure of every run, one row a run.
    Runs(Runs),
    /// One row a blow.
    Blows(Runs),
    /// Samples: of one run as recorded, or all that a rig read between two times.
    Trace(Trace),
    /// Recordings that `boltscribed --record` made: look through them, or copy them whole.
    Captures(captures::Captures),
}

/// Options of `export runs` and `export blows`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe export runs --out runs.csv
  boltscribe export runs --setup ext75 --from 2026-01-31 --out runs.parquet
  boltscribe export runs --all --as jsonl | head
")]
pub struct Runs {
    /// Only runs of this rig.
    #[arg(long)]
    pub rig: Option<String>,
    /// Only runs with this setup.
    #[arg(long)]
    pub setup: Option<String>,
    /// Only runs with this tool.
    #[arg(long)]
    pub tool: Option<String>,
    /// Only runs from this time on (UTC where no offset is given).
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub from: Option<Timestamp>,
    /// Only runs before this time.
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub to: Option<Timestamp>,
    /// Runs that are left out of results too, each with the reason.
    #[arg(long)]
    pub all: bool,
    #[command(flatten)]
    /// Where to.
    pub out: Out,
}

/// Options of `export trace`.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("what").args(["run", "rig"]).required(true),
    before_help = "Examples:
  boltscribe export trace 42 --out run-42.csv
  boltscribe analyze run-42.csv                      measures it again
  boltscribe export trace --rig bench --from 2026-01-31T08:00Z --to 2026-01-31T09:00Z --out warm-up.csv
  boltscribe export trace --rig bench --from 2026-01-31 --to 2026-02-01 --thinned --out day.parquet
"
)]
pub struct Trace {
    /// Number of the run.
    #[arg(value_name = "RUN", conflicts_with_all = ["from", "to", "thinned"])]
    pub run: Option<u64>,
    /// All that this rig read.
    #[arg(long, requires = "from", requires = "to")]
    pub rig: Option<String>,
    /// From this time on (UTC where no offset is given).
    #[arg(long, value_name = "TIME", value_parser = time, requires = "rig")]
    pub from: Option<Timestamp>,
    /// Before this time.
    #[arg(long, value_name = "TIME", value_parser = time, requires = "rig")]
    pub to: Option<Timestamp>,
    /// Least, greatest and mean of every 0.1 s of runs too, not each sample.
    #[arg(long)]
    pub thinned: bool,
    /// No lines that begin with `#` above a CSV.
    #[arg(long)]
    pub no_notes: bool,
    #[command(flatten)]
    /// Where to.
    pub out: Out,
}

/// Does it.
///
/// # Errors
/// A file that cannot be written, a filter the API refuses, nobody answers.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    match verb {
        Verb::Runs(options) => all_runs(options, context).await,
        Verb::Blows(options) => all_blows(options, context).await,
        Verb::Trace(options) => match (options.run, options.rig.as_deref()) {
            (Some(run), _) => one_trace(run, options, context).await,
            (None, rig) => readings(rig.unwrap_or_default(), options, context).await,
        },
        Verb::Captures(options) => captures::run(options, context.format).await,
    }
}

/// Captures need no store.
///
/// # Errors
/// As their file says.
pub async fn run_captures(options: &captures::Captures, format: Format) -> Result<(), CliError> {
    captures::run(options, format).await
}

#[derive(Deserialize)]
struct RunsHead {
    last_run: u64,
}

async fn all_runs(options: &Runs, context: &Context) -> Result<(), CliError> {
    let kind = options.out.kind(context.format)?;
    let path = options.path("export/runs");
    let (head, mut answer) = Answer::<RunsHead, RunExport>::ask(&context.door, &path).await?;
    let mut written = Written::open(&options.out, kind, &runs::table(options.notes()), false)?;
    let progress = Progress::new(head.last_run, "runs");
    let mut simulated = false;
    while let Some(run) = answer.next().await? {
        progress.at(run.line.id.0.unsigned_abs());
        simulated |= run.line.simulated;
        written.row(&runs::row(&run))?;
    }
    drop(progress);
    done(written, "runs", simulated)
}

async fn all_blows(options: &Runs, context: &Context) -> Result<(), CliError> {
    let kind = options.out.kind(context.format)?;
    let path = options.path("export/blows");
    let (head, mut answer) = Answer::<RunsHead, RunBlows>::ask(&context.door, &path).await?;
    let mut written = Written::open(&options.out, kind, &blows::table(options.notes()), false)?;
    let progress = Progress::new(head.last_run, "blows");
    let mut simulated = false;
    while let Some(of) = answer.next().await? {
        progress.at(of.run.id.0.unsigned_abs());
        simulated |= of.run.simulated;
        for row in blows::rows(&of) {
            written.row(&row)?;
        }
    }
    drop(progress);
    done(written, "blows", simulated)
}

async fn one_trace(run: u64, options: &Trace, context: &Context) -> Result<(), CliError> {
    let kind = options.out.kind(context.format)?;
    let path = format!("export/trace/{run}");
    let (head, mut answer) = Answer::<TraceHead, Stretch>::ask(&context.door, &path).await?;
    let mut written = Written::open(&options.out, kind, &trace::table(&head), !options.no_notes)?;
    let progress = Progress::new(head.samples, "samples");
    while let Some(stretch) = answer.next().await? {
        for row in trace::rows(&head, &stretch) {
            written.row(&row)?;
        }
        progress.at(written.rows);
    }
    drop(progress);
    if head.calibration.is_none() {
        say("the calibration of this run is not stored: the column tension_kN is empty");
    }
    done(written, "samples", head.run.line.simulated)
}

async fn readings(rig: &str, options: &Trace, context: &Context) -> Result<(), CliError> {
    let kind = options.out.kind(context.format)?;
    let (from, to) = (options.from.unwrap_or_default(), options.to.unwrap_or_default());
    let path = format!(
        "export/trace?rig={}&from={}&to={}&thinned={}",
        segment(rig),
        segment(&from.to_string()),
        segment(&to.to_string()),
        options.thinned
    );
    let (head, mut answer) = Answer::<RangeHead, RangePiece>::ask(&context.door, &path).await?;
    let mut written = Written::open(&options.out, kind, &range::table(&head), !options.no_notes)?;
    let progress = Progress::new(head.to_utc_ns.abs_diff(head.from_utc_ns), "readings");
    let mut simulated = false;
    while let Some(piece) = answer.next().await? {
        simulated |= piece.simulated;
        for row in piece.rows() {
            written.row(&row)?;
        }
        progress.at(piece.utc_ns.saturating_sub(head.from_utc_ns).unsigned_abs());
    }
    drop(progress);
    done(written, "readings", simulated)
}

/// Gives the file its name and says what is in it.
fn done(written: Written, what: &str, simulated: bool) -> Result<(), CliError> {
    let rows = written.rows;
    if let Some((path, bytes)) = written.finish()? {
        say(&format!("{rows} {what} in {} ({bytes} bytes)", path.display()));
    }
    if simulated {
        say(&format!("{}: some of it comes from no hardware", caution::SIMULATED));
    }
    Ok(())
}

impl Runs {
    fn path(&self, of: &str) -> String {
        let mut path = format!("{of}?all={}", self.all);
        let times = [self.from, self.to].map(|time| time.map(|time| time.to_string()));
        let [from, to] = &times;
        let filters =
            [("rig", &self.rig), ("setup", &self.setup), ("tool", &self.tool), ("from", from), ("to", to)];
        for (key, value) in filters {
            if let Some(value) = value {
                path.push_str(&format!("&{key}={}", segment(value)));
            }
        }
        path
    }

    /// What was asked for, for a file that can carry it.
    fn notes(&self) -> Vec<(String, String)> {
        let which = if self.all { "all, those left out too" } else { "those that count" };
        let mut notes = vec![("runs".to_owned(), which.to_owned())];
        let times = [self.from, self.to].map(|time| time.map(|time| time.to_string()));
        let [from, to] = times;
        let filters = [
            ("rig", self.rig.clone()),
            ("setup", self.setup.clone()),
            ("tool", self.tool.clone()),
            ("from", from),
            ("to", to),
        ];
        notes.extend(filters.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value?))));
        notes
    }
}
