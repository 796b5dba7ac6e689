//! What a scenario defines, in the order in which a person would enter it; and its trace.
//!
//! This file must not decide where the text goes.

use crate::model::contacts;
use crate::scenario::{PieceKind, Scenario};
use crate::serve::SIMULATED;
use crate::stream::Rendered;
use serde_json::{Value, json};
use std::io::{self, Write};

/// The bolt, the tools, the pieces and the setups, one JSON object each.
#[must_use]
pub fn definitions(scenario: &Scenario) -> Vec<Value> {
    let bolt = &scenario.bolt;
    let mut out = vec![json!({"bolt": {
        "name": bolt.name, "thread": bolt.thread, "diameter_mm": bolt.diameter_mm,
        "pitch_mm": bolt.pitch_mm, "nut_factor": bolt.nut_factor, "allowed_kN": bolt.allowed_kn,
    }})];
    out.extend(scenario.tools.iter().map(|tool| json!({"tool": {"name": tool.name, "drive": tool.drive}})));
    out.extend(scenario.pieces.iter().map(|piece| {
        json!({"piece": {
            "name": piece.name, "kind": piece.kind, "drive_in": piece.drive_in,
            "drive_out": piece.drive_out, "length_mm": piece.length_mm, "mass_g": piece.mass_g,
        }})
    }));
    out.extend(scenario.setups.iter().map(|setup| {
        json!({"setup": {
            "name": setup.name, "tool": setup.tool, "chain": setup.chain,
            "contacts": contacts(scenario, setup),
        }})
    }));
    out
}

/// The same as words for a command line, one command a line, words separated by tabs, as
/// `boltscribe setup …` takes them.
#[must_use]
pub fn arguments(scenario: &Scenario) -> Vec<String> {
    let bolt = &scenario.bolt;
    let number = |v: f64| v.to_string();
    let mut out = vec![line(&[
        "bolt",
        "add",
        &bolt.name,
        "--thread",
        &bolt.thread,
        "--diameter-mm",
        &number(bolt.diameter_mm),
        "--nut-factor",
        &number(bolt.nut_factor),
        "--allowed-kN",
        &number(bolt.allowed_kn),
    ])];
    for tool in &scenario.tools {
        out.push(line(&["tool", "add", &tool.name, "--anvil", &tool.drive, "--source", "battery"]));
    }
    for piece in &scenario.pieces {
        let (length, mass) = (number(piece.length_mm), number(piece.mass_g));
        let mut words =
            vec!["piece", "add", &piece.name, "--kind", kind(piece.kind), "--drive-in", &piece.drive_in];
        if let Some(out) = &piece.drive_out {
            words.extend(["--drive-out", out]);
        }
        words.extend(["--length-mm", &length, "--mass-g", &mass]);
        out.push(line(&words));
    }
    for setup in &scenario.setups {
        let mut words = vec!["chain", "add", &setup.name];
        words.extend(setup.chain.iter().map(String::as_str));
        out.push(line(&words));
    }
    out
}

/// The kind of a piece as a person enters it.
const fn kind(kind: PieceKind) -> &'static str {
    match kind {
        PieceKind::Socket => "socket",
        PieceKind::Extension => "extension",
        PieceKind::UniversalJoint => "universal-joint",
        PieceKind::Adapter => "adapter",
    }
}

fn line(words: &[&str]) -> String {
    words.join("\t")
}

/// The settings of a rig that hears this scenario on `port`, with a calibration from the scenario's own
/// figures: nominal, because no reference stands behind it.
#[must_use]
pub fn settings(scenario: &Scenario, name: &str, port: &str) -> String {
    let rig = &scenario.rig;
    format!(
        "[[rig]]\nname = \"{name}\"\nport = \"{port}\"\ninstrument = \"framed\"\nrate_hz = {}\nrange_kN = {:?}\n\
         calibration = {{ id = \"data sheet\", coefficients_kN = [0.0, {:?}], nominal = true }}\n",
        rig.rate_hz,
        rig.range_kn,
        1.0 / rig.counts_per_kn
    )
}

/// Writes a rendered scenario as a trace with the columns `time_s` and `tension_kN` (the
/// reading, zero included), or `counts` instead of the second.
///
/// # Errors
/// The writer failed.
pub fn trace(rendered: &Rendered, counts: bool, out: &mut dyn Write) -> io::Result<()> {
    let column = if counts { "counts" } else { "tension_kN" };
    writeln!(out, "# {SIMULATED}\r\ntime_s,{column}\r")?;
    for (i, count) in rendered.counts.iter().enumerate() {
        let time_s = i as f64 / rendered.rate_hz;
        if counts {
            writeln!(out, "{time_s:.7},{count}\r")?;
        } else {
            writeln!(out, "{time_s:.7},{:.6}\r", f64::from(*count) / rendered.counts_per_kn)?;
        }
    }
    Ok(())
}
