//! From a blow's bytes on the line to its event at the API, and what the daemon costs meanwhile.
//!
//! A device at 2,000 samples/s in real time, one frame each millisecond. The same frames are pushed through
//! a pipeline here, which tells after which frame each blow can be known at all: latency is counted from
//! the moment the line was about to take that frame's last byte, and once more from the blow's onset.
#![allow(clippy::print_stdout)] // A bench prints.
#![allow(clippy::disallowed_methods)] // A bench has a clock.
#![allow(dead_code)] // Not every bench uses all that is shared.

mod common;

use boltscribe::pipeline::{Event, Input, LinkState, Output, Pipeline, Settings};
use boltscribe::time::MonoNs;
use boltscribe::{constants, frames, runs, samples};
use common::api;
use common::daemon::Daemon;
use common::feed::Feed;
use common::figure::{Outcome, expect, figure, quantile};
use common::kernel::{cpu_s, memory_mib};
use common::line::Line;
use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// Samples a second.
const RATE_HZ: u32 = 2000;
/// Length of the measurement, seconds: about a thousand blows.
const LENGTH_S: usize = 120;
/// Corner of the low-pass of the daemon's defaults, hertz.
const CORNER_HZ: f64 = 200.0;

/// A blow by its run and the bits of its onset in seconds.
type Blow = (u64, u64);

/// When a blow can be known: the number of the frame, of the one that holds its onset, and whether its run
/// was known before.
struct Known {
    frame: usize,
    onset: usize,
    in_run: bool,
}

fn main() -> Outcome<()> {
    // A tenth of real time makes frames of two samples; they are sent in real time all the same.
    let feed = Feed::make(RATE_HZ, 0.1, LENGTH_S * RATE_HZ as usize)?;
    let known = known(&feed)?;
    let mut daemon = Daemon::start(&feed, RATE_HZ)?;
    let mut line = Line::open(&daemon.link(), &feed)?;
    let news = listen(daemon.socket());
    line.wait_for_start(&feed)?;
    let (cpu, began, early) = (cpu_s(daemon.pid())?, Instant::now(), memory_mib(daemon.pid(), "VmRSS")?);
    let mut sent = vec![began; feed.ends.len()];
    let frames_hz = f64::from(RATE_HZ) / feed.samples_a_frame as f64;
    line.send(&feed, Some(frames_hz), |frame, at| sent[frame] = at)?;
    let (wall_s, cpu_s) = (began.elapsed().as_secs_f64(), cpu_s(daemon.pid())? - cpu);
    let memory = memory_mib(daemon.pid(), "VmRSS")?;
    daemon.wait_for(&feed)?;
    let worst = daemon.check(&feed)?;
    println!(
        "latency: {} samples in {wall_s:.1} s, frames of {} samples; {} runs, held within {worst:.3} % of what \
         was played; one reader of the feed",
        feed.samples(),
        feed.samples_a_frame,
        feed.truth.len()
    );
    figure("daemon-1ms-frames-cores", cpu_s / wall_s, "cores");
    figure("daemon-1ms-frames-memory", memory, "MiB");
    println!("memory after the first second {early:.1} MiB, at the end {memory:.1} MiB");
    tell(&known, &sent, &seen(&news))?;
    daemon.stop()
}

