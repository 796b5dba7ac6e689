//! Figures of a force-proving instrument in the style of ISO 376, a step at a time.
//!
//! Deflections are zero-corrected. Formulas and class limits are taken from memory of ISO 376:2011 and have
//! not been read there: whoever quotes a class checks them first. Creep is not among the figures.

use boltscribe_numerics::{Design, DoubleDouble, least_squares};

/// One series of loads at one mounting.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// Angle of the mounting, where known.
    pub position_deg: Option<f64>,
    /// Loads going up: force and zero-corrected deflection, without the load of zero.
    pub up: Vec<(f64, f64)>,
    /// Loads coming down.
    pub down: Vec<(f64, f64)>,
    /// What the instrument shows at rest after the series less before it, where read.
    pub zero_return: Option<f64>,
}

/// Figures of one step; each in percent, none where the series do not tell it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Force of the step.
    pub force: f64,
    /// Mean deflection over mountings Xr; over series where no position is known.
    pub mean_deflection: f64,
    /// Reproducibility b: spread over mountings.
    pub reproducibility: Option<f64>,
    /// Repeatability b': spread of two series of the same mounting.
    pub repeatability: Option<f64>,
    /// Interpolation error fc: mean deflection against the fitted curve.
    pub interpolation: Option<f64>,
    /// Reversibility v: coming down against going up, mean over the series that came down.
    pub reversibility: Option<f64>,
    /// The best class whose limits all hold; none where b, b' or fc is not known, or no class holds.
    pub class: Option<Class>,
}

/// All figures.
#[derive(Clone, Debug, PartialEq)]
pub struct Figures {
    /// A row a step, forces ascending.
    pub steps: Vec<Step>,
    /// Largest zero error f0 over the series, percent of the greatest deflection; none where not read.
    pub zero_error: Option<f64>,
    /// The worst class of all steps, and of the zero error where known.
    pub class: Option<Class>,
}

/// Classes, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// 00.
    C00,
    /// 0.5.
    C05,
    /// 1.
    C1,
    /// 2.
    C2,
}

/// Limits of a class, percent.
struct Limits {
    class: Class,
    b: f64,
    b_prime: f64,
    fc: f64,
    f0: f64,
    v: f64,
}

/// ISO 376:2011, table 2, from memory.
const LIMITS: [Limits; 4] = [
    Limits { class: Class::C00, b: 0.05, b_prime: 0.025, fc: 0.025, f0: 0.012, v: 0.07 },
    Limits { class: Class::C05, b: 0.10, b_prime: 0.05, fc: 0.05, f0: 0.025, v: 0.15 },
    Limits { class: Class::C1, b: 0.20, b_prime: 0.10, fc: 0.10, f0: 0.05, v: 0.30 },
    Limits { class: Class::C2, b: 0.40, b_prime: 0.20, fc: 0.20, f0: 0.10, v: 0.50 },
];

/// Fewest mountings for the reproducibility.
const MOUNTINGS_MIN: usize = 3;

/// Positions closer than this, degrees, are one mounting read twice: no instrument is turned so little on
/// purpose. Our own choice, no source.
const POSITION_APART_MIN_DEG: f64 = 1.0;

/// Whether two angles, degrees, are one position; 359.999 and 0 are.
fn same_position(a: f64, b: f64) -> bool {
    let turned = (a - b).rem_euclid(360.0);
    turned.min(360.0 - turned) < POSITION_APART_MIN_DEG
}

impl Class {
    /// As printed.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::C00 => "00",
            Self::C05 => "0.5",
            Self::C1 => "1",
            Self::C2 => "2",
        }
    }
}

/// Figures of the series; the curve of the interpolation error has `degree` powers and no constant, because
/// the deflections are zero-corrected.
#[must_use]
pub fn figures(series: &[Series], degree: usize) -> Figures {
    let mut steps: Vec<Step> = forces(series).into_iter().map(|f| step(series, f)).collect();
    let xr: Vec<f64> = steps.iter().map(|s| s.mean_deflection).collect();
    let force: Vec<f64> = steps.iter().map(|s| s.force).collect();
    if let Some(curve) = curve(&force, &xr, degree) {
        for (step, xa) in steps.iter_mut().zip(curve) {
            step.interpolation = Some(100.0 * (step.mean_deflection - xa) / xa).filter(|v| v.is_finite());
        }
    }
    for step in &mut steps {
        step.class = class_of(step);
    }
    let greatest = xr.last().copied();
    let returns = series.iter().filter_map(|s| s.zero_return);
    let zero_error = greatest.and_then(|x| {
        returns
            .map(|r| 100.0 * r / x)
            .filter(|v| v.is_finite())
            .reduce(|a, b| if b.abs() > a.abs() { b } else { a })
    });
    let zero_class = zero_error.map(|f0| LIMITS.iter().find(|l| f0.abs() <= l.f0).map(|l| l.class));
    let mut classes = steps.iter().map(|s| s.class).chain(zero_class);
    let class = classes.try_fold(Class::C00, |worst, c| c.map(|c| worst.max(c)));
    Figures { class: class.filter(|_| !steps.is_empty()), steps, zero_error }
}

/// Forces that every series has on its way up, ascending.
fn forces(series: &[Series]) -> Vec<f64> {
    let Some(first) = series.first() else { return Vec::new() };
    let mut forces: Vec<f64> = first.up.iter().map(|p| p.0).collect();
    forces.retain(|f| series.iter().all(|s| at(&s.up, *f).is_some()));
    forces.sort_by(f64::total_cmp);
    forces.dedup_by(|a, b| *a == *b);
    forces
}

