//! A plan of looks: after how many runs one may judge, fixed before the first of them.
//!
//! Whoever judges, adds runs and judges again errs more often than one look says. With a plan the risk is spent look
//! by look (Lan and DeMets, O'Brien-Fleming type) and comes to what was asked for. Must not know what is judged.

use boltscribe_numerics::distributions::normal_sf;
use boltscribe_numerics::sequential::{Spending, boundaries, repeated};

/// Most looks of a plan.
pub const LOOKS_MAX: usize = 5;
/// Most runs at the last look.
pub const RUNS_MAX: u32 = 200;
/// What a plan of looks must be.
pub const EXPECTED: &str = "2 to 5 whole numbers of runs that rise, from 2 to 200";

/// Numbers of runs at which one may judge, rising.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Looks(Vec<u32>);

impl Looks {
    /// Of numbers of runs; none where they do not rise or are too many or too few: see [`EXPECTED`].
    #[must_use]
    pub fn new(runs: &[u32]) -> Option<Self> {
        let rising = runs.windows(2).all(|two| two[0] < two[1]);
        let within = runs.iter().all(|n| (2..=RUNS_MAX).contains(n));
        (rising && within && (2..=LOOKS_MAX).contains(&runs.len())).then(|| Self(runs.to_vec()))
    }

    /// As people write them: `5,10`.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let runs: Option<Vec<u32>> = text.split(',').map(|word| word.trim().parse().ok()).collect();
        Self::new(&runs?)
    }

    /// As people write them: `5,10`.
    #[must_use]
    pub fn words(&self) -> String {
        self.0.iter().map(u32::to_string).collect::<Vec<_>>().join(",")
    }

    /// The numbers of runs.
    #[must_use]
    pub fn runs(&self) -> &[u32] {
        &self.0
    }

    /// Which look so many runs are, from 0; none where none was planned.
    #[must_use]
    pub fn at(&self, runs: u32) -> Option<usize> {
        self.0.iter().position(|n| *n == runs)
    }

    fn shares(&self) -> Vec<f64> {
        let all = self.0.last().copied().unwrap_or(1);
        self.0.iter().map(|n| f64::from(*n) / f64::from(all)).collect()
    }

    /// The risk of one side at this look by itself, so that over all looks that side has the risk `one_side`.
    ///
    /// Where an error is common to all runs, successive looks are more alike than the plan reckons with, and the risk
    /// is smaller.
    #[must_use]
    pub fn level(&self, at: usize, one_side: f64) -> Option<f64> {
        let limits = boundaries(&self.shares(), 2.0 * one_side, Spending::OBrienFleming)?;
        limits.get(at).map(|z| normal_sf(*z))
    }

    /// The share of a risk that is spent at this look: the sum over all looks is `risk`, whatever is looked at.
    #[must_use]
    pub fn spent(&self, at: usize, risk: f64) -> Option<f64> {
        let by = |t: f64| 2.0 * Spending::OBrienFleming.spent(t, 0.5 * risk);
        let shares = self.shares();
        let before = at.checked_sub(1).map_or(0.0, |before| by(shares[before]));
        shares.get(at).map(|t| by(*t) - before)
    }
}

/// The risk of one side after so many equally spaced looks that nobody planned, where one look has the risk `one_side`.
#[must_use]
pub fn unplanned(looks: usize, one_side: f64) -> f64 {
    0.5 * repeated(looks, 2.0 * one_side)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looks_rise_and_the_risk_is_spent_over_all_of_them() {
        for wrong in ["5", "5,5", "10,5", "1,5", "5,x", "2,3,4,5,6,7", "5,500", ""] {
            assert_eq!(Looks::read(wrong), None, "{wrong}");
        }
        let looks = Looks::read("5, 10").unwrap();
        assert_eq!((looks.at(5), looks.at(10), looks.at(7)), (Some(0), Some(1), None));
        let (first, last) = (looks.level(0, 0.05).unwrap(), looks.level(1, 0.05).unwrap());
        assert!(first < 0.01 && last > 0.045 && last < 0.05, "{first} {last}");
        let spent: f64 = (0..2).map(|at| looks.spent(at, 0.05).unwrap()).sum();
        assert!((spent - 0.05).abs() < 1e-15);
        assert_eq!((looks.level(2, 0.05), looks.spent(2, 0.05)), (None, None));
        // Five looks at 5 % without a plan, one side: more than twice as many wrong.
        assert!(unplanned(5, 0.05) > 0.12 && unplanned(1, 0.05) < 0.0500001);
    }
}
