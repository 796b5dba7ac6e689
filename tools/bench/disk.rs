//! Raw samples on disk: normal noise through the real store, in bytes a sample against the fewest possible.
//!
//! Runs of a usual length and of a great one; the packed blocks alone, and the growth of the whole file.
#![allow(clippy::print_stdout)] // A bench prints.
#![allow(clippy::disallowed_methods)] // A bench has a clock.
#![allow(dead_code)] // Not every bench uses all that is shared.

mod common;

use boltscribe::control::InForce;
use boltscribe::frames;
use boltscribe::pipeline::{Block, Settings};
use boltscribe::store::{Mode, STORE_NAME, Store, StreamId, Write, Written};
use common::entropy::bits;
use common::figure::{Outcome, expect, figure};
use virtual_rig::Stream;
use virtual_rig::stream::Pace;

/// Standard deviations of the noise, counts.
const SDS: [f64; 6] = [1.0, 4.0, 30.0, 100.0, 400.0, 2000.0];
/// Samples a second.
const RATE_HZ: f64 = 2000.0;
/// Samples a run and runs: 8 s, as a tightening takes with what is kept around it; and 130 s.
const LENGTHS: [(&str, usize, u32); 2] = [("usual", 16_000, 64), ("long", 262_144, 4)];

fn main() -> Outcome<()> {
    for (name, samples, runs) in LENGTHS {
        let (mut worst, mut worst_file) = (0.0_f64, 0.0_f64);
        for sd in SDS {
            let total = samples as f64 * f64::from(runs);
            let (blobs, file) = store(sd, samples, runs)?;
            let bound = bits(sd) / 8.0 * total;
            let (ratio, ratio_file) = (blobs / bound, file / bound);
            println!(
                "disk, {name}: {runs} runs of {samples} samples, noise of {sd} counts: {:.4} bytes a sample, \
                 bound {:.4}, ratio {ratio:.4}; file with tables and free pages {ratio_file:.4}",
                blobs / total,
                bound / total
            );
            (worst, worst_file) = (worst.max(ratio), worst_file.max(ratio_file));
        }
        figure(&format!("disk-{name}-worst"), worst, "of-the-bound");
        figure(&format!("disk-{name}-file-worst"), worst_file, "of-the-bound");
    }
    Ok(())
}

/// Stores runs of noise as the pipeline hands them over; gives the bytes of the packed blocks and of the
/// file's growth.
fn store(sd: f64, samples: usize, runs: u32) -> Outcome<(f64, f64)> {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR"))?;
    let file = folder.path().join(STORE_NAME);
    let store = Store::open(folder.path(), Mode::Create)?;
    let stream = begin(&store)?;
    store.close();
    let empty = std::fs::metadata(&file)?.len();
    let store = Store::open(folder.path(), Mode::Create)?;
    let mut noise = noise(sd)?;
    for run_seq in 1..=runs {
        let mut counts = vec![0; samples];
        noise.fill(&mut counts);
        let pending = store.writer().submit("bench", run(stream, run_seq, &counts))?;
        for outcome in pending.wait_blocking()? {
            outcome?;
        }
    }
    store.close();
    let connection = rusqlite::Connection::open(&file)?;
    let sql = "SELECT SUM(samples), SUM(LENGTH(counts)) FROM blocks";
    let (kept, bytes): (i64, i64) = connection.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let expected = samples as i64 * i64::from(runs);
    expect(kept == expected, || format!("expected {expected} samples in the store, found {kept}"))?;
    Ok((bytes as f64, (std::fs::metadata(&file)?.len() - empty) as f64))
}

fn begin(store: &Store) -> Outcome<StreamId> {
    let settings = Settings {
        instrument: frames::Settings::Framed,
        samples: Default::default(),
        runs: Default::default(),
        calibration: None,
    };
    let write = Write::Stream { started_utc_ns: 0, settings: Box::new(settings) };
    match store.writer().store("bench", write)? {
        Ok(Written::Stream(id)) => Ok(id),
        other => Err(format!("expected a stream, found {other:?}").into()),
    }
}

/// The rows of a run's samples: blocks of a tenth of a second, packed anew at the end.
fn run(stream: StreamId, run_seq: u32, counts: &[i32]) -> Vec<Write> {
    let first = u64::from(run_seq) << 32;
    let every = (RATE_HZ / 10.0) as usize;
    let in_force = Box::new(InForce::default());
    let open = Block::Open { run_seq, first_sample: first, rate_hz: RATE_HZ, in_force, opening: None };
    let raw = counts.chunks(every).enumerate().map(|(i, counts)| Block::Raw {
        run_seq,
        first_sample: first + (i * every) as u64,
        counts: counts.to_vec(),
        missing: Vec::new(),
    });
    let all = std::iter::once(open).chain(raw).chain([Block::End { run_seq }]);
    all.map(|block| Write::Block { stream, utc_ns: 0, block }).collect()
}

/// A rig that is never loaded and whose samples are noise alone.
fn noise(sd: f64) -> Outcome<Stream> {
    let mut scenario = common::feed::scenario()?;
    scenario.steps.clear();
    let rig = &mut scenario.rig;
    // The mean lies 0.3 counts beside a whole one, as in the bound.
    rig.zero_kn = 24_000.3 / rig.counts_per_kn;
    rig.noise_kn = sd / rig.counts_per_kn;
    (rig.hum_kn, rig.spikes_per_s, rig.zero_drift_kn_per_min) = (0.0, 0.0, 0.0);
    Ok(Stream::new(&scenario, RATE_HZ, Pace::Free))
}
