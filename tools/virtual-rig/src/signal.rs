//! The clean tension of one run as a function of time: steps, ringing, relaxation, release.
//!
//! A plan is a list of beats. Between two beats the tension is a smooth finite rise to the new
//! level plus the ringing of all beats so far. All beats of a plan ring with one frequency and
//! one decay, so their sum is a single complex number that turns and shrinks: that makes a
//! sample a multiplication instead of a sum over blows. This file must not know where a plan
//! comes from, nor noise, sampling or converters.

/// What made a beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BeatKind {
    /// A bump against the rig; it leaves no tension.
    Knock,
    /// A blow that tightens.
    Drive,
    /// A blow that loosens.
    Reverse,
}

/// One impact. Times in s from the start of the plan, tensions in kN.
#[derive(Debug, Clone, PartialEq)]
pub struct Beat {
    /// Onset.
    pub at_s: f64,
    /// What made it.
    pub kind: BeatKind,
    /// Level before.
    pub from_kn: f64,
    /// Level after the rise.
    pub to_kn: f64,
    /// Amplitude of the ringing that this beat adds.
    pub amplitude_kn: f64,
    /// Part of the level that is lost after this beat, 0 within a series.
    pub relax_share: f64,
}

/// The shape that all beats of a plan share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// Length of a rise.
    pub rise_s: f64,
    /// Frequency of the ringing.
    pub ringing_hz: f64,
    /// Time after which the ringing has fallen to 1/e.
    pub ringing_tau_s: f64,
    /// Time constant of the relaxation.
    pub relaxation_s: f64,
}

/// A smooth release.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ramp {
    /// Where it starts.
    pub start_s: f64,
    /// How long it takes.
    pub length_s: f64,
}

/// The clean tension of one step, idle time included.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    beats: Vec<Beat>,
    /// Ringing of all beats so far, just after each beat (real, imaginary).
    rings: Vec<(f64, f64)>,
    shape: Shape,
    ramp: Option<Ramp>,
    end_s: f64,
}

/// Ringing below this is taken as none, in kN: far under any converter's step.
const SILENT_KN: f64 = 1e-9;

impl Plan {
    /// Makes a plan from beats in order of time. After `end_s` the step is over; the tension
    /// stays what it is then.
    #[must_use]
    pub fn new(beats: Vec<Beat>, shape: Shape, ramp: Option<Ramp>, end_s: f64) -> Self {
        let mut rings = Vec::with_capacity(beats.len());
        let (mut re, mut im) = (0.0, 0.0);
        let mut last_s = 0.0;
        for beat in &beats {
            let turn = turn(&shape, beat.at_s - last_s);
            (re, im) = multiply((re, im), turn);
            re += beat.amplitude_kn;
            rings.push((re, im));
            last_s = beat.at_s;
        }
        Self { beats, rings, shape, ramp, end_s }
    }

    /// A rig on which nothing happens.
    #[must_use]
    pub fn idle() -> Self {
        let shape = Shape { rise_s: 1e-3, ringing_hz: 500.0, ringing_tau_s: 1e-3, relaxation_s: 1.0 };
        Self::new(Vec::new(), shape, None, 0.0)
    }

    /// The impacts in order of time.
    #[must_use]
    pub fn beats(&self) -> &[Beat] {
        &self.beats
    }

    /// The shape of the impacts.
    #[must_use]
    pub fn shape(&self) -> &Shape {
        &self.shape
    }

    /// The smooth release, where there is one.
    #[must_use]
    pub fn ramp(&self) -> Option<Ramp> {
        self.ramp
    }

    /// Where the step is over, in s from its start.
    #[must_use]
    pub fn end_s(&self) -> f64 {
        self.end_s
    }

    /// The level without ringing at a time, in kN.
    #[must_use]
    pub fn level_at(&self, time_s: f64) -> f64 {
        let next = self.beats.partition_point(|beat| beat.at_s <= time_s);
        if next == 0 { 0.0 } else { self.level_after(next - 1, time_s) * self.ramp_at(time_s) }
    }

    /// Writes the tension in kN at `start_s + i * step_s` for each `i`; before the start of the
    /// plan it is 0. `ringing` chooses whether the ringing is part of it.
    pub fn fill(&self, start_s: f64, step_s: f64, ringing: bool, out: &mut [f64]) {
        let mut next = self.beats.partition_point(|beat| beat.at_s <= start_s);
        let advance = turn(&self.shape, step_s);
        let mut from = 0;
        while from < out.len() {
            let until = self.beats.get(next).map_or(out.len(), |beat| {
                let steps = libm::ceil((beat.at_s - start_s) / step_s);
                (steps.max(0.0) as usize).clamp(from, out.len())
            });
            if next == 0 {
                out[from..until].fill(0.0);
            } else {
                let piece = Piece { beat: next - 1, start_s, step_s, from, until };
                self.fill_after(&piece, ringing, advance, out);
            }
            from = until;
            next += 1;
        }
    }

