//! `analyze FILE`: runs in a trace or in a recording of raw bytes, without a rig or a store.
//!
//! Opens the file, hands its text to `files` or to the pipeline, shows what they found. A recording
//! gives the same runs as the daemon gave when it was made. This file must not know the daemon.

use super::caution;
use super::error::CliError;
use super::output::{Cell, Format, Rows, print, say};
use boltscribe_analysis::results::{FiguresShown, Flag, RunResult};
use boltscribe_model::constants::Calibration;
use boltscribe_model::time::MonoNs;
use boltscribe_pipeline::{self as pipeline, Output, RunRow, replay};
use boltscribe_signal::capture;
use boltscribe_signal::runs::{Closing, Record, Settings};
#[cfg(feature = "parquet")]
use boltscribe_tables::files::read_parquet;
use boltscribe_tables::files::{Measured, Trace, TraceError, measure_trace, read_trace};
use flate2::read::MultiGzDecoder;
use serde_json::{Value, json};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Options of `analyze`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    before_help = "Examples:\n  boltscribe analyze trace.csv\n  boltscribe analyze counts.csv.gz --calibration cell.json --gate 1,2,5 --format json\n  boltscribe analyze bay-2.capture"
)]
pub struct Args {
    /// A trace (CSV, CSV.gz or Parquet with the columns time_s and tension_kN, tension_lbf or counts) or a
    /// recording made by `boltscribed --record`.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Calibration for a trace in counts: JSON with coefficients_kN, lowest power first.
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    /// Gates in seconds after the first blow (default 3, or as recorded).
    #[arg(long, value_name = "LIST", value_delimiter = ',')]
    pub gate: Vec<f64>,
    /// Tensions in kN to which time and blows are given (default none, or as recorded).
    #[arg(long = "tension-kN", value_name = "LIST", value_delimiter = ',')]
    pub tension_kn: Vec<f64>,
    /// Full range of the rig in kN; sets the start threshold (0.2 % of it) and the limit of a zero's shift.
    #[arg(long = "range-kN", value_name = "KN")]
    pub range_kn: Option<f64>,
}

/// Largest file that is read, bytes: half a day at 2,000 samples/s as CSV.
const FILE_MAX: u64 = 4 << 30;

/// How a Parquet file begins.
const PARQUET: &[u8] = b"PAR1";

/// Finds and measures the runs of a file.
///
/// # Errors
/// A file that cannot be read or is none of ours, options that do not fit it.
pub fn run(args: &Args, format: Format) -> Result<(), CliError> {
    check(args)?;
    let bytes = read_file(&args.file)?;
    let document = if capture::is_capture(&bytes) { recorded(args, &bytes)? } else { traced(args, bytes)? };
    let runs = document["runs"].as_array().map_or(&[][..], Vec::as_slice);
    print(format, &document, &rows(runs))?;
    if format == Format::Table {
        if runs.is_empty() {
            say("no run was found");
        }
        say("times count from the file's own zero; held: settled tension after the last blow");
        caution::show(format);
    }
    Ok(())
}

fn check(args: &Args) -> Result<(), CliError> {
    if let Some(gate) = args.gate.iter().find(|g| !(g.is_finite() && **g > 0.0 && **g <= 300.0)) {
        return Err(CliError::usage(format!(
            "--gate: expected seconds above 0 and at most 300, found {gate}"
        )));
    }
    if let Some(range) = args.range_kn.filter(|r| !(r.is_finite() && *r > 0.0)) {
        return Err(CliError::usage(format!("--range-kN: expected kilonewtons above 0, found {range}")));
    }
    Ok(())
}

fn read_file(path: &Path) -> Result<Vec<u8>, CliError> {
    let failed = |source| CliError::File { tried: "read", path: path.to_owned(), source };
    let file = std::fs::File::open(path).map_err(failed)?;
    let mut bytes = Vec::new();
    if path.extension().is_some_and(|e| e == "gz") {
        MultiGzDecoder::new(file).take(FILE_MAX).read_to_end(&mut bytes).map_err(failed)?;
    } else {
        file.take(FILE_MAX).read_to_end(&mut bytes).map_err(failed)?;
    }
    Ok(bytes)
}

