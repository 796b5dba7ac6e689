//! A plan of recordings: one base scenario, and for each recording what differs from it.
//!
//! The file is TOML: `scenario` names the base (beside the plan), each `[[capture]]` has a name,
//! notes, changes that are laid over the base, commands with their times and how the device talks.
//! Unknown keys are refused. This file must not know how a recording is made.

use crate::scenario::{Scenario, ScenarioError};
use serde::Deserialize;
use serde_json::Value;
use toml::Table;

/// A whole plan.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// File of the base scenario, beside the plan.
    pub scenario: String,
    /// Date written into the heads.
    pub date: String,
    /// The recordings.
    pub capture: Vec<Case>,
}

/// A person's command at a time.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CommandAt {
    /// Time from sample 0 in s; below zero: before the first byte.
    pub at_s: f64,
    /// The command as it is written into the recording.
    pub command: Value,
}

/// One recording.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// Name of its file.
    pub name: String,
    /// What it shows.
    pub shows: String,
    /// `framed`, or a line format.
    #[serde(default = "framed")]
    pub protocol: String,
    /// Laid over the base scenario, table by table.
    #[serde(default)]
    pub change: Table,
    /// Laid over the settings of the pipeline.
    #[serde(default)]
    pub settings: Value,
    /// Commands in order of time.
    #[serde(default)]
    pub commands: Vec<CommandAt>,
    /// Shortest and longest time between two reads, ms.
    #[serde(default = "read_ms")]
    pub read_ms: [f64; 2],
    /// The device boots under the reader's eyes instead of having run before.
    #[serde(default)]
    pub boots: bool,
    /// Idle time after the last step, s.
    #[serde(default = "tail_s")]
    pub tail_s: f64,
}

fn framed() -> String {
    "framed".to_owned()
}

const fn read_ms() -> [f64; 2] {
    [1.0, 16.0]
}

const fn tail_s() -> f64 {
    1.0
}

impl Case {
    /// The base scenario with this recording's changes.
    ///
    /// # Errors
    /// [`ScenarioError`] as for any scenario.
    pub fn scenario(&self, base: &Table) -> Result<Scenario, ScenarioError> {
        let mut table = base.clone();
        lay_over(&mut table, &self.change);
        let scenario: Scenario = table.try_into()?;
        crate::check::check(&scenario)?;
        Ok(scenario)
    }
}

/// Lays one table over another: tables are merged, everything else is replaced.
fn lay_over(base: &mut Table, change: &Table) {
    for (key, value) in change {
        match (base.get_mut(key), value) {
            (Some(toml::Value::Table(under)), toml::Value::Table(over)) => lay_over(under, over),
            _ => {
                base.insert(key.clone(), value.clone());
            }
        }
    }
}

/// The same for JSON.
pub fn lay_over_json(base: &mut Value, change: &Value) {
    match (base, change) {
        (Value::Object(under), Value::Object(over)) => {
            for (key, value) in over {
                lay_over_json(under.entry(key.clone()).or_insert(Value::Null), value);
            }
        }
        (_, Value::Null) => {}
        (under, over) => *under = over.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_reach_into_tables_and_replace_lists() {
        let mut base: Table = toml::from_str("a = [1, 2]\n[rig]\nx = 1\ny = 2").unwrap();
        lay_over(&mut base, &toml::from_str("a = [3]\n[rig]\ny = 5").unwrap());
        assert_eq!(base, toml::from_str("a = [3]\n[rig]\nx = 1\ny = 5").unwrap());
        let mut base = serde_json::json!({"a": {"b": 1, "c": 2}});
        lay_over_json(&mut base, &serde_json::json!({"a": {"c": 3}}));
        assert_eq!(base, serde_json::json!({"a": {"b": 1, "c": 3}}));
    }
}
