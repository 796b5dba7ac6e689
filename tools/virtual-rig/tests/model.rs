//! Claims about the model: how tension grows, what a chain passes, what is drawn at random.
//!
//! Needs no port: scenarios are rendered in memory.

mod common;

use common::{LIVELY_TOOL, SILENT_TOOL, STEP, quiet};
use virtual_rig::model::{contacts, run, transmission};
use virtual_rig::signal::BeatKind;
use virtual_rig::{Scenario, render};

#[test]
fn the_geometric_approach_closes_a_fixed_part_of_the_gap_with_each_blow() {
    let scenario = Scenario::from_toml(&quiet(2000, "", SILENT_TOOL, STEP)).unwrap();
    let run = run(&scenario, 0, 0);
    // 320 N m / (0.2 x 20 mm) = 80 kN; q = exp(-1/(16 x 0.6)).
    assert!((run.limit_kn.unwrap() - 80.0).abs() < 1e-9);
    let q = (-1.0f64 / 9.6).exp();
    for (i, beat) in run.plan.beats().iter().enumerate() {
        let expected = 80.0 * (1.0 - q.powi(i as i32 + 1));
        assert!((beat.to_kn - expected).abs() < 1e-9, "blow {i}: {} {expected}", beat.to_kn);
    }
    // 3.6 s at 16 Hz: blows at 0, 1/16, ... 57/16.
    assert_eq!(run.plan.beats().len(), 58);
}

#[test]
fn energy_per_blow_gives_the_square_root_growth_of_the_worked_example() {
    // Textbook mechanics, F_n^2 = F_(n-1)^2 + E P k/(pi K d), with K 0.17, d 16 mm, P 2 mm,
    // k 400 kN/mm, E 12 J: 33517.855795 N, 47401.406248 N, 58054.629198 N.
    let tool = "energy_J = 12\nringing_kN = 0\nringing_hz = 600\nringing_tau_ms = 3";
    let text = quiet(2000, "", tool, STEP)
        .replace("diameter_mm = 20", "diameter_mm = 16")
        .replace("pitch_mm = 2.5", "pitch_mm = 2")
        .replace("nut_factor = 0.2", "nut_factor = 0.17")
        .replace("stiffness_kN_per_mm = 300", "stiffness_kN_per_mm = 400");
    let run = run(&Scenario::from_toml(&text).unwrap(), 0, 0);
    assert_eq!(run.limit_kn, None);
    let published_kn = [33.517_855_795_370_64, 47.401_406_247_848_8, 58.054_629_198_348_89];
    assert!(run.plan.beats().len() >= published_kn.len());
    for (beat, expected) in run.plan.beats().iter().zip(published_kn) {
        assert!((beat.to_kn - expected).abs() < 1e-6, "{} {expected}", beat.to_kn);
    }
}

#[test]
fn a_chain_passes_the_product_of_its_pieces_and_contacts() {
    let rest = STEP.replace("direct", "bent");
    let scenario = Scenario::from_toml(&quiet(2000, "", SILENT_TOOL, &rest)).unwrap();
    let [direct, bent] = &scenario.setups[..] else { panic!("two setups") };
    assert_eq!((contacts(&scenario, direct), contacts(&scenario, bent)), (1, 3));
    let expected = 0.9 * 0.98 * 0.98 * 0.98;
    assert_eq!(transmission(&scenario, direct), 1.0);
    assert!((transmission(&scenario, bent) - expected).abs() < 1e-12);
    let run = run(&scenario, 0, 0);
    assert!((run.limit_kn.unwrap() - 80.0 * expected).abs() < 1e-9);
    assert!((run.time_constant_s.unwrap() - 0.6 / expected).abs() < 1e-12);
}

