//! Measures a stored run again from its raw codes: with the measuring code of this program and, where asked,
//! another calibration, other measuring settings or other figures of the test bolt.
//!
//! Unchanged code and constants give the same record to the last bit: the result carries what it was measured
//! from. Must not know where runs are stored, nor what the time is.

use super::messages::Block;
use super::recover::runs_in;
use boltscribe_analysis::results::result::Context;
use boltscribe_analysis::results::{Flag, RunResult};
use boltscribe_model::constants::{Calibration, CalibrationError};
use boltscribe_model::control::BoltInForce;
use boltscribe_model::units::Newtons;
use boltscribe_signal::runs::kept::Kept;
use boltscribe_signal::runs::measure::{Outcome, measure};
use boltscribe_signal::runs::{Basis, Finder, Record, Settings};
use boltscribe_signal::tension::Converter;

/// What a run is measured again with.
#[derive(Clone, Debug, PartialEq)]
pub struct With {
    /// How runs are measured.
    pub settings: Settings,
    /// The line it was announced with, where that is known.
    pub before: Option<Calibration>,
    /// The line to use now.
    pub calibration: Calibration,
    /// Figures of the test bolt; none: those the run carries.
    pub bolt: Option<BoltInForce>,
}

/// Why a run cannot be measured again.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AgainError {
    /// Nothing is stored of its samples.
    #[error("expected its samples, found none")]
    NoSamples,
    /// Samples lack between two blocks.
    #[error("expected its samples to go on at {expected}, found {found}")]
    Hole {
        /// Number of the sample that lacks.
        expected: u64,
        /// Number of the one that is there.
        found: u64,
    },
    /// They do not reach as far as those it was measured from.
    #[error("expected its samples to reach {expected}, found them to end at {found}")]
    CutOff {
        /// First sample behind those needed.
        expected: u64,
        /// First sample behind those stored.
        found: u64,
    },
    /// The measuring code of this program sees no run in them.
    #[error("expected a run in its samples, found none by the present measuring")]
    NoRun,
    /// The line cannot be used.
    #[error(transparent)]
    Calibration(#[from] CalibrationError),
}

/// Measures a run again from its raw codes, in order.
///
/// # Errors
/// No samples, a hole between them, or no run in them; a calibration that cannot be used.
pub fn again(stored: &RunResult, raw: &[Block], with: &With) -> Result<RunResult, AgainError> {
    let codes = Codes::join(raw, stored.record.first_sample)?;
    let mut converter = Converter::new(&with.calibration)?;
    let record = match stored.basis {
        Some(basis) => {
            if let Some((count_min, count_max)) = basis.range {
                converter.set_range(count_min, count_max);
            }
            let rig_zero = basis.rig_zero.and_then(|zero| carried_over(zero, with));
            let basis = Basis { rig_zero, ..basis };
            codes.measure(&stored.record, &basis, &converter, &with.settings)?
        }
        None => found_anew(stored, raw, &converter, with)?.0,
    };
    let mut in_force = stored.in_force.clone();
    if let Some(bolt) = &with.bolt {
        in_force.bolt = Some(bolt.clone());
    }
    let context = Context {
        in_force,
        setup_changed: stored.flags.contains(&Flag::SetupChanged),
        calibration: with.calibration.id.clone(),
        nominal: with.calibration.nominal,
    };
    let mut result = RunResult::new(stored.run_seq, record, context);
    result.flags.extend(stored.flags.iter().filter(|flag| of_that_time(**flag)));
    result.flags.sort_unstable();
    result.flags.dedup();
    // As it was known at that time, in the terms of that time's line.
    result.basis = stored.basis;
    Ok(result)
}

/// Flags that tell of the moment of the run, which no sample shows.
const fn of_that_time(flag: Flag) -> bool {
    match flag {
        Flag::Cold
        | Flag::Expired
        | Flag::BoltDue
        | Flag::ByHand
        | Flag::ClockSuspect
        | Flag::DeviceClock => true,
        Flag::Clipped
        | Flag::Gap
        | Flag::Spike
        | Flag::Short
        | Flag::Unsettled
        | Flag::RePulled
        | Flag::BlowsWeak
        | Flag::BlowsUnsure
        | Flag::StartUnsure
        | Flag::EndEstimated
        | Flag::EndUnsure
        | Flag::PeakUnsure
        | Flag::ZeroShift
        | Flag::Seated
        | Flag::Interrupted
        | Flag::OverLimit
        | Flag::NoLimit
        | Flag::Untagged
        | Flag::NoTool
        | Flag::SetupChanged
        | Flag::Nominal
        | Flag::NotFresh => false,
    }
}

