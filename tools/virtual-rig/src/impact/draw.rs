//! The mild mix that every case begins with, before its family adds a difficulty.
//!
//! Limits of 5 to 300 kN, 63 % of the limit (of F^2) within 5 to 300 blows, 6 to 60 blows a second, 80 to
//! 20,000 samples a second. Draws keep a plain case plain: what is hard comes from `families`.

use super::case::{
    Begin, Case, Chain, Drive, Filter, Hum, Knock, Mode, Pattern, Release, Seat, SecondPull, Tightening, Wild,
};
use super::families::FAMILIES;
use super::law::Law;
use crate::dice::Dice;

/// Rates by band: a band is drawn first, so that each is met as often.
const RATES_HZ: [&[f64]; 4] = [
    &[80.0, 100.0, 120.0, 160.0, 200.0, 240.0],
    &[250.0, 300.0, 480.0, 500.0, 600.0, 960.0],
    &[1000.0, 1200.0, 2000.0, 2500.0, 4000.0, 4800.0],
    &[5000.0, 7200.0, 10_000.0, 16_000.0, 20_000.0],
];
/// A trace lasts at most this long, s: runs that would go on past it are left out.
const LONGEST_S: f64 = 58.0;
/// A trace lasts at least this long, s.
pub(super) const SHORTEST_S: f64 = 5.0;
/// Idle after the last release, s.
pub(super) const TAIL_S: f64 = 1.5;

impl Case {
    /// A random case. The same seed always gives the same case.
    #[must_use]
    pub fn random(seed: u64) -> Self {
        let mut dice = Dice::new(seed ^ 0x1a9a_c7b1_0e55_0000);
        let mut case = plain(&mut dice, seed);
        let family = &FAMILIES[dice.whole(0, FAMILIES.len() as u32 - 1) as usize];
        case.family = family.name;
        (family.make)(&mut dice, &mut case);
        case.shorten();
        case
    }

    /// Leaves out runs past the longest trace.
    fn shorten(&mut self) {
        let mut end_s = 0.0;
        let mut kept = 0;
        for run in &self.runs {
            end_s += run.longest_s();
            if kept > 0 && end_s > LONGEST_S - TAIL_S {
                break;
            }
            kept += 1;
        }
        self.runs.truncate(kept);
    }
}

impl Tightening {
    /// About how long it takes at most, s.
    fn longest_s(&self) -> f64 {
        let seat_s = match self.seat {
            Seat::Loose => 0.0,
            Seat::RunDown { seconds, .. } => seconds,
            Seat::ByHand { strokes, pause_s, .. } => f64::from(strokes) * 1.6 + pause_s,
        };
        let pauses_s: f64 = self.drive.pauses.iter().map(|(_, long_s)| long_s).sum();
        let second_s = self.second.map_or(0.0, |pull| pull.after_s + pull.seconds);
        self.idle_s + seat_s + self.drive.seconds + pauses_s + second_s + self.hold_s + 4.0
    }
}

/// A case without a difficulty of its own.
fn plain(dice: &mut Dice, seed: u64) -> Case {
    let limit_kn = dice.log_between(5.0, 300.0);
    let band = dice.pick(&RATES_HZ);
    let rate_hz = dice.pick(band);
    let law = Law::with_blows_to_63_percent(dice.log_between(5.0, 300.0));
    let tool = tool(dice);
    let count = dice.pick(&[1, 1, 1, 2, 2, 3]);
    let mut runs: Vec<Tightening> = (0..count).map(|_| tightening(dice, &tool)).collect();
    if dice.chance(0.1)
        && let Some(last) = runs.last_mut()
    {
        last.release = Release::None;
    }
    Case {
        seed,
        family: "plain",
        rate_hz,
        law,
        limit_kn,
        embedding: embedding(dice),
        standing: 0.0,
        runs,
        begin: Begin::Idle,
        ends_in_drive: None,
        chain: chain(dice, limit_kn, rate_hz),
    }
}

/// The tool of all runs of a trace: each run's drive is drawn about it.
fn tool(dice: &mut Dice) -> Drive {
    Drive {
        seconds: 0.0,
        blow_hz: dice.log_between(8.0, 50.0),
        scatter: dice.log_between(0.02, 0.12),
        jitter: dice.log_between(0.005, 0.06),
        pattern: Pattern::Steady,
        pauses: Vec::new(),
    }
}

