//! Medians and the median absolute deviation, exact and without sorting everything.
//!
//! Must not know what the values measure.

use std::cmp::Ordering;

/// Median of the values; the slice is reordered. None when it is empty.
pub fn median(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, mid, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    let upper = *mid;
    if n % 2 == 1 {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f64::total_cmp)?;
    Some(0.5 * (lower + upper))
}

/// Median of single-precision values, in double precision; the slice is reordered.
pub fn median_f32(values: &mut [f32]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, mid, _) = values.select_nth_unstable_by(n / 2, f32::total_cmp);
    let upper = f64::from(*mid);
    if n % 2 == 1 {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f32::total_cmp)?;
    Some(0.5 * (f64::from(lower) + upper))
}

/// Fewer values than this are simply selected from.
const FEW: usize = 256;
/// Values that are looked at first, to guess between which two the wanted one lies: few of few, more of many.
const SAMPLE: [usize; 2] = [64, 256];
/// From so many values on the larger sample pays.
const MANY: usize = 4096;
/// Places in that sample on either side of the wanted one: three standard deviations of a rank in it (half the root of
/// its size) at the middle. A wrong guess costs time and changes nothing.
const BESIDE: [usize; 2] = [12, 24];

/// The value at place `at` of the sorted values and, where asked for, the one before it, without reordering
/// and mostly without copying them: those that surely lie elsewhere are only counted.
fn nth<T: Copy + PartialOrd>(
    values: &[T],
    at: usize,
    order: impl Fn(&T, &T) -> Ordering + Copy,
) -> Option<(T, Option<T>)> {
    if values.len() >= FEW
        && let Some(found) = nth_between(values, at, order)
    {
        return Some(found);
    }
    let mut all = values.to_vec();
    (at < all.len()).then(|| last_of(&mut all, at, order))
}

fn last_of<T: Copy>(
    values: &mut [T],
    at: usize,
    order: impl Fn(&T, &T) -> Ordering + Copy,
) -> (T, Option<T>) {
    let (below, value, _) = values.select_nth_unstable_by(at, order);
    (*value, below.iter().copied().max_by(order))
}

/// As `nth`, by a guess from a sample; none where the guess was wrong.
fn nth_between<T: Copy + PartialOrd>(
    values: &[T],
    at: usize,
    order: impl Fn(&T, &T) -> Ordering + Copy,
) -> Option<(T, Option<T>)> {
    let many = usize::from(values.len() >= MANY);
    let (size, beside) = (SAMPLE[many], BESIDE[many]);
    let mut sample = [values[0]; SAMPLE[1]];
    let sample = &mut sample[..size];
    for (s, v) in sample.iter_mut().zip(values.iter().step_by(values.len() / size)) {
        *s = *v;
    }
    sample.sort_unstable_by(order);
    let place = at * size / values.len();
    let (low, high) = (sample[place.saturating_sub(beside)], sample[(place + beside).min(size - 1)]);
    let (below, upto) = values
        .chunks(u16::MAX as usize)
        .map(|part| {
            part.iter().fold((0_u32, 0_u32), |n, v| (n.0 + u32::from(*v < low), n.1 + u32::from(*v <= high)))
        })
        .fold((0, 0), |n, part| (n.0 + part.0 as usize, n.1 + part.1 as usize));
    // The one before it must be between as well.
    if at <= below || at >= upto {
        return None;
    }
    let mut between = vec![low; upto - below + 1];
    let mut count = 0;
    for v in values {
        between[count] = *v;
        count += usize::from(*v >= low && *v <= high);
    }
    Some(last_of(&mut between[..count], at - below, order))
}

/// Median of single-precision values, in double precision; nothing is reordered.
#[must_use]
pub fn median_of(values: &[f32]) -> Option<f64> {
    let (upper, lower) = nth(values, values.len() / 2, f32::total_cmp)?;
    if values.len() % 2 == 1 {
        return Some(f64::from(upper));
    }
    Some(0.5 * (f64::from(lower?) + f64::from(upper)))
}

/// The value at place `at` of the sorted values; nothing is reordered.
#[must_use]
pub fn value_at(values: &[f64], at: usize) -> Option<f64> {
    nth(values, at, f64::total_cmp).map(|found| found.0)
}

fn median_kept(values: &[f64]) -> Option<f64> {
    let (upper, lower) = nth(values, values.len() / 2, f64::total_cmp)?;
    if values.len() % 2 == 1 { Some(upper) } else { Some(0.5 * (lower? + upper)) }
}

/// 1.4826 × the median absolute deviation from `centre`: the SD of gaussian noise, blind to outliers.
pub fn scaled_mad(values: &mut [f64], centre: f64) -> Option<f64> {
    for v in values.iter_mut() {
        *v = (*v - centre).abs();
    }
    median_kept(values).map(|m| 1.4826 * m)
}

/// The SD of noise about `centre` that also holds for coarsely quantised values: the larger of the scaled
/// MAD and the 90 % quantile of the absolute deviation over 1.6449 (both equal the SD of gaussian noise).
///
/// Half of all deviations of a quiet converter are exactly zero, so the MAD alone would say "no noise".
pub fn robust_sd(values: &mut [f64], centre: f64) -> Option<f64> {
    let mad = scaled_mad(values, centre)?;
    // The values are absolute deviations now.
    let q90 = value_at(values, values.len() * 9 / 10)?;
    Some(mad.max(q90 / 1.644_853_627))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn median_of_even_and_odd_counts() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median_f32(&mut [4.0, 1.0, 2.0, 3.0]), Some(2.5));
    }

    #[test]
    fn places_are_those_of_the_sorted_values_whatever_their_order() {
        let mut random = 1_u32;
        for n in [1_usize, 2, 255, 256, 257, 1000, 4001] {
            for codes in [1_u32, 3, 50, 1 << 20] {
                let mut next = || {
                    random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    f64::from((random >> 8) % codes) - 20.0
                };
                let scattered: Vec<f64> = (0..n).map(|_| next()).collect();
                let period: Vec<f64> = (0..n).map(|i| (i % (n / 64).max(1)) as f64).collect();
                for values in [scattered, period] {
                    let mut sorted = values.clone();
                    sorted.sort_unstable_by(f64::total_cmp);
                    for at in [0, n / 10, n / 2, n * 9 / 10, n - 1] {
                        assert_eq!(value_at(&values, at), Some(sorted[at]), "{n} {codes} {at}");
                    }
                    assert_eq!(value_at(&values, n), None);
                    let single: Vec<f32> = values.iter().map(|v| *v as f32).collect();
                    assert_eq!(median_of(&single), median_f32(&mut single.clone()));
                    assert_eq!(median_kept(&values), median(&mut values.clone()));
                }
            }
        }
        assert_eq!(median_of(&[]), None);
    }

    #[test]
    fn quantised_noise_is_not_taken_for_none() {
        // Seven of ten readings agree, the others are one step off.
        let mut v = [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, -1.0, 0.0, 0.0, 1.0];
        assert_eq!(scaled_mad(&mut v.clone(), 0.0), Some(0.0));
        assert!(robust_sd(&mut v, 0.0).unwrap() > 0.5);
    }

    #[test]
    fn one_outlier_does_not_move_the_mad() {
        let mut calm = [1.0, 2.0, 3.0, 4.0, 5.0];
        let mut wild = [1.0, 2.0, 3.0, 4.0, 5e9];
        assert_eq!(scaled_mad(&mut calm, 3.0), scaled_mad(&mut wild, 3.0));
    }
}
