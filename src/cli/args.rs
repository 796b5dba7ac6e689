//! The command line as typed: verbs, options and the examples that open each help page.
//!
//! One way to do a thing. Checking what belongs together is the verbs' work; this file only says
//! what may be typed. Design of the words: the manual, "The commands".

use super::output::Format;
use super::shown::Units;
use super::{
    access, analyze, calibrate, compare, export, forward, judge, manual, report, rig, runs, setup, store,
    trial,
};
use clap::{Parser, Subcommand};
use std::path::PathBuf;

const EXAMPLES: &str = "Examples:
  boltscribe rig ports                               which serial ports there are, and may be used
  boltscribe rig add                                 add a rig, guided
  boltscribe rig watch                               follow the rigs live
  boltscribe setup use \"ext 75\" --tool wrench-1 --bolt m20-a --battery b3 --fresh
  boltscribe runs list --last 10
  boltscribe runs show 42                            every figure, and the trace drawn
  boltscribe export runs --out runs.csv
";

/// Exit codes, told at the end of the help.
const EXIT_CODES: &str = "Exit codes: 0 done; 1 the answer is no; 2 wrong usage or settings; 3 IO";

/// Talks to a running boltscribed, or to its store when none runs.
#[derive(Debug, Parser)]
#[command(
    name = "boltscribe",
    version,
    before_help = EXAMPLES,
    after_help = EXIT_CODES,
    arg_required_else_help = true,
    propagate_version = true
)]
pub struct Args {
    #[command(flatten)]
    /// Options that stand before or after any verb.
    pub common: Common,
    /// What to do.
    #[command(subcommand)]
    pub verb: Verb,
}

/// Options of every verb.
#[derive(Clone, Debug, clap::Args)]
pub struct Common {
    /// Settings file; it names the store, and so the daemon.
    #[arg(long, global = true, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder of the store, or a copy of its database (a file), which is opened read-only.
    #[arg(long, global = true, value_name = "PATH")]
    pub store: Option<PathBuf>,
    /// How data is written.
    #[arg(long, global = true, value_enum, default_value_t)]
    pub format: Format,
    /// Units of tables; JSON and CSV keep those of their names.
    #[arg(long, global = true, value_enum, default_value_t)]
    pub units: Units,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Ports, zero and the live readings of the rigs.
    #[command(subcommand)]
    Rig(rig::Verb),
    /// Which line turns counts into tension.
    #[command(subcommand)]
    Calibrate(calibrate::Verb),
    /// Pieces, chains, tools, sources and test bolts, and what is in force.
    #[command(subcommand)]
    Setup(setup::Verb),
    /// What was measured, and corrections to it.
    #[command(subcommand)]
    Runs(runs::Verb),
    /// Planned comparisons: plan, next step, ready.
    #[command(subcommand)]
    Trial(trial::Verb),
    /// Runs, blows, samples and recordings into files.
    #[command(subcommand)]
    Export(export::Verb),
    /// One self-contained HTML file, to be printed or mailed.
    #[command(
        before_help = "Examples:\n  boltscribe report couplings --out couplings.html --customer 'an invented depot'\n  boltscribe --units lbf report couplings --out couplings.html"
    )]
    Report(report::Report),
    /// Find and measure the runs of a trace or a recording.
    Analyze(analyze::Args),
    /// What each setup gives in percent of a baseline, and whether the difference is real.
    Compare(compare::Args),
    /// Whether a tool meets a limit, with the uncertainty counted; exit 1 when it does not, or cannot be said.
    Accept(judge::Accept),
    /// How a tool has been: a chart of its runs.
    History(judge::History),
    /// What is still to reach a central store that many rigs share.
    #[command(subcommand)]
    Forward(forward::Verb),
    /// The database itself.
    #[command(subcommand)]
    Store(store::Verb),
    /// Who may use the page from other machines.
    #[command(subcommand)]
    Access(access::Verb),
    /// All that a bug report needs; exit 1 when something is wrong.
    #[command(
        before_help = "Examples:\n  boltscribe doctor\n  boltscribe --format json doctor > report.json"
    )]
    Doctor,
    /// The manual: its chapters, one of them, or where some words stand.
    #[command(
        before_help = "Examples:\n  boltscribe manual\n  boltscribe manual trial | less\n  boltscribe manual --find 'end-unsure'"
    )]
    Manual(manual::Manual),
    /// Completions for a shell, on standard output.
    #[command(
        before_help = "Example:\n  boltscribe completions bash > ~/.local/share/bash-completion/completions/boltscribe"
    )]
    Completions(manual::Completions),
    /// Manual pages of all commands, into a folder.
    #[command(before_help = "Example:\n  boltscribe man --into ~/.local/share/man/man1")]
    Man(manual::Man),
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_well_formed() {
        Args::command().debug_assert();
    }

    #[test]
    fn help_opens_with_examples() {
        let help = Args::command().render_long_help().to_string();
        assert!(help.starts_with("Examples:"), "{help}");
    }
}
