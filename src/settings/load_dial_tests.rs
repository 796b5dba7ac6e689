//! Rigs that are a dial read by hand: what their keys mean, and their mistakes.
//!
//! Sentences are compared whole, with file, line and column.

use super::*;

/// Each: keys of a dial, and what 100 on its face is in newtons.
pub(super) const DIALS: [(&str, f64); 6] = [
    ("dial_unit = \"kN\"\ndial_resolution = 0.5\nrange_kN = 250\n", 100_000.0),
    ("dial_unit = \"lbf\"\ndial_resolution = 1\n", 444.822_161_526_05),
    ("dial_unit = \"psi\"\ndial_psi = \"force\"\ndial_resolution = 1\n", 444.822_161_526_05),
    // 100 psi on 4 in² are 400 lbf.
    (
        "dial_unit = \"psi\"\ndial_psi = \"oil-pressure\"\ndial_resolution = 1\npiston_area_in2 = 4\n",
        1_779.288_646_104_2,
    ),
    // 100 bar are 10 N/mm².
    ("dial_unit = \"bar\"\ndial_resolution = 1\npiston_area_mm2 = 5000\n", 50_000.0),
    (
        "dial_unit = \"N\"\ndial_resolution = 1\ncalibration = { id = \"c\", coefficients_kN = [0.5, 0.9], nominal = false }\n",
        590.0,
    ),
];

#[test]
fn a_dial_needs_no_port_and_means_what_its_keys_say() {
    for (keys, newtons) in DIALS {
        let rigs = load(&format!("[[rig]]\nname = \"press\"\ninstrument = \"typed\"\n{keys}"))
            .unwrap()
            .settings
            .rigs;
        assert_eq!((rigs[0].port(), rigs[0].line()), (None, None));
        let read = rigs[0].dial().unwrap().read(100.0, None).unwrap();
        assert!((read.tension.0 - newtons).abs() < 1e-9 * newtons, "{keys}: {}", read.tension.0);
    }
}

/// Each: keys of a rig with `instrument = "typed"`, and the line each is answered with.
const DIAL_MISTAKES: &[(&str, &str)] = &[
    (
        "",
        "f:1:1: rig.dial_unit: expected one of kN, N, lbf, psi, bar, MPa with instrument = \"typed\", found none",
    ),
    (
        "dial_unit = \"kN\"",
        "f:1:1: rig.dial_resolution: expected the dial's smallest step in kN with instrument = \"typed\", found none",
    ),
    ("dial_unit = \"kn\"", "f:4:13: rig.dial_unit: expected one of kN, N, lbf, psi, bar, MPa, found \"kn\""),
    (
        "dial_unit = \"kN\"\ndial_resolution = 0",
        "f:5:19: rig.dial_resolution: expected a number above 0 and at most 1000000, found 0",
    ),
    (
        "dial_unit = \"kN\"\ndial_resolution = 250\nrange_kN = 250",
        "f:5:19: rig.dial_resolution: expected less than the dial's range of 250 kN, found 250 kN",
    ),
    (
        "dial_unit = \"kN\"\ndial_resolution = 1\nport = \"/dev/x\"\nbaud = 9600",
        "f:6:8: rig.port: expected no such key with instrument = \"typed\", whose dial is read by hand\n\
         f:7:8: rig.baud: expected no such key with instrument = \"typed\", whose dial is read by hand",
    ),
    (
        "dial_unit = \"psi\"\ndial_resolution = 1",
        "f:1:1: rig.dial_psi: expected what a dial marked psi reads, \"force\" (its figures are lbf) or \
         \"oil-pressure\" (with the piston's area), found none",
    ),
    (
        "dial_unit = \"psi\"\ndial_resolution = 1\ndial_psi = \"oil-pressure\"",
        "f:1:1: rig.piston_area_mm2: expected piston_area_mm2 or piston_area_in2 beside a dial of oil pressure, found none",
    ),
    (
        "dial_unit = \"psi\"\ndial_resolution = 1\ndial_psi = \"force\"\npiston_area_in2 = 4",
        "f:7:19: rig.piston_area_in2: expected no such key beside a dial that reads force",
    ),
    (
        "dial_unit = \"bar\"\ndial_resolution = 1\npiston_area_in2 = 4\npiston_area_mm2 = 2580",
        "f:6:19: rig.piston_area_in2: expected one of piston_area_mm2 and piston_area_in2, found both",
    ),
    (
        "dial_unit = \"kN\"\ndial_resolution = 1\ndial_psi = \"force\"",
        "f:6:12: rig.dial_psi: expected no such key with dial_unit = \"kN\", found one",
    ),
];

#[test]
fn every_mistake_in_a_dial_is_told_in_its_own_words() {
    for (rest, expected) in DIAL_MISTAKES {
        let toml = format!("[[rig]]\nname = \"press\"\ninstrument = \"typed\"\n{rest}\n");
        assert_eq!(lines(load(&toml)).join("\n"), *expected, "\n{toml}");
    }
    let stranger = format!("{RIG_HEAD}instrument = \"lines\"\ndial_unit = \"kN\"\n");
    let told = "f:5:13: rig.dial_unit: expected no such key with instrument = \"lines\", which has no dial";
    assert_eq!(lines(load(&stranger)), [told]);
    let portless = "[[rig]]\nname = \"a\"\ninstrument = \"lines\"\n";
    assert_eq!(lines(load(portless)), ["f:1:1: rig.port: expected text in quotes, found no such key"]);
}
