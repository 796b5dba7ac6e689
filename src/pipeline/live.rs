//! The live reading: mean, least and greatest since the last one, at most 30 a second.
//!
//! It is for looking at, never for measuring; must not know runs.

use super::messages::Event;
use boltscribe_model::time::MonoNs;
use boltscribe_model::units::{Counts, Newtons};

/// Between two live readings.
const EVERY_NS: u64 = 1_000_000_000 / 30;

/// Gathers until the next live reading is due.
#[derive(Clone, Debug)]
pub struct Live {
    last: Option<MonoNs>,
    n: u64,
    sum: f64,
    min: f64,
    max: f64,
    counts: f64,
}

impl Default for Live {
    fn default() -> Self {
        Self { last: None, n: 0, sum: 0.0, min: f64::INFINITY, max: f64::NEG_INFINITY, counts: 0.0 }
    }
}

impl Live {
    /// Takes tension in newtons with its codes; tension may be absent.
    pub fn push(&mut self, tension: &[f32], counts: &[i32]) {
        let (mut sum, mut min, mut max) = (0.0_f64, f32::INFINITY, f32::NEG_INFINITY);
        for t in tension {
            sum += f64::from(*t);
            min = min.min(*t);
            max = max.max(*t);
        }
        self.sum += sum;
        self.min = self.min.min(f64::from(min));
        self.max = self.max.max(f64::from(max));
        self.counts += counts.iter().map(|c| i64::from(*c)).sum::<i64>() as f64;
        self.n += counts.len() as u64;
    }

    /// The reading, if one is due; `zero` is taken off.
    pub fn take(&mut self, at: MonoNs, at_s: f64, zero: Newtons) -> Option<Event> {
        if self.n == 0 || self.last.is_some_and(|last| at.since_ns(last) < EVERY_NS) {
            return None;
        }
        let n = self.n as f64;
        let measured = self.min.is_finite();
        let above = |v: f64| Newtons(if measured { v - zero.get() } else { 0.0 });
        let event = Event::Live {
            at_s,
            mean: above(self.sum / n),
            min: above(self.min),
            max: above(self.max),
            counts: Counts((self.counts / n).round() as i32),
        };
        *self = Self { last: Some(at), ..Self::default() };
        Some(event)
    }
}
