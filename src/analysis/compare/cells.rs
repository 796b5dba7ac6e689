//! Observations in cells of tool and setup, checked: what every kind of comparison starts from.
//!
//! Must not know how the cells are compared.

use super::observation::{CompareError, Drift, Observation, Question};
use std::collections::HashSet;

/// The runs of one setup with one tool.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Index of the tool.
    pub tool: usize,
    /// Name of the setup.
    pub setup: String,
    /// Places of the observations, in time order.
    pub rows: Vec<usize>,
}

/// All cells, tool by tool; each tool's baseline comes first.
#[derive(Clone, Debug, PartialEq)]
pub struct Cells {
    /// Names of the tools, in the order in which they first ran.
    pub tools: Vec<Option<String>>,
    /// Cells in order of tools; the setups of a tool in the order in which they first ran.
    pub cells: Vec<Cell>,
    /// Places of the observations that count, in time order.
    pub counted: Vec<usize>,
}

impl Cells {
    /// Sorts and checks observations.
    ///
    /// # Errors
    /// See [`CompareError`].
    pub fn new(observations: &[Observation], question: &Question) -> Result<Self, CompareError> {
        check(observations, question)?;
        let counted: Vec<usize> =
            (0..observations.len()).filter(|i| observations[*i].excluded.is_none()).collect();
        let mut tools: Vec<Option<String>> = Vec::new();
        let mut cells: Vec<Cell> = Vec::new();
        for row in &counted {
            let o = &observations[*row];
            let tool = tools.iter().position(|t| *t == o.tool).unwrap_or_else(|| {
                tools.push(o.tool.clone());
                tools.len() - 1
            });
            match cells.iter_mut().find(|c| c.tool == tool && c.setup == o.setup) {
                Some(cell) => cell.rows.push(*row),
                None => cells.push(Cell { tool, setup: o.setup.clone(), rows: vec![*row] }),
            }
        }
        for (tool, name) in tools.iter().enumerate() {
            if !cells.iter().any(|c| c.tool == tool && c.setup == question.baseline) {
                let baseline = question.baseline.clone();
                return Err(CompareError::NoBaseline { baseline, tool: name.clone() });
            }
        }
        if cells.len() == tools.len() {
            return Err(CompareError::OneSetup { baseline: question.baseline.clone() });
        }
        cells.sort_by_key(|c| (c.tool, c.setup != question.baseline));
        Ok(Self { tools, cells, counted })
    }

    /// The cells of a tool, its baseline first.
    pub fn of_tool(&self, tool: usize) -> impl Iterator<Item = &Cell> {
        self.cells.iter().filter(move |c| c.tool == tool)
    }

    /// Whether the first and the last run that counts are the baseline's.
    #[must_use]
    pub fn baseline_at_both_ends(&self, observations: &[Observation], baseline: &str) -> bool {
        let is = |row: Option<&usize>| row.is_some_and(|r| observations[*r].setup == baseline);
        is(self.counted.first()) && is(self.counted.last())
    }

    /// The drift to take out: as asked, or by the plan of the runs, never by a test on the values.
    #[must_use]
    pub fn drift(&self, observations: &[Observation], question: &Question) -> Drift {
        question.drift.unwrap_or_else(|| {
            let both = self.baseline_at_both_ends(observations, &question.baseline);
            if both && self.can_drift(observations) { Drift::Linear } else { Drift::None }
        })
    }

    /// Whether a cell has runs at different times.
    #[must_use]
    pub fn can_drift(&self, observations: &[Observation]) -> bool {
        self.cells
            .iter()
            .any(|c| c.rows.iter().any(|r| observations[*r].time_s > observations[c.rows[0]].time_s))
    }
}

fn check(observations: &[Observation], question: &Question) -> Result<(), CompareError> {
    if !(question.alpha > 0.0 && question.alpha < 0.5) {
        return Err(CompareError::Alpha { found: question.alpha });
    }
    let mut runs = HashSet::new();
    let mut before = f64::NEG_INFINITY;
    for (row, o) in observations.iter().enumerate() {
        if !runs.insert(o.run) {
            return Err(CompareError::Twice { row, run: o.run });
        }
        if !(o.time_s.is_finite() && o.time_s > before) {
            return Err(CompareError::Time { row, run: o.run, before, found: o.time_s });
        }
        before = o.time_s;
        if o.excluded.is_none() && !(o.value.is_finite() && o.value > 0.0) {
            return Err(CompareError::Value { row, run: o.run, found: o.value });
        }
    }
    if observations.iter().all(|o| o.excluded.is_some()) {
        return Err(CompareError::Empty);
    }
    if !observations.iter().any(|o| o.setup == question.baseline) {
        let mut found: Vec<String> = Vec::new();
        for o in observations {
            if !found.contains(&o.setup) {
                found.push(o.setup.clone());
            }
        }
        return Err(CompareError::UnknownBaseline { baseline: question.baseline.clone(), found });
    }
    Ok(())
}
