//! SPEC.md says what the code does: its hex examples are the vectors', its line-rate
//! table follows from the frame layout, and its numbers are the crate's constants.
//!
//! With `BOLTSCRIBE_UPDATE_SPEC=1` examples and table are written anew instead of
//! compared; the run then fails, so that an update never passes for a check.
#![allow(clippy::unwrap_used)]

#[path = "support/cases.rs"]
mod support;

use boltscribe_wire::*;
use support::{cases, crate_dir};

const PAIRS_PER_LINE: usize = 16;

fn example(name: &str) -> String {
    let cases = cases();
    let case = cases.iter().find(|case| case.name() == name);
    let hex = case.unwrap_or_else(|| panic!("SPEC.md names no vector `{name}`")).need("hex");
    let pairs: Vec<&str> = hex.split(' ').collect();
    let lines: Vec<String> = pairs.chunks(PAIRS_PER_LINE).map(|line| line.join(" ")).collect();
    lines.join("\n") + "\n"
}

/// A line of the table in section 9 as it must read, from its packing and samples a frame.
fn rate_row(packing: usize, samples: usize) -> String {
    const LINES_BYTES_PER_S: [usize; 4] = [115_200 / 10, 460_800 / 10, 921_600 / 10, 1_000_000];
    let body_len = 16 + samples * packing / 8;
    assert!(body_len <= MAX_BODY, "{samples} samples of {packing} bits do not fit a frame");
    // From the text of section 2: checksum, one code for each 254 bytes begun, delimiter.
    let frame_len = body_len + 4 + (body_len + 4).div_ceil(254) + 1;
    assert_eq!(frame_len, max_encoded_len(body_len));
    let rates = LINES_BYTES_PER_S.map(|bytes_per_s| (bytes_per_s * samples / frame_len).to_string());
    format!("| {packing} | {samples} | {frame_len} | {} |", rates.join(" | "))
}

/// The whole page with examples and table filled in, and how many of each there are.
fn rewritten(spec: &str) -> (String, usize, usize) {
    let (mut out, mut examples, mut rows) = (String::new(), 0, 0);
    let mut lines = spec.lines();
    while let Some(line) = lines.next() {
        if let Some(name) = line.strip_prefix("```vector ") {
            out += &format!("{line}\n{}```\n", example(name));
            assert!(lines.by_ref().any(|end| end == "```"), "open example {name}");
            examples += 1;
        } else if line.starts_with("| 24 | ") || line.starts_with("| 32 | ") {
            let cells: Vec<usize> =
                line.split('|').filter_map(|cell| cell.trim().parse().ok()).take(2).collect();
            out += &(rate_row(cells[0], cells[1]) + "\n");
            rows += 1;
        } else {
            out += &format!("{line}\n");
        }
    }
    (out, examples, rows)
}

#[test]
fn examples_are_the_vectors_and_the_rate_table_follows_from_the_layout() {
    let path = crate_dir().join("SPEC.md");
    let spec = std::fs::read_to_string(&path).unwrap();
    let (expected, examples, rows) = rewritten(&spec);
    assert!(examples >= 9 && rows >= 12, "{examples} examples, {rows} table rows");
    if std::env::var_os("BOLTSCRIBE_UPDATE_SPEC").is_some() {
        std::fs::write(&path, expected).unwrap();
        panic!("SPEC.md was written anew; run again without BOLTSCRIBE_UPDATE_SPEC");
    }
    for (number, (found, expected)) in spec.lines().zip(expected.lines()).enumerate() {
        assert_eq!(found, expected, "SPEC.md:{}", number + 1);
    }
    assert_eq!(spec, expected);
}

#[test]
fn every_message_has_an_example() {
    let spec = std::fs::read_to_string(crate_dir().join("SPEC.md")).unwrap();
    let shown: Vec<&str> = spec.lines().filter_map(|line| line.strip_prefix("```vector ")).collect();
    let mut messages: Vec<String> = Vec::new();
    for case in cases().iter().filter(|case| shown.contains(&case.name())) {
        messages.push(case.need("message").to_owned());
    }
    for name in ["identity", "samples", "status", "refusal", "identify", "start", "stop", "poll-status"] {
        assert!(messages.iter().any(|shown| shown == name), "no example of {name}");
    }
}

