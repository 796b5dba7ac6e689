//! The programs a demo starts, and how they end: the daemon is asked to (SIGTERM) and stores what is open.
//!
//! Ctrl-C reaches them too, since they stay in the terminal's process group. Should this program be gone
//! without having ended them, a guard does it. Must not know what they do.

use crate::error::Failed;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::time::Duration;

/// Waits for the end of its input, which the system closes whatever ended us, then asks a program to end.
const GUARD: &str = "trap '' INT TERM HUP; read -r _; kill \"$0\"";
/// How often and how many times it is looked whether a program that was asked to end has ended.
const LOOK: Duration = Duration::from_millis(50);
const LOOKS: u32 = 60;

/// Running programs with their logs.
#[derive(Default)]
pub struct Children {
    running: Vec<Program>,
    inputs: Vec<ChildStdin>,
}

struct Program {
    child: Child,
    guard: Option<Child>,
    log: PathBuf,
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
        let guard = Command::new("sh")
            .args(["-c", GUARD, &child.id().to_string()])
            .stdin(Stdio::piped())
            .spawn()
            .map_err(|e| Failed::io("start sh", e));
        let (guard, failed) = match guard {
            Ok(guard) => (Some(guard), None),
            Err(failed) => (None, Some(failed)),
        };
        self.running.push(Program { child, guard, log: log.to_owned() });
        failed.map_or(Ok(()), Err)
    }

    /// Starts a program that is talked to over its pipes and ends with them; its errors go to a log.
    pub fn start_piped(&mut self, command: &mut Command, log: &Path) -> Result<Pipes, Failed> {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(create(log)?)
            .spawn()
            .map_err(|e| Failed::io(format!("start {command:?}"), e))?;
        let pipes = child.stdin.take().zip(child.stdout.take());
        self.running.push(Program { child, guard: None, log: log.to_owned() });
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
        for Program { log, .. } in &self.running {
            let text = std::fs::read_to_string(log).unwrap_or_default();
            let lines: Vec<&str> = text.lines().collect();
            let last = lines[lines.len().saturating_sub(8)..].join("\n  ");
            words += &format!("last lines of {}:\n  {last}\n", log.display());
        }
        words
    }

    /// Ends all of them, the last one started (the daemon) first.
    pub fn stop(&mut self) {
        self.inputs.clear();
        while let Some(Program { mut child, guard, .. }) = self.running.pop() {
            // Not needed any more, and the number it holds may soon be another program's.
            if let Some(mut guard) = guard {
                let _ = guard.kill();
                let _ = guard.wait();
            }
            if matches!(child.try_wait(), Ok(Some(_))) {
                continue;
            }
            // The standard library can only kill; `kill` of the system asks.
            let asked = Command::new("kill").arg(child.id().to_string()).status();
            for _ in 0..LOOKS {
                if asked.is_err() || matches!(child.try_wait(), Ok(Some(_))) {
                    break;
                }
                std::thread::sleep(LOOK);
            }
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// Holds that all of them run.
    ///
    /// # Errors
    /// Names one that has ended, and how.
    pub fn all_run(&mut self) -> Result<(), Failed> {
        match self.ended() {
            None => Ok(()),
            Some((log, status)) => {
                Err(Failed::no(format!("the program with the log {} ended ({status})", log.display())))
            }
        }
    }

    /// Waits until one of them has ended (the daemon does at Ctrl-C), then ends the others.
    ///
    /// # Errors
    /// It ended with a failure.
    pub fn wait(&mut self) -> Result<(), Failed> {
        while self.ended().is_none() {
            std::thread::sleep(LOOK);
        }
        let failed = self.ended().is_some_and(|(_, status)| !status.success());
        let result = if failed { self.all_run() } else { Ok(()) };
        self.stop();
        result
    }

    fn ended(&mut self) -> Option<(&Path, ExitStatus)> {
        self.running.iter_mut().find_map(|p| Some((p.log.as_path(), p.child.try_wait().ok()??)))
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
