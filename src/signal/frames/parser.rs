//! One parser for whichever instrument is set.
//!
//! Must not know ports or what is asked of a device.

use super::account::Account;
use super::framed::Framed;
use super::item::Item;
use super::lines::Lines;
use super::pattern::PatternError;
use super::settings::Settings;

/// Bytes to frames and faults.
pub enum Parser {
    /// The project's own protocol.
    Framed(Box<Framed>),
    /// ASCII lines.
    Lines(Lines),
}

impl Parser {
    /// The parser for an instrument.
    ///
    /// # Errors
    /// A pattern of lines that cannot be used.
    pub fn new(settings: &Settings) -> Result<Self, PatternError> {
        Ok(match settings {
            Settings::Framed => Self::Framed(Box::default()),
            Settings::Lines(lines) => Self::Lines(Lines::new(lines)?),
        })
    }

    /// Takes bytes, hands out what they hold.
    pub fn push(&mut self, bytes: &[u8], sink: &mut dyn FnMut(Item<'_>)) {
        match self {
            Self::Framed(p) => p.push(bytes, sink),
            Self::Lines(p) => p.push(bytes, sink),
        }
    }

    /// The port was (re)opened.
    pub fn link_up(&mut self) {
        match self {
            Self::Framed(p) => p.link_up(),
            Self::Lines(p) => p.link_up(),
        }
    }

    /// The account of bytes.
    #[must_use]
    pub fn account(&self) -> &Account {
        match self {
            Self::Framed(p) => p.account(),
            Self::Lines(p) => p.account(),
        }
    }
}
