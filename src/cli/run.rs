//! From the arguments to an exit code: reads the command line, opens the door, runs one verb.
//!
//! What a verb does and how an error is worded is the business of other files. Must not print data.

use super::args::{Args, Verb};
use super::context::Context;
use super::error::CliError;
use super::place::Place;
use super::{
    access, analyze, calibrate, compare, doctor, export, forward, hints, judge, local, manual, report, rig,
    runs, setup, shown, store, trial,
};
use clap::Parser;
use std::process::ExitCode;

/// Runs the program with the arguments of the process.
#[must_use]
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(e) => {
            // clap sends help to standard output and mistakes to standard error by itself.
            let _ = e.print();
            return ExitCode::from(if e.use_stderr() { 2 } else { 0 });
        }
    };
    match run(&args) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) if e.is_closed_pipe() => ExitCode::SUCCESS,
        Err(e) => {
            let _ = hints::report(&e, &mut std::io::stderr().lock());
            ExitCode::from(hints::exit_code(&e))
        }
    }
}

fn run(args: &Args) -> Result<(), CliError> {
    shown::choose(args.common.units);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|source| CliError::File { tried: "start", path: "the runtime".into(), source })?;
    runtime.block_on(verb(args))
}

async fn verb(args: &Args) -> Result<(), CliError> {
    // Analysis and comparison of files, and fits, need no store, doctor must answer even where the door does not open, and
    // a restore exchanges what is behind it.
    match &args.verb {
        Verb::Analyze(analyze) => return analyze::run(analyze, args.common.format),
        // A file is one even where a trial has its name.
        Verb::Compare(words) if words.file.exists() => return compare::run(words, args.common.format),
        Verb::Doctor => return doctor::run(&args.common).await,
        Verb::Manual(asked) => return manual::manual(asked),
        Verb::Completions(asked) => return manual::completions(asked),
        Verb::Man(asked) => return manual::man(asked),
        Verb::Access(verb) => return access::run(verb, &args.common),
        Verb::Store(store::Verb::Restore(restore)) => {
            return store::restore::run(restore, &args.common).await;
        }
        Verb::Calibrate(calibrate::Verb::Fit(fit)) => return calibrate::fit::run(fit, args.common.format),
        Verb::Export(export::Verb::Captures(captures)) => {
            return export::run_captures(captures, args.common.format).await;
        }
        Verb::Rig(_) | Verb::Calibrate(_) | Verb::Setup(_) | Verb::Runs(_) => {}
        Verb::Trial(_) | Verb::Compare(_) | Verb::Accept(_) | Verb::History(_) => {}
        Verb::Export(_) | Verb::Report(_) | Verb::Forward(_) | Verb::Store(_) => {}
    }
    let context = Context {
        door: local::open_door(&args.common, fills_the_store(&args.verb)).await?,
        format: args.common.format,
    };
    let done = match &args.verb {
        Verb::Rig(verb) => rig::run(verb, &context).await,
        Verb::Calibrate(verb) => calibrate::run(verb, &context).await,
        Verb::Setup(verb) => setup::run(verb, &context).await,
        Verb::Runs(verb) => runs::run(verb, &context).await,
        Verb::Export(verb) => export::run(verb, &context).await,
        Verb::Report(report) => report::run(report, &context).await,
        Verb::Forward(verb) => forward::run(verb, &context).await,
        Verb::Store(verb) => store::run(verb, &context).await,
        Verb::Trial(verb) => trial::run(verb, &context).await,
        Verb::Compare(words) => compare::run_trial(words, &context).await,
        Verb::Accept(accept) => judge::accept(accept, &context).await,
        Verb::History(history) => judge::history(history, &context).await,
        Verb::Analyze(_) | Verb::Access(_) | Verb::Doctor => Ok(()),
        Verb::Manual(_) | Verb::Completions(_) | Verb::Man(_) => Ok(()),
    };
    let in_process = !context.door.is_daemon();
    context.door.close();
    done?;
    // The store must be closed: shrinking needs it for itself.
    match &args.verb {
        Verb::Store(store::Verb::Prune(prune)) if prune.shrink && in_process => {
            Ok(boltscribe_store::shrink(&Place::find(&args.common)?.folder)?)
        }
        _ => Ok(()),
    }
}

/// Whether a verb puts something into the store that a daemon may start from.
const fn fills_the_store(verb: &Verb) -> bool {
    match verb {
        Verb::Setup(verb) => verb.fills_the_shelf(),
        Verb::Calibrate(verb) => verb.fills_the_store(),
        Verb::Runs(verb) => verb.fills_the_store(),
        Verb::Trial(verb) => verb.fills_the_store(),
        Verb::Rig(_) | Verb::Export(_) | Verb::Report(_) | Verb::Forward(_) | Verb::Store(_) => false,
        Verb::Accept(_) | Verb::History(_) => false,
        Verb::Analyze(_) | Verb::Access(_) | Verb::Compare(_) | Verb::Doctor => false,
        Verb::Manual(_) | Verb::Completions(_) | Verb::Man(_) => false,
    }
}
