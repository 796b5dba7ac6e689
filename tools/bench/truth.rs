//! How often each figure of a run is right, null, told or untold, over both models of a rig.
//!
//! `cargo xtask truth [--cases N] [--seed S] [--family NAME] [--list]` runs it; `--case ID` plays one case and
//! shows measured beside true, `--write FILE` puts its samples there. *Told*: wrong, but a flag leaves it out;
//! *untold*: wrong, and it counts. The seed is taken from the clock unless given. Ends with 1 where more is untold
//! than promised.
#![allow(clippy::print_stdout)] // A bench prints.
#![allow(clippy::print_stderr)]
#![allow(clippy::disallowed_methods)] // A fresh seed comes from the clock.

#[path = "truth/judge.rs"]
mod judge;
#[path = "truth/matching.rs"]
mod matching;
#[path = "truth/measured.rs"]
mod measured;
#[path = "truth/options.rs"]
mod options;
#[path = "truth/promise.rs"]
mod promise;
#[path = "truth/tables.rs"]
mod tables;
#[path = "truth/trace.rs"]
mod trace;

use judge::Verdict;
use options::Options;
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use trace::Id;

/// The machine that this is run on has two cores.
const THREADS: usize = 2;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let options = match Options::parse(&words) {
        Ok(options) => options,
        Err(why) => {
            eprintln!("error: {why}");
            return ExitCode::from(2);
        }
    };
    if let Some(id) = options.case {
        return show(id, options.write.as_deref());
    }
    let ids = trace::campaign(options.seed, options.cases, options.family.as_deref());
    println!("seed {}, {} cases\n", options.seed, ids.len());
    let verdicts = judged(&ids);
    tables::print(&verdicts);
    if options.list {
        tables::list(&verdicts);
    }
    let broken = promise::broken(&verdicts);
    for line in &broken {
        println!("NOT KEPT: {line}");
    }
    if broken.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Verdicts on all cases, in their order.
fn judged(ids: &[Id]) -> Vec<Verdict> {
    let next = AtomicUsize::new(0);
    let mut numbered: Vec<(usize, Vec<Verdict>)> = std::thread::scope(|scope| {
        let work = || {
            let mut done = Vec::new();
            loop {
                let i = next.fetch_add(1, Ordering::Relaxed);
                let Some(id) = ids.get(i) else { return done };
                done.push((i, judge::judge(&trace::play(*id))));
            }
        };
        let running: Vec<_> = (0..THREADS).map(|_| scope.spawn(work)).collect();
        running.into_iter().flat_map(|thread| thread.join().unwrap_or_default()).collect()
    });
    numbered.sort_by_key(|(i, _)| *i);
    assert_eq!(numbered.len(), ids.len(), "a thread that judged cases has panicked");
    numbered.into_iter().flat_map(|(_, verdicts)| verdicts).collect()
}

fn show(id: Id, write: Option<&str>) -> ExitCode {
    let trace = trace::play(id);
    if let Some(path) = write
        && let Err(error) = trace.write(path)
    {
        eprintln!("error: cannot write the trace to {path}: {error}");
        return ExitCode::from(3);
    }
    tables::side_by_side(&trace);
    let verdicts = judge::judge(&trace);
    tables::list(&verdicts);
    ExitCode::SUCCESS
}