fn bad_input(path: &Path, error: &impl std::fmt::Display) -> CliError {
    CliError::usage(format!("{}: {error}", path.display()))
}

fn traced(args: &Args, bytes: Vec<u8>) -> Result<Value, CliError> {
    let calibration = args.calibration.as_deref().map(read_calibration).transpose()?;
    let range_kn = args.range_kn.or(calibration.as_ref().and_then(|c| c.range_kn));
    let mut settings = Settings { range_kn, ..Settings::default() };
    if !args.gate.is_empty() {
        settings.gates_s.clone_from(&args.gate);
    }
    settings.tensions_kn.clone_from(&args.tension_kn);
    let trace = if bytes.starts_with(PARQUET) {
        parquet_trace(bytes, calibration.as_ref())?
    } else {
        read_trace(&bytes[..], calibration.as_ref())
    };
    let trace = trace.map_err(|error| CliError::Usage {
        what: format!("{}: {error}", args.file.display()),
        hint: error.hint().map(str::to_owned),
    })?;
    let runs: Vec<Value> =
        measure_trace(&trace, &settings).iter().map(|m| of_trace(m, trace.start_s)).collect();
    Ok(json!({ "runs": runs }))
}

#[cfg(feature = "parquet")]
fn parquet_trace(
    bytes: Vec<u8>,
    calibration: Option<&Calibration>,
) -> Result<Result<Trace, TraceError>, CliError> {
    Ok(read_parquet(bytes, calibration))
}

#[cfg(not(feature = "parquet"))]
fn parquet_trace(_: Vec<u8>, _: Option<&Calibration>) -> Result<Result<Trace, TraceError>, CliError> {
    Err(super::export::without_parquet("read"))
}

fn read_calibration(path: &Path) -> Result<Calibration, CliError> {
    let bytes = read_file(path)?;
    let value: Value = serde_json::from_slice(&bytes).map_err(|e| bad_input(path, &e))?;
    // A fit of deflection on force, or of any two columns, has coefficients too, of something else.
    if let Some(found) = value["model"].as_str().filter(|m| *m != "tension-on-counts") {
        return Err(bad_input(
            path,
            &format!("expected a fit of the model 'tension-on-counts', found '{found}'"),
        ));
    }
    // What `calibrate fit --format json` prints names them `coefficients`.
    let named = ["coefficients_kN", "coefficients"].iter().find_map(|k| value[*k].as_array());
    let coefficients: Option<Vec<f64>> = named.and_then(|a| a.iter().map(Value::as_f64).collect());
    let Some(coefficients_kn) = coefficients else {
        return Err(bad_input(path, &"expected a list of numbers 'coefficients_kN', found none"));
    };
    let calibration = Calibration {
        id: value["id"].as_str().unwrap_or("file").to_owned(),
        coefficients_kn,
        nominal: value["nominal"].as_bool().unwrap_or(false),
        range_kn: value["range_kN"].as_f64(),
    };
    calibration.check().map_err(|e| bad_input(path, &e))?;
    Ok(calibration)
}

fn recorded(args: &Args, bytes: &[u8]) -> Result<Value, CliError> {
    let text = std::str::from_utf8(bytes).map_err(|e| bad_input(&args.file, &e))?;
    let capture = capture::read(text).map_err(|e| bad_input(&args.file, &e))?;
    let mut settings: pipeline::Settings =
        serde_json::from_value(capture.settings).map_err(|e| bad_input(&args.file, &e))?;
    if !args.gate.is_empty() {
        settings.runs.gates_s.clone_from(&args.gate);
    }
    if !args.tension_kn.is_empty() {
        settings.runs.tensions_kn.clone_from(&args.tension_kn);
    }
    if args.range_kn.is_some() {
        settings.runs.range_kn = args.range_kn;
    }
    if let Some(path) = &args.calibration {
        settings.calibration = Some(read_calibration(path)?);
    }
    document(settings, &capture.entries).map_err(|e| bad_input(&args.file, &e))
}

