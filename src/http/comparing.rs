//! The comparison of a stored trial: its runs before `compare`, with what their calibration brings.
//!
//! A file of the same values gives the same answer; only the limits with the calibration's part need the store.

use super::body::Asked;
use super::budgets::line_of;
use super::comparison_query::{By, ComparisonQuery, check};
use super::looks::look;
use super::openapi::Refused;
use super::problem::Problem;
use super::simulating::simulated;
use super::state::State;
use super::trial_state::{Reading, Trial, load};
use axum::Json;
use axum::extract::{Path, State as Shared};
use boltscribe_analysis::compare::{
    Asked as AskedOf, Common, CompareError, Comparison, LeftOut, Observation, PieceEffects, PiecesCompared,
    Question, SetupCompared, SetupsCompared, Totals, compare, of_pieces, of_setups, piece_effects_by, total,
};
use boltscribe_analysis::metrology::budget::{Budget, Line};
use boltscribe_analysis::results::uncertainty::{KnownLine, LINE_IN_RATIO, SCATTER_IN_RATIO, against};
use boltscribe_analysis::results::{Figure, Measure};
use boltscribe_numerics::steadiness::PATIENCE;
use boltscribe_store::{Reader, RunId};
use serde::Serialize;
use std::collections::HashMap;
use utoipa::ToSchema;

/// Risk of a wrong verdict where nobody says which.
pub(super) const ALPHA: f64 = 0.05;

/// A comparison of the runs of a trial.
#[derive(Debug, Serialize, ToSchema)]
#[serde(untagged)]
#[schema(as = TrialCompared)]
pub enum Compared {
    /// Of its setups by the gate, where no figure was named.
    WithPlateau(TrialSetupsAndPlateau),
    /// Of its setups.
    Setups(TrialSetups),
    /// Of their pieces.
    Pieces(TrialPieces),
}

/// The setups of a trial compared with its baseline.
#[derive(Debug, Serialize, ToSchema)]
pub struct TrialSetups {
    /// Name of the trial.
    trial: String,
    /// One of its runs comes from a simulated device.
    simulated: bool,
    #[serde(flatten)]
    found: SetupsCompared,
}

/// The setups of a trial by the gate, and by the plateau of the same runs.
#[derive(Debug, Serialize, ToSchema)]
pub struct TrialSetupsAndPlateau {
    #[serde(flatten)]
    setups: TrialSetups,
    /// By the plateau; null where it cannot be compared.
    beside: Option<Beside>,
}

/// The same runs by another figure.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ComparedBeside)]
pub struct Beside {
    /// Which figure.
    measure: String,
    /// Each tool's baseline, then its other setups.
    setups: Vec<SetupCompared>,
}

/// What the pieces of a trial do.
#[derive(Debug, Serialize, ToSchema)]
pub struct TrialPieces {
    /// Name of the trial.
    trial: String,
    /// One of its runs comes from a simulated device.
    simulated: bool,
    #[serde(flatten)]
    found: PiecesCompared,
}

/// The setups of a trial compared with its baseline, or the effects of their pieces.
///
/// Where nothing else is asked, the plateau of the same runs stands `beside` the gate.
///
/// # Errors
/// None of this name, no runs with the figure, what `compare` refuses; the store's.
#[utoipa::path(
    get, path = "/trials/{name}/comparison", operation_id = "compare_trial", tag = "trials",
    params(("name" = String, Path, description = "Name of the trial"), ComparisonQuery),
    responses(
        (status = 200, body = Compared,
         description = "Differences from the baseline in percent with limits, or effects of pieces"),
        Refused
    )
)]
pub async fn comparison(
    Shared(state): Shared<State>,
    Path(name): Path<String>,
    Asked(query): Asked<ComparisonQuery>,
) -> Result<Json<Compared>, Problem> {
    check(&query)?;
    state.read(move |reader| answer(reader, &name, &query)).await.map(Json)
}

/// The runs of a trial by one measure, and what is asked of them.
pub(super) struct Asking<'a> {
    trial: &'a Trial,
    pub(super) query: &'a ComparisonQuery,
    measure: Measure,
    pub(super) question: Question,
    /// What is to be known of this look, and whether the risk counts it.
    look: Option<(String, bool)>,
    /// Runs with the figure, in time order.
    pub(super) observations: Vec<Observation>,
    /// The same, as they were read.
    readings: Vec<Reading>,
    /// Runs without it, with why they took no step.
    without: Vec<LeftOut>,
}

