//! Driving ends: the sizes of square drives and of hexagon shanks, and which end enters which.
//!
//! Square sizes are those of ISO 1174-1 (6.3, 10, 12.5, 20, 25 and 40 mm), named in inches as the trade
//! does. On square drives the tool carries the male square; on hexagon shanks (ISO 1173) the tool carries the
//! female chuck. This file must not know what piece an end belongs to.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// Size and form of a driving end; written as text with its unit, such as `"1/2 in"`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub enum Drive {
    /// 1/4 in square (6.3 mm).
    Square1_4,
    /// 3/8 in square (10 mm).
    Square3_8,
    /// 1/2 in square (12.5 mm).
    Square1_2,
    /// 3/4 in square (20 mm).
    Square3_4,
    /// 1 in square (25 mm).
    Square1,
    /// 1 1/2 in square (40 mm).
    Square1_1_2,
    /// 1/4 in hexagon shank (6.3 mm across flats).
    Hex1_4,
    /// 7/16 in hexagon shank (11.2 mm across flats).
    Hex7_16,
}

/// Why a text is no drive size.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "cannot read a drive size from '{0}': expected 1/4, 3/8, 1/2, 3/4, 1 or 1-1/2 in (square), or 1/4 or 7/16 in hex"
)]
pub struct DriveError(pub String);

/// Which half of a mating an end is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gender {
    /// Enters the other end.
    Male,
    /// Is entered.
    Female,
}

/// One end of a tool or piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct End {
    /// Size and form.
    pub drive: Drive,
    /// Which half.
    pub gender: Gender,
}

impl Drive {
    /// All sizes, squares first, each kind ascending.
    pub const ALL: &'static [Self] = &[
        Self::Square1_4,
        Self::Square3_8,
        Self::Square1_2,
        Self::Square3_4,
        Self::Square1,
        Self::Square1_1_2,
        Self::Hex1_4,
        Self::Hex7_16,
    ];

    /// The name in inches, without the word for a hexagon.
    const fn inches(self) -> &'static str {
        match self {
            Self::Square1_4 | Self::Hex1_4 => "1/4",
            Self::Square3_8 => "3/8",
            Self::Square1_2 => "1/2",
            Self::Square3_4 => "3/4",
            Self::Square1 => "1",
            Self::Square1_1_2 => "1-1/2",
            Self::Hex7_16 => "7/16",
        }
    }

    /// The metric size by which the same end is sold, millimetres across flats, as text.
    const fn millimetres(self) -> &'static str {
        match self {
            Self::Square1_4 | Self::Hex1_4 => "6.3",
            Self::Square3_8 => "10",
            Self::Square1_2 => "12.5",
            Self::Square3_4 => "20",
            Self::Square1 => "25",
            Self::Square1_1_2 => "40",
            Self::Hex7_16 => "11.2",
        }
    }

    /// True for a hexagon shank.
    #[must_use]
    pub const fn is_hex(self) -> bool {
        matches!(self, Self::Hex1_4 | Self::Hex7_16)
    }

    /// The end by which this drive is driven: a socket's female square, a bit's male hexagon.
    #[must_use]
    pub const fn driven_end(self) -> End {
        let gender = if self.is_hex() { Gender::Male } else { Gender::Female };
        End { drive: self, gender }
    }

    /// The end that drives: an anvil's male square, a chuck's female hexagon.
    #[must_use]
    pub const fn driving_end(self) -> End {
        let gender = if self.is_hex() { Gender::Female } else { Gender::Male };
        End { drive: self, gender }
    }
}

impl fmt::Display for Drive {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let hex = if self.is_hex() { " hex" } else { "" };
        write!(f, "{} in{hex}", self.inches())
    }
}

impl From<Drive> for String {
    fn from(drive: Drive) -> Self {
        drive.to_string()
    }
}

impl TryFrom<String> for Drive {
    type Error = DriveError;
    fn try_from(text: String) -> Result<Self, DriveError> {
        text.parse()
    }
}

impl FromStr for Drive {
    type Err = DriveError;

