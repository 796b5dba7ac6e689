//! The uncertainty of a figure of one run, of the mean of several, and of a ratio of two (JCGM 100).
//!
//! One run: what is uncertain about it alone, and what its calibration brings. A mean: how the runs scatter takes
//! the place of the former, but for the smallest step that can be read. A ratio: what is common to both cancels as far as it is common. Which calibration
//! and bolt belong to the runs is the caller's to know.

use super::measure_of::Figure;
use crate::metrology::TensionFit;
use crate::metrology::budget::{Budget, Combined, Expanded, Line};
use crate::metrology::ratio::{Read, ratio};
use boltscribe_numerics::moments;

/// Name of the line that a calibration leaves in a ratio.
pub const LINE_IN_RATIO: &str = "calibration line, common part cancelled";

/// Name of the line of what lies off the line at the two loads.
pub const SCATTER_IN_RATIO: &str = "scatter about the line, at both loads";

/// The estimate of variance that all lines of a calibration's loads stem from: their residual SD.
const SCATTER_OF_LOADS: &str = "loads about the line";
/// That of the lines of a bolt factor: the SD between its tightenings.
const SCATTER_OF_FACTOR: &str = "tightenings about their mean";

/// Coverage probability.
pub const LEVEL: f64 = 0.95;

/// A calibration against a reference.
#[derive(Clone, Debug)]
pub struct KnownLine {
    /// The line.
    pub fit: TensionFit,
    /// Standard uncertainty of the reference as a share of the load.
    pub reference_share: f64,
}

/// What is known of a bolt factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownFactor {
    /// N per N·m.
    pub factor: f64,
    /// SD between tightenings, N per N·m.
    pub sd: f64,
    /// Tightenings it was measured over.
    pub tightenings: u32,
    /// Standard uncertainty of the hand wrench as a share of the torque.
    pub wrench_share: f64,
}

/// A value with its budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Value {
    /// The value.
    pub value: f64,
    /// Its lines.
    pub budget: Budget,
    /// What they come to.
    pub combined: Combined,
    /// With k, at [`LEVEL`].
    pub expanded: Expanded,
}

/// Tension, in kN.
#[derive(Clone, Debug, PartialEq)]
pub struct Tension {
    /// The mean over the runs.
    pub mean: Value,
    /// A figure lies outside the loads of the calibration.
    pub outside: bool,
    /// Nothing of the calibration is in it.
    pub without_calibration: bool,
}

/// A ratio, A over B.
#[derive(Clone, Debug, PartialEq)]
pub struct Against {
    /// The ratio with its budget, as a plain number.
    pub ratio: Value,
    /// What the line would bring if its coefficients were taken as independent in A and B.
    pub line_u_if_apart: Option<f64>,
}

fn value(value: f64, lines: Vec<Line>) -> Value {
    let budget = Budget::new(lines);
    let combined = budget.combine();
    let expanded = combined.expand(LEVEL);
    Value { value, budget, combined, expanded }
}

/// The greatest smallest step of these figures.
///
/// It stays in a mean as it is (JCGM 100, F.2.2.1). Where runs repeat within a step, all are rounded the same way by
/// the same amount, so their mean is as far off as each of them: it does not shrink with their number. Where they
/// scatter over many steps their SD holds the rounding already, and it adds next to nothing.
fn coarsest(figures: &[Figure]) -> Option<&Line> {
    let steps = figures.iter().filter_map(Figure::resolution);
    steps.max_by(|a, b| a.contribution.abs().total_cmp(&b.contribution.abs()))
}

/// What is uncertain about the mean apart from the calibration.
fn own_lines(figures: &[Figure]) -> Option<(f64, Vec<Line>)> {
    let values: Vec<f64> = figures.iter().map(|figure| figure.value_kn).collect();
    let found = moments(&values)?;
    let lines = match (found.sd, figures) {
        (_, [only]) => only.lines.clone(),
        (Some(sd), _) => {
            let n = values.len() as f64;
            let repeats = Line::sampled("repeatability", sd / libm::sqrt(n), n - 1.0);
            std::iter::once(repeats).chain(coarsest(figures).cloned()).collect()
        }
        (None, _) => return None,
    };
    Some((found.mean, lines))
}

