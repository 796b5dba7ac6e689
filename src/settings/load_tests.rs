//! Mistakes and the exact line each is told by; layers, sources, rig files.
//!
//! Sentences are compared whole, with file, line and column.

#[path = "load_dial_tests.rs"]
mod dials;
#[path = "load_shipped_tests.rs"]
mod shipped;

use super::*;
use crate::{parse_rig, rig_text};
use boltscribe_analysis::compare::LimitUnit;
use boltscribe_analysis::compare::acceptance::Limit;
use boltscribe_signal::frames;
use dials::DIALS;

fn none() -> impl Iterator<Item = (String, String)> {
    std::iter::empty()
}

fn variables(list: &[(&str, &str)]) -> impl Iterator<Item = (String, String)> {
    let owned: Vec<(String, String)> = list.iter().map(|&(k, v)| (k.into(), v.into())).collect();
    owned.into_iter()
}

fn text(name: &str, text: &str) -> Text {
    Text { name: name.into(), text: text.into() }
}

fn load(toml: &str) -> Result<Loaded, Vec<Problem>> {
    assemble(Some(&text("f", toml)), none(), |_| Ok(vec![]))
}

fn lines(result: Result<Loaded, Vec<Problem>>) -> Vec<String> {
    result.map_or_else(|problems| problems.iter().map(ToString::to_string).collect(), |_| vec![])
}

const RIG_HEAD: &str = "[[rig]]\nname = \"a\"\nport = \"/dev/x\"\n";

