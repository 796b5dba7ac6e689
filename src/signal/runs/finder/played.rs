//! Tension as tests play it to a finder: standing still, and driven by a tool.
//!
//! For tests only. All of it is invented.

use super::super::record::{Settings, Timing};
use super::{Finder, Found};

/// Samples a second.
pub const RATE_HZ: f64 = 500.0;

/// A finder that has seen nothing.
pub fn finder() -> Finder {
    Finder::new(Settings::default(), RATE_HZ, Timing::Device, 0, 0)
}

/// `seconds` of a tension in newtons with a little ripple, so that there is a noise.
pub fn stand(finder: &mut Finder, newtons: f32, seconds: f64) -> Vec<Found> {
    let samples = (seconds * RATE_HZ) as usize;
    let x: Vec<f32> = (0..samples).map(|i| newtons + [0.0, 3.0, -2.0, 1.0, -3.0][i % 5]).collect();
    let mut found = Vec::new();
    finder.push(&x, &[], &mut found);
    found
}

/// `seconds` in which tension rises by 30 kN a second, with a ring at each of 20 blows a second.
pub fn drive(finder: &mut Finder, from: f32, seconds: f64) -> Vec<Found> {
    let x: Vec<f32> = (0..(seconds * RATE_HZ) as usize)
        .map(|i| {
            let (t, since) = (i as f64 / RATE_HZ, (i % 25) as f64 / RATE_HZ);
            let ring = 4000.0 * libm::exp(-since / 0.004) * libm::cos(1000.0 * since);
            from + (30_000.0 * t + ring) as f32
        })
        .collect();
    let mut found = Vec::new();
    finder.push(&x, &[], &mut found);
    found
}

/// Runs that were opened.
pub fn opened(found: &[Found]) -> usize {
    found.iter().filter(|f| matches!(f, Found::Opened { .. })).count()
}
