//! Walks the trial: ask what comes next, be ready, let the rig play just that, wait for the run to land. Whoever is
//! ready at the page goes first.
//!
//! Of JSON only a few names are picked; the steps that the rig can play are read from the scenario's lines.

use super::children::{Children, Pipes};
use super::{Stage, checked};
use crate::error::Failed;
use std::io::{BufRead, BufReader, Write};
use std::process::{ChildStdin, ChildStdout};
use std::time::Duration;

/// Plays one scenario.
pub struct Player<'a> {
    stage: &'a Stage,
    children: &'a mut Children,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    landed: usize,
    /// Setup and tool of each step that the rig can play.
    repertoire: Vec<(String, String)>,
}

/// Looks for a run this often and this many times.
const LOOK: Duration = Duration::from_millis(50);
const LOOKS: u32 = 400;
/// How often it is asked whether somebody is ready.
const FOLLOW: Duration = Duration::from_millis(300);

impl<'a> Player<'a> {
    /// With the pipes of the rig.
    pub fn new(stage: &'a Stage, children: &'a mut Children, rig: Pipes) -> Self {
        Self {
            stage,
            children,
            to: rig.to,
            from: BufReader::new(rig.from),
            landed: 0,
            repertoire: Vec::new(),
        }
    }

    /// Walks to the end. Whoever says at the page that he is ready is first; with `by_hand` only he is.
    pub fn walk(&mut self, by_hand: bool) -> Result<(), Failed> {
        self.wait_for_samples()?;
        eprintln!(
            "{:>4}  {:<10} {:<18} {:>8}  {:>10}  {:>10}  remarks",
            "run", "tool", "setup", "held kN", "torque N·m", "gate 3 s kN"
        );
        let scenario =
            std::fs::read_to_string(&self.stage.scenario).map_err(|e| Failed::io("read the scenario", e))?;
        self.repertoire = repertoire(&scenario);
        loop {
            let trial = self.next(&[super::TRIAL])?;
            match text_of(&trial, "standing").as_deref() {
                Some("done" | "laid aside") => return Ok(()),
                Some("awaiting a run") => {
                    self.go(&trial)?;
                    self.hear_done()?;
                    self.land()?;
                }
                _ if by_hand => {
                    self.children.all_run()?;
                    std::thread::sleep(FOLLOW);
                }
                _ => self.ready(&trial)?,
            }
        }
    }

    /// Goes on with whatever trial somebody plans and is ready for, until a program ends.
    pub fn follow(&mut self) -> Result<(), Failed> {
        let mut told = String::new();
        while self.children.all_run().is_ok() {
            std::thread::sleep(FOLLOW);
            // Without a trial, or with a daemon that is just ending, there is nothing to play.
            let Ok(trial) = self.next(&[]) else { continue };
            if text_of(&trial, "standing").as_deref() != Some("awaiting a run") || trial == told {
                continue;
            }
            match self.go(&trial) {
                Ok(()) => {
                    self.hear_done()?;
                    self.land()?;
                }
                Err(failed) => eprintln!("{}", failed.what),
            }
            told = trial;
        }
        Ok(())
    }

    /// What comes next in a trial, or in the latest one.
    fn next(&self, name: &[&str]) -> Result<String, Failed> {
        checked(self.stage.boltscribe().args(["--format", "json", "trial", "next"]).args(name))
    }

    /// The rig's input, because the rig idles until that closes.
    pub fn into_input(self) -> ChildStdin {
        self.to
    }

    /// Waits until the rig has played the step.
    fn hear_done(&mut self) -> Result<(), Failed> {
        loop {
            let mut line = String::new();
            let read = self.from.read_line(&mut line).map_err(|e| Failed::io("hear the rig", e))?;
            if read == 0 {
                return Err(Failed::io("hear the rig", "it ended before the trial did"));
            }
            if line.starts_with("{\"done\"") {
                return Ok(());
            }
        }
    }

    /// Samples must flow before a setup is put in force, or the first run could begin untagged.
    fn wait_for_samples(&mut self) -> Result<(), Failed> {
        for _ in 0..LOOKS {
            self.children.all_run()?;
            let rigs = checked(self.stage.boltscribe().args(["--format", "csv", "rig", "list"]))?;
            if table(&rigs).first().is_some_and(|rig| rig.get("rate_hz").is_some_and(|r| !r.is_empty())) {
                return Ok(());
            }
            std::thread::sleep(LOOK);
        }
        Err(Failed::io("hear the rig", "no samples reach the daemon"))
    }

    /// Is ready for the step that was seen. Where somebody else was first that is as good.
    fn ready(&mut self, trial: &str) -> Result<(), Failed> {
        let mut ready = self.stage.boltscribe();
        ready.args(["trial", "ready", super::TRIAL, "--who", "demo"]);
        let Err(failed) = checked(&mut ready) else { return Ok(()) };
        if self.next(&[super::TRIAL])? == trial { Err(failed) } else { Ok(()) }
    }

