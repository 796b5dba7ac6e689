//! Many comparisons with one baseline: the distribution of the greatest of several correlated t.
//!
//! Dunnett (1955, J. Am. Stat. Assoc. 50:1096) for any numbers of runs and any correlation. Each t is an own
//! part and a few factors that all share (the baseline's mean, a drift); given those, the t are independent
//! and the chance is a product. One or two factors: trapezoidal rule, whose error falls off exponentially for
//! such integrands. More: a fixed lattice. No random numbers: equal input gives equal bits. Must not know
//! what is compared.

use super::distributions::{normal_cdf, normal_sf, t_quantile, t_sf};
use super::lattice;

/// Which differences count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sides {
    /// Upwards only.
    One,
    /// Both ways.
    Two,
}

/// One of the comparisons, as parts of the variance of its difference (in any common unit).
#[derive(Clone, Debug, PartialEq)]
pub struct Contrast {
    /// Variance that no other comparison shares, above zero.
    pub own: f64,
    /// Loads on the shared factors, each of variance 1; equally many in each contrast.
    pub loads: Vec<f64>,
}

/// A family of comparisons with one baseline.
#[derive(Clone, Debug)]
pub struct ManyToOne {
    contrasts: Vec<Contrast>,
    freedom: f64,
    sides: Sides,
    /// The chance that all z lie below each Chebyshev point of `0..=REACH`; none where there is nothing to
    /// work out, or too much: then the bound of Bonferroni stands.
    normal: Option<Vec<f64>>,
}

/// Beyond this many SD nothing is left.
const REACH: f64 = 9.0;
/// Fewest and most points of the table over 0..=REACH; more where the own parts are small.
const POINTS: (usize, usize) = (72, 240);
/// −ln of the share that the trapezoidal rule may lose.
const LOSS: f64 = 24.0;
/// Fewest and most steps over a factor. The most bounds the work; it bites only where the baseline has less
/// than a tenth of the runs of the others, and then costs digits beyond the sixth.
const STEPS: (usize, usize) = (16, 180);

impl ManyToOne {
    /// A family of at least one contrast with `freedom` degrees (infinite: the SD is known).
    ///
    /// None where a variance is not above zero, loads differ in number, or no degree of freedom is left.
    #[must_use]
    pub fn new(contrasts: &[Contrast], freedom: f64, sides: Sides) -> Option<Self> {
        let factors = contrasts.first()?.loads.len();
        let sound = |c: &Contrast| {
            c.own.is_finite()
                && c.own > 0.0
                && c.loads.len() == factors
                && c.loads.iter().all(|l| l.is_finite())
        };
        if !contrasts.iter().all(sound) || freedom.is_nan() || freedom <= 0.0 {
            return None;
        }
        let contrasts = fewest_factors(&contrasts.iter().map(scaled).collect::<Vec<_>>());
        let factors = contrasts[0].loads.len();
        let mut family = Self { contrasts, freedom, sides, normal: None };
        if family.contrasts.len() > 1 && factors <= lattice::AXES_MAX {
            let points = if factors > 2 { lattice::points(factors) } else { Vec::new() };
            let least = family.contrasts.iter().fold(1.0_f64, |least, c| least.min(c.own));
            let count = ((12.0 / libm::sqrt(least)) as usize).clamp(POINTS.0, POINTS.1);
            let table = (0..count).map(|k| family.normal_below(chebyshev(k, count), &points)).collect();
            family.normal = Some(table);
        }
        Some(family)
    }

    /// A family of equally many runs of each of `comparisons` setups and of the baseline.
    #[must_use]
    pub fn equal(comparisons: usize, freedom: f64, sides: Sides) -> Option<Self> {
        Self::new(&vec![Contrast { own: 1.0, loads: vec![1.0] }; comparisons], freedom, sides)
    }

    /// Correlation of the contrasts `i` and `j`.
    #[must_use]
    pub fn correlation(&self, i: usize, j: usize) -> f64 {
        if i == j {
            return 1.0;
        }
        self.contrasts[i].loads.iter().zip(&self.contrasts[j].loads).map(|(a, b)| a * b).sum()
    }

    /// The adjusted p of a t: the chance that the greatest of the family is at least as great.
    ///
    /// Never under the p of one comparison, never over that times their number.
    #[must_use]
    pub fn p_adjusted(&self, t: f64) -> f64 {
        let t = if self.sides == Sides::Two { t.abs() } else { t };
        let one = match self.sides {
            Sides::One => t_sf(t, self.freedom),
            Sides::Two => 2.0 * t_sf(t, self.freedom),
        };
        if self.contrasts.len() == 1 || t.is_nan() {
            return one;
        }
        let most = (one * self.contrasts.len() as f64).min(1.0);
        self.below(t).map_or(most, |below| (1.0 - below).clamp(one.min(most), most))
    }

