//! The command line of the virtual rig: serve, score, setups, render, capture.
//!
//! It reads arguments and files, prints, and chooses the exit code (0 done, 2 wrong usage or
//! scenario, 3 IO). All work is in the library.
#![allow(clippy::print_stdout, clippy::print_stderr)] // A command prints.

use clap::{Parser, Subcommand, ValueEnum};
use std::fs::File;
use std::io::{BufRead, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::mpsc;
use virtual_rig::device::Protocol;
use virtual_rig::faults::FaultAt;
use virtual_rig::lines::LineFormat;
use virtual_rig::plan::Plan;
use virtual_rig::serve::{Control, SIMULATED, ServeError, Settings, serve};
use virtual_rig::{Scenario, capture, export, render, score};

/// A simulated bolt-tension rig; every number it makes is invented.
#[derive(Parser)]
#[command(version)]
struct Arguments {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Subcommand)]
enum Verb {
    /// Play a scenario as a device on a pseudo-terminal.
    Serve(ServeArguments),
    /// Compare measured runs with the truth.
    Score {
        /// Truth file written by serve or render.
        #[arg(long)]
        truth: PathBuf,
        /// Runs as JSON, or - for standard input.
        #[arg(long)]
        runs: PathBuf,
        /// How to print.
        #[arg(long, value_enum, default_value = "table")]
        format: Format,
        /// Setup that counts as 100 %.
        #[arg(long)]
        baseline: String,
    },
    /// Print bolt, tools, pieces and setups, one JSON object a line.
    Setups {
        /// Scenario file.
        scenario: PathBuf,
        /// How: JSON objects, words for a command line, or settings of a rig on `--port`.
        #[arg(long = "as", value_enum, default_value_t = As::Json)]
        form: As,
        /// Port the settings name.
        #[arg(long, default_value = "")]
        port: String,
    },
    /// Write a trace of the whole scenario.
    Render {
        /// Scenario file.
        scenario: PathBuf,
        /// CSV file to write, or - for standard output.
        #[arg(long)]
        csv: PathBuf,
        /// Truth file to write.
        #[arg(long)]
        truth: Option<PathBuf>,
        /// Write counts instead of kN.
        #[arg(long)]
        counts: bool,
        /// Sampling rate instead of the scenario's.
        #[arg(long)]
        rate: Option<u32>,
    },
    /// Write recordings of a rig's line, as a reader would have made them.
    Capture {
        /// Plan of recordings, with its base scenario beside it.
        plan: PathBuf,
        /// Folder to write NAME.capture into.
        #[arg(long)]
        out: PathBuf,
        /// Only this recording.
        #[arg(long)]
        only: Option<String>,
    },
}

#[derive(clap::Args)]
struct ServeArguments {
    /// Scenario file.
    scenario: PathBuf,
    /// Stable link to the port.
    #[arg(long)]
    link: PathBuf,
    /// Device seconds a wall second.
    #[arg(long, default_value_t = 1.0)]
    speed: f64,
    /// Truth file to write, one JSON object a run.
    #[arg(long)]
    truth: Option<PathBuf>,
    /// How the device talks.
    #[arg(long, value_enum, default_value = "framed")]
    protocol: Talk,
    /// counts, kn, tick-counts or tick-kn; with -lf for bare line feeds.
    #[arg(long, default_value = "counts")]
    line_format: LineFormat,
    /// Wait for a line on standard input before each step.
    #[arg(long)]
    stepwise: bool,
    /// Start over after the last step.
    #[arg(long = "loop")]
    looping: bool,
    /// Sampling rate of the lines protocol.
    #[arg(long)]
    rate: Option<u32>,
    /// Wait instead of dropping samples when the line is full.
    #[arg(long)]
    lossless: bool,
    /// kind@seconds[:argument]; may be given more than once.
    #[arg(long)]
    fault: Vec<FaultAt>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Talk {
    Framed,
    Lines,
}

#[derive(Clone, Copy, ValueEnum)]
enum As {
    Json,
    Arguments,
    Settings,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Json,
}

/// Exit code and what to say.
struct Failure(u8, String);

type Outcome = Result<(), Failure>;

fn main() -> ExitCode {
    let outcome = match Arguments::parse().verb {
        Verb::Serve(arguments) => run_serve(arguments),
        Verb::Score { truth, runs, format, baseline } => run_score(&truth, &runs, format, &baseline),
        Verb::Setups { scenario, form, port } => run_setups(&scenario, form, &port),
        Verb::Render { scenario, csv, truth, counts, rate } => {
            run_render(&scenario, &csv, truth.as_deref(), counts, rate)
        }
        Verb::Capture { plan, out, only } => run_capture(&plan, &out, only.as_deref()),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(Failure(code, text)) => {
            eprintln!("virtual-rig: {text}");
            ExitCode::from(code)
        }
    }
}

fn io_failure(path: &Path) -> impl FnOnce(std::io::Error) -> Failure {
    move |error| Failure(3, format!("cannot use {}: {error}", path.display()))
}

fn load(path: &Path) -> Result<Scenario, Failure> {
    let text = std::fs::read_to_string(path).map_err(io_failure(path))?;
    Scenario::from_toml(&text).map_err(|error| Failure(2, format!("{}: {error}", path.display())))
}

fn run_serve(arguments: ServeArguments) -> Outcome {
    let scenario = load(&arguments.scenario)?;
    let settings = Settings {
        link: arguments.link,
        speed: arguments.speed,
        protocol: match arguments.protocol {
            Talk::Framed => Protocol::Framed,
            Talk::Lines => Protocol::Lines(arguments.line_format),
        },
        rate_hz: arguments.rate.unwrap_or(scenario.rig.rate_hz),
        stepwise: arguments.stepwise,
        looping: arguments.looping,
        lossless: arguments.lossless,
        faults: arguments.fault,
    };
    let (sender, control) = mpsc::channel();
    if settings.stepwise {
        // The thread ends with standard input, and serving ends with its sender.
        let sender = sender.clone();
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines() {
                let line = line.unwrap_or_default();
                let told = match line.trim().split_once(' ') {
                    Some(("go", step)) => step.parse().ok().map(Control::GoTo),
                    None if line.trim() == "go" => Some(Control::Go),
                    _ => None,
                };
                if told.is_some_and(|told| sender.send(told).is_err()) {
                    return;
                }
            }
            // The receiver may be gone already, which is what this asks for.
            let _ = sender.send(Control::Quit);
        });
    }
    let mut truth = match &arguments.truth {
        Some(path) => Some(File::create(path).map_err(io_failure(path))?),
        None => None,
    };
    eprintln!("virtual-rig: {SIMULATED}; port at {}", settings.link.display());
    let truth = truth.as_mut().map(|file| file as &mut dyn Write);
    let ended = serve(&scenario, &settings, &control, &mut std::io::stdout().lock(), truth);
    drop(sender);
    ended.map_err(|error| match error {
        ServeError::Setting(_) => Failure(2, error.to_string()),
        ServeError::Port(_) | ServeError::Write(_) => Failure(3, error.to_string()),
    })
}

