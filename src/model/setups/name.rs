//! The rule for names and short texts that people enter: 1 to 64 characters that can be seen.
//!
//! Names are looked up, printed in tables and put into files, so two names that look alike must not
//! differ in characters nobody sees. This file must not know what a name stands for.

/// Most characters of a name, serial number or other short text.
pub const TEXT_CHARS_MAX: usize = 64;

/// Why a name or short text was not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NameError {
    /// Nothing was given.
    #[error("{what}: expected 1 to 64 characters, found none")]
    Empty {
        /// Which text, in words.
        what: &'static str,
    },
    /// Too long.
    #[error("{what}: expected 1 to 64 characters, found {found}")]
    Long {
        /// Which text, in words.
        what: &'static str,
        /// Its length in characters.
        found: usize,
    },
    /// A control character or one that cannot be seen.
    #[error("{what}: expected printable characters, found U+{code:04X} at character {at}")]
    Unprintable {
        /// Which text, in words.
        what: &'static str,
        /// The character's code.
        code: u32,
        /// Its place, counted from 1.
        at: usize,
    },
    /// A dot or two, which mean a folder in every address.
    #[error("{what}: expected more than dots, found '{found}'")]
    Dots {
        /// Which text, in words.
        what: &'static str,
        /// The text.
        found: String,
    },
    /// Blanks at an end, which nobody sees.
    #[error("{what}: expected no blank at either end, found '{found}'")]
    Blank {
        /// Which text, in words.
        what: &'static str,
        /// The text.
        found: String,
    },
}

/// Checks a name, serial number or other short text; `what` names it in the message.
///
/// # Errors
/// Empty, longer than [`TEXT_CHARS_MAX`], unprintable characters, blanks at an end, a dot or two alone.
pub fn check_text(what: &'static str, text: &str) -> Result<(), NameError> {
    if text.is_empty() {
        return Err(NameError::Empty { what });
    }
    let found = text.chars().count();
    if found > TEXT_CHARS_MAX {
        return Err(NameError::Long { what, found });
    }
    if let Some((index, c)) = text.chars().enumerate().find(|&(_, c)| !printable(c)) {
        return Err(NameError::Unprintable { what, code: u32::from(c), at: index + 1 });
    }
    if matches!(text, "." | "..") {
        return Err(NameError::Dots { what, found: text.to_owned() });
    }
    if text.trim() != text {
        return Err(NameError::Blank { what, found: text.to_owned() });
    }
    Ok(())
}

/// The same for a text that may be missing.
pub(super) fn check_optional(what: &'static str, text: Option<&str>) -> Result<(), NameError> {
    text.map_or(Ok(()), |text| check_text(what, text))
}

/// Control characters, line separators, zero-width characters and those that turn the direction of
/// writing (Unicode general categories Cc, Zl, Zp and the usual part of Cf) do not count as printable.
fn printable(c: char) -> bool {
    !(c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_has_one_to_sixty_four_visible_characters() {
        for good in ["a", "Verlängerung 250 mm", &"x".repeat(64), "½ in × 3"] {
            assert_eq!(check_text("name", good), Ok(()), "{good}");
        }
        for dots in [".", ".."] {
            assert_eq!(check_text("name", dots), Err(NameError::Dots { what: "name", found: dots.into() }));
        }
        assert_eq!(check_text("name", ""), Err(NameError::Empty { what: "name" }));
        assert_eq!(check_text("name", &"ä".repeat(65)), Err(NameError::Long { what: "name", found: 65 }));
    }

    #[test]
    fn characters_nobody_sees_are_refused_with_their_place() {
        for (bad, code, at) in [
            ("a\nb", 0x0A, 2),
            ("\u{1b}[31m", 0x1B, 1),
            ("ab\u{200b}", 0x200B, 3),
            ("a\u{202e}b", 0x202E, 2),
            ("a\u{85}", 0x85, 2),
        ] {
            let error = check_text("name", bad).unwrap_err();
            assert_eq!(error, NameError::Unprintable { what: "name", code, at });
        }
        assert!(matches!(check_text("name", " a"), Err(NameError::Blank { .. })));
        assert!(matches!(check_text("name", "a\u{a0}"), Err(NameError::Blank { .. })));
    }
}