    /// The t that the greatest of the family passes with the chance `alpha`.
    #[must_use]
    pub fn critical(&self, alpha: f64) -> f64 {
        if !(alpha > 0.0 && alpha < 1.0) {
            return f64::NAN;
        }
        let tail = if self.sides == Sides::Two { 0.5 * alpha } else { alpha };
        let one = |tail: f64| t_quantile(1.0 - tail, self.freedom);
        if self.contrasts.len() == 1 {
            return one(tail);
        }
        let (mut low, mut high) = (one(tail), one(tail / self.contrasts.len() as f64));
        let gap = |t: f64| self.p_adjusted(t) - alpha;
        let (mut at_low, mut at_high) = (gap(low), gap(high));
        for round in 0..100 {
            if high - low <= 1e-11 * high.abs().max(1.0) || at_low <= 0.0 || at_high >= 0.0 {
                break;
            }
            let secant = (low * at_high - high * at_low) / (at_high - at_low);
            let t = if round % 3 == 2 { 0.5 * (low + high) } else { secant.clamp(low, high) };
            let here = gap(t);
            if here > 0.0 {
                (low, at_low) = (t, here);
                at_high *= 0.5;
            } else {
                (high, at_high) = (t, here);
                at_low *= 0.5;
            }
            if here == 0.0 {
                return t;
            }
        }
        if at_low <= 0.0 {
            low
        } else if at_high >= 0.0 {
            high
        } else {
            0.5 * (low + high)
        }
    }

    /// The chance that all of the family lie below t (within ± t for two sides).
    fn below(&self, t: f64) -> Option<f64> {
        let table = self.normal.as_ref()?;
        if t < 0.0 {
            // One side only, and the table covers what decides anything; such a p does not.
            return None;
        }
        if self.freedom > 1e7 {
            return Some(interpolate(table, t));
        }
        let mut sum = 0.0;
        let mut weights = 0.0;
        for (s, weight) in spread_of_sd(self.freedom) {
            sum += weight * interpolate(table, t * s);
            weights += weight;
        }
        Some(sum / weights)
    }

    /// The chance that all z of the family lie below `limit`, the SD being known.
    fn normal_below(&self, limit: f64, lattice: &[Vec<f64>]) -> f64 {
        let axis = |k: usize| {
            // In the worst case the spectrum of the product has this variance.
            let sharp: f64 = self.contrasts.iter().map(|c| c.loads[k] * c.loads[k] / c.own).sum();
            let step = std::f64::consts::TAU / libm::sqrt(2.0 * LOSS * (1.0 + sharp));
            let half = (libm::ceil(8.0 / step) as usize).clamp(STEPS.0 / 2, STEPS.1 / 2);
            (half, 8.0 / half as f64)
        };
        match self.contrasts.first().map_or(0, |c| c.loads.len()) {
            0 => self.product(limit, &[]),
            1 => {
                let (half, step) = axis(0);
                nodes(half, step).map(|(z, w)| w * self.product(limit, &[z])).sum()
            }
            2 => {
                let ((half, step), (half_2, step_2)) = (axis(0), axis(1));
                let inner = |z: f64| -> f64 {
                    nodes(half_2, step_2).map(|(y, w)| w * self.product(limit, &[z, y])).sum()
                };
                if self.sides == Sides::Two {
                    // Turning all signs changes nothing: half of the plane is enough.
                    return nodes(half, step)
                        .filter(|(z, _)| *z >= 0.0)
                        .map(|(z, w)| if z > 0.0 { 2.0 * w * inner(z) } else { w * inner(z) })
                        .sum();
                }
                nodes(half, step).map(|(z, w)| w * inner(z)).sum()
            }
            _ => lattice.iter().map(|z| self.product(limit, z)).sum::<f64>() / lattice.len() as f64,
        }
    }

    /// The chance that all lie below `limit`, given the shared factors.
    fn product(&self, limit: f64, factors: &[f64]) -> f64 {
        let mut product = 1.0;
        for c in &self.contrasts {
            let at: f64 = c.loads.iter().zip(factors).map(|(l, z)| l * z).sum();
            let own = libm::sqrt(c.own);
            let upper = normal_sf((limit - at) / own);
            let lower = if self.sides == Sides::Two { normal_cdf((-limit - at) / own) } else { 0.0 };
            product *= 1.0 - upper - lower;
            if product < 1e-300 {
                return 0.0;
            }
        }
        product
    }
}