fn run_score(truth: &Path, runs: &Path, format: Format, baseline: &str) -> Outcome {
    let refuse = |error: score::ScoreError| Failure(2, error.to_string());
    let truth_text = std::fs::read_to_string(truth).map_err(io_failure(truth))?;
    let mut runs_text = String::new();
    if runs == Path::new("-") {
        std::io::stdin().read_to_string(&mut runs_text).map_err(io_failure(runs))?;
    } else {
        runs_text = std::fs::read_to_string(runs).map_err(io_failure(runs))?;
    }
    let truth = score::read_truth(&truth_text).map_err(refuse)?;
    let runs = score::read_runs(&runs_text).map_err(refuse)?;
    let score = score::score(&truth, &runs, baseline).map_err(refuse)?;
    match format {
        Format::Table => print!("{}", score.table(baseline)),
        Format::Json => {
            let text = serde_json::to_string(&score).map_err(|error| Failure(3, error.to_string()))?;
            println!("{text}");
        }
    }
    Ok(())
}

fn run_setups(path: &Path, form: As, port: &str) -> Outcome {
    let scenario = load(path)?;
    match form {
        As::Json => export::definitions(&scenario).iter().for_each(|line| println!("{line}")),
        As::Arguments => export::arguments(&scenario).iter().for_each(|line| println!("{line}")),
        As::Settings => print!("{}", export::settings(&scenario, "demo", port)),
    }
    Ok(())
}

fn run_render(path: &Path, csv: &Path, truth: Option<&Path>, counts: bool, rate: Option<u32>) -> Outcome {
    let mut scenario = load(path)?;
    if let Some(rate_hz) = rate {
        scenario.rig.rate_hz = rate_hz;
        virtual_rig::check::check(&scenario).map_err(|error| Failure(2, error.to_string()))?;
    }
    let rendered = render(&scenario);
    let mut out: Box<dyn Write> = if csv == Path::new("-") {
        Box::new(BufWriter::new(std::io::stdout().lock()))
    } else {
        Box::new(BufWriter::new(File::create(csv).map_err(io_failure(csv))?))
    };
    export::trace(&rendered, counts, &mut out).map_err(io_failure(csv))?;
    out.flush().map_err(io_failure(csv))?;
    if let Some(path) = truth {
        let head = serde_json::json!({
            "simulated": true, "note": SIMULATED, "scenario": scenario.name, "seed": scenario.seed,
        });
        let mut text = format!("{head}\n");
        for run in &rendered.truth {
            let line = serde_json::to_string(run).map_err(|error| Failure(3, error.to_string()))?;
            text.push_str(&line);
            text.push('\n');
        }
        std::fs::write(path, text).map_err(io_failure(path))?;
    }
    Ok(())
}

fn run_capture(path: &Path, out: &Path, only: Option<&str>) -> Outcome {
    let refuse = |at: &Path, error: &dyn std::fmt::Display| Failure(2, format!("{}: {error}", at.display()));
    let text = std::fs::read_to_string(path).map_err(io_failure(path))?;
    let plan: Plan = toml::from_str(&text).map_err(|error| refuse(path, &error))?;
    let base = path.with_file_name(&plan.scenario);
    let text = std::fs::read_to_string(&base).map_err(io_failure(&base))?;
    let table: toml::Table = toml::from_str(&text).map_err(|error| refuse(&base, &error))?;
    for case in plan.capture.iter().filter(|case| only.is_none_or(|only| only == case.name)) {
        let wrong = |error: &dyn std::fmt::Display| Failure(2, format!("capture {:?}: {error}", case.name));
        let scenario = case.scenario(&table).map_err(|error| wrong(&error))?;
        let text = capture::record(case, &scenario, &plan.date).map_err(|error| wrong(&error))?;
        let file = out.join(format!("{}.capture", case.name));
        std::fs::write(&file, text).map_err(io_failure(&file))?;
    }
    Ok(())
}
