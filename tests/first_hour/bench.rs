//! A folder, a daemon without any rig, and boards on pseudo terminals.
//!
//! Ends what it started, by its own handles.

use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Sender, channel};
use std::time::{Duration, Instant};
use virtual_rig::device::Protocol;
use virtual_rig::scenario::Scenario;
use virtual_rig::serve::{Control, Settings, serve};

/// Longest wait for anything; a fault of the test, not a measure of speed.
const PATIENCE: Duration = Duration::from_secs(40);

/// Waits until `is_so`; panics with `what` when it never comes.
pub fn wait_for(what: &str, mut is_so: impl FnMut() -> bool) {
    let since = Instant::now();
    while !is_so() {
        assert!(since.elapsed() < PATIENCE, "waited in vain for {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A virtual board that plays a step each time it is told to.
pub struct Board(Sender<Control>);

impl Board {
    /// 80 lines a second, microseconds and counts.
    pub const LINES: &str = "slow-board.toml";
    /// Our own protocol at 2000 samples a second.
    pub const FRAMED: &str = "depot.toml";

    pub fn start(link: PathBuf, scenario: &str, stepwise: bool) -> Self {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tools/virtual-rig/scenarios");
        let text = std::fs::read_to_string(folder.join(scenario)).unwrap();
        let lines = scenario == Self::LINES;
        let settings = Settings {
            link,
            speed: 1.0,
            protocol: if lines { Protocol::Lines("tick-counts".parse().unwrap()) } else { Protocol::Framed },
            rate_hz: if lines { 80 } else { 2000 },
            stepwise,
            looping: false,
            lossless: true,
            faults: Vec::new(),
        };
        let scenario = Scenario::from_toml(&text).unwrap();
        let (control, told) = channel();
        std::thread::spawn(move || serve(&scenario, &settings, &told, &mut Vec::new(), None));
        Self(control)
    }

    /// The next run may be played.
    pub fn go(&self) {
        self.0.send(Control::Go).unwrap();
    }
}

impl Drop for Board {
    fn drop(&mut self) {
        let _ = self.0.send(Control::Quit);
    }
}

pub struct Bench {
    folder: tempfile::TempDir,
    daemon: Option<Child>,
}

impl Bench {
    /// With a running daemon and no rig.
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().display();
        let text = format!("[daemon]\nlisten = \"127.0.0.1:0\"\n[store]\nfolder = \"{at}/store\"\n");
        std::fs::write(folder.path().join("settings.toml"), text).unwrap();
        let mut bench = Self { folder, daemon: None };
        bench.start();
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn start(&mut self) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribed"));
        command.arg("--config").arg(self.path("settings.toml")).stdin(Stdio::null());
        let mut child = command.stderr(Stdio::piped()).spawn().unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let listens = lines.by_ref().map_while(Result::ok).any(|line| line.contains("listening on http://"));
        assert!(listens, "the daemon says where it listens");
        self.daemon = Some(child);
        // The pipe must be emptied, or the daemon would wait for us.
        std::thread::spawn(move || lines.for_each(drop));
    }

    /// Ends the daemon in order.
    pub fn stop(&mut self) {
        let mut child = self.daemon.take().unwrap();
        assert!(Command::new("kill").arg("-TERM").arg(child.id().to_string()).status().unwrap().success());
        assert_eq!(child.wait().unwrap().code(), Some(0));
    }

    pub fn restart(&mut self) {
        self.stop();
        self.start();
    }

    pub fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribe"));
        command.arg("--config").arg(self.path("settings.toml")).args(words).env("USER", "ana");
        command
    }

    /// Exit code, standard output, standard error.
    pub fn cli_raw(&self, words: &[String]) -> (Option<i32>, String, String) {
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let output = self.command(&words).stdin(Stdio::null()).output().unwrap();
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (output.status.code(), text(&output.stdout), text(&output.stderr))
    }

    /// A command that must give a JSON document.
    pub fn cli(&self, words: &[&str]) -> Value {
        let all: Vec<String> = words.iter().chain(&["--format", "json"]).map(|w| (*w).to_owned()).collect();
        let (code, out, said) = self.cli_raw(&all);
        assert_eq!(code, Some(0), "{words:?}: {said}");
        serde_json::from_str(&out).unwrap()
    }

    /// The rig of this name as it is shown now; null where there is none.
    pub fn rig(&self, name: &str) -> Value {
        let rigs = self.cli(&["rig", "list"])["rigs"].clone();
        rigs.as_array().unwrap().iter().find(|rig| rig["rig"] == name).cloned().unwrap_or_default()
    }

    /// The newest of at least `count` runs.
    pub fn run(&self, count: usize) -> Value {
        let mut newest = Value::Null;
        wait_for("a run in the store", || {
            let list = self.cli(&["runs", "list", "--all"]);
            let runs = list["runs"].as_array().unwrap();
            newest = runs.first().cloned().unwrap_or_default();
            runs.len() >= count
        });
        newest
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
