//! Stored codes as stretches without a hole, thinned where wanted, and the line that turns them into tension.
//!
//! Places of missing samples are left out, so a jump in the sample numbers is a gap. Must not know the store's
//! packing nor how rows are written.

use boltscribe_model::constants::Calibration;
use boltscribe_pipeline::Thin;
use boltscribe_store::RawBlock;
use serde::{Deserialize, Serialize};

/// Most samples in one stretch.
pub const STRETCH_MAX: usize = 8192;
/// Length of a thinned point, seconds: that of idle time.
const POINT_S: f64 = 0.1;

/// Codes that follow each other.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stretch {
    /// Index in the stream of the first code.
    pub first_sample: u64,
    /// The codes.
    pub counts: Vec<i32>,
}

/// The codes of a block that were really there, in stretches.
#[must_use]
pub fn stretches(block: &RawBlock) -> Vec<Stretch> {
    let mut all = Vec::new();
    let mut put = |from: usize, to: usize| {
        for start in (from..to).step_by(STRETCH_MAX) {
            let counts = block.counts[start..to.min(start + STRETCH_MAX)].to_vec();
            all.push(Stretch { first_sample: block.first_sample + start as u64, counts });
        }
    };
    let end = block.counts.len();
    let mut from = 0;
    for &(at, lacking) in &block.missing {
        let hole = (at as usize).clamp(from, end);
        put(from, hole);
        from = (at as usize).saturating_add(lacking as usize).clamp(from, end);
    }
    put(from, end);
    all
}

/// Samples in a thinned point.
#[must_use]
pub fn per_point(rate_hz: f64) -> u32 {
    ((POINT_S * rate_hz).round() as u32).clamp(1, STRETCH_MAX as u32)
}

/// Least, greatest and mean code of points of `per_point` samples; the last may hold fewer.
#[must_use]
pub fn thin(counts: &[i32], per_point: u32) -> Vec<Thin> {
    let chunks = counts.chunks(per_point.max(1) as usize);
    chunks
        .map(|codes| {
            let sum: i64 = codes.iter().map(|code| i64::from(*code)).sum();
            Thin {
                min: codes.iter().copied().min().unwrap_or(0),
                max: codes.iter().copied().max().unwrap_or(0),
                mean: (sum as f64 / codes.len() as f64) as f32,
            }
        })
        .collect()
}

/// kN of a code by the calibration's line, no zero taken off.
#[must_use]
pub fn reading_kn(calibration: &Calibration, code: f64) -> f64 {
    calibration.coefficients_kn.iter().rev().fold(0.0, |sum, coefficient| sum * code + coefficient)
}

/// To the nanosecond, or to the micronewton of a kilonewton: far below what any converter tells apart.
#[must_use]
pub fn to_1e9(value: f64) -> f64 {
    (value * 1e9).round() / 1e9
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_of_missing_samples_are_no_samples() {
        let block = RawBlock { first_sample: 100, counts: (0..10).collect(), missing: vec![(0, 2), (4, 3)] };
        let found = stretches(&block);
        assert_eq!(
            found,
            [
                Stretch { first_sample: 102, counts: vec![2, 3] },
                Stretch { first_sample: 107, counts: vec![7, 8, 9] },
            ]
        );
        let overlapping = RawBlock { missing: vec![(2, 5), (4, 20)], ..block };
        assert_eq!(stretches(&overlapping), [Stretch { first_sample: 100, counts: vec![0, 1] }]);
    }

    #[test]
    fn a_long_block_comes_in_stretches_that_join() {
        let counts: Vec<i32> = (0..20_000).collect();
        let found = stretches(&RawBlock { first_sample: 5, counts: counts.clone(), missing: Vec::new() });
        assert!(found.iter().all(|stretch| stretch.counts.len() <= STRETCH_MAX));
        assert_eq!(found.iter().flat_map(|stretch| stretch.counts.clone()).collect::<Vec<_>>(), counts);
        assert_eq!(found[1].first_sample, 5 + STRETCH_MAX as u64);
    }

    #[test]
    fn the_line_is_that_of_the_measuring() {
        let calibration = Calibration {
            id: "c".into(),
            coefficients_kn: vec![0.1, 1.1e-4, 2e-12, -1e-19],
            nominal: false,
            range_kn: None,
        };
        let converter = boltscribe_signal::tension::Converter::new(&calibration).unwrap();
        for code in [-8_388_608, -1, 0, 812_345, 8_388_607] {
            let kn = converter.newtons(boltscribe_model::units::Counts(code)).kn();
            assert!((reading_kn(&calibration, f64::from(code)) - kn).abs() < 1e-12 * (1.0 + kn.abs()));
        }
    }
}
