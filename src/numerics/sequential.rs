//! Boundaries for looking at data more than once: group-sequential tests with a risk that is spent look by look.
//!
//! Lan and DeMets (1983, Biometrika 70:659), with the spending functions of the O'Brien-Fleming and the Pocock type.
//! The chance to cross is integrated recursively (Armitage, McPherson and Rowe 1969, J. R. Stat. Soc. A 132:235) for
//! a statistic with independent normal steps; boundaries lie symmetrically on both sides. Must not know what is
//! looked at.

use super::distributions::{normal_cdf, normal_density, normal_quantile, normal_sf};

/// How fast the risk is spent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spending {
    /// Hardly any at first: the last look is nearly that of a test with one look.
    OBrienFleming,
    /// Nearly the same boundary at each look.
    Pocock,
}

impl Spending {
    /// The risk of one side that may be spent when the share `t` of all data is there, 0 to 1.
    #[must_use]
    pub fn spent(self, t: f64, one_side: f64) -> f64 {
        if t >= 1.0 {
            return one_side;
        }
        match self {
            Self::OBrienFleming => 2.0 * normal_sf(normal_quantile(1.0 - 0.5 * one_side) / libm::sqrt(t)),
            Self::Pocock => one_side * libm::log1p((std::f64::consts::E - 1.0) * t),
        }
    }
}

/// Panels of the rule of Simpson over the range that goes on.
const PANELS: usize = 400;
/// A boundary beyond which nothing is left.
const FARTHEST: f64 = 8.5;

/// The paths that have not crossed yet: where they are, with which density.
struct GoingOn {
    share: f64,
    nodes: Vec<(f64, f64)>,
}

impl GoingOn {
    /// Nothing was looked at.
    const fn start() -> Self {
        Self { share: 0.0, nodes: Vec::new() }
    }

    /// The chance to be above `z` at the share `t`, and not to have crossed before.
    fn above(&self, t: f64, z: f64) -> f64 {
        let limit = z * libm::sqrt(t);
        if self.nodes.is_empty() {
            return normal_sf(z);
        }
        let step = libm::sqrt(t - self.share);
        self.nodes.iter().map(|(x, weight)| weight * normal_cdf((x - limit) / step)).sum()
    }

    /// Those within `z` at the share `t`.
    fn within(&self, t: f64, z: f64) -> Self {
        let limit = z.min(FARTHEST) * libm::sqrt(t);
        let width = 2.0 * limit / PANELS as f64;
        let step = libm::sqrt(t - self.share);
        let density = |x: f64| {
            if self.nodes.is_empty() {
                return normal_density(x / step) / step;
            }
            self.nodes.iter().map(|(from, weight)| weight * normal_density((x - from) / step)).sum::<f64>()
                / step
        };
        let node = |k: usize| {
            let x = -limit + width * k as f64;
            let simpson = match k {
                0 | PANELS => 1.0,
                _ if k % 2 == 1 => 4.0,
                _ => 2.0,
            };
            (x, density(x) * simpson * width / 3.0)
        };
        Self { share: t, nodes: (0..=PANELS).map(node).collect() }
    }
}

fn are_shares(shares: &[f64]) -> bool {
    let rising = shares.windows(2).all(|two| two[0] < two[1]);
    rising && shares.first().is_some_and(|t| *t > 0.0) && shares.last().is_some_and(|t| *t <= 1.0)
}

/// The boundary of |z| at each look, where the shares of all data are these, rising to 1, and the risk of both sides
/// together is `alpha`.
///
/// None for shares that do not rise within 0 to 1, or a risk outside 0 to 1.
#[must_use]
pub fn boundaries(shares: &[f64], alpha: f64, spending: Spending) -> Option<Vec<f64>> {
    if !(are_shares(shares) && alpha > 0.0 && alpha < 1.0) {
        return None;
    }
    let mut going = GoingOn::start();
    let mut spent = 0.0;
    let mut all = Vec::new();
    for t in shares {
        let may = spending.spent(*t, 0.5 * alpha);
        let now = (may - spent).max(0.0);
        let (mut low, mut high) = (0.0, FARTHEST);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if going.above(*t, middle) > now { low = middle } else { high = middle }
        }
        let z = 0.5 * (low + high);
        going = going.within(*t, z);
        spent = may;
        all.push(z);
    }
    Some(all)
}

