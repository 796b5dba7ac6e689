//! The project's own commands: `cargo demo`, `cargo verify`, `cargo xtask tidy`, `cargo xtask bench`,
//! `cargo xtask honesty`, `cargo xtask truth`, `cargo xtask sensitivity`, `cargo xtask restarts`,
//! `cargo xtask page`, `cargo xtask openapi`.
//!
//! Standard library only, so that it compiles in a second on a fresh machine. Must not know how runs are
//! found: it starts the real programs and reads what they print.

mod bench;
mod demo;
mod error;
mod honesty;
mod openapi;
mod packages;
mod page;
mod python;
mod restarts;
mod sensitivity;
mod tidy;
mod tree;
mod truth;
mod verify;

use error::Failed;
use std::process::ExitCode;

const HELP: &str = "\
cargo demo [--once] [--by-hand] [--format table|json] [--speed N]
    a simulated rig, recorded by the real daemon over a pseudo-terminal, with its page
cargo verify
    every check and test
cargo xtask tidy
    the rules of the house: imports, heads, sizes, what lies at the top
cargo xtask bench
    speed, size on disk and latency, as ratios from one run
cargo xtask honesty [TRIALS [PLAN]]
    how often limits, verdicts and acceptance are right, over simulated trials
cargo xtask truth [--cases N] [--seed S] [--family NAME] [--list] | --case ID [--write FILE]
    how often each figure of a run is right, null, told or untold, over two models of a rig
cargo xtask sensitivity [--cases N] [--seed S] [--only NAME[,NAME]] [--by PERCENT]
    what it does to these if a constant of the run finder is 20 % less or more; two builds for each
cargo xtask restarts [N [SEED]]
    the daemon killed and stopped at random moments while the tool drives, N times
cargo xtask page [--test]
    builds the page that the daemon serves; tests it in a browser
cargo xtask openapi
    the document of the interface, without a daemon, and the page's types of its answers
cargo xtask python FILE
    the Python that has the packages of a list; made where it is not there yet";

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let rest = words.get(1..).unwrap_or(&[]);
    let result = match words.first().map(String::as_str) {
        Some("demo") => demo::Options::parse(rest).and_then(|o| demo::run(&o)),
        Some("verify") => verify::run(),
        Some("tidy") => tidy::run(),
        Some("bench") => bench::run(rest),
        Some("honesty") => honesty::run(rest),
        Some("truth") => truth::run(rest),
        Some("sensitivity") => sensitivity::run(rest),
        Some("restarts") => restarts::run(rest),
        Some("page") => page::run(rest),
        Some("openapi") => openapi::run(rest),
        Some("python") => python::run(rest),
        None | Some("help" | "--help" | "-h") => {
            println!("{HELP}");
            Ok(())
        }
        Some(other) => Err(Failed::usage(format!(
            "expected demo, verify, tidy, bench, honesty, truth, sensitivity, restarts, page, openapi or python, found '{other}'"
        ))),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(failed) => {
            eprintln!("error: {}", failed.what);
            ExitCode::from(failed.code)
        }
    }
}