    fn fill_after(&self, piece: &Piece, ringing: bool, advance: (f64, f64), out: &mut [f64]) {
        let beat = &self.beats[piece.beat];
        let first_s = piece.start_s + piece.from as f64 * piece.step_s;
        let mut ring = multiply(self.rings[piece.beat], turn(&self.shape, first_s - beat.at_s));
        let risen_s = beat.at_s + self.shape.rise_s;
        let plain = beat.relax_share == 0.0;
        for (i, value) in out.iter_mut().enumerate().take(piece.until).skip(piece.from) {
            let time_s = piece.start_s + i as f64 * piece.step_s;
            let level =
                if plain && time_s >= risen_s { beat.to_kn } else { self.level_after(piece.beat, time_s) };
            let ramped = match self.ramp {
                Some(ramp) if time_s > ramp.start_s => level * self.ramp_at(time_s),
                _ => level,
            };
            if ringing && ring.0.abs() + ring.1.abs() > SILENT_KN {
                *value = ramped + ring.1;
                ring = multiply(ring, advance);
            } else {
                *value = ramped;
            }
        }
    }

    fn level_after(&self, index: usize, time_s: f64) -> f64 {
        let beat = &self.beats[index];
        let since_s = time_s - beat.at_s;
        if since_s < self.shape.rise_s {
            return beat.from_kn + (beat.to_kn - beat.from_kn) * smooth(since_s / self.shape.rise_s);
        }
        if beat.relax_share == 0.0 {
            return beat.to_kn;
        }
        let done = 1.0 - libm::exp(-(since_s - self.shape.rise_s) / self.shape.relaxation_s);
        beat.to_kn * (1.0 - beat.relax_share * done)
    }

    fn ramp_at(&self, time_s: f64) -> f64 {
        self.ramp.map_or(1.0, |ramp| 1.0 - smooth((time_s - ramp.start_s) / ramp.length_s))
    }
}

/// The part of a fill that lies between two beats.
struct Piece {
    beat: usize,
    start_s: f64,
    step_s: f64,
    from: usize,
    until: usize,
}

/// A smooth step from 0 to 1 with flat ends.
fn smooth(share: f64) -> f64 {
    let share = share.clamp(0.0, 1.0);
    share * share * (3.0 - 2.0 * share)
}

fn turn(shape: &Shape, time_s: f64) -> (f64, f64) {
    let size = libm::exp(-time_s / shape.ringing_tau_s);
    let (sin, cos) = libm::sincos(core::f64::consts::TAU * shape.ringing_hz * time_s);
    (size * cos, size * sin)
}

fn multiply(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beat(at_s: f64, from_kn: f64, to_kn: f64) -> Beat {
        Beat { at_s, kind: BeatKind::Drive, from_kn, to_kn, amplitude_kn: 2.0, relax_share: 0.0 }
    }

    const SHAPE: Shape = Shape { rise_s: 1e-3, ringing_hz: 600.0, ringing_tau_s: 4e-3, relaxation_s: 1.0 };

    #[test]
    fn the_turning_number_equals_the_sum_of_all_decaying_sinusoids() {
        let beats = vec![beat(0.1, 0.0, 10.0), beat(0.12, 10.0, 18.0), beat(0.137, 18.0, 20.0)];
        let plan = Plan::new(beats.clone(), SHAPE, None, 1.0);
        let mut out = vec![0.0; 5000];
        plan.fill(0.0, 1.0 / 20_000.0, true, &mut out);
        for (i, value) in out.iter().enumerate() {
            let time_s = i as f64 / 20_000.0;
            let ringing: f64 = beats
                .iter()
                .filter(|b| b.at_s <= time_s)
                .map(|b| {
                    let since = time_s - b.at_s;
                    2.0 * (-since / 4e-3).exp() * (std::f64::consts::TAU * 600.0 * since).sin()
                })
                .sum();
            assert!((value - plan.level_at(time_s) - ringing).abs() < 2e-9, "at {time_s}: {value}");
        }
    }

    #[test]
    fn a_rise_is_finite_and_smooth() {
        let plan = Plan::new(vec![beat(0.1, 0.0, 10.0)], SHAPE, None, 1.0);
        assert_eq!(plan.level_at(0.1), 0.0);
        assert!((plan.level_at(0.1005) - 5.0).abs() < 1e-9);
        assert_eq!(plan.level_at(0.1011), 10.0);
    }

    #[test]
    fn a_ramp_passes_half_the_level_in_its_middle() {
        let ramp = Ramp { start_s: 1.0, length_s: 0.4 };
        let plan = Plan::new(vec![beat(0.1, 0.0, 10.0)], SHAPE, Some(ramp), 2.0);
        assert!((plan.level_at(1.2) - 5.0).abs() < 1e-9);
        assert_eq!(plan.level_at(1.5), 0.0);
    }
}
