//! Wild samples of the converter or the line: found, counted, replaced by what their neighbours say.
//!
//! A wild stretch is one sample, or two together, that leaves what stands on both sides by more than 10 × noise
//! (of single samples: fast sampling has far more of it than the low-passed signal shows) and by more than 5 ×
//! the ringing seen in this run, while the two sides agree. Below 1,000 samples/s a blow may be one sample long,
//! so there a wild sample must stand out of the lone departures of this very run as well. Must not know blows.

/// Rates from which ringing is sampled finely enough to be told from a wild sample, samples a second: a nominal
/// 1,000 whose clock may be off a little.
pub const FAST_FROM_HZ: f64 = 990.0;
/// Longest wild stretch, samples: what a single disturbed transfer or conversion gives.
const LONGEST: usize = 2;
/// The two sides agree when they differ by less than this share of what the stretch departs by.
const AGREE: f64 = 0.5;
/// What stands beside a wild stretch departs by less than this share of it.
const SWING: f64 = 0.5;
/// The smallest wild sample is so many times as large as the largest departure of the signal's own.
const APART: f64 = 2.5;
/// Manual, spike: it departs by more than this many times the noise.
pub const SPIKE_NOISE: f64 = 10.0;
/// Manual, spike: and by more than this many times the ringing.
pub const SPIKE_RINGING: f64 = 5.0;
/// More wild stretches a second than this are no faults of a converter but something that belongs to the signal:
/// the slowest tools strike six times a second.
const OFTEN_PER_S: f64 = 4.0;
/// Samples on either side that must not swing about as well: ringing that is sampled coarsely does.
const BESIDE: usize = 4;

/// One wild stretch: offset of its first sample and how many.
pub type Wild = (usize, usize);

/// Wild stretches in `x` (newtons) that depart by more than `jump_n`, ascending. One that departs by less than
/// `sure_n` is none where the signal swings about beside it.
#[must_use]
pub fn find(x: &[f32], jump_n: f64, sure_n: f64) -> Vec<Wild> {
    let mut found = Vec::new();
    let mut i = 1;
    while i + 1 < x.len() {
        if i + BLOCK < x.len() && !jumps(&x[i - 1..i + BLOCK], jump_n) {
            i += BLOCK;
            continue;
        }
        // The size is asked first: hardly a sample has it.
        if f64::from((x[i] - x[i - 1]).abs()) > jump_n
            && let Some(length) = (1..=LONGEST).find(|n| is_wild(x, i, *n, jump_n, sure_n))
        {
            found.push((i, length));
            i += length + 1;
        } else {
            i += 1;
        }
    }
    found
}

/// Samples that are passed over together where none of them jumps.
const BLOCK: usize = 32;

/// Whether a sample differs from the one before it by more than `jump_n`.
fn jumps(x: &[f32], jump_n: f64) -> bool {
    // Rounded down, so that nothing that jumps is missed.
    let least = (jump_n as f32).next_down();
    x[1..].iter().zip(x).fold(false, |any, (b, a)| any | ((b - a).abs() > least))
}

fn is_wild(x: &[f32], at: usize, length: usize, jump_n: f64, sure_n: f64) -> bool {
    let Some(after) = x.get(at + length) else { return false };
    let (a, c) = (f64::from(x[at - 1]), f64::from(*after));
    let least = x[at..at + length]
        .iter()
        .map(|b| (f64::from(*b) - a).abs().min((f64::from(*b) - c).abs()))
        .fold(f64::INFINITY, f64::min);
    // Between two sides that disagree a sample may stand on a slope.
    let outside = length > 1 || (f64::from(x[at]) - a) * (f64::from(x[at]) - c) > 0.0;
    let middle = 0.5 * (a + c);
    let swings = |range: std::ops::Range<usize>| {
        x[range].iter().any(|b| (f64::from(*b) - middle).abs() > SWING * least)
    };
    least > jump_n
        && outside
        && (a - c).abs() < AGREE * least
        && (least > sure_n
            || !swings(at.saturating_sub(BESIDE)..at)
                && !swings(at + length..(at + length + BESIDE).min(x.len())))
}