    /// Lets the rig play the step that is awaited.
    fn go(&mut self, trial: &str) -> Result<(), Failed> {
        let next = trial.split_once("\"next\":").map_or("", |(_, next)| next);
        let name = |key: &str| {
            text_of(next, key)
                .ok_or_else(|| Failed::io("read the trial's next step", format!("no {key} in {next}")))
        };
        let step = (name("setup")?, name("tool")?);
        let Some(number) = self.repertoire.iter().position(|known| *known == step) else {
            return Err(Failed::io("play the trial's next step", format!("the rig does not know {step:?}")));
        };
        writeln!(self.to, "go {number}").map_err(|e| Failed::io("let the rig go", e))
    }

    /// Waits until the run is stored and closed: a setup put in force before would count as changed in it.
    fn land(&mut self) -> Result<(), Failed> {
        for _ in 0..LOOKS {
            self.children.all_run()?;
            let last =
                checked(self.stage.boltscribe().args(["--format", "json", "runs", "list", "--last", "1"]))?;
            if text_of(&last, "closed_by").is_some() {
                let list =
                    checked(self.stage.boltscribe().args(["--format", "csv", "runs", "list", "--all"]))?;
                let runs = table(&list);
                if runs.len() > self.landed + 1 {
                    let played = self.landed + 1;
                    return Err(Failed::no(format!(
                        "the rig played {played} runs, {} are stored",
                        runs.len()
                    )));
                }
                if let Some(newest) = runs.first().filter(|_| runs.len() > self.landed) {
                    self.landed += 1;
                    print_run(newest);
                    return Ok(());
                }
            }
            std::thread::sleep(LOOK);
        }
        Err(Failed::no(format!("run {} of the rig was not stored and closed", self.landed + 1)))
    }
}

type Row = std::collections::BTreeMap<String, String>;

fn print_run(run: &Row) {
    let cell = |key: &str| run.get(key).map_or("–", |v| if v.is_empty() { "–" } else { v });
    let number = |key: &str, decimals: usize| {
        cell(key).parse::<f64>().map_or_else(|_| "–".to_owned(), |v| format!("{v:.decimals$}"))
    };
    eprintln!(
        "{:>4}  {:<10} {:<18} {:>8}  {:>10}  {:>10}  {}",
        cell("id"),
        cell("tool"),
        cell("setup"),
        number("held_kN", 2),
        number("equivalent_torque_Nm", 1),
        number("gate_kN", 2),
        cell("flags")
    );
}

/// Rows of RFC 4180 text as maps from the header's names; cells here hold no quotes or line ends.
fn table(csv: &str) -> Vec<Row> {
    let mut lines = csv.lines();
    let header: Vec<&str> = lines.next().map(|h| h.split(',').collect()).unwrap_or_default();
    lines
        .map(|line| header.iter().map(|h| (*h).to_owned()).zip(line.split(',').map(str::to_owned)).collect())
        .collect()
}

/// Setup and tool of each step of a scenario, in its order.
fn repertoire(scenario: &str) -> Vec<(String, String)> {
    let quoted = |block: &str, key: &str| {
        let line = block.lines().find(|line| line.split_once(" = ").is_some_and(|(name, _)| name == key))?;
        Some(line.split('"').nth(1)?.to_owned())
    };
    let steps = scenario.split("[[steps]]").skip(1);
    steps.filter_map(|block| Some((quoted(block, "setup")?, quoted(block, "tool")?))).collect()
}

/// The text under the first such key of JSON; none where it is absent, no text, or has escapes.
fn text_of(json: &str, key: &str) -> Option<String> {
    let (_, after) = json.split_once(&format!("\"{key}\":"))?;
    let (text, _) = after.trim_start().strip_prefix('"')?.split_once('"')?;
    (!text.contains('\\')).then(|| text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_picked_and_rows_named() {
        let line = r#"{"next":{"step":1,"setup":"75 mm extension","tool":"wrench 1"}}"#;
        assert_eq!(text_of(line, "setup").as_deref(), Some("75 mm extension"));
        assert_eq!(text_of(line, "bolt"), None);
        assert_eq!(text_of("{\n  \"closed_by\": \"released\"", "closed_by").as_deref(), Some("released"));
        assert_eq!(text_of("{\n  \"closed_by\": null, \"setup\": \"a\"", "closed_by"), None);
        let steps = repertoire("[[tools]]\nname = \"w\"\n[[steps]]\nsetup = \"a b\"\ntool = \"w\"\n");
        assert_eq!(steps, [("a b".to_owned(), "w".to_owned())]);
        let rows = table("id,setup\r\n7,direct\r\n");
        assert_eq!(rows[0]["setup"], "direct");
    }
}
