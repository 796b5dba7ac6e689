//! The uncertainty budget of the GUM (JCGM 100): lines, combined uncertainty, effective degrees of freedom,
//! coverage.
//!
//! Lines are uncorrelated unless a correlation is given; lines of one estimate of variance share its degrees of
//! freedom. Sensitivities may be found from the model by central
//! differences. Must not know what is measured.

use boltscribe_numerics::distributions::t_two_sided_quantile;

/// Share by which degrees of freedom may lie below a whole number by rounding alone: 3 come out of sums of squares as
/// 2.999999999999999, whose t would be that of 2.
const ROUNDING: f64 = 1e-9;

/// One source of uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// What it is.
    pub name: String,
    /// Its share of the result: sensitivity × standard uncertainty, in units of the result.
    pub contribution: f64,
    /// Degrees of freedom; infinite where the uncertainty is taken as known.
    pub degrees_of_freedom: f64,
    /// The estimate of variance that it stems from, where other lines may stem from the same; none: its own.
    pub estimate: Option<&'static str>,
}

impl Line {
    /// A line of known uncertainty, in units of the result.
    #[must_use]
    pub fn known(name: impl Into<String>, contribution: f64) -> Self {
        Self::sampled(name, contribution, f64::INFINITY)
    }

    /// A line from a sample with so many degrees of freedom.
    #[must_use]
    pub fn sampled(name: impl Into<String>, contribution: f64, degrees_of_freedom: f64) -> Self {
        Self { name: name.into(), contribution, degrees_of_freedom, estimate: None }
    }

    /// The same line, from an estimate of variance that other lines of this name for it share. Errors stay
    /// uncorrelated; what is shared is how well their size is known.
    #[must_use]
    pub fn from_estimate(self, estimate: &'static str) -> Self {
        Self { estimate: Some(estimate), ..self }
    }

    /// A value known to lie evenly within ± `half_width`: u = half-width/√3 (JCGM 100, 4.3.7).
    #[must_use]
    pub fn rectangular(name: impl Into<String>, half_width: f64, sensitivity: f64) -> Self {
        Self::known(name, sensitivity * half_width / libm::sqrt(3.0))
    }
}

/// A budget of lines, with the correlations between some of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    /// The lines.
    pub lines: Vec<Line>,
    /// Places of two lines and their correlation.
    pub correlations: Vec<(usize, usize, f64)>,
}

/// What a budget comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Combined {
    /// Combined standard uncertainty.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom by Welch and Satterthwaite.
    pub degrees_of_freedom: f64,
    /// Name and share of the variance of the line that has most of it.
    pub dominating: Option<(String, f64)>,
}

/// An expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expanded {
    /// Half-width of the interval.
    pub uncertainty: f64,
    /// Coverage factor k.
    pub coverage_factor: f64,
    /// Coverage probability.
    pub level: f64,
    /// Degrees of freedom that k was taken at.
    pub degrees_of_freedom: f64,
}

impl Budget {
    /// Of these uncorrelated lines.
    #[must_use]
    pub const fn new(lines: Vec<Line>) -> Self {
        Self { lines, correlations: Vec::new() }
    }

    /// The lines as parts that know nothing of each other's size: lines of one estimate of variance are one
    /// part, which has the estimate's degrees of freedom.
    ///
    /// The formula of Welch and Satterthwaite wants estimates that are independent (JCGM 100, G.4.1). s²·a and
    /// s²·b of one s² with ν are not, but their sum s²·(a + b) has ν just as s² has.
    #[must_use]
    pub fn parts(&self) -> Vec<Line> {
        let mut parts: Vec<(Line, f64)> = Vec::new();
        let mut part_of = Vec::with_capacity(self.lines.len());
        for line in &self.lines {
            let shared = |(part, _): &(Line, f64)| line.estimate.is_some() && part.estimate == line.estimate;
            let at = parts.iter().position(shared).unwrap_or(parts.len());
            match parts.get_mut(at) {
                Some((part, variance)) => {
                    *variance += line.contribution * line.contribution;
                    part.degrees_of_freedom = part.degrees_of_freedom.min(line.degrees_of_freedom);
                }
                None => parts.push((line.clone(), line.contribution * line.contribution)),
            }
            part_of.push(at);
        }
        for correlation in &self.correlations {
            let at = part_of.get(correlation.0);
            if at.is_some()
                && at == part_of.get(correlation.1)
                && let Some((_, variance)) = at.and_then(|at| parts.get_mut(*at))
            {
                *variance += self.between(correlation);
            }
        }
        let whole =
            |(part, variance): (Line, f64)| Line { contribution: libm::sqrt(variance.max(0.0)), ..part };
        parts.into_iter().map(whole).collect()
    }

    /// What the correlation of two lines adds to the variance.
    fn between(&self, (i, j, r): &(usize, usize, f64)) -> f64 {
        let both = self.lines.get(*i).zip(self.lines.get(*j));
        both.map_or(0.0, |(a, b)| 2.0 * r * a.contribution * b.contribution)
    }

