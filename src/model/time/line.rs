//! The line from device ticks to host time by least delay.
//!
//! Bytes arrive late, never early, and by a varying delay; the line that lies below all arrivals and
//! closest to them (a linear programme, solved by the lower convex hull) is free of the mean delay that
//! biases an ordinary fit. Idea: Moon, Skelly and Towsley, "Estimation and removal of clock skew from
//! network delay measurements", IEEE INFOCOM 1999 (from memory).

use std::collections::VecDeque;

/// Host seconds = `at_origin_s` + (x − `origin`) · `s_per_x`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockLine {
    /// Tick (or sample index) the line is anchored at.
    pub origin: f64,
    /// Host time at the anchor, seconds.
    pub at_origin_s: f64,
    /// Host seconds a tick (or sample).
    pub s_per_x: f64,
}

impl ClockLine {
    /// Host time at `x`, seconds.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.at_origin_s + (x - self.origin) * self.s_per_x
    }
}

/// The lower-envelope line of points (x, host seconds) with x ascending; none for fewer than two x.
#[must_use]
pub fn lower_envelope(points: impl Iterator<Item = (f64, f64)>) -> Option<ClockLine> {
    let mut hull: Vec<(f64, f64)> = Vec::new();
    let (mut sum, mut n) = (0.0, 0.0);
    for p in points {
        sum += p.0;
        n += 1.0;
        while let [.., a, b] = hull[..] {
            let turns_left = (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0) > 0.0;
            if turns_left {
                break;
            }
            hull.pop();
        }
        if hull.last().is_some_and(|l| l.0 >= p.0) {
            continue;
        }
        hull.push(p);
    }
    let mean = sum / n;
    let edge = hull.windows(2).find(|w| w[1].0 >= mean).or_else(|| hull.windows(2).last())?;
    Some(ClockLine {
        origin: edge[0].0,
        at_origin_s: edge[0].1,
        s_per_x: (edge[1].1 - edge[0].1) / (edge[1].0 - edge[0].0),
    })
}

/// Points kept at most: with one a second, five minutes, so that a slow change of the clocks is followed.
pub const POINTS_MAX: usize = 300;

/// A running lower envelope: of each stretch of ticks only the least delayed arrival is kept.
#[derive(Clone, Debug)]
pub struct LowerEnvelope {
    stretch: f64,
    nominal_s_per_x: f64,
    points: VecDeque<(f64, f64)>,
    open: Option<(f64, f64)>,
    open_until: f64,
}

impl LowerEnvelope {
    /// Keeps one arrival for each `stretch` of x; `nominal_s_per_x` only ranks arrivals inside one.
    #[must_use]
    pub fn new(stretch: f64, nominal_s_per_x: f64) -> Self {
        Self { stretch, nominal_s_per_x, points: VecDeque::new(), open: None, open_until: f64::NEG_INFINITY }
    }

    /// Takes an arrival; x must not fall.
    pub fn push(&mut self, x: f64, host_s: f64) {
        if x >= self.open_until {
            if let Some(done) = self.open.take() {
                if self.points.len() == POINTS_MAX {
                    self.points.pop_front();
                }
                self.points.push_back(done);
            }
            self.open_until = x + self.stretch;
        }
        let delay = |p: (f64, f64)| p.1 - p.0 * self.nominal_s_per_x;
        if self.open.is_none_or(|o| delay((x, host_s)) < delay(o)) {
            self.open = Some((x, host_s));
        }
    }

    /// The present line; none before two distinct arrivals.
    #[must_use]
    pub fn line(&self) -> Option<ClockLine> {
        lower_envelope(self.points.iter().copied().chain(self.open))
    }

    /// Points it rests on.
    #[must_use]
    pub fn len(&self) -> usize {
        self.points.len() + usize::from(self.open.is_some())
    }

    /// No arrival yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published idea, values computed for it independently (40-digit arithmetic): true line
    /// t0 = 100 s, 1000.0375 samples/s (37.5 ppm), one-sided delays; ordinary least squares gives
    /// 43.36 ppm, the lower envelope 37.17565145611168 ppm.
    #[test]
    fn least_delay_line_recovers_a_clock_error_that_least_squares_misses() {
        let points = (0..=60_u32).map(|i| {
            let delay = f64::from((i * 7919) % 1000) / 1000.0 * 0.004;
            let x = f64::from(i) * 1000.0;
            (x, 100.0 + x / 1000.0375 + delay)
        });
        let line = lower_envelope(points.clone()).unwrap();
        assert!((line.at(0.0) - 100.0).abs() < 1e-9);
        assert!((line.s_per_x - 0.000_999_962_825_730_521_6).abs() < 1e-15);
        let mut running = LowerEnvelope::new(1000.0, 0.001);
        points.for_each(|(x, y)| running.push(x, y));
        assert!((running.line().unwrap().s_per_x - line.s_per_x).abs() < 1e-15);
    }

    #[test]
    fn the_running_line_keeps_at_most_its_limit_and_takes_the_least_delayed() {
        let mut e = LowerEnvelope::new(10.0, 0.1);
        for i in 0..10_000_u32 {
            e.push(f64::from(i), f64::from(i) * 0.1 + f64::from(i % 7) * 0.01);
        }
        assert!(e.len() <= POINTS_MAX + 1);
        let line = e.line().unwrap();
        assert!((line.s_per_x - 0.1).abs() < 1e-5);
    }

    #[test]
    fn one_arrival_makes_no_line() {
        let mut e = LowerEnvelope::new(10.0, 0.1);
        e.push(0.0, 1.0);
        assert!(e.line().is_none());
    }
}
