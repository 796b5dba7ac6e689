//! Measures a run whose recording was cut off, from what was stored of it.
//!
//! Must not know where it was stored, nor what the time is.

use super::messages::{Block, Settings};
use boltscribe_analysis::results::{RunResult, result::Context};
use boltscribe_signal::runs::{Basis, Finder, Found, Record, RunFlag, Timing};
use boltscribe_signal::tension::Converter;

/// Measures a run from its `Open` block and its raw codes (in order); none where there is no
/// calibration, or the samples do not hold the run. It is marked interrupted unless it had ended.
#[must_use]
pub fn recover(settings: &Settings, open: &Block, raw: &[Block]) -> Option<RunResult> {
    let Block::Open { run_seq, first_sample, rate_hz, in_force, opening } = open else {
        return None;
    };
    let calibration = settings.calibration.as_ref()?;
    let mut converter = Converter::new(calibration).ok()?;
    let timing = match settings.instrument {
        boltscribe_signal::frames::Settings::Lines(ref l) if l.tick_hz.is_none() => Timing::Host,
        _ => Timing::Device,
    };
    let (at, before) = ((*rate_hz, timing), (*first_sample, run_seq.saturating_sub(1)));
    let (record, basis) = match opening {
        Some(opening) => {
            if let Some((count_min, count_max)) = opening.range {
                converter.set_range(count_min, count_max);
            }
            let finder = Finder::resume(settings.runs.clone(), at, before, opening);
            let (record, basis) = runs_in(finder, &converter, raw).into_iter().next()?;
            (record, Basis { range: opening.range, ..basis })
        }
        None => {
            let finder = Finder::new(settings.runs.clone(), *rate_hz, timing, *first_sample, before.1);
            last_of(runs_in(finder, &converter, raw))?
        }
    };
    let context = Context {
        in_force: (**in_force).clone(),
        setup_changed: false,
        calibration: calibration.id.clone(),
        nominal: calibration.nominal,
    };
    let mut result = RunResult::new(*run_seq, record, context);
    result.basis = Some(basis);
    Some(result)
}

/// Where it is not known what a run began from, the last one in its samples is it: those before it fell into
/// its look-back. That is not certain where there are several, so such a run is left out of results.
fn last_of(runs: Vec<(Record, Basis)>) -> Option<(Record, Basis)> {
    let several = runs.len() > 1;
    let (mut record, basis) = runs.into_iter().next_back()?;
    if several && !record.flags.contains(&RunFlag::Interrupted) {
        record.flags.push(RunFlag::Interrupted);
        record.flags.sort_unstable();
    }
    Some((record, basis))
}

