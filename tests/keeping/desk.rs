//! A folder with settings and a store that holds the runs of recordings; the real programs work on it.
//!
//! Ends what it started, by its own handles.

use boltscribe::capture;
use boltscribe::control::Command as Told;
use boltscribe::pipeline::{Output as Given, RunRow, Settings, replay};
use boltscribe::store::{Mode, Store, StreamId, Write, Written};
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

/// 2020-01-01T00:00:00Z: old enough to be pruned.
pub const T0_NS: i64 = 1_577_836_800_000_000_000;
/// A day in nanoseconds.
pub const DAY_NS: i64 = 86_400_000_000_000;

pub struct Desk {
    pub folder: tempfile::TempDir,
}

impl Desk {
    /// With an empty place for a store.
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let text = format!(
            "[daemon]\nlisten = \"127.0.0.1:0\"\n[store]\nfolder = \"{0}/store\"\n[[rig]]\nname = \"bench\"\n\
             port = \"{0}/port\"\ninstrument = \"framed\"\n",
            folder.path().display()
        );
        std::fs::write(folder.path().join("settings.toml"), text).unwrap();
        Self { folder }
    }

    /// With the runs of these recordings, a day apart from 2020-01-01 on.
    pub fn with(names: &[&str]) -> Self {
        let desk = Self::new();
        let store = Store::open(&desk.path("store"), Mode::Create).unwrap();
        for (day, name) in names.iter().enumerate() {
            put(&store, name, T0_NS + day as i64 * DAY_NS);
        }
        store.close();
        desk
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribe"));
        command.arg("--config").arg(self.path("settings.toml")).args(words);
        command.env("USER", "ana").env_remove("NO_COLOR").stdin(Stdio::null());
        command
    }

    /// A child that this program is just starting holds copies of all its open files for a moment, the lock of
    /// a store it has closed among them: then once more.
    pub fn run(&self, words: &[&str]) -> Output {
        let ours = format!("held by process {}", std::process::id());
        for _ in 0..100 {
            let output = self.command(words).output().unwrap();
            if !said(&output).contains(&ours) {
                return output;
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        panic!("{words:?}: the store stays held by this program")
    }

    pub fn json(&self, words: &[&str]) -> Value {
        let mut all = vec!["--format", "json"];
        all.extend(words);
        let output = self.run(&all);
        assert!(output.status.success(), "{words:?}: {}", said(&output));
        serde_json::from_slice(&output.stdout).unwrap()
    }

    /// Must end with this code; gives what it said.
    pub fn fails(&self, code: i32, words: &[&str]) -> String {
        let output = self.run(words);
        assert_eq!(output.status.code(), Some(code), "{words:?}: {}", said(&output));
        said(&output)
    }

    pub fn daemon(&self) -> Daemon {
        let mut child = Command::new(env!("CARGO_BIN_EXE_boltscribed"))
            .arg("--config")
            .arg(self.path("settings.toml"))
            .stdin(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let up = lines.by_ref().map_while(Result::ok).any(|line| line.contains("listening on http://"));
        assert!(up, "the daemon says where it listens");
        std::thread::spawn(move || lines.for_each(drop));
        Daemon(child)
    }

    /// The store is sound by its own check.
    pub fn sound(&self) -> Value {
        let report = self.json(&["store", "check"]);
        assert_eq!(report["ok"], true, "{report}");
        report
    }
}

pub struct Daemon(pub Child);

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

pub fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

pub fn recording(name: &str) -> (Settings, capture::Capture) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/captures/{name}.capture"));
    let capture = capture::read(&std::fs::read_to_string(file).unwrap()).unwrap();
    (serde_json::from_value(capture.settings.clone()).unwrap(), capture)
}

/// Puts the runs of a recording into a store, as a daemon would, first blows from `utc_ns` on.
pub fn put(store: &Store, name: &str, utc_ns: i64) -> StreamId {
    let (settings, capture) = recording(name);
    let (outputs, _) = replay(settings.clone(), &capture.entries).unwrap();
    let writer = store.writer();
    let begin = Write::Stream { started_utc_ns: utc_ns, settings: Box::new(settings) };
    let Ok(Ok(Written::Stream(stream))) = writer.store("bench", begin) else { panic!("no stream") };
    for (_, entry) in &capture.entries {
        if let capture::Entry::Command(command @ Told::Use { .. }) = entry {
            let command = Box::new(command.clone());
            let told = Write::Command { utc_ns, who: "ana".into(), command };
            writer.store("bench", told).unwrap().unwrap();
        }
    }
    for output in outputs {
        let write = match output {
            Given::Block(block) => Write::Block { stream, utc_ns, block },
            Given::Run(row) => {
                let at_s = match &row {
                    RunRow::Announced(run) => run.record.first_blow_s,
                    RunRow::Closed(_) => 0.0,
                };
                Write::Run { stream, row, first_blow_utc_ns: utc_ns + (at_s * 1e9) as i64 }
            }
            _ => continue,
        };
        writer.store("bench", write).unwrap().unwrap();
    }
    stream
}