/// Each: text of the file, and the one line it is answered with.
const MISTAKES: &[(&str, &str)] = &[
    // Not TOML at all.
    ("[daemon", "f:1:8: not TOML: unclosed table, expected `]` in '[daemon'"),
    (
        "[daemon]\nlog = \n",
        "f:2:7: not TOML: string values must be quoted, expected literal string in 'log ='",
    ),
    ("[daemon]\nlog = info\n", "f:2:7: not TOML: expected a value, text in quotes, found info"),
    ("[daemon]\nlog = \"info\"\nlog = \"warn\"\n", "f:3:1: not TOML: duplicate key in 'log = \"warn\"'"),
    ("[daemon]\n[daemon]\n", "f:2:2: not TOML: duplicate key in '[daemon]'"),
    ("[daemon]\nlog \"info\"\n", "f:2:5: not TOML: key with no value, expected `=` in 'log \"info\"'"),
    (
        "[measure]\nshort_s = 0.5.1\n",
        "f:2:14: not TOML: invalid float, expected nothing in 'short_s = 0.5.1'",
    ),
    (
        "[measure]\nshort_s = 1,5\n",
        "f:2:12: not TOML: unexpected key or value, expected newline, `#` in 'short_s = 1,5'",
    ),
    // Tables.
    ("[deamon]\n", "f:1:2: deamon: expected a known table, found 'deamon'; the nearest is daemon"),
    ("[rigs]\n", "f:1:2: rigs: expected a known table, found 'rigs'; the nearest is rig"),
    (
        "[network]\n",
        "f:1:2: network: expected a known table (daemon, store, measure, forward, limit, rig), found 'network'",
    ),
    ("daemon = 3\n", "f:1:1: daemon: expected [daemon], found 3"),
    ("[[daemon]]\n", "f:1:3: daemon: expected [daemon], found [[daemon]]"),
    ("[rig]\nname = \"a\"\n", "f:1:2: rig: expected [[rig]], found a table"),
    ("rig = [1]\n", "f:1:8: rig: expected a table, found 1"),
    (
        "listen = \"127.0.0.1:1\"\n",
        "f:1:1: listen: expected a known table (daemon, store, measure, forward, limit, rig), found 'listen'",
    ),
    // Forwarding.
    (
        "[forward]\nurl = \"central\"\n",
        "f:2:7: forward.url: expected an address such as \"https://central.example:8086\", http or https with a host, a port and nothing behind, found \"central\"",
    ),
    (
        "[forward]\nurl = \"http://h:1/write\"\n",
        "f:2:7: forward.url: expected an address such as \"https://central.example:8086\", http or https with a host, a port and nothing behind, found \"http://h:1/write\"",
    ),
    (
        "[forward]\nsettle_s = 0\n",
        "f:2:12: forward.settle_s: expected a whole number from 1 to 86400, found 0",
    ),
    (
        "[forward]\ntoken = \"x\"\n",
        "f:2:1: forward.token: expected a known key (url, org, bucket, token_file, ca_file, health_s, batch_max, settle_s), found 'token'",
    ),
    (
        "[forward]\ntoken_file = \"/t\"\n",
        "f:2:14: forward.token_file: expected forward.url beside it, found none",
    ),
    (
        "[forward]\nurl = \"http://central.example:8086\"\ntoken_file = \"/t\"\n",
        "f:3:14: forward.token_file: expected https in forward.url, because the token would pass a network in the open, found http",
    ),
    // Keys.
    (
        "[daemon]\nlisten_on = \"127.0.0.1:1\"\n",
        "f:2:1: daemon.listen_on: expected a known key (listen, host, tokens_file, time_zone, log), found 'listen_on'",
    ),
    (
        "[daemon]\nlisen = \"127.0.0.1:1\"\n",
        "f:2:1: daemon.lisen: expected a known key, found 'lisen'; the nearest is listen",
    ),
    (
        "[measure]\n  start_threshold_kn = 1\n",
        "f:2:3: measure.start_threshold_kn: expected a known key, found 'start_threshold_kn'; the nearest is start_threshold_kN",
    ),
    (
        "[measure]\nlowpas_hz = 1\n",
        "f:2:1: measure.lowpas_hz: expected a known key, found 'lowpas_hz'; the nearest is lowpass_hz",
    ),
    (
        "[store]\nfoldr = \"/x\"\n",
        "f:2:1: store.foldr: expected a known key, found 'foldr'; the nearest is folder",
    ),
    // Kinds: nothing is coerced.
    (
        "[measure]\nlowpass_hz = true\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found true",
    ),
    (
        "[measure]\nlowpass_hz = \"200\"\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found \"200\"",
    ),
    (
        "[measure]\nlowpass_hz = [200]\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found [200]",
    ),
    (
        "[measure]\nlowpass_hz = nan\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found nan",
    ),
    (
        "[measure]\nlowpass_hz = -nan\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found -nan",
    ),
    (
        "[measure]\nlowpass_hz = inf\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found inf",
    ),
    (
        "[measure]\nlowpass_hz = 1e999\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found 1e999",
    ),
    (
        "[measure]\nlowpass_hz = 2024-01-01\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found 2024-01-01",
    ),
    (
        "[measure]\nlowpass_hz = {}\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found {}",
    ),
    ("[daemon]\nlog = 1\n", "f:2:7: daemon.log: expected one of error, warn, info, debug, trace, found 1"),
    (
        "[daemon]\nlog = true\n",
        "f:2:7: daemon.log: expected one of error, warn, info, debug, trace, found true",
    ),
    (
        "[daemon]\nlog = \"Info\"\n",
        "f:2:7: daemon.log: expected one of error, warn, info, debug, trace, found \"Info\"",
    ),
    ("[daemon]\nlisten = 7483\n", "f:2:10: daemon.listen: expected text in quotes, found 7483"),
    ("[store]\nfolder = false\n", "f:2:10: store.folder: expected text in quotes, found false"),
    // Ranges and rules.
    (
        "[measure]\nlowpass_hz = 0.9\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found 0.9",
    ),
    (
        "[measure]\nlowpass_hz = 100_001\n",
        "f:2:14: measure.lowpass_hz: expected a number from 1 to 100000, found 100_001",
    ),
    ("[measure]\nshort_s = -0.1\n", "f:2:11: measure.short_s: expected a number from 0 to 60, found -0.1"),
    (
        "[measure]\nstart_threshold_kN = 0\n",
        "f:2:22: measure.start_threshold_kN: expected a number above 0 and at most 10000, found 0",
    ),
    (
        "[measure]\nzero_shift_limit_kN = 10001\n",
        "f:2:23: measure.zero_shift_limit_kN: expected a number above 0 and at most 10000, found 10001",
    ),
    (
        "[measure]\ngates_s = 3.0\n",
        "f:2:11: measure.gates_s: expected a list of 1 to 16 numbers above 0 and at most 300, ascending, found 3.0",
    ),
    (
        "[measure]\ngates_s = []\n",
        "f:2:11: measure.gates_s: expected a list of 1 to 16 numbers above 0 and at most 300, ascending, found []",
    ),
    (
        "[measure]\ngates_s = [3, 2]\n",
        "f:2:11: measure.gates_s: expected a list of 1 to 16 numbers above 0 and at most 300, ascending, found [3, 2]",
    ),
    (
        "[measure]\ntensions_kN = [50, 20]\n",
        "f:2:15: measure.tensions_kN: expected a list of 0 to 16 numbers above 0 and at most 10000, ascending, found [50, 20]",
    ),
    (
        "[measure]\ngates_s = [2, 2]\n",
        "f:2:11: measure.gates_s: expected a list of 1 to 16 numbers above 0 and at most 300, ascending, found [2, 2]",
    ),
    (
        "[measure]\ngates_s = [\n  1,\n  \"2\",\n]\n",
        "f:4:3: measure.gates_s: expected a number above 0 and at most 300, found \"2\"",
    ),
    (
        "[measure]\ngates_s = [1, 301]\n",
        "f:2:15: measure.gates_s: expected a number above 0 and at most 300, found 301",
    ),
    (
        "[daemon]\nlisten = \"localhost:7483\"\n",
        "f:2:10: daemon.listen: expected an IP address and port such as \"127.0.0.1:7483\", found \"localhost:7483\"",
    ),
    (
        "[daemon]\nlisten = \"127.0.0.1\"\n",
        "f:2:10: daemon.listen: expected an IP address and port such as \"127.0.0.1:7483\", found \"127.0.0.1\"",
    ),
    (
        "[daemon]\nlisten = \"127.0.0.1:70000\"\n",
        "f:2:10: daemon.listen: expected an IP address and port such as \"127.0.0.1:7483\", found \"127.0.0.1:70000\"",
    ),
    (
        "[daemon]\nlisten = \"0.0.0.0:7483\"\n",
        "f:2:10: daemon.listen: expected daemon.tokens_file beside an address that others reach, found 0.0.0.0:7483 alone",
    ),
    (
        "[store]\nfolder = \"data\"\n",
        "f:2:10: store.folder: expected an absolute folder such as \"/var/lib/boltscribe\", found \"data\"",
    ),
    (
        "[store]\nfolder = \"\"\n",
        "f:2:10: store.folder: expected an absolute folder such as \"/var/lib/boltscribe\", found \"\"",
    ),
    (
        "[store]\nfolder = \"/a\\u0000b\"\n",
        "f:2:10: store.folder: expected an absolute folder such as \"/var/lib/boltscribe\", found \"/a\\u0000b\"",
    ),
    // Columns count characters, not bytes.
    ("[daemon]\n\"lög\" = 1\n", "f:2:1: daemon.lög: expected a known key, found 'lög'; the nearest is log"),
    (
        "store = { \"ä\" = 1, folder = 1 }\n",
        "f:1:11: store.ä: expected a known key (folder), found 'ä'\nf:1:29: store.folder: expected text in quotes, found 1",
    ),
];