/// What counts as wild below 1,000 samples/s, newtons: wild samples stand apart from the lone departures that the
/// signal shows by itself, whose sizes run into each other. Infinite where none stands apart.
#[must_use]
pub fn jump_among(x: &[f32], noise_n: f64, seconds: f64) -> f64 {
    let mut lone: Vec<f64> = x
        .windows(3)
        .map(|w| {
            let (left, right) = (f64::from(w[1] - w[0]), f64::from(w[1] - w[2]));
            if left * right > 0.0 { left.abs().min(right.abs()) } else { 0.0 }
        })
        .collect();
    lone.sort_unstable_by(|a, b| b.total_cmp(a));
    let most = (OFTEN_PER_S * seconds.max(1.0)) as usize;
    let gap =
        lone.windows(2).take(most).rposition(|w| w[0] > APART * w[1].max(SPIKE_NOISE * noise_n / APART));
    gap.map_or(f64::INFINITY, |k| (SPIKE_NOISE * noise_n).max((lone[k] * lone[k + 1]).sqrt()))
}

/// Wild stretches with no other within `reach` samples, where they are rare: a converter's fault stands alone,
/// while ringing that is sampled coarsely gives several such samples together, blow after blow.
#[must_use]
pub fn alone(wild: &[Wild], reach: usize, seconds: f64) -> Vec<Wild> {
    if wild.len() as f64 > OFTEN_PER_S * seconds.max(1.0) {
        return Vec::new();
    }
    let far = |a: Wild, b: Wild| a.0.abs_diff(b.0) > reach;
    (0..wild.len())
        .filter(|i| *i == 0 || far(wild[*i], wild[i - 1]))
        .filter(|i| wild.get(i + 1).is_none_or(|next| far(wild[*i], *next)))
        .map(|i| wild[i])
        .collect()
}

/// Replaces each wild stretch by the mean of its neighbours.
pub fn repair(x: &mut [f32], wild: &[Wild]) {
    for &(i, length) in wild {
        let middle = 0.5 * (x[i - 1] + x[i + length]);
        x[i..i + length].fill(middle);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wild_sample_goes_and_a_step_stays() {
        let mut x = vec![0.0_f32; 20];
        x[5] = 900.0;
        x[12..].fill(1000.0);
        assert_eq!(find(&x, 100.0, f64::INFINITY), vec![(5, 1)]);
        repair(&mut x, &[(5, 1)]);
        assert_eq!(x[5], 0.0);
        assert_eq!(x[12], 1000.0);
    }

    #[test]
    fn two_wild_samples_together_go_on_the_same_side_and_on_both() {
        for pair in [[900.0_f32, 800.0], [900.0, -700.0]] {
            let mut x = vec![0.0_f32; 20];
            x[5..7].copy_from_slice(&pair);
            let wild = find(&x, 100.0, f64::INFINITY);
            assert_eq!(wild, vec![(5, 2)]);
            repair(&mut x, &wild);
            assert!(x.iter().all(|v| *v == 0.0));
        }
    }

    #[test]
    fn three_samples_together_are_no_fault_of_a_converter() {
        let mut x = vec![0.0_f32; 20];
        x[5..8].fill(900.0);
        assert!(find(&x, 100.0, f64::INFINITY).is_empty());
    }

    #[test]
    fn what_comes_again_and_again_belongs_to_the_signal() {
        let often: Vec<Wild> = (1..10).map(|i| (i * 100, 1)).collect();
        assert!(alone(&often, 5, 1.0).is_empty());
        assert_eq!(alone(&often[..2], 5, 1.0).len(), 2);
    }

    #[test]
    fn blows_one_sample_long_are_not_wild_and_what_stands_apart_from_them_is() {
        let mut x: Vec<f32> =
            (0..400).map(|i| if i % 10 == 3 { 500.0 + (i % 7) as f32 * 40.0 } else { 0.0 }).collect();
        assert_eq!(jump_among(&x, 1.0, 2.0), f64::INFINITY);
        x[205] = 3000.0;
        let jump = jump_among(&x, 1.0, 2.0);
        assert_eq!(find(&x, jump, f64::INFINITY), vec![(205, 1)]);
    }
}
