//! `cargo xtask bench`: figures as ratios from one run, against what is to be reached.
//!
//! Builds and runs the bench programs of tools/bench one after the other in the release profile, reads the
//! figures they print and puts them beside each other. It measures nothing itself. Exit code 1 where a
//! figure to be reached was not.

mod figures;
mod script;

use crate::error::Failed;
use crate::tree::cargo;
use figures::Figures;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

/// The benches by the names of their cargo targets, in the order in which they run.
const BENCHES: [&str; 4] = ["pipeline", "disk", "line", "latency"];

/// Runs the named benches, or all of them.
pub fn run(words: &[String]) -> Result<(), Failed> {
    if let Some(unknown) = words.iter().find(|word| !BENCHES.contains(&word.as_str())) {
        let names = BENCHES.join(", ");
        return Err(Failed::usage(format!("expected names of benches ({names}) or none, found '{unknown}'")));
    }
    let chosen = |name: &str| words.is_empty() || words.iter().any(|word| word == name);
    let machine = machine();
    println!("{machine}");
    let beside = if chosen("line") { script::ready()? } else { Vec::new() };
    let mut figures = Figures::default();
    for name in BENCHES.into_iter().filter(|name| chosen(name)) {
        let mut command = cargo();
        command.args(["bench", "--quiet", "--locked", "--package", "boltscribe", "--bench", name, "--"]);
        if name == "line" {
            command.args(&beside);
        }
        println!("\n== {name}");
        bench(&mut command, &mut figures)?;
    }
    println!("\nbefore: {machine}\nafter:  {}\n", self::machine());
    print!("{}", figures.table());
    let missed = figures.missed();
    if missed.is_empty() {
        return Ok(());
    }
    Err(Failed::no(format!("not reached: {}", missed.join(", "))))
}

/// Runs one bench, passing on what it prints but for the lines of figures.
fn bench(command: &mut Command, figures: &mut Figures) -> Result<(), Failed> {
    let mut child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|error| Failed::io("start cargo", error))?;
    if let Some(out) = child.stdout.take() {
        for line in BufReader::new(out).lines() {
            let line = line.map_err(|error| Failed::io("read a bench's output", error))?;
            if !figures.take(&line) {
                println!("{line}");
            }
        }
    }
    let status = child.wait().map_err(|error| Failed::io("wait for cargo", error))?;
    if status.success() { Ok(()) } else { Err(Failed::no(format!("a bench ended with {status}"))) }
}

/// What the figures depend on: the machine and what else it does.
fn machine() -> String {
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    let load: Vec<&str> = load.split(' ').take(3).collect();
    format!(
        "machine: {} {}, {cores} cores, load {}",
        std::env::consts::OS,
        std::env::consts::ARCH,
        load.join(" ")
    )
}
