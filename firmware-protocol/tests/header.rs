//! The C header agrees with SPEC.md, with the vectors and with this crate (`c/boltscribe_wire.h`).
//!
//! `c/peer.c` shows what the header makes of bytes and of fields. Here its words are held against the vectors,
//! and, over seeded random frames and garbage, against what this crate makes of the same bytes. Runs under the
//! address and undefined-behaviour sanitizers where the compiler has them.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr)]

#[path = "support/cc.rs"]
mod cc;
#[path = "support/random.rs"]
mod random;
#[path = "support/cases.rs"]
mod support;
#[path = "support/words.rs"]
mod words;

use boltscribe_wire::*;
use random::Random;
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::OnceLock;
use support::{bytes_of, cases, crate_dir, stated};
use words::{fault_of, fields_of};

/// The peer as firmware is built, and under the sanitizers.
fn peers() -> &'static [PathBuf] {
    static PEERS: OnceLock<Vec<PathBuf>> = OnceLock::new();
    PEERS.get_or_init(|| {
        let mut peers = vec![cc::compile("peer.c", "peer-os", &["-Os"])];
        peers.extend(cc::sanitizers().map(|flags| cc::compile("peer.c", "peer-sanitized", flags)));
        peers
    })
}

/// The slowest and most careful of them.
fn careful() -> &'static PathBuf {
    peers().last().unwrap()
}

fn hex(bytes: &[u8]) -> String {
    let pairs: Vec<String> = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    pairs.join(" ")
}

/// A line of the peer as pairs of key and value.
fn pairs(line: &str) -> Vec<(String, String)> {
    let pair = |part: &str| {
        let (key, value) = part.split_once('=').unwrap_or_else(|| panic!("peer said `{line}`"));
        (key.to_owned(), value.to_owned())
    };
    line.split('\t').map(pair).collect()
}

/// The name that SPEC.md gives to the field at an offset of a message's body.
fn field_at(message: &str, offset: &str) -> String {
    let spec = std::fs::read_to_string(crate_dir().join("SPEC.md")).unwrap();
    let id: u8 = message.parse().unwrap();
    let (mut here, mut fields) = (false, false);
    for line in spec.lines() {
        if line.starts_with("### ") || line.starts_with("## ") || line.starts_with("Start (") {
            here = line.contains(&format!("0x{id:02X}"));
            fields = false;
        }
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        match cells.as_slice() {
            [_, "offset", "field", ..] => fields = here,
            [_, at, name, ..] if fields && *at == offset => return (*name).to_owned(),
            [_] => fields = false,
            _ => {}
        }
    }
    panic!("SPEC.md has no field at offset {offset} of message {message}")
}

/// What the peer said of a chunk in the words of the vectors, and the message encoded anew.
fn told(line: &str) -> (Vec<(String, String)>, Option<String>) {
    let mut pairs = pairs(line);
    let again = pairs.pop_if(|(key, _)| key == "again").map(|(_, value)| value);
    if let Some((key, value)) = pairs.last_mut().filter(|(key, _)| key == "offset").cloned().as_ref() {
        assert_eq!(key, "offset");
        let about = pairs.iter().find(|(key, _)| key == "about").unwrap().1.clone();
        *pairs.last_mut().unwrap() = ("field".to_owned(), field_at(&about, value));
    }
    (pairs, again)
}

fn owned(pairs: Vec<(&str, String)>) -> Vec<(String, String)> {
    pairs.into_iter().map(|(key, value)| (key.to_owned(), value)).collect()
}

/// What this crate says of the same chunk.
fn said_here(frame: &[u8]) -> Vec<(String, String)> {
    let mut scratch = [0; SCRATCH_LEN];
    owned(match decode(frame, &mut scratch) {
        Ok(message) => fields_of(&message),
        Err(fault) => fault_of(fault),
    })
}

#[test]
fn every_c_file_compiles_without_a_warning_however_it_is_built() {
    for (at, optimised) in ["-O0", "-O2", "-Os", "-O3"].into_iter().enumerate() {
        for source in ["peer.c", "device_side.c", "example.c"] {
            let object = format!("strict-{at}-{source}.o");
            cc::compile(source, &object, &["-c", optimised]);
        }
    }
}

#[test]
fn a_warning_is_a_failure() {
    // Otherwise the test above could not fail.
    let broken = std::panic::catch_unwind(|| cc::compile("peer.c", "broken", &["-c", "-DLINE_MAX_BYTES="]));
    assert!(broken.is_err());
}

