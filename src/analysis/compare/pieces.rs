//! What each piece costs: ln(value) on how often each piece is in the chain, one level a tool, the same drift.
//!
//! Or, on request, 1/value² on the same counts (see [`PieceModel`]). A piece that is in every chain is part of the level.
//! Pieces that the design cannot tell apart are given as the combination it can tell. Repeats test whether losses simply
//! multiply (lack of fit). Must not know the order of pieces in a chain, nor where the values come from.

use super::answer::{DriftFound, FREEDOM_MIN, NO_SPREAD, SPREAD_MIN, TOO_FEW};
use super::cells::Cells;
use super::checks::look;
use super::compliance::{self, Compliance};
use super::estimable::Estimable;
use super::mounting::{Mean, Mounted};
use super::observation::{CompareError, Drift, Observation, Question};
pub use super::pieces_answer::{LackOfFit, OtherModel, PieceEffects, PieceModel, PieceRow, Prediction};
use super::regression::Fitted;
use super::resolution::resolution;
use boltscribe_numerics::distributions::{f_sf, t_two_sided, t_two_sided_quantile};
use boltscribe_numerics::{Design, LinearError, LinearFit, least_squares};

const TOO_COARSE: &str =
    "repeats scatter by less than half a step of the readings, so they tell no spread to judge pieces by";
const CANNOT_TELL: &str =
    "the runs cannot tell this chain: it needs pieces apart that were only tried together, or untried ones";
const BEYOND: &str = "a piece stands more often in this chain than in any that was tried";

/// Works out what pieces do if losses multiply; `untried` is a chain to predict.
///
/// # Errors
/// As [`super::compare`]; a run without pieces, a setup with two different chains, brackets.
pub fn piece_effects(
    observations: &[Observation],
    question: &Question,
    untried: Option<&[String]>,
) -> Result<PieceEffects, CompareError> {
    piece_effects_by(observations, question, untried, PieceModel::Product)
}

/// The same by a model that is chosen beforehand; how the runs lie about the other is told beside it.
///
/// # Errors
/// As [`piece_effects`]; compliances of several tools, or losses that they cannot make.
pub fn piece_effects_by(
    observations: &[Observation],
    question: &Question,
    untried: Option<&[String]>,
    wanted: PieceModel,
) -> Result<PieceEffects, CompareError> {
    let runs = Cells::new(observations, question)?;
    let drift = runs.drift(observations, question);
    if drift == Drift::Bracket {
        return Err(CompareError::NoPieceBracket);
    }
    same_chain(observations, &runs)?;
    // Pulls of one mounting are one reading, as in a comparison of setups.
    let mounted = Mounted::of(observations, Mean::Geometric)?;
    let observations = mounted.as_ref().map_or(observations, |mounted| &mounted.observations);
    let cells = Cells::new(observations, question)?;
    let whole = Fitted::new(observations, &cells, drift)?;
    let base = observations.iter().find(|o| o.excluded.is_none() && o.setup == question.baseline);
    let base: &[String] = base.map_or(&[], |base| &base.pieces);
    let product = Model::new(observations, &cells, &whole.hours, drift)?;
    let compliance = product.compliance(base, &whole.hours, drift);
    let (model, other) = match wanted {
        PieceModel::Product => (product, compliance.ok()),
        PieceModel::Compliance => (compliance?, Some(product)),
    };
    let other = other.map(|other| OtherModel {
        model: other.model(),
        residual_sd_percent: other.fit.residual_sd().map(|s| 100.0 * s),
        lack_of_fit: lack_of_fit(&other.fit, &whole.fit),
    });
    let freedom = model.fit.degrees_of_freedom;
    let spread = model.fit.residual_sd().filter(|s| *s > SPREAD_MIN);
    let steps = resolution(observations, &cells.counted, model.fit.residual_sd());
    let note = match (freedom >= FREEDOM_MIN, spread, steps) {
        (false, _, _) => Some(TOO_FEW),
        (true, _, Some(steps)) if steps.counts => Some(TOO_COARSE),
        (true, None, _) => Some(NO_SPREAD),
        (true, Some(_), _) => None,
    };
    let excluded = observations.iter().filter_map(|o| o.excluded.clone().map(|why| (o.run, why))).collect();
    Ok(PieceEffects {
        model: wanted,
        other,
        drift,
        drift_found: model.drift(drift, note.is_none()),
        residual_sd_percent: model.fit.residual_sd().map(|s| 100.0 * s),
        degrees_of_freedom: freedom,
        excluded,
        in_every_chain: model.estimable.in_every_row(cells.tools.len(), &model.names),
        pieces: model.rows(note, question.alpha),
        lack_of_fit: lack_of_fit(&model.fit, &whole.fit),
        checks: look(&model.fit.residuals, &model.leverages, freedom),
        prediction: untried.map(|chain| model.predict(observations, question, chain, note)),
    })
}