/// A contrast of variance 1.
fn scaled(c: &Contrast) -> Contrast {
    let variance = c.own + c.loads.iter().map(|l| l * l).sum::<f64>();
    let sd = libm::sqrt(variance);
    Contrast { own: c.own / variance, loads: c.loads.iter().map(|l| l / sd).collect() }
}

/// The same correlations by as few factors as they need (Cholesky with pivots): never more than contrasts.
fn fewest_factors(contrasts: &[Contrast]) -> Vec<Contrast> {
    let n = contrasts.len();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut left: Vec<Vec<f64>> =
        contrasts.iter().map(|a| contrasts.iter().map(|b| dot(&a.loads, &b.loads)).collect()).collect();
    let mut loads = vec![Vec::new(); n];
    for _ in 0..n {
        let Some(pivot) = (0..n).max_by(|a, b| left[*a][*a].total_cmp(&left[*b][*b])) else { break };
        if left[pivot][pivot] < NO_LOAD {
            break;
        }
        let root = libm::sqrt(left[pivot][pivot]);
        let column: Vec<f64> = left.iter().map(|row| row[pivot] / root).collect();
        for (i, row) in left.iter_mut().enumerate() {
            for (value, c) in row.iter_mut().zip(&column) {
                *value -= column[i] * c;
            }
            loads[i].push(column[i]);
        }
    }
    contrasts.iter().zip(loads).map(|(c, loads)| Contrast { own: c.own, loads }).collect()
}

/// A shared variance below this share of a contrast's is rounding.
const NO_LOAD: f64 = 1e-13;

/// Points and weights of the trapezoidal rule for a standard normal factor.
fn nodes(half: usize, step: f64) -> impl Iterator<Item = (f64, f64)> {
    (0..=2 * half).map(move |k| {
        let z = (k as f64 - half as f64) * step;
        (z, step * super::distributions::normal_density(z))
    })
}

/// √(χ²/ν) at even steps of its logarithm, with weights that are not yet divided by their sum.
fn spread_of_sd(freedom: f64) -> impl Iterator<Item = (f64, f64)> {
    let steps = 160;
    let log_density = move |v: f64| 0.5 * freedom * (2.0 * v - libm::expm1(2.0 * v));
    let end = |direction: f64| {
        let mut v = 0.0;
        while log_density(v) > -36.0 {
            v += direction * 0.1 / libm::sqrt(freedom);
        }
        v
    };
    let (low, high) = (end(-1.0), end(1.0));
    (0..=steps).map(move |i| {
        let v = low + (high - low) * f64::from(i) / f64::from(steps);
        (libm::exp(v), libm::exp(log_density(v)))
    })
}

/// Chebyshev points of the second kind on 0..=REACH.
fn chebyshev(k: usize, count: usize) -> f64 {
    let angle = std::f64::consts::PI * k as f64 / (count - 1) as f64;
    0.5 * REACH * (1.0 - libm::cos(angle))
}