/// A zero in the terms of another line: that of the code which gave it. None where there is no such code.
fn carried_over(zero: Newtons, with: &With) -> Option<Newtons> {
    let before = with.before.as_ref()?;
    if before.coefficients_kn == with.calibration.coefficients_kn {
        return Some(zero);
    }
    let horner = |line: &[f64], x: f64| line.iter().rev().fold(0.0, |sum, c| sum * x + c);
    let line = &before.coefficients_kn;
    let slope: Vec<f64> = line.iter().enumerate().skip(1).map(|(n, c)| n as f64 * c).collect();
    let mut code = (zero.kn() - line[0]) / line[1];
    // Newton's method; a calibration's curve is nearly a line, so few steps are plenty.
    for _ in 0..50 {
        code -= (horner(line, code) - zero.kn()) / horner(&slope, code);
    }
    let close = (horner(line, code) - zero.kn()).abs() <= 1e-9 * zero.kn().abs().max(1.0);
    (code.is_finite() && close).then(|| Newtons::from_kn(horner(&with.calibration.coefficients_kn, code)))
}

/// A run of a program that did not keep what it measured from: the finder looks for it once more.
fn found_anew(
    stored: &RunResult,
    raw: &[Block],
    converter: &Converter,
    with: &With,
) -> Result<(Record, Basis), AgainError> {
    let record = &stored.record;
    let mut finder = Finder::new(
        with.settings.clone(),
        record.rate_hz,
        record.timing,
        record.first_sample,
        stored.run_seq.saturating_sub(1),
    );
    let zero = Newtons(record.zero.get() - record.zero_shift.get());
    if let Some(zero) = carried_over(zero, with) {
        finder.set_rig_zero(zero);
    }
    // Its samples may begin inside the run before; which one it is shows by where it began.
    let away = |found: &Record| (found.first_blow_s - record.first_blow_s).abs();
    runs_in(finder, converter, raw)
        .into_iter()
        .min_by(|a, b| away(&a.0).total_cmp(&away(&b.0)))
        .ok_or(AgainError::NoRun)
}

/// The codes of one run, joined.
struct Codes {
    counts: Vec<i32>,
    missing: Vec<(usize, usize)>,
}

impl Codes {
    fn join(raw: &[Block], first_sample: u64) -> Result<Self, AgainError> {
        let (mut counts, mut missing) = (Vec::new(), Vec::<(usize, usize)>::new());
        for block in raw {
            let Block::Raw { first_sample: found, counts: more, missing: lacking, .. } = block else {
                continue;
            };
            let expected = first_sample + counts.len() as u64;
            if *found != expected {
                return Err(AgainError::Hole { expected, found: *found });
            }
            let shift = counts.len();
            for (at, n) in lacking.iter().map(|(at, n)| (shift + *at as usize, *n as usize)) {
                match missing.last_mut() {
                    // A gap that was cut by the end of a block is one gap.
                    Some((start, many)) if at == shift && *start + *many == at => *many += n,
                    _ => missing.push((at, n)),
                }
            }
            counts.extend_from_slice(more);
        }
        if counts.is_empty() {
            return Err(AgainError::NoSamples);
        }
        Ok(Self { counts, missing })
    }

    fn measure(
        &self,
        record: &Record,
        basis: &Basis,
        converter: &Converter,
        settings: &Settings,
    ) -> Result<Record, AgainError> {
        let first = record.first_sample;
        let (end, until) = (first + self.counts.len() as u64, basis.until);
        if end < until {
            return Err(AgainError::CutOff { expected: until, found: end });
        }
        let (mut tension, mut clipped) = (Vec::new(), Vec::new());
        converter.convert(&self.counts, &mut tension, &mut clipped);
        // Filled places stand for no reading.
        clipped.retain(|o| !self.missing.iter().any(|(at, n)| (*at..at + n).contains(o)));
        let offset = |sample: u64| sample.saturating_sub(first) as usize;
        let up_to = |until: usize, ended: bool| {
            let missing: Vec<(usize, usize)> =
                self.missing.iter().copied().filter(|(at, _)| *at < until).collect();
            let clipped: Vec<usize> = clipped.iter().copied().filter(|o| *o < until).collect();
            let kept = Kept {
                samples: &tension[..until],
                first_sample: first,
                rate_hz: record.rate_hz,
                crossing: offset(basis.crossing).min(until),
                idle_from: offset(basis.idle_from),
                missing: &missing,
                clipped: &clipped,
                timing: record.timing,
                rig_zero: basis.rig_zero,
                ended,
                interrupted: basis.interrupted,
            };
            measure(&kept, settings)
        };
        // Another measuring may want more samples than the one of that time had: all that were kept.
        for (until, ended) in [(offset(until), basis.ended), (self.counts.len(), true)] {
            if let Outcome::Done(record) = up_to(until, ended) {
                return Ok(*record);
            }
        }
        Err(AgainError::NoRun)
    }
}