/// Prints the latencies of all blows.
fn tell(known: &HashMap<Blow, Known>, sent: &[Instant], seen: &[(Blow, Instant)]) -> Outcome<()> {
    let (mut way, mut whole, mut late) = (Vec::new(), Vec::new(), Vec::new());
    for (blow, at) in seen {
        let Some(known) = known.get(blow) else {
            return Err(
                format!("the daemon told of a blow that the pipeline here did not see: {blow:?}").into()
            );
        };
        let ms = |from: usize| at.saturating_duration_since(sent[from]).as_secs_f64() * 1000.0;
        way.push(ms(known.frame));
        // The first blows of a run are told once it is sure that there is one, which takes 0.1 s.
        if known.in_run {
            whole.push(ms(known.onset));
        } else {
            late.push(ms(known.onset));
        }
    }
    expect(seen.len() == known.len(), || format!("{} blows known, {} told", known.len(), seen.len()))?;
    println!("{} blows told, {} of them while their run was not yet sure", seen.len(), late.len());
    figure("latency-blows", seen.len() as f64, "blows");
    let delay_ms = 2.613 / (std::f64::consts::TAU * CORNER_HZ) * 1000.0;
    println!("delay of the low-pass at {CORNER_HZ} Hz: {delay_ms:.2} ms");
    for (name, values) in [("last-byte", &way), ("onset", &whole), ("onset-unsure", &late)] {
        for (word, p) in [("p50", 0.5), ("p99", 0.99), ("max", 1.0)] {
            if let Some(ms) = quantile(values, p) {
                figure(&format!("latency-{name}-{word}"), ms, "ms");
            }
        }
    }
    if let Some(ms) = quantile(&whole, 0.99) {
        figure("latency-onset-beyond-filter-p99", ms - delay_ms, "ms");
    }
    Ok(())
}

/// After which frame each blow can be known.
fn known(feed: &Feed) -> Outcome<HashMap<Blow, Known>> {
    let rig = &feed.scenario.rig;
    let calibration = constants::Calibration {
        id: "invented".to_owned(),
        coefficients_kn: vec![0.0, 1.0 / rig.counts_per_kn],
        nominal: true,
        range_kn: Some(rig.range_kn),
    };
    let mut pipeline = Pipeline::new(Settings {
        instrument: frames::Settings::Framed,
        samples: samples::Settings { rate_hz: Some(f64::from(RATE_HZ)), ..Default::default() },
        runs: runs::Settings { range_kn: Some(rig.range_kn), ..Default::default() },
        calibration: Some(calibration),
    })?;
    let (mut known, mut out, mut from) = (HashMap::new(), Vec::new(), 0);
    pipeline.push_into(Input::Link { at: MonoNs(0), state: LinkState::Up }, &mut out);
    pipeline.push_into(Input::Bytes { at: MonoNs(0), bytes: &feed.identity }, &mut out);
    for (frame, until) in feed.ends.iter().enumerate() {
        let at = MonoNs((frame * feed.samples_a_frame) as u64 * 1_000_000_000 / u64::from(RATE_HZ));
        pipeline.push_into(Input::Bytes { at, bytes: &feed.bytes[from..*until] }, &mut out);
        from = *until;
        let starts = out.iter().any(|output| matches!(output, Output::Event(Event::Started { .. })));
        for output in out.drain(..) {
            if let Output::Event(Event::Blow { run_seq, at_s }) = output {
                let onset = (at_s * f64::from(RATE_HZ)).round() as usize / feed.samples_a_frame;
                let known_now = Known { frame, onset, in_run: !starts };
                known.insert((u64::from(run_seq), at_s.to_bits()), known_now);
            }
        }
    }
    Ok(known)
}

/// Reads the feed of events on a thread of its own.
fn listen(socket: PathBuf) -> Receiver<(Blow, Instant)> {
    let (to, from) = channel();
    std::thread::spawn(move || {
        // The feed ends with the daemon; whoever counts the blows notices one that is cut short.
        let _ = api::events(&socket, |message| {
            let now = Instant::now();
            let blow = message["event"] == "blow";
            let at = message["run_seq"].as_u64().zip(message["at_s"].as_f64()).filter(|_| blow);
            at.is_none_or(|(run, at_s)| to.send(((run, at_s.to_bits()), now)).is_ok())
        });
    });
    from
}

/// All blows that were told until none came for a while.
fn seen(news: &Receiver<(Blow, Instant)>) -> Vec<(Blow, Instant)> {
    std::iter::from_fn(|| news.recv_timeout(Duration::from_millis(500)).ok()).collect()
}
