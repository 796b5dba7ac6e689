//! How far a rig drifted between two groups of runs, as far as the runs of each show it.
//!
//! One slope of ln(value) in time for both groups, each with a level of its own, by least squares; times the time
//! between their mean times. Must not know which tools they are of.

/// A drift between the mean times of two groups.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftBetween {
    /// Change of ln(value) from the second group's mean time to the first's: a share of the value.
    pub share: f64,
    /// Degrees of freedom of the slope.
    pub freedom: f64,
}

/// The drift between groups of time (s) and value (above 0); none without a degree of freedom, or with all runs of each
/// group at one time.
#[must_use]
pub fn drift_between(a: &[(f64, f64)], b: &[(f64, f64)]) -> Option<DriftBetween> {
    let freedom = (a.len() + b.len()).checked_sub(3).filter(|freedom| *freedom > 0)?;
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64, group: &[(f64, f64)]| {
        group.iter().map(of).sum::<f64>() / group.len() as f64
    };
    let (mut squares, mut products) = (0.0, 0.0);
    let mut middles = Vec::new();
    for group in [a, b] {
        let (middle, level) = (mean(&|p| p.0, group), mean(&|p| libm::log(p.1), group));
        for (time, value) in group {
            squares += (time - middle) * (time - middle);
            products += (time - middle) * (libm::log(*value) - level);
        }
        middles.push(middle);
    }
    let share = products / squares * (middles[0] - middles[1]);
    share.is_finite().then_some(DriftBetween { share, freedom: freedom as f64 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rig_that_loses_one_percent_an_hour_is_found_whatever_the_tools_give() {
        let at = |level: f64, hours: f64| (3600.0 * hours, level * (-0.01 * hours).exp());
        let a = [at(76.0, 1.0), at(76.0, 1.2), at(76.0, 1.4)];
        let b = [at(80.0, 0.0), at(80.0, 0.1), at(80.0, 2.9)];
        let found = drift_between(&a, &b).unwrap();
        assert!((found.share - -0.01 * (1.2 - 1.0)).abs() < 1e-12 && found.freedom == 3.0, "{found:?}");
        assert_eq!(drift_between(&a[..1], &b[..2]), None);
        assert_eq!(drift_between(&[(0.0, 1.0), (0.0, 1.1)], &[(5.0, 1.0), (5.0, 1.0)]), None);
    }
}