/// Each: lines after a rig's name and port, and the one line it is answered with.
const RIG_MISTAKES: &[(&str, &str)] = &[
    ("", "f:1:1: rig.instrument: expected one of framed, lines, typed, found no such key"),
    (
        "instrument = \"frame\"",
        "f:4:14: rig.instrument: expected one of framed, lines, typed, found \"frame\"",
    ),
    (
        "instrument = \"framed\"\nbaud = 115200.9",
        "f:5:8: rig.baud: expected a whole number from 300 to 12000000, found 115200.9",
    ),
    (
        "instrument = \"framed\"\nbaud = 115200.0",
        "f:5:8: rig.baud: expected a whole number from 300 to 12000000, found 115200.0",
    ),
    (
        "instrument = \"framed\"\nbaud = \"115200\"",
        "f:5:8: rig.baud: expected a whole number from 300 to 12000000, found \"115200\"",
    ),
    (
        "instrument = \"framed\"\nbaud = 299",
        "f:5:8: rig.baud: expected a whole number from 300 to 12000000, found 299",
    ),
    (
        "instrument = \"framed\"\nbaud = 99999999999999999999",
        "f:5:8: rig.baud: expected a whole number from 300 to 12000000, found 99999999999999999999",
    ),
    (
        "instrument = \"framed\"\nbuad = 115200",
        "f:5:1: rig.buad: expected a known key, found 'buad'; the nearest is baud",
    ),
    (
        "instrument = \"framed\"\nrate_hz = 0",
        "f:5:11: rig.rate_hz: expected a number from 0.1 to 20000000, found 0",
    ),
    (
        "instrument = \"framed\"\nrange_kN = -5",
        "f:5:12: rig.range_kN: expected a number above 0 and at most 10000, found -5",
    ),
    (
        "instrument = \"framed\"\ncount_min = 2147483648\ncount_max = 5",
        "f:5:13: rig.count_min: expected a whole number from -2147483648 to 2147483647, found 2147483648",
    ),
    (
        "instrument = \"framed\"\ncount_min = 5\ncount_max = 5",
        "f:6:13: rig.count_max: expected more than count_min (5), found 5",
    ),
    (
        "instrument = \"framed\"\ncount_min = 5",
        "f:5:13: rig.count_min: expected count_max beside it, found none",
    ),
    (
        "instrument = \"framed\"\ncount_max = 5",
        "f:5:13: rig.count_max: expected count_min beside it, found none",
    ),
    (
        "instrument = \"framed\"\npattern = \"{value}\"",
        "f:5:11: rig.pattern: expected no such key with instrument = \"framed\", whose frames say it",
    ),
    (
        "instrument = \"framed\"\ndecimals = 1",
        "f:5:12: rig.decimals: expected no such key with instrument = \"framed\", whose frames say it",
    ),
    (
        "instrument = \"lines\"\npattern = \"{valu}\"",
        "f:5:11: rig.pattern: expected only the fields {value}, {tick} and {skip} in braces, found \"{valu}\"",
    ),
    (
        "instrument = \"lines\"\npattern = \"{tick}\"",
        "f:5:11: rig.pattern: expected {value} once and {tick} at most once, found \"{tick}\"",
    ),
    (
        "instrument = \"lines\"\npattern = \"\"",
        "f:5:11: rig.pattern: expected 1 to 200 characters without control characters, found \"\"",
    ),
    (
        "instrument = \"lines\"\npattern = \"{tick} {value}\"",
        "f:5:11: rig.pattern: expected tick_hz beside a pattern with {tick}, found none",
    ),
    (
        "instrument = \"lines\"\ntick_hz = 1000",
        "f:5:11: rig.tick_hz: expected a pattern with {tick} beside it, found none",
    ),
    (
        "instrument = \"lines\"\ntick_bits = 32",
        "f:5:13: rig.tick_bits: expected a pattern with {tick} beside it, found none",
    ),
    (
        "instrument = \"lines\"\npattern = \"{tick} {value}\"\ntick_hz = 1000\ntick_bits = 7",
        "f:7:13: rig.tick_bits: expected a whole number from 8 to 64, found 7",
    ),
    (
        "instrument = \"lines\"\ndecimals = 10",
        "f:5:12: rig.decimals: expected a whole number from 0 to 9, found 10",
    ),
    (
        "instrument = \"framed\"\ncalibration = \"c\"",
        "f:5:15: rig.calibration: expected a table, found \"c\"",
    ),
    (
        "instrument = \"framed\"\ncalibration = { id = \"c\", coefficients_kN = [0, 1] }",
        "f:5:1: rig.calibration.nominal: expected true or false, found no such key",
    ),
    (
        "instrument = \"framed\"\ncalibration = { id = \"c\", coefficients_kN = [0, 1], nominal = 1 }",
        "f:5:63: rig.calibration.nominal: expected true or false, found 1",
    ),
    (
        "instrument = \"framed\"\ncalibration = { id = \"c\", coefficients_kN = [0], nominal = true }",
        "f:5:45: rig.calibration.coefficients_kN: expected a list of 2 to 4 numbers, found [0]",
    ),
    (
        "instrument = \"framed\"\ncalibration = { id = \"c\", coefficients_kN = [0, 0], nominal = true }",
        "f:5:45: rig.calibration.coefficients_kN: expected a slope (the second) that is not zero, found 0",
    ),
    (
        "instrument = \"framed\"\ncalibration = { id = \"c\", coefficients_kN = [0, nan], nominal = true }",
        "f:5:49: rig.calibration.coefficients_kN: expected a number, found nan",
    ),
    (
        "instrument = \"framed\"\ncalibration = { id = \"\", coefficients_kN = [0, 1], nominal = true }",
        "f:5:22: rig.calibration.id: expected 1 to 64 printable characters, found \"\"",
    ),
    (
        "instrument = \"framed\"\n[rig.calibration]\nid = \"c\"\ncoeficients_kN = [0, 1]\nnominal = true",
        "f:5:6: rig.calibration.coefficients_kN: expected a list of 2 to 4 numbers, found no such key\nf:7:1: rig.calibration.coeficients_kN: expected a known key, found 'coeficients_kN'; the nearest is coefficients_kN",
    ),
    (
        "instrument = \"framed\"\n[[rig]]\nname = \"a\"\nport = \"/dev/y\"\ninstrument = \"framed\"",
        "f:6:8: rig.name: expected a name of its own, found 'a' at f:2:8 too",
    ),
    (
        "instrument = \"framed\"\n[[rig]]\nname = \"b\"\nport = \"/dev/x\"\ninstrument = \"framed\"",
        "f:7:8: rig.port: expected a port of its own, found '/dev/x' at f:3:8 too",
    ),
    (
        "instrument = \"framed\"\nrange_kN = 5\n[measure]\nstart_threshold_kN = 5",
        "f:5:12: rig.range_kN: expected more than measure.start_threshold_kN (5), found 5",
    ),
];

