//! Lets a case happen: every blow, knock and release in order of time, and the tension they leave.
//!
//! Energies and intervals are drawn here from the case's seed. Must not know sampling.

use super::case::{Begin, Case, Drive, Knock, Pattern, Release, Seat, Tightening};
use super::curve::Curve;
use super::draw::{SHORTEST_S, TAIL_S};
use crate::dice::Dice;

/// What an impact is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A blow of the tool that tightens, or stands still.
    Drive,
    /// A blow that loosens.
    Reverse,
    /// A knock: no blow.
    Knock,
}

/// One impact: it excites both ringing parts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Impact {
    pub at_s: f64,
    pub kind: Kind,
    /// Run it belongs to.
    pub run: usize,
    /// Tension just before and just after.
    pub before_kn: f64,
    pub after_kn: f64,
    /// Amplitudes excited in the cell and the rig.
    pub rings_kn: [f64; 2],
}

/// A short push: half a sine.
#[derive(Debug, Clone, Copy)]
pub(super) struct Push {
    pub at_s: f64,
    pub length_s: f64,
    pub kn: f64,
}

/// All that happened. Times in s from the first sample.
#[derive(Debug, Clone)]
pub(super) struct Motion {
    pub curve: Curve,
    pub impacts: Vec<Impact>,
    pub pushes: Vec<Push>,
    /// When the trigger was held.
    pub trigger: Vec<(f64, f64)>,
    /// Begin of each run's run-down, where there is one.
    pub run_downs: Vec<Option<f64>>,
    /// First and last blow of each run's first pull as planned.
    pub drives: Vec<(f64, f64)>,
    pub disturbances: Vec<Disturbance>,
    pub end_s: f64,
}

/// Something that is no blow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disturbance {
    /// What it is.
    pub kind: &'static str,
    /// Begin, s from the first sample.
    pub from_s: f64,
    /// End.
    pub until_s: f64,
}

/// Plays a case.
pub(super) fn play(case: &Case) -> Motion {
    let mut builder = Builder {
        case,
        dice: Dice::new(case.seed ^ 0x3071_0a00_77aa_0000),
        now_s: 0.0,
        run: 0,
        motion: Motion {
            curve: Curve::new(case.standing * case.limit_kn, case.embedding),
            impacts: Vec::new(),
            pushes: Vec::new(),
            trigger: Vec::new(),
            run_downs: Vec::new(),
            drives: Vec::new(),
            disturbances: Vec::new(),
            end_s: 0.0,
        },
    };
    for (i, run) in case.runs.iter().enumerate() {
        builder.run = i;
        builder.tighten(run);
    }
    builder.finish()
}

struct Builder<'a> {
    case: &'a Case,
    dice: Dice,
    now_s: f64,
    run: usize,
    motion: Motion,
}

