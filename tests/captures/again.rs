//! A stored run measured again: equal to the last byte with the same constants, scaled with another line.
//!
//! Every recording that holds a run takes part, so damaged lines, gaps, clipped codes and runs that follow
//! each other closely do too.

use crate::support::{Recording, all};
use boltscribe::constants::BoltFactor;
use boltscribe::control::BoltInForce;
use boltscribe::pipeline::{AgainError, Block, Output, RunRow, With, again, replay};
use boltscribe::results::{Flag, RunResult};

/// The runs of a recording, each with its raw blocks.
fn runs(recording: &Recording) -> Vec<(RunResult, Vec<Block>)> {
    let (outputs, _) = replay(recording.settings.clone(), &recording.capture.entries).unwrap();
    let mut runs: Vec<(RunResult, Vec<Block>)> = outputs
        .iter()
        .filter_map(|output| match output {
            Output::Run(RunRow::Announced(run)) => Some(((**run).clone(), Vec::new())),
            _ => None,
        })
        .collect();
    for output in outputs {
        let Output::Block(block @ Block::Raw { run_seq, .. }) = output else { continue };
        if let Some((_, blocks)) = runs.iter_mut().find(|(run, _)| run.run_seq == run_seq) {
            blocks.push(block);
        }
    }
    runs
}

fn same(recording: &Recording) -> With {
    let calibration = recording.settings.calibration.clone().unwrap();
    let settings = recording.settings.runs.clone();
    With { settings, before: Some(calibration.clone()), calibration, bolt: None }
}

#[test]
fn measured_again_with_the_same_constants_every_run_is_equal_in_every_byte() {
    let mut measured = 0;
    for recording in all().into_iter().filter(|r| r.settings.calibration.is_some()) {
        for (run, blocks) in runs(&recording) {
            let result = again(&run, &blocks, &same(&recording));
            let result = result.unwrap_or_else(|e| panic!("{}, run {}: {e}", recording.name, run.run_seq));
            let bytes = |run: &RunResult| serde_json::to_string(run).unwrap();
            assert_eq!(bytes(&result), bytes(&run), "{}, run {}", recording.name, run.run_seq);
            measured += 1;
        }
    }
    assert!(measured >= 40, "only {measured} runs took part");
}

#[test]
fn one_changed_code_changes_the_record() {
    let recording = all().into_iter().find(|r| r.name == "plain-2000").unwrap();
    let (run, mut blocks) = runs(&recording).remove(0);
    // The code at the peak: the low-passed peak carries a part of it.
    let at = ((run.record.peak_time_s * run.record.rate_hz) as u64 - run.record.first_sample) as usize;
    let mut passed = 0;
    for block in &mut blocks {
        let Block::Raw { counts, .. } = block else { continue };
        if (passed..passed + counts.len()).contains(&at) {
            counts[at - passed] += 1;
        }
        passed += counts.len();
    }
    let result = again(&run, &blocks, &same(&recording)).unwrap();
    assert_ne!(result.record.peak, run.record.peak);
}

#[test]
fn a_line_twice_as_steep_doubles_tension_and_moves_the_rigs_zero_along() {
    for name in ["plain-2000", "zero-command", "torque-70"] {
        let recording = all().into_iter().find(|r| r.name == name).unwrap();
        let mut with = same(&recording);
        with.calibration.id = "steeper".into();
        with.calibration.coefficients_kn.iter_mut().for_each(|c| *c *= 2.0);
        for (run, blocks) in runs(&recording) {
            let result = again(&run, &blocks, &with).unwrap();
            let ratio = result.record.held.unwrap().get() / run.record.held.unwrap().get();
            // Doubling is exact in binary; only rounding to single precision of the intercept may differ.
            assert!((ratio - 2.0).abs() < 1e-6, "{name}: {ratio}");
            let shift = result.record.zero_shift.get() - 2.0 * run.record.zero_shift.get();
            assert!(shift.abs() < 1e-3, "{name}: the zero's shift differs by {shift} N");
            assert_eq!(result.calibration, "steeper");
            assert_eq!(result.in_force, run.in_force);
        }
    }
}

#[test]
fn another_bolt_factor_changes_torque_and_nothing_else() {
    let recording = all().into_iter().find(|r| r.name == "plain-2000").unwrap();
    let (run, blocks) = runs(&recording).remove(0);
    let mut with = same(&recording);
    with.bolt =
        Some(BoltInForce { name: "m20".into(), factor: Some(BoltFactor(250.0)), allowed_kn: Some(1.0) });
    let result = again(&run, &blocks, &with).unwrap();
    assert_eq!(result.record, run.record);
    let held = result.record.held.unwrap();
    assert_eq!(result.torques.held, Some(BoltFactor(250.0).torque(held)));
    assert!(result.flags.contains(&Flag::OverLimit) && !result.flags.contains(&Flag::NoLimit));
}

#[test]
fn flags_of_the_moment_stay_and_those_of_the_samples_are_found_again() {
    let recording = all().into_iter().find(|r| r.name == "clipped").unwrap();
    let (mut run, blocks) = runs(&recording).remove(0);
    assert!(run.flags.contains(&Flag::Clipped));
    run.flags.push(Flag::ClockSuspect);
    run.flags.sort_unstable();
    let result = again(&run, &blocks, &same(&recording)).unwrap();
    assert_eq!(result.flags, run.flags);
}

#[test]
fn a_run_that_lacks_samples_is_refused_in_words() {
    let recording = all().into_iter().find(|r| r.name == "plain-2000").unwrap();
    let (run, blocks) = runs(&recording).remove(0);
    let with = same(&recording);
    assert_eq!(again(&run, &[], &with), Err(AgainError::NoSamples));
    let mut holed = blocks.clone();
    holed.remove(holed.len() / 2);
    assert!(matches!(again(&run, &holed, &with), Err(AgainError::Hole { .. })));
    let part = &blocks[..blocks.len() / 3];
    assert!(matches!(again(&run, part, &with), Err(AgainError::CutOff { .. })));
    let mut line = with;
    line.calibration.coefficients_kn = vec![1.0];
    assert!(matches!(again(&run, &blocks, &line), Err(AgainError::Calibration(_))));
}

#[test]
fn a_run_of_a_program_that_kept_no_basis_is_found_once_more() {
    for name in ["plain-2000", "lost-frames", "second-pull"] {
        let recording = all().into_iter().find(|r| r.name == name).unwrap();
        let (mut run, blocks) = runs(&recording).remove(0);
        run.basis = None;
        let result = again(&run, &blocks, &same(&recording)).unwrap();
        assert_eq!(result.record.held, run.record.held, "{name}");
        assert_eq!(result.record.blow_count, run.record.blow_count, "{name}");
        assert_eq!(result.basis, None);
    }
}
