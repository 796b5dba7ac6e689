//! Measured runs against what is true of them, setup by setup.
//!
//! The measure is held tension; the percentage is the plain ratio of two means, without an
//! interval. Both means are over the runs that were not left out, where every run that was played was
//! measured; else the true one is over all. This file must not judge: it only sets the two side by side.

use crate::truth::TruthRun;
use serde::{Deserialize, Serialize};

/// Why there is no score.
#[derive(Debug, thiserror::Error)]
pub enum ScoreError {
    /// A line of the truth file or the document of runs cannot be read.
    #[error("cannot read {what} line {line}: {error}")]
    Parse {
        /// `truth` or `runs`.
        what: &'static str,
        /// Line from 1.
        line: usize,
        /// What stands in the way.
        error: serde_json::Error,
    },
    /// The truth file does not say that it is simulated.
    #[error("cannot read truth line 1: expected a head with \"simulated\": true, found {0:?}")]
    Head(String),
    /// No run and no truth has the baseline's name.
    #[error("cannot take {0:?} as the baseline: expected the name of a setup in the truth or the runs")]
    Baseline(String),
}

/// The runs as the measuring side prints them; other keys are not looked at.
#[derive(Debug, Clone, Deserialize)]
pub struct Runs {
    /// In the order they were measured.
    pub runs: Vec<MeasuredRun>,
}

/// One measured run.
#[derive(Debug, Clone, Deserialize)]
pub struct MeasuredRun {
    /// Number in the store.
    #[serde(default)]
    pub id: u64,
    /// Setup in force.
    #[serde(default)]
    pub setup: Option<String>,
    /// Tool used.
    #[serde(default)]
    pub tool: Option<String>,
    /// Held tension.
    #[serde(rename = "held_kN", default)]
    pub held_kn: Option<f64>,
    /// Equivalent torque.
    #[serde(rename = "equivalent_torque_Nm", default)]
    pub equivalent_torque_nm: Option<f64>,
    /// Whether it was left out of results.
    #[serde(default)]
    pub excluded: bool,
}

/// One row of the score.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetupScore {
    /// Setup.
    pub setup: String,
    /// Tool.
    pub tool: String,
    /// Measured runs that were not left out.
    pub runs: usize,
    /// Mean measured held tension.
    #[serde(rename = "held_kN")]
    pub held_kn: Option<f64>,
    /// Mean true held tension.
    #[serde(rename = "held_truth_kN")]
    pub held_truth_kn: Option<f64>,
    /// 100 x measured mean over the baseline's with the same tool.
    pub percent_of_baseline: Option<f64>,
    /// The same from the truth.
    pub percent_truth: Option<f64>,
    /// Mean equivalent torque, for the table only.
    #[serde(skip)]
    pub torque_nm: Option<f64>,
}

/// The whole score.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Score {
    /// In the order in which setups first appear.
    pub setups: Vec<SetupScore>,
}

/// Reads a truth file: a head that says it is simulated, then one run a line.
///
/// # Errors
/// The head is missing or a line cannot be read.
pub fn read_truth(text: &str) -> Result<Vec<TruthRun>, ScoreError> {
    let head = text.lines().next().unwrap_or_default();
    let simulated = serde_json::from_str::<serde_json::Value>(head)
        .is_ok_and(|value| value["simulated"] == serde_json::Value::Bool(true));
    if !simulated {
        return Err(ScoreError::Head(head.chars().take(80).collect()));
    }
    text.lines()
        .enumerate()
        .skip(1)
        .filter(|(_, line)| !line.trim().is_empty())
        .map(|(i, line)| {
            let what = "truth";
            serde_json::from_str(line).map_err(|error| ScoreError::Parse { what, line: i + 1, error })
        })
        .collect()
}

/// Reads the document of runs.
///
/// # Errors
/// It cannot be read.
pub fn read_runs(text: &str) -> Result<Runs, ScoreError> {
    let what = "runs";
    serde_json::from_str(text).map_err(|error| ScoreError::Parse { what, line: error.line(), error })
}