/// Each setup must be one chain.
fn same_chain(observations: &[Observation], cells: &Cells) -> Result<(), CompareError> {
    for row in &cells.counted {
        let o = &observations[*row];
        if o.pieces.is_empty() {
            return Err(CompareError::NoPieces { row: *row, run: o.run });
        }
        let first = cells.counted.iter().map(|r| &observations[*r]).find(|f| f.setup == o.setup);
        if let Some(first) = first.filter(|f| f.pieces != o.pieces) {
            return Err(CompareError::TwoChains {
                row: *row,
                run: o.run,
                setup: o.setup.clone(),
                expected: first.pieces.join(" + "),
                found: o.pieces.join(" + "),
            });
        }
    }
    Ok(())
}

struct Model {
    names: Vec<String>,
    tools: usize,
    counts: Vec<Vec<f64>>,
    estimable: Estimable,
    fit: LinearFit,
    leverages: Vec<f64>,
    /// ln(value) of each run.
    values: Vec<f64>,
    /// Compliances and the baseline's chain in their columns; none: losses multiply.
    compliance: Option<(Compliance, Vec<f64>)>,
}

impl Model {
    fn new(
        observations: &[Observation],
        cells: &Cells,
        hours: &[f64],
        drift: Drift,
    ) -> Result<Self, CompareError> {
        let mut names: Vec<String> = Vec::new();
        for piece in cells.counted.iter().flat_map(|r| &observations[*r].pieces) {
            if !names.contains(piece) {
                names.push(piece.clone());
            }
        }
        let row = |r: &usize| {
            let o = &observations[*r];
            let level = cells.tools.iter().map(|t| f64::from(u8::from(*t == o.tool)));
            level.chain(count(&names, &o.pieces)).collect::<Vec<f64>>()
        };
        let counts: Vec<Vec<f64>> = cells.counted.iter().map(row).collect();
        let estimable = Estimable::of(&counts);
        let mut design = Design::new();
        for column in &estimable.pivots {
            let values: Vec<f64> = counts.iter().map(|c| c[*column]).collect();
            design = design.with(format!("column {column}"), &values);
        }
        if drift == Drift::Linear {
            design = design.with("time", hours);
        }
        let values: Vec<f64> = cells.counted.iter().map(|r| libm::log(observations[*r].value)).collect();
        let fit = least_squares(&design, &values, None).map_err(|error| match error {
            LinearError::Rank { .. } | LinearError::TooFew { .. } if drift == Drift::Linear => {
                CompareError::Drift
            }
            other => CompareError::Fit(other),
        })?;
        let leverage = |(c, hour): (&Vec<f64>, &f64)| {
            let mut x: Vec<f64> = estimable.pivots.iter().map(|p| c[*p]).collect();
            if drift == Drift::Linear {
                x.push(*hour);
            }
            fit.unscaled_variance(&x)
        };
        let leverages = counts.iter().zip(hours).map(leverage).collect();
        let tools = cells.tools.len();
        Ok(Self { names, tools, counts, estimable, fit, leverages, values, compliance: None })
    }

    const fn model(&self) -> PieceModel {
        if self.compliance.is_some() { PieceModel::Compliance } else { PieceModel::Product }
    }

    /// The same runs by compliances.
    fn compliance(&self, base: &[String], hours: &[f64], drift: Drift) -> Result<Self, CompareError> {
        if self.tools != 1 {
            return Err(CompareError::ManyTools { found: self.tools });
        }
        let column = |k: &usize| self.counts.iter().map(|c| c[*k]).collect::<Vec<f64>>();
        let columns: Vec<Vec<f64>> = self.estimable.pivots.iter().map(column).collect();
        let found = compliance::fit(&columns, (drift == Drift::Linear).then_some(hours), &self.values)
            .ok_or(CompareError::NoCompliance)?;
        let chain: Vec<f64> = std::iter::once(1.0).chain(count(&self.names, base)).collect();
        let base = self.estimable.weights(&chain).ok_or(CompareError::NoCompliance)?;
        Ok(Self {
            names: self.names.clone(),
            tools: self.tools,
            counts: self.counts.clone(),
            estimable: self.estimable.clone(),
            fit: found.fit.clone(),
            leverages: self.leverages.clone(),
            values: self.values.clone(),
            compliance: Some((found, base)),
        })
    }

    /// ln of what a change of the baseline's chain leaves, with what it takes of each coefficient.
    fn effect(&self, change: &[f64]) -> Option<(f64, Vec<f64>)> {
        match &self.compliance {
            None => Some((self.fit.combination(change), change.to_vec())),
            Some((compliance, base)) => compliance.effect(base, change),
        }
    }

