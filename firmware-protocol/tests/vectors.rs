//! Every vector decodes to the fields it states, or is refused for the reason it
//! states, and every good one encodes to the same bytes (SPEC.md section 10).
//!
//! The bytes were made by a separate encoder in another language, so that an error
//! shared by this crate's encoder and decoder shows.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "support/cases.rs"]
mod support;
#[path = "support/words.rs"]
mod words;

use boltscribe_wire::*;
use support::{Case, cases, stated};
use words::{fault_of, fields_of};

fn frame_of(wire: &[u8]) -> &[u8] {
    let (delimiter, frame) = wire.split_last().unwrap();
    assert_eq!(*delimiter, DELIMITER);
    frame
}

#[test]
fn every_frame_decodes_to_its_stated_fields_or_fault() {
    let mut seen = 0;
    for case in cases().iter().filter(|case| case.get("message").is_some() || case.get("fault").is_some()) {
        let wire = case.wire();
        // A scratch longer than needed must not change the outcome.
        for scratch_len in [SCRATCH_LEN, 2 * SCRATCH_LEN] {
            let found = match decode(frame_of(&wire), &mut vec![0; scratch_len]) {
                Ok(message) => fields_of(&message),
                Err(fault) => fault_of(fault),
            };
            assert_eq!(found, stated(case), "{}: {}", case.file, case.name());
        }
        seen += 1;
    }
    assert!(seen >= 60, "only {seen} frames found");
}

#[test]
fn every_good_frame_encodes_to_the_same_bytes() {
    for case in cases().iter().filter(|case| case.get("message").is_some()) {
        let wire = case.wire();
        let mut scratch = [0; SCRATCH_LEN];
        let message = decode(frame_of(&wire), &mut scratch).unwrap();
        let from_host = message.id() & 0x80 != 0;
        let direction = if from_host { "host-to-device" } else { "device-to-host" };
        assert_eq!(case.need("direction"), direction, "{}", case.name());
        let mut out = [0xEE; MAX_FRAME];
        let encoded = encode(&message, &mut out).unwrap();
        let same = case.get("reencodes") != Some("no");
        assert_eq!(encoded == wire, same, "{}", case.name());
        // A frame that is not our own form must still lead to one that is.
        assert_eq!(
            decode(frame_of(encoded), &mut [0; SCRATCH_LEN]).map(|again| fields_of(&again)),
            Ok(fields_of(&message))
        );
    }
}

#[test]
fn every_message_and_every_fault_has_a_vector() {
    let cases = cases();
    let has = |key: &str, value: &str| cases.iter().any(|case| case.get(key) == Some(value));
    let messages = ["identity", "samples", "status", "refusal", "identify", "start", "stop", "poll-status"];
    let faults =
        ["empty", "too-long", "cobs", "too-short", "crc", "version", "unknown-message", "length", "value"];
    for name in messages {
        assert!(has("message", name), "no vector for message {name}");
    }
    for name in faults {
        assert!(has("fault", name), "no vector for fault {name}");
    }
}

#[test]
fn streams_give_their_stated_chunks_whatever_the_chunking() {
    let cases = cases();
    let mut seen = 0;
    for case in cases.iter().filter(|case| !case.all("chunk").is_empty()) {
        let wire = case.wire();
        for step in [1, 2, 3, 7, 64, 1000, 4096] {
            let mut deframer = Deframer::<{ MAX_FRAME - 1 }>::new();
            let (mut found, mut accounted) = (Vec::new(), 0);
            for mut rest in wire.chunks(step) {
                while let Some(chunk) = deframer.push(&mut rest) {
                    accounted += chunk.stream_len();
                    found.push(described(&cases, chunk));
                }
            }
            assert_eq!(found, case.all("chunk"), "{} in steps of {step}", case.name());
            assert_eq!(accounted + deframer.pending(), wire.len(), "{}", case.name());
        }
        seen += 1;
    }
    assert!(seen >= 9, "only {seen} streams found");
}

fn described(cases: &[Case], chunk: Chunk<'_>) -> String {
    let frame = match chunk {
        Chunk::Overlong { bytes } => return format!("overlong {bytes}"),
        Chunk::Frame(frame) => frame,
    };
    match decode(frame, &mut [0; SCRATCH_LEN]) {
        Ok(_) => {
            let same =
                cases.iter().find(|case| case.get("message").is_some() && frame_of(&case.wire()) == frame);
            format!("ok {}", same.expect("a good frame of a stream is a vector").name())
        }
        Err(DecodeFault::Empty) => "empty".to_owned(),
        Err(fault) => format!("fault {}", fault_of(fault)[0].1),
    }
}
