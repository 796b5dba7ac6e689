//! One thing between the tool's anvil and the nut: socket, extension, universal joint, adapter.
//!
//! A piece is one physical thing with its own name, not a type of thing: wear is its own. Limits are
//! wide enough for anything a person can lift. This file must not know chains.

use super::drive::{Drive, End};
use super::name::{NameError, check_optional, check_text};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Longest piece, millimetres.
pub const LENGTH_MM_MAX: f64 = 3000.0;
/// Heaviest piece, grams.
pub const MASS_G_MAX: f64 = 50_000.0;

/// What a piece is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PieceKind {
    /// Sits on the nut; the last of a chain.
    Socket,
    /// Adds length.
    Extension,
    /// Bends; its pin is one contact more.
    UniversalJoint,
    /// Goes from one drive size to another.
    Adapter,
    /// Anything else that is driven and drives.
    Other,
}

impl std::fmt::Display for PieceKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Socket => "socket",
            Self::Extension => "extension",
            Self::UniversalJoint => "universal joint",
            Self::Adapter => "adapter",
            Self::Other => "piece",
        })
    }
}

/// One piece on the shelf. `drive_in` is the way in, not inches: sizes carry their unit as text.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Piece {
    /// Its name, unique on the shelf.
    pub name: String,
    /// What it is.
    pub kind: PieceKind,
    /// The end nearer to the tool.
    #[schema(value_type = String)]
    pub drive_in: Drive,
    /// The end nearer to the nut; none for a socket, which ends on the nut.
    #[serde(default)]
    #[schema(value_type = Option<String>)]
    pub drive_out: Option<Drive>,
    /// Length over all, millimetres, 0 < l <= 3,000.
    #[serde(default)]
    pub length_mm: Option<f64>,
    /// Mass, grams, 0 < m <= 50,000.
    #[serde(default)]
    pub mass_g: Option<f64>,
    /// Serial number or other mark on it.
    #[serde(default)]
    pub serial: Option<String>,
}

/// Why a piece was not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PieceError {
    /// A name or serial number.
    #[error(transparent)]
    Text(#[from] NameError),
    /// A socket with a second drive.
    #[error("socket '{name}': expected no drive out, because a socket ends on the nut, found {found}")]
    SocketDrives {
        /// The piece.
        name: String,
        /// The drive it was given.
        found: Drive,
    },
    /// Not a socket, and nothing to drive with.
    #[error("{kind} '{name}': expected a drive out, found none; only a socket ends on the nut")]
    NoDriveOut {
        /// What it is.
        kind: PieceKind,
        /// The piece.
        name: String,
    },
    /// A length or mass out of range.
    #[error("{kind} '{name}': expected {key} above 0 and at most {max}, found {found}")]
    Range {
        /// What it is.
        kind: PieceKind,
        /// The piece.
        name: String,
        /// `length_mm` or `mass_g`.
        key: &'static str,
        /// The most that is taken.
        max: f64,
        /// What was given.
        found: f64,
    },
}

impl Piece {
    /// Checks name, drives and ranges.
    ///
    /// # Errors
    /// See [`PieceError`].
    pub fn check(&self) -> Result<(), PieceError> {
        check_text("piece name", &self.name)?;
        check_optional("piece serial", self.serial.as_deref())?;
        match (self.kind, self.drive_out) {
            (PieceKind::Socket, Some(found)) => {
                return Err(PieceError::SocketDrives { name: self.name.clone(), found });
            }
            (PieceKind::Socket, None) | (_, Some(_)) => {}
            (kind, None) => {
                return Err(PieceError::NoDriveOut { kind, name: self.name.clone() });
            }
        }
        self.check_range("length_mm", self.length_mm, LENGTH_MM_MAX)?;
        self.check_range("mass_g", self.mass_g, MASS_G_MAX)
    }

    fn check_range(&self, key: &'static str, value: Option<f64>, max: f64) -> Result<(), PieceError> {
        match value {
            // The comparison is written so that NaN fails it.
            Some(found) if !(found > 0.0 && found <= max) => {
                Err(PieceError::Range { kind: self.kind, name: self.name.clone(), key, max, found })
            }
            _ => Ok(()),
        }
    }

    /// The end nearer to the tool.
    #[must_use]
    pub const fn end_in(&self) -> End {
        self.drive_in.driven_end()
    }

    /// The end nearer to the nut, where it drives another piece.
    #[must_use]
    pub fn end_out(&self) -> Option<End> {
        self.drive_out.map(Drive::driving_end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn extension() -> Piece {
        Piece {
            name: "ext 250".into(),
            kind: PieceKind::Extension,
            drive_in: Drive::Square1_2,
            drive_out: Some(Drive::Square1_2),
            length_mm: Some(250.0),
            mass_g: None,
            serial: Some("E-7".into()),
        }
    }

    #[test]
    fn a_socket_ends_on_the_nut_and_everything_else_drives() {
        assert_eq!(extension().check(), Ok(()));
        let socket = Piece { kind: PieceKind::Socket, ..extension() };
        assert_eq!(
            socket.check().unwrap_err().to_string(),
            "socket 'ext 250': expected no drive out, because a socket ends on the nut, found 1/2 in"
        );
        let blind = Piece { drive_out: None, ..extension() };
        assert_eq!(
            blind.check().unwrap_err().to_string(),
            "extension 'ext 250': expected a drive out, found none; only a socket ends on the nut"
        );
    }

    #[test]
    fn lengths_and_masses_outside_their_range_are_refused() {
        for bad in [0.0, -1.0, 3000.1, f64::NAN, f64::INFINITY] {
            let piece = Piece { length_mm: Some(bad), ..extension() };
            assert!(matches!(piece.check(), Err(PieceError::Range { key: "length_mm", .. })));
        }
        let heavy = Piece { mass_g: Some(50_001.0), ..extension() };
        assert_eq!(
            heavy.check().unwrap_err().to_string(),
            "extension 'ext 250': expected mass_g above 0 and at most 50000, found 50001"
        );
        let edge = Piece { length_mm: Some(LENGTH_MM_MAX), mass_g: Some(MASS_G_MAX), ..extension() };
        assert_eq!(edge.check(), Ok(()));
    }

    #[test]
    fn json_keys_carry_units_and_unknown_keys_are_refused() {
        let json =
            r#"{"name":"u","kind":"universal-joint","drive_in":"1/2 in","drive_out":"1/2","mass_g":310}"#;
        let piece: Piece = serde_json::from_str(json).unwrap();
        assert_eq!(piece.kind, PieceKind::UniversalJoint);
        assert_eq!(piece.mass_g, Some(310.0));
        let wrong = json.replace("mass_g", "mass");
        assert!(serde_json::from_str::<Piece>(&wrong).is_err());
    }
}
