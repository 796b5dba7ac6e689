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
    /// Resolution r, percent of the mean deflection.
    pub resolution: Option<f64>,
    /// The best class whose limits all hold; none where b, b', fc or r is not known, or no class holds.
    pub class: Option<Class>,
}

/// Why there is no class of the whole, whatever the steps say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Withheld {
    /// A force of some series has no step: see [`Figures::left_out`].
    ForcesMissing,
    /// Fewer than [`FORCES_MIN`] forces.
    FewForces,
    /// No series tells what the instrument shows after it.
    ZeroNotRead,
}

/// All figures.
#[derive(Clone, Debug, PartialEq)]
pub struct Figures {
    /// A row a step, forces ascending.
    pub steps: Vec<Step>,
    /// Largest zero error f0 over the series, percent of the greatest deflection; none where not read.
    pub zero_error: Option<f64>,
    /// Forces that have no step: of the way up those that not every series has, of the way down those that are none of
    /// the steps.
    pub left_out: Vec<f64>,
    /// Why there is no class of the whole; empty where nothing keeps it back.
    pub withheld: Vec<Withheld>,
    /// The worst class of all steps and of the zero error; none where it is withheld.
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
    r: f64,
}

/// ISO 376:2011, table 2, from memory; r is a force over 4,000, 2,000, 1,000 and 500, from memory too.
const LIMITS: [Limits; 4] = [
    Limits { class: Class::C00, b: 0.05, b_prime: 0.025, fc: 0.025, f0: 0.012, v: 0.07, r: 0.025 },
    Limits { class: Class::C05, b: 0.10, b_prime: 0.05, fc: 0.05, f0: 0.025, v: 0.15, r: 0.05 },
    Limits { class: Class::C1, b: 0.20, b_prime: 0.10, fc: 0.10, f0: 0.05, v: 0.30, r: 0.10 },
    Limits { class: Class::C2, b: 0.40, b_prime: 0.20, fc: 0.20, f0: 0.10, v: 0.50, r: 0.20 },
];

/// Fewest mountings for the reproducibility.
const MOUNTINGS_MIN: usize = 3;
/// Fewest forces of a calibration that is classified (ISO 376:2011, clause 7.5, from memory).
pub const FORCES_MIN: usize = 8;
/// Forces this near to each other, as a share of the greatest, are one step that was not met exactly: deflections are
/// brought to its mean force in proportion. Also at most a quarter of the smallest distance of two forces of a series.
/// Our own choice, no source.
const SAME_FORCE_SHARE: f64 = 0.01;
const SAME_FORCE_OF_GAP: f64 = 0.25;

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
/// the deflections are zero-corrected. `resolution` is that of a deflection, in its unit.
#[must_use]
pub fn figures(series: &[Series], degree: usize, resolution: f64) -> Figures {
    let (series, forces, left_out) = aligned(series);
    let mut steps: Vec<Step> = forces.into_iter().map(|f| step(&series, f)).collect();
    let xr: Vec<f64> = steps.iter().map(|s| s.mean_deflection).collect();
    let force: Vec<f64> = steps.iter().map(|s| s.force).collect();
    if let Some(curve) = curve(&force, &xr, degree) {
        for (step, xa) in steps.iter_mut().zip(curve) {
            step.interpolation = Some(100.0 * (step.mean_deflection - xa) / xa).filter(|v| v.is_finite());
        }
    }
    for step in &mut steps {
        step.resolution = Some((100.0 * resolution / step.mean_deflection).abs()).filter(|r| r.is_finite());
        step.class = class_of(step);
    }
    // Of the greatest force that was applied, whether it has a step or not.
    let greatest =
        series.iter().flat_map(|s| &s.up).fold(None, |most: Option<(f64, f64)>, point| match most {
            Some(most) if most.0 >= point.0 => Some(most),
            _ => Some(*point),
        });
    let greatest = match (greatest, force.last()) {
        (Some((most, _)), Some(last)) if most <= *last => xr.last().copied(),
        (most, _) => most.map(|point| point.1),
    };
    let returns = series.iter().filter_map(|s| s.zero_return);
    let zero_error = greatest.and_then(|x| {
        returns
            .map(|r| 100.0 * r / x)
            .filter(|v| v.is_finite())
            .reduce(|a, b| if b.abs() > a.abs() { b } else { a })
    });
    let withheld: Vec<Withheld> = [
        (Withheld::ForcesMissing, !left_out.is_empty()),
        (Withheld::FewForces, steps.len() < FORCES_MIN),
        (Withheld::ZeroNotRead, zero_error.is_none()),
    ]
    .into_iter()
    .filter_map(|(why, when)| when.then_some(why))
    .collect();
    let zero_class = zero_error.map(|f0| LIMITS.iter().find(|l| f0.abs() <= l.f0).map(|l| l.class));
    let mut classes = steps.iter().map(|s| s.class).chain(zero_class);
    let class = classes.try_fold(Class::C00, |worst, c| c.map(|c| worst.max(c)));
    Figures { class: class.filter(|_| withheld.is_empty()), steps, zero_error, left_out, withheld }
}