impl<'a> Asking<'a> {
    /// Takes the runs of a trial before a question.
    ///
    /// # Errors
    /// No run has the figure; the store's.
    pub(super) fn new(
        reader: &Reader,
        trial: &'a Trial,
        query: &'a ComparisonQuery,
        measure: Measure,
    ) -> Result<Self, Problem> {
        let (mut observations, mut readings, mut without) = (Vec::new(), Vec::new(), Vec::new());
        for row in trial.readings(reader, measure)? {
            match (row.value_kn, &row.setup, u64::try_from(row.run.0)) {
                (Some(value), Some(setup), Ok(run)) => {
                    observations.push(Observation {
                        run,
                        time_s: row.time_s,
                        setup: setup.clone(),
                        tool: row.tool.clone(),
                        value,
                        pieces: row.pieces.clone(),
                        mounting: row.mounting.clone(),
                        resolution: row.resolution_kn,
                        excluded: row.excluded.clone(),
                    });
                    readings.push(row);
                }
                _ => without.push(LeftOut { run: row.run.0.unsigned_abs(), why: row.excluded }),
            }
        }
        let name = &trial.row.plan.name;
        if observations.is_empty() {
            let what =
                format!("trial '{name}': expected runs with a figure '{}', found none", measure.name());
            return Err(Problem::conflict(what).hint("`boltscribe trial show` tells how far it is"));
        }
        let risk = query.alpha.unwrap_or(ALPHA);
        let (alpha, look) = look(trial, risk);
        let question = Question {
            baseline: query.baseline.clone().unwrap_or_else(|| trial.row.plan.baseline.clone()),
            drift: query.drift,
            alpha,
        };
        Ok(Self { trial, query, measure, question, look, observations, readings, without })
    }

    fn asked(&self) -> AskedOf<'_> {
        AskedOf {
            measure: self.measure.name(),
            quantity: "tension",
            unit: "kN",
            gate_s: self.trial.gate_s(self.measure),
            baseline: &self.question.baseline,
            alpha: self.question.alpha,
            difference: self.query.difference,
            expected_sd: self.query.expected_sd,
            no_loss_above: self.query.no_loss_above,
        }
    }

    fn refused(&self, error: &CompareError) -> Problem {
        let problem = Problem::unprocessable(format!("trial '{}': {error}", self.trial.row.plan.name));
        match error {
            CompareError::Drift => problem.hint("give `--drift none`, or repeat a setup later"),
            CompareError::Bracket { .. } => problem.hint(
                "`--drift bracket` needs baseline runs before and after each setup; `--drift linear` does not",
            ),
            _ => problem,
        }
    }

    /// The comparison, with what the calibration brings.
    ///
    /// # Errors
    /// What `compare` refuses; the store's.
    pub(super) fn compared(&self, reader: &Reader) -> Result<(Comparison, Totals), Problem> {
        let mut found = compare(&self.observations, &self.question).map_err(|error| self.refused(&error))?;
        found.arrangement.look = self.look.clone();
        let totals = self.totals(reader, &found)?;
        Ok((found, totals))
    }

    /// What pieces do.
    ///
    /// # Errors
    /// What `compare` refuses.
    pub(super) fn effects(&self, untried: Option<&[String]>) -> Result<PieceEffects, Problem> {
        let model = self.query.model.unwrap_or_default();
        piece_effects_by(&self.observations, &self.question, untried, model)
            .map_err(|error| self.refused(&error))
    }

    fn is_simulated(&self) -> bool {
        self.trial.runs.iter().any(|(_, run)| run.simulated)
    }

    fn setups(&self, reader: &Reader) -> Result<TrialSetups, Problem> {
        let (found, totals) = self.compared(reader)?;
        let simulation = simulated(&found, self)?;
        let mut found = of_setups(&self.asked(), &found, &totals);
        found.simulation = simulation;
        found.excluded.extend(self.without.iter().cloned());
        let trial = self.trial.row.plan.name.clone();
        Ok(TrialSetups { trial, simulated: self.is_simulated(), found })
    }

    fn pieces(&self) -> Result<TrialPieces, Problem> {
        let untried = self.query.predict.as_deref().map(chain).transpose()?;
        let found = self.effects(untried.as_deref())?;
        let mut found = of_pieces(&self.asked(), &found, untried.as_deref());
        found.excluded.extend(self.without.iter().cloned());
        let trial = self.trial.row.plan.name.clone();
        Ok(TrialPieces { trial, simulated: self.is_simulated(), found })
    }

    /// Limits with what the calibration leaves in each percent.
    fn totals(&self, reader: &Reader, found: &Comparison) -> Result<Totals, Problem> {
        let counted: Vec<&Reading> = self.readings.iter().filter(|row| row.excluded.is_none()).collect();
        let names: Vec<Option<&str>> = counted.iter().map(|row| row.calibration.as_deref()).collect();
        let mut notes = Vec::new();
        let line = line_of(reader, &names, &mut notes)?;
        if names.windows(2).any(|two| two[0] != two[1]) {
            notes.push(
                "percents across calibrations hold the difference of their gains, which does not cancel and is in no limit"
                    .to_owned(),
            );
        }
        if warm_by_patience(self.trial) {
            notes.push(format!(
                "the warm-up was not shown to be steady in {PATIENCE} runs: what the drift does not carry is in the percents"
            ));
        }
        let Some(line) = line else {
            notes.insert(0, "low and high cover repeatability only".to_owned());
            return Ok(Totals { limits: Vec::new(), notes });
        };
        notes.push(
            "low_total and high_total add what the calibration line and the scatter about it leave in a ratio; gain and reference cancel"
                .to_owned(),
        );
        let figures = figures(reader, &counted)?;
        let of = |tool: &Option<String>, setup: &str| -> Vec<Figure> {
            let own = counted.iter().filter(|row| row.tool == *tool && row.setup.as_deref() == Some(setup));
            own.filter_map(|row| figures.get(&row.run).cloned()).collect()
        };
        let limits = found
            .setups
            .iter()
            .map(|row| {
                let (own, base) = (of(&row.tool, &row.setup), of(&row.tool, &self.question.baseline));
                total(row, left(&own, &base, &line)?, self.question.alpha)
            })
            .collect();
        Ok(Totals { limits, notes })
    }
}