#[test]
fn the_gate_is_the_mean_of_the_staircase_over_one_interval() {
    let scenario = Scenario::from_toml(&quiet(2000, "", SILENT_TOOL, STEP)).unwrap();
    let truth = &render(&scenario).truth[0];
    let q = (-1.0f64 / 9.6).exp();
    let level = |n: i32| 80.0 * (1.0 - q.powi(n));
    for gate in &truth.gates[..3] {
        // Blow number 16 g stands in the middle of the window and rises for 1 ms, smoothly: it
        // counts from the middle of its rise.
        let n = (16.0 * gate.after_s) as i32;
        let (before, after) = (level(n), level(n + 1));
        let expected = 0.5 * (before + after) - (after - before) * 0.5e-3 * 16.0;
        let found = gate.tension_kn.unwrap();
        assert!((found - expected).abs() < 1e-4, "{}: {found} {expected}", gate.after_s);
    }
    assert_eq!(truth.gates[3].tension_kn, None);
    assert!((truth.held_kn - level(58)).abs() < 1e-9);
    assert!((truth.interval_s - 1.0 / 16.0).abs() < 1e-9);
    assert!((truth.blow_rate_hz - 16.0).abs() < 1e-6);
}

#[test]
fn reverse_blows_end_a_run_and_a_second_pull_shows_as_a_lift() {
    let step = format!(
        "{STEP}release = \"reverse\"\nsecond_pull = {{ after_s = 1.5, drive_s = 2.0, limit_ratio = 1.2 }}\n"
    );
    let scenario = Scenario::from_toml(&quiet(2000, "", LIVELY_TOOL, &step)).unwrap();
    let truth = &render(&scenario).truth[0];
    let plan = run(&scenario, 0, 0).plan;
    let first_reverse = plan.beats().iter().find(|b| b.kind == BeatKind::Reverse).unwrap();
    assert!(truth.re_pulled && !truth.cut);
    assert!((truth.released_s.unwrap() - first_reverse.at_s).abs() < 1e-9);
    assert!(truth.last_blow_s < 1.6 + 3.6 && truth.drive_time_s < 3.6);
    assert_eq!(plan.level_at(plan.end_s()), 0.0);
}

#[test]
fn a_gap_of_half_a_second_cuts_the_held_window() {
    let step = format!("{STEP}second_pull = {{ after_s = 0.5, drive_s = 1.0 }}\n");
    let scenario = Scenario::from_toml(&quiet(2000, "", SILENT_TOOL, &step)).unwrap();
    assert!(render(&scenario).truth[0].cut);
}

#[test]
fn three_hundred_random_scenarios_are_valid_and_span_what_they_should() {
    let (mut slow, mut fast, mut kept, mut reversed, mut pulled, mut soft, mut spiked) =
        (0, 0, 0, 0, 0, 0, 0);
    let (mut weakest, mut strongest) = (f64::MAX, 0.0f64);
    for seed in 0..300 {
        let scenario = Scenario::random(seed);
        virtual_rig::check::check(&scenario).unwrap_or_else(|error| panic!("seed {seed}: {error}"));
        assert_eq!(scenario, Scenario::random(seed), "seed {seed}");
        let tool = &scenario.tools[0];
        slow += u32::from(scenario.rig.rate_hz < 500);
        fast += u32::from(scenario.rig.rate_hz >= 10_000);
        soft += u32::from(tool.soft_start_blows > 0);
        spiked += u32::from(scenario.rig.spikes_per_s > 0.0);
        for (i, step) in scenario.steps.iter().enumerate() {
            let run = run(&scenario, i, i as u64);
            let rate_hz = f64::from(scenario.rig.rate_hz);
            let truth = virtual_rig::truth::truth(&scenario, i, &run, 0.0, rate_hz).unwrap();
            kept += u32::from(truth.released_s.is_none());
            reversed += u32::from(step.release == virtual_rig::scenario::Release::Reverse);
            pulled += u32::from(truth.re_pulled);
            assert!(!truth.cut, "seed {seed}");
            assert!((10.0..200.0).contains(&truth.held_kn), "seed {seed}: {}", truth.held_kn);
            assert!(truth.peak_kn > 0.97 * truth.held_kn, "seed {seed}");
            weakest = weakest.min(truth.ringing_to_noise);
            strongest = strongest.max(truth.ringing_to_noise);
            assert!((7.5..65.0).contains(&truth.blow_rate_hz), "seed {seed}: {}", truth.blow_rate_hz);
        }
    }
    for (name, seen) in [
        ("slow", slow),
        ("fast", fast),
        ("kept", kept),
        ("reversed", reversed),
        ("pulled", pulled),
        ("soft", soft),
        ("spiked", spiked),
    ] {
        assert!(seen >= 10, "{name}: {seen} of 300");
    }
    assert!(weakest < 3.0 && strongest > 100.0, "{weakest} {strongest}");
}