/// Scores measured runs. A baseline that only one side knows gives nulls on the other.
///
/// # Errors
/// Neither side knows the baseline.
pub fn score(truth: &[TruthRun], runs: &Runs, baseline: &str) -> Result<Score, ScoreError> {
    let used: Vec<&MeasuredRun> = runs.runs.iter().filter(|run| !run.excluded).collect();
    let truth = &counted(truth, &runs.runs);
    let mut keys: Vec<(String, String)> = Vec::new();
    let named = used.iter().map(|run| measured_key(run));
    for key in truth.iter().map(|run| (run.setup.clone(), run.tool.clone())).chain(named) {
        if !keys.contains(&key) {
            keys.push(key);
        }
    }
    if !keys.iter().any(|(setup, _)| setup == baseline) {
        return Err(ScoreError::Baseline(baseline.to_owned()));
    }
    let rows: Vec<SetupScore> = keys.iter().map(|key| row(key, truth, &used)).collect();
    let base = |tool: &str| rows.iter().find(|row| row.setup == baseline && row.tool == tool);
    let setups = rows
        .iter()
        .map(|row| {
            let base = base(&row.tool);
            SetupScore {
                percent_of_baseline: percent(row.held_kn, base.and_then(|b| b.held_kn)),
                percent_truth: percent(row.held_truth_kn, base.and_then(|b| b.held_truth_kn)),
                ..row.clone()
            }
        })
        .collect();
    Ok(Score { setups })
}

/// What is true of the runs that were not left out: the n-th that was played is the n-th that was measured.
fn counted(truth: &[TruthRun], runs: &[MeasuredRun]) -> Vec<TruthRun> {
    let mut ordered: Vec<&MeasuredRun> = runs.iter().collect();
    ordered.sort_by_key(|run| run.id);
    let numbered = ordered.iter().all(|run| run.id > 0) && ordered.len() == truth.len();
    let counts = |(_, run): &(&TruthRun, &&MeasuredRun)| !run.excluded;
    if !numbered {
        return truth.to_vec();
    }
    truth.iter().zip(&ordered).filter(counts).map(|(run, _)| run.clone()).collect()
}

fn measured_key(run: &MeasuredRun) -> (String, String) {
    (run.setup.clone().unwrap_or_default(), run.tool.clone().unwrap_or_default())
}

fn row(key: &(String, String), truth: &[TruthRun], used: &[&MeasuredRun]) -> SetupScore {
    let mine: Vec<&&MeasuredRun> = used.iter().filter(|run| measured_key(run) == *key).collect();
    let true_held = truth.iter().filter(|run| run.setup == key.0 && run.tool == key.1).map(|run| run.held_kn);
    SetupScore {
        setup: key.0.clone(),
        tool: key.1.clone(),
        runs: mine.len(),
        held_kn: mean(mine.iter().filter_map(|run| run.held_kn)),
        held_truth_kn: mean(true_held),
        percent_of_baseline: None,
        percent_truth: None,
        torque_nm: mean(mine.iter().filter_map(|run| run.equivalent_torque_nm)),
    }
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0u32), |(sum, count), value| (sum + value, count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

fn percent(value: Option<f64>, base: Option<f64>) -> Option<f64> {
    let (value, base) = (value?, base?);
    (base > 0.0).then(|| 100.0 * (value / base))
}

impl Score {
    /// The score as text for a person.
    #[must_use]
    pub fn table(&self, baseline: &str) -> String {
        let width = self.setups.iter().map(|row| row.setup.chars().count()).max().unwrap_or(0).max(5);
        let tools = self.setups.iter().map(|row| row.tool.chars().count()).max().unwrap_or(0).max(4);
        let mut out = format!(
            "simulated data, every number invented; measure: held tension; percent: plain ratio of means\n\
             to {baseline} with the same tool, no interval; torque: equivalent torque\n\
             {:width$}  {:tools$}  runs   held kN   true kN  percent  true %  torque N·m\n",
            "setup", "tool"
        );
        let cell = |value: Option<f64>, digits: usize| {
            value.map_or_else(|| "-".to_owned(), |value| format!("{value:.digits$}"))
        };
        for row in &self.setups {
            let (held, held_truth) = (cell(row.held_kn, 3), cell(row.held_truth_kn, 3));
            let (percent, truth) = (cell(row.percent_of_baseline, 2), cell(row.percent_truth, 2));
            let torque = cell(row.torque_nm, 1);
            out.push_str(&format!(
                "{:width$}  {:tools$}  {:>4}  {held:>8}  {held_truth:>8}  {percent:>7}  {truth:>6}  {torque:>10}\n",
                row.setup, row.tool, row.runs
            ));
        }
        let on_baseline: Vec<&SetupScore> = self.setups.iter().filter(|row| row.setup == baseline).collect();
        if let [first, others @ ..] = &on_baseline[..] {
            for other in others {
                let (measured, truth) = (
                    percent(other.held_kn, first.held_kn),
                    percent(other.held_truth_kn, first.held_truth_kn),
                );
                out.push_str(&format!(
                    "{} gives {} % of {} on {baseline}, true {} %\n",
                    other.tool,
                    cell(measured, 2),
                    first.tool,
                    cell(truth, 2)
                ));
            }
        }
        out
    }
}
