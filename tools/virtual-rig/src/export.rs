//! What a scenario defines, in the order in which a person would enter it; and its trace.
//!
//! This file must not decide where the text goes.

use crate::model::contacts;
use crate::scenario::Scenario;
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
