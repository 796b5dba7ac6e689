//! Invented runs and streams for the tests of the store and of the page.
//!
//! Figures are made from the run's number, so that any two runs differ and each can be told again.

use boltscribe::constants::{BoltFactor, Calibration};
use boltscribe::control::{BoltInForce, InForce, SourceState};
use boltscribe::frames;
use boltscribe::pipeline::{Block, RunRow, Settings};
use boltscribe::results::result::Context;
use boltscribe::results::{Closed, RunResult};
use boltscribe::runs::record::CloseReason;
use boltscribe::runs::{
    Blow, Closing, Estimate, Figures, Form, Gate, Plateau, Reached, ReachedState, Record, RunFlag, Timing,
};
use boltscribe::store::{Store, StreamId, Write, Written};
use boltscribe::units::Newtons;

/// 2026-01-01T00:00:00Z.
pub const T0_NS: i64 = 1_767_225_600_000_000_000;

pub fn settings() -> Settings {
    Settings {
        instrument: frames::Settings::Framed,
        samples: Default::default(),
        runs: Default::default(),
        calibration: Some(calibration()),
    }
}

pub fn calibration() -> Calibration {
    Calibration {
        id: "cell-1".into(),
        coefficients_kn: vec![-0.1, 1e-4],
        nominal: false,
        range_kn: Some(200.0),
    }
}

pub fn in_force(setup: &str, tool: &str) -> InForce {
    InForce {
        setup: Some(setup.into()),
        contacts: Some(2),
        tool: Some(tool.into()),
        source: Some(SourceState::Battery { id: "b1".into(), rested_v: Some(20.1), fresh: Some(true) }),
        bolt: Some(BoltInForce {
            name: "M20".into(),
            factor: Some(BoltFactor(312.5)),
            allowed_kn: Some(150.0),
        }),
        attempt: None,
        shelf: None,
        no_tool: false,
    }
}

pub fn record(run_seq: u32, flags: &[RunFlag]) -> Record {
    let n = f64::from(run_seq);
    // A third is no short decimal: it shows whether figures are kept exactly.
    let first = 10.0 * n + 1.0 / 3.0;
    Record {
        first_sample: u64::from(run_seq) * 20_000,
        rate_hz: 2000.0,
        timing: Timing::Device,
        zero: Newtons(123.0 / 7.0),
        zero_shift: Newtons(1.0 / 3.0),
        noise: Newtons(11.0 / 3.0),
        first_blow_s: first,
        last_blow_s: first + 2.9,
        drive_time_s: 2.9,
        blow_count: Some(3),
        blow_rate_hz: Some(0.7),
        ringing: Some(Newtons(2000.0 / 3.0)),
        blows: (0..3)
            .map(|i| Blow {
                at_s: first + f64::from(i) * 1.45,
                level: Newtons(20_000.0 * f64::from(i + 1) / 0.7),
            })
            .collect(),
        peak: Newtons(81_000.0 + n / 7.0),
        peak_time_s: first + 2.91,
        peak_is_lower_bound: false,
        level: Some(Newtons(80_500.0)),
        held: Some(Newtons(80_000.0 + n / 3.0)),
        gates: vec![
            Gate { after_s: 1.0, tension: Some(Newtons(50_000.0 / 3.0)) },
            Gate { after_s: 3.0, tension: None },
        ],
        plateau: Some(Plateau {
            limit: Newtons(90_000.0 / 0.7),
            limit_se: Newtons(100.0 / 3.0),
            time_constant_s: 1.0 / 0.7,
            time_constant_se_s: 0.01,
            form: Form::Energy,
        }),
        spikes: 0,
        missing: 0,
        clipped: 0,
        flags: flags.to_vec(),
        figures: Figures {
            preload_n: Some(Estimate { value: n / 7.0, se: 1.0 / 3.0 }),
            growth_n_per_s: vec![Some(Estimate { value: 20_000.0 / 3.0, se: 100.0 / 7.0 }), None],
            reached: vec![
                Reached {
                    tension: Newtons(50_000.0),
                    state: ReachedState::Reached,
                    after_s: Some(1.45),
                    after_se_s: Some(0.001 / 3.0),
                    blows: Some(2),
                },
                Reached {
                    tension: Newtons(200_000.0),
                    state: ReachedState::NeverReached,
                    after_s: None,
                    after_se_s: None,
                    blows: None,
                },
            ],
            held_over_limit: Some(Estimate { value: 2.0 / 3.0, se: 0.01 }),
            energy_index_n2_per_blow: Some(Estimate { value: 4e8 / 3.0, se: 1e6 / 3.0 }),
            limit_index_n2: Some(Estimate { value: 1e10 / 0.7, se: 1e8 / 3.0 }),
            step_scatter: None,
        },
    }
}