#[test]
fn the_header_needs_four_standard_headers_and_allocates_nothing() {
    let header = std::fs::read_to_string(cc::c_dir().join("boltscribe_wire.h")).unwrap();
    let included: Vec<&str> = header.lines().filter(|line| line.starts_with("#include")).collect();
    let allowed =
        ["#include <stdbool.h>", "#include <stddef.h>", "#include <stdint.h>", "#include <string.h>"];
    assert_eq!(included, allowed);
    assert!(!header.contains("alloc(") && !header.contains("free("));
}

#[test]
fn every_vector_frame_decodes_in_c_to_its_fields_or_fault() {
    let cases = cases();
    let frames: Vec<_> =
        cases.iter().filter(|case| case.get("message").is_some() || case.get("fault").is_some()).collect();
    assert!(frames.len() >= 60, "only {} frames found", frames.len());
    let wire: Vec<u8> = frames.iter().flat_map(|case| case.wire()).collect();
    for peer in peers() {
        let answer = cc::answer(peer, &["tell"], &wire);
        let lines: Vec<&str> = answer.lines().collect();
        assert_eq!(lines.len(), frames.len());
        for (case, line) in frames.iter().zip(lines) {
            let (found, again) = told(line);
            // A chunk too long for any frame is overlong before it is looked at.
            let overlong = case.wire().len() > MAX_FRAME;
            let expected = if overlong {
                vec![
                    ("fault".to_owned(), "overlong".to_owned()),
                    ("found".to_owned(), case.wire().len().to_string()),
                ]
            } else {
                owned(stated(case))
            };
            assert_eq!(found, expected, "{}", case.name());
            let same = again.as_deref() == Some(case.need("hex"));
            let expected = case.get("message").is_some() && case.get("reencodes") != Some("no");
            assert_eq!(same, expected, "{} encoded anew: {again:?}", case.name());
        }
    }
}

#[test]
fn every_good_vector_is_encoded_in_c_from_its_stated_fields() {
    let cases = cases();
    let good: Vec<_> = cases
        .iter()
        .filter(|case| case.get("message").is_some() && case.get("reencodes").is_none())
        .collect();
    let mut asked = String::new();
    for case in &good {
        let fields: Vec<String> = stated(case).iter().map(|(key, value)| format!("{key}={value}")).collect();
        asked += &(fields.join("\t") + "\n");
    }
    let mut messages: BTreeSet<&str> = BTreeSet::new();
    for peer in peers() {
        let answer = cc::answer(peer, &["encode"], asked.as_bytes());
        assert_eq!(answer.lines().count(), good.len());
        for (case, line) in good.iter().zip(answer.lines()) {
            assert_eq!(line, case.need("hex"), "{}", case.name());
            messages.insert(case.need("message"));
        }
    }
    assert_eq!(messages.len(), random::KINDS, "{messages:?}");
}

#[test]
fn streams_give_their_stated_chunks_in_c() {
    let cases = cases();
    let streams: Vec<_> = cases.iter().filter(|case| !case.all("chunk").is_empty()).collect();
    assert!(streams.len() >= 9);
    let names = |found: &[(String, String)]| {
        let same = cases.iter().find(|case| case.get("message").is_some() && owned(stated(case)) == found);
        same.unwrap_or_else(|| panic!("no vector for {found:?}")).name().to_owned()
    };
    for case in streams {
        for peer in peers() {
            let answer = cc::answer(peer, &["tell"], &case.wire());
            let chunks: Vec<String> = answer
                .lines()
                .map(|line| {
                    let (found, _) = told(line);
                    match (found[0].0.as_str(), found[0].1.as_str()) {
                        ("fault", "empty") => "empty".to_owned(),
                        ("fault", "overlong") => format!("overlong {}", found[1].1),
                        ("fault", fault) => format!("fault {fault}"),
                        _ => format!("ok {}", names(&found)),
                    }
                })
                .collect();
            assert_eq!(chunks, case.all("chunk"), "{}", case.name());
        }
    }
}

