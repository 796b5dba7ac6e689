//! Householder QR in twice the precision of `f64`.
//!
//! Golub and Van Loan, Matrix Computations, algorithms 5.1.1 and 5.2.1. Only the triangle is kept; what
//! stands on the right is transformed along. Must not know least squares' words.

use super::double_double::DoubleDouble;

/// The triangle R of a matrix of full rank.
pub struct Qr {
    /// Column by column; column k has k + 1 values.
    r: Vec<Vec<DoubleDouble>>,
}

/// A column that those before it make up.
pub struct Dependent {
    /// Place from 0.
    pub column: usize,
    /// −log10 of the share of it that is its own.
    pub digits: f64,
}

/// A share of a column below this is what rounding its values to `f64` leaves.
const OWN_SHARE_MIN: f64 = 8.0 * f64::EPSILON;

impl Qr {
    /// Takes a matrix of at least as many rows as columns apart; each of `right` becomes Qᵀ times itself.
    pub fn new(
        mut columns: Vec<Vec<DoubleDouble>>,
        right: &mut [Vec<DoubleDouble>],
    ) -> Result<Self, Dependent> {
        let lengths: Vec<f64> = columns.iter().map(|c| norm(c)).collect();
        let mut r = Vec::with_capacity(columns.len());
        for k in 0..columns.len() {
            let (done, rest) = columns.split_at_mut(k + 1);
            let column = &mut done[k];
            let below = norm(&column[k..]);
            let share = if lengths[k] > 0.0 { below / lengths[k] } else { 0.0 };
            if share < OWN_SHARE_MIN {
                return Err(Dependent { column: k, digits: -libm::log10(share.max(1e-32)) });
            }
            let length = sum_of_squares(&column[k..]).sqrt();
            let diagonal = if column[k].to_f64() > 0.0 { -length } else { length };
            // The mirror is v = column − diagonal·e; vᵀv = 2·diagonal·(diagonal − first).
            let half = diagonal * (diagonal - column[k]);
            column[k] -= diagonal;
            for other in rest.iter_mut().chain(right.iter_mut()) {
                let along = dot(&column[k..], &other[k..]) / half;
                for (o, v) in other[k..].iter_mut().zip(&column[k..]) {
                    *o -= along * *v;
                }
            }
            let mut kept = column[..k].to_vec();
            kept.push(diagonal);
            r.push(kept);
        }
        Ok(Self { r })
    }

    /// The solution of R·b = the first rows of `right`.
    pub fn solve(&self, right: &[DoubleDouble]) -> Vec<DoubleDouble> {
        let p = self.r.len();
        let mut b = right[..p].to_vec();
        for k in (0..p).rev() {
            b[k] = b[k] / self.r[k][k];
            let known = b[k];
            for (above, r) in b[..k].iter_mut().zip(&self.r[k]) {
                *above -= *r * known;
            }
        }
        b
    }

    /// (RᵀR)⁻¹, row by row.
    pub fn inverse_of_gram(&self) -> Vec<Vec<DoubleDouble>> {
        let p = self.r.len();
        let unit = |k: usize| {
            let mut e = vec![DoubleDouble::ZERO; p];
            e[k] = DoubleDouble::ONE;
            e
        };
        let inverse: Vec<Vec<DoubleDouble>> = (0..p).map(|k| self.solve(&unit(k))).collect();
        let entry = |i: usize, j: usize| (i.max(j)..p).map(|k| inverse[k][i] * inverse[k][j]).sum();
        (0..p).map(|i| (0..p).map(|j| entry(i, j)).collect()).collect()
    }
}

fn dot(a: &[DoubleDouble], b: &[DoubleDouble]) -> DoubleDouble {
    a.iter().zip(b).map(|(a, b)| *a * *b).sum()
}

fn sum_of_squares(a: &[DoubleDouble]) -> DoubleDouble {
    dot(a, a)
}

fn norm(a: &[DoubleDouble]) -> f64 {
    sum_of_squares(a).to_f64().max(0.0).sqrt()
}
