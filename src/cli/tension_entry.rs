//! A tension typed by a person, with the one question a psi dial raises.
//!
//! Many dials are marked psi. Some of them are scaled in force, some show the oil pressure under a
//! piston; the figure alone does not say. On a terminal the operator is asked; elsewhere the error
//! names the options that answer. Units and factors belong to `boltscribe_model::units`.

use super::error::CliError;
use super::output::say;
use boltscribe_model::units::{EntryError, Newtons, PsiDial, parse_tension};
use clap::ValueEnum;
use std::io::{BufRead, IsTerminal, Write};

/// What a dial marked psi reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum PsiIs {
    /// The dial is scaled in force: its figures are lbf.
    Force,
    /// The dial shows oil pressure; give the piston area.
    Oil,
}

/// Options that answer the question beforehand.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct PsiArgs {
    /// What a dial marked psi reads: force (then it is lbf) or oil pressure.
    #[arg(long, value_enum)]
    pub psi_is: Option<PsiIs>,
    /// Piston area in square inches, for oil pressure.
    #[arg(long, value_name = "IN2", value_parser = positive)]
    pub piston_area_in2: Option<f64>,
}

const HINT: &str = "give `--psi-is force`, or `--psi-is oil --piston-area-in2 AREA`";

impl PsiArgs {
    /// The dial as given by options; none: not told.
    fn dial(&self) -> Result<Option<PsiDial>, CliError> {
        match (self.psi_is, self.piston_area_in2) {
            (None, None) => Ok(None),
            (Some(PsiIs::Force), None) => Ok(Some(PsiDial::Force)),
            (Some(PsiIs::Oil), Some(piston_area_in2)) => Ok(Some(PsiDial::OilPressure { piston_area_in2 })),
            (Some(PsiIs::Oil), None) => Err(CliError::usage_with(
                "a dial of oil pressure needs the piston area, expected --piston-area-in2, found none",
                HINT,
            )),
            (_, Some(area)) => Err(CliError::usage_with(
                format!(
                    "a piston area of {area} in² belongs to a dial of oil pressure, expected --psi-is oil"
                ),
                HINT,
            )),
        }
    }
}

/// Reads a typed tension; asks what psi means only where a person can answer.
///
/// # Errors
/// No number, unknown unit, not above zero, or psi that nobody explained.
pub fn read(entry: &str, psi: &PsiArgs) -> Result<Newtons, CliError> {
    let stdin = std::io::stdin();
    let can_ask = stdin.is_terminal() && std::io::stderr().is_terminal();
    read_asking(entry, psi, can_ask.then(|| stdin.lock()))
}

fn read_asking(entry: &str, psi: &PsiArgs, person: Option<impl BufRead>) -> Result<Newtons, CliError> {
    let dial = psi.dial()?;
    let tension = match (parse_tension(entry, dial), person) {
        (Err(EntryError::WhichPsi(_)), Some(person)) => parse_tension(entry, Some(ask(person)?)),
        (answer, _) => answer,
    };
    let tension = tension.map_err(|error| match &error {
        EntryError::WhichPsi(_) => CliError::usage_with(error.to_string(), HINT),
        _ => CliError::usage(error.to_string()),
    })?;
    if tension.get().is_finite() && tension.get() > 0.0 {
        Ok(tension)
    } else {
        Err(CliError::usage(format!("cannot take '{entry}' as a tension: expected a figure above zero")))
    }
}

fn ask(mut person: impl BufRead) -> Result<PsiDial, CliError> {
    say(
        "the dial is marked psi. Are its figures a force (then they are lbf), or oil pressure under a piston?",
    );
    match question(&mut person, "force or oil? ")?.as_str() {
        "force" | "f" => Ok(PsiDial::Force),
        "oil" | "o" => {
            let area = question(&mut person, "piston area in square inches? ")?;
            let piston_area_in2 = positive(&area).map_err(CliError::usage)?;
            Ok(PsiDial::OilPressure { piston_area_in2 })
        }
        other => Err(CliError::usage_with(
            format!("cannot tell what the dial reads: expected 'force' or 'oil', found '{other}'"),
            HINT,
        )),
    }
}

fn question(person: &mut impl BufRead, prompt: &str) -> Result<String, CliError> {
    let mut err = std::io::stderr().lock();
    let _ = write!(err, "{prompt}").and_then(|()| err.flush());
    let mut line = String::new();
    person.read_line(&mut line).map_err(|source| CliError::File {
        tried: "read the answer from",
        path: "standard input".into(),
        source,
    })?;
    Ok(line.trim().to_lowercase())
}

/// A finite number above zero.
///
/// # Errors
/// In words, for clap.
pub fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() && value > 0.0 => Ok(value),
        _ => Err(format!("expected a number above zero, found '{text}'")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn nobody() -> Option<&'static [u8]> {
        None
    }

    #[test]
    fn psi_without_a_person_or_an_option_is_refused_with_what_to_type() {
        let error = read_asking("2500 psi", &PsiArgs::default(), nobody()).unwrap_err();
        assert_eq!(super::super::hints::hint(&error).unwrap(), HINT);
        assert_eq!(super::super::hints::exit_code(&error), 2);
    }

    #[test]
    fn a_person_is_asked_and_the_piston_area_counts() {
        let psi = PsiArgs::default();
        let force = read_asking("2500 psi", &psi, Some(&b"force\n"[..])).unwrap();
        assert_eq!(force, Newtons::from_lbf(2500.0));
        let oil = read_asking("2500 psi", &psi, Some(&b"Oil\n4\n"[..])).unwrap();
        assert_eq!(oil, Newtons::from_lbf(10_000.0));
        assert!(read_asking("2500 psi", &psi, Some(&b"what\n"[..])).is_err());
        assert!(read_asking("2500 psi", &psi, Some(&b"oil\n-4\n"[..])).is_err());
    }

    #[test]
    fn options_that_contradict_each_other_are_refused() {
        let force = PsiArgs { psi_is: Some(PsiIs::Force), piston_area_in2: Some(4.0) };
        assert!(read_asking("2500 psi", &force, nobody()).is_err());
        let oil = PsiArgs { psi_is: Some(PsiIs::Oil), piston_area_in2: None };
        assert!(read_asking("2500 psi", &oil, nobody()).is_err());
    }

    #[test]
    fn a_tension_in_force_units_needs_no_question() {
        assert_eq!(read_asking("120 kN", &PsiArgs::default(), nobody()).unwrap(), Newtons::from_kn(120.0));
        assert!(read_asking("-1 kN", &PsiArgs::default(), nobody()).is_err());
        assert!(read_asking("0 lbf", &PsiArgs::default(), nobody()).is_err());
    }
}