/// 10,000 frames go from this crate through the header and back, each told in words and encoded anew.
#[test]
fn ten_thousand_random_frames_go_to_c_and_back() {
    const FRAMES: usize = 10_000;
    let mut random = Random::new(0x0B01_7C0D);
    let (mut wire, mut expected, mut kinds) = (Vec::new(), Vec::new(), BTreeSet::new());
    for at in 0..FRAMES {
        random.message(|message| {
            let mut out = [0; MAX_FRAME];
            let frame = encode(message, &mut out).unwrap();
            wire.extend_from_slice(frame);
            expected.push((owned(fields_of(message)), hex(frame)));
            kinds.insert(random::kind(message));
        });
        // Empty frames between cost nothing and change nothing.
        if at % 7 == 0 {
            wire.push(DELIMITER);
        }
    }
    assert_eq!(kinds.len(), random::KINDS, "not every message of the crate was exercised");
    for peer in peers() {
        let answer = cc::answer(peer, &["tell"], &wire);
        let lines: Vec<&str> = answer.lines().filter(|line| *line != "fault=empty").collect();
        assert_eq!(lines.len(), FRAMES);
        for (line, (fields, frame)) in lines.iter().zip(&expected) {
            let (found, again) = told(line);
            assert_eq!(found, *fields);
            let again = again.unwrap();
            assert_eq!(again, *frame);
            // The C encoder's bytes mean the same to this crate.
            let back = bytes_of(&again);
            assert_eq!(said_here(&back[..back.len() - 1]), *fields);
        }
    }
}

/// Chunks of which most are damaged: random bytes, sound checksums over random bodies, frames with a wrong byte.
fn damaged_chunks(random: &mut Random, count: usize) -> Vec<Vec<u8>> {
    // Ids of the version and others.
    let ids = [1, 2, 3, 4, 0x81, 0x82, 0x83, 0x84, 0x7F, 0x85, 0];
    let mut chunks = Vec::new();
    for at in 0..count {
        let mut chunk = Vec::new();
        match at % 4 {
            0 => {
                // Now and then about as long as the longest frame: without a zero, or nothing but codes 01.
                chunk = match at % 40 {
                    0 => (0..2040 + random.below(40)).map(|_| random.byte() | 1).collect(),
                    20 => vec![1; 2040 + random.below(20)],
                    _ => (0..random.below(60)).map(|_| random.byte()).collect(),
                };
            }
            1 | 2 => {
                let version = if random.below(10) == 0 { random.byte() } else { PROTOCOL_VERSION };
                let id = ids[random.below(ids.len())];
                // Half of the bodies have a length that gets past that check.
                let sound = [131, 14 + 3 * random.below(4), 28, 7, 0, 4][random.below(6)];
                let len = if random.below(2) == 0 { sound } else { random.below(160) };
                let mut raw = vec![version, id];
                let few = random.below(2) == 0;
                raw.extend((0..len).map(|_| if few { random.byte() & 3 } else { random.byte() }));
                if id == id::SAMPLES && raw.len() >= 16 {
                    raw[13] = if few { 24 } else { 32 };
                    raw[15] = 0;
                }
                raw.extend_from_slice(&crc32(&raw).to_le_bytes());
                let mut out = [0; 400];
                let stuffed = cobs::try_encode(&raw, &mut out).unwrap();
                chunk.extend_from_slice(&out[..stuffed]);
            }
            _ => random.message(|message| {
                let mut out = [0; MAX_FRAME];
                chunk.extend_from_slice(encode(message, &mut out).unwrap());
                chunk.pop();
            }),
        }
        if at % 4 == 3 {
            let hit = random.below(chunk.len());
            chunk[hit] ^= 1 << random.below(8);
        }
        chunks.push(chunk);
    }
    chunks
}

#[test]
fn garbage_gets_the_same_verdict_in_c_and_never_harms_it() {
    let mut random = Random::new(0x6A5B_A6E5);
    let mut wire = damaged_chunks(&mut random, 20_000).join(&DELIMITER);
    wire.push(DELIMITER);
    let mut deframer = Deframer::<{ MAX_FRAME - 1 }>::new();
    let mut expected = Vec::new();
    let mut rest = &wire[..];
    while let Some(chunk) = deframer.push(&mut rest) {
        expected.push(match chunk {
            Chunk::Frame(frame) => said_here(frame),
            Chunk::Overlong { bytes } => {
                owned(vec![("fault", "overlong".to_owned()), ("found", bytes.to_string())])
            }
        });
    }
    let faults: BTreeSet<&str> =
        expected.iter().filter(|said| said[0].0 == "fault").map(|said| said[0].1.as_str()).collect();
    for fault in [
        "empty",
        "overlong",
        "too-long",
        "cobs",
        "too-short",
        "crc",
        "version",
        "unknown-message",
        "length",
        "value",
    ] {
        assert!(faults.contains(fault), "the garbage brings no fault {fault}");
    }
    let answer = cc::answer(careful(), &["tell"], &wire);
    assert_eq!(answer.lines().count(), expected.len());
    for (line, expected) in answer.lines().zip(&expected) {
        assert_eq!(told(line).0, *expected);
    }
}

