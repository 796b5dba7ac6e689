//! What each piece costs: ln(value) on how often each piece is in the chain, one level a tool, the same drift.
//!
//! A piece that is in every chain is part of the level. Pieces that the design cannot tell apart are given as
//! the combination it can tell. Repeats test whether losses simply multiply (lack of fit). Must not know the
//! order of pieces in a chain, nor where the values come from.

use super::answer::{DriftFound, FREEDOM_MIN, NO_SPREAD, SPREAD_MIN, TOO_FEW};
use super::cells::Cells;
use super::checks::{Checks, look};
use super::estimable::Estimable;
use super::mounting::{Mean, Mounted};
use super::observation::{CompareError, Drift, Observation, Question};
use super::regression::Fitted;
use super::resolution::resolution;
use boltscribe_numerics::distributions::{f_sf, t_two_sided, t_two_sided_quantile};
use boltscribe_numerics::{Design, LinearError, LinearFit, least_squares};

/// What a piece, or a combination that cannot be told apart further, does.
#[derive(Clone, Debug, PartialEq)]
pub struct PieceRow {
    /// Pieces with how often each counts; more than one where the design cannot tell them apart.
    pub combination: Vec<(String, f64)>,
    /// 100·exp of the effect: what one more of it leaves.
    pub percent: f64,
    /// Limits of that percent by itself.
    pub limits: Option<(f64, f64)>,
    /// Two-sided p of no effect.
    pub p_value: Option<f64>,
    /// The same times the number of effects (Bonferroni).
    pub p_adjusted: Option<f64>,
    /// Why something is missing.
    pub note: Option<&'static str>,
}

impl PieceRow {
    /// The combination as a person writes it: `ext`, `ext + joint`, `ext - 2 joint`.
    #[must_use]
    pub fn label(&self) -> String {
        let mut text = String::new();
        for (k, (piece, count)) in self.combination.iter().enumerate() {
            text.push_str(match (k, *count < 0.0) {
                (0, false) => "",
                (0, true) => "- ",
                (_, false) => " + ",
                (_, true) => " - ",
            });
            let size = count.abs();
            if (size - 1.0).abs() > 1e-9 {
                text.push_str(&format!("{size} "));
            }
            text.push_str(piece);
        }
        text
    }
}

/// Whether losses simply multiply.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LackOfFit {
    /// Mean square of what pieces do not explain between chains, over that of repeats.
    pub f: f64,
    /// Chains beyond what pieces explain.
    pub above: usize,
    /// Degrees of freedom of the repeats.
    pub below: usize,
    /// p of losses that multiply.
    pub p_value: f64,
}

/// A chain that was not tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// Percent of the baseline; none where the design cannot tell.
    pub percent: Option<f64>,
    /// Limits of its mean.
    pub limits: Option<(f64, f64)>,
    /// Limits of one run of it.
    pub one_run: Option<(f64, f64)>,
    /// Why something is missing, or a caution.
    pub note: Option<&'static str>,
}

/// What pieces do.
#[derive(Clone, Debug)]
pub struct PieceEffects {
    /// How drift was taken out: none or linear.
    pub drift: Drift,
    /// Its slope.
    pub drift_found: Option<DriftFound>,
    /// 100 × the residual SD of ln(value).
    pub residual_sd_percent: Option<f64>,
    /// Of that SD.
    pub degrees_of_freedom: usize,
    /// Runs that do not count.
    pub excluded: Vec<(u64, String)>,
    /// Pieces that are in every chain: part of the baseline's level.
    pub in_every_chain: Vec<String>,
    /// The effects.
    pub pieces: Vec<PieceRow>,
    /// None where nothing is left to test with.
    pub lack_of_fit: Option<LackOfFit>,
    /// What the residuals look like.
    pub checks: Checks,
    /// The untried chain, where one was asked for.
    pub prediction: Option<Prediction>,
}

const TOO_COARSE: &str =
    "repeats scatter by less than half a step of the readings, so they tell no spread to judge pieces by";
const CANNOT_TELL: &str =
    "the runs cannot tell this chain: it needs pieces apart that were only tried together, or untried ones";
const BEYOND: &str = "a piece stands more often in this chain than in any that was tried";

/// Works out what pieces do; `untried` is a chain to predict.
///
/// # Errors
/// As [`super::compare`]; a run without pieces, a setup with two different chains, brackets.
pub fn piece_effects(
    observations: &[Observation],
    question: &Question,
    untried: Option<&[String]>,
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
    let model = Model::new(observations, &cells, &whole.hours, drift)?;
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
        Ok(Self { names, tools: cells.tools.len(), counts, estimable, fit, leverages })
    }

    fn drift(&self, drift: Drift, judged: bool) -> Option<DriftFound> {
        let at = self.fit.coefficients.len() - 1;
        let slope = (drift == Drift::Linear).then(|| self.fit.coefficients[at])?;
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
            let effect = self.fit.coefficients[*k];
            let se = self.fit.standard_error(*k).filter(|_| note.is_none());
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
        let effect = self.fit.combination(&weights);
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