/// The runs that a finder makes of raw codes, in order.
pub(super) fn runs_in(mut finder: Finder, converter: &Converter, raw: &[Block]) -> Vec<(Record, Basis)> {
    let (mut tension, mut clipped, mut found) = (Vec::new(), Vec::new(), Vec::new());
    for block in raw {
        let Block::Raw { counts, missing, .. } = block else {
            continue;
        };
        let mut from = 0;
        for (at, lacking) in missing.iter().map(|(at, n)| (*at as usize, *n as usize)) {
            converter.convert(&counts[from..at], &mut tension, &mut clipped);
            finder.push(&tension, &clipped, &mut found);
            from = at;
            // A finder that has seen no run yet would take the gap for a break and forget the start.
            if finder.open() {
                finder.gap(lacking as u64, &mut found);
                from += lacking;
            }
        }
        converter.convert(&counts[from..], &mut tension, &mut clipped);
        finder.push(&tension, &clipped, &mut found);
    }
    finder.break_off(&mut found);
    let announced = |f| match f {
        Found::Announced { record, basis, .. } => Some((*record, basis)),
        _ => None,
    };
    found.into_iter().filter_map(announced).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::messages::{Event, Output, RunRow};
    use crate::stream::Stream;
    use boltscribe_analysis::results::Flag;
    use boltscribe_model::constants::Calibration;
    use boltscribe_model::control::{Attempt, Command, InForce};
    use boltscribe_model::time::MonoNs;
    use boltscribe_signal::samples::{Clock, Piece};

    const RATE_HZ: f64 = 2000.0;

    fn settings() -> Settings {
        Settings {
            instrument: boltscribe_signal::frames::Settings::Framed,
            samples: boltscribe_signal::samples::Settings::default(),
            runs: boltscribe_signal::runs::Settings::default(),
            calibration: Some(Calibration {
                id: "c".into(),
                coefficients_kn: vec![0.0, 1e-4],
                nominal: true,
                range_kn: None,
            }),
        }
    }

    /// Codes of `seconds` at rest on `level` kN, with a little ripple, so that there is a noise.
    fn rest(codes: &mut Vec<i32>, level_kn: f64, seconds: f64) {
        let level = (level_kn * 1e4) as i32;
        codes.extend((0..(seconds * RATE_HZ) as usize).map(|i| level + [0, 60, -40, 20, -60][i % 5]));
    }

    /// Codes of a second at 20 blows a second that raises tension from zero to `to_kn`.
    fn drive(codes: &mut Vec<i32>, to_kn: f64) {
        codes.extend((0..RATE_HZ as usize).map(|i| {
            let (t, since) = (i as f64 / RATE_HZ, (i % 100) as f64 / RATE_HZ);
            let ring = 4.0 * libm::exp(-since / 0.004) * libm::cos(2000.0 * since);
            ((to_kn * t + ring) * 1e4) as i32
        }));
    }

    /// What a pipeline hands over until it dies, in reads of a hundredth of a second; and what it would have
    /// said of its open run at an end in order.
    fn played(codes: &[i32]) -> (Vec<Output>, Vec<Output>) {
        let (mut stream, mut out) = (Stream::new(settings()).unwrap(), Vec::new());
        stream.piece(MonoNs(0), Piece::Range { count_min: -8_388_608, count_max: 8_388_607 }, &mut out);
        stream.piece(MonoNs(0), Piece::Rate { rate_hz: RATE_HZ, clock: Clock::Device }, &mut out);
        for (k, counts) in codes.chunks(20).enumerate() {
            let at = MonoNs(k as u64 * 10_000_000);
            stream.piece(at, Piece::Counts { counts, saturated: false }, &mut out);
            stream.after_bytes(at, &mut out);
        }
        let mut last = Vec::new();
        stream.finish(&mut last);
        (out, last)
    }

    /// The opening of a run and what was handed out of it, as a store would have them.
    fn kept(out: &[Output], run: u32) -> (Block, Vec<Block>) {
        let blocks = out.iter().filter_map(|o| if let Output::Block(b) = o { Some(b) } else { None });
        let open = blocks.clone().find(|b| matches!(b, Block::Open { run_seq, .. } if *run_seq == run));
        let raw = blocks.filter(|b| matches!(b, Block::Raw { run_seq, .. } if *run_seq == run)).cloned();
        (open.unwrap().clone(), raw.collect())
    }

    /// A whole tightening to 80 kN, and another to 50 kN that begins 0.3 s after the release and is cut off.
    fn two_in_a_row() -> Vec<i32> {
        let mut codes = Vec::new();
        rest(&mut codes, 0.0, 5.0);
        drive(&mut codes, 80.0);
        rest(&mut codes, 80.0, 0.9);
        rest(&mut codes, 0.0, 0.3);
        drive(&mut codes, 50.0);
        codes
    }

    #[test]
    fn a_cut_off_run_is_measured_and_not_the_one_before_it_in_the_same_samples() {
        let (out, _) = played(&two_in_a_row());
        let (open, raw) = kept(&out, 2);
        let Block::Open { first_sample, .. } = &open else { panic!("no opening") };
        assert!(*first_sample < 14_000, "the look-back holds the whole run before: {first_sample}");
        let result = recover(&settings(), &open, &raw).expect("a run");
        assert!(result.flags.contains(&Flag::Interrupted), "{:?}", result.flags);
        // The second tightening begins at 7.2 s; half a millisecond is a sample.
        assert!((result.record.first_blow_s - 7.2).abs() < 0.02, "{}", result.record.first_blow_s);
        assert!(result.record.peak.kn() < 60.0, "{:?}", result.record.peak);
    }
    #[test]
    fn a_run_is_recovered_to_the_last_bit_as_an_end_in_order_would_have_announced_it() {
        let codes = two_in_a_row();
        for cut_s in [0.25, 0.5, 0.8, 1.0] {
            let (mut out, last) = played(&codes[..codes.len() - ((1.0 - cut_s) * RATE_HZ) as usize]);
            let announced = last.iter().find_map(|o| match o {
                Output::Run(RunRow::Announced(run)) => Some(run.clone()),
                _ => None,
            });
            // All its codes, as if the last ones had reached the disk too.
            out.extend(last);
            let (open, raw) = kept(&out, 2);
            let recovered = recover(&settings(), &open, &raw);
            assert_eq!(recovered, announced.map(|run| *run), "cut off {cut_s} s after its beginning");
        }
    }

    #[test]
    fn the_time_of_a_run_cut_off_by_a_lost_line_is_that_of_its_first_blow() {
        let (mut stream, mut out) = (Stream::new(settings()).unwrap(), Vec::new());
        let start = 1000.0;
        let at = |s: f64| MonoNs(((start + s) * 1e9) as u64);
        stream.piece(at(0.0), Piece::Range { count_min: -8_388_608, count_max: 8_388_607 }, &mut out);
        stream.piece(at(0.0), Piece::Rate { rate_hz: RATE_HZ, clock: Clock::Device }, &mut out);
        let codes = two_in_a_row();
        for (k, counts) in codes.chunks(20).enumerate() {
            let now = at((k + 1) as f64 * 0.01);
            stream.set_now(now);
            stream.piece(now, Piece::Counts { counts, saturated: false }, &mut out);
        }
        // The line is lost; at once, or minutes later, samples come again.
        for after_s in [0.0, 200.0] {
            let now = at(codes.len() as f64 / RATE_HZ + after_s);
            stream.set_now(now);
            stream.piece(now, Piece::Break, &mut out);
            if after_s > 0.0 {
                stream.piece(now, Piece::Rate { rate_hz: RATE_HZ, clock: Clock::Device }, &mut out);
                stream.piece(now, Piece::Counts { counts: &[0; 20], saturated: false }, &mut out);
            }
            let last = out.iter().rev().find_map(|o| match o {
                Output::Run(RunRow::Announced(run)) => Some(run.record.first_blow_s),
                _ => None,
            });
            let told = stream.mono_at(last.unwrap()).expect("the time of its first blow").seconds();
            // A read holds 0.01 s.
            assert!((told - start - 7.2).abs() < 0.03, "{told}");
        }
    }

    #[test]
    fn where_the_opening_is_not_known_the_last_run_is_taken_and_left_out() {
        let (out, _) = played(&two_in_a_row());
        let (mut open, raw) = kept(&out, 2);
        if let Block::Open { opening, .. } = &mut open {
            *opening = None;
        }
        let result = recover(&settings(), &open, &raw).expect("a run");
        assert!(result.record.first_blow_s > 7.0, "{}", result.record.first_blow_s);
        assert!(result.flags.contains(&Flag::Interrupted), "{:?}", result.flags);
    }

    #[test]
    fn the_first_run_takes_an_attempt_however_the_samples_are_cut_and_changes_no_setup() {
        let attempt = Some(Attempt { trial: "t".into(), step: 3, attempt: 4 });
        let tags = InForce { setup: Some("direct".into()), attempt: attempt.clone(), ..InForce::default() };
        let mut codes = two_in_a_row();
        rest(&mut codes, 50.0, 2.0);
        for chunk in [20, 777, codes.len()] {
            let (mut stream, mut out) = (Stream::new(settings()).unwrap(), Vec::new());
            stream.command(Command::Use { in_force: tags.clone() }, &mut out);
            stream.piece(MonoNs(0), Piece::Range { count_min: -8_388_608, count_max: 8_388_607 }, &mut out);
            stream.piece(MonoNs(0), Piece::Rate { rate_hz: RATE_HZ, clock: Clock::Device }, &mut out);
            for counts in codes.chunks(chunk) {
                stream.piece(MonoNs(0), Piece::Counts { counts, saturated: false }, &mut out);
            }
            stream.finish(&mut out);
            let runs: Vec<_> = out
                .iter()
                .filter_map(|o| match o {
                    Output::Run(RunRow::Announced(run)) => Some(run),
                    _ => None,
                })
                .collect();
            let named: Vec<_> = runs.iter().map(|run| run.in_force.attempt.clone()).collect();
            assert_eq!(named, [attempt.clone(), None], "cut into pieces of {chunk}");
            assert!(runs.iter().all(|run| !run.flags.contains(&Flag::SetupChanged)), "{:?}", runs[0].flags);
            let told = out.iter().filter_map(|o| match o {
                Output::Event(Event::InForce(tags)) => Some(tags.attempt.clone()),
                _ => None,
            });
            assert_eq!(told.collect::<Vec<_>>(), [attempt.clone(), None], "whoever watches hears of it");
        }
    }
}
