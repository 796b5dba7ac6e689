//! A folder with settings, the real command line, and the real daemon where a test starts it.
//!
//! Ends what it started, by its own handle.

use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

pub struct Desk {
    folder: tempfile::TempDir,
    daemon: Option<Child>,
}

impl Desk {
    /// With these `[[rig]]` tables in its settings, and no daemon yet.
    pub fn new(rigs: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().display();
        let text = format!("[daemon]\nlisten = \"127.0.0.1:0\"\n[store]\nfolder = \"{at}/store\"\n{rigs}");
        std::fs::write(folder.path().join("settings.toml"), text).unwrap();
        Self { folder, daemon: None }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Starts the daemon and waits until it listens.
    pub fn serve(&mut self) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribed"));
        command.arg("--config").arg(self.path().join("settings.toml")).stdin(Stdio::null());
        let mut child = command.stderr(Stdio::piped()).spawn().unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let listens = lines.by_ref().map_while(Result::ok).any(|line| line.contains("listening on http://"));
        self.daemon = Some(child);
        assert!(listens, "the daemon says where it listens");
        // The pipe must be emptied, or the daemon would wait for us.
        std::thread::spawn(move || lines.for_each(drop));
    }

    /// Ends the daemon in order.
    pub fn stop(&mut self) {
        let mut child = self.daemon.take().unwrap();
        assert!(Command::new("kill").arg("-TERM").arg(child.id().to_string()).status().unwrap().success());
        assert_eq!(child.wait().unwrap().code(), Some(0));
    }

    pub fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribe"));
        command.arg("--config").arg(self.path().join("settings.toml")).args(words).env("USER", "ana");
        command.stdin(Stdio::null());
        command
    }

    pub fn run(&self, words: &[&str]) -> Output {
        self.command(words).output().unwrap()
    }

    /// A command that must succeed: its standard output and its standard error.
    pub fn done(&self, words: &[&str]) -> (String, String) {
        let output = self.run(words);
        assert_eq!(output.status.code(), Some(0), "{words:?}: {}", err(&output));
        (String::from_utf8(output.stdout.clone()).unwrap(), err(&output))
    }

    /// A command that must give a JSON document.
    pub fn json(&self, words: &[&str]) -> Value {
        let mut all = vec!["--format", "json"];
        all.extend(words);
        serde_json::from_str(&self.done(&all).0).unwrap()
    }

    /// A command that must fail with this exit code and say nothing on standard output.
    pub fn fails(&self, code: i32, words: &[&str]) -> String {
        let output = self.run(words);
        assert_eq!(output.status.code(), Some(code), "{words:?}: {}", err(&output));
        assert!(output.stdout.is_empty(), "{words:?}: {}", String::from_utf8_lossy(&output.stdout));
        err(&output)
    }

    /// A socket, a tool, a battery and an M20 bolt with K = 0.16 and an allowed 120 kN, all in force.
    pub fn fill(&self, rig: &str) {
        let bolt = ["m20", "--thread", "M20x2.5", "--diameter-mm", "20", "--nut-factor", "0.16"];
        for words in [
            &["setup", "piece", "add", "socket 30", "--kind", "socket", "--drive-in", "1/2"][..],
            &["setup", "chain", "add", "direct", "socket 30"],
            &["setup", "chain", "add", "other", "socket 30"],
            &["setup", "tool", "add", "wrench", "--anvil", "1/2", "--source", "battery"],
            &["setup", "source", "add", "b3", "--kind", "battery"],
            &[&["setup", "bolt", "add"], &bolt[..], &["--allowed-kN", "120"]].concat(),
            &[
                "setup",
                "use",
                "direct",
                "--rig",
                rig,
                "--tool",
                "wrench",
                "--bolt",
                "m20",
                "--battery",
                "b3",
                "--fresh",
            ],
        ] {
            self.done(words);
        }
    }
}

pub fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

impl Drop for Desk {
    fn drop(&mut self) {
        if let Some(mut daemon) = self.daemon.take() {
            let _ = daemon.kill();
            let _ = daemon.wait();
        }
    }
}