#[test]
fn every_mistake_in_a_file_is_told_in_its_own_words() {
    for (toml, expected) in MISTAKES {
        assert_eq!(lines(load(toml)).join("\n"), *expected, "\n{toml}");
    }
    assert!(MISTAKES.len() + RIG_MISTAKES.len() >= 60);
}

#[test]
fn every_mistake_in_a_rig_is_told_in_its_own_words() {
    for (rest, expected) in RIG_MISTAKES {
        let toml = format!("{RIG_HEAD}{rest}\n");
        assert_eq!(lines(load(&toml)).join("\n"), *expected, "\n{toml}");
    }
    for name in ["", "A", "a_b", "-a", "a-", "rig 1", &"a".repeat(33)] {
        let toml = format!("[[rig]]\nname = \"{name}\"\nport = \"/dev/x\"\ninstrument = \"framed\"\n");
        let expected =
            format!("f:2:8: rig.name: expected 1 to 32 of a-z, 0-9 and inner hyphens, found \"{name}\"");
        assert_eq!(lines(load(&toml)), [expected]);
    }
    let relative = "[[rig]]\nname = \"a\"\nport = \"COM3\"\ninstrument = \"framed\"\n";
    assert_eq!(
        lines(load(relative)),
        ["f:3:8: rig.port: expected an absolute path such as \"/dev/serial/by-id/usb-...\", found \"COM3\""]
    );
}