    /// Reads `1/2`, `1/2 in`, `1/2"`, `1-1/2`, `1 1/2 in`, `12.5 mm`, each with `hex` or `square` after it.
    /// A bare number without unit is inches, as the trade says it.
    fn from_str(text: &str) -> Result<Self, DriveError> {
        let refused = || DriveError(text.to_owned());
        let mut rest = text.trim().to_ascii_lowercase();
        let hex = strip_word(&mut rest, &["hex"]);
        if !hex {
            strip_word(&mut rest, &["square", "sq"]);
        }
        let metric = strip_word(&mut rest, &["mm"]);
        if !metric {
            strip_word(&mut rest, &["inch", "in", "\""]);
        }
        let size = rest.replace("1 1/2", "1-1/2");
        Self::ALL
            .iter()
            .copied()
            .find(|drive| {
                let name = if metric { drive.millimetres() } else { drive.inches() };
                drive.is_hex() == hex && name == size
            })
            .ok_or_else(refused)
    }
}

/// Takes one of the words, and blanks before it, from the end of `rest`.
fn strip_word(rest: &mut String, words: &[&str]) -> bool {
    for word in words {
        if let Some(head) = rest.strip_suffix(word) {
            *rest = head.trim_end().to_owned();
            return true;
        }
    }
    false
}

impl End {
    /// True where this end and `other` make one mating: same size and form, one male, one female.
    #[must_use]
    pub fn mates(self, other: Self) -> bool {
        self.drive == other.drive && self.gender != other.gender
    }
}

impl fmt::Display for End {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let gender = match self.gender {
            Gender::Male => "male",
            Gender::Female => "female",
        };
        let form = if self.drive.is_hex() { "" } else { " square" };
        write!(f, "{gender} {}{form}", self.drive)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_size_reads_back_from_its_own_name() {
        for &drive in Drive::ALL {
            assert_eq!(drive.to_string().parse(), Ok(drive));
            let json = serde_json::to_string(&drive).unwrap();
            assert_eq!(serde_json::from_str::<Drive>(&json).unwrap(), drive);
        }
        assert_eq!(serde_json::to_string(&Drive::Square1_2).unwrap(), "\"1/2 in\"");
    }

    #[test]
    fn the_ways_people_write_a_size_are_read() {
        for (text, drive) in [
            ("1/2", Drive::Square1_2),
            (" 1/2 in ", Drive::Square1_2),
            ("1/2\"", Drive::Square1_2),
            ("1/2in square", Drive::Square1_2),
            ("12.5 mm", Drive::Square1_2),
            ("1", Drive::Square1),
            ("25mm", Drive::Square1),
            ("1-1/2", Drive::Square1_1_2),
            ("1 1/2 inch", Drive::Square1_1_2),
            ("40 mm sq", Drive::Square1_1_2),
            ("6.3 mm", Drive::Square1_4),
            ("10 mm", Drive::Square3_8),
            ("20 mm", Drive::Square3_4),
            ("1/4 in HEX", Drive::Hex1_4),
            ("7/16 hex", Drive::Hex7_16),
        ] {
            assert_eq!(text.parse(), Ok(drive), "{text}");
        }
    }

    #[test]
    fn a_size_that_does_not_exist_is_refused_with_what_was_expected() {
        for text in ["", "in", "5/16", "12.5", "1/2 mm", "1/2 hex", "0.5", "half", "7/16", "-1/2"] {
            assert!(text.parse::<Drive>().is_err(), "{text}");
        }
        assert_eq!(
            "5/16".parse::<Drive>().unwrap_err().to_string(),
            "cannot read a drive size from '5/16': expected 1/4, 3/8, 1/2, 3/4, 1 or 1-1/2 in (square), \
             or 1/4 or 7/16 in hex"
        );
    }

    #[test]
    fn only_a_male_and_a_female_end_of_one_size_mate() {
        for &a in Drive::ALL {
            for &b in Drive::ALL {
                assert_eq!(a.driving_end().mates(b.driven_end()), a == b);
                assert!(!a.driving_end().mates(b.driving_end()));
            }
        }
        assert_eq!(Drive::Square3_8.driving_end().to_string(), "male 3/8 in square");
        assert_eq!(Drive::Hex1_4.driving_end().to_string(), "female 1/4 in hex");
    }
}