impl Builder<'_> {
    fn tighten(&mut self, run: &Tightening) {
        let idle_from_s = self.now_s;
        self.now_s += run.idle_s;
        if run.dropped {
            let share = self.dice.between(0.3, 0.6);
            self.drop_socket(idle_from_s + share * run.idle_s);
        }
        let run_down = self.seat(run);
        self.motion.run_downs.push(run_down);
        let quiet_from_s = self.motion.curve.last_motion_s(self.now_s).max(idle_from_s);
        let first_s = self.now_s;
        if let Some(knock) = run.knock_before {
            let beside_s = run_down.unwrap_or(first_s);
            // It stays between what was before and the first blow.
            let at_s = beside_s - knock.apart_s.min(0.8 * (beside_s - quiet_from_s)).max(0.05);
            self.knock(at_s, knock, "knock before");
        }
        let pressed_s = run_down.unwrap_or(first_s) - self.case.chain.brush_lead_s;
        let last_s = self.pull(&run.drive, 1.0);
        self.motion.drives.push((first_s, last_s));
        self.motion.trigger.push((pressed_s, last_s + self.dice.between(0.0, 0.05)));
        self.now_s = last_s;
        if let Some(knock) = run.knock_after {
            self.knock(last_s + knock.apart_s, knock, "knock after");
        }
        if let Some(pull) = run.second {
            self.now_s += pull.after_s;
            let again = Drive { seconds: pull.seconds, pauses: Vec::new(), ..run.drive.clone() };
            let pressed_s = self.now_s - self.case.chain.brush_lead_s;
            self.now_s = self.pull(&again, pull.energy);
            self.motion.trigger.push((pressed_s, self.now_s + 0.03));
        }
        let knock_s = run.knock_after.map_or(0.0, |knock| knock.apart_s + 0.5);
        self.now_s += if run.second.is_some() { run.hold_s } else { run.hold_s.max(knock_s) };
        self.release(run);
    }

    fn knock(&mut self, at_s: f64, knock: Knock, kind: &'static str) {
        let rings = [self.case.chain.cell, self.case.chain.rig]
            .map(|mode| mode.kn * knock.strength * libm::exp(0.5 * self.dice.normal()));
        self.impact(at_s, Kind::Knock, rings);
        let length_s = self.dice.between(0.003, 0.02);
        self.motion.pushes.push(Push { at_s, length_s, kn: knock.push * self.case.limit_kn });
        self.motion.disturbances.push(Disturbance { kind, from_s: at_s, until_s: at_s + 0.1 });
    }

    /// A loud knock that bounces twice, each time sooner and weaker.
    fn drop_socket(&mut self, at_s: f64) {
        let mut knock = Knock {
            apart_s: 0.0,
            strength: self.dice.log_between(1.0, 4.0),
            push: self.dice.log_between(0.01, 0.1),
        };
        let (mut bounce_s, mut gap_s) = (at_s, self.dice.between(0.06, 0.15));
        for _ in 0..3 {
            self.knock(bounce_s, knock, "dropped socket");
            bounce_s += gap_s;
            gap_s *= 0.6;
            knock.strength *= 0.6;
            knock.push *= 0.5;
        }
    }

    /// Brings the nut to where the tool's blows begin; the begin of a run-down.
    fn seat(&mut self, run: &Tightening) -> Option<f64> {
        let standing_kn = self.motion.curve.at(self.now_s);
        match run.seat {
            Seat::Loose => None,
            Seat::RunDown { seconds, share } => {
                let from_s = self.now_s;
                let to_kn = standing_kn + share * self.case.limit_kn;
                // A smooth step has its end flat; blows begin before that.
                self.motion.curve.go(from_s, seconds, to_kn);
                self.now_s += seconds + self.dice.between(0.0, 0.06);
                Some(from_s)
            }
            Seat::ByHand { strokes, share, pause_s } => {
                let from_s = self.now_s;
                for k in 0..strokes {
                    let part = f64::from(k + 1) / f64::from(strokes);
                    let seconds = self.dice.between(0.3, 0.8);
                    let to_kn = standing_kn + share * self.case.limit_kn * part * self.dice.between(0.9, 1.0);
                    self.motion.curve.go(self.now_s, seconds, to_kn);
                    self.now_s += seconds + self.dice.between(0.2, 0.8);
                }
                let seated = Disturbance { kind: "seated by hand", from_s, until_s: self.now_s };
                self.motion.disturbances.push(seated);
                self.now_s += pause_s;
                None
            }
        }
    }

    /// Blows from now on; the time of the last.
    fn pull(&mut self, drive: &Drive, energy: f64) -> f64 {
        let mean = energy * self.case.law.energy_for(self.case.limit_kn);
        let from_s = self.now_s;
        let mut pauses = drive.pauses.iter().peekable();
        let (mut t, mut last_s, mut k) = (0.0, from_s, 0_u32);
        while t <= drive.seconds {
            let x = t / drive.seconds;
            let scatter = (1.0 + drive.scatter * self.dice.normal()).max(0.05);
            let brought = mean * drive.pattern.energy(k, t, x) * scatter;
            last_s = from_s + t;
            self.blow(last_s, brought, brought / mean);
            let uneven = (1.0 + drive.jitter * self.dice.normal().clamp(-3.0, 3.0)).max(0.4);
            let mut interval_s = uneven * drive.pattern.interval(k, x) / drive.blow_hz;
            while let Some((_, long_s)) = pauses.next_if(|(at_s, _)| *at_s <= t + interval_s) {
                interval_s = interval_s.max(*long_s);
            }
            t += interval_s;
            k += 1;
        }
        last_s
    }

    fn blow(&mut self, at_s: f64, energy: f64, over_mean: f64) {
        let before_kn = self.motion.curve.at(at_s).max(0.0);
        let after_kn = self.case.law.after(before_kn, energy);
        // A hammer's momentum goes as the root of its energy, moving nut or not.
        let rings = [self.case.chain.cell, self.case.chain.rig]
            .map(|mode| mode.kn * libm::sqrt(over_mean) * libm::exp(mode.scatter * self.dice.normal()));
        self.impact(at_s, Kind::Drive, rings);
        if after_kn > before_kn {
            self.motion.curve.go(at_s, self.case.chain.rise_s, after_kn);
        }
        if let Some(impact) = self.motion.impacts.last_mut() {
            (impact.before_kn, impact.after_kn) = (before_kn, after_kn);
        }
    }

    fn impact(&mut self, at_s: f64, kind: Kind, rings_kn: [f64; 2]) {
        let kn = self.motion.curve.at(at_s);
        let run = self.run;
        self.motion.impacts.push(Impact { at_s, kind, run, before_kn: kn, after_kn: kn, rings_kn });
    }

    fn release(&mut self, run: &Tightening) {
        let from_s = self.now_s;
        match run.release {
            Release::None => self.now_s += 1.0,
            Release::Smooth(seconds) => {
                self.motion.curve.go(from_s, seconds, 0.0);
                self.now_s += seconds;
            }
            Release::Drop => {
                let seconds = self.dice.between(0.003, 0.01);
                self.motion.curve.go(from_s, seconds, 0.0);
                self.now_s += seconds;
            }
            Release::Hand(strokes) => {
                let standing_kn = self.motion.curve.at(from_s);
                for k in 1..=strokes {
                    let seconds = self.dice.between(0.2, 0.6);
                    let left = f64::from(strokes - k) / f64::from(strokes);
                    self.motion.curve.go(self.now_s, seconds, standing_kn * left);
                    self.now_s += seconds + if k < strokes { self.dice.between(0.2, 0.8) } else { 0.0 };
                }
            }
            Release::Reverse(share) => self.reverse(run, share),
        }
    }

    fn reverse(&mut self, run: &Tightening, share: f64) {
        let standing_kn = self.motion.curve.at(self.now_s);
        loop {
            let kn = self.motion.curve.at(self.now_s);
            let rings = [self.case.chain.cell, self.case.chain.rig]
                .map(|mode| mode.kn * libm::exp(mode.scatter * self.dice.normal()));
            self.impact(self.now_s, Kind::Reverse, rings);
            let loose = kn < 0.04 * standing_kn;
            let to_kn = if loose { 0.0 } else { kn * (1.0 - share * self.dice.between(0.8, 1.2)) };
            self.motion.curve.go(self.now_s, self.case.chain.rise_s, to_kn);
            if let Some(impact) = self.motion.impacts.last_mut() {
                (impact.before_kn, impact.after_kn) = (kn, to_kn);
            }
            self.now_s += (1.0 + 0.02 * self.dice.normal()) / run.drive.blow_hz;
            if loose {
                return;
            }
        }
    }

    fn finish(mut self) -> Motion {
        let first = self.motion.drives[0];
        let shift_s = match self.case.begin {
            Begin::Idle => 0.0,
            Begin::InDrive(share) => first.0 + share * (first.1 - first.0),
            // After the pull's end is beyond doubt and before the release.
            Begin::Standing => first.1 + 1.3,
        };
        let last = self.motion.drives[self.motion.drives.len() - 1];
        let end_s = match self.case.ends_in_drive {
            Some(share) => last.0 + share * (last.1 - last.0),
            None => (self.now_s + TAIL_S).max(shift_s + SHORTEST_S),
        };
        self.motion.shift(shift_s);
        self.motion.end_s = end_s - shift_s;
        if self.case.begin == Begin::Standing {
            let until_s = self.motion.drives.get(1).map_or(self.motion.end_s, |next| next.0 - 0.2);
            let standing = Disturbance { kind: "standing tight", from_s: 0.0, until_s };
            self.motion.disturbances.push(standing);
        }
        self.motion.impacts.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        self.motion
    }
}

