//! The lines of a streamed answer: a head, rows, and an end that says how many there were.
//!
//! One JSON object a line. An answer without its end is broken off and must not be taken for whole; what went
//! wrong on the way is a line of its own, because the status was sent long before.

use serde::{Deserialize, Serialize};

/// Longest line, bytes: a run of 5 minutes with all its blows is about 2 MB.
pub const LINE_BYTES_MAX: usize = 32 << 20;

/// One line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Line<H, R> {
    /// First of all, once.
    Head(H),
    /// A row.
    Row(R),
    /// Last of all: how many rows there were.
    End {
        /// Rows.
        rows: u64,
    },
    /// It broke off.
    Failed {
        /// What happened.
        detail: String,
        /// What to do about it.
        hint: Option<String>,
    },
}

/// Cuts bytes into lines.
#[derive(Debug, Default)]
pub struct Lines {
    held: Vec<u8>,
}

/// A line that is too long.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("expected lines of at most {LINE_BYTES_MAX} bytes, found a longer one")]
pub struct TooLong;

impl Lines {
    /// Takes any number of bytes and calls `each` for every line that became whole, until one fails.
    ///
    /// # Errors
    /// A line that is too long; what `each` gives.
    pub fn push<E: From<TooLong>>(
        &mut self,
        bytes: &[u8],
        mut each: impl FnMut(&[u8]) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut rest = bytes;
        while let Some(end) = memchr::memchr(b'\n', rest) {
            if self.held.is_empty() {
                each(&rest[..end])?;
            } else {
                self.held.extend_from_slice(&rest[..end]);
                each(&self.held)?;
                self.held.clear();
            }
            rest = &rest[end + 1..];
        }
        if self.held.len() + rest.len() > LINE_BYTES_MAX {
            return Err(TooLong.into());
        }
        self.held.extend_from_slice(rest);
        Ok(())
    }

    /// Whether a line was cut off.
    #[must_use]
    pub fn is_cut(&self) -> bool {
        !self.held.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_the_same_however_the_bytes_are_cut() {
        let text = b"one\n\ntwo and more\nthree\n";
        for size in 1..=text.len() {
            let (mut lines, mut found) = (Lines::default(), Vec::new());
            for part in text.chunks(size) {
                lines
                    .push::<TooLong>(part, |line| {
                        found.push(String::from_utf8(line.to_vec()).unwrap());
                        Ok(())
                    })
                    .unwrap();
            }
            assert_eq!(found, ["one", "", "two and more", "three"], "pieces of {size}");
            assert!(!lines.is_cut());
        }
    }

    #[test]
    fn a_line_without_end_is_refused() {
        let mut lines = Lines::default();
        let piece = vec![b'x'; LINE_BYTES_MAX / 2];
        let mut push = || lines.push::<TooLong>(&piece, |_| Ok(()));
        assert_eq!((push(), push()), (Ok(()), Ok(())));
        assert_eq!(push(), Err(TooLong));
    }
}