fn at(points: &[(f64, f64)], force: f64) -> Option<f64> {
    points.iter().find(|p| p.0 == force).map(|p| p.1)
}

fn step(series: &[Series], force: f64) -> Step {
    let up = |s: &Series| at(&s.up, force);
    // The first series of each mounting; its second is the repeat.
    let mut mountings: Vec<(f64, f64)> = Vec::new();
    let mut known = true;
    for s in series {
        match (s.position_deg, up(s)) {
            (Some(position), Some(x)) if !mountings.iter().any(|m| same_position(m.0, position)) => {
                mountings.push((position, x));
            }
            (None, _) => known = false,
            _ => {}
        }
    }
    let all: Vec<f64> = series.iter().filter_map(up).collect();
    let first_of_each: Vec<f64> = if known { mountings.iter().map(|m| m.1).collect() } else { all };
    let mean = first_of_each.iter().sum::<f64>() / first_of_each.len() as f64;
    let spread =
        |v: &[f64]| v.iter().copied().fold(f64::MIN, f64::max) - v.iter().copied().fold(f64::MAX, f64::min);
    let reproducibility = (known && first_of_each.len() >= MOUNTINGS_MIN)
        .then(|| (100.0 * spread(&first_of_each) / mean).abs());
    let pair = repeat(series).and_then(|(a, b)| Some((up(a)?, up(b)?)));
    let reversed: Vec<f64> = series
        .iter()
        .filter_map(|s| {
            let (up, down) = (up(s)?, at(&s.down, force)?);
            Some((100.0 * (down - up) / up).abs())
        })
        .collect();
    let finite = |v: f64| Some(v).filter(|v| v.is_finite());
    Step {
        force,
        mean_deflection: mean,
        reproducibility: reproducibility.and_then(finite),
        repeatability: pair.and_then(|(a, b)| finite((200.0 * (b - a) / (a + b)).abs())),
        interpolation: None,
        reversibility: finite(reversed.iter().sum::<f64>() / reversed.len() as f64),
        class: None,
    }
}

/// Two series of one mounting. Where no position is known, the first two are taken for such.
fn repeat(series: &[Series]) -> Option<(&Series, &Series)> {
    if series.iter().all(|s| s.position_deg.is_none()) {
        return Some((series.first()?, series.get(1)?));
    }
    series.iter().enumerate().find_map(|(i, a)| {
        let again = |b: &&Series| {
            matches!((a.position_deg, b.position_deg), (Some(a), Some(b)) if same_position(a, b))
        };
        series[i + 1..].iter().find(again).map(|b| (a, b))
    })
}

/// The curve without a constant at each force; none where the steps leave no degree of freedom.
fn curve(force: &[f64], deflection: &[f64], degree: usize) -> Option<Vec<f64>> {
    if force.len() < degree + 1 {
        return None;
    }
    let mut design = Design::new();
    for k in 1..=degree {
        design.push(format!("F^{k}"), force.iter().map(|f| DoubleDouble::from(*f).powi(k)).collect());
    }
    let fit = least_squares(&design, deflection, None).ok()?;
    Some(deflection.iter().zip(&fit.residuals).map(|(x, r)| x - r).collect())
}

/// Reversibility counts where it was measured: an instrument for rising loads only has none.
fn class_of(step: &Step) -> Option<Class> {
    let (b, b_prime, fc) = (step.reproducibility?, step.repeatability?, step.interpolation?);
    let holds = |l: &&Limits| {
        b <= l.b && b_prime <= l.b_prime && fc.abs() <= l.fc && step.reversibility.is_none_or(|v| v <= l.v)
    };
    LIMITS.iter().find(holds).map(|l| l.class)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(position_deg: Option<f64>, k: f64) -> Series {
        let up = vec![(10.0, 100.0 * k), (20.0, 200.0 * k), (30.0, 300.0 * k), (40.0, 400.0 * k)];
        Series { position_deg, up, ..Series::default() }
    }

    #[test]
    fn without_positions_what_needs_mounting_anew_is_not_told() {
        let found = figures(&[series(None, 1.0), series(None, 1.0002), series(None, 1.001)], 1);
        let step = &found.steps[0];
        assert_eq!((step.reproducibility, step.class, found.class), (None, None, None));
        assert!((step.repeatability.unwrap() - 0.02).abs() < 1e-5);
        assert_eq!((step.reversibility, found.zero_error), (None, None));
    }

    #[test]
    fn a_class_is_the_worst_of_its_figures_and_of_the_zero() {
        let mut all = vec![
            series(Some(0.0), 1.0),
            series(Some(0.0), 1.0001),
            series(Some(120.0), 1.0004),
            series(Some(240.0), 1.0),
        ];
        assert_eq!(figures(&all, 1).class, Some(Class::C00));
        all[3].zero_return = Some(0.15);
        assert_eq!(figures(&all, 1).class, Some(Class::C1));
        all[2] = series(Some(120.0), 1.01);
        assert_eq!(figures(&all, 1).class, None);
        assert_eq!(figures(&[], 1).class, None);
    }

    #[test]
    fn positions_a_thousandth_of_a_degree_apart_are_one_mounting() {
        let all = [series(Some(0.0), 1.0), series(Some(0.001), 1.0001), series(Some(359.999), 1.0)];
        let found = figures(&all, 1);
        assert_eq!((found.steps[0].reproducibility, found.class), (None, None));
        assert!((found.steps[0].repeatability.unwrap() - 0.01).abs() < 1e-5);
    }
}
