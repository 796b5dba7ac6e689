//! The pipeline alone, in memory: from wire bytes to outputs on one core, and each room by itself.
//!
//! No line, no store, no other thread. Each part is done several times and the median of its processor
//! time counts; the outputs of the first and the last are compared.
#![allow(clippy::print_stdout)] // A bench prints.
#![allow(clippy::disallowed_methods)] // A bench has a clock.
#![allow(dead_code)] // Not every bench uses all that is shared.

mod common;

use boltscribe::frames::{self, Parser};
use boltscribe::pipeline::blocks::Blocks;
use boltscribe::pipeline::stream::Stream;
use boltscribe::pipeline::{Input, LinkState, Output, Pipeline, RunRow, Settings};
use boltscribe::runs::{Finder, Found, Timing};
use boltscribe::samples::{Assembler, Clock, Piece};
use boltscribe::tension::Converter;
use boltscribe::time::MonoNs;
use boltscribe::{constants, runs, samples};
use common::feed::{Feed, RATE_HZ};
use common::figure::{Outcome, expect, figure, quantile};
use common::kernel::thread_cpu_s;
use std::hint::black_box;

/// Samples of the feed.
const SAMPLES: usize = 10_000_000;
/// What a read of the port brings at most.
const READ_BYTES: usize = 65_536;
/// How often each part is done.
const TIMES: usize = 5;

fn main() -> Outcome<()> {
    let feed = Feed::make(RATE_HZ, 1000.0, SAMPLES)?;
    let counts = feed.counts(RATE_HZ);
    let settings = settings(&feed);
    let samples = feed.samples() as f64;
    println!(
        "pipeline: {samples} samples at {RATE_HZ} samples/s of device time, {} runs, frames of {} samples, \
         reads of {READ_BYTES} bytes, median of {TIMES}",
        feed.truth.len(),
        feed.samples_a_frame
    );
    let all = timed("wire-to-outputs", samples, || wire(&feed, &settings))?;
    expect(all >= feed.truth.len(), || format!("played {} runs, found {all}", feed.truth.len()))?;
    let found = timed("counts-to-outputs", samples, || from_counts(&counts, &settings))?;
    expect(found == all, || format!("{all} runs from bytes, {found} from counts"))?;
    timed("room-frames", samples, || parse(&feed))?;
    timed("room-frames-samples", samples, || assemble(&feed, &settings))?;
    timed("room-tension", samples, || convert(&counts, &settings))?;
    timed("room-tension-runs", samples, || find(&counts, &settings))?;
    timed("room-blocks", samples, || keep(&counts))?;
    Ok(())
}

fn settings(feed: &Feed) -> Settings {
    let rig = &feed.scenario.rig;
    Settings {
        instrument: frames::Settings::Framed,
        samples: samples::Settings { rate_hz: Some(f64::from(RATE_HZ)), ..Default::default() },
        runs: runs::Settings { range_kn: Some(rig.range_kn), ..Default::default() },
        calibration: Some(constants::Calibration {
            id: "invented".to_owned(),
            coefficients_kn: vec![0.0, 1.0 / rig.counts_per_kn],
            nominal: true,
            range_kn: Some(rig.range_kn),
        }),
    }
}

/// Does a part several times; every time must give the same number.
fn timed(name: &str, samples: f64, part: impl Fn() -> Outcome<usize>) -> Outcome<usize> {
    let (mut seconds, mut results) = (Vec::new(), Vec::new());
    for _ in 0..TIMES {
        let began = thread_cpu_s()?;
        results.push(black_box(part()?));
        seconds.push(thread_cpu_s()? - began);
    }
    results.dedup();
    let [result] = results[..] else {
        return Err(format!("{name}: expected one result, found {results:?}").into());
    };
    let rate = |p| quantile(&seconds, p).map_or(0.0, |s| samples / s / 1e6);
    println!(
        "{name}: {:.2} (slowest {:.2}, fastest {:.2}) Msamples/s a core",
        rate(0.5),
        rate(1.0),
        rate(0.0)
    );
    figure(&format!("pipeline-{name}"), rate(0.5), "Msamples/s/core");
    Ok(result)
}

fn announced(out: &mut Vec<Output>) -> usize {
    out.drain(..).filter(|output| matches!(output, Output::Run(RunRow::Announced(_)))).count()
}

/// Bytes as a port would bring them, with times to match.
fn reads(feed: &Feed) -> impl Iterator<Item = (MonoNs, &[u8])> {
    let bytes_a_second = feed.bytes.len() as f64 / (feed.samples() as f64 / f64::from(RATE_HZ));
    feed.bytes.chunks(READ_BYTES).enumerate().map(move |(i, bytes)| {
        let until = (i * READ_BYTES + bytes.len()) as f64;
        (MonoNs((until / bytes_a_second * 1e9) as u64), bytes)
    })
}

