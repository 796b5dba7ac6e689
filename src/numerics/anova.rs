//! One-way analysis of variance.
//!
//! Sums of twice the precision. Held by the NIST StRD sets with up to 13 equal leading digits (SmLs07 to
//! SmLs09). Must not know what the groups are.

use super::double_double::DoubleDouble;
use super::moments::{exact, mean_of, sum_of_squares};

/// The table of a one-way analysis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anova {
    /// Sum of squares between groups.
    pub between: f64,
    /// Groups less one.
    pub between_df: usize,
    /// Sum of squares within groups.
    pub within: f64,
    /// Values less groups.
    pub within_df: usize,
    /// Mean square between over mean square within.
    pub f: f64,
    /// Between over total sum of squares.
    pub r_squared: f64,
    /// Root of the mean square within.
    pub residual_sd: f64,
}

/// Analyses groups; none where there are fewer than two, one is empty, or no degree of freedom is left.
#[must_use]
pub fn one_way(groups: &[&[f64]]) -> Option<Anova> {
    let groups: Vec<Vec<DoubleDouble>> = groups.iter().map(|g| exact(g)).collect();
    one_way_exact(&groups)
}

/// The same for values of twice the precision, such as decimals read to all their digits.
#[must_use]
pub fn one_way_exact(groups: &[Vec<DoubleDouble>]) -> Option<Anova> {
    let n: usize = groups.iter().map(Vec::len).sum();
    if groups.len() < 2 || groups.iter().any(Vec::is_empty) || n <= groups.len() {
        return None;
    }
    let all: DoubleDouble = groups.iter().flatten().copied().sum();
    let centre = all / DoubleDouble::from(n as f64);
    let within: DoubleDouble = groups.iter().map(|g| sum_of_squares(g, mean_of(g))).sum();
    let between: DoubleDouble = groups
        .iter()
        .map(|g| {
            let off = mean_of(g) - centre;
            DoubleDouble::from(g.len() as f64) * off * off
        })
        .sum();
    let (between_df, within_df) = (groups.len() - 1, n - groups.len());
    let square = |sum: DoubleDouble, df: usize| sum / DoubleDouble::from(df as f64);
    Some(Anova {
        between: between.to_f64(),
        between_df,
        within: within.to_f64(),
        within_df,
        f: (square(between, between_df) / square(within, within_df)).to_f64(),
        r_squared: (between / (between + within)).to_f64(),
        residual_sd: square(within, within_df).to_f64().sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_groups_give_the_square_of_students_t() {
        let table = one_way(&[&[1.0, 2.0, 3.0], &[4.0, 5.0, 6.0]]).unwrap();
        // t = 3 / sqrt(1·(1/3 + 1/3)), squared 13.5.
        assert!((table.f - 13.5).abs() < 1e-14);
        assert_eq!((table.between_df, table.within_df, table.within), (1, 4, 4.0));
        assert_eq!(one_way(&[&[1.0], &[2.0]]), None);
    }
}
