//! The programs a demo starts, and how they end: the daemon is asked to (SIGTERM) and stores what is open.
//!
//! Ctrl-C reaches them too, since they stay in the terminal's process group. Must not know what they do.

use crate::error::Failed;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::time::Duration;

/// Running programs with their logs.
#[derive(Default)]
pub struct Children {
    running: Vec<(Child, PathBuf)>,
    inputs: Vec<ChildStdin>,
}

impl Children {
    /// Starts a program whose output goes to a log.
    pub fn start(&mut self, command: &mut Command, log: &Path) -> Result<(), Failed> {
        let file = create(log)?;
        let other = file.try_clone().map_err(|e| Failed::io("share a log", e))?;
        let child = command
            .stdin(Stdio::null())
            .stdout(file)
            .stderr(other)
            .spawn()
            .map_err(|e| Failed::io(format!("start {command:?}"), e))?;
        self.running.push((child, log.to_owned()));
        Ok(())
    }

    /// Starts a program that is talked to over its pipes; its errors go to a log.
    pub fn start_piped(&mut self, command: &mut Command, log: &Path) -> Result<Pipes, Failed> {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(create(log)?)
            .spawn()
            .map_err(|e| Failed::io(format!("start {command:?}"), e))?;
        let pipes = child.stdin.take().zip(child.stdout.take());
        self.running.push((child, log.to_owned()));
        let (to, from) = pipes.ok_or_else(|| Failed::io("talk to the rig", "no pipe"))?;
        Ok(Pipes { to, from })
    }

    /// Keeps a program's input open as long as the programs run.
    pub fn keep(&mut self, input: ChildStdin) {
        self.inputs.push(input);
    }

    /// The last lines of each program's log, for a failure.
    pub fn last_words(&self, folder: &Path) -> String {
        let mut words = format!("the demo's files are in {}\n", folder.display());
        for (_, log) in &self.running {
            let text = std::fs::read_to_string(log).unwrap_or_default();
            let lines: Vec<&str> = text.lines().collect();
            let last = lines[lines.len().saturating_sub(8)..].join("\n  ");
            words += &format!("last lines of {}:\n  {last}\n", log.display());
        }
        words
    }

    /// Ends all of them, the last one started (the daemon) first.
    pub fn stop(&mut self) {
        while let Some((mut child, _)) = self.running.pop() {
            // The standard library can only kill; `kill` of the system asks.
            let asked = Command::new("kill").arg(child.id().to_string()).status();
            for _ in 0..60 {
                if asked.is_err() || matches!(child.try_wait(), Ok(Some(_))) {
                    break;
                }
                std::thread::sleep(Duration::from_millis(50));
            }
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// Waits until they have ended by themselves (Ctrl-C).
    pub fn wait(&mut self) {
        for (child, _) in &mut self.running {
            let _ = child.wait();
        }
    }
}

impl Drop for Children {
    fn drop(&mut self) {
        self.stop();
    }
}

/// Both ends of a program's pipes.
pub struct Pipes {
    /// Its standard input.
    pub to: ChildStdin,
    /// Its standard output.
    pub from: std::process::ChildStdout,
}

fn create(path: &Path) -> Result<File, Failed> {
    File::create(path).map_err(|e| Failed::io(format!("write {}", path.display()), e))
}