fn wire(feed: &Feed, settings: &Settings) -> Outcome<usize> {
    let mut pipeline = Pipeline::new(settings.clone())?;
    let (mut out, mut runs) = (Vec::new(), 0);
    pipeline.push_into(Input::Link { at: MonoNs(0), state: LinkState::Up }, &mut out);
    pipeline.push_into(Input::Bytes { at: MonoNs(0), bytes: &feed.identity }, &mut out);
    for (at, bytes) in reads(feed) {
        pipeline.push_into(Input::Bytes { at, bytes }, &mut out);
        runs += announced(&mut out);
    }
    pipeline.finish(&mut out);
    let counters = pipeline.counters();
    expect(counters.samples_used == feed.samples() as u64 && counters.samples_missing == 0, || {
        format!("expected {} samples used, found {counters:?}", feed.samples())
    })?;
    Ok(runs + announced(&mut out))
}

/// Samples of one read, as the other parts are handed them.
fn pieces(counts: &[i32]) -> impl Iterator<Item = &[i32]> {
    counts.chunks(boltscribe_wire::MAX_SAMPLES_24)
}

fn from_counts(counts: &[i32], settings: &Settings) -> Outcome<usize> {
    let mut stream = Stream::new(settings.clone())?;
    let (mut out, mut runs, mut done) = (Vec::new(), 0, 0);
    let rate = Piece::Rate { rate_hz: f64::from(RATE_HZ), clock: Clock::Device };
    stream.piece(MonoNs(0), rate, &mut out);
    for counts in pieces(counts) {
        done += counts.len() as u64;
        let at = MonoNs(done * 1_000_000_000 / u64::from(RATE_HZ));
        stream.set_now(at);
        stream.piece(at, Piece::Counts { counts, saturated: false }, &mut out);
        stream.after_bytes(at, &mut out);
        runs += announced(&mut out);
    }
    stream.finish(&mut out);
    Ok(runs + announced(&mut out))
}

fn parse(feed: &Feed) -> Outcome<usize> {
    let mut parser = Parser::new(&frames::Settings::Framed)?;
    let mut items = 0;
    for (_, bytes) in reads(feed) {
        parser.push(bytes, &mut |item| items += usize::from(matches!(item, frames::Item::Frame(_))));
    }
    Ok(items)
}

fn assemble(feed: &Feed, settings: &Settings) -> Outcome<usize> {
    let mut parser = Parser::new(&settings.instrument)?;
    let mut assembler = Assembler::new(&settings.instrument, &settings.samples);
    let mut samples = 0;
    let reads = std::iter::once((MonoNs(0), &feed.identity[..])).chain(reads(feed));
    for (at, bytes) in reads {
        parser.push(bytes, &mut |item| {
            let frames::Item::Frame(frame) = item else { return };
            assembler.push(at, &frame, true, false, &mut |piece| {
                if let Piece::Counts { counts, .. } = piece {
                    samples += counts.len();
                }
            });
        });
    }
    Ok(samples)
}

fn convert(counts: &[i32], settings: &Settings) -> Outcome<usize> {
    let calibration = settings.calibration.as_ref().ok_or("no calibration")?;
    let converter = Converter::new(calibration)?;
    let (mut tension, mut clipped, mut positive) = (Vec::new(), Vec::new(), 0);
    for counts in pieces(counts) {
        converter.convert(counts, &mut tension, &mut clipped);
        positive += usize::from(tension.first().is_some_and(|t| *t > 0.0));
    }
    Ok(positive)
}

fn find(counts: &[i32], settings: &Settings) -> Outcome<usize> {
    let calibration = settings.calibration.as_ref().ok_or("no calibration")?;
    let converter = Converter::new(calibration)?;
    let mut finder = Finder::new(settings.runs.clone(), f64::from(RATE_HZ), Timing::Device, 0, 0);
    let (mut tension, mut clipped, mut found, mut runs) = (Vec::new(), Vec::new(), Vec::new(), 0);
    for counts in pieces(counts) {
        converter.convert(counts, &mut tension, &mut clipped);
        finder.push(&tension, &clipped, &mut found);
        runs += found.drain(..).filter(|found| matches!(found, Found::Announced { .. })).count();
    }
    Ok(runs)
}

fn keep(counts: &[i32]) -> Outcome<usize> {
    let mut blocks = Blocks::new(f64::from(RATE_HZ), 0);
    let (mut out, mut kept) = (Vec::new(), 0);
    for counts in pieces(counts) {
        blocks.push(counts, &mut out);
        kept += out.drain(..).count();
    }
    Ok(kept)
}