/// The figure of each run with its zero.
fn figures(reader: &Reader, rows: &[&Reading]) -> Result<HashMap<RunId, Figure>, Problem> {
    let mut all = HashMap::new();
    for row in rows {
        if let Some(value_kn) = row.value_kn {
            let zero_kn = reader.run_zero_kn(row.run)?;
            all.insert(row.run, Figure { value_kn, zero_kn, lines: Vec::new() });
        }
    }
    Ok(all)
}

/// What a calibration leaves in the ratio of two groups; none where it does not tell their counts.
fn left(own: &[Figure], base: &[Figure], line: &KnownLine) -> Option<Common> {
    let ratio = against(own, base, Some(line))?.ratio;
    let of_line = |l: &Line| [LINE_IN_RATIO, SCATTER_IN_RATIO].contains(&l.name.as_str());
    let left = Budget::new(ratio.budget.lines.into_iter().filter(of_line).collect());
    let combined = (!left.lines.is_empty()).then(|| left.combine())?;
    Some(Common {
        share_u: (combined.standard_uncertainty / ratio.value).abs(),
        freedom: combined.degrees_of_freedom,
    })
}

/// Whether the trial went on although its rig was not shown to be warm.
fn warm_by_patience(trial: &Trial) -> bool {
    trial.progress().not_shown_steady
}

/// A chain as asked for: names with `+` between.
fn chain(text: &str) -> Result<Vec<String>, Problem> {
    let names: Vec<String> = text.split('+').map(|piece| piece.trim().to_owned()).collect();
    if names.iter().any(String::is_empty) {
        let what = format!("predict: expected pieces joined by '+', found '{text}'");
        return Err(Problem::unprocessable(what));
    }
    Ok(names)
}

fn answer(reader: &Reader, name: &str, query: &ComparisonQuery) -> Result<Compared, Problem> {
    let trial = load(reader, name)?;
    let measure = query.measure.unwrap_or(trial.row.plan.measure);
    let asking = Asking::new(reader, &trial, query, measure)?;
    if query.by == Some(By::Piece) {
        return asking.pieces().map(Compared::Pieces);
    }
    let setups = asking.setups(reader)?;
    if query.measure.is_some() || measure != Measure::Gate {
        return Ok(Compared::Setups(setups));
    }
    // Where the plateau cannot be compared the gate still can.
    let beside = Asking::new(reader, &trial, query, Measure::Plateau).and_then(|a| a.setups(reader)).ok();
    let beside = beside.map(|also| Beside { measure: also.found.head.measure, setups: also.found.setups });
    Ok(Compared::WithPlateau(TrialSetupsAndPlateau { setups, beside }))
}