    fn drift(&self, drift: Drift, judged: bool) -> Option<DriftFound> {
        let at = self.fit.coefficients.len() - 1;
        let slope = (drift == Drift::Linear).then(|| match &self.compliance {
            Some((compliance, _)) => compliance.slope.unwrap_or(f64::NAN),
            None => self.fit.coefficients[at],
        })?;
        let se = self.fit.standard_error(at).filter(|_| judged);
        Some(DriftFound {
            percent_per_hour: 100.0 * slope,
            se_percent_per_hour: se.map(|se| 100.0 * se),
            p_value: se.map(|se| t_two_sided(slope / se, self.fit.degrees_of_freedom as f64)),
        })
    }

    fn rows(&self, note: Option<&'static str>, alpha: f64) -> Vec<PieceRow> {
        let df = self.fit.degrees_of_freedom as f64;
        let of_pieces: Vec<usize> =
            (0..self.estimable.pivots.len()).filter(|k| self.estimable.pivots[*k] >= self.tools).collect();
        let row = |k: &usize| {
            let mut change = vec![0.0; self.estimable.pivots.len()];
            change[*k] = 1.0;
            let (effect, gradient) = self.effect(&change).unwrap_or((f64::NAN, change));
            let se = self
                .fit
                .combination_se(&gradient)
                .filter(|se| note.is_none() && effect.is_finite() && *se > 0.0);
            let half = se.map(|se| se * t_two_sided_quantile(1.0 - alpha, df));
            let p_value = se.map(|se| t_two_sided(effect / se, df));
            let combination = self.estimable.rows[*k][self.tools..].iter().zip(&self.names);
            PieceRow {
                combination: combination.filter(|(c, _)| **c != 0.0).map(|(c, n)| (n.clone(), *c)).collect(),
                percent: 100.0 * libm::exp(effect),
                limits: half.map(|h| (100.0 * libm::exp(effect - h), 100.0 * libm::exp(effect + h))),
                p_value,
                p_adjusted: p_value.map(|p| (p * of_pieces.len() as f64).min(1.0)),
                note,
            }
        };
        of_pieces.iter().map(row).collect()
    }

    fn predict(
        &self,
        observations: &[Observation],
        question: &Question,
        chain: &[String],
        note: Option<&'static str>,
    ) -> Prediction {
        let none = Prediction { percent: None, limits: None, one_run: None, note: Some(CANNOT_TELL) };
        let base = observations.iter().find(|o| o.excluded.is_none() && o.setup == question.baseline);
        let (Some(base), true) = (base, chain.iter().all(|p| self.names.contains(p))) else { return none };
        let new: Vec<f64> = count(&self.names, chain).collect();
        let difference: Vec<f64> =
            new.iter().zip(count(&self.names, &base.pieces)).map(|(n, b)| n - b).collect();
        let mut wanted = vec![0.0; self.tools];
        wanted.extend(&difference);
        let Some(weights) = self.estimable.weights(&wanted) else { return none };
        let Some((effect, weights)) = self.effect(&weights) else { return none };
        let percent = |d: f64| 100.0 * libm::exp(effect + d);
        let (t, variance) = (
            t_two_sided_quantile(1.0 - question.alpha, self.fit.degrees_of_freedom as f64),
            self.fit.unscaled_variance(&weights).max(0.0),
        );
        let sd = self.fit.residual_sd().filter(|_| note.is_none());
        let limits = |variance: f64| {
            let half = sd.map(|s| t * s * variance.sqrt())?;
            Some((percent(-half), percent(half)))
        };
        let most = |k: usize| self.counts.iter().fold(0.0_f64, |most, c| most.max(c[self.tools + k]));
        let beyond = new.iter().enumerate().any(|(k, n)| *n > most(k));
        Prediction {
            percent: Some(percent(0.0)),
            limits: limits(variance),
            one_run: limits(1.0 + variance),
            note: note.or(beyond.then_some(BEYOND)),
        }
    }
}

/// How often each of `names` is in a chain.
fn count<'a>(names: &'a [String], chain: &'a [String]) -> impl Iterator<Item = f64> + 'a {
    names.iter().map(move |name| chain.iter().filter(|p| *p == name).count() as f64)
}

/// The pieces' fit against the fit of every chain by itself.
fn lack_of_fit(pieces: &LinearFit, chains: &LinearFit) -> Option<LackOfFit> {
    let below = chains.degrees_of_freedom;
    let above = pieces.degrees_of_freedom.checked_sub(below).filter(|above| *above > 0)?;
    if below == 0 || chains.residual_sd()? < SPREAD_MIN {
        return None;
    }
    let more = (pieces.residual_sum_of_squares - chains.residual_sum_of_squares).max(0.0) / above as f64;
    let f = more / (chains.residual_sum_of_squares / below as f64);
    Some(LackOfFit { f, above, below, p_value: f_sf(f, above as f64, below as f64) })
}
