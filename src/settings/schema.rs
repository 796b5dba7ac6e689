//! The one table of keys: name, kind, range, and whether it must be given.
//!
//! What a key means and its unit stands in config/boltscribe.toml, which a test holds against this table.
//! This file must not know where values come from.

use super::kinds::{Kind, Limits};
use super::rules;
use boltscribe_analysis::results::DialUnit;

/// One key of a table.
pub(super) struct Key {
    pub name: &'static str,
    pub kind: Kind,
    pub required: Required,
}

/// Whether a key must be given.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Required {
    No,
    Yes,
    /// Unless another key of the table has this word.
    Unless(&'static str, &'static str),
}

/// One top-level table.
pub(super) struct Section {
    pub name: &'static str,
    pub keys: &'static [Key],
    /// A list of tables: `[[name]]`.
    pub many: bool,
}

const fn key(name: &'static str, kind: Kind) -> Key {
    Key { name, kind, required: Required::No }
}

const fn required(name: &'static str, kind: Kind) -> Key {
    Key { name, kind, required: Required::Yes }
}

/// Greatest tension, kN.
const TENSION_KN_MAX: f64 = 10_000.0;
/// Greatest equivalent torque, N·m.
const TORQUE_NM_MAX: f64 = 1_000_000.0;

pub(super) const SECTIONS: &[Section] = &[
    Section {
        name: "daemon",
        many: false,
        keys: &[
            key("listen", Kind::Text(rules::listen)),
            key("host", Kind::Text(rules::own_name)),
            key("tokens_file", Kind::Text(rules::file)),
            key("time_zone", Kind::Text(rules::time_zone)),
            key("log", Kind::Choice(&["error", "warn", "info", "debug", "trace"])),
        ],
    },
    Section { name: "store", many: false, keys: &[key("folder", Kind::Text(rules::folder))] },
    Section {
        name: "measure",
        many: false,
        keys: &[
            key(
                "gates_s",
                Kind::Numbers { limits: Limits::positive(300.0), least: 1, most: 16, ascending: true },
            ),
            key("lowpass_hz", Kind::Number(Limits::from_to(1.0, 100_000.0))),
            key("start_threshold_kN", Kind::Number(Limits::positive(TENSION_KN_MAX))),
            key("zero_shift_limit_kN", Kind::Number(Limits::positive(TENSION_KN_MAX))),
            key("short_s", Kind::Number(Limits::from_to(0.0, 60.0))),
            key(
                "tensions_kN",
                Kind::Numbers {
                    limits: Limits::positive(TENSION_KN_MAX),
                    least: 0,
                    most: 16,
                    ascending: true,
                },
            ),
        ],
    },
    Section {
        name: "forward",
        many: false,
        keys: &[
            key("url", Kind::Text(rules::forward_url)),
            key("org", Kind::Text(rules::id)),
            key("bucket", Kind::Text(rules::id)),
            key("token_file", Kind::Text(rules::file)),
            key("ca_file", Kind::Text(rules::file)),
            key("health_s", Kind::Whole { min: 1, max: 86_400 }),
            key("batch_max", Kind::Whole { min: 1, max: 10_000 }),
            key("settle_s", Kind::Whole { min: 1, max: 86_400 }),
        ],
    },
    Section {
        name: "limit",
        many: true,
        keys: &[
            required("class", Kind::Text(rules::id)),
            required("setup", Kind::Text(rules::id)),
            key("measure", Kind::Choice(&["gate", "held", "peak", "plateau"])),
            key("least_kN", Kind::Number(Limits::positive(TENSION_KN_MAX))),
            key("most_kN", Kind::Number(Limits::positive(TENSION_KN_MAX))),
            key("least_Nm", Kind::Number(Limits::positive(TORQUE_NM_MAX))),
            key("most_Nm", Kind::Number(Limits::positive(TORQUE_NM_MAX))),
            key(
                "looks",
                Kind::Numbers { limits: Limits::from_to(2.0, 200.0), least: 2, most: 5, ascending: true },
            ),
        ],
    },
    Section { name: "rig", many: true, keys: RIG },
];

/// Keys of a rig, in a `[[rig]]` table or in a file of its own.
pub(super) const RIG: &[Key] = &[
    required("name", Kind::Text(rules::rig_name)),
    // A dial has no line; that it has no port either is checked where keys exclude one another.
    Key { name: "port", kind: Kind::Text(rules::port), required: Required::Unless("instrument", "typed") },
    required("instrument", Kind::Choice(&["framed", "lines", "typed"])),
    key("baud", Kind::Whole { min: 300, max: 12_000_000 }),
    key("rate_hz", Kind::Number(Limits::from_to(0.1, 20_000_000.0))),
    key("range_kN", Kind::Number(Limits::positive(TENSION_KN_MAX))),
    key("count_min", Kind::Whole { min: i32::MIN as i64, max: i32::MAX as i64 }),
    key("count_max", Kind::Whole { min: i32::MIN as i64, max: i32::MAX as i64 }),
    key("pattern", Kind::Text(rules::pattern)),
    key("tick_hz", Kind::Number(Limits::from_to(1.0, 1e10))),
    key("tick_bits", Kind::Whole { min: 8, max: 64 }),
    key("decimals", Kind::Whole { min: 0, max: 9 }),
    key("dial_unit", Kind::Choice(DialUnit::NAMES)),
    key("dial_psi", Kind::Choice(&["force", "oil-pressure"])),
    key("dial_resolution", Kind::Number(Limits::positive(1_000_000.0))),
    key("piston_area_mm2", Kind::Number(Limits::positive(1_000_000.0))),
    key("piston_area_in2", Kind::Number(Limits::positive(2000.0))),
    key("calibration", Kind::Table(CALIBRATION)),
];

const CALIBRATION: &[Key] = &[
    required("id", Kind::Text(rules::id)),
    required("coefficients_kN", Kind::Numbers { limits: Limits::ANY, least: 2, most: 4, ascending: false }),
    required("nominal", Kind::Switch),
];