#[test]
fn all_mistakes_of_a_file_are_told_at_once_in_order() {
    let toml = "[store]\nfolder = 1\n[daemon]\nlog = 2\nlisten = 3\n[masure]\n";
    let places: Vec<String> = lines(load(toml)).iter().map(|line| line[..5].to_owned()).collect();
    assert_eq!(places, ["f:2:1", "f:4:7", "f:5:1", "f:6:2"]);
}

#[test]
fn a_folder_too_long_for_its_socket_is_refused_at_the_byte() {
    let folder = |n: usize| format!("[store]\nfolder = \"/{}\"\n", "x".repeat(n - 1));
    assert!(load(&folder(98)).is_ok());
    let told = lines(load(&folder(99)));
    assert!(told[0].starts_with("f:2:10: store.folder: expected a folder of at most 98 bytes"), "{told:?}");
}

#[test]
fn every_mistake_in_a_variable_is_told_in_its_own_words() {
    for (name, value, expected) in [
        (
            "BOLTSCRIBE__DAEMON__LISTN",
            "x",
            "expected a known variable, found 'BOLTSCRIBE__DAEMON__LISTN'; the nearest is BOLTSCRIBE__DAEMON__LISTEN",
        ),
        (
            "BOLTSCRIBE__daemon__log",
            "x",
            "expected a known variable, found 'BOLTSCRIBE__daemon__log'; the nearest is BOLTSCRIBE__DAEMON__LOG",
        ),
        ("BOLTSCRIBE__RIG__0__PORT", "/dev/x", "rigs are set in files only"),
        (
            "BOLTSCRIBE__DAEMON__LOG",
            "loud",
            "daemon.log: expected one of error, warn, info, debug, trace, found 'loud'",
        ),
        (
            "BOLTSCRIBE__MEASURE__LOWPASS_HZ",
            "true",
            "measure.lowpass_hz: expected a number from 1 to 100000, found 'true'",
        ),
        (
            "BOLTSCRIBE__MEASURE__LOWPASS_HZ",
            "NaN",
            "measure.lowpass_hz: expected a number from 1 to 100000, found 'NaN'",
        ),
        (
            "BOLTSCRIBE__MEASURE__LOWPASS_HZ",
            "",
            "measure.lowpass_hz: expected a number from 1 to 100000, found ''",
        ),
        (
            "BOLTSCRIBE__MEASURE__LOWPASS_HZ",
            "200 Hz",
            "measure.lowpass_hz: expected a number from 1 to 100000, found '200 Hz'",
        ),
        (
            "BOLTSCRIBE__MEASURE__GATES_S",
            "2,1",
            "measure.gates_s: expected a list of 1 to 16 numbers above 0 and at most 300, ascending, found '2,1'",
        ),
        (
            "BOLTSCRIBE__STORE__FOLDER",
            "data",
            "store.folder: expected an absolute folder such as \"/var/lib/boltscribe\", found 'data'",
        ),
    ] {
        let result = assemble(None, variables(&[(name, value)]), |_| Ok(vec![]));
        assert_eq!(lines(result), [format!("environment {name}: {expected}")]);
    }
}

