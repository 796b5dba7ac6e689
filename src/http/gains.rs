//! The ratio of two groups of runs, by whether they have one gain.
//!
//! What is read by one line, or by one device whose line is not known, has one gain, which cancels. Two calibrations
//! have two: both count, or there is no ratio. How lines combine is [`boltscribe_analysis::results::uncertainty`].

use super::budgets::{figures, line};
use super::problem::Problem;
use boltscribe_analysis::results::uncertainty::{Against, KnownLine, against, against_apart};
use boltscribe_analysis::results::{DialUnit, Entry, Figure, Measure, PistonArea};
use boltscribe_store::{Reader, RunDetail};

/// What the gain of a run belongs to.
#[derive(Clone, Debug, PartialEq)]
enum Gain<'a> {
    /// A line against a reference, wherever it is used.
    Line(&'a str),
    /// A rig: its cell with a line from data sheets, if any.
    Cell { rig: &'a str, calibration: Option<&'a str> },
    /// A rig's dial, with what corrects it, if anything.
    Dial { rig: &'a str, unit: DialUnit, piston: Option<PistonArea>, correction: Option<&'a str> },
}

impl<'a> Gain<'a> {
    fn of(reader: &Reader, run: &'a RunDetail) -> Result<Self, Problem> {
        let (rig, calibration) = (run.line.rig.as_str(), run.line.calibration.as_deref());
        Ok(match (&run.result, calibration) {
            (Entry::ByHand(read), correction) => {
                let dial = &read.reading.dial;
                Self::Dial { rig, unit: dial.unit, piston: dial.piston_area, correction }
            }
            (Entry::Measured(_), Some(name)) if reader.kept_calibration(name)?.is_some() => Self::Line(name),
            (Entry::Measured(_), calibration) => Self::Cell { rig, calibration },
        })
    }

    fn words(&self) -> String {
        let by =
            |name: &Option<&str>| name.map_or("without calibration".into(), |name| format!("on '{name}'"));
        match self {
            Self::Line(name) => format!("'{name}', against a reference"),
            Self::Cell { rig, calibration } => {
                format!("rig '{rig}' {}, not against a reference", by(calibration))
            }
            Self::Dial { rig, unit, correction, .. } => {
                format!("the dial in {} of rig '{rig}' {}", unit.name(), by(correction))
            }
        }
    }
}

/// A ratio of A to B.
pub(super) struct RatioOf {
    /// The ratio.
    pub against: Against,
    /// The line of both, where they have one against a reference; of two, that of A.
    pub line: Option<KnownLine>,
    /// One gain, which cancels.
    pub one_gain: bool,
    /// The figures of A.
    pub a: Vec<Figure>,
}

/// The ratio of A to B.
///
/// # Errors
/// No such figure; figures of zero; gains that differ where not both are lines against a reference.
pub(super) fn ratio_of(
    reader: &Reader,
    a: &[RunDetail],
    b: &[RunDetail],
    measure: Measure,
    notes: &mut Vec<String>,
) -> Result<RatioOf, Problem> {
    let zero = || Problem::unprocessable("against: expected figures above 0, found none");
    let gains: Vec<Gain<'_>> =
        a.iter().chain(b).map(|run| Gain::of(reader, run)).collect::<Result<_, _>>()?;
    let (of_a, of_b) = gains.split_at(a.len());
    let slope = |line: &KnownLine| line.fit.polynomial.coefficients[1];
    if gains.windows(2).all(|two| two[0] == two[1]) {
        let all: Vec<&RunDetail> = a.iter().chain(b).collect();
        let line = line(reader, &all, notes)?;
        let kn_per_count = line.as_ref().map(slope);
        let (a, b) = (figures(a, measure, kn_per_count)?, figures(b, measure, kn_per_count)?);
        let against = against(&a, &b, line.as_ref()).ok_or_else(zero)?;
        return Ok(RatioOf { against, line, one_gain: true, a });
    }
    let one = |gains: &[Gain<'_>]| match gains {
        [Gain::Line(first), rest @ ..] if rest.iter().all(|gain| *gain == Gain::Line(first)) => {
            Some((*first).to_owned())
        }
        _ => None,
    };
    let (Some(name_a), Some(name_b)) = (one(of_a), one(of_b)) else {
        return Err(apart(&gains));
    };
    let known = |runs: &[RunDetail]| line(reader, &runs.iter().collect::<Vec<_>>(), &mut Vec::new());
    let (Some(line_a), Some(line_b)) = (known(a)?, known(b)?) else {
        return Err(apart(&gains));
    };
    let (a, b) = (figures(a, measure, Some(slope(&line_a)))?, figures(b, measure, Some(slope(&line_b)))?);
    let against = against_apart(&a, &line_a, &b, &line_b).ok_or_else(zero)?;
    notes.push(format!(
        "the runs are on '{name_a}' and the others on '{name_b}': the gain does not cancel, the lines, scatter and reference of both count"
    ));
    Ok(RatioOf { against, line: Some(line_a), one_gain: false, a })
}

/// The refusal of a ratio whose gains differ by an unknown amount.
fn apart(gains: &[Gain<'_>]) -> Problem {
    let mut words: Vec<String> = gains.iter().map(Gain::words).collect();
    words.sort_unstable();
    words.dedup();
    Problem::conflict(format!(
        "cannot take a ratio: the runs do not have one gain, so it does not cancel, and by how much their gains differ is not known: {}",
        words.join("; ")
    ))
    .hint("take runs of one rig and calibration, or each group on one calibration against a reference")
}
