//! Byte stuffing and checksum against published values (SPEC.md sections 2 and 3).
//!
//! COBS: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM
//! Transactions on Networking 7(2), 1999; CRC-32/ISO-HDLC: the published catalogue of
//! parametrised CRC algorithms. The datagram and the check value are written down from
//! memory of these, the short examples worked by hand from the paper's rule; none was
//! copied from this crate's output.
#![allow(clippy::unwrap_used)]

#[path = "support/cases.rs"]
mod support;

use boltscribe_wire::*;
use support::cases;

fn stuffed(raw: &[u8]) -> Vec<u8> {
    let mut out = vec![0; cobs::max_encoding_length(raw.len())];
    let len = cobs::try_encode(raw, &mut out).unwrap();
    out.truncate(len);
    out
}

/// The paper's rule read slowly: cut at zeros behind which a phantom zero is added,
/// and cut runs that reach 254 bytes.
fn stuffed_slowly(raw: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    let runs: Vec<&[u8]> = raw.split(|&byte| byte == 0).collect();
    for run in runs {
        let mut rest = run;
        loop {
            if rest.len() < 254 {
                // A run that ended in a full block at the very end needs no closing code.
                out.push(u8::try_from(rest.len() + 1).unwrap());
                out.extend_from_slice(rest);
                break;
            }
            out.push(255);
            out.extend_from_slice(&rest[..254]);
            rest = &rest[254..];
        }
    }
    let ends_full = raw
        .rsplit(|&byte| byte == 0)
        .next()
        .is_some_and(|run| !run.is_empty() && run.len().is_multiple_of(254));
    if ends_full {
        assert_eq!(out.pop(), Some(1));
    }
    out
}

#[test]
fn stuffing_examples_of_the_paper_and_by_hand_hold() {
    let examples: [(&[u8], &[u8]); 8] = [
        (&[], &[0x01]),
        (&[0x00], &[0x01, 0x01]),
        (&[0x00, 0x00], &[0x01, 0x01, 0x01]),
        (&[0x00, 0x11, 0x00], &[0x01, 0x02, 0x11, 0x01]),
        (&[0x11, 0x22, 0x00, 0x33], &[0x03, 0x11, 0x22, 0x02, 0x33]),
        (&[0x11, 0x22, 0x33, 0x44], &[0x05, 0x11, 0x22, 0x33, 0x44]),
        (&[0x11, 0x00, 0x00, 0x00], &[0x02, 0x11, 0x01, 0x01, 0x01]),
        // The datagram of the paper's worked example begins 45 00 00 2C 4C 79 00 00 40 06 4F 37.
        (
            &[0x45, 0x00, 0x00, 0x2C, 0x4C, 0x79, 0x00, 0x00, 0x40, 0x06, 0x4F, 0x37],
            &[0x02, 0x45, 0x01, 0x04, 0x2C, 0x4C, 0x79, 0x01, 0x05, 0x40, 0x06, 0x4F, 0x37],
        ),
    ];
    for (raw, expected) in examples {
        assert_eq!(stuffed(raw), expected, "{raw:02x?}");
        assert_eq!(stuffed_slowly(raw), expected, "{raw:02x?}");
    }
}

#[test]
fn runs_around_254_bytes_are_cut_as_the_paper_says() {
    for len in [252, 253, 254, 255, 256, 507, 508, 509] {
        let run: Vec<u8> = (0..len).map(|index| u8::try_from(index % 255 + 1).unwrap()).collect();
        let zero_after: Vec<u8> = run.iter().copied().chain([0]).collect();
        let zero_before: Vec<u8> = [0].into_iter().chain(run.iter().copied()).collect();
        for raw in [run, zero_after, zero_before] {
            assert_eq!(stuffed(&raw), stuffed_slowly(&raw), "{} bytes", raw.len());
            let mut back = vec![0; raw.len()];
            assert_eq!(cobs::decode(&stuffed(&raw), &mut back).unwrap().frame_size(), raw.len());
            assert_eq!(back, raw);
        }
    }
}

#[test]
fn stuffing_in_pieces_equals_stuffing_at_once() {
    // `encode` feeds the stuffer field by field; the vectors hold whole frames.
    for case in cases().iter().filter(|case| case.get("message").is_some()) {
        let wire = case.wire();
        let mut scratch = [0; SCRATCH_LEN];
        let raw_len = cobs::decode(&wire[..wire.len() - 1], &mut scratch).unwrap().frame_size();
        let again = stuffed_slowly(&scratch[..raw_len]);
        let same = case.get("reencodes") != Some("no");
        assert_eq!(again == wire[..wire.len() - 1], same, "{}", case.name());
    }
}

#[test]
fn checksum_has_the_published_check_value() {
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
}

#[test]
fn checksum_equals_the_bitwise_definition() {
    // Reflected polynomial 0xEDB88320, start and final exclusive-or 0xFFFFFFFF.
    let bitwise = |bytes: &[u8]| {
        let mut crc = 0xFFFF_FFFF_u32;
        for &byte in bytes {
            crc ^= u32::from(byte);
            for _ in 0..8 {
                crc = if crc & 1 == 1 { crc >> 1 ^ 0xEDB8_8320 } else { crc >> 1 };
            }
        }
        !crc
    };
    let bytes: Vec<u8> = (0..3000_u32).map(|index| (index * index / 7).to_le_bytes()[0]).collect();
    for len in [0, 1, 2, 3, 15, 16, 17, 31, 32, 33, 255, 2048, 3000] {
        assert_eq!(crc32(&bytes[..len]), bitwise(&bytes[..len]), "{len} bytes");
    }
}