fn embedding(dice: &mut Dice) -> [f64; 3] {
    let share = dice.log_between(0.0001, 0.0015);
    let mut shares = [share; 3];
    if dice.chance(0.5) {
        shares = [0.0; 3];
        shares[dice.whole(0, 2) as usize] = 2.0 * share;
    }
    shares
}

fn tightening(dice: &mut Dice, tool: &Drive) -> Tightening {
    let mut drive = tool.clone();
    drive.seconds = dice.log_between(0.8, 6.0);
    if dice.chance(0.25) {
        drive.pattern = Pattern::SoftStart { blows: dice.between(2.0, 8.0), from: dice.between(0.1, 0.6) };
    }
    Tightening {
        idle_s: dice.between(1.6, 2.6),
        seat: Seat::Loose,
        knock_before: dice.chance(0.1).then(|| knock(dice, 0.3, 1.0)),
        dropped: false,
        drive,
        knock_after: None,
        second: dice.chance(0.08).then(|| second_pull(dice)),
        hold_s: dice.between(1.2, 2.5),
        release: release(dice),
    }
}

/// A knock this far beside a blow.
pub(super) fn knock(dice: &mut Dice, near_s: f64, far_s: f64) -> Knock {
    Knock {
        apart_s: dice.between(near_s, far_s),
        strength: dice.log_between(0.2, 1.5),
        push: dice.log_between(0.002, 0.02),
    }
}

/// A second pull that lifts by up to 20 %, or not at all.
pub(super) fn second_pull(dice: &mut Dice) -> SecondPull {
    let lifts = dice.chance(0.6);
    SecondPull {
        after_s: dice.between(0.8, 5.0),
        seconds: dice.between(0.4, 2.0),
        energy: if lifts { dice.between(1.1, 1.45) } else { dice.between(0.6, 0.9) },
    }
}

/// One of the kinds of release that lets go of the bolt.
pub(super) fn release(dice: &mut Dice) -> Release {
    match dice.whole(0, 5) {
        0..=2 => Release::Smooth(dice.between(0.1, 1.0)),
        3 => Release::Reverse(dice.between(0.06, 0.4)),
        4 => Release::Hand(dice.whole(2, 4)),
        _ => Release::Drop,
    }
}

fn chain(dice: &mut Dice, limit_kn: f64, rate_hz: f64) -> Chain {
    let range_kn = limit_kn * dice.log_between(1.6, 5.0);
    let noise_kn = limit_kn * dice.log_between(3e-5, 6e-4);
    let filters: &[Filter] = if rate_hz < 1000.0 {
        &[Filter::Point, Filter::Boxcar, Filter::Sinc3, Filter::Sinc4]
    } else {
        &[Filter::Point, Filter::Point, Filter::Boxcar, Filter::Sinc3]
    };
    let hum_kn = if dice.chance(0.3) { limit_kn * dice.log_between(5e-5, 8e-4) } else { 0.0 };
    Chain {
        filter: dice.pick(filters),
        bits: dice.pick(&[16, 18, 20, 24]),
        range_kn,
        noise_kn,
        zero_kn: range_kn * dice.between(-0.02, 0.02),
        drift_kn_per_s: limit_kn * dice.between(-1e-5, 1e-5),
        hum: Hum {
            hz: dice.pick(&[50.0, 60.0]),
            kn: hum_kn,
            harmonics: [dice.between(0.0, 0.3), dice.between(0.0, 0.3)],
        },
        brush: if dice.chance(0.2) { dice.between(1.2, 2.5) } else { 1.0 },
        brush_lead_s: dice.between(0.1, 0.3),
        cell: Mode {
            hz: dice.log_between(300.0, 3000.0),
            damping: dice.log_between(0.005, 0.05),
            kn: limit_kn * dice.log_between(0.008, 0.1),
            scatter: dice.between(0.03, 0.3),
        },
        rig: Mode {
            hz: dice.log_between(150.0, 900.0),
            damping: dice.log_between(0.01, 0.05),
            kn: limit_kn * dice.log_between(0.005, 0.06),
            scatter: dice.between(0.03, 0.3),
        },
        rise_s: dice.between(0.0005, 0.002),
        wild: Wild { per_s: 0.0, width: 1, kn: 0.0 },
        glitch: None,
    }
}
