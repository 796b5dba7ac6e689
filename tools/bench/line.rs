//! Bytes on a pseudo-terminal to runs in the store: the real daemon, and beside it a script that reads the
//! same samples as packed 32-bit counts, and as lines of text.
//!
//! What is sent is made beforehand. Processor time is the reader's own, from the first byte until the last
//! run is stored. Arguments: the Python program and the script; without them only the daemon is measured.
#![allow(clippy::print_stdout)] // A bench prints.
#![allow(clippy::disallowed_methods)] // A bench has a clock.
#![allow(dead_code)] // Not every bench uses all that is shared.

mod common;

use common::daemon::Daemon;
use common::feed::{Feed, RATE_HZ};
use common::figure::{Outcome, expect, figure};
use common::kernel::{cpu_s, memory_mib};
use common::line::Line;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// Samples sent at the stated pace: 20 s of it.
const PACED_SAMPLES: usize = 20_000_000;
/// Samples a second of the paced part.
const PACE_HZ: f64 = 1e6;
/// Samples sent as fast as the reader takes them.
const FLOOD_SAMPLES: usize = 20_000_000;
/// Samples sent as lines of text: reading line by line is slow.
const LINES_SAMPLES: usize = 200_000;

fn main() -> Outcome<()> {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let feed = Feed::make(RATE_HZ, PACE_HZ / f64::from(RATE_HZ), PACED_SAMPLES)?;
    let frames_hz = PACE_HZ / feed.samples_a_frame as f64;
    daemon("paced", &feed, Some(frames_hz))?;
    let feed = Feed::make(RATE_HZ, 1000.0, FLOOD_SAMPLES)?;
    daemon("flood", &feed, None)?;
    if let [python, script] = &words[..] {
        let counts = feed.counts(RATE_HZ);
        let packed: Vec<u8> = counts.iter().flat_map(|count| count.to_le_bytes()).collect();
        reader(python, script, "packed", &feed, &packed, counts.len())?;
        let lines: String = counts[..LINES_SAMPLES].iter().map(|count| format!("{count}\n")).collect();
        reader(python, script, "lines", &feed, lines.as_bytes(), LINES_SAMPLES)?;
    }
    Ok(())
}

/// Sends a feed to the daemon and accounts for it.
fn daemon(name: &str, feed: &Feed, frames_hz: Option<f64>) -> Outcome<()> {
    let mut daemon = Daemon::start(feed, RATE_HZ)?;
    let mut line = Line::open(&daemon.link(), feed)?;
    line.wait_for_start(feed)?;
    let (cpu, began) = (cpu_s(daemon.pid())?, Instant::now());
    line.send(feed, frames_hz, |_, _| {})?;
    let sent_s = began.elapsed().as_secs_f64();
    daemon.wait_for(feed)?;
    let (wall_s, cpu_s) = (began.elapsed().as_secs_f64(), cpu_s(daemon.pid())? - cpu);
    let worst = daemon.check(feed)?;
    let (samples, runs) = (feed.samples() as f64, feed.truth.len());
    println!(
        "daemon, {name}: {samples} samples in {wall_s:.2} s (sent in {sent_s:.2} s), {cpu_s:.2} s of processor \
         time; nothing lost; {runs} runs stored, held tension within {worst:.3} % of what was played"
    );
    figure(&format!("daemon-{name}-rate"), samples / wall_s / 1e6, "Msamples/s");
    figure(&format!("daemon-{name}-cores"), cpu_s / wall_s, "cores");
    figure(&format!("daemon-{name}-a-core"), samples / cpu_s / 1e6, "Msamples/s/core");
    figure(&format!("daemon-{name}-memory"), memory_mib(daemon.pid(), "VmHWM")?, "MiB");
    daemon.stop()?;
    stored(name, feed, &daemon.store())
}

/// Bytes of the raw samples in the store, against the entropy of the noise in them.
fn stored(name: &str, feed: &Feed, store: &Path) -> Outcome<()> {
    let connection = rusqlite::Connection::open(store)?;
    let sql = "SELECT SUM(samples), SUM(LENGTH(counts)) FROM blocks";
    let (samples, bytes): (i64, i64) = connection.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let each = bytes as f64 / samples as f64;
    let sd = feed.scenario.rig.noise_kn * feed.scenario.rig.counts_per_kn;
    let bound = common::entropy::bits(sd) / 8.0;
    println!(
        "raw samples of whole runs, {name}: {samples} samples, {each:.4} bytes each; noise of {sd} counts alone \
         needs {bound:.4}"
    );
    figure(&format!("daemon-{name}-stored"), each / bound, "of-the-noise-bound");
    Ok(())
}

/// Pours samples to the script.
fn reader(python: &str, script: &str, mode: &str, feed: &Feed, bytes: &[u8], samples: usize) -> Outcome<()> {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR"))?;
    let link = folder.path().join("port");
    let mut line = Line::open(&link, feed)?;
    let rig = &feed.scenario.rig;
    let mut child = Command::new(python)
        .arg(script)
        .arg(&link)
        .args([mode, &samples.to_string(), &RATE_HZ.to_string(), &rig.counts_per_kn.to_string()])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()?;
    let mut said = BufReader::new(child.stdout.take().ok_or("no output of the script")?).lines();
    let ready = said.next().transpose()?.unwrap_or_default();
    expect(ready == "ready", || format!("expected 'ready' of the script, found '{ready}'"))?;
    let (cpu, began) = (cpu_s(child.id())?, Instant::now());
    line.pour(bytes)?;
    let answer = said.next().transpose()?.unwrap_or_default();
    let (wall_s, cpu_s) = (began.elapsed().as_secs_f64(), cpu_s(child.id())? - cpu);
    drop(line);
    child.kill()?;
    child.wait()?;
    let runs = answer.strip_prefix("runs ").and_then(|text| text.parse::<usize>().ok());
    let runs = runs.ok_or_else(|| format!("expected the runs of the script, found '{answer}'"))?;
    if mode == "packed" {
        // One run may be under way at the end of the feed.
        let played = feed.truth.len();
        expect(runs == played || runs == played + 1, || format!("played {played} runs, the script {runs}"))?;
    }
    println!(
        "script, {mode}: {samples} samples in {wall_s:.2} s, {cpu_s:.2} s of processor time; {runs} runs"
    );
    figure(&format!("script-{mode}-rate"), samples as f64 / wall_s / 1e6, "Msamples/s");
    figure(&format!("script-{mode}-cores"), cpu_s / wall_s, "cores");
    figure(&format!("script-{mode}-a-core"), samples as f64 / cpu_s / 1e6, "Msamples/s/core");
    Ok(())
}
