//! The force the cell sees: tension, what both parts ring after every impact, and short pushes.
//!
//! Ringing is two linear parts: a rotating, fading pointer each, to which every impact adds its own, so
//! that ringing runs on from blow to blow. Noise-free and independent of sampling.

use super::case::Case;
use super::motion::Motion;
use core::f64::consts::{PI, TAU};

/// Ringing under this share of its beginning is not summed any more.
const FAINT: f64 = 1e-9;

/// The force over time.
pub(super) struct Signal<'a> {
    motion: &'a Motion,
    /// Angular frequency and decay, 1/s, of the cell and the rig.
    modes: [(f64, f64); 2],
}

impl<'a> Signal<'a> {
    pub(super) fn new(case: &Case, motion: &'a Motion) -> Self {
        let modes = [case.chain.cell, case.chain.rig].map(|mode| {
            let omega = TAU * mode.hz;
            (omega * libm::sqrt(1.0 - mode.damping * mode.damping), omega * mode.damping)
        });
        Self { motion, modes }
    }

    /// Force at `from_s`, `from_s` + `step_s`, …, in kN.
    pub(super) fn fill(&self, from_s: f64, step_s: f64, values: &mut [f64]) {
        self.motion.curve.fill(from_s, step_s, values);
        for mode in 0..2 {
            self.add_ringing(mode, from_s, step_s, values);
        }
        for push in &self.motion.pushes {
            let first = libm::ceil((push.at_s - from_s) / step_s).max(0.0) as usize;
            let end = libm::ceil((push.at_s + push.length_s - from_s) / step_s).max(0.0) as usize;
            for (i, value) in values.iter_mut().enumerate().take(end).skip(first) {
                let x = (from_s + i as f64 * step_s - push.at_s) / push.length_s;
                *value += push.kn * libm::sin(PI * x);
            }
        }
    }

    fn add_ringing(&self, mode: usize, from_s: f64, step_s: f64, values: &mut [f64]) {
        let (omega, decay) = self.modes[mode];
        let pointer = |kn: f64, after_s: f64| {
            let size = kn * libm::exp(-decay * after_s);
            (size * libm::cos(omega * after_s), size * libm::sin(omega * after_s))
        };
        let turn = pointer(1.0, step_s);
        let faint_s = -libm::log(FAINT) / decay;
        let impacts = &self.motion.impacts;
        let mut next = impacts.partition_point(|impact| impact.at_s < from_s - faint_s);
        let (mut re, mut im) = (0.0, 0.0);
        for (i, value) in values.iter_mut().enumerate() {
            (re, im) = (re * turn.0 - im * turn.1, re * turn.1 + im * turn.0);
            let time_s = from_s + i as f64 * step_s;
            while let Some(impact) = impacts.get(next).filter(|impact| impact.at_s <= time_s) {
                let (more_re, more_im) = pointer(impact.rings_kn[mode], time_s - impact.at_s);
                re += more_re;
                im += more_im;
                next += 1;
            }
            *value += im;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::impact::motion::play;

    #[test]
    fn a_piece_of_the_signal_is_the_piece_of_the_whole() {
        let case = Case::random(3);
        let motion = play(&case);
        let signal = Signal::new(&case, &motion);
        let from_s = motion.drives[0].0 - 0.1;
        let mut whole = vec![0.0; 40_000];
        signal.fill(from_s, 1.0 / 40_000.0, &mut whole);
        let mut piece = vec![0.0; 4000];
        signal.fill(from_s + 30_000.0 / 40_000.0, 1.0 / 40_000.0, &mut piece);
        for (i, (a, b)) in piece.iter().zip(&whole[30_000..]).enumerate() {
            assert!((a - b).abs() < 1e-6 * case.limit_kn, "{i}: {a} {b}");
        }
    }
}
