//! The impact model: its law against closed form, its truth against brute force on noise-free counts.
//!
//! Brute force counts and averages the delivered samples themselves.

use virtual_rig::impact::case::{Begin, Case, Filter, Hum, Pattern, Release, Seat, SecondPull};
use virtual_rig::impact::law::Law;
use virtual_rig::impact::{family_names, play};
use virtual_rig::lowpass::Lowpass;

#[test]
fn equal_blows_near_the_limit_of_f_squared_exponentially() {
    for (blows_63, limit_kn) in [(5.0, 5.0), (40.0, 120.0), (300.0, 300.0)] {
        let law = Law::with_blows_to_63_percent(blows_63);
        let energy = law.energy_for(limit_kn);
        let ratio: f64 = law.elastic / (law.elastic + law.friction);
        let mut kn = 0.0;
        for n in 1..=600 {
            kn = law.after(kn, energy);
            // From F2^2 = (E + a F1^2)/(a + b): the gap to the limit shrinks by a/(a + b) a blow.
            let closed = limit_kn * (1.0 - ratio.powi(n)).sqrt();
            assert!((kn - closed).abs() < 1e-9 * limit_kn, "{n}: {kn} {closed}");
            assert!((law.after_blows(0.0, energy, f64::from(n)) - closed).abs() < 1e-9 * limit_kn);
        }
        let at_63 = law.after_blows(0.0, energy, blows_63).powi(2) / limit_kn.powi(2);
        assert!((at_63 - (1.0 - (-1.0f64).exp())).abs() < 1e-9, "{at_63}");
    }
}

#[test]
fn a_blow_too_weak_for_the_friction_of_the_tension_moves_nothing() {
    let law = Law { elastic: 30.0, friction: 2.0 };
    assert_eq!(law.after(10.0, 2.0 * 100.0), 10.0);
    assert_eq!(law.after(10.0, 0.5 * 2.0 * 100.0), 10.0);
    assert!(law.after(10.0, 1.001 * 2.0 * 100.0) > 10.0);
    assert!((law.limit_kn(200.0) - 10.0).abs() < 1e-12);
}

#[test]
fn the_same_seed_gives_the_same_counts_and_another_gives_others() {
    for seed in [1, 77, 4_000_000_007] {
        let (one, again) = (play(&Case::random(seed)), play(&Case::random(seed)));
        assert!(one.counts == again.counts && one.runs == again.runs);
        assert_ne!(one.counts, play(&Case::random(seed + 1)).counts);
    }
}

#[test]
fn every_family_occurs_and_every_case_keeps_its_bounds() {
    let names = family_names();
    assert!(names.len() >= 40, "{}", names.len());
    let mut seen = vec![0; names.len()];
    for seed in 0..2000 {
        let case = Case::random(seed);
        seen[names.iter().position(|name| *name == case.family).unwrap()] += 1;
        assert!((80.0..=20_000.0).contains(&case.rate_hz), "{}", case.rate_hz);
        assert!((5.0..=300.0).contains(&case.limit_kn) && (10..=24).contains(&case.chain.bits));
        assert!((1..=3).contains(&case.runs.len()));
        for run in &case.runs {
            assert!((6.0..=80.0).contains(&run.drive.blow_hz) && run.drive.seconds <= 15.0);
            assert!((0.02..=0.2).contains(&run.drive.scatter), "{}", run.drive.scatter);
        }
    }
    assert!(seen.iter().all(|n| *n > 0), "{seen:?}");
}

#[test]
fn a_trace_lasts_5_to_60_s_and_holds_at_most_1_200_000_samples() {
    for seed in 0..60 {
        let played = play(&Case::random(seed));
        let seconds = played.counts.len() as f64 / played.rate_hz;
        assert!((4.99..=60.0).contains(&seconds), "seed {seed}: {seconds} s");
        assert!(played.counts.len() <= 1_200_000);
        let limits = played.count_min..=played.count_max;
        assert!(played.counts.iter().all(|count| limits.contains(count)));
    }
}

/// A case of few difficulties whose counts are fine and without noise at 20,000 a second.
fn still(seed: u64) -> Case {
    let mut case = Case::random(seed);
    case.rate_hz = 20_000.0;
    (case.begin, case.ends_in_drive) = (Begin::Idle, None);
    let chain = &mut case.chain;
    (chain.bits, chain.noise_kn, chain.brush) = (30, 0.0, 1.0);
    (chain.zero_kn, chain.drift_kn_per_s, chain.wild.per_s, chain.glitch) = (0.0, 0.0, 0.0, None);
    chain.hum = Hum { hz: 50.0, kn: 0.0, harmonics: [0.0; 2] };
    chain.filter = Filter::Boxcar;
    case.runs.truncate(1);
    case.standing = 0.0;
    let run = &mut case.runs[0];
    (run.seat, run.second, run.knock_before, run.knock_after) = (Seat::Loose, None, None, None);
    (run.dropped, run.hold_s, run.release) = (false, 1.5, Release::Smooth(0.5));
    run.idle_s = 2.0;
    run.drive.pauses.clear();
    case
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2])
}