#[test]
fn a_short_receive_buffer_counts_overlong_frames_and_goes_on() {
    const BUFFER: usize = 64;
    let mut random = Random::new(7);
    let (mut wire, mut expected) = (Vec::new(), Vec::new());
    for len in (0..200).chain([4000]) {
        wire.extend((0..len).map(|_| random.byte() | 1));
        wire.push(DELIMITER);
    }
    let mut deframer = Deframer::<BUFFER>::new();
    let mut rest = &wire[..];
    while let Some(chunk) = deframer.push(&mut rest) {
        expected.push(match chunk {
            Chunk::Frame(frame) => said_here(frame),
            Chunk::Overlong { bytes } => {
                owned(vec![("fault", "overlong".to_owned()), ("found", bytes.to_string())])
            }
        });
    }
    let answer = cc::answer(careful(), &["tell", &BUFFER.to_string()], &wire);
    let found: Vec<_> = answer.lines().map(|line| told(line).0).collect();
    assert_eq!(found, expected);
}

#[test]
fn values_the_wire_cannot_carry_are_refused_by_the_c_encoder() {
    let identity = "message=identity\tadc_bits=24\ttime_scale=1\ttick_rate_hz=1000\tcount_min=0\tcount_max=9\t\
                    rates_hz=10 20\tchannels=\tserial=A\tfirmware=B";
    let samples = "message=samples\tsequence=0\tfirst_tick=0\tticks_per_sample=1\tmarks=0\tpacking=24\tcount=1\tcounts=1";
    let changed = |message: &str, from: &str, to: &str| {
        assert!(message.contains(from));
        message.replace(from, to)
    };
    let too_many = vec!["1"; MAX_SAMPLES_32 + 1];
    let too_many = format!("packing=32\tcount={}\tcounts={}", too_many.len(), too_many.join(" "));
    let refused = [
        (changed(identity, "adc_bits=24", "adc_bits=33"), "adc_bits"),
        (changed(identity, "time_scale=1", "time_scale=0"), "time_scale"),
        (changed(identity, "tick_rate_hz=1000", "tick_rate_hz=19"), "tick_rate_hz"),
        (changed(identity, "count_max=9", "count_max=0"), "count_max"),
        (changed(identity, "rates_hz=10 20", "rates_hz="), "rates_hz"),
        (changed(identity, "rates_hz=10 20", "rates_hz=20 10"), "rates_hz"),
        (changed(identity, "channels=", "channels=0 3"), "channels"),
        (changed(identity, "serial=A", "serial="), "serial"),
        (changed(identity, "firmware=B", "firmware=\u{7f}"), "firmware"),
        (changed(samples, "ticks_per_sample=1", "ticks_per_sample=0"), "ticks_per_sample"),
        (changed(samples, "marks=0", "marks=4"), "marks"),
        (changed(samples, "packing=24", "packing=16"), "packing"),
        (changed(samples, "count=1\tcounts=1", "count=0\tcounts="), "count"),
        (changed(samples, "packing=24\tcount=1\tcounts=1", &too_many), "count"),
        (changed(samples, "counts=1", "counts=8388608"), "counts"),
        (changed(samples, "counts=1", "counts=-8388609"), "counts"),
        ("message=refusal\tfault_number=0\tabout_id=0\tdetail=0".to_owned(), "fault"),
        ("message=start\trate_hz=0".to_owned(), "rate_hz"),
    ];
    for (asked, field) in refused {
        let answer = cc::answer(careful(), &["encode"], (asked.clone() + "\n").as_bytes());
        let answer =
            answer.trim_end().strip_prefix("refused ").unwrap_or_else(|| panic!("{asked} gave {answer}"));
        let (found, _) = told(answer);
        assert_eq!(found.last().unwrap().1, field, "{asked}");
    }
    for sound in [identity, samples] {
        let answer = cc::answer(careful(), &["encode"], format!("{sound}\n").as_bytes());
        assert!(!answer.starts_with("refused"), "{answer}");
    }
}
