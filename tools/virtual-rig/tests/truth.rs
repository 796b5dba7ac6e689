//! The truth against brute force on a noise-free record, and the record against itself.
//!
//! Brute force counts and averages the rendered samples themselves.

mod common;

use common::{LIVELY_TOOL, STEP, quiet};
use virtual_rig::lowpass::Lowpass;
use virtual_rig::stream::{Pace, Stream};
use virtual_rig::{Scenario, render};

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2])
}

#[test]
fn the_truth_equals_brute_force_on_a_noise_free_record() {
    let rest = format!("{STEP}{}", STEP.replace("direct", "bent"));
    let scenario = Scenario::from_toml(&quiet(20_000, "zero_kN = 1.5", LIVELY_TOOL, &rest)).unwrap();
    let rendered = render(&scenario);
    assert_eq!((rendered.truth.len(), rendered.zero_counts), (2, 1_500_000));
    let kn: Vec<f64> = rendered.counts.iter().map(|c| f64::from(c - 1_500_000) / 1e6).collect();
    let at = |time_s: f64| (time_s * 20_000.0).round() as usize;
    for truth in &rendered.truth {
        let last = truth.last_blow_s;
        let level = median(&kn[at(last + 0.05)..at(last + 0.2)]);
        let held = median(&kn[at(last + 0.2)..at(last + 0.7)]);
        assert!((level - truth.level_kn).abs() < 1e-3, "{level} {}", truth.level_kn);
        assert!((held - truth.held_kn).abs() < 1e-3, "{held} {}", truth.held_kn);
        for gate in truth.gates.iter().filter(|gate| gate.tension_kn.is_some()) {
            let middle = truth.first_blow_s + gate.after_s;
            let window = &kn[at(middle - truth.interval_s / 2.0)..at(middle + truth.interval_s / 2.0)];
            let mean = window.iter().sum::<f64>() / window.len() as f64;
            assert!((mean - gate.tension_kn.unwrap()).abs() < 0.01, "{mean} {gate:?}");
        }
        let released = kn[at(last)..].iter().position(|value| *value < 0.5 * level).unwrap();
        let released_s = (at(last) + released) as f64 / 20_000.0;
        assert!((released_s - truth.released_s.unwrap()).abs() < 2e-4, "{released_s}");
        // Nothing before the first blow, something 5 ms after it.
        let first = at(truth.first_blow_s);
        assert!(kn[first - 2000..first - 1].iter().all(|value| value.abs() < 1e-5));
        assert!(kn[first..first + 100].iter().any(|value| value.abs() > 0.3));

        let mut low = Lowpass::new(200.0, 20_000.0);
        let filtered: Vec<f64> = kn.iter().map(|value| low.push(*value)).collect();
        let (from, until) = (first, at(last + 0.7 + low.delay_s()));
        let peak = (from..until).max_by(|a, b| filtered[*a].total_cmp(&filtered[*b])).unwrap();
        assert!((filtered[peak] - truth.peak_kn).abs() < 2e-3 * truth.peak_kn);
        assert!((peak as f64 / 20_000.0 - low.delay_s() - truth.peak_time_s).abs() < 3e-3);
    }
}

#[test]
fn blows_counted_in_the_record_are_the_blows_of_the_truth() {
    let scenario = Scenario::from_toml(&quiet(20_000, "", LIVELY_TOOL, STEP)).unwrap();
    let rendered = render(&scenario);
    let truth = &rendered.truth[0];
    // A blow is a jump of the excursion after 30 ms of quiet; the shortest interval is 57 ms.
    let kn: Vec<f64> = rendered.counts.iter().map(|c| f64::from(*c) / 1e6).collect();
    let until = (truth.last_blow_s * 20_000.0) as usize + 200;
    let (mut blows, mut quiet_for) = (0, 1_000_000);
    for pair in kn[..until].windows(2) {
        if (pair[1] - pair[0]).abs() > 0.05 {
            blows += u32::from(quiet_for > 600);
            quiet_for = 0;
        } else {
            quiet_for += 1;
        }
    }
    assert_eq!(blows, truth.blows);
}

#[test]
fn counts_do_not_depend_on_how_many_are_asked_for_at_a_time() {
    for seed in [3, 4, 5] {
        let scenario = Scenario::random(seed);
        let rate_hz = f64::from(scenario.rig.rate_hz);
        let whole = render(&scenario).counts;
        let mut stream = Stream::new(&scenario, rate_hz, Pace::Free);
        let mut pieces = Vec::new();
        let mut size = 1;
        while pieces.len() < whole.len() {
            let count = size.min(whole.len() - pieces.len());
            let mut part = vec![0; count];
            stream.fill(&mut part);
            pieces.extend(part);
            size = size % 977 + 7;
        }
        assert_eq!(pieces, whole, "seed {seed}");
    }
}

#[test]
fn a_mean_over_the_sampling_period_is_what_a_slow_board_gives() {
    let slow = Scenario::from_toml(&quiet(80, "", LIVELY_TOOL, STEP)).unwrap();
    let fast = Scenario::from_toml(&quiet(20_000, "", LIVELY_TOOL, STEP)).unwrap();
    let (slow, fast) = (render(&slow), render(&fast));
    // Both start the step at sample 0. Sample i of the slow board covers 12.5 ms around i/80 s.
    for i in 100..400 {
        let middle = i * 250;
        let window = &fast.counts[middle - 125..middle + 125];
        let mean = window.iter().map(|c| f64::from(*c)).sum::<f64>() / 250.0 / 1e6;
        let found = f64::from(slow.counts[i]) / 1e6;
        assert!((mean - found).abs() < 0.02, "sample {i}: {mean} {found}");
    }
}

#[test]
fn noise_hum_and_spikes_are_as_strong_as_the_scenario_says() {
    let rig = "noise_kN = 0.05\nhum_kN = 0.2\nhum_hz = 50\nspikes_per_s = 2\nspike_kN = 40";
    let step = STEP.replace("hold_s", "pause_s = 60\nhold_s");
    let scenario = Scenario::from_toml(&quiet(2000, rig, LIVELY_TOOL, &step)).unwrap();
    let mut counts = vec![0; 110_000];
    Stream::new(&scenario, 2000.0, Pace::Free).fill(&mut counts);
    let kn: Vec<f64> = counts.iter().map(|c| f64::from(*c) / 1e6).collect();
    let spikes = kn.iter().filter(|value| value.abs() > 30.0).count();
    // 55 s x 2: a Poisson count of 110 lies within 5 of its deviations.
    assert!((58..163).contains(&spikes), "{spikes}");
    let calm: Vec<f64> = kn.iter().copied().filter(|value| value.abs() < 30.0).collect();
    let power = calm.iter().map(|v| v * v).sum::<f64>() / calm.len() as f64;
    let expected = 0.05f64.powi(2) + 0.2f64.powi(2) / 2.0 * 1.01;
    assert!((power / expected - 1.0).abs() < 0.02, "{power} {expected}");
}

#[test]
fn codes_stop_at_the_range_and_say_so() {
    let rig = "zero_kN = 150";
    let scenario = Scenario::from_toml(&quiet(2000, rig, LIVELY_TOOL, STEP)).unwrap();
    let mut counts = vec![0; 10_000];
    let filled = Stream::new(&scenario, 2000.0, Pace::Free).fill(&mut counts);
    assert!(filled.saturated);
    assert_eq!(counts.iter().max(), Some(&200_000_000));
}
