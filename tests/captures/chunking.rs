//! However the bytes are cut into reads, run rows and raw codes are equal to the last bit.
//!
//! Catches any decision that falls where a read ends instead of on the grid of samples.

use crate::support::{Cut, all, assert_accounts_close, cut, essence};

const CUTS: [Cut; 9] = [
    Cut::Every(1),
    Cut::Every(7),
    Cut::Every(64),
    Cut::Every(1024),
    Cut::Every(4096),
    Cut::Every(usize::MAX),
    Cut::Random(1),
    Cut::Random(2),
    Cut::Random(3),
];

#[test]
fn ticked_recordings_give_equal_rows_and_codes_however_they_are_cut() {
    let (mut rows, mut raw) = (0, 0);
    for recording in all().iter().filter(|r| r.carries_ticks()) {
        let entries = &recording.capture.entries;
        let as_recorded = essence(&recording.settings, entries);
        rows += as_recorded.rows.len();
        raw += as_recorded.raw.len();
        for way in CUTS {
            let what = format!("{} cut {way:?}", recording.name);
            let recut = essence(&recording.settings, &cut(entries, way));
            assert_accounts_close(&recut.counters, &what);
            assert_eq!(recut.counters, as_recorded.counters, "{what}");
            assert_eq!(recut.rows, as_recorded.rows, "{what}");
            assert!(recut.raw == as_recorded.raw, "{what}: other raw codes");
        }
    }
    assert!(rows >= 28 && raw >= 14, "{rows} rows and codes of {raw} runs were compared");
}

#[test]
fn accounts_close_in_every_recording_also_without_ticks() {
    let mut raw = 0;
    for recording in all() {
        let essence = essence(&recording.settings, &recording.capture.entries);
        assert_accounts_close(&essence.counters, &recording.name);
        raw += essence.raw.len();
        assert!(essence.raw.iter().all(|raw| raw.ended), "{}: an open run's codes", recording.name);
    }
    assert!(raw >= 28, "codes of {raw} runs");
}

#[test]
fn one_changed_bit_of_a_code_changes_the_result() {
    // Guards the comparison above against comparing nothing.
    let recording = all().into_iter().find(|r| r.name == "lines-tick-kn").unwrap();
    let before = essence(&recording.settings, &recording.capture.entries);
    let mut entries = recording.capture.entries.clone();
    let middle = entries.len() / 2;
    let boltscribe::capture::Entry::Bytes(bytes) = &mut entries[middle].1 else { panic!("bytes expected") };
    let digit = bytes.iter().rposition(u8::is_ascii_digit).unwrap();
    bytes[digit] ^= 1;
    let after = essence(&recording.settings, &entries);
    assert!(before.raw != after.raw);
}