/// Mean counts of the figures and of their zeros.
fn counts(figures: &[Figure], fit: &TensionFit) -> Option<(f64, f64)> {
    let n = figures.len() as f64;
    let mut sums = (0.0, 0.0);
    for figure in figures {
        let zero = figure.zero_kn?;
        sums.0 += fit.counts_at(figure.value_kn + zero)?;
        sums.1 += fit.counts_at(zero)?;
    }
    Some((sums.0 / n, sums.1 / n))
}

/// The tension of these runs; none where there is no run.
#[must_use]
pub fn tension(figures: &[Figure], line: Option<&KnownLine>) -> Option<Tension> {
    let (mean, mut lines) = own_lines(figures)?;
    let (mut outside, mut without_calibration) = (false, true);
    if let Some(line) = line
        && let Some((at, zero)) = counts(figures, &line.fit)
    {
        let fit = &line.fit;
        let freedom = fit.polynomial.centred.degrees_of_freedom as f64;
        let weights: Vec<f64> =
            fit.polynomial.row(at).iter().zip(fit.polynomial.row(zero)).map(|(a, z)| a - z).collect();
        let of_line = |name: &str, u_kn| Line::sampled(name, u_kn, freedom).from_estimate(SCATTER_OF_LOADS);
        lines.push(of_line("calibration line", fit.line_u_kn(&weights)));
        lines.push(of_line("scatter about the line", fit.residual_sd_kn));
        lines.push(Line::known("reference standard", mean.abs() * line.reference_share));
        let (low, high) = fit.polynomial.range;
        outside = !(low..=high).contains(&at);
        without_calibration = false;
    }
    Some(Tension { mean: value(mean, lines), outside, without_calibration })
}

/// Equivalent torque of a tension, N·m.
#[must_use]
pub fn torque(tension: &Value, runs: usize, factor: KnownFactor) -> Value {
    let per_kn = 1000.0 / factor.factor;
    let torque = tension.value * per_kn;
    let mut lines: Vec<Line> = tension
        .budget
        .lines
        .iter()
        .map(|line| Line { contribution: line.contribution * per_kn, ..line.clone() })
        .collect();
    let n = f64::from(factor.tightenings.max(2));
    let between = torque * factor.sd / factor.factor;
    let of_factor = |name: &str, u| Line::sampled(name, u, n - 1.0).from_estimate(SCATTER_OF_FACTOR);
    lines.push(of_factor("bolt factor, its mean", between / libm::sqrt(n)));
    // Each run is a tightening of its own with a friction of its own. The scatter of several holds it already.
    if runs == 1 {
        lines.push(of_factor("bolt factor, this tightening", between));
    }
    lines.push(Line::known("hand wrench", torque * factor.wrench_share));
    value(torque, lines)
}

