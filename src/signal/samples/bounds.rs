//! Codes outside the converter's range: no converter gives them, so they are no readings.
//!
//! Each is taken as standing at the end of the range that it passed, which is the most that can be said of it:
//! a run with it is flagged as clipped, and its peak is a lower bound. Must not know what a code weighs.

use super::piece::Piece;
use std::borrow::Cow;

/// The range of one converter, and how many codes lay outside.
#[derive(Clone, Copy, Debug, Default)]
pub struct Bounds {
    range: Option<(i32, i32)>,
    outside: u64,
}

impl Bounds {
    /// The ends of the range from now on; one that holds no code is none.
    pub fn set(&mut self, count_min: i32, count_max: i32) {
        self.range = (count_min < count_max).then_some((count_min, count_max));
    }

    /// Codes within the range, and what to tell of those that were not.
    pub fn take<'c>(&mut self, counts: &'c [i32]) -> (Cow<'c, [i32]>, Option<Piece<'static>>) {
        let Some((count_min, count_max)) = self.range else {
            return (Cow::Borrowed(counts), None);
        };
        let is_outside = |c: &&i32| **c < count_min || **c > count_max;
        let Some(first) = counts.iter().find(is_outside) else {
            return (Cow::Borrowed(counts), None);
        };
        let outside = counts.iter().filter(is_outside).count() as u64;
        self.outside = self.outside.saturating_add(outside);
        let detail = format!(
            "expected codes from {count_min} to {count_max}, found {outside} outside (the first {first}), {} since \
             the start; they are taken as clipped",
            self.outside
        );
        let within = counts.iter().map(|c| (*c).clamp(count_min, count_max)).collect();
        (Cow::Owned(within), Some(Piece::Fault { kind: "out-of-range", detail }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_outside_stand_at_the_end_they_passed_and_are_told() {
        let mut bounds = Bounds::default();
        assert_eq!(
            bounds.take(&[i32::MIN, 5]),
            (Cow::Borrowed(&[i32::MIN, 5][..]), None),
            "no range is known"
        );
        bounds.set(-100, 100);
        assert_eq!(bounds.take(&[-100, 7, 100]), (Cow::Borrowed(&[-100, 7, 100][..]), None));
        bounds.take(&[500]);
        let (within, told) = bounds.take(&[101, i32::MIN, 7]);
        assert_eq!(within[..], [100, -100, 7]);
        let Some(Piece::Fault { kind: "out-of-range", detail }) = told else { panic!("{told:?}") };
        assert!(detail.contains("2 outside (the first 101), 3 since the start"), "{detail}");
    }
}
