//! Splits a byte stream at delimiters (SPEC.md section 2), whatever its chunking.
//!
//! A frame that lies whole in the input is lent from there; only one that spans
//! two inputs is copied. Every byte pushed belongs to exactly one chunk or is
//! pending, so that a host can account for all of them.

use crate::frame::DELIMITER;

/// What stood before a delimiter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chunk<'a> {
    /// The bytes before a delimiter, without it; empty between two delimiters.
    Frame(&'a [u8]),
    /// More bytes than a frame can have; they are gone.
    Overlong {
        /// How many, the delimiter included.
        bytes: usize,
    },
}

impl Chunk<'_> {
    /// Bytes of the stream that this chunk accounts for, its delimiter included.
    #[must_use]
    pub const fn stream_len(&self) -> usize {
        match self {
            Chunk::Frame(frame) => frame.len() + 1,
            Chunk::Overlong { bytes } => *bytes,
        }
    }
}

/// Splitter for frames of at most `N` bytes without delimiter; `MAX_FRAME - 1` takes all.
#[derive(Debug, Clone)]
pub struct Deframer<const N: usize> {
    buffer: [u8; N],
    /// Bytes since the last delimiter; above `N` they are counted, not kept.
    pending: usize,
}

impl<const N: usize> Default for Deframer<N> {
    fn default() -> Self {
        Deframer::new()
    }
}

impl<const N: usize> Deframer<N> {
    /// A splitter that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Deframer { buffer: [0; N], pending: 0 }
    }

    /// Bytes pushed since the last delimiter and not yet part of a chunk.
    #[must_use]
    pub const fn pending(&self) -> usize {
        self.pending
    }

    /// Forgets what is pending (the port was reopened, say); returns how many bytes.
    pub const fn reset(&mut self) -> usize {
        let forgotten = self.pending;
        self.pending = 0;
        forgotten
    }

    /// Takes bytes off the front of `bytes` up to and with the next delimiter. `None`
    /// when all are taken and the last frame is not whole yet, which is normal.
    pub fn push<'s, 'b: 's>(&'s mut self, bytes: &mut &'b [u8]) -> Option<Chunk<'s>> {
        let input = *bytes;
        let Some(end) = memchr::memchr(DELIMITER, input) else {
            self.keep(input);
            *bytes = &[];
            return None;
        };
        let (head, tail) = input.split_at(end);
        *bytes = tail.get(1..).unwrap_or(&[]);
        if self.pending == 0 && head.len() <= N {
            return Some(Chunk::Frame(head));
        }
        self.keep(head);
        let whole = self.reset();
        Some(match self.buffer.get(..whole) {
            Some(frame) => Chunk::Frame(frame),
            None => Chunk::Overlong { bytes: whole.saturating_add(1) },
        })
    }

    fn keep(&mut self, bytes: &[u8]) {
        let whole = self.pending.saturating_add(bytes.len());
        if let Some(free) = self.buffer.get_mut(self.pending..whole) {
            free.copy_from_slice(bytes);
        }
        self.pending = whole;
    }
}
