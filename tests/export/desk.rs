//! A store with replayed recordings and invented runs, and the program over it.
//!
//! Makes no claim of its own.

use crate::sample::{self, T0_NS};
use crate::support::all;
use boltscribe::pipeline::{Event, Output, RunRow, replay};
use boltscribe::runs::RunFlag;
use boltscribe::store::{
    Correction, Mode, RunId, STORE_NAME, Store, StreamId, Write, Written, open_read_only,
};
use std::path::{Path, PathBuf};
use std::process::{Command, Output as Done, Stdio};
use std::sync::OnceLock;

/// Recordings that are played into the store, each as a rig of its name.
pub const RECORDINGS: [&str; 3] = ["plain-2000", "lost-frames", "knock"];
/// The rig of the invented runs.
pub const INVENTED: &str = "=invented, \"rig\"";
/// How many of them there are.
pub const INVENTED_RUNS: u32 = 12;

pub struct Desk {
    pub folder: tempfile::TempDir,
}

impl Desk {
    /// With everything in it.
    pub fn new() -> Self {
        let desk = Self::empty();
        std::fs::create_dir(desk.store()).unwrap();
        std::fs::copy(filled(), desk.store().join(STORE_NAME)).unwrap();
        desk
    }

    pub fn empty() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    pub fn store(&self) -> PathBuf {
        self.path("store")
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribe"));
        command.current_dir(self.folder.path()).arg("--store").arg(self.store()).args(words);
        command.stdin(Stdio::null());
        command
    }

    pub fn run(&self, words: &[&str]) -> Done {
        self.command(words).output().unwrap()
    }

    /// Runs a command that must succeed; gives its standard output.
    pub fn done(&self, words: &[&str]) -> String {
        let done = self.run(words);
        assert_eq!(done.status.code(), Some(0), "{words:?}: {}", err(&done));
        String::from_utf8(done.stdout).unwrap()
    }

    /// Runs a command that must fail with this exit code; gives what it said.
    pub fn fails(&self, code: i32, words: &[&str]) -> String {
        let done = self.run(words);
        assert_eq!(done.status.code(), Some(code), "{words:?}: {}", err(&done));
        err(&done)
    }

    /// Names in the folder, sorted; hidden ones too.
    pub fn names(&self) -> Vec<String> {
        names(self.folder.path())
    }

    /// Reads the store itself.
    pub fn read<T>(&self, work: impl FnOnce(&boltscribe::store::Reader) -> T) -> T {
        work(&open_read_only(&self.store()).unwrap().reader().unwrap())
    }
}

/// A store with everything in it, made once. Each desk has a copy: a lock that this process took would be held
/// for a moment by every program that another test is just starting.
fn filled() -> PathBuf {
    static FILLED: OnceLock<tempfile::TempDir> = OnceLock::new();
    let folder = FILLED.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        for name in RECORDINGS {
            play(&store, name);
        }
        invent(&store);
        store.close();
        folder
    });
    folder.path().join(STORE_NAME)
}

pub fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

pub fn err(done: &Done) -> String {
    String::from_utf8(done.stderr.clone()).unwrap()
}

/// Wall time of a moment of a stream.
fn utc_ns(at_s: f64) -> i64 {
    T0_NS + (at_s * 1e9).round() as i64
}

/// Everything a recording gives, into the store.
pub fn play(store: &Store, name: &str) {
    let recording = all().into_iter().find(|recording| recording.name == name).unwrap();
    let writer = store.writer();
    let began = Write::Stream { started_utc_ns: T0_NS, settings: Box::new(recording.settings.clone()) };
    let Ok(Ok(Written::Stream(stream))) = writer.store(name, began) else { panic!("no stream") };
    let (outputs, _) = replay(recording.settings, &recording.capture.entries).unwrap();
    let writes: Vec<Write> = outputs.into_iter().filter_map(|output| write(stream, output)).collect();
    sample::put(store, name, writes);
}

fn write(stream: StreamId, output: Output) -> Option<Write> {
    match output {
        Output::Run(row) => {
            let first_blow_utc_ns = match &row {
                RunRow::Announced(run) => utc_ns(run.record.first_blow_s),
                RunRow::Closed(_) => 0,
            };
            Some(Write::Run { stream, row, first_blow_utc_ns })
        }
        Output::Block(block) => {
            let began = match &block {
                boltscribe::pipeline::Block::Idle { first_sample, rate_hz, .. } => {
                    utc_ns(*first_sample as f64 / rate_hz)
                }
                _ => T0_NS,
            };
            Some(Write::Block { stream, utc_ns: began, block })
        }
        Output::Event(Event::Identity { serial, firmware, simulated, .. }) => {
            // On real hardware the scale is 1; played as such, so that wall times are as recorded.
            Some(Write::Identity { stream, utc_ns: T0_NS, serial, firmware, time_scale: 1, simulated })
        }
        _ => None,
    }
}

/// Runs of every sort: with and without tags, flagged, left out, by another name.
fn invent(store: &Store) {
    let stream = sample::begin(store, INVENTED);
    for n in 1..=INVENTED_RUNS {
        let mut in_force = sample::in_force(if n % 2 == 0 { "bare" } else { "+ext, 75" }, "tool A");
        let mut flags: &[RunFlag] = &[];
        match n {
            3 => in_force.setup = None,
            5 => in_force.source = None,
            7 => flags = &[RunFlag::Short, RunFlag::BlowsWeak],
            9 => in_force.tool = None,
            _ => {}
        }
        let mut result = sample::result_with(n, in_force, flags);
        if n == 11 {
            (result.record.blow_count, result.record.blow_rate_hz) = (None, None);
            (result.record.plateau, result.record.held) = (None, None);
            result.record.blows.clear();
        }
        sample::put(store, INVENTED, sample::whole(stream, result, 1200));
    }
    let last = store.readers().reader().unwrap().run_last().unwrap();
    let exclude = Write::Correct {
        run: RunId(last),
        utc_ns: T0_NS,
        who: "Ana".into(),
        why: "socket slipped; again".into(),
        correction: Correction::Exclude,
    };
    sample::put(store, INVENTED, vec![exclude]);
}
