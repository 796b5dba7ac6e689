//! The recordings beside this file, and other ways to cut the same bytes into reads.
//!
//! Read once a test; every cut carries the arrival times of the recording.

use boltscribe::capture::{self, Capture, Entry};
use boltscribe::frames;
use boltscribe::pipeline::{Block, Counters, Output, Settings, replay};
use boltscribe::time::MonoNs;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// One recording.
pub struct Recording {
    pub name: String,
    pub file: PathBuf,
    pub capture: Capture,
    pub settings: Settings,
}

impl Recording {
    pub fn expected_file(&self) -> PathBuf {
        self.file.with_extension("expected.json")
    }

    /// The samples are spaced by the device's own ticks.
    pub fn carries_ticks(&self) -> bool {
        match &self.settings.instrument {
            frames::Settings::Framed => true,
            frames::Settings::Lines(lines) => lines.tick_hz.is_some(),
        }
    }

    /// What the simulated rig says it played, one object a run.
    pub fn played(&self) -> Vec<Value> {
        let played = self.capture.notes.iter().filter_map(|note| note.strip_prefix("played: "));
        played.map(|json| serde_json::from_str(json).unwrap()).collect()
    }
}

/// All recordings, by name.
pub fn all() -> Vec<Recording> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/captures");
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().path()).collect();
    files.retain(|file| file.extension().is_some_and(|e| e == "capture"));
    files.sort();
    files.into_iter().map(read).collect()
}

fn read(file: PathBuf) -> Recording {
    let capture = capture::read(&std::fs::read_to_string(&file).unwrap()).unwrap();
    let settings = serde_json::from_value(capture.settings.clone()).unwrap();
    let name = file.file_stem().unwrap().to_str().unwrap().to_owned();
    Recording { name, file, capture, settings }
}

/// How to cut bytes into reads.
#[derive(Clone, Copy, Debug)]
pub enum Cut {
    Every(usize),
    Random(u64),
}

/// A small random generator (Marsaglia's xorshift), so that a failure can be had again by its seed.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 11) % limit.max(1) as u64) as usize
    }
}

/// The same bytes in other reads. A read arrives when its last byte did, and never reaches over a command or a
/// change of the line.
pub fn cut(entries: &[(MonoNs, Entry)], cut: Cut) -> Vec<(MonoNs, Entry)> {
    let mut dice = Dice::new(if let Cut::Random(seed) = cut { seed } else { 0 });
    let mut size = || match cut {
        Cut::Every(n) => n,
        Cut::Random(_) => {
            let most = 1 << dice.below(13);
            1 + dice.below(most)
        }
    };
    let mut out = Vec::new();
    let (mut open, mut at, mut wanted) = (Vec::new(), MonoNs(0), size());
    for (now, entry) in entries {
        let Entry::Bytes(bytes) = entry else {
            if !open.is_empty() {
                out.push((at, Entry::Bytes(std::mem::take(&mut open))));
            }
            out.push((*now, entry.clone()));
            continue;
        };
        at = *now;
        for byte in bytes {
            open.push(*byte);
            if open.len() >= wanted {
                out.push((at, Entry::Bytes(std::mem::take(&mut open))));
                wanted = size();
            }
        }
    }
    if !open.is_empty() {
        out.push((at, Entry::Bytes(open)));
    }
    out
}

/// What a replay leaves that may not depend on how the bytes were cut.
#[derive(PartialEq)]
pub struct Essence {
    /// All run rows, as JSON text: equal text is equal bits.
    pub rows: Vec<String>,
    /// Raw codes of each run with the places of missing ones.
    pub raw: Vec<Raw>,
    pub counters: Counters,
}

/// Codes of one run.
#[derive(Debug, Default, PartialEq)]
pub struct Raw {
    pub run: u32,
    pub first: u64,
    pub codes: Vec<i32>,
    pub missing: Vec<(usize, u32)>,
    pub ended: bool,
}

pub fn essence(settings: &Settings, entries: &[(MonoNs, Entry)]) -> Essence {
    let (outputs, pipeline) = replay(settings.clone(), entries).unwrap();
    let mut essence = Essence { rows: Vec::new(), raw: Vec::new(), counters: pipeline.counters() };
    for output in &outputs {
        match output {
            Output::Run(row) => essence.rows.push(serde_json::to_string(row).unwrap()),
            Output::Block(block) => take_block(&mut essence.raw, block),
            _ => {}
        }
    }
    essence
}

fn take_block(raw: &mut Vec<Raw>, block: &Block) {
    match block {
        Block::Open { run_seq, first_sample, .. } => {
            raw.push(Raw { run: *run_seq, first: *first_sample, ..Raw::default() });
        }
        Block::Raw { run_seq, first_sample, counts, missing } => {
            let of_run = raw.iter_mut().find(|r| r.run == *run_seq).unwrap();
            let at = of_run.codes.len();
            assert_eq!(*first_sample, of_run.first + at as u64, "blocks follow without overlap");
            for (from, n) in missing {
                let from = at + *from as usize;
                match of_run.missing.last_mut() {
                    // A gap that a block's end cut in two is one gap.
                    Some(last) if last.0 + last.1 as usize == from => last.1 += n,
                    _ => of_run.missing.push((from, *n)),
                }
            }
            of_run.codes.extend_from_slice(counts);
        }
        Block::End { run_seq } => raw.iter_mut().find(|r| r.run == *run_seq).unwrap().ended = true,
        Block::Idle { .. } => {}
    }
}

/// Every byte and every sample is accounted for.
pub fn assert_accounts_close(counters: &Counters, what: &str) {
    let discarded: u64 = counters.bytes_discarded.values().sum();
    let bytes = counters.bytes_parsed + discarded + counters.bytes_pending;
    assert_eq!(counters.bytes_in, bytes, "{what}: {counters:?}");
    let dropped: u64 = counters.samples_dropped.values().sum();
    let samples = counters.samples_used + dropped + counters.samples_waiting;
    assert_eq!(counters.samples_in, samples, "{what}: {counters:?}");
}