/// What `--format json` prints for a recording.
///
/// # Errors
/// Settings that cannot be used.
pub fn document(
    settings: pipeline::Settings,
    entries: &[(MonoNs, capture::Entry)],
) -> Result<Value, pipeline::SetupError> {
    let (outputs, pipeline) = replay(settings, entries)?;
    let mut runs: Vec<Value> = Vec::new();
    for output in &outputs {
        match output {
            Output::Run(RunRow::Announced(result)) => runs.push(of_recording(result)),
            Output::Run(RunRow::Closed(closed)) => {
                if let Some(flags) = runs.last_mut().and_then(|r| r["flags"].as_array_mut()) {
                    flags.extend(closed.flags.iter().map(|f| json!(f.name())));
                }
            }
            _ => {}
        }
    }
    Ok(json!({ "runs": runs, "counters": pipeline.counters() }))
}

fn of_trace(measured: &Measured, start_s: f64) -> Value {
    let mut flags: Vec<Flag> = measured.record.flags.iter().copied().map(Flag::from).collect();
    flags.extend(measured.closing.iter().flat_map(Closing::told).map(Flag::from));
    flags.sort_unstable();
    flags.dedup();
    run_value(&measured.record, start_s, &flags)
}

fn of_recording(result: &RunResult) -> Value {
    let mut value = run_value(&result.record, 0.0, &result.flags);
    value["setup"] = json!(result.in_force.setup);
    value["tool"] = json!(result.in_force.tool);
    value["equivalent_torque_Nm"] = json!(result.torques.held);
    value
}

/// One run with the units in its keys; `start_s` is the time of sample 0 in the file.
fn run_value(record: &Record, start_s: f64, flags: &[Flag]) -> Value {
    let names: Vec<&str> = flags.iter().map(|f| f.name()).collect();
    let gates: Vec<Value> = record
        .gates
        .iter()
        .map(|g| json!({ "after_s": g.after_s, "tension_kN": g.tension.map(|f| f.kn()) }))
        .collect();
    let mut value = json!({
        "first_blow_s": start_s + record.first_blow_s,
        "last_blow_s": start_s + record.last_blow_s,
        "drive_time_s": record.drive_time_s,
        "blows": record.blow_count,
        "blow_rate_hz": record.blow_rate_hz,
        "peak_kN": record.peak.kn(),
        "peak_time_s": start_s + record.peak_time_s,
        "held_kN": record.held.map(|f| f.kn()),
        "gates": gates,
        "plateau_kN": record.plateau.map(|p| p.limit.kn()),
        "plateau_se_kN": record.plateau.map(|p| p.limit_se.kn()),
        "time_constant_s": record.plateau.map(|p| p.time_constant_s),
        "flags": names,
    });
    if let (Value::Object(run), Ok(Value::Object(figures))) =
        (&mut value, serde_json::to_value(FiguresShown::from(record)))
    {
        run.extend(figures);
    }
    value
}

fn rows(runs: &[Value]) -> Rows {
    let columns: [(&'static str, usize); 9] = [
        ("first_blow_s", 3),
        ("last_blow_s", 3),
        ("drive_time_s", 3),
        ("blows", 0),
        ("blow_rate_hz", 2),
        ("peak_kN", 2),
        ("held_kN", 2),
        ("plateau_kN", 2),
        ("time_constant_s", 3),
    ];
    let names: Vec<&'static str> =
        columns.iter().map(|c| c.0).chain(["gate_s", "gate_kN", "flags"]).collect();
    let mut rows = Rows::new(&names);
    for run in runs {
        let mut cells: Vec<Cell> = columns.iter().map(|(key, d)| Cell::number_of(run, key, *d)).collect();
        let gate = &run["gates"][0];
        cells.push(Cell::number_of(gate, "after_s", 1));
        cells.push(Cell::number_of(gate, "tension_kN", 2));
        let flags = run["flags"].as_array().map_or(&[][..], Vec::as_slice);
        let words: Vec<&str> = flags.iter().filter_map(Value::as_str).collect();
        cells.push(Cell::text(Some(words.join(" ").as_str()).filter(|w| !w.is_empty())));
        rows.rows.push(cells);
    }
    rows
}
