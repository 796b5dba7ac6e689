//! Which measured run is which true run: by the greatest overlap of their drives.
//!
//! Must not know what a figure is.

use crate::measured::Measured;
use crate::trace::True;

/// Drives are taken so much longer at both ends, s, so that a run of one blow has a length.
const BESIDE_S: f64 = 0.1;

/// Index of the measured run of each true run, and the measured runs that belong to none.
pub struct Matched {
    pub of_true: Vec<Option<usize>>,
    pub left: Vec<usize>,
}

/// Pairs them, each at most once, the greatest overlaps first.
pub fn matched(runs: &[True], measured: &[Measured]) -> Matched {
    let mut overlaps: Vec<(f64, usize, usize)> = Vec::new();
    for (t, run) in runs.iter().enumerate() {
        for (m, found) in measured.iter().enumerate() {
            let from_s = run.first_blow_s.max(found.record.first_blow_s) - BESIDE_S;
            let until_s = run.last_blow_s.min(found.record.last_blow_s) + BESIDE_S;
            if until_s > from_s {
                overlaps.push((until_s - from_s, t, m));
            }
        }
    }
    overlaps.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut of_true = vec![None; runs.len()];
    let mut taken = vec![false; measured.len()];
    for (_, t, m) in overlaps {
        if of_true[t].is_none() && !taken[m] {
            of_true[t] = Some(m);
            taken[m] = true;
        }
    }
    let left = (0..measured.len()).filter(|m| !taken[*m]).collect();
    Matched { of_true, left }
}
