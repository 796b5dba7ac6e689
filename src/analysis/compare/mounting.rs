//! Runs in mountings: pulls between which the coupling stayed on are no repeats of the coupling.
//!
//! How a coupling sits differs from mounting to mounting, and pulls of one mounting share it. So the mean of a
//! mounting is what counts as one reading, and what varies between mountings is what a percent is judged by. With
//! unequal numbers of pulls the variance of a percent takes up too much or too little of the pulls' own; that is put
//! right with the variance within mountings and the degrees of freedom of Satterthwaite (1946, Biometrics Bulletin
//! 2:110), rounded down. Must not know where a mounting was noted.

use super::observation::{CompareError, Observation};
use std::collections::HashSet;

/// Readings that stand for one mounting each.
#[derive(Clone, Debug, PartialEq)]
pub struct Mounted {
    /// The means in time order, with the number of the first run of each; runs that do not count as they were.
    pub observations: Vec<Observation>,
    /// Runs of each mean that counts, in time order.
    pub sizes: Vec<usize>,
    /// Sum of squares of ln(value) about the means of the mountings.
    within_sum_of_squares: f64,
    /// Degrees of freedom of that.
    pub within_freedom: usize,
}

/// How means are taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mean {
    /// Of the values.
    Arithmetic,
    /// Of their logarithms.
    Geometric,
}

impl Mounted {
    /// Puts the runs of each mounting together; none where no run names one.
    ///
    /// # Errors
    /// A run without a mounting where others have one; a mounting whose tool had another coupling in between.
    pub fn of(observations: &[Observation], mean: Mean) -> Result<Option<Self>, CompareError> {
        let counted = || observations.iter().enumerate().filter(|(_, o)| o.excluded.is_none());
        if counted().all(|(_, o)| o.mounting.is_none()) {
            return Ok(None);
        }
        if let Some((row, o)) = counted().find(|(_, o)| o.mounting.is_none()) {
            return Err(CompareError::NoMounting { row, run: o.run });
        }
        let groups = groups(observations)?;
        let mut found = Self {
            observations: Vec::new(),
            sizes: Vec::new(),
            within_sum_of_squares: 0.0,
            within_freedom: 0,
        };
        let mut means: Vec<(Observation, usize)> = Vec::new();
        for rows in &groups {
            let (one, sum_of_squares) = mean_of(observations, rows, mean);
            found.within_sum_of_squares += sum_of_squares;
            found.within_freedom += rows.len() - 1;
            means.push((one, rows.len()));
        }
        means.extend(observations.iter().filter(|o| o.excluded.is_some()).map(|o| (o.clone(), 0)));
        means.sort_by(|a, b| a.0.time_s.total_cmp(&b.0.time_s));
        let mut before = f64::NEG_INFINITY;
        for (one, size) in &mut means {
            // Mountings of two tools in turn may have one mean time, and times must rise.
            one.time_s = if one.time_s > before { one.time_s } else { before.next_up() };
            before = one.time_s;
            if *size > 0 {
                found.sizes.push(*size);
            }
        }
        found.observations = means.into_iter().map(|(one, _)| one).collect();
        Ok(Some(found))
    }

    /// Runs of all mountings are equally many.
    #[must_use]
    pub fn is_balanced(&self) -> bool {
        self.sizes.windows(2).all(|two| two[0] == two[1])
    }

    /// Variance of ln(value) of pulls within a mounting; none where no mounting has two.
    #[must_use]
    pub fn within_variance(&self) -> Option<f64> {
        (self.within_freedom > 0).then(|| self.within_sum_of_squares / self.within_freedom as f64)
    }
}

/// Places of the runs of each mounting, mountings in the order of their first run.
fn groups(observations: &[Observation]) -> Result<Vec<Vec<usize>>, CompareError> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut known = HashSet::new();
    // The mounting that each tool has on: its place among the groups.
    let mut on: Vec<(&Option<String>, usize)> = Vec::new();
    for (row, o) in observations.iter().enumerate().filter(|(_, o)| o.excluded.is_none()) {
        let same = |place: usize| {
            let first = &observations[groups[place][0]];
            first.tool == o.tool && first.setup == o.setup && first.mounting == o.mounting
        };
        let of_tool = on.iter().position(|(tool, _)| **tool == o.tool);
        if let Some(at) = of_tool
            && same(on[at].1)
        {
            groups[on[at].1].push(row);
            continue;
        }
        if !known.insert((&o.tool, &o.setup, &o.mounting)) {
            let mounting = o.mounting.clone().unwrap_or_default();
            return Err(CompareError::MountedAgain { row, run: o.run, mounting });
        }
        groups.push(vec![row]);
        match of_tool {
            Some(at) => on[at].1 = groups.len() - 1,
            None => on.push((&o.tool, groups.len() - 1)),
        }
    }
    Ok(groups)
}

/// The mean of a mounting, and the sum of squares of ln(value) about it.
fn mean_of(observations: &[Observation], rows: &[usize], mean: Mean) -> (Observation, f64) {
    let first = observations[rows[0]].clone();
    if rows.len() == 1 {
        return (first, 0.0);
    }
    let n = rows.len() as f64;
    let of = |f: fn(&Observation) -> f64| rows.iter().map(|r| f(&observations[*r])).sum::<f64>() / n;
    let ln = of(|o| libm::log(o.value));
    let about = rows.iter().map(|r| (libm::log(observations[*r].value) - ln).powi(2)).sum();
    let value = if mean == Mean::Arithmetic { of(|o| o.value) } else { libm::exp(ln) };
    (Observation { value, time_s: of(|o| o.time_s), ..first }, about)
}

/// Variance of a percent's ln with its degrees of freedom, where mountings differ in their numbers of pulls.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unequal {
    /// Variance of the means about the fit.
    pub between: f64,
    /// Degrees of freedom of that.
    pub between_freedom: f64,
    /// Mean of 1/pulls, each weighed by what the fit leaves of its mounting.
    pub share: f64,
    /// Variance of pulls within mountings.
    pub within: f64,
    /// Degrees of freedom of that.
    pub within_freedom: f64,
}

impl Unequal {
    /// Of a coefficient that takes so much of each mounting's mean; `sizes` are pulls of each.
    #[must_use]
    pub fn variance(&self, weights: &[f64], sizes: &[usize]) -> (f64, f64) {
        let squares: f64 = weights.iter().map(|w| w * w).sum();
        let of_pulls: f64 = weights.iter().zip(sizes).map(|(w, n)| w * w / *n as f64).sum();
        let from_between = squares * self.between;
        let from_within = (of_pulls - squares * self.share) * self.within;
        let variance = from_between + from_within;
        if variance <= 0.0 {
            return (of_pulls * self.within, self.within_freedom);
        }
        let parts = from_between * from_between / self.between_freedom
            + from_within * from_within / self.within_freedom;
        (variance, variance * variance / parts)
    }
}