/// The lines of one side of a ratio: named after it, their estimates its own.
fn side(lines: Vec<Line>, (word, estimate): (&str, &'static str), by: f64) -> impl Iterator<Item = Line> {
    lines.into_iter().map(move |l| Line {
        name: format!("{} of {word}", l.name),
        contribution: l.contribution * by,
        estimate: l.estimate.map(|_| estimate),
        ..l
    })
}

/// The two sides, and the estimate that lines of each side's calibration stem from where each has its own.
const A: (&str, &str) = ("A", "loads of A about their line");
const B: (&str, &str) = ("B", "loads of B about their line");

/// The ratio of A to B on one calibration, one bolt and lubricant; none where one of them is none or B is zero.
#[must_use]
pub fn against(a: &[Figure], b: &[Figure], line: Option<&KnownLine>) -> Option<Against> {
    let ((mean_a, lines_a), (mean_b, lines_b)) = (own_lines(a)?, own_lines(b)?);
    if mean_b == 0.0 {
        return None;
    }
    let plain = mean_a / mean_b;
    let mut lines: Vec<Line> = side(lines_a, A, 1.0 / mean_b).collect();
    lines.extend(side(lines_b, B, plain / mean_b));
    let mut apart = None;
    if let Some(known) = line
        && let (Some(at_a), Some(at_b)) = (counts(a, &known.fit), counts(b, &known.fit))
    {
        let read = |(counts, zero): (f64, f64)| Read { counts, zero_counts: Some(zero), reading_u_kn: 0.0 };
        let found = ratio(&known.fit, read(at_a), read(at_b))?;
        let freedom = known.fit.polynomial.centred.degrees_of_freedom as f64;
        let of_line = |name: &str, u| Line::sampled(name, u, freedom).from_estimate(SCATTER_OF_LOADS);
        lines.push(of_line(LINE_IN_RATIO, found.line_u));
        lines.push(of_line(SCATTER_IN_RATIO, found.scatter_u));
        apart = Some(found.line_u_without_covariance);
    }
    Some(Against { ratio: value(plain, lines), line_u_if_apart: apart })
}

/// The ratio of A to B, each on a calibration of its own: all that is uncertain about either counts, and nothing of
/// the calibrations cancels.
///
/// The references are taken as independent. Where one standard loaded both, its share cancels in part, so the
/// uncertainty is too large rather than too small. None where one of them is none or does not tell its counts, or B is
/// zero.
#[must_use]
pub fn against_apart(a: &[Figure], line_a: &KnownLine, b: &[Figure], line_b: &KnownLine) -> Option<Against> {
    let (a, b) = (tension(a, Some(line_a))?, tension(b, Some(line_b))?);
    if b.mean.value == 0.0 || a.without_calibration || b.without_calibration {
        return None;
    }
    let plain = a.mean.value / b.mean.value;
    let by = 1.0 / b.mean.value;
    let lines = side(a.mean.budget.lines, A, by).chain(side(b.mean.budget.lines, B, plain * by));
    Some(Against { ratio: value(plain, lines.collect()), line_u_if_apart: None })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrology::tension_fit::fit_tension;
    use boltscribe_numerics::DoubleDouble;

    fn line() -> KnownLine {
        let exact = |v: &[f64]| v.iter().map(|v| DoubleDouble::from(*v)).collect::<Vec<_>>();
        let counts: Vec<f64> = (0..11).map(|i| f64::from(i) * 400_000.0).collect();
        let tension: Vec<f64> =
            counts.iter().enumerate().map(|(i, c)| c * 5e-5 + [0.01, -0.02, 0.015][i % 3]).collect();
        KnownLine { fit: fit_tension(&exact(&counts), &exact(&tension), 1).unwrap(), reference_share: 0.001 }
    }

    fn figure(value_kn: f64) -> Figure {
        let lines = vec![Line::known("noise", 0.02), Line::known("zero", 0.01)];
        Figure { value_kn, zero_kn: Some(1.5), lines }
    }

    fn named<'a>(value: &'a Value, name: &str) -> Option<&'a Line> {
        value.budget.lines.iter().find(|line| line.name == name)
    }

    #[test]
    fn one_run_has_its_own_lines_and_several_have_their_scatter_instead() {
        let one = tension(&[figure(80.0)], Some(&line())).unwrap().mean;
        assert_eq!(named(&one, "noise").unwrap().contribution, 0.02);
        assert!((named(&one, "reference standard").unwrap().contribution - 0.08).abs() < 1e-12);
        let several = tension(&[figure(79.0), figure(80.0), figure(81.0)], Some(&line())).unwrap().mean;
        assert!(named(&several, "noise").is_none());
        let repeats = named(&several, "repeatability").unwrap();
        assert!((repeats.contribution - 1.0 / 3.0_f64.sqrt()).abs() < 1e-12);
        assert_eq!(repeats.degrees_of_freedom, 2.0);
        assert_eq!(several.combined.dominating.as_ref().unwrap().0, "repeatability");
        // Welch and Satterthwaite: nearly all of it has 2 degrees of freedom, so k is near 4.3.
        assert!(several.expanded.coverage_factor > 3.0);
        assert!(tension(&[], None).is_none());
    }

    #[test]
    fn equal_readings_of_a_dial_keep_its_step_in_their_mean_and_in_a_ratio() {
        let read = |value_kn| {
            let lines = vec![Line::rectangular("resolution of the dial", 0.25, 1.0)];
            Figure { value_kn, zero_kn: None, lines }
        };
        let (a, b) = ([read(77.5), read(77.5), read(77.5)], [read(80.0), read(80.0)]);
        let mean = tension(&a, None).unwrap().mean;
        // JCGM 100, F.2.2.1: u = step/√12, however many readings are equal.
        let step = 0.5 / 12.0_f64.sqrt();
        assert!((mean.combined.standard_uncertainty - step).abs() < 1e-15, "{mean:?}");
        assert!((mean.expanded.uncertainty - 1.959_963_984_5 * step).abs() < 1e-9);
        let ratio = against(&a, &b, None).unwrap().ratio;
        let expected = 77.5 / 80.0 * (step / 77.5).hypot(step / 80.0);
        assert!((ratio.combined.standard_uncertainty / expected - 1.0).abs() < 1e-12, "{ratio:?}");
        assert!(named(&ratio, "resolution of the dial of A").is_some());
    }

    #[test]
    fn a_figure_beyond_the_loads_is_told_and_no_calibration_too() {
        assert!(!tension(&[figure(150.0)], Some(&line())).unwrap().outside);
        assert!(tension(&[figure(250.0)], Some(&line())).unwrap().outside);
        assert!(tension(&[figure(80.0)], None).unwrap().without_calibration);
    }

    #[test]
    fn gain_and_reference_cancel_in_a_ratio_and_nearly_all_of_the_line_does() {
        let found = against(&[figure(72.0)], &[figure(80.0)], Some(&line())).unwrap();
        assert!((found.ratio.value - 0.9).abs() < 1e-12);
        assert!(named(&found.ratio, "reference standard").is_none());
        let line_u = named(&found.ratio, "calibration line, common part cancelled").unwrap().contribution;
        assert!(line_u < 1e-9, "a straight line with the zero taken off cancels entirely: {line_u}");
        assert!(found.line_u_if_apart.unwrap() > 1e-4);
        let scatter = named(&found.ratio, SCATTER_IN_RATIO).unwrap().contribution;
        let expected = line().fit.residual_sd_kn / 80.0 * 0.9_f64.hypot(1.0);
        assert!((scatter / expected - 1.0).abs() < 1e-9, "{scatter}");
        let noise = named(&found.ratio, "noise of B").unwrap().contribution;
        assert!((noise - 0.9 * 0.02 / 80.0).abs() < 1e-15);
    }

    #[test]
    fn across_two_calibrations_nothing_of_them_cancels() {
        let (a, b) = ([figure(72.0)], [figure(80.0)]);
        let found = against_apart(&a, &line(), &b, &line()).unwrap();
        assert!((found.ratio.value - 0.9).abs() < 1e-12 && found.line_u_if_apart.is_none());
        // 0.1 % of each, and of each its line and the scatter about it.
        let reference = |of: &str| named(&found.ratio, &format!("reference standard of {of}")).unwrap();
        assert!((reference("A").contribution - 0.9 * 0.001).abs() < 1e-12);
        assert!((reference("B").contribution - 0.9 * 0.001).abs() < 1e-12);
        let of = |figure: &[Figure]| tension(figure, Some(&line())).unwrap().mean;
        let share = |value: &Value| value.combined.standard_uncertainty / value.value;
        let expected = 0.9 * share(&of(&a)).hypot(share(&of(&b)));
        assert!((found.ratio.combined.standard_uncertainty / expected - 1.0).abs() < 1e-12);
        // The loads of A tell nothing of the SD of B: each has its 9 degrees of freedom.
        assert!(found.ratio.budget.parts().iter().filter(|part| part.degrees_of_freedom == 9.0).count() == 2);
    }

    #[test]
    fn torque_carries_the_share_of_the_factor() {
        let tension = tension(&[figure(80.0)], Some(&line())).unwrap().mean;
        let factor = KnownFactor { factor: 320.0, sd: 16.0, tightenings: 4, wrench_share: 0.01 };
        let one = torque(&tension, 1, factor);
        assert!((one.value - 250.0).abs() < 1e-9);
        assert!((named(&one, "bolt factor, this tightening").unwrap().contribution - 12.5).abs() < 1e-9);
        assert!((named(&one, "bolt factor, its mean").unwrap().contribution - 6.25).abs() < 1e-9);
        assert_eq!(one.combined.dominating.as_ref().unwrap().0, "bolt factor, this tightening");
        assert!(named(&torque(&tension, 3, factor), "bolt factor, this tightening").is_none());
    }
}
