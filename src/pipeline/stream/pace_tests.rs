//! Wrong device clocks in a stream with a run: flagged beyond the stated limit, and nothing below it.
//!
//! The signal is invented: a rest, 20 blows a second that raise tension to 60 kN, tension held, a release.

use crate::messages::{Output, RunRow, Settings};
use crate::stream::Stream;
use boltscribe_analysis::results::{Flag, RunResult, Verdict};
use boltscribe_model::constants::Calibration;
use boltscribe_model::time::MonoNs;
use boltscribe_signal::samples::{Clock, Piece};

const RATE_HZ: f64 = 2000.0;
/// Samples of a frame.
const FRAME: usize = 20;
/// Device time of the first blow, seconds.
const BLOW_S: f64 = 6.0;

fn level_kn(device_s: f64) -> f64 {
    let ripple = 0.006 * libm::sin(700.0 * device_s);
    let driven_s = (device_s - BLOW_S).clamp(0.0, 1.5);
    let since_s = (device_s - BLOW_S) % 0.05;
    let ring = 4.0 * libm::exp(-since_s / 0.004) * libm::cos(2000.0 * since_s);
    match device_s - BLOW_S {
        t if (0.0..1.5).contains(&t) => 40.0 * driven_s + ring,
        t if (1.5..5.0).contains(&t) => 60.0 + ripple,
        _ => ripple,
    }
}

/// The one run of a stream whose frames, by the device time of their end, arrive at `host_s`.
fn run(clock: Clock, time_scale: u16, host_s: impl Fn(f64) -> f64) -> RunResult {
    let calibration =
        Calibration { id: "c".into(), coefficients_kn: vec![0.0, 1e-4], nominal: true, range_kn: None };
    let mut stream = Stream::new(Settings {
        instrument: boltscribe_signal::frames::Settings::Framed,
        samples: boltscribe_signal::samples::Settings::default(),
        runs: boltscribe_signal::runs::Settings::default(),
        calibration: Some(calibration),
    })
    .unwrap();
    let mut out = Vec::new();
    let at = MonoNs(0);
    stream.piece(at, Piece::Identity(&identity(time_scale)), &mut out);
    stream.piece(at, Piece::Rate { rate_hz: RATE_HZ, clock }, &mut out);
    let mut now_s = 0.0_f64;
    for frame in 0..(14.0 * RATE_HZ) as usize / FRAME {
        let first = frame * FRAME;
        let code = |i: usize| (level_kn(i as f64 / RATE_HZ) * 1e4) as i32;
        let counts: Vec<i32> = (first..first + FRAME).map(code).collect();
        now_s = now_s.max(host_s((first + FRAME) as f64 / RATE_HZ));
        let at = MonoNs((now_s * 1e9) as u64);
        stream.set_now(at);
        stream.piece(at, Piece::Counts { counts: &counts, saturated: false }, &mut out);
    }
    let mut runs = out.into_iter().filter_map(|o| match o {
        Output::Run(RunRow::Announced(run)) => Some(*run),
        _ => None,
    });
    let run = runs.next().unwrap();
    assert!(runs.next().is_none());
    run
}

fn identity(time_scale: u16) -> boltscribe_signal::frames::Identity {
    boltscribe_signal::frames::Identity {
        serial: "TEST-1".into(),
        firmware: "test".into(),
        adc_bits: 24,
        count_min: -8_388_608,
        count_max: 8_388_607,
        tick_rate_hz: 1_000_000,
        time_scale,
        simulated: false,
        rates_hz: vec![2000],
        channels: Vec::new(),
    }
}

fn flagged(host_s: impl Fn(f64) -> f64) -> bool {
    run(Clock::Device, 1, host_s).flags.contains(&Flag::DeviceClock)
}

/// Delays of a line that hands over every 16 ms, and now and then a fifth of a second late.
fn batched(host_s: f64) -> f64 {
    let handed_s = (host_s / 0.016).ceil() * 0.016;
    if host_s % 1.0 < 0.2 { host_s.floor() + 0.2 } else { handed_s }
}

#[test]
fn a_device_clock_of_another_rate_is_flagged_both_ways_and_leaves_the_run_out() {
    for error in [0.01, -0.01, -0.03, 0.1] {
        assert!(flagged(|device_s| 5.0 + device_s / (1.0 + error)), "{error}");
        assert!(flagged(|device_s| batched(5.0 + device_s / (1.0 + error))), "{error}, batched");
    }
    assert_eq!(Flag::DeviceClock.verdict(), Verdict::LeftOut);
}

#[test]
fn samples_cut_out_with_ticks_closed_up_and_a_jump_of_the_ticks_are_flagged() {
    // 2,000 samples at 4,000/s are half a second; a twentieth of one moves a gate as a share of a short drive.
    for step_s in [0.5, 0.05, -0.05] {
        for at_s in [BLOW_S + 0.1, BLOW_S + 0.7, BLOW_S + 1.4] {
            let host_s = |device_s: f64| 5.0 + device_s + if device_s > at_s { step_s } else { 0.0 };
            assert!(flagged(host_s), "{step_s} s at {at_s} s");
        }
    }
}

#[test]
fn a_sound_clock_is_not_flagged_however_late_its_bytes_come() {
    assert!(!flagged(|device_s| 5.0 + device_s));
    for error in [100e-6, -100e-6, 0.001, -0.001] {
        assert!(!flagged(|device_s| batched(5.0 + device_s / (1.0 + error))), "{error}");
    }
    // The program was stopped for two seconds while the tool drove, and read what had waited all at once.
    // Or until the run was over, or read it slowly and in many pieces.
    for (until_s, reading) in [(1.5, 0.0), (4.5, 0.0), (4.5, 0.01)] {
        let stopped = BLOW_S - 0.5..BLOW_S + until_s;
        let late_s = |device_s: f64| stopped.end + reading * (device_s - stopped.start);
        assert!(!flagged(
            |device_s| 5.0 + if stopped.contains(&device_s) { late_s(device_s) } else { device_s }
        ));
    }
    // Old bytes waited when the port was opened.
    assert!(!flagged(|device_s| 5.0 + device_s.max(1.0)));
}

#[test]
fn what_has_no_clock_of_its_own_or_a_stretched_one_is_not_compared() {
    let fast = |device_s: f64| 5.0 + device_s / 1.1;
    assert!(!run(Clock::Host, 1, fast).flags.contains(&Flag::DeviceClock));
    assert!(!run(Clock::Device, 10, |s| 5.0 + s / 10.0).flags.contains(&Flag::DeviceClock));
}
