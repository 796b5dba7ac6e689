//! Single-sample spikes: found, counted, replaced by the mean of their neighbours.
//!
//! At 1,000 samples/s and more: one sample that leaves both neighbours by more than 10 × noise (of single
//! samples: fast sampling has far more of it than the low-passed signal shows) and more
//! than 5 × the ringing seen in this run while the neighbours agree. Below that only jumps over a given
//! size that the next sample takes back, because a blow may be one sample long there.

/// What counts as a spike at this rate.
#[derive(Clone, Copy, Debug)]
pub enum Rule {
    /// Greater than `jump_n` from both neighbours, newtons; both on the same side.
    Fast {
        /// The larger of 10 × noise and 5 × ringing.
        jump_n: f64,
    },
    /// Greater than `jump_n`, taken back by the next sample.
    Slow {
        /// 10 % of range.
        jump_n: f64,
    },
}

/// Rates from which the fast rule holds, samples a second: a nominal 1,000 whose clock may be off a little.
pub const FAST_FROM_HZ: f64 = 990.0;

impl Rule {
    fn jump_n(self) -> f64 {
        match self {
            Self::Fast { jump_n } | Self::Slow { jump_n } => jump_n,
        }
    }
}

/// Offsets of spikes in `x` (newtons), ascending.
#[must_use]
pub fn find(x: &[f32], rule: Rule) -> Vec<usize> {
    let jump = rule.jump_n();
    x.windows(3)
        .enumerate()
        .filter(|(_, w)| {
            let (a, b, c) = (f64::from(w[0]), f64::from(w[1]), f64::from(w[2]));
            let (left, right) = (b - a, b - c);
            // The size is asked first: hardly a sample has it, while noise decides the side by chance. The
            // neighbours agree when they differ by less than half of what the sample departs by.
            left.abs() > jump
                && right.abs() > jump
                && left * right > 0.0
                && (a - c).abs() < 0.5 * left.abs().min(right.abs())
        })
        .map(|(i, _)| i + 1)
        .collect()
}

/// Of ascending offsets those with no other within `reach` samples: a converter's spike stands alone, while
/// ringing that is sampled coarsely gives several such samples together.
#[must_use]
pub fn alone(offsets: &[usize], reach: usize) -> Vec<usize> {
    let far = |a: usize, b: usize| a.abs_diff(b) > reach;
    (0..offsets.len())
        .filter(|i| *i == 0 || far(offsets[*i], offsets[i - 1]))
        .filter(|i| offsets.get(i + 1).is_none_or(|next| far(offsets[*i], *next)))
        .map(|i| offsets[i])
        .collect()
}

/// Replaces each spike by the mean of its neighbours.
pub fn repair(x: &mut [f32], spikes: &[usize]) {
    for &i in spikes {
        x[i] = 0.5 * (x[i - 1] + x[i + 1]);
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
        let rule = Rule::Fast { jump_n: 100.0 };
        assert_eq!(find(&x, rule), vec![5]);
        repair(&mut x, &[5]);
        assert_eq!(x[5], 0.0);
        assert_eq!(x[12], 1000.0);
    }

    #[test]
    fn two_samples_together_are_no_spike() {
        let mut x = vec![0.0_f32; 20];
        x[5..7].fill(900.0);
        assert!(find(&x, Rule::Fast { jump_n: 100.0 }).is_empty());
    }
}
