//! Samples as ASCII lines, the way simple bridge boards print them.
//!
//! One sample a line: a number, or tick and number with a comma between. This file must not
//! know when samples are made.

use std::fmt::Write as _;
use std::str::FromStr;

/// End of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineEnding {
    /// Carriage return and line feed.
    CrLf,
    /// Line feed.
    Lf,
}

impl LineEnding {
    /// The bytes as text.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::CrLf => "\r\n",
            Self::Lf => "\n",
        }
    }
}

/// What stands in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LineFormat {
    /// Whether the tick stands before the number.
    pub tick: bool,
    /// Whether the number is in kN (three decimals, zero included) instead of counts.
    pub kilonewtons: bool,
    /// End of a line.
    pub ending: LineEnding,
}

/// A line format that cannot be read.
#[derive(Debug, thiserror::Error)]
#[error(
    "cannot read line format {found:?}: expected counts, kn, tick-counts or tick-kn, each with -lf for bare line feeds"
)]
pub struct BadFormat {
    found: String,
}

impl FromStr for LineFormat {
    type Err = BadFormat;

    fn from_str(text: &str) -> Result<Self, BadFormat> {
        let (body, ending) = match text.strip_suffix("-lf") {
            Some(body) => (body, LineEnding::Lf),
            None => (text, LineEnding::CrLf),
        };
        let (tick, kilonewtons) = match body {
            "counts" => (false, false),
            "kn" => (false, true),
            "tick-counts" => (true, false),
            "tick-kn" => (true, true),
            _ => {
                return Err(BadFormat { found: text.to_owned() });
            }
        };
        Ok(Self { tick, kilonewtons, ending })
    }
}

impl LineFormat {
    /// Prints samples that start at `tick` and are `step` ticks apart.
    #[must_use]
    pub fn print(self, tick: u32, step: u32, counts: &[i32], counts_per_kn: f64) -> Vec<u8> {
        let mut text = String::with_capacity(counts.len() * 24);
        let mut now = tick;
        for count in counts {
            // Writing into a String cannot fail.
            if self.tick {
                let _ = write!(text, "{now},");
            }
            let _ = if self.kilonewtons {
                write!(text, "{:.3}", f64::from(*count) / counts_per_kn)
            } else {
                write!(text, "{count}")
            };
            text.push_str(self.ending.text());
            now = now.wrapping_add(step);
        }
        text.into_bytes()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_holds_what_its_format_says() {
        let print = |name: &str| {
            let format: LineFormat = name.parse().unwrap();
            String::from_utf8(format.print(u32::MAX, 5, &[-12, 2500], 1000.0)).unwrap()
        };
        assert_eq!(print("counts"), "-12\r\n2500\r\n");
        assert_eq!(print("kn-lf"), "-0.012\n2.500\n");
        assert_eq!(print("tick-counts-lf"), "4294967295,-12\n4,2500\n");
        assert!("tick".parse::<LineFormat>().is_err());
    }
}
