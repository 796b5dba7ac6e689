//! Which combinations of columns a design of small whole numbers can tell, by its reduced row echelon form.
//!
//! Searle (Linear Models, 1971): a combination can be estimated if and only if it lies in the row space.
//! Must not know what the columns are.

/// The row space of a design.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimable {
    /// Columns that are fitted, in order.
    pub pivots: Vec<usize>,
    /// For each, the combination of all columns that its coefficient then is.
    pub rows: Vec<Vec<f64>>,
}

/// Whole numbers of this size stay exact; less is rounding.
const ZERO: f64 = 1e-9;

impl Estimable {
    /// Reduces the rows of a design.
    #[must_use]
    pub fn of(design: &[Vec<f64>]) -> Self {
        let mut rows: Vec<Vec<f64>> = Vec::new();
        for row in design {
            if !rows.contains(row) {
                rows.push(row.clone());
            }
        }
        let columns = rows.first().map_or(0, Vec::len);
        let (mut pivots, mut done) = (Vec::new(), 0);
        for column in 0..columns {
            let best =
                (done..rows.len()).max_by(|a, b| rows[*a][column].abs().total_cmp(&rows[*b][column].abs()));
            let Some(best) = best.filter(|b| rows[*b][column].abs() > ZERO) else { continue };
            rows.swap(done, best);
            let lead = rows[done][column];
            for value in &mut rows[done] {
                *value /= lead;
            }
            let reduced = rows[done].clone();
            for (k, row) in rows.iter_mut().enumerate() {
                let factor = row[column];
                if k != done && factor.abs() > ZERO {
                    for (value, r) in row.iter_mut().zip(&reduced) {
                        *value -= factor * r;
                        if value.abs() < ZERO {
                            *value = 0.0;
                        }
                    }
                }
            }
            pivots.push(column);
            done += 1;
        }
        rows.truncate(done);
        Self { pivots, rows }
    }

    /// Weights of the fitted coefficients that make up a combination; none where it cannot be told.
    #[must_use]
    pub fn weights(&self, combination: &[f64]) -> Option<Vec<f64>> {
        let weights: Vec<f64> = self.pivots.iter().map(|p| combination[*p]).collect();
        let made = |k: usize| weights.iter().zip(&self.rows).map(|(w, row)| w * row[k]).sum::<f64>();
        (0..combination.len()).all(|k| (made(k) - combination[k]).abs() < ZERO).then_some(weights)
    }

    /// Names of the columns, after the first `levels`, that only ever stand with a level.
    #[must_use]
    pub fn in_every_row(&self, levels: usize, names: &[String]) -> Vec<String> {
        let apart = |k: usize| {
            self.rows.iter().zip(&self.pivots).any(|(row, pivot)| *pivot >= levels && row[levels + k] != 0.0)
        };
        names.iter().enumerate().filter(|(k, _)| !apart(*k)).map(|(_, n)| n.clone()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_that_always_stand_together_are_one_combination() {
        // Columns: level, socket, extension, joint; the last two only ever together.
        let design = [vec![1.0, 1.0, 0.0, 0.0], vec![1.0, 1.0, 1.0, 1.0]];
        let found = Estimable::of(&design);
        assert_eq!(found.pivots, [0, 2]);
        assert_eq!(found.rows[1], [0.0, 0.0, 1.0, 1.0]);
        assert_eq!(found.weights(&[0.0, 0.0, 2.0, 2.0]), Some(vec![0.0, 2.0]));
        assert_eq!(found.weights(&[0.0, 0.0, 1.0, 0.0]), None);
        let names: Vec<String> = ["socket", "extension", "joint"].map(String::from).to_vec();
        assert_eq!(found.in_every_row(1, &names), ["socket"]);
    }

    #[test]
    fn a_design_that_tells_all_tells_each() {
        let design = [vec![1.0, 0.0, 0.0], vec![1.0, 1.0, 0.0], vec![1.0, 0.0, 2.0], vec![1.0, 1.0, 1.0]];
        let found = Estimable::of(&design);
        assert_eq!(found.pivots, [0, 1, 2]);
        assert_eq!(found.weights(&[0.0, 0.0, 1.0]), Some(vec![0.0, 0.0, 1.0]));
    }
}
