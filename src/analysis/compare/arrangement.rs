//! What the order of the runs leaves in a percent, whatever the values are.
//!
//! Tools, bolts and batteries warm up: readings move fast at first and then less and less. Neither a straight line nor
//! brackets carry such a drift wholly; how much of it stays in a percent follows from the times and setups of the runs
//! alone, c'(XᵀX)⁻¹Xᵀg. Where that is much, or a setup ran in one piece, no risk of a wrong verdict can be promised.
//! Must not know any value.

use super::cells::{Cell, Cells};
use super::observation::{CompareError, Observation};

/// Time constants of a drift that dies away, seconds: from a motor's winding (minutes) to a heavy rig. Common
/// practice, no source. The worst of them counts.
pub const TIME_CONSTANTS_S: [f64; 6] = [120.0, 300.0, 600.0, 1200.0, 2400.0, 4800.0];

/// Share of a drift that dies away that may stay in a percent where a risk is promised: the 3 % that a warm-up may
/// bring then move a percent by 0.75 % at most, half the scatter of a usual run. Common practice, no source.
pub const LEFT_MAX: f64 = 0.25;

/// What a drift that dies away leaves in a percent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftLeft {
    /// Percent that a drift of 1 % leaves, with its sign: that of readings which begin 1 % too high.
    pub percent: f64,
    /// The time constant at which it is most, seconds.
    pub time_constant_s: f64,
}

/// A setup with one tool.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// Name of the setup.
    pub setup: String,
    /// Name of the tool; none where only one was used.
    pub tool: Option<String>,
}

/// How the runs of a comparison lie in time.
#[derive(Clone, Debug, PartialEq)]
pub struct Arrangement {
    /// One a row of the answer; none for baselines.
    pub drift_left: Vec<Option<DriftLeft>>,
    /// Setups, baselines among them, whose runs all follow each other.
    pub in_blocks: Vec<Named>,
    /// Setups, baselines among them, of which runs follow each other while nobody noted whether the coupling was taken
    /// off between them.
    pub perhaps_one_mounting: Vec<Named>,
    /// Where runs are still to come or were judged before: what a person should know, and whether the risk counts it.
    pub look: Option<(String, bool)>,
}

impl Arrangement {
    /// Looks at the order; `taken_up` says what each cell's coefficient takes of a disturbance.
    ///
    /// # Errors
    /// Those of `taken_up`.
    pub fn new(
        observations: &[Observation],
        cells: &Cells,
        taken_up: impl Fn(&[f64]) -> Result<Vec<f64>, CompareError>,
    ) -> Result<Self, CompareError> {
        let start = cells.counted.first().map_or(0.0, |row| observations[*row].time_s);
        let mut drift_left = vec![None; cells.cells.len()];
        for time_constant_s in TIME_CONSTANTS_S {
            let dies_away = |row: &usize| libm::exp(-(observations[*row].time_s - start) / time_constant_s);
            let drift: Vec<f64> = cells.counted.iter().map(dies_away).collect();
            for ((left, percent), k) in drift_left.iter_mut().zip(taken_up(&drift)?).zip(0..) {
                let baseline = k == 0 || cells.cells[k - 1].tool != cells.cells[k].tool;
                let more = left.is_none_or(|l: DriftLeft| l.percent.abs() < percent.abs());
                if !baseline && more {
                    *left = Some(DriftLeft { percent, time_constant_s });
                }
            }
        }
        let (in_blocks, perhaps_one_mounting) =
            (in_blocks(observations, cells), perhaps_one_mounting(observations, cells));
        Ok(Self { drift_left, in_blocks, perhaps_one_mounting, look: None })
    }

    /// The most that a drift of 1 % which dies away leaves in any percent, without its sign.
    #[must_use]
    pub fn most_left(&self) -> f64 {
        self.drift_left.iter().flatten().fold(0.0, |most, left| left.percent.abs().max(most))
    }

