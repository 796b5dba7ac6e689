//! What the command line asks for.
//!
//! Must not know how a case is played.

use crate::trace::Id;
use std::time::{SystemTime, UNIX_EPOCH};

/// Cases unless given.
const CASES: usize = 2000;

/// What is asked.
pub struct Options {
    pub seed: u64,
    pub cases: usize,
    pub family: Option<String>,
    pub list: bool,
    pub case: Option<Id>,
    /// Where the trace of that case goes.
    pub write: Option<String>,
}

impl Options {
    /// Reads the words; what was expected and found where they do not fit.
    pub fn parse(words: &[String]) -> Result<Self, String> {
        // A fresh seed each time: what is promised must not hold for one lucky set of cases only.
        let clock = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_millis() as u64);
        let mut options =
            Self { seed: clock, cases: CASES, family: None, list: false, case: None, write: None };
        let mut words = words.iter();
        while let Some(word) = words.next() {
            let mut value =
                || words.next().ok_or_else(|| format!("expected a value after {word}, found nothing"));
            match word.as_str() {
                "--list" => options.list = true,
                "--seed" => options.seed = number(value()?)?,
                "--cases" => options.cases = number(value()?)? as usize,
                "--family" => options.family = Some(family(value()?)?),
                "--write" => options.write = Some(value()?.clone()),
                "--case" => options.case = Some(Id::parse(value()?)?),
                other => {
                    return Err(format!(
                        "expected --cases N, --seed S, --family NAME, --list, --case ID or --write FILE, found '{other}'"
                    ));
                }
            }
        }
        Ok(options)
    }
}

fn number(word: &str) -> Result<u64, String> {
    word.parse().map_err(|_| format!("expected a whole number, found '{word}'"))
}

fn family(word: &str) -> Result<String, String> {
    let names = crate::trace::families();
    if names.contains(&word) {
        return Ok(word.to_owned());
    }
    Err(format!("expected one of the families {}, found '{word}'", names.join(", ")))
}