#[test]
fn variables_win_over_the_file_and_the_file_over_the_defaults() {
    let file = text("f", "[daemon]\nlog = \"warn\"\n[measure]\ngates_s = [1, 2.5]\nlowpass_hz = 100\n");
    let set = [
        ("BOLTSCRIBE__MEASURE__LOWPASS_HZ", "50"),
        ("BOLTSCRIBE__MEASURE__START_THRESHOLD_KN", "0.25"),
        ("PATH", "/bin"),
        ("BOLTSCRIBE_OTHER", "x"),
    ];
    let loaded = assemble(Some(&file), variables(&set), |_| Ok(vec![])).unwrap();
    let settings = loaded.settings;
    assert_eq!(settings.daemon.listen.port(), 7483);
    assert_eq!(settings.daemon.log.word(), "warn");
    assert_eq!(settings.measure.gates_s, [1.0, 2.5]);
    assert_eq!(settings.measure.lowpass_hz, 50.0);
    assert_eq!(settings.measure.start_threshold_kn, Some(0.25));
    let shown: Vec<String> = loaded.values.iter().map(ToString::to_string).collect();
    assert_eq!(
        shown,
        [
            "daemon.listen = \"127.0.0.1:7483\"  # built-in",
            "daemon.log = \"warn\"  # f:2:7",
            "store.folder = \"/var/lib/boltscribe\"  # built-in",
            "measure.gates_s = [1.0, 2.5]  # f:4:11",
            "measure.lowpass_hz = 50.0  # environment BOLTSCRIBE__MEASURE__LOWPASS_HZ",
            "measure.start_threshold_kN = 0.25  # environment BOLTSCRIBE__MEASURE__START_THRESHOLD_KN",
            "measure.short_s = 0.5  # built-in",
            "measure.tensions_kN = []  # built-in",
            "forward.org = \"boltscribe\"  # built-in",
            "forward.bucket = \"boltscribe\"  # built-in",
            "forward.health_s = 60  # built-in",
            "forward.batch_max = 500  # built-in",
            "forward.settle_s = 60  # built-in",
        ]
    );
}

