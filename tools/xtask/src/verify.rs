//! `cargo verify`: every check and test, one after the other, all of them even if one fails.
//!
//! Everything the tests need is in the Rust toolchain and the crates of the lock file, but for a time-series
//! server and a Python environment, which are installed or made where they are missing. The last lines sum the comparisons with published values
//! and the tests of all programs.

use crate::error::Failed;
use crate::tree::{cargo, root};
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};
use std::time::Instant;

/// Program and Debian package.
const SERVER: &str = "victoria-metrics";
/// With everything that can be built in; the demo is built without, as people build it.
const FEATURES: &str = "boltscribe/parquet";
const LINT: [&str; 9] =
    ["clippy", "--workspace", "--all-targets", "--features", FEATURES, "--locked", "--", "-D", "warnings"];
const TEST: [&str; 6] = ["test", "--workspace", "--features", FEATURES, "--locked", "--no-fail-fast"];

/// Tests counted from cargo's own words.
#[derive(Default)]
struct Tally {
    passed: u64,
    failed: u64,
    ignored: u64,
    outside: u64,
}

/// What a test writes when it has held results against published values; the count stands behind it.
const OUTSIDE: &str = "outside checks: ";

struct Done {
    name: &'static str,
    ok: bool,
    seconds: f64,
}

/// Runs all steps.
#[allow(clippy::disallowed_methods, reason = "how long a step took is shown, nothing hangs on it")]
pub fn run() -> Result<(), Failed> {
    let steps: [(&'static str, &[&str]); 5] = [
        ("format", &["fmt", "--all", "--check"]),
        ("lint", &LINT),
        ("tidy", &["run", "--quiet", "--locked", "--package", "xtask", "--", "tidy"]),
        ("test", &TEST),
        (
            "demo",
            &["run", "--quiet", "--locked", "--package", "xtask", "--", "demo", "--once", "--all-features"],
        ),
    ];
    install_server();
    let mut tally = Tally::default();
    let mut done = Vec::new();
    for (name, words) in steps {
        println!("\n== {name}: cargo {}", words.join(" "));
        let began = Instant::now();
        let ok = step(cargo().args(words), &mut tally)?;
        done.push(Done { name, ok, seconds: began.elapsed().as_secs_f64() });
    }
    println!();
    for d in &done {
        println!("{:<8} {:<6} {:>6.1} s", d.name, if d.ok { "ok" } else { "FAILED" }, d.seconds);
    }
    if tally.ignored > 0 {
        println!("{} tests were ignored", tally.ignored);
    }
    println!("outside checks: {} (comparisons with published values)", tally.outside);
    println!("{} passed, {} failed", tally.passed, tally.failed);
    let failed: Vec<&str> = done.iter().filter(|d| !d.ok).map(|d| d.name).collect();
    if failed.is_empty() && tally.failed == 0 && tally.passed > 0 {
        return Ok(());
    }
    Err(Failed::no(format!("failed: {}", failed.join(", "))))
}

/// Installs the time-series server that forwarding is tested with, where it is missing. What does not work
/// here is told by the tests that need it, so nothing stops.
fn install_server() {
    let found = |program: &str| {
        let paths = std::env::var_os("PATH").unwrap_or_default();
        std::env::split_paths(&paths).any(|folder| folder.join(program).is_file())
    };
    if found(SERVER) {
        return;
    }
    println!("\n== install: {SERVER}, for the tests of forwarding");
    let install = ["install", "-y", "--no-install-recommends", SERVER];
    for words in [&["update"][..], &install] {
        let done = Command::new("apt-get")
            .args(words)
            .env("DEBIAN_FRONTEND", "noninteractive")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .status();
        if !done.is_ok_and(|status| status.success()) {
            println!("apt-get {} did not work", words.join(" "));
        }
    }
}

/// Runs one step, passing its output on and counting tests.
fn step(command: &mut Command, tally: &mut Tally) -> Result<bool, Failed> {
    let mut child = command
        .current_dir(root())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|e| Failed::io("start cargo", e))?;
    if let Some(out) = child.stdout.take() {
        let mut mine = std::io::stdout().lock();
        for line in BufReader::new(out).lines() {
            let line = line.map_err(|e| Failed::io("read cargo's output", e))?;
            tally.line(&line);
            writeln!(mine, "{line}").map_err(|e| Failed::io("print", e))?;
        }
    }
    let status = child.wait().map_err(|e| Failed::io("wait for cargo", e))?;
    Ok(status.success())
}

impl Tally {
    /// `test result: ok. 3 passed; 0 failed; 0 ignored; ...` and `outside checks: 24 (source)`, which may
    /// stand behind other words when tests write at once.
    fn line(&mut self, line: &str) {
        for after in line.split(OUTSIDE).skip(1) {
            let digits: String = after.chars().take_while(char::is_ascii_digit).collect();
            self.outside += digits.parse::<u64>().unwrap_or(0);
        }
        let Some(rest) = line.strip_prefix("test result: ") else { return };
        for part in rest.split([';', '.']) {
            let mut words = part.split_whitespace();
            if let (Some(Ok(n)), Some(what)) = (words.next().map(str::parse::<u64>), words.next()) {
                match what {
                    "passed" => self.passed += n,
                    "failed" => self.failed += n,
                    "ignored" => self.ignored += n,
                    _ => {}
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tests_are_counted_from_cargos_line() {
        let mut t = Tally::default();
        t.line("test result: FAILED. 3 passed; 1 failed; 2 ignored; 0 measured; 0 filtered out; finished in 0.01s");
        t.line(
            "test result: ok. 4 passed; 0 failed; 0 ignored; 0 measured; 0 filtered out; finished in 0.01s",
        );
        t.line("running 4 tests");
        assert_eq!((t.passed, t.failed, t.ignored), (7, 1, 2));
    }

    #[test]
    fn outside_checks_are_summed_wherever_they_stand_in_a_line() {
        let mut t = Tally::default();
        t.line("outside checks: 24 (a table)");
        t.line("test a_table_is_met ... outside checks: 3 (another)");
        t.line("outside checks: many");
        assert_eq!((t.outside, t.passed), (27, 0));
    }
}
