//! The kinds of difficulty, each a name and what it does to a plain case.
//!
//! A difficulty is put on every run of the trace unless it lies at the trace's begin or end. Must not
//! know how a difficulty is played.

use super::case::{Begin, Case, Glitch, Mode, Pattern, Release, Seat, Shows, Tightening};
use super::draw::{knock, release, second_pull};
use crate::dice::Dice;

/// One kind of difficulty.
pub(super) struct Family {
    pub name: &'static str,
    pub make: fn(&mut Dice, &mut Case),
}

const fn family(name: &'static str, make: fn(&mut Dice, &mut Case)) -> Family {
    Family { name, make }
}

/// All of them. The order is part of what a seed means: add at the end.
pub(super) const FAMILIES: &[Family] = &[
    family("plain", |_, _| {}),
    family("slow blows", |dice, case| each(case, |run| run.drive.blow_hz = dice.between(6.0, 9.0))),
    family("fast blows", |dice, case| {
        let blow_hz = dice.between(50.0, 80.0);
        each(case, |run| run.drive.blow_hz = blow_hz);
    }),
    family("hum", |dice, case| {
        case.chain.hum.kn = case.limit_kn * dice.log_between(0.001, 0.006);
        case.chain.hum.harmonics = [dice.between(0.1, 0.6), dice.between(0.1, 0.6)];
    }),
    family("brush noise", |dice, case| {
        case.chain.brush = dice.log_between(2.0, 10.0);
        case.chain.brush_lead_s = dice.between(0.1, 0.5);
    }),
    family("brush noise on loud noise", |dice, case| {
        case.chain.noise_kn = case.limit_kn * dice.log_between(5e-4, 2e-3);
        case.chain.brush = dice.log_between(2.0, 6.0);
        case.chain.brush_lead_s = dice.between(0.1, 0.5);
    }),
    family("noise", |dice, case| case.chain.noise_kn = case.limit_kn * dice.log_between(1e-3, 5e-3)),
    family("wild samples", |dice, case| wild(dice, case, 1, 0.15, 0.8)),
    family("small wild samples", |dice, case| wild(dice, case, 1, 0.02, 0.1)),
    family("double wild samples", |dice, case| wild(dice, case, 2, 0.1, 0.8)),
    family("coarse codes", |dice, case| {
        case.chain.bits = dice.whole(10, 13);
        case.chain.noise_kn = case.limit_kn * dice.log_between(2e-5, 3e-4);
    }),
    family("coarse codes, brush noise", |dice, case| {
        case.chain.bits = dice.whole(10, 13);
        case.chain.noise_kn = case.limit_kn * dice.log_between(2e-5, 1e-4);
        case.chain.brush = dice.log_between(3.0, 10.0);
    }),
    family("knock before", |dice, case| each(case, |run| run.knock_before = Some(knock(dice, 0.15, 1.2)))),
    family("knock after", |dice, case| each(case, |run| run.knock_after = Some(knock(dice, 0.2, 2.0)))),
    family("dropped socket", |dice, case| {
        each(case, |run| {
            run.dropped = true;
            run.idle_s = dice.between(1.6, 4.0);
        });
    }),
    family("run-down", |dice, case| {
        each(case, |run| {
            run.seat = Seat::RunDown { seconds: dice.between(0.2, 1.5), share: dice.log_between(0.01, 0.15) };
        });
    }),
    family("run-down with brush noise", |dice, case| {
        case.chain.brush = dice.log_between(2.0, 6.0);
        each(case, |run| {
            run.seat = Seat::RunDown { seconds: dice.between(0.2, 1.5), share: dice.log_between(0.01, 0.15) };
        });
    }),
    family("seated by hand", |dice, case| each(case, |run| run.seat = by_hand(dice, 0.5, 4.0))),
    family("seated by hand long before", |dice, case| {
        each(case, |run| run.seat = by_hand(dice, 5.0, 20.0));
        case.runs.truncate(1);
    }),
    family("standing preload", |dice, case| case.standing = dice.log_between(0.01, 0.2)),
    family("feathered", |dice, case| {
        each(case, |run| {
            run.drive.seconds = dice.between(2.0, 6.0);
            let pattern =
                Pattern::Feather { from: dice.log_between(0.02, 0.3), rise_s: dice.between(0.5, 3.0) };
            run.drive.pattern = pattern;
        });
    }),
    family("waves of the trigger", |dice, case| {
        each(case, |run| {
            run.drive.seconds = dice.between(1.5, 6.0);
            run.drive.pattern = Pattern::Waves { hz: dice.between(0.3, 2.0), depth: dice.between(0.2, 0.8) };
        });
    }),
    family("short pauses", |dice, case| pauses(dice, case, 0.1, 0.3)),
    family("stalls", |dice, case| pauses(dice, case, 0.15, 0.3)),
    family("twin hammers", |dice, case| {
        let twin = Pattern::Twin { energy: dice.between(0.03, 0.2), interval: 0.1 };
        each(case, |run| run.drive.pattern = twin);
    }),
    family("sagging air", |dice, case| {
        each(case, |run| {
            run.drive.seconds = dice.between(1.5, 8.0);
            run.drive.pattern = Pattern::Sag { energy: dice.between(0.1, 0.4), rate: dice.between(0.1, 0.4) };
        });
    }),
    family("soft start", |dice, case| {
        each(case, |run| {
            run.drive.pattern =
                Pattern::SoftStart { blows: dice.between(5.0, 20.0), from: dice.log_between(0.01, 0.3) };
        });
    }),
    family("short drive", |dice, case| {
        each(case, |run| run.drive.seconds = dice.between(0.25, 0.8).max(2.2 / run.drive.blow_hz));
    }),
    family("long drive", |dice, case| each(case, |run| run.drive.seconds = dice.between(6.0, 15.0))),
    family("scattered energy", |dice, case| {
        let scatter = dice.between(0.1, 0.2);
        each(case, |run| run.drive.scatter = scatter);
    }),
    family("uneven blows", |dice, case| {
        let jitter = dice.between(0.06, 0.15);
        each(case, |run| run.drive.jitter = jitter);
    }),
    family("reverse blows", |dice, case| {
        each(case, |run| run.release = Release::Reverse(dice.between(0.04, 0.4)));
    }),
    family("released by hand", |dice, case| each(case, |run| run.release = Release::Hand(dice.whole(2, 5)))),
    family("sudden release", |dice, case| {
        each(case, |run| {
            run.release = Release::Drop;
            run.hold_s = dice.between(0.35, 1.0);
        });
    }),
    family("never released", |_, case| {
        case.runs.truncate(1);
        each(case, |run| run.release = Release::None);
    }),
    family("second pull", |dice, case| each(case, |run| run.second = Some(second_pull(dice)))),
    family("second pull that lifts little", |dice, case| {
        each(case, |run| {
            let mut pull = second_pull(dice);
            pull.energy = dice.between(1.03, 1.12);
            run.second = Some(pull);
        });
    }),
    family("runs close together", |dice, case| {
        let first = case.runs[0].clone();
        case.runs = (0..3).map(|_| close_run(dice, &first)).collect();
        case.runs[0].idle_s = 2.0;
    }),
    family("begins while driving", |dice, case| {
        case.begin = Begin::InDrive(dice.between(0.1, 0.9));
        before_the_trace(dice, case);
    }),
    family("begins on a tight bolt", |dice, case| {
        case.begin = Begin::Standing;
        before_the_trace(dice, case);
        case.runs[0].hold_s = dice.between(1.5, 5.0);
    }),
    family("ends while driving", |dice, case| {
        case.ends_in_drive = Some(dice.between(0.2, 0.9));
        case.runs[0].idle_s = 5.0;
    }),
    family("glitch", |dice, case| {
        case.runs[0].drive.seconds = case.runs[0].drive.seconds.max(1.5);
        case.chain.glitch = Some(Glitch {
            at: dice.between(0.2, 0.8),
            seconds: dice.between(0.05, 0.15),
            shows: dice.pick(&[Shows::Rail, Shows::Zero, Shows::Floor]),
        });
    }),
    family("zero drift", |dice, case| {
        // At most 0.04 % of the limit in a drive of 4 s: a fifth of what held is allowed.
        case.chain.drift_kn_per_s = case.limit_kn * dice.pick(&[-1.0, 1.0]) * dice.between(3e-5, 1e-4);
        each(case, |run| run.drive.seconds = run.drive.seconds.min(4.0));
    }),
    family("low ringing", |dice, case| {
        case.chain.cell.kn = case.limit_kn * dice.log_between(2e-4, 3e-3);
        case.chain.rig.kn = case.limit_kn * dice.log_between(1e-4, 2e-3);
    }),
    family("low rig mode", |dice, case| {
        case.chain.rig = Mode {
            hz: dice.between(70.0, 150.0),
            damping: dice.log_between(0.005, 0.03),
            kn: case.limit_kn * dice.log_between(0.02, 0.1),
            scatter: dice.between(0.05, 0.3),
        };
    }),
    family("low cell mode", |dice, case| {
        case.chain.cell.hz = dice.between(150.0, 300.0);
        case.chain.cell.damping = dice.log_between(0.005, 0.02);
    }),
    family("slow growth, slow sampling", |dice, case| {
        case.rate_hz = dice.pick(&[80.0, 80.0, 120.0]);
        soft(dice, case);
        each(case, |run| run.drive.seconds = dice.between(2.0, 8.0));
    }),
    family("soft chain", soft),
    family("stiff chain", |dice, case| {
        case.law = super::law::Law::with_blows_to_63_percent(dice.log_between(5.0, 12.0));
    }),
];