/// The series with each force brought to that of its step, the forces that every series has on its way up, ascending,
/// and those that have no step.
fn aligned(series: &[Series]) -> (Vec<Series>, Vec<f64>, Vec<f64>) {
    let mut all: Vec<f64> = series.iter().flat_map(|s| s.up.iter().map(|p| p.0)).collect();
    all.sort_by(f64::total_cmp);
    let gap = |s: &Series| {
        let mut own: Vec<f64> = s.up.iter().map(|p| p.0).collect();
        own.sort_by(f64::total_cmp);
        own.windows(2).map(|pair| pair[1] - pair[0]).filter(|gap| *gap > 0.0).fold(f64::INFINITY, f64::min)
    };
    let greatest = all.last().copied().unwrap_or(0.0);
    let smallest_gap = series.iter().map(gap).fold(f64::INFINITY, f64::min);
    let near = (SAME_FORCE_SHARE * greatest).min(SAME_FORCE_OF_GAP * smallest_gap);
    let mut groups: Vec<Vec<f64>> = Vec::new();
    for force in all {
        match groups.last_mut() {
            Some(group) if force - group[0] <= near => group.push(force),
            _ => groups.push(vec![force]),
        }
    }
    let nominal = |group: &[f64]| {
        // The mean of equal numbers may differ from them in its last digit.
        if group.iter().all(|f| *f == group[0]) {
            group[0]
        } else {
            group.iter().sum::<f64>() / group.len() as f64
        }
    };
    let steps: Vec<(f64, f64, f64)> =
        groups.iter().map(|group| (group[0], group[group.len() - 1], nominal(group))).collect();
    let bring = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
        let to_step = |(force, x): &(f64, f64)| {
            let step = steps.iter().find(|(low, high, _)| force + near >= *high && force - near <= *low);
            step.map_or((*force, *x), |(_, _, nominal)| (*nominal, x * (nominal / force)))
        };
        points.iter().map(to_step).collect()
    };
    let brought: Vec<Series> =
        series.iter().map(|s| Series { up: bring(&s.up), down: bring(&s.down), ..s.clone() }).collect();
    let everywhere = |f: &f64| brought.iter().all(|s| at(&s.up, *f).is_some());
    let (forces, mut left_out): (Vec<f64>, Vec<f64>) =
        steps.into_iter().map(|(_, _, nominal)| nominal).partition(everywhere);
    let down = brought.iter().flat_map(|s| s.down.iter().map(|p| p.0));
    left_out.extend(down.filter(|f| !forces.contains(f)));
    left_out.sort_by(f64::total_cmp);
    left_out.dedup();
    (brought, forces, left_out)
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
        resolution: None,
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
    let r = step.resolution?;
    let holds = |l: &&Limits| {
        let rising = b <= l.b && b_prime <= l.b_prime && fc.abs() <= l.fc && r <= l.r;
        rising && step.reversibility.is_none_or(|v| v <= l.v)
    };
    LIMITS.iter().find(holds).map(|l| l.class)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of so fine a resolution that it decides nothing.
    const FINE: f64 = 1e-3;

    fn series(position_deg: Option<f64>, k: f64) -> Series {
        let up = (1..=8).map(|n| (f64::from(n) * 10.0, f64::from(n) * 100.0 * k)).collect();
        Series { position_deg, up, zero_return: Some(0.0), ..Series::default() }
    }

    fn four() -> Vec<Series> {
        let positions = [(0.0, 1.0), (0.0, 1.0001), (120.0, 1.0004), (240.0, 1.0)];
        positions.into_iter().map(|(deg, k)| series(Some(deg), k)).collect()
    }

    #[test]
    fn without_positions_what_needs_mounting_anew_is_not_told() {
        let found = figures(&[series(None, 1.0), series(None, 1.0002), series(None, 1.001)], 1, FINE);
        let step = &found.steps[0];
        assert_eq!((step.reproducibility, step.class, found.class), (None, None, None));
        assert!((step.repeatability.unwrap() - 0.02).abs() < 1e-5);
        assert_eq!((step.reversibility, found.zero_error), (None, Some(0.0)));
    }

    #[test]
    fn a_class_is_the_worst_of_its_figures_and_of_the_zero() {
        let mut all = four();
        assert_eq!(figures(&all, 1, FINE).class, Some(Class::C00));
        all[3].zero_return = Some(0.3);
        assert_eq!(figures(&all, 1, FINE).class, Some(Class::C1));
        all[2] = series(Some(120.0), 1.01);
        assert_eq!(figures(&all, 1, FINE).class, None);
        assert_eq!(figures(&[], 1, FINE).class, None);
    }

    #[test]
    fn there_is_no_class_without_the_zero_with_few_forces_or_a_coarse_converter() {
        let mut all = four();
        for one in &mut all {
            one.zero_return = None;
        }
        let found = figures(&all, 1, FINE);
        assert_eq!((found.class, found.withheld), (None, vec![Withheld::ZeroNotRead]));
        let mut all = four();
        for one in &mut all {
            one.up.truncate(7);
        }
        let found = figures(&all, 1, FINE);
        assert_eq!((found.class, found.withheld), (None, vec![Withheld::FewForces]));
        // One count per percent of the greatest deflection: a tenth of the smallest.
        let coarse = figures(&four(), 1, 8.0);
        assert_eq!((coarse.class, coarse.steps[0].resolution.map(|r| r.round())), (None, Some(8.0)));
        // 0.25 of 100 is 0.25 %: no class; of 800 it is 0.03 %: class 0.5.
        let half = figures(&four(), 1, 0.25);
        assert_eq!((half.steps[0].class, half.steps[7].class), (None, Some(Class::C05)));
    }

    #[test]
    fn a_load_that_one_series_lacks_is_told_and_keeps_the_class_back() {
        let mut all = four();
        all[2].up.remove(7);
        all[1].zero_return = Some(0.08);
        let found = figures(&all, 1, FINE);
        assert_eq!((found.steps.len(), &found.left_out[..]), (7, &[80.0][..]));
        assert_eq!(found.withheld, [Withheld::ForcesMissing, Withheld::FewForces]);
        // Of the deflection at the greatest force that was applied, not of the last step.
        assert!((found.zero_error.unwrap() - 0.01).abs() < 1e-5, "{:?}", found.zero_error);
    }

    #[test]
    fn forces_as_they_were_really_read_are_one_step_brought_to_their_mean() {
        let mut all = four();
        for (one, off) in all.iter_mut().zip([0.0, 0.2, -0.1, 0.1]) {
            for (force, x) in &mut one.up {
                *x *= (*force + off) / *force;
                *force += off;
            }
            one.down = one.up.clone();
        }
        let (exact, read) = (figures(&four(), 1, FINE), figures(&all, 1, FINE));
        assert_eq!((read.steps.len(), read.left_out.len(), read.class), (8, 0, exact.class));
        for (exact, read) in exact.steps.iter().zip(&read.steps) {
            assert!((read.force - exact.force - 0.05).abs() < 1e-9);
            assert!((read.reproducibility.unwrap() - exact.reproducibility.unwrap()).abs() < 1e-9);
            assert!((read.repeatability.unwrap() - exact.repeatability.unwrap()).abs() < 1e-9);
            assert!(read.reversibility.unwrap() < 1e-9);
        }
        // A falling load that is none of the rising ones is told, not dropped.
        all[0].down[3].0 += 4.0;
        let odd = figures(&all, 1, FINE);
        assert_eq!((odd.left_out.len(), odd.withheld, odd.class), (1, vec![Withheld::ForcesMissing], None));
        // Two forces of one series are never one step.
        let close: Vec<Series> = four()
            .into_iter()
            .map(|one| Series { up: one.up.iter().map(|(f, x)| (79.0 + f / 80.0, *x)).collect(), ..one })
            .collect();
        assert_eq!(figures(&close, 1, FINE).steps.len(), 8);
    }

    #[test]
    fn positions_a_thousandth_of_a_degree_apart_are_one_mounting() {
        let all = [series(Some(0.0), 1.0), series(Some(0.001), 1.0001), series(Some(359.999), 1.0)];
        let found = figures(&all, 1, FINE);
        assert_eq!((found.steps[0].reproducibility, found.class), (None, None));
        assert!((found.steps[0].repeatability.unwrap() - 0.01).abs() < 1e-5);
    }
}
