//! Fixed little-endian layouts: the cursor that reads a body and the sink that
//! writes one straight into its stuffed frame (SPEC.md sections 2 to 4).
//!
//! The reader is handed bodies whose length was already checked against the
//! layout, so each read has a constant size.

use cobs::CobsEncoder;
use crc::{Crc, Digest, Table};

use crate::fault::EncodeFault;
use crate::frame::{CHECKSUM, CRC_LEN, DELIMITER, MAX_BODY, max_encoded_len};

/// Reads little-endian fields one after the other.
pub(crate) struct Fields<'a> {
    rest: &'a [u8],
}

impl<'a> Fields<'a> {
    pub(crate) fn new(payload: &'a [u8]) -> Self {
        Fields { rest: payload }
    }

    /// The next `N` bytes. Missing bytes read as zero, which cannot happen after the
    /// length check and keeps this free of panics.
    pub(crate) fn bytes<const N: usize>(&mut self) -> [u8; N] {
        match self.rest.split_first_chunk::<N>() {
            Some((head, tail)) => {
                self.rest = tail;
                *head
            }
            None => {
                self.rest = &[];
                [0; N]
            }
        }
    }

    /// The next `len` bytes, borrowed; shorter where the body ends before.
    pub(crate) fn slice(&mut self, len: usize) -> &'a [u8] {
        let (head, tail) = self.rest.split_at(len.min(self.rest.len()));
        self.rest = tail;
        head
    }

    pub(crate) fn rest(self) -> &'a [u8] {
        self.rest
    }

    pub(crate) fn u8(&mut self) -> u8 {
        u8::from_le_bytes(self.bytes())
    }

    pub(crate) fn u16(&mut self) -> u16 {
        u16::from_le_bytes(self.bytes())
    }

    pub(crate) fn i16(&mut self) -> i16 {
        i16::from_le_bytes(self.bytes())
    }

    pub(crate) fn u32(&mut self) -> u32 {
        u32::from_le_bytes(self.bytes())
    }

    pub(crate) fn i32(&mut self) -> i32 {
        i32::from_le_bytes(self.bytes())
    }
}

/// Stuffs and checksums a body while it is written, so that encoding needs no
/// second buffer of 2 KiB on a small stack.
pub(crate) struct FrameSink<'o> {
    stuffer: CobsEncoder<'o>,
    digest: Digest<'static, u32, Table<16>>,
    expected: usize,
    found: usize,
}

impl<'o> FrameSink<'o> {
    /// `body_len` counts version and id; `out` must hold its longest encoding.
    pub(crate) fn new(out: &'o mut [u8], body_len: usize) -> Result<Self, EncodeFault> {
        debug_assert!(body_len <= MAX_BODY);
        let (expected, found) = (max_encoded_len(body_len), out.len());
        if found < expected {
            return Err(EncodeFault::OutTooSmall { expected, found });
        }
        let checksum: &'static Crc<u32, Table<16>> = &CHECKSUM;
        Ok(FrameSink { stuffer: CobsEncoder::new(out), digest: checksum.digest(), expected, found })
    }

    fn stuff(&mut self, bytes: &[u8]) -> Result<(), EncodeFault> {
        let (expected, found) = (self.expected, self.found);
        self.stuffer.push(bytes).map_err(|_| EncodeFault::OutTooSmall { expected, found })
    }

    pub(crate) fn put(&mut self, bytes: &[u8]) -> Result<(), EncodeFault> {
        self.digest.update(bytes);
        self.stuff(bytes)
    }

    /// Appends checksum and delimiter; returns the length of the whole frame.
    pub(crate) fn finish(mut self) -> Result<usize, EncodeFault> {
        let crc: [u8; CRC_LEN] = self.digest.clone().finalize().to_le_bytes();
        self.stuff(&crc)?;
        Ok(self.stuffer.finalize())
    }
}

/// The delimiter closes a frame behind its stuffed bytes.
pub(crate) fn close(out: &mut [u8], stuffed_len: usize) -> &[u8] {
    if let Some(end) = out.get_mut(stuffed_len) {
        *end = DELIMITER;
    }
    out.get(..=stuffed_len).unwrap_or(&[])
}