/// Barycentric interpolation (Berrut and Trefethen 2004, SIAM Review 46:501).
fn interpolate(table: &[f64], at: f64) -> f64 {
    if at >= REACH {
        return 1.0;
    }
    let (mut sum, mut weights) = (0.0, 0.0);
    for (k, value) in table.iter().enumerate() {
        let off = at - chebyshev(k, table.len());
        if off == 0.0 {
            return *value;
        }
        let end = if k == 0 || k + 1 == table.len() { 0.5 } else { 1.0 };
        let weight = if k % 2 == 0 { end / off } else { -end / off };
        sum += weight * value;
        weights += weight;
    }
    (sum / weights).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Dunnett 1955 and 1964: two decimals of the printed tables (5 %, equal numbers of runs), with more
    /// digits by Gauss-Legendre quadrature in another program.
    #[test]
    fn critical_values_are_those_of_dunnetts_tables() {
        let two = [
            (5.0, [2.570_581_84, 3.030_235_95, 3.293_154_65, 3.475_893_02, 3.615_117_23]),
            (10.0, [2.228_138_85, 2.568_338_88, 2.758_996_98, 2.890_480_11, 2.990_290_18]),
            (20.0, [2.085_963_45, 2.378_689_98, 2.540_349_61, 2.651_029_59, 2.734_677_16]),
            (60.0, [2.000_297_82, 2.265_266_97, 2.409_942_12, 2.508_390_24, 2.582_495_63]),
            (f64::INFINITY, [1.959_963_98, 2.212_127_75, 2.348_970_59, 2.441_770_77, 2.511_463_05]),
        ];
        let one = [
            (5.0, [2.015_048_37, 2.440_378_64, 2.681_423_51, 2.848_445_25, 2.975_553_51]),
            (12.0, [1.782_287_56, 2.108_057_25, 2.287_342_05, 2.409_826_62, 2.502_250_43]),
            (30.0, [1.697_260_89, 1.989_025_69, 2.147_299_31, 2.254_607_51, 2.335_180_05]),
            (f64::INFINITY, [1.644_853_63, 1.916_331_94, 2.062_083_93, 2.160_333_28, 2.233_816_96]),
        ];
        for (table, sides) in [(&two[..], Sides::Two), (&one[..], Sides::One)] {
            for (freedom, row) in table {
                for (k, expected) in row.iter().enumerate() {
                    let found = ManyToOne::equal(k + 1, *freedom, sides).unwrap().critical(0.05);
                    assert!((found - expected).abs() < 2e-8, "{freedom} {k} {sides:?}: {found} {expected}");
                }
            }
        }
    }

    #[test]
    fn two_factors_the_lattice_and_one_factor_agree_where_they_mean_the_same() {
        let with = |loads: &[f64], own: f64| Contrast { own, loads: loads.to_vec() };
        let one = [with(&[0.5], 0.25), with(&[0.5], 0.2), with(&[0.5], 0.5)];
        // The same family with a second and a third factor too weak to matter, but there.
        let d = 2e-6;
        let two = [with(&[0.5, d], 0.25), with(&[0.5, -d], 0.2), with(&[0.5, 0.0], 0.5)];
        let three = [with(&[0.5, d, 0.0], 0.25), with(&[0.5, 0.0, d], 0.2), with(&[0.5, 0.0, 0.0], 0.5)];
        let factors = |f: &[Contrast]| ManyToOne::new(f, 7.0, Sides::Two).unwrap().contrasts[0].loads.len();
        assert_eq!((factors(&one), factors(&two), factors(&three)), (1, 2, 3));
        // Turned in space, one factor stays one.
        let turned = [with(&[0.3, 0.0, 0.4], 0.25), with(&[0.3, 0.0, 0.4], 0.2), with(&[0.3, 0.0, 0.4], 0.5)];
        assert_eq!(factors(&turned), 1);
        let p = |family: &[Contrast], t| ManyToOne::new(family, 7.0, Sides::Two).unwrap().p_adjusted(t);
        for t in [0.2, 1.3, 2.4, 3.5, 6.0] {
            assert!((p(&one, t) - p(&turned, t)).abs() < 1e-13, "{t}");
            assert!((p(&one, t) - p(&two, t)).abs() < 1e-9, "{t}: {} {}", p(&one, t), p(&two, t));
            assert!((p(&one, t) - p(&three, t)).abs() < 1e-4, "{t}: {} {}", p(&one, t), p(&three, t));
        }
    }

    #[test]
    fn a_baseline_with_few_runs_and_a_sharp_drift_keep_their_digits() {
        // Loads far above the own parts: the hardest case for even steps. Halving the steps is the check.
        let family: Vec<Contrast> =
            (0..6).map(|i| Contrast { own: 0.02, loads: vec![1.0, 0.3 * f64::from(i) - 0.7] }).collect();
        let known = ManyToOne::new(&family, 1e9, Sides::Two).unwrap();
        let slow: f64 = {
            let h = 0.02;
            let density = |z: f64| h * crate::distributions::normal_density(z);
            let range = || (-400..=400).map(move |k| f64::from(k) * h);
            range()
                .map(|z| density(z) * range().map(|y| density(y) * known.product(2.0, &[z, y])).sum::<f64>())
                .sum()
        };
        assert!(
            (1.0 - slow - known.p_adjusted(2.0)).abs() < 1e-6,
            "{} {}",
            1.0 - slow,
            known.p_adjusted(2.0)
        );
    }

    #[test]
    fn an_adjusted_p_lies_between_that_of_one_and_bonferronis() {
        let family = ManyToOne::equal(4, 9.0, Sides::Two).unwrap();
        for t in [0.0, 0.1, 1.0, 3.0, 12.0, 80.0] {
            let one = 2.0 * t_sf(t, 9.0);
            let p = family.p_adjusted(-t);
            assert!(p >= one.min(1.0) && p <= (4.0 * one).min(1.0), "{t} {p}");
        }
        assert!(family.critical(0.0).is_nan());
        assert!(ManyToOne::new(&[], 3.0, Sides::Two).is_none());
        assert!(ManyToOne::new(&[Contrast { own: 0.0, loads: vec![] }], 3.0, Sides::Two).is_none());
    }
}
