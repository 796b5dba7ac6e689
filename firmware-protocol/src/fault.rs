//! Why a message could not be encoded or a frame not be decoded.
//!
//! Faults are plain data, so that a host can count them by reason and firmware can
//! turn one into a `Refusal` (SPEC.md section 8). Their sentences say what was
//! tried, what was expected and what was found.

/// Why [`crate::encode`], or a checked constructor, refused its arguments.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum EncodeFault {
    /// A field holds a value that the protocol does not allow.
    #[error("encoding message 0x{message:02x}: field `{field}` is outside its allowed range")]
    Value {
        /// Message id.
        message: u8,
        /// Name of the field, as in SPEC.md.
        field: &'static str,
    },
    /// The output is shorter than the longest encoding of this message, in bytes.
    #[error("encoding: output of {found} bytes, expected at least {expected}")]
    OutTooSmall {
        /// Bytes that always suffice.
        expected: usize,
        /// Bytes given.
        found: usize,
    },
}

/// Why [`crate::decode`] refused a frame, in the order in which it checks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DecodeFault {
    /// Nothing stood between two delimiters. Harmless: devices send a delimiter first.
    #[error("decoding: empty frame between two delimiters")]
    Empty,
    /// The frame, or what it decodes to, is longer than the protocol or the scratch allows.
    #[error("decoding: frame longer than the protocol or the scratch buffer allows")]
    TooLong,
    /// A COBS code points behind the end of the frame, or is zero.
    #[error("decoding: byte stuffing does not end with the frame")]
    Cobs,
    /// Fewer than 6 bytes are left after unstuffing: no room for version, id and checksum.
    #[error("decoding: fewer than 6 bytes after unstuffing, no room for version, id and checksum")]
    TooShort,
    /// The checksum does not match; nothing in the body has been looked at.
    #[error("decoding: checksum 0x{expected:08x} expected over the body, found 0x{found:08x}")]
    Crc {
        /// Computed over the received body.
        expected: u32,
        /// Sent in the frame.
        found: u32,
    },
    /// The body is sound but of another protocol version.
    #[error("decoding: protocol version {0}, expected {expected}", expected = crate::PROTOCOL_VERSION)]
    Version(u8),
    /// The body is sound but its message id is not in this version.
    #[error("decoding: unknown message 0x{0:02x}")]
    UnknownMessage(u8),
    /// The body is sound but has the wrong length for its message, in bytes with version and id.
    #[error("decoding message 0x{message:02x}: body of {found} bytes, expected {expected}")]
    Length {
        /// Message id.
        message: u8,
        /// Body bytes that this message needs.
        expected: usize,
        /// Body bytes found.
        found: usize,
    },
    /// The body is sound but a field holds a value that the protocol does not allow.
    #[error("decoding message 0x{message:02x}: field `{field}` is outside its allowed range")]
    Value {
        /// Message id.
        message: u8,
        /// Name of the field, as in SPEC.md.
        field: &'static str,
    },
}