#[test]
fn the_truth_equals_brute_force_on_noise_free_counts() {
    for seed in [2, 3, 5, 8, 13, 21, 34, 55] {
        let case = still(seed);
        let played = play(&case);
        let kn: Vec<f64> = played.counts.iter().map(|c| f64::from(*c) / played.counts_per_kn).collect();
        let at = |time_s: f64| (time_s * 20_000.0).round() as usize;
        let near = |is: f64, should: f64, what: &str| {
            let most = 2e-4 * case.limit_kn;
            assert!((is - should).abs() < most, "seed {seed} ({}), {what}: {is} {should}", case.family);
        };
        assert_eq!(played.runs.len(), 1);
        let run = &played.runs[0];
        let (first, last) = (run.first_blow_s, run.last_blow_s);
        near(median(&kn[at(last + 0.05)..at(last + 0.2)]), run.level_kn, "level");
        near(median(&kn[at(last + 0.2)..at(last + 0.7)]), run.held_kn.unwrap(), "held");
        assert!(run.settled && run.whole && !run.re_pulled && run.preload_kn == 0.0);
        for gate in run.gates.iter().filter(|gate| first + gate.after_s + 0.2 < kn.len() as f64 / 20_000.0) {
            let middle = first + gate.after_s;
            let window = at(middle - run.interval_s / 2.0)..at(middle + run.interval_s / 2.0);
            let mean = kn[window.clone()].iter().sum::<f64>() / window.len() as f64;
            // A sample at the window's edge: ringing of up to half the limit over the samples in it.
            assert!((mean - gate.standing_kn).abs() < 1e-3 * case.limit_kn, "seed {seed}: {mean} {gate:?}");
            assert_eq!(gate.tension_kn.is_some(), last >= middle);
        }
        // Nothing before the first blow; ringing or a step within 1 ms after it.
        assert!(kn[..at(first) - 2].iter().all(|value| value.abs() < 1e-6 * case.limit_kn));
        assert!(kn[at(first)..at(first + 0.002)].iter().any(|value| value.abs() > 1e-4 * case.limit_kn));
        let released = kn[at(last + 0.7)..].iter().position(|value| *value < 0.5 * run.level_kn).unwrap();
        assert!((last + 0.7 + released as f64 / 20_000.0 - run.released_s.unwrap()).abs() < 0.005);

        let mut low = Lowpass::new(200.0, 20_000.0);
        let filtered: Vec<f64> = kn.iter().map(|value| low.push(*value)).collect();
        let window = at(first + low.delay_s())..at(last + 0.7 + low.delay_s());
        let peak = filtered[window].iter().copied().fold(f64::MIN, f64::max);
        near(peak, run.peak_kn, "peak");
        near(peak, run.peak_sampled_kn, "peak of the samples");
    }
}

/// With ringing that dies away within a third of an interval a blow is where samples move again after 3 ms of
/// standing still.
#[test]
fn blows_counted_in_the_counts_are_the_blows_of_the_truth() {
    for seed in [2, 3, 5, 8, 13] {
        let mut case = still(seed);
        case.runs[0].drive.blow_hz = 20.0;
        for mode in [&mut case.chain.cell, &mut case.chain.rig] {
            (mode.hz, mode.damping, mode.kn, mode.scatter) = (1200.0, 0.08, 0.02 * case.limit_kn, 0.05);
        }
        let played = play(&case);
        let kn: Vec<f64> = played.counts.iter().map(|c| f64::from(*c) / played.counts_per_kn).collect();
        let run = &played.runs[0];
        let most = 0.0005 * case.limit_kn;
        let (mut blows, mut quiet, mut last) = (0, 0, 0);
        for (i, pair) in kn.windows(2).enumerate() {
            if (pair[1] - pair[0]).abs() < most / 10.0 {
                quiet += 1;
                continue;
            }
            if quiet > 60 && i < ((run.last_blow_s + 1.0) * 20_000.0) as usize {
                blows += 1;
                last = i;
            }
            quiet = 0;
        }
        assert_eq!(blows, run.blows, "seed {seed}");
        assert!((last as f64 / 20_000.0 - run.last_blow_s).abs() < 3e-4, "seed {seed}");
    }
}

#[test]
fn what_a_hand_wrench_left_is_zero_and_a_second_pull_with_more_energy_is_a_re_pull() {
    let mut lifted = 0;
    for seed in [2, 3, 5, 8, 13, 21] {
        let mut case = still(seed);
        let run = &mut case.runs[0];
        run.seat = Seat::ByHand { strokes: 3, share: 0.06, pause_s: 1.2 };
        run.drive.pattern = Pattern::Steady;
        run.drive.seconds = 3.0;
        run.second =
            Some(SecondPull { after_s: 2.0, seconds: 1.0, energy: if seed % 2 == 0 { 1.4 } else { 0.2 } });
        let played = play(&case);
        let kn: Vec<f64> = played.counts.iter().map(|c| f64::from(*c) / played.counts_per_kn).collect();
        let at = |time_s: f64| (time_s * 20_000.0).round() as usize;
        let run = &played.runs[0];
        let zero = median(&kn[at(run.first_blow_s - 0.5)..at(run.first_blow_s)]);
        assert!((zero - run.preload_kn).abs() < 2e-4 * case.limit_kn, "seed {seed}: {zero}");
        // The last of three strokes leaves 90 to 100 % of what was asked for.
        assert!((0.053..=0.061).contains(&(zero / case.limit_kn)), "seed {seed}: {zero}");
        let last = run.last_blow_s;
        let held = median(&kn[at(last + 0.2)..at(last + 0.7)]) - zero;
        assert!((held - run.held_kn.unwrap()).abs() < 2e-4 * case.limit_kn, "seed {seed}: {held}");
        // Brute force: the level 4 s later, after the second pull.
        let level = median(&kn[at(last + 0.05)..at(last + 0.2)]) - zero;
        let later = median(&kn[at(last + 3.3)..at(last + 3.4)]) - zero;
        assert_eq!(run.re_pulled, later > 1.005 * level, "seed {seed}: {level} {later} {:?}", run.lift);
        lifted += u32::from(run.re_pulled);
    }
    assert!((1..6).contains(&lifted), "{lifted}");
}