/// Names of all families.
#[must_use]
pub fn family_names() -> Vec<&'static str> {
    FAMILIES.iter().map(|family| family.name).collect()
}

fn each(case: &mut Case, mut make: impl FnMut(&mut Tightening)) {
    case.runs.iter_mut().for_each(&mut make);
}

fn wild(dice: &mut Dice, case: &mut Case, width: usize, low: f64, high: f64) {
    case.chain.wild.per_s = dice.between(0.2, 1.5);
    case.chain.wild.width = width;
    case.chain.wild.kn = case.chain.range_kn * dice.between(low, high);
}

fn by_hand(dice: &mut Dice, near_s: f64, far_s: f64) -> Seat {
    Seat::ByHand {
        strokes: dice.whole(2, 5),
        share: dice.log_between(0.005, 0.1),
        pause_s: dice.between(near_s, far_s),
    }
}

fn pauses(dice: &mut Dice, case: &mut Case, low_s: f64, high_s: f64) {
    each(case, |run| {
        run.drive.seconds = dice.between(1.5, 6.0);
        for _ in 0..dice.whole(1, 3) {
            let at_s = run.drive.seconds * dice.between(0.1, 0.9);
            run.drive.pauses.push((at_s, dice.between(low_s, high_s)));
        }
        run.drive.pauses.sort_by(|a, b| a.0.total_cmp(&b.0));
    });
}

fn close_run(dice: &mut Dice, like: &Tightening) -> Tightening {
    let mut run = like.clone();
    run.idle_s = dice.between(0.25, 1.0);
    run.drive.seconds = dice.log_between(0.8, 4.0);
    run.second = None;
    run.knock_before = None;
    run.release = release(dice);
    run
}

/// Puts a run in front that the trace begins inside of.
fn before_the_trace(dice: &mut Dice, case: &mut Case) {
    let mut cut = case.runs[0].clone();
    (cut.second, cut.release) = (None, release(dice));
    case.runs.truncate(2);
    case.runs.insert(0, cut);
}

fn soft(dice: &mut Dice, case: &mut Case) {
    case.law = super::law::Law::with_blows_to_63_percent(dice.between(120.0, 300.0));
    case.chain.cell.kn = case.limit_kn * dice.log_between(0.001, 0.01);
    case.chain.rig.kn = case.limit_kn * dice.log_between(0.001, 0.01);
}