#[test]
fn printed_limits_and_ids_are_those_of_the_crate() {
    let spec = std::fs::read_to_string(crate_dir().join("SPEC.md")).unwrap();
    let rows = [
        format!("| body (version, message id, payload) | 2 to {MAX_BODY} bytes |"),
        format!("| body and checksum, before stuffing | 6 to {SCRATCH_LEN} bytes |"),
        format!("| whole frame, delimiter included | at most {MAX_FRAME} bytes |"),
        format!("| samples in a frame at 24 bits | 1 to {MAX_SAMPLES_24} |"),
        format!("| samples in a frame at 32 bits | 1 to {MAX_SAMPLES_32} |"),
        format!("| sampling rates on offer | 1 to {MAX_RATES} |"),
        format!("| slow channels | 0 to {MAX_CHANNELS} |"),
        format!("| serial, firmware name | 1 to {MAX_TEXT} printable ASCII characters each |"),
        format!("| 0x{:02X} | Identity | device to host |", id::IDENTITY),
        format!("| 0x{:02X} | Samples | device to host |", id::SAMPLES),
        format!("| 0x{:02X} | Status | device to host |", id::STATUS),
        format!("| 0x{:02X} | Refusal | device to host |", id::REFUSAL),
        format!("| 0x{:02X} | Identify | host to device |", id::IDENTIFY),
        format!("| 0x{:02X} | Start | host to device |", id::START),
        format!("| 0x{:02X} | Stop | host to device |", id::STOP),
        format!("| 0x{:02X} | PollStatus | host to device |", id::POLL_STATUS),
        format!("| {} | rate not offered |", Fault::RateNotOffered.number()),
        format!("| {} | unknown message |", Fault::UnknownMessage.number()),
        format!("| {} | wrong length for this message |", Fault::BadLength.number()),
        format!("| {} | wrong protocol version |", Fault::WrongVersion.number()),
        format!("| {} | not ready |", Fault::NotReady.number()),
        format!("| {} | converter fault |", Fault::AdcFault.number()),
        format!("| {} | value not allowed |", Fault::BadValue.number()),
        format!("| 3 | time_scale | u16 | 1 to {TIME_SCALE_MAX}:"),
        format!("its firmware begins with `{SIMULATED_FIRMWARE}`, or its time_scale is not 1"),
        format!("| check value, ASCII `123456789` | 0x{:08X} |", crc32(b"123456789")),
    ];
    for row in rows {
        assert!(spec.contains(&row), "SPEC.md lacks `{row}`");
    }
}

/// Every block of C in SPEC.md stands in the example word for word, which compiles and is tested.
#[test]
fn the_c_of_the_page_is_the_examples() {
    let spec = std::fs::read_to_string(crate_dir().join("SPEC.md")).unwrap();
    let example = std::fs::read_to_string(crate_dir().join("c/example.c")).unwrap();
    let blocks: Vec<&str> =
        spec.split("```c\n").skip(1).map(|rest| rest.split("```").next().unwrap()).collect();
    assert!(blocks.len() >= 3, "{} blocks", blocks.len());
    for block in blocks {
        assert!(example.contains(block), "example.c has no\n{block}");
    }
}

#[test]
fn sizes_that_section_12_names_are_those_of_the_crate() {
    let spec = std::fs::read_to_string(crate_dir().join("SPEC.md")).unwrap();
    let hosts =
        [Message::Identify, Message::Start(Start { rate_hz: u32::MAX }), Message::Stop, Message::PollStatus];
    let longest =
        hosts.iter().map(|message| encode(message, &mut [0; MAX_FRAME]).unwrap().len()).max().unwrap();
    assert!(spec.contains(&format!("no message of a host has more than {longest}.")));
    // 2,000 samples/s at 24 bits in frames of 32 leave a third of 115200 baud.
    let rate = 11_520 * 32 / max_encoded_len(16 + 32 * 3);
    assert!(rate * 2 >= 2000 * 3 && spec.contains("115200 baud take 2,000 samples/s at 24 bits"), "{rate}");
}
