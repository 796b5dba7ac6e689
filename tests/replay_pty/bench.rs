//! One daemon with a rig for each recording, and one replayer a rig.
//!
//! Ends what it started, by its own handles.

use crate::support::Recording;
use boltscribe::capture::Entry;
use boltscribe::control::Command as Order;
use boltscribe::settings::{Instrument, Line, Rig, rig::rig_text};
use serde_json::Value;
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use virtual_rig::pty::Port;

/// Longest wait for anything; a fault of the test, not a measure of speed.
const PATIENCE: Duration = Duration::from_secs(60);
/// Sizes of the writes, given to the rigs in turn.
const WRITES: [usize; 7] = [1, 7, 64, 511, 1024, 4096, 65_536];

pub struct Bench {
    folder: tempfile::TempDir,
    daemon: Option<Child>,
    ports: Vec<Port>,
    /// Names of test bolts on the shelf.
    bolts: BTreeSet<String>,
}

impl Bench {
    /// With every recording's setup in force and a running daemon.
    pub fn new(recordings: &[Recording]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut bench = Self { folder, daemon: None, ports: Vec::new(), bolts: BTreeSet::new() };
        bench.write_settings(recordings);
        bench.fill_shelf();
        for recording in recordings {
            bench.put_in_force(recording);
        }
        bench.ports = recordings.iter().map(|r| Port::open(&bench.path(&r.name), 1 << 20).unwrap()).collect();
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribed"));
        command.arg("--config").arg(bench.path("settings.toml")).stdin(Stdio::null()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        // A command that runs before the daemon listens would take the store's lock itself.
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let said = lines.by_ref().map_while(Result::ok).any(|line| line.contains("listening on http://"));
        bench.daemon = Some(child);
        assert!(said, "the daemon says where it listens");
        // The pipe must be emptied, or the daemon would wait for us.
        std::thread::spawn(move || lines.for_each(drop));
        bench.wait_for("open ports", |rigs| rigs.iter().all(|rig| rig["link"] == "up"));
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write_settings(&self, recordings: &[Recording]) {
        let gates = &recordings[0].settings.runs.gates_s;
        let at = self.folder.path().display();
        let head = format!(
            "[daemon]\nlisten = \"127.0.0.1:0\"\n[store]\nfolder = \"{at}/store\"\n[measure]\ngates_s = {gates:?}\n"
        );
        std::fs::write(self.path("settings.toml"), head).unwrap();
        std::fs::create_dir_all(self.path("store/rigs")).unwrap();
        for recording in recordings {
            let rig = Rig {
                name: recording.name.clone(),
                instrument: Instrument::Line(Box::new(Line {
                    port: self.path(&recording.name).to_str().unwrap().to_owned(),
                    baud: 115_200,
                    pipeline: recording.settings.clone(),
                })),
            };
            let file = self.path("store/rigs").join(format!("{}.toml", rig.name));
            std::fs::write(file, rig_text(&rig).unwrap()).unwrap();
        }
    }

    fn fill_shelf(&self) {
        for line in [
            "setup piece add socket --kind socket --drive-in 3/4",
            "setup chain add direct socket",
            "setup source add b1 --kind battery",
        ] {
            self.cli(&line.split(' ').collect::<Vec<_>>());
        }
        self.cli(&["setup", "tool", "add", "wrench 1", "--anvil", "3/4", "--source", "battery"]);
    }

    /// What the recording's one command says, through the API as a person does.
    fn put_in_force(&mut self, recording: &Recording) {
        let order = recording.capture.entries.iter().find_map(|(_, entry)| match entry {
            Entry::Command(Order::Use { in_force }) => Some(in_force),
            _ => None,
        });
        let Some(in_force) = order else { return };
        let bolt = in_force.bolt.as_ref().unwrap();
        let factor = serde_json::to_value(bolt.factor).unwrap().to_string();
        let mut add = vec!["setup", "bolt", "add", &bolt.name, "--thread", "M20x2.5", "--diameter-mm", "20"];
        add.extend(["--factor-N-per-Nm", &factor]);
        let allowed = bolt.allowed_kn.map(|kn| kn.to_string());
        if let Some(kn) = &allowed {
            add.extend(["--allowed-kN", kn]);
        }
        if self.bolts.insert(bolt.name.clone()) {
            self.cli(&add);
        }
        let (setup, tool) = (in_force.setup.as_ref().unwrap(), in_force.tool.as_ref().unwrap());
        let mut usage = vec!["setup", "use", setup, "--rig", &recording.name, "--tool", tool];
        usage.extend(["--bolt", &bolt.name]);
        if in_force.source.is_some() {
            usage.extend(["--battery", "b1", "--not-fresh"]);
        }
        self.cli(&usage);
    }

    /// Writes every recording's bytes into its port, all at once.
    pub fn replay(&mut self, recordings: &[Recording]) {
        let ports = std::mem::take(&mut self.ports);
        self.ports = std::thread::scope(|scope| {
            let replayers: Vec<_> = recordings
                .iter()
                .zip(ports)
                .zip(WRITES.iter().cycle())
                .map(|((recording, port), size)| scope.spawn(move || write(recording, port, *size)))
                .collect();
            replayers.into_iter().map(|replayer| replayer.join().unwrap()).collect()
        });
        let sent: Vec<(&str, usize)> = recordings.iter().map(|r| (r.name.as_str(), bytes(r).len())).collect();
        self.wait_for("all bytes in the pipelines", |rigs| {
            let taken = |(name, sent): &(&str, usize)| {
                let rig = rigs.iter().find(|rig| rig["rig"] == *name).unwrap();
                rig["counters"]["bytes_in"].as_u64() == Some(*sent as u64)
            };
            sent.iter().all(taken)
        });
    }

    /// Ends the daemon, which closes open runs.
    pub fn stop(&mut self) {
        let mut child = self.daemon.take().unwrap();
        let told = Command::new("kill").arg("-TERM").arg(child.id().to_string()).status().unwrap();
        assert!(told.success());
        assert!(child.wait().unwrap().success());
    }

    /// The stored runs of all rigs, oldest first.
    pub fn runs(&self) -> Vec<Value> {
        let list = self.cli(&["runs", "list", "--all"]);
        list["runs"].as_array().unwrap().iter().rev().cloned().collect()
    }

    fn wait_for(&self, what: &str, is_so: impl Fn(&[Value]) -> bool) {
        let since = Instant::now();
        loop {
            let list = self.cli(&["rig", "list"]);
            let rigs = list["rigs"].as_array().unwrap();
            if is_so(rigs) {
                return;
            }
            assert!(since.elapsed() < PATIENCE, "waited in vain for {what}: {rigs:#?}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    fn cli(&self, words: &[&str]) -> Value {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribe"));
        command.arg("--config").arg(self.path("settings.toml")).args(["--format", "json"]).args(words);
        let output = command.env("USER", "ana").stdin(Stdio::null()).output().unwrap();
        assert!(output.status.success(), "{words:?}: {}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        if let Some(mut daemon) = self.daemon.take() {
            let _ = daemon.kill();
            let _ = daemon.wait();
        }
    }
}

fn bytes(recording: &Recording) -> Vec<u8> {
    let reads = recording.capture.entries.iter();
    reads
        .filter_map(|(_, e)| if let Entry::Bytes(b) = e { Some(b) } else { None })
        .flatten()
        .copied()
        .collect()
}

/// Writes in pieces of `size` as fast as they are read; drops what the daemon asks.
fn write(recording: &Recording, mut port: Port, size: usize) -> Port {
    let mut asked = [0; 4096];
    for piece in bytes(recording).chunks(size) {
        assert!(port.offer(piece));
        loop {
            port.flush().unwrap();
            while port.read(&mut asked).unwrap() > 0 {}
            if port.waiting() == 0 {
                break;
            }
            port.wait(Duration::from_millis(20), true);
        }
    }
    port
}