#[test]
fn every_shipped_scenario_is_read_and_says_that_it_is_invented() {
    for name in ["depot", "weak", "slow-board", "faults"] {
        let path = format!("{}/scenarios/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.lines().take_while(|line| line.starts_with('#')).any(|line| line.contains("invented")));
        let scenario = Scenario::from_toml(&text).unwrap_or_else(|error| panic!("{name}: {error}"));
        let (low, high) = scenario.rig.count_limits();
        let rendered = render(&scenario);
        assert!(rendered.counts.iter().all(|count| low < *count && *count < high), "{name} saturates");
        assert_eq!(rendered.truth.len(), scenario.steps.len(), "{name}");
    }
}

#[test]
fn the_depot_compares_couplings_on_one_tool_between_sixty_and_ninety_kilonewtons() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios/depot.toml");
    let scenario = Scenario::from_toml(&std::fs::read_to_string(path).unwrap()).unwrap();
    let truth = render(&scenario).truth;
    for setup in &scenario.setups {
        let runs: Vec<_> = truth.iter().filter(|run| run.setup == setup.name).collect();
        assert!(runs.len() >= 3, "{}", setup.name);
        assert!(runs.iter().all(|run| (60.0..95.0).contains(&run.held_kn)), "{}", setup.name);
        assert!(runs.iter().all(|run| run.gates[2].tension_kn.is_some()), "{}", setup.name);
    }
}

#[test]
fn a_wrong_scenario_is_refused_with_key_expected_and_found() {
    let refusal = |text: &str| Scenario::from_toml(text).unwrap_err().to_string();
    let good = quiet(2000, "", SILENT_TOOL, STEP);
    assert!(
        refusal(&good.replace("bits = 32", "bits = 33")).contains("rig.bits: expected 8 to 32, found 33")
    );
    assert!(refusal(&good.replace("setup = \"direct\"", "setup = \"dirct\"")).contains("steps[0].setup"));
    assert!(refusal(&good.replace("allowed_kN", "alowed_kN")).contains("unknown field `alowed_kN`"));
    assert!(refusal(&good.replace("hold_s = 1.5", "hold_s = nan")).contains("steps[0].hold_s"));
    assert!(
        refusal(&good.replace("[\"joint\", \"socket\"]", "[\"socket\", \"joint\"]"))
            .contains("setups[1].chain")
    );
}

#[test]
fn a_step_can_be_called_out_of_its_turn_as_often_as_wanted() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios/trial.toml");
    let scenario = Scenario::from_toml(&std::fs::read_to_string(path).unwrap()).unwrap();
    let mut stream = virtual_rig::stream::Stream::new(&scenario, 500.0, virtual_rig::stream::Pace::Stepwise);
    let mut samples = vec![0; 500];
    let mut played = Vec::new();
    for step in [7, 0, 7] {
        assert!(stream.go_to(step));
        while played.len() < 3 {
            stream.fill(&mut samples);
            let done = stream.take_done();
            if !done.is_empty() {
                played.extend(done.into_iter().map(|done| done.step));
                break;
            }
        }
    }
    assert_eq!(played, [7, 0, 7]);
    assert!(!stream.go_to(scenario.steps.len()), "there is no such step");
}
