//! Plays the scenario step by step: put the setup in force, let the rig go, wait for the run to land.
//!
//! The rig says what comes next in one line of JSON; only two names are picked from it.

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
}

/// Looks for a run this often and this many times.
const LOOK: Duration = Duration::from_millis(50);
const LOOKS: u32 = 400;

impl<'a> Player<'a> {
    /// With the pipes of the rig.
    pub fn new(stage: &'a Stage, children: &'a mut Children, rig: Pipes) -> Self {
        Self { stage, children, to: rig.to, from: BufReader::new(rig.from), landed: 0 }
    }

    /// Plays to the end; gives the rig's input back, because the rig idles until that closes.
    pub fn play(mut self) -> Result<ChildStdin, Failed> {
        self.wait_for_samples()?;
        eprintln!(
            "{:>4}  {:<18} {:>8}  {:>10}  {:>10}  remarks",
            "run", "setup", "held kN", "torque N·m", "gate 3 s kN"
        );
        loop {
            let mut line = String::new();
            let read = self.from.read_line(&mut line).map_err(|e| Failed::io("hear the rig", e))?;
            if read == 0 {
                return Err(Failed::io("hear the rig", "it ended before its scenario did"));
            }
            if line.starts_with("{\"end\"") {
                return Ok(self.to);
            }
            if line.starts_with("{\"next\"") {
                self.ready(&line)?;
            } else if line.starts_with("{\"done\"") {
                self.land()?;
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

    fn ready(&mut self, line: &str) -> Result<(), Failed> {
        let name = |key: &str| {
            text_of(line, key)
                .ok_or_else(|| Failed::io("read the rig's next step", format!("no {key} in {line}")))
        };
        let (setup, tool) = (name("setup")?, name("tool")?);
        checked(self.stage.boltscribe().args([
            "setup",
            "use",
            &setup,
            "--rig",
            "demo",
            "--tool",
            &tool,
            "--bolt",
            "test bolt 1",
            "--who",
            "demo",
        ]))?;
        writeln!(self.to, "go").map_err(|e| Failed::io("let the rig go", e))
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
        "{:>4}  {:<18} {:>8}  {:>10}  {:>10}  {}",
        cell("id"),
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
        let rows = table("id,setup\r\n7,direct\r\n");
        assert_eq!(rows[0]["setup"], "direct");
    }
}