impl Motion {
    /// Moves everything earlier.
    fn shift(&mut self, by_s: f64) {
        self.curve.shift(by_s);
        self.impacts.iter_mut().for_each(|impact| impact.at_s -= by_s);
        self.pushes.iter_mut().for_each(|push| push.at_s -= by_s);
        self.run_downs.iter_mut().flatten().for_each(|at_s| *at_s -= by_s);
        for (from_s, until_s) in self.trigger.iter_mut().chain(&mut self.drives) {
            *from_s -= by_s;
            *until_s -= by_s;
        }
        for disturbance in &mut self.disturbances {
            disturbance.from_s -= by_s;
            disturbance.until_s -= by_s;
        }
    }
}

impl Pattern {
    /// Energy over the mean of blow `k`, at `t` s, at the share `x` of the pull.
    fn energy(self, k: u32, t: f64, x: f64) -> f64 {
        match self {
            Self::Steady => 1.0,
            Self::Twin { energy, .. } => 1.0 + if k.is_multiple_of(2) { energy } else { -energy },
            Self::Sag { energy, .. } => 1.0 - energy * x,
            Self::SoftStart { blows, from } => from + (1.0 - from) * (f64::from(k) / blows).min(1.0),
            Self::Feather { from, rise_s } => from + (1.0 - from) * (t / rise_s).min(1.0),
            Self::Waves { hz, depth } => {
                1.0 - depth * 0.5 * (1.0 - libm::cos(core::f64::consts::TAU * hz * t))
            }
        }
    }

    /// Interval over the mean after blow `k`.
    fn interval(self, k: u32, x: f64) -> f64 {
        match self {
            Self::Twin { interval, .. } => 1.0 + if k.is_multiple_of(2) { interval } else { -interval },
            Self::Sag { rate, .. } => 1.0 / (1.0 - rate * x),
            _ => 1.0,
        }
    }
}
