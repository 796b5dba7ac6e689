//! Setups: ordered chains of pieces from the tool's anvil to the nut, and whether they fit.
//!
//! A contact is a mating between the anvil and the socket's drive: a socket alone has 1, each further
//! piece adds 1, a universal joint's pin adds 1 more; the socket on the nut is not counted. What a contact
//! costs is found by measuring, not known here.

use super::drive::End;
use super::name::{NameError, check_text};
use super::piece::{Piece, PieceError, PieceKind};
use super::tool::Tool;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Most pieces of a chain.
pub const CHAIN_PIECES_MAX: usize = 16;

/// A setup: names of pieces in order from tool to nut.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Chain {
    /// Its name, unique among setups.
    pub name: String,
    /// Names of pieces, tool side first; 1 to 16.
    pub pieces: Vec<String>,
}

/// What is known of a chain that fits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fitted {
    /// Matings from the anvil to the socket's drive, plus one for each universal joint's pin.
    pub contacts: u32,
    /// Sum of the lengths, millimetres; none where a piece has none.
    pub length_mm: Option<f64>,
    /// Sum of the masses, grams; none where a piece has none.
    pub mass_g: Option<f64>,
}

/// Why a chain does not fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// The setup's name.
    #[error(transparent)]
    Name(#[from] NameError),
    /// No piece at all, or too many.
    #[error("setup '{setup}': expected 1 to 16 pieces, found {found}")]
    Count {
        /// The setup.
        setup: String,
        /// How many pieces it names.
        found: usize,
    },
    /// A piece that is not on the shelf.
    #[error("setup '{setup}': expected pieces on the shelf, found no piece '{piece}'")]
    Unknown {
        /// The setup.
        setup: String,
        /// The name that was looked for.
        piece: String,
    },
    /// A piece that fails its own check.
    #[error("setup '{setup}': {why}")]
    Piece {
        /// The setup.
        setup: String,
        /// What is wrong with the piece.
        why: PieceError,
    },
    /// One physical piece at two places.
    #[error(
        "setup '{setup}': expected each piece once, because a piece is one physical thing, found '{piece}' at places {first} and {second}"
    )]
    Twice {
        /// The setup.
        setup: String,
        /// The piece.
        piece: String,
        /// First place, counted from 1.
        first: usize,
        /// Second place, counted from 1.
        second: usize,
    },
    /// A socket before the end.
    #[error(
        "setup '{setup}': expected a socket only as the last piece, found socket '{piece}' at place {place} of {of}"
    )]
    SocketInside {
        /// The setup.
        setup: String,
        /// The socket.
        piece: String,
        /// Its place, counted from 1.
        place: usize,
        /// Number of pieces.
        of: usize,
    },
    /// Nothing sits on the nut.
    #[error("setup '{setup}': expected a socket as the last piece, found {kind} '{piece}'")]
    NoSocket {
        /// The setup.
        setup: String,
        /// What the last piece is.
        kind: PieceKind,
        /// The last piece.
        piece: String,
    },
    /// Two ends that do not mate.
    #[error("setup '{setup}': {before} does not drive {after}: expected {expected}, found {found}")]
    Mismatch {
        /// The setup.
        setup: String,
        /// The piece (or tool) nearer to the tool, in words.
        before: String,
        /// The piece nearer to the nut, in words.
        after: String,
        /// The end that would drive it.
        expected: End,
        /// The end that is there.
        found: End,
    },
}

impl FitError {
    /// Advice for the operator, where there is any.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            Self::Mismatch { expected, found, .. } => {
                Some(format!("put an adapter from {} to {} between them", found.drive, expected.drive))
            }
            Self::NoSocket { .. } => Some("add the socket that sits on the nut".to_owned()),
            Self::Unknown { .. } => Some("put the piece on the shelf first, or correct its name".to_owned()),
            _ => None,
        }
    }
}

/// Checks that a chain fits together, and on the tool where one is given.
///
/// `shelf` gives the piece of a name. Without a tool the first piece may have any drive.
///
/// # Errors
/// See [`FitError`]; the first fault from tool to nut is told.
pub fn fit<'a>(
    chain: &Chain,
    shelf: impl Fn(&str) -> Option<&'a Piece>,
    tool: Option<&Tool>,
) -> Result<Fitted, FitError> {
    let pieces = take(chain, shelf)?;
    let mut driving = tool.map(|tool| (format!("tool '{}'", tool.name), tool.end_out()));
    for piece in &pieces {
        let words = format!("{} '{}'", piece.kind, piece.name);
        if let Some((before, found)) = driving
            && !found.mates(piece.end_in())
        {
            return Err(FitError::Mismatch {
                setup: chain.name.clone(),
                before,
                after: words,
                expected: piece.drive_in.driving_end(),
                found,
            });
        }
        driving = piece.end_out().map(|end| (words, end));
    }
    let joints = pieces.iter().filter(|piece| piece.kind == PieceKind::UniversalJoint).count();
    Ok(Fitted {
        // At most 2 × CHAIN_PIECES_MAX.
        contacts: (pieces.len() + joints) as u32,
        length_mm: pieces.iter().map(|piece| piece.length_mm).sum(),
        mass_g: pieces.iter().map(|piece| piece.mass_g).sum(),
    })
}