const FULL_RIG: &str = "name = \"bench-1\"\nport = \"/dev/serial/by-id/usb-x\"\ninstrument = \"lines\"\nbaud = 57600\n\
    rate_hz = 80\nrange_kN = 250\ncount_min = -8388608\ncount_max = 8388607\npattern = \"{tick},{value}\"\n\
    tick_hz = 1_000_000\ntick_bits = 24\ndecimals = 2\n\
    calibration = { id = \"c\", coefficients_kN = [0.5, 2.5e-5], nominal = true }\n";

#[test]
fn a_rig_becomes_what_its_pipeline_takes() {
    let settings = load(&format!("[measure]\nshort_s = 1\n[[rig]]\n{FULL_RIG}")).unwrap().settings;
    let rig = &settings.rigs[0];
    let line = rig.line().unwrap();
    assert_eq!((rig.name.as_str(), line.baud), ("bench-1", 57_600));
    let frames::Settings::Lines(lines) = &line.pipeline.instrument else {
        panic!("expected lines");
    };
    assert_eq!((lines.tick_hz, lines.tick_bits, lines.decimals), (Some(1e6), 24, 2));
    assert_eq!(line.pipeline.samples.count_min, Some(-8_388_608));
    assert_eq!(line.pipeline.runs.range_kn, Some(250.0));
    assert_eq!(line.pipeline.runs.short_s, 1.0);
    let calibration = line.pipeline.calibration.as_ref().unwrap();
    assert_eq!(calibration.check(), Ok(()));
    assert_eq!(calibration.range_kn, Some(250.0));
    let least = load(&format!("{RIG_HEAD}instrument = \"framed\"\n")).unwrap().settings;
    let least = least.rigs[0].line().unwrap();
    assert_eq!(least.baud, 115_200);
    assert_eq!(least.pipeline.instrument, frames::Settings::Framed);
    assert_eq!(least.pipeline.runs, runs::Settings::default());
}

#[test]
fn a_rig_reads_back_from_its_own_text() {
    let measure = runs::Settings::default();
    let framed = "name = \"a\"\nport = \"/dev/x\"\ninstrument = \"framed\"\n";
    let plain =
        "name = \"a\"\nport = \"/dev/x\"\ninstrument = \"lines\"\npattern = \"w \\\"{value}\\\" {skip}\"\n";
    let dials = DIALS.map(|(keys, _)| format!("name = \"press\"\ninstrument = \"typed\"\n{keys}"));
    for source in [FULL_RIG, framed, plain].into_iter().chain(dials.iter().map(String::as_str)) {
        let rig = parse_rig("r", source, &measure).unwrap();
        let again = rig_text(&rig).unwrap();
        assert_eq!(parse_rig("again", &again, &measure).unwrap(), rig, "{again}");
    }
    let wrong = parse_rig("r", "name = 1\n", &measure).unwrap_err();
    assert_eq!(wrong.len(), 3);
}

