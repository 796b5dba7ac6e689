//! Tension without ringing over time: steps and ramps one after the other, and embedding after each.
//!
//! Embedding is three losses that each near a share of the tension with a time constant of their own, a
//! decade apart: with equal shares the loss grows as the logarithm of time from 0.03 to 3 s. What is lost
//! does not come back; where tension falls the loss falls with it.

/// Time constants of the three losses.
const LOSS_S: [f64; 3] = [0.03, 0.3, 3.0];

/// How tension goes from one value to the next.
#[derive(Debug, Clone, Copy)]
struct Piece {
    at_s: f64,
    length_s: f64,
    from_kn: f64,
    to_kn: f64,
    lost_kn: [f64; 3],
    rising: bool,
}

impl Piece {
    /// Tension before any loss: a smooth step, 3x^2 - 2x^3.
    fn whole(&self, time_s: f64) -> f64 {
        let x = ((time_s - self.at_s) / self.length_s).clamp(0.0, 1.0);
        self.from_kn + (self.to_kn - self.from_kn) * x * x * (3.0 - 2.0 * x)
    }

    fn lost(&self, shares: &[f64; 3], time_s: f64) -> [f64; 3] {
        let mut lost = self.lost_kn;
        if self.rising {
            for ((loss, share), tau_s) in lost.iter_mut().zip(shares).zip(LOSS_S) {
                let end = share * self.to_kn;
                *loss = end + (*loss - end) * libm::exp(-(time_s - self.at_s) / tau_s);
            }
        } else if self.from_kn > 0.0 {
            let left = self.whole(time_s) / self.from_kn;
            lost.iter_mut().for_each(|loss| *loss *= left);
        }
        lost
    }
}

/// The whole course of tension.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    shares: [f64; 3],
    pieces: Vec<Piece>,
}

impl Curve {
    /// Stands at `kn` from the beginning of time.
    pub(super) fn new(kn: f64, shares: [f64; 3]) -> Self {
        let first =
            Piece { at_s: -1e6, length_s: 1.0, from_kn: kn, to_kn: kn, lost_kn: [0.0; 3], rising: false };
        Self { shares, pieces: vec![first] }
    }

    /// From `at_s` on goes to the reading `to_kn` (what is lost taken off) within `length_s` > 0. Pieces are
    /// added in order of time; one that is not over yet is left where it stands.
    pub(super) fn go(&mut self, at_s: f64, length_s: f64, to_kn: f64) {
        let Some(last) = self.pieces.last() else { return };
        let from_kn = last.whole(at_s);
        let lost_kn = last.lost(&self.shares, at_s);
        let lost: f64 = lost_kn.iter().sum();
        let reading = from_kn - lost;
        let rising = to_kn > reading;
        // A falling reading is whole x (1 - lost/from): the same share stays lost.
        let to_kn = if rising {
            to_kn + lost
        } else if reading > 0.0 {
            from_kn * to_kn / reading
        } else {
            to_kn
        };
        self.pieces.push(Piece { at_s, length_s, from_kn, to_kn, lost_kn, rising });
    }

    fn piece_at(&self, time_s: f64) -> usize {
        self.pieces.partition_point(|piece| piece.at_s <= time_s).saturating_sub(1)
    }

    /// Tension at a time.
    pub(super) fn at(&self, time_s: f64) -> f64 {
        let piece = &self.pieces[self.piece_at(time_s)];
        piece.whole(time_s) - piece.lost(&self.shares, time_s).iter().sum::<f64>()
    }

    /// End of the last step or ramp that began before `time_s`.
    pub(super) fn last_motion_s(&self, time_s: f64) -> f64 {
        let piece = &self.pieces[self.pieces.partition_point(|piece| piece.at_s < time_s).saturating_sub(1)];
        piece.at_s + piece.length_s
    }

    /// Moves everything earlier by `by_s`.
    pub(super) fn shift(&mut self, by_s: f64) {
        self.pieces.iter_mut().for_each(|piece| piece.at_s -= by_s);
    }

    /// Tension at `from_s`, `from_s` + `step_s`, …
    pub(super) fn fill(&self, from_s: f64, step_s: f64, values: &mut [f64]) {
        let mut index = self.piece_at(from_s);
        let fade = LOSS_S.map(|tau_s| libm::exp(-step_s / tau_s));
        let mut over = [0.0; 3];
        let (mut stale, mut settled) = (true, 0.0);
        for (i, value) in values.iter_mut().enumerate() {
            let time_s = from_s + i as f64 * step_s;
            while self.pieces.get(index + 1).is_some_and(|next| next.at_s <= time_s) {
                index += 1;
                stale = true;
            }
            let piece = &self.pieces[index];
            if !piece.rising {
                *value = piece.whole(time_s) - piece.lost(&self.shares, time_s).iter().sum::<f64>();
                continue;
            }
            if stale {
                stale = false;
                settled = self.shares.iter().sum::<f64>() * piece.to_kn;
                let lost = piece.lost(&self.shares, time_s);
                for k in 0..3 {
                    over[k] = lost[k] - self.shares[k] * piece.to_kn;
                }
            } else {
                over.iter_mut().zip(fade).for_each(|(left, fade)| *left *= fade);
            }
            *value = piece.whole(time_s) - settled - over.iter().sum::<f64>();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filled_stretch_is_the_curve_point_by_point() {
        let mut curve = Curve::new(0.0, [0.001, 0.002, 0.003]);
        curve.go(0.1, 0.001, 5.0);
        curve.go(0.3, 0.002, 9.0);
        curve.go(0.8, 0.1, 1.0);
        let mut values = vec![0.0; 10_000];
        curve.fill(0.05, 1e-4, &mut values);
        for (i, value) in values.iter().enumerate() {
            assert!((value - curve.at(0.05 + i as f64 * 1e-4)).abs() < 1e-9, "{i}");
        }
        assert!((curve.at(0.302) - 9.0).abs() < 0.01 && (curve.at(0.95) - 1.0).abs() < 1e-9);
        // All three shares of 9 kN are lost in the end, less what had been lost of 5 kN before the step.
        assert!(curve.at(0.79) < 9.0 - 0.002 && curve.at(0.79) > 9.0 * 0.994);
    }
}