/// Takes the pieces of a chain from the shelf, each once, the socket last.
fn take<'a>(chain: &Chain, shelf: impl Fn(&str) -> Option<&'a Piece>) -> Result<Vec<&'a Piece>, FitError> {
    let setup = || chain.name.clone();
    check_text("setup name", &chain.name)?;
    let of = chain.pieces.len();
    if !(1..=CHAIN_PIECES_MAX).contains(&of) {
        return Err(FitError::Count { setup: setup(), found: of });
    }
    let mut pieces = Vec::with_capacity(of);
    for (index, name) in chain.pieces.iter().enumerate() {
        if let Some(first) = chain.pieces[..index].iter().position(|other| other == name) {
            return Err(FitError::Twice {
                setup: setup(),
                piece: name.clone(),
                first: first + 1,
                second: index + 1,
            });
        }
        let piece = shelf(name).ok_or_else(|| FitError::Unknown { setup: setup(), piece: name.clone() })?;
        piece.check().map_err(|why| FitError::Piece { setup: setup(), why })?;
        let last = index + 1 == of;
        match (piece.kind, last) {
            (PieceKind::Socket, false) => {
                return Err(FitError::SocketInside {
                    setup: setup(),
                    piece: name.clone(),
                    place: index + 1,
                    of,
                });
            }
            (PieceKind::Socket, true) | (_, false) => pieces.push(piece),
            (kind, true) => {
                return Err(FitError::NoSocket { setup: setup(), kind, piece: name.clone() });
            }
        }
    }
    Ok(pieces)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setups::drive::Drive;
    use crate::setups::source::SourceKind;
    use proptest::prelude::*;
    use std::collections::HashMap;

    fn piece(name: &str, kind: PieceKind, drive_in: Drive, drive_out: Option<Drive>) -> Piece {
        Piece {
            name: name.into(),
            kind,
            drive_in,
            drive_out,
            length_mm: Some(50.0),
            mass_g: None,
            serial: None,
        }
    }

    fn shelf() -> HashMap<String, Piece> {
        use Drive::{Square1_2, Square3_4, Square3_8};
        use PieceKind::{Adapter, Extension, Other, Socket, UniversalJoint};
        [
            piece("socket 30", Socket, Square1_2, None),
            piece("ext 125", Extension, Square1_2, Some(Square1_2)),
            piece("ext 250", Extension, Square1_2, Some(Square1_2)),
            piece("ext 3/8", Extension, Square3_8, Some(Square3_8)),
            piece("joint", UniversalJoint, Square1_2, Some(Square1_2)),
            piece("3/8 to 1/2", Adapter, Square3_8, Some(Square1_2)),
            piece("3/4 to 1/2", Adapter, Square3_4, Some(Square1_2)),
            piece("blind", Other, Square1_2, None),
        ]
        .into_iter()
        .map(|piece| (piece.name.clone(), piece))
        .collect()
    }

    fn chain(pieces: &[&str]) -> Chain {
        Chain { name: "S".into(), pieces: pieces.iter().map(|&p| p.to_owned()).collect() }
    }

    fn fit_of(pieces: &[&str], tool: Option<&Tool>) -> Result<Fitted, FitError> {
        let shelf = shelf();
        fit(&chain(pieces), |name| shelf.get(name), tool)
    }

    fn contacts(pieces: &[&str]) -> u32 {
        fit_of(pieces, None).unwrap().contacts
    }

    fn tool(anvil: Drive) -> Tool {
        Tool { name: "T".into(), anvil, source: SourceKind::Air, serial: None, class: None }
    }

    #[test]
    fn a_socket_alone_has_one_contact_and_each_piece_adds_its_own() {
        assert_eq!(contacts(&["socket 30"]), 1);
        assert_eq!(contacts(&["ext 125", "socket 30"]), 2);
        assert_eq!(contacts(&["ext 125", "ext 250", "socket 30"]), 3);
        assert_eq!(contacts(&["joint", "socket 30"]), 3);
        assert_eq!(contacts(&["ext 3/8", "3/8 to 1/2", "joint", "socket 30"]), 5);
    }

    #[test]
    fn a_three_eighths_square_does_not_enter_a_half_inch_socket() {
        let error = fit_of(&["ext 3/8", "socket 30"], None).unwrap_err();
        assert_eq!(
            error.to_string(),
            "setup 'S': extension 'ext 3/8' does not drive socket 'socket 30': expected male 1/2 in square, \
             found male 3/8 in square"
        );
        assert_eq!(error.hint().as_deref(), Some("put an adapter from 3/8 in to 1/2 in between them"));
    }

    #[test]
    fn the_anvil_must_enter_the_first_piece() {
        assert!(fit_of(&["socket 30"], Some(&tool(Drive::Square1_2))).is_ok());
        let error = fit_of(&["socket 30"], Some(&tool(Drive::Square3_4))).unwrap_err();
        assert_eq!(
            error.to_string(),
            "setup 'S': tool 'T' does not drive socket 'socket 30': expected male 1/2 in square, \
             found male 3/4 in square"
        );
        assert!(fit_of(&["3/4 to 1/2", "socket 30"], Some(&tool(Drive::Square3_4))).is_ok());
    }

    #[test]
    fn the_socket_is_last_and_only_last() {
        assert_eq!(
            fit_of(&["socket 30", "ext 125"], None).unwrap_err().to_string(),
            "setup 'S': expected a socket only as the last piece, found socket 'socket 30' at place 1 of 2"
        );
        assert_eq!(
            fit_of(&["ext 125"], None).unwrap_err().to_string(),
            "setup 'S': expected a socket as the last piece, found extension 'ext 125'"
        );
        assert!(matches!(fit_of(&[], None), Err(FitError::Count { found: 0, .. })));
        let many = vec!["ext 125"; 17];
        assert!(matches!(fit_of(&many, None), Err(FitError::Count { found: 17, .. })));
    }

    #[test]
    fn one_piece_cannot_stand_at_two_places() {
        assert_eq!(
            fit_of(&["ext 125", "joint", "ext 125", "socket 30"], None).unwrap_err().to_string(),
            "setup 'S': expected each piece once, because a piece is one physical thing, found 'ext 125' at \
             places 1 and 3"
        );
    }

    #[test]
    fn a_piece_that_is_unknown_or_broken_is_named() {
        let error = fit_of(&["ext 126", "socket 30"], None).unwrap_err();
        assert_eq!(error.to_string(), "setup 'S': expected pieces on the shelf, found no piece 'ext 126'");
        assert!(matches!(
            fit_of(&["blind", "socket 30"], None),
            Err(FitError::Piece { why: PieceError::NoDriveOut { .. }, .. })
        ));
    }

    #[test]
    fn a_sum_with_an_unknown_part_is_unknown() {
        let fitted = fit_of(&["ext 125", "socket 30"], None).unwrap();
        assert_eq!(fitted.length_mm, Some(100.0));
        assert_eq!(fitted.mass_g, None);
    }

    /// Kinds and output drives of 0 to 15 pieces before the socket, and the anvil.
    fn any_chain() -> impl Strategy<Value = (Drive, Vec<(PieceKind, Drive)>)> {
        let drive = prop::sample::select(Drive::ALL);
        let kind = prop::sample::select(vec![
            PieceKind::Extension,
            PieceKind::UniversalJoint,
            PieceKind::Adapter,
            PieceKind::Other,
        ]);
        (drive.clone(), prop::collection::vec((kind, drive), 0..16))
    }

    fn build(anvil: Drive, inner: &[(PieceKind, Drive)]) -> Vec<Piece> {
        let mut drive = anvil;
        let mut pieces = Vec::new();
        for (index, &(kind, out)) in inner.iter().enumerate() {
            pieces.push(piece(&format!("p{index}"), kind, drive, Some(out)));
            drive = out;
        }
        pieces.push(piece("socket", PieceKind::Socket, drive, None));
        pieces
    }

    proptest! {
        #[test]
        fn contacts_are_pieces_plus_joints_for_any_fitting_chain((anvil, inner) in any_chain()) {
            let pieces = build(anvil, &inner);
            let joints = inner.iter().filter(|(kind, _)| *kind == PieceKind::UniversalJoint).count();
            let names: Vec<&str> = pieces.iter().map(|p| p.name.as_str()).collect();
            let fitted = fit(&chain(&names), |name| pieces.iter().find(|p| p.name == name), Some(&tool(anvil)));
            prop_assert_eq!(fitted.unwrap().contacts as usize, pieces.len() + joints);
        }

        #[test]
        fn one_wrong_drive_anywhere_is_found(
            (anvil, inner) in any_chain(), at in any::<prop::sample::Index>(), wrong in prop::sample::select(Drive::ALL)
        ) {
            let mut pieces = build(anvil, &inner);
            let at = at.index(pieces.len());
            prop_assume!(pieces[at].drive_in != wrong);
            pieces[at].drive_in = wrong;
            let names: Vec<&str> = pieces.iter().map(|p| p.name.as_str()).collect();
            let result = fit(&chain(&names), |name| pieces.iter().find(|p| p.name == name), Some(&tool(anvil)));
            let after = format!("{} '{}'", pieces[at].kind, pieces[at].name);
            let found = matches!(&result, Err(FitError::Mismatch { after: a, .. }) if *a == after);
            prop_assert!(found, "{:?}", result);
        }
    }
}