    /// Whether the order carries drifts well enough for a risk to be promised.
    #[must_use]
    pub fn carries_drift(&self) -> bool {
        self.in_blocks.is_empty() && self.most_left() <= LEFT_MAX
    }

    /// Whether the risk of a wrong verdict can be promised for this order.
    #[must_use]
    pub fn risk_holds(&self) -> bool {
        let counted = self.look.as_ref().is_none_or(|(_, counted)| *counted);
        self.carries_drift() && self.perhaps_one_mounting.is_empty() && counted
    }

    /// What a person should know of it, a sentence each.
    #[must_use]
    pub fn notes(&self) -> Vec<String> {
        let mut notes: Vec<String> = self.look.iter().map(|(note, _)| note.clone()).collect();
        let most = self.most_left();
        let worst = self.drift_left.iter().flatten().find(|left| left.percent.abs() >= most);
        if let Some(worst) = worst {
            notes.push(format!(
                "a drift of 1 % that dies away, as a warm-up does, leaves up to {most:.2} % in a percent with this order of runs (time constant {:.0} min)",
                worst.time_constant_s / 60.0
            ));
        }
        if !self.in_blocks.is_empty() {
            notes.push(format!(
                "all runs of {} follow each other: the table is in blocks",
                Named::list(&self.in_blocks)
            ));
        }
        if !self.perhaps_one_mounting.is_empty() {
            notes.push(format!(
                "runs of {} follow each other and no mounting is noted: where the coupling was not taken off between them, how much one mounting differs from the next is in no limit and no verdict; take it off before each run, or note the mounting",
                Named::list(&self.perhaps_one_mounting)
            ));
        }
        if !self.carries_drift() {
            notes.push(
                "no risk of a wrong verdict is promised for this order; warm up first, run the setups in turn or in random order with the baseline between them, as the plan of a trial draws it, and judge that"
                    .to_owned(),
            );
        }
        notes
    }
}

impl Named {
    fn list(all: &[Self]) -> String {
        all.iter().map(Self::words).collect::<Vec<_>>().join(", ")
    }

    /// The setup, and the tool where one is named.
    #[must_use]
    pub fn words(&self) -> String {
        let tool = self.tool.as_ref().map_or_else(String::new, |tool| format!(" with '{tool}'"));
        format!("'{}'{tool}", self.setup)
    }
}

/// Setups of which one run follows another with the same tool, where no mounting is noted.
fn perhaps_one_mounting(observations: &[Observation], cells: &Cells) -> Vec<Named> {
    let again = |cell: &&Cell| {
        let of_tool = cells.counted.iter().map(|row| &observations[*row]);
        let mut before: Option<&Observation> = None;
        of_tool.filter(|o| o.tool == cells.tools[cell.tool]).any(|o| {
            let follows = before.is_some_and(|b| b.setup == cell.setup && o.setup == b.setup);
            before = Some(o);
            follows && o.mounting.is_none()
        })
    };
    let all = cells.cells.iter().filter(again);
    all.map(|cell| Named { setup: cell.setup.clone(), tool: cells.tools[cell.tool].clone() }).collect()
}

/// Setups of two runs and more that all follow each other among the runs of their tool.
fn in_blocks(observations: &[Observation], cells: &Cells) -> Vec<Named> {
    let one_piece = |tool: usize, rows: &[usize]| {
        let of_tool = cells.counted.iter().filter(|row| observations[**row].tool == cells.tools[tool]);
        let place = |wanted: usize| of_tool.clone().position(|row| *row == wanted);
        let ends = rows.first().zip(rows.last()).and_then(|(first, last)| place(*first).zip(place(*last)));
        rows.len() > 1 && ends.is_some_and(|(first, last)| last - first + 1 == rows.len())
    };
    let blocks = cells.cells.iter().filter(|cell| one_piece(cell.tool, &cell.rows));
    blocks.map(|cell| Named { setup: cell.setup.clone(), tool: cells.tools[cell.tool].clone() }).collect()
}
