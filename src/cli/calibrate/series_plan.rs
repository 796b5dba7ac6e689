//! The order of loads of a calibration: series by series, up and down, mounted anew between them.
//!
//! Must not know files or rigs.

/// One load to be applied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Number of its series, from 1.
    pub series: usize,
    /// From below.
    pub up: bool,
    /// The load.
    pub load_kn: f64,
    /// Angle of the mounting.
    pub position_deg: Option<f64>,
    /// Place in its series, from 0.
    place: usize,
}

impl Step {
    /// Whether it is the first of its series.
    #[must_use]
    pub const fn begins_series(&self) -> bool {
        self.place == 0
    }
}

/// All steps: each series goes up from zero and, with `down`, back to it.
///
/// # Errors
/// A sentence: loads that do not rise from 0, no series, another number of positions than of series.
pub fn plan(loads_kn: &[f64], series: usize, positions_deg: &[f64], down: bool) -> Result<Vec<Step>, String> {
    if loads_kn.len() < 2 || loads_kn[0] != 0.0 {
        return Err(format!("--loads-kN: expected at least two loads from 0 on, found {loads_kn:?}"));
    }
    if loads_kn.windows(2).any(|pair| !(pair[1].is_finite() && pair[1] > pair[0])) {
        return Err(format!("--loads-kN: expected rising loads, found {loads_kn:?}"));
    }
    if !(1..=20).contains(&series) {
        return Err(format!("--series: expected 1 to 20, found {series}"));
    }
    if !positions_deg.is_empty() && positions_deg.len() != series {
        let found = positions_deg.len();
        return Err(format!("--positions-deg: expected one for each of the {series} series, found {found}"));
    }
    let mut steps = Vec::new();
    for number in 1..=series {
        let ups = loads_kn.iter().map(|kn| (true, *kn));
        let downs = loads_kn.iter().rev().skip(1).map(|kn| (false, *kn)).filter(|_| down);
        for (place, (up, load_kn)) in ups.chain(downs).enumerate() {
            let position_deg = positions_deg.get(number - 1).copied();
            steps.push(Step { series: number, up, load_kn, position_deg, place });
        }
    }
    Ok(steps)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_series_goes_up_from_zero_and_back_to_it() {
        let steps = plan(&[0.0, 50.0, 100.0], 2, &[0.0, 120.0], true).unwrap();
        let of = |n: usize| -> Vec<(bool, f64)> {
            steps.iter().filter(|s| s.series == n).map(|s| (s.up, s.load_kn)).collect()
        };
        let once = [(true, 0.0), (true, 50.0), (true, 100.0), (false, 50.0), (false, 0.0)];
        assert_eq!((of(1), of(2)), (once.to_vec(), once.to_vec()));
        assert!(steps[5].begins_series() && steps[5].position_deg == Some(120.0));
        assert_eq!(plan(&[0.0, 50.0], 1, &[], false).unwrap().len(), 2);
    }

    #[test]
    fn a_plan_that_cannot_be_is_told() {
        for (loads, series, positions, word) in [
            (&[10.0, 20.0][..], 1, &[][..], "--loads-kN"),
            (&[0.0, 20.0, 20.0], 1, &[], "rising"),
            (&[0.0, f64::NAN], 1, &[], "rising"),
            (&[0.0, 20.0], 0, &[], "--series"),
            (&[0.0, 20.0], 3, &[0.0, 120.0], "--positions-deg"),
        ] {
            assert!(plan(loads, series, positions, true).unwrap_err().contains(word));
        }
    }
}