/// The chance to have crossed `±limits` by the last of these looks if there is nothing to find; shares rise to 1.
///
/// None for shares that do not rise within 0 to 1, or another number of limits.
#[must_use]
pub fn crossing(shares: &[f64], limits: &[f64]) -> Option<f64> {
    if !are_shares(shares) || shares.len() != limits.len() {
        return None;
    }
    let mut going = GoingOn::start();
    let mut crossed = 0.0;
    for (t, z) in shares.iter().zip(limits) {
        crossed += 2.0 * going.above(*t, *z);
        going = going.within(*t, *z);
    }
    Some(crossed)
}

/// The chance that one of `looks` equally spaced looks exceeds the limit of a single one of the risk `alpha`, both sides
/// together: what looking again without a plan comes to.
#[must_use]
pub fn repeated(looks: usize, alpha: f64) -> f64 {
    let shares: Vec<f64> = (1..=looks).map(|k| k as f64 / looks as f64).collect();
    crossing(&shares, &vec![normal_quantile(1.0 - 0.5 * alpha); looks]).unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn equal(looks: usize) -> Vec<f64> {
        (1..=looks).map(|k| k as f64 / looks as f64).collect()
    }

    #[test]
    fn the_constants_of_pocock_and_of_obrien_and_fleming_spend_five_percent() {
        // Jennison and Turnbull (2000), tables 2.1 and 2.3, with more digits from scipy 1.17.1.
        for (looks, z) in [(2, 2.178_272), (3, 2.289_478), (4, 2.361_298), (5, 2.413_176), (10, 2.555_013)] {
            let found = crossing(&equal(looks), &vec![z; looks]).unwrap();
            assert!((found - 0.05).abs() < 2e-6, "Pocock, {looks}: {found}");
        }
        for (looks, c) in [(2, 1.977_431), (3, 2.004_036), (4, 2.024_295), (5, 2.040_073), (10, 2.086_502)] {
            let limits: Vec<f64> = equal(looks).iter().map(|t| c / t.sqrt()).collect();
            let found = crossing(&equal(looks), &limits).unwrap();
            assert!((found - 0.05).abs() < 2e-6, "O'Brien and Fleming, {looks}: {found}");
        }
    }

    #[test]
    fn looking_again_without_a_plan_raises_the_risk_as_armitage_and_others_found() {
        // Armitage, McPherson and Rowe (1969), table 2, with more digits from scipy 1.17.1.
        for (looks, risk) in
            [(1, 0.05), (2, 0.083_118), (3, 0.107_256), (4, 0.126_169), (5, 0.141_689), (10, 0.193_357)]
        {
            let found = repeated(looks, 0.05);
            assert!((found - risk).abs() < 2e-6, "{looks}: {found}");
        }
    }

    #[test]
    fn spending_gives_the_boundaries_of_lan_and_demets() {
        // Scipy 1.17.1, recursive integration.
        for (spending, looks, expected) in [
            (Spending::OBrienFleming, 5, &[4.876_88, 3.357_01, 2.680_28, 2.289_82, 2.031_03][..]),
            (Spending::OBrienFleming, 3, &[3.7103, 2.511_43, 1.993_05]),
            (Spending::Pocock, 5, &[2.437_98, 2.426_81, 2.410_19, 2.396_65, 2.385_98]),
            (Spending::Pocock, 3, &[2.279_43, 2.294_91, 2.295_94]),
        ] {
            let found = boundaries(&equal(looks), 0.05, spending).unwrap();
            for (z, expected) in found.iter().zip(expected) {
                assert!((z - expected).abs() < 2e-5, "{spending:?}: {found:?}");
            }
            assert!((crossing(&equal(looks), &found).unwrap() - 0.05).abs() < 1e-9);
        }
    }

    #[test]
    fn shares_that_cannot_be_give_none() {
        for shares in [&[][..], &[0.5, 0.5], &[0.0, 1.0], &[0.5, 1.5], &[f64::NAN]] {
            assert_eq!(boundaries(shares, 0.05, Spending::Pocock), None);
        }
        assert_eq!(boundaries(&[1.0], 0.0, Spending::Pocock), None);
        assert_eq!(crossing(&[1.0], &[2.0, 3.0]), None);
        let one = boundaries(&[1.0], 0.05, Spending::OBrienFleming).unwrap()[0];
        assert!((one - 1.959_963_984_540_054).abs() < 1e-9, "{one}");
    }
}
