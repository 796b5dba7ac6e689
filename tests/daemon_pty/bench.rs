//! A bench: a folder with settings and a filled shelf, a daemon, and a virtual rig on a pseudo terminal.
//!
//! Ends what it started, by its own handles.

use serde_json::Value;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::{Sender, channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use virtual_rig::device::Protocol;
use virtual_rig::scenario::Scenario;
use virtual_rig::serve::{Control, Settings, serve};

/// Device seconds in a second of the test.
const SPEED: f64 = 20.0;
/// Longest wait for anything; a fault of the test, not a measure of speed.
const PATIENCE: Duration = Duration::from_secs(30);
/// The daemon ends within this after it was told to.
const END_WITHIN: Duration = Duration::from_secs(2);

/// Waits until `is_so`; panics with `what` when it never comes.
pub fn wait_for(what: &str, mut is_so: impl FnMut() -> bool) {
    let since = Instant::now();
    while !is_so() {
        assert!(since.elapsed() < PATIENCE, "waited in vain for {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Checks a settings file with the daemon's own switch.
pub fn check_config(text: &str) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("settings.toml");
    std::fs::write(&file, text).unwrap();
    let daemon = env!("CARGO_BIN_EXE_boltscribed");
    Command::new(daemon).arg("--config").arg(file).arg("--check-config").output().unwrap()
}

/// What the virtual rig writes, shared with the test.
#[derive(Clone, Default)]
struct Shared(Arc<Mutex<Vec<u8>>>);

impl Write for Shared {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// All of it.
pub struct Bench {
    folder: tempfile::TempDir,
    daemon: Option<Child>,
    rig: Option<Sender<Control>>,
    truth: Shared,
    variables: Vec<(String, String)>,
    /// Host and port as logged.
    pub address: String,
}

impl Bench {
    /// With a running daemon and no device yet.
    pub fn new() -> Self {
        Self::with(&[])
    }

    /// As [`Bench::new`], with variables that the daemon gets.
    pub fn with(variables: &[(&str, &str)]) -> Self {
        let variables = variables.iter().map(|(name, value)| ((*name).into(), (*value).into())).collect();
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().display();
        let text = format!(
            "[daemon]\nlisten = \"127.0.0.1:0\"\n[store]\nfolder = \"{at}/store\"\n[[rig]]\nname = \"bench\"\n\
             port = \"{at}/port\"\ninstrument = \"framed\"\nrate_hz = 2000\nrange_kN = 200\n[rig.calibration]\n\
             id = \"invented\"\ncoefficients_kN = [0.0, 5e-5]\nnominal = true\n"
        );
        std::fs::write(folder.path().join("settings.toml"), text).unwrap();
        let (truth, address) = (Shared::default(), String::new());
        let mut bench = Self { folder, daemon: None, rig: None, truth, variables, address };
        let bolt = "setup bolt add m20 --thread M20x2.5 --diameter-mm 20 --nut-factor 0.17 --allowed-kN 130";
        for line in [
            "setup piece add socket --kind socket --drive-in 3/4",
            "setup chain add direct socket",
            bolt,
            "setup use direct --bolt m20",
        ] {
            bench.cli(&line.split(' ').collect::<Vec<_>>());
        }
        bench.start_daemon();
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn daemon_command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribed"));
        command.arg("--config").arg(self.path("settings.toml")).stdin(Stdio::null());
        command.envs(self.variables.iter().cloned());
        command
    }

    /// Starts the daemon and waits for its address.
    pub fn start_daemon(&mut self) {
        let mut child = self.daemon_command().stderr(Stdio::piped()).spawn().unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let address = lines.by_ref().find_map(|line| {
            let line = line.ok()?;
            line.split_once("listening on http://").map(|(_, address)| address.to_owned())
        });
        self.address = address.expect("the daemon says where it listens");
        self.daemon = Some(child);
        // The pipe must be emptied, or the daemon would wait for us.
        std::thread::spawn(move || lines.for_each(drop));
    }

    /// Starts the daemon with this standard error, and waits until it answers.
    pub fn start_daemon_logging_to(&mut self, stderr: Stdio) {
        self.daemon = Some(self.daemon_command().stderr(stderr).spawn().unwrap());
        wait_for("the daemon to answer", || {
            let output = self.cli_command(&["rig", "list"]).output().unwrap();
            let rigs: Option<Value> = serde_json::from_slice(&output.stdout).ok();
            rigs.is_some_and(|list| list["rigs"][0]["link"] != "not-served")
        });
    }

    /// Process id of the daemon.
    pub fn pid(&self) -> u32 {
        self.daemon.as_ref().unwrap().id()
    }

    /// Another daemon on the same store; it ends by itself.
    pub fn second_daemon(&self) -> Output {
        self.daemon_command().output().unwrap()
    }

    /// Tells the daemon to end (SIGTERM); gives its exit code.
    pub fn stop_daemon(&mut self) -> Option<i32> {
        let mut child = self.daemon.take().unwrap();
        let told = Command::new("kill").arg("-TERM").arg(child.id().to_string()).status().unwrap();
        assert!(told.success());
        let since = Instant::now();
        loop {
            if let Some(status) = child.try_wait().unwrap() {
                return status.code();
            }
            if since.elapsed() > END_WITHIN {
                child.kill().unwrap();
                panic!("the daemon did not end within {END_WITHIN:?}");
            }
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// Ends the daemon without a word (SIGKILL).
    pub fn kill_daemon(&mut self) {
        let mut child = self.daemon.take().unwrap();
        child.kill().unwrap();
        child.wait().unwrap();
    }

    /// Starts the device at the usual speed.
    pub fn start_rig(&mut self, steps: usize, faults: &[&str]) {
        self.start_rig_at(SPEED, steps, faults);
    }

    /// Starts the device with the first `steps` runs of the depot scenario, without loss of samples.
    pub fn start_rig_at(&mut self, speed: f64, steps: usize, faults: &[&str]) {
        self.serve_depot((speed, false), steps, faults);
    }

    /// As [`Bench::start_rig`], over and over: for whatever takes as many runs as it happens to need.
    pub fn start_rig_over_and_over(&mut self, steps: usize) {
        self.serve_depot((SPEED, true), steps, &[]);
    }

    fn serve_depot(&mut self, (speed, looping): (f64, bool), steps: usize, faults: &[&str]) {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tools/virtual-rig/scenarios/depot.toml");
        let mut scenario = Scenario::from_toml(&std::fs::read_to_string(file).unwrap()).unwrap();
        scenario.steps.truncate(steps.max(1));
        let settings = Settings {
            link: self.path("port"),
            speed,
            protocol: Protocol::Framed,
            rate_hz: 2000,
            // Without a step to play the rig idles, waiting for leave that never comes.
            stepwise: steps == 0,
            looping,
            lossless: true,
            faults: faults.iter().map(|fault| fault.parse().unwrap()).collect(),
        };
        let (control, told) = channel();
        let mut truth = self.truth.clone();
        std::thread::spawn(move || serve(&scenario, &settings, &told, &mut Vec::new(), Some(&mut truth)));
        self.rig = Some(control);
    }

    /// A number that the store itself gives.
    pub fn stored(&self, sql: &str) -> i64 {
        let db = rusqlite::Connection::open(self.path("store/store.sqlite")).unwrap();
        db.query_row(sql, [], |row| row.get(0)).unwrap()
    }

    /// Starts the device with a scenario over and over; it goes on whoever listens, and what nobody reads is
    /// lost.
    pub fn play(&mut self, scenario: &Scenario, speed: f64) {
        let settings = Settings {
            link: self.path("port"),
            speed,
            protocol: Protocol::Framed,
            rate_hz: 2000,
            stepwise: false,
            looping: true,
            lossless: false,
            faults: Vec::new(),
        };
        let (control, told) = channel();
        let (mut truth, scenario) = (self.truth.clone(), scenario.clone());
        std::thread::spawn(move || serve(&scenario, &settings, &told, &mut Vec::new(), Some(&mut truth)));
        self.rig = Some(control);
    }

    /// The runs of the store, oldest first, once there are `count`.
    pub fn runs(&self, count: usize) -> Vec<Value> {
        let mut runs = Vec::new();
        wait_for("the runs in the store", || {
            let list = self.cli(&["runs", "list", "--all"]);
            runs = list["runs"].as_array().unwrap().iter().rev().cloned().collect();
            runs.len() >= count
        });
        runs
    }

    /// What was played, once `count` runs are over.
    pub fn truth(&self, count: usize) -> Vec<Value> {
        let mut truth = Vec::new();
        wait_for("the truth", || {
            let text = String::from_utf8(self.truth.0.lock().unwrap().clone()).unwrap();
            // The first line says that all is invented.
            truth = text.lines().skip(1).filter_map(|line| serde_json::from_str(line).ok()).collect();
            truth.len() >= count
        });
        truth
    }

    /// The rig as it is shown now.
    pub fn rig(&self) -> Value {
        self.cli(&["rig", "list"])["rigs"][0].clone()
    }

    fn cli_command(&self, words: &[&str]) -> Command {
        self.command_as("json", words)
    }

    fn command_as(&self, format: &str, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribe"));
        command.arg("--config").arg(self.path("settings.toml")).args(["--format", format]).args(words);
        command.env("USER", "ana").stdin(Stdio::null());
        command
    }

    /// Runs a command that must give a JSON document; one that judges may say no beside it.
    pub fn cli(&self, words: &[&str]) -> Value {
        let output = self.cli_command(words).output().unwrap();
        let allowed = output.status.success()
            || (matches!(words, ["doctor"] | ["forward", "status"]) && output.status.code() == Some(1));
        assert!(allowed, "{words:?}: {}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    }

    /// Runs a command that must fail with this exit code; gives what it said.
    pub fn fails(&self, code: i32, words: &[&str]) -> String {
        let output = self.cli_command(words).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{words:?}: {said}");
        said
    }

    /// Runs a command that writes a file or nothing.
    pub fn done(&self, words: &[&str]) {
        let output = self.cli_command(words).output().unwrap();
        assert!(output.status.success(), "{words:?}: {}", String::from_utf8_lossy(&output.stderr));
    }

    /// Runs a command as a person at a terminal does; gives what it said beside its table.
    pub fn done_talk(&self, words: &[&str]) -> String {
        let output = self.command_as("table", words).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{words:?}: {said}");
        said
    }

    /// Takes the zero once the rig has been idle for long enough.
    pub fn zero(&self) -> Value {
        let mut taken = None;
        wait_for("a zero", || {
            let output = self.cli_command(&["rig", "zero"]).output().unwrap();
            taken = output.status.success().then(|| serde_json::from_slice(&output.stdout).unwrap());
            taken.is_some()
        });
        taken.unwrap()
    }

    /// Starts a command that goes on.
    pub fn spawn_cli(&self, words: &[&str]) -> Child {
        self.cli_command(words).stdout(Stdio::piped()).spawn().unwrap()
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        if let Some(rig) = self.rig.take() {
            let _ = rig.send(Control::Quit);
        }
        if let Some(mut daemon) = self.daemon.take() {
            let _ = daemon.kill();
            let _ = daemon.wait();
        }
    }
}