#[test]
fn rig_files_join_the_rigs_of_the_settings_file() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("boltscribe.toml");
    let settings = format!("[store]\nfolder = {:?}\n[[rig]]\n{FULL_RIG}", folder.path());
    std::fs::write(&file, settings).unwrap();
    std::fs::create_dir(folder.path().join("rigs")).unwrap();
    let rig = |file: &str, name: &str, port: &str| {
        let text = format!("name = \"{name}\"\nport = \"{port}\"\ninstrument = \"framed\"\n");
        std::fs::write(folder.path().join("rigs").join(file), text).unwrap();
    };
    rig("b.toml", "two", "/dev/b");
    rig("a.toml", "one", "/dev/a");
    rig("c.toml.part", "half", "/dev/c");
    let loaded = Settings::load(Some(&file), none()).unwrap();
    let names: Vec<&str> = loaded.settings.rigs.iter().map(|rig| rig.name.as_str()).collect();
    assert_eq!(names, ["bench-1", "one", "two"]);
    let port = loaded.values.iter().find(|v| v.key == "rig[1].port").unwrap();
    assert!(port.source.ends_with("rigs/a.toml:2:8"), "{port}");
    // A name taken by another file is refused with both places.
    rig("b.toml", "one", "/dev/b");
    let told = lines(Settings::load(Some(&file), none()));
    assert_eq!(told.len(), 1);
    assert!(
        told[0].contains("rigs/b.toml:1:8: rig.name: expected a name of its own, found 'one' at "),
        "{told:?}"
    );
    // A broken rig file is no reason to go on without it.
    std::fs::write(folder.path().join("rigs/b.toml"), "name = \n").unwrap();
    assert!(lines(Settings::load(Some(&file), none()))[0].contains("rigs/b.toml:1:8: not TOML"));
}

#[test]
fn a_class_has_one_limit_in_one_unit() {
    let head = "[[limit]]\nclass = \"a\"\nsetup = \"direct\"\n";
    let loaded = load(&format!("{head}least_Nm = 250.5\n")).unwrap();
    let limit = &loaded.settings.limits[0];
    assert_eq!((limit.limit, limit.unit), (Limit::Lower(250.5), LimitUnit::NewtonMetres));
    for (text, told) in [
        (
            head.to_owned(),
            "f:2:9: limit.class: expected one of least_kN, most_kN, least_Nm and most_Nm beside it, found none",
        ),
        (
            format!("{head}least_kN = 5.0\nmost_kN = 9.0\n"),
            "f:5:11: limit.most_kN: expected one limit, found least_kN too",
        ),
        (format!("{head}most_kN = 0.0\n"), "f:4:11: limit.most_kN: expected"),
        (
            format!("{head}least_kN = 5.0\n{head}most_Nm = 9.0\n"),
            "f:6:9: limit.class: expected one limit for a class, found a second for 'a'",
        ),
        (format!("{head}measure = \"best\"\nleast_kN = 5.0\n"), "f:4:11: limit.measure: expected"),
    ] {
        let found = lines(load(&text));
        assert!(found.len() == 1 && found[0].starts_with(told), "{text}: {found:?}");
    }
}

#[test]
fn a_thirty_third_rig_is_refused() {
    let rigs = |n: usize| -> String {
        (0..n)
            .map(|i| format!("[[rig]]\nname = \"r{i}\"\nport = \"/dev/p{i}\"\ninstrument = \"framed\"\n"))
            .collect()
    };
    assert_eq!(load(&rigs(32)).unwrap().settings.rigs.len(), 32);
    assert_eq!(lines(load(&rigs(33))), ["f:129:1: rig: expected at most 32 rigs, found 33"]);
}

#[test]
fn a_file_that_cannot_be_read_never_means_defaults() {
    let told = lines(Settings::load(Some(Path::new("/nowhere/b.toml")), none()));
    assert_eq!(told.len(), 1);
    assert!(told[0].starts_with("/nowhere/b.toml: cannot read the settings: "), "{told:?}");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("f");
    std::fs::write(&path, b"# \xff").unwrap();
    assert!(
        lines(Settings::load(Some(&path), none()))[0]
            .ends_with("expected UTF-8 text, found another byte at offset 2")
    );
    std::fs::write(&path, vec![b'#'; (1 << 20) + 1]).unwrap();
    assert!(
        lines(Settings::load(Some(&path), none()))[0]
            .ends_with("expected at most 1048576 bytes, found 1048577")
    );
}