pub fn result_with(run_seq: u32, in_force: InForce, flags: &[RunFlag]) -> RunResult {
    let context = Context { in_force, setup_changed: false, calibration: "cell-1".into(), nominal: false };
    RunResult::new(run_seq, record(run_seq, flags), context)
}

pub fn result(run_seq: u32) -> RunResult {
    result_with(run_seq, in_force("bare", "tool A"), &[])
}

pub fn announced(stream: StreamId, result: RunResult) -> Write {
    let first_blow_utc_ns = T0_NS + i64::from(result.run_seq) * 10_000_000_000;
    Write::Run { stream, row: RunRow::Announced(Box::new(result)), first_blow_utc_ns }
}

pub fn closed(stream: StreamId, run_seq: u32) -> Write {
    let closing = Closing {
        closed_s: 10.0 * f64::from(run_seq) + 7.25,
        reason: CloseReason::Released,
        re_pulled: false,
        re_pulled_level: None,
        flags: Vec::new(),
    };
    Write::Run { stream, row: RunRow::Closed(Closed::new(run_seq, closing)), first_blow_utc_ns: 0 }
}

pub fn block(stream: StreamId, block: Block) -> Write {
    Write::Block { stream, utc_ns: T0_NS, block }
}

pub fn opening(stream: StreamId, run_seq: u32) -> Write {
    block(
        stream,
        Block::Open {
            run_seq,
            first_sample: u64::from(run_seq) * 20_000,
            rate_hz: 2000.0,
            in_force: Box::new(in_force("bare", "tool A")),
            opening: None,
        },
    )
}

/// The codes of a run: `samples` of a rising line with noise of ten bits.
pub fn codes(run_seq: u32, samples: usize) -> Vec<i32> {
    let noise = |i: u32| {
        let x = i.wrapping_add(run_seq << 20).wrapping_mul(2_654_435_761);
        let x = (x ^ (x >> 15)).wrapping_mul(2_246_822_519);
        (x >> 22) as i32
    };
    (0..samples).map(|i| 1000 + 4 * i as i32 + noise(i as u32)).collect()
}

/// Raw blocks of 500 samples that cover [`codes`], as they come while a run goes on.
pub fn raw(stream: StreamId, run_seq: u32, samples: usize) -> Vec<Write> {
    let all = codes(run_seq, samples);
    all.chunks(500)
        .enumerate()
        .map(|(i, part)| {
            let raw = Block::Raw {
                run_seq,
                first_sample: u64::from(run_seq) * 20_000 + 500 * i as u64,
                counts: part.to_vec(),
                missing: if i == 1 { vec![(3, 2)] } else { Vec::new() },
            };
            block(stream, raw)
        })
        .collect()
}

/// A whole run as a pipeline gives it: opening, samples, announcement, end, closing.
pub fn whole(stream: StreamId, result: RunResult, samples: usize) -> Vec<Write> {
    let run_seq = result.run_seq;
    let mut writes = vec![opening(stream, run_seq)];
    writes.extend(raw(stream, run_seq, samples));
    writes.push(announced(stream, result));
    writes.push(block(stream, Block::End { run_seq }));
    writes.push(closed(stream, run_seq));
    writes
}

/// On a thread of its own: tests inside an async runtime must not block it.
fn apart<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    std::thread::scope(|scope| scope.spawn(work).join().unwrap())
}

pub fn begin(store: &Store, rig: &str) -> StreamId {
    let write = Write::Stream { started_utc_ns: T0_NS, settings: Box::new(settings()) };
    let writer = store.writer();
    match apart(|| writer.store(rig, write)) {
        Ok(Ok(Written::Stream(id))) => id,
        other => panic!("expected a stream, found {other:?}"),
    }
}

/// Stores rows, waits for the commit, and expects all of them to be taken.
pub fn put(store: &Store, rig: &str, writes: Vec<Write>) -> Vec<Written> {
    let pending = store.writer().submit(rig, writes).unwrap();
    let outcomes = apart(|| pending.wait_blocking()).unwrap();
    outcomes.into_iter().map(|outcome| outcome.unwrap()).collect()
}