    /// Combines the lines (JCGM 100, 5.1.2, 5.2.2 and G.4.1).
    ///
    /// The formula of Welch and Satterthwaite is taken over [`Self::parts`]. Correlations between parts count in
    /// the combined uncertainty and leave the parts' own terms as they are.
    #[must_use]
    pub fn combine(&self) -> Combined {
        let own: f64 = self.lines.iter().map(|l| l.contribution * l.contribution).sum();
        let variance = (own + self.correlations.iter().map(|c| self.between(c)).sum::<f64>()).max(0.0);
        let term = |part: &Line| part.contribution.powi(4) / part.degrees_of_freedom;
        let terms: f64 = self.parts().iter().map(term).sum();
        let degrees_of_freedom = if terms > 0.0 { variance * variance / terms } else { f64::INFINITY };
        let largest = self.lines.iter().max_by(|a, b| a.contribution.abs().total_cmp(&b.contribution.abs()));
        let share = |l: &Line| (l.name.clone(), l.contribution * l.contribution / own);
        Combined {
            standard_uncertainty: libm::sqrt(variance),
            degrees_of_freedom,
            dominating: largest.filter(|l| l.contribution != 0.0).map(share),
        }
    }
}

impl Combined {
    /// Expands to a coverage probability `level`, with Student's t at the degrees of freedom cut to a whole
    /// number (JCGM 100, G.4.1), at least 1.
    #[must_use]
    pub fn expand(&self, level: f64) -> Expanded {
        let whole = self.degrees_of_freedom * (1.0 + ROUNDING);
        let degrees_of_freedom = libm::floor(whole).max(1.0);
        let coverage_factor = t_two_sided_quantile(level, degrees_of_freedom);
        Expanded {
            uncertainty: coverage_factor * self.standard_uncertainty,
            coverage_factor,
            level,
            degrees_of_freedom,
        }
    }
}

/// An input of a model.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// What it is.
    pub name: String,
    /// Its estimate.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of that.
    pub degrees_of_freedom: f64,
}

/// The result of a model at its inputs' estimates, and its budget to first order (JCGM 100, 5.1.3).
///
/// Sensitivities come from the model one standard uncertainty either side of each estimate.
#[must_use]
pub fn propagate(model: impl Fn(&[f64]) -> f64, inputs: &[Input]) -> (f64, Budget) {
    let at: Vec<f64> = inputs.iter().map(|i| i.value).collect();
    let moved = |k: usize, by: f64| {
        let mut x = at.clone();
        x[k] += by;
        model(&x)
    };
    let line = |(k, i): (usize, &Input)| {
        let u = i.standard_uncertainty;
        Line::sampled(i.name.clone(), 0.5 * (moved(k, u) - moved(k, -u)), i.degrees_of_freedom)
    };
    (model(&at), Budget::new(inputs.iter().enumerate().map(line).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn full_correlation_adds_and_opposite_correlation_takes_away() {
        let mut budget = Budget::new(vec![Line::known("a", 3.0), Line::known("b", 4.0)]);
        assert_eq!(budget.combine().standard_uncertainty, 5.0);
        budget.correlations = vec![(0, 1, 1.0)];
        assert_eq!(budget.combine().standard_uncertainty, 7.0);
        budget.correlations = vec![(0, 1, -1.0)];
        assert_eq!(budget.combine().standard_uncertainty, 1.0);
        assert_eq!(budget.combine().dominating, Some(("b".to_owned(), 0.64)));
    }

    #[test]
    fn a_budget_of_one_sample_has_its_degrees_of_freedom() {
        let found = Budget::new(vec![Line::sampled("a", 2.0, 5.0), Line::known("b", 0.0)]).combine();
        assert_eq!(found.degrees_of_freedom, 5.0);
        assert!((found.expand(0.95).coverage_factor - 2.570_581_835_6).abs() < 1e-9);
        let nothing = Budget::default().combine();
        assert_eq!((nothing.standard_uncertainty, nothing.dominating), (0.0, None));
    }

    #[test]
    fn lines_of_one_estimate_have_its_degrees_of_freedom_together() {
        let line = |u| Line::sampled("a", u, 2.0).from_estimate("s");
        let shared = Budget::new(vec![line(3.0), Line::known("b", 0.0), line(4.0)]);
        // 5² has 2 degrees of freedom; two estimates of their own would have 5⁴/(3⁴/2 + 4⁴/2) = 3.71.
        assert!((shared.combine().degrees_of_freedom - 2.0).abs() < 1e-12);
        assert_eq!(shared.combine().standard_uncertainty, 5.0);
        let parts: Vec<f64> = shared.parts().iter().map(|part| part.contribution).collect();
        assert_eq!(parts, [5.0, 0.0]);
        let apart = Budget::new(vec![Line::sampled("a", 3.0, 2.0), Line::sampled("a", 4.0, 2.0)]).combine();
        assert!((apart.degrees_of_freedom - 625.0 / 168.5).abs() < 1e-12);
        for part in 1..100 {
            let lines = [1.0, 1.0 / f64::from(part)].map(|u| Line::sampled("a", u, 3.0).from_estimate("s"));
            assert_eq!(Budget::new(lines.to_vec()).combine().expand(0.95).degrees_of_freedom, 3.0);
        }
        let correlated = Budget { correlations: vec![(0, 2, -1.0)], ..shared };
        assert!((correlated.combine().degrees_of_freedom - 2.0).abs() < 1e-12);
        assert_eq!(correlated.combine().standard_uncertainty, 1.0);
    }
}
