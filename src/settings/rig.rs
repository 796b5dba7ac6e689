//! One rig: from typed keys to its line and its pipeline's settings, or to its dial, and back to the text
//! of a file.
//!
//! Keys that exclude or need one another are checked here and in `dial`; kinds and ranges were checked
//! before. This file must not know how a pipeline works.

use super::dial;
use super::problem::{Place, Problem, Text};
use super::schema::RIG;
use super::typed::{TypedCalibration, TypedRig};
use super::walk::Walk;
use boltscribe_analysis::results::Dial;
use boltscribe_model::constants::Calibration;
use boltscribe_pipeline as pipeline;
use boltscribe_signal::frames;
use boltscribe_signal::runs;
use boltscribe_signal::samples;
use config::Value;

/// Bits a second where none are given.
pub const BAUD_DEFAULT: u32 = 115_200;

/// One rig.
#[derive(Clone, Debug, PartialEq)]
pub struct Rig {
    /// Its name.
    pub name: String,
    /// How it tells tension.
    pub instrument: Instrument,
}

/// How a rig tells tension.
#[derive(Clone, Debug, PartialEq)]
pub enum Instrument {
    /// Its amplifier talks on a serial line.
    Line(Box<Line>),
    /// A person reads a dial.
    Dial(Box<Dial>),
}

/// A serial line and what listens to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Path of its port.
    pub port: String,
    /// Bits a second.
    pub baud: u32,
    /// All its pipeline needs.
    pub pipeline: pipeline::Settings,
}

impl Rig {
    /// Its line; none where a dial is read.
    #[must_use]
    pub fn line(&self) -> Option<&Line> {
        match &self.instrument {
            Instrument::Line(line) => Some(line),
            Instrument::Dial(_) => None,
        }
    }

    /// Its dial; none where it has a line.
    #[must_use]
    pub fn dial(&self) -> Option<&Dial> {
        match &self.instrument {
            Instrument::Line(_) => None,
            Instrument::Dial(dial) => Some(dial),
        }
    }

    /// Path of its port.
    #[must_use]
    pub fn port(&self) -> Option<&str> {
        self.line().map(|line| line.port.as_str())
    }

    /// The calibration of its settings: counts to tension, or reading to tension.
    #[must_use]
    pub fn calibration(&self) -> Option<&Calibration> {
        match &self.instrument {
            Instrument::Line(line) => line.pipeline.calibration.as_ref(),
            Instrument::Dial(dial) => dial.correction.as_ref(),
        }
    }

    /// Full range, kN, where known.
    #[must_use]
    pub fn range_kn(&self) -> Option<f64> {
        match &self.instrument {
            Instrument::Line(line) => line.pipeline.runs.range_kn,
            Instrument::Dial(dial) => dial.range_kn,
        }
    }
}

/// Reads the text of a rig's file; `file` names it in messages.
///
/// # Errors
/// Every mistake, each with its place.
pub fn parse_rig(file: &str, text: &str, measure: &runs::Settings) -> Result<Rig, Vec<Problem>> {
    let text = Text { name: file.to_owned(), text: text.to_owned() };
    let (values, problems) = Walk::one_table(&text, "rig", RIG);
    if !problems.is_empty() {
        return Err(problems);
    }
    let origin = text.place(0).to_string();
    let value = Value::new(Some(&origin), values);
    let typed = value.clone().try_deserialize().map_err(|error| {
        // The walk has checked every kind, so this tells of shapes that do not match the table of keys.
        vec![at(&value, "rig", error.to_string())]
    })?;
    checked(&value, typed, measure)
}

/// The text of a rig's file, such that reading it gives the same rig.
///
/// # Errors
/// The serializer's words, where a value cannot be written.
pub fn rig_text(rig: &Rig) -> Result<String, String> {
    let mut typed = match &rig.instrument {
        Instrument::Line(line) => typed_line(line),
        Instrument::Dial(dial) => dial::typed(dial),
    };
    typed.name.clone_from(&rig.name);
    typed.range_kn = rig.range_kn();
    typed.calibration = rig.calibration().map(|c| TypedCalibration {
        id: c.id.clone(),
        coefficients_kn: c.coefficients_kn.clone(),
        nominal: c.nominal,
    });
    toml::to_string(&typed).map_err(|error| error.to_string())
}

fn typed_line(line: &Line) -> TypedRig {
    let lines = match &line.pipeline.instrument {
        frames::Settings::Framed => None,
        frames::Settings::Lines(lines) => Some(lines),
    };
    let ticks = lines.filter(|lines| lines.tick_hz.is_some());
    let samples = &line.pipeline.samples;
    TypedRig {
        port: Some(line.port.clone()),
        instrument: if lines.is_some() { "lines" } else { "framed" }.to_owned(),
        baud: Some(line.baud),
        rate_hz: samples.rate_hz,
        count_min: samples.count_min,
        count_max: samples.count_max,
        pattern: lines.map(|lines| lines.pattern.clone()),
        tick_hz: ticks.and_then(|lines| lines.tick_hz),
        tick_bits: ticks.map(|lines| lines.tick_bits),
        decimals: lines.map(|lines| lines.decimals),
        ..TypedRig::default()
    }
}

