//! `cargo verify`: every check and test, one after the other, all of them even if one fails.
//!
//! Everything the tests need is in the Rust toolchain and the crates of the lock file, but for a time-series
//! server, Node, a browser and a Python environment, which are installed or made where they are missing. The last
//! lines sum the comparisons with published values and the tests of all programs.

use crate::demo::STAGED;
use crate::error::Failed;
use crate::packages::{ensure, find};
use crate::tree::{cargo, root};
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};
use std::time::Instant;

/// Program and Debian package.
const SERVER: &str = "victoria-metrics";
/// Likewise.
const BROWSER: &str = "chromium";
/// With everything that can be built in.
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
    const XTASK: [&str; 6] = ["run", "--quiet", "--locked", "--package", "xtask", "--"];
    let xtask = |words: &[&'static str]| [&XTASK[..], words].concat();
    let (page, browser, tidy) = (xtask(&["page"]), xtask(&["page", "--test"]), xtask(&["tidy"]));
    let demo = xtask(&["demo", STAGED, "--once"]);
    let steps: [(&'static str, &[&str]); 7] = [
        ("format", &["fmt", "--all", "--check"]),
        // First, because the programs carry it.
        ("page", &page),
        ("lint", &LINT),
        ("tidy", &tidy),
        ("test", &TEST),
        // On the programs as the tests have built them, like the demo.
        ("browser", &browser),
        ("demo", &demo),
    ];
    install();
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

/// Installs what tests need, where it is missing. What does not work here is told by the tests that need it, so
/// nothing stops.
fn install() {
    ensure(SERVER, &[SERVER], "the tests of forwarding");
    if find("npm").is_none() || find("node").is_none() {
        ensure("npm", &["nodejs", "npm"], "the page");
    }
    ensure(BROWSER, &[BROWSER], "the tests of the page");
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
    /// `test result: ok. 3 passed; 0 failed; 0 ignored; ...`, node's `ℹ pass 3`, and `outside checks: 24 (source)`, which may
    /// stand behind other words when tests write at once.
    fn line(&mut self, line: &str) {
        for after in line.split(OUTSIDE).skip(1) {
            let digits: String = after.chars().take_while(char::is_ascii_digit).collect();
            self.outside += digits.parse::<u64>().unwrap_or(0);
        }
        if let Some((what, Ok(n))) = line
            .strip_prefix("ℹ ")
            .and_then(|said| said.split_once(' '))
            .map(|(what, n)| (what, n.parse::<u64>()))
        {
            match what {
                "pass" => self.passed += n,
                "fail" | "cancelled" => self.failed += n,
                "skipped" | "todo" => self.ignored += n,
                _ => {}
            }
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
        for line in
            ["ℹ tests 5", "ℹ pass 3", "ℹ fail 1", "ℹ cancelled 0", "ℹ skipped 1", "ℹ duration_ms 12.5"]
        {
            t.line(line);
        }
        assert_eq!((t.passed, t.failed, t.ignored), (10, 2, 3));
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