/// A rig's typed keys as a checked rig; `value` holds the same keys, each with its origin.
pub(super) fn checked(value: &Value, typed: TypedRig, measure: &runs::Settings) -> Result<Rig, Vec<Problem>> {
    let mut found = if typed.instrument == "typed" {
        dial::conflicts(&typed)
    } else {
        dial::strangers(&typed).into_iter().chain(conflicts(&typed, measure)).collect()
    };
    if let Some(calibration) = &typed.calibration
        && calibration.coefficients_kn[1] == 0.0
    {
        let what = "expected a slope (the second) that is not zero, found 0";
        found.push(("calibration.coefficients_kN", what.to_owned()));
    }
    if !found.is_empty() {
        return Err(found.into_iter().map(|(key, what)| at(value, key, what)).collect());
    }
    let calibration = typed.calibration.as_ref().map(|c| Calibration {
        id: c.id.clone(),
        coefficients_kn: c.coefficients_kn.clone(),
        nominal: c.nominal,
        range_kn: typed.range_kn,
    });
    let name = typed.name.clone();
    let instrument = match (dial::dial(&typed, calibration.clone()), typed.port.clone()) {
        (Some(dial), _) => Instrument::Dial(Box::new(dial)),
        (None, Some(port)) => Instrument::Line(Box::new(line(typed, port, calibration, measure))),
        (None, None) => return Err(vec![at(value, "port", "expected text in quotes, found none".into())]),
    };
    Ok(Rig { name, instrument })
}

fn line(typed: TypedRig, port: String, calibration: Option<Calibration>, measure: &runs::Settings) -> Line {
    let defaults = frames::settings::Lines::default();
    let instrument = if typed.instrument == "framed" {
        frames::Settings::Framed
    } else {
        frames::Settings::Lines(frames::settings::Lines {
            pattern: typed.pattern.unwrap_or(defaults.pattern),
            tick_hz: typed.tick_hz,
            tick_bits: typed.tick_bits.unwrap_or(defaults.tick_bits),
            decimals: typed.decimals.unwrap_or(defaults.decimals),
        })
    };
    Line {
        port,
        baud: typed.baud.unwrap_or(BAUD_DEFAULT),
        pipeline: pipeline::Settings {
            instrument,
            samples: samples::Settings {
                rate_hz: typed.rate_hz,
                count_min: typed.count_min,
                count_max: typed.count_max,
            },
            runs: runs::Settings { range_kn: typed.range_kn, ..measure.clone() },
            calibration,
        },
    }
}

/// Keys of a line that exclude or need one another: which, and what was expected.
fn conflicts(typed: &TypedRig, measure: &runs::Settings) -> Vec<dial::Conflict> {
    let mut problems = Vec::new();
    let mut refuse = |key: &'static str, what: String| problems.push((key, what));
    let ticking = typed.pattern.as_ref().is_some_and(|pattern| pattern.contains("{tick}"));
    let given = [
        ("pattern", typed.pattern.is_some()),
        ("tick_hz", typed.tick_hz.is_some()),
        ("tick_bits", typed.tick_bits.is_some()),
        ("decimals", typed.decimals.is_some()),
    ];
    if typed.instrument == "framed" {
        for (key, _) in given.iter().filter(|(_, given)| *given) {
            refuse(key, "expected no such key with instrument = \"framed\", whose frames say it".into());
        }
    } else if ticking && typed.tick_hz.is_none() {
        refuse("pattern", "expected tick_hz beside a pattern with {tick}, found none".into());
    } else if !ticking {
        for (key, _) in given[1..3].iter().filter(|(_, given)| *given) {
            refuse(key, "expected a pattern with {tick} beside it, found none".into());
        }
    }
    match (typed.count_min, typed.count_max) {
        (Some(min), Some(max)) if min >= max => {
            refuse("count_max", format!("expected more than count_min ({min}), found {max}"));
        }
        (Some(_), None) => refuse("count_min", "expected count_max beside it, found none".into()),
        (None, Some(_)) => refuse("count_max", "expected count_min beside it, found none".into()),
        _ => {}
    }
    if let (Some(threshold), Some(range)) = (measure.start_threshold_kn, typed.range_kn)
        && threshold >= range
    {
        refuse(
            "range_kN",
            format!("expected more than measure.start_threshold_kN ({threshold}), found {range}"),
        );
    }
    problems
}

/// A problem at the place where a rig's key was set, or at the rig where it was not.
pub(super) fn at(rig: &Value, key: &str, what: String) -> Problem {
    placed(rig, "rig", key, what)
}

/// The same of any table.
pub(super) fn placed(table: &Value, name: &str, key: &str, what: String) -> Problem {
    let mut value = table.clone();
    let mut place = table.origin().map(str::to_owned);
    for part in key.split('.') {
        let Some(inner) = value.into_table().ok().and_then(|table| table.get(part).cloned()) else {
            break;
        };
        place = inner.origin().map(str::to_owned);
        value = inner;
    }
    Problem {
        place: place.map_or(Place::BuiltIn, Place::Words),
        key: Some(if key == name { key.to_owned() } else { format!("{name}.{key}") }),
        what,
    }
}
