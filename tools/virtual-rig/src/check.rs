//! Refuses a scenario that cannot be played, before anything is made of it.
//!
//! Each refusal names the key, what was expected and what was found. This file must not repair
//! anything: a value is taken as it stands or not at all.

use crate::scenario::{PieceKind, Release, Rig, Scenario, ScenarioError, Step, Tool};
use core::fmt::Display;
use core::ops::RangeInclusive;

type Checked = Result<(), ScenarioError>;

/// Checks every value of a scenario.
///
/// # Errors
/// The first value that cannot be used.
pub fn check(scenario: &Scenario) -> Checked {
    rig(&scenario.rig)?;
    bolt(scenario)?;
    for (i, tool) in scenario.tools.iter().enumerate() {
        check_tool(&format!("tools[{i}]"), tool)?;
    }
    pieces(scenario)?;
    setups(scenario)?;
    if scenario.steps.is_empty() {
        return refuse("steps", "at least one step", "none");
    }
    for (i, step) in scenario.steps.iter().enumerate() {
        let last = i + 1 == scenario.steps.len();
        check_step(&format!("steps[{i}]"), step, last, scenario)?;
    }
    for (i, fault) in scenario.faults.iter().enumerate() {
        number(format!("faults[{i}].at_s"), fault.at_s, 0.0..=1e7)?;
    }
    Ok(())
}

fn refuse(key: impl Display, expected: impl Display, found: impl Display) -> Checked {
    Err(ScenarioError::Value {
        key: key.to_string(),
        expected: expected.to_string(),
        found: found.to_string(),
    })
}

fn number(key: impl Display, value: f64, range: RangeInclusive<f64>) -> Checked {
    // A NaN lies in no range.
    if range.contains(&value) {
        return Ok(());
    }
    refuse(key, format_args!("{} to {}", range.start(), range.end()), value)
}

fn text(key: impl Display, value: &str) -> Checked {
    let printable = value.bytes().all(|byte| (0x20..0x7f).contains(&byte));
    if printable && (1..=32).contains(&value.len()) {
        return Ok(());
    }
    refuse(key, "1 to 32 printable ASCII characters", format_args!("{value:?}"))
}

fn rig(rig: &Rig) -> Checked {
    text("rig.serial", &rig.serial)?;
    text("rig.firmware", &rig.firmware)?;
    if !rig.firmware.starts_with(boltscribe_wire::SIMULATED_FIRMWARE) {
        let expected = "a name that begins with virtual-rig, as a device that invents its counts has";
        return refuse("rig.firmware", expected, format_args!("{:?}", rig.firmware));
    }
    if !(8..=32).contains(&rig.bits) {
        return refuse("rig.bits", "8 to 32", rig.bits);
    }
    number("rig.counts_per_kN", rig.counts_per_kn, 1e-3..=1e7)?;
    number("rig.range_kN", rig.range_kn, 1.0..=10_000.0)?;
    number("rig.range_kN times rig.counts_per_kN", rig.range_kn * rig.counts_per_kn, 10.0..=2_147_483_647.0)?;
    if rig.rates_hz.is_empty() || rig.rates_hz.len() > 12 {
        return refuse("rig.rates_hz", "1 to 12 rates", rig.rates_hz.len());
    }
    number("rig.tick_rate_hz", f64::from(rig.tick_rate_hz), 1000.0..=1e9)?;
    for rate_hz in &rig.rates_hz {
        number("rig.rates_hz", f64::from(*rate_hz), 10.0..=50e6)?;
        if !rig.tick_rate_hz.is_multiple_of(*rate_hz) {
            return refuse("rig.rates_hz", "rates that divide rig.tick_rate_hz", rate_hz);
        }
    }
    if !rig.rates_hz.is_sorted_by(|a, b| a < b) {
        return refuse("rig.rates_hz", "increasing rates", format_args!("{:?}", rig.rates_hz));
    }
    if !rig.rates_hz.contains(&rig.rate_hz) {
        return refuse("rig.rate_hz", "one of rig.rates_hz", rig.rate_hz);
    }
    number("rig.noise_kN", rig.noise_kn, 0.0..=100.0)?;
    number("rig.hum_kN", rig.hum_kn, 0.0..=100.0)?;
    number("rig.hum_hz", rig.hum_hz, 10.0..=100.0)?;
    number("rig.spikes_per_s", rig.spikes_per_s, 0.0..=100.0)?;
    number("rig.spike_kN", rig.spike_kn, 0.0..=10_000.0)?;
    number("rig.zero_kN", rig.zero_kn, -10_000.0..=10_000.0)?;
    number("rig.zero_drift_kN_per_min", rig.zero_drift_kn_per_min, -10.0..=10.0)?;
    number("rig.ppm", rig.ppm, -10_000.0..=10_000.0)
}

fn bolt(scenario: &Scenario) -> Checked {
    let bolt = &scenario.bolt;
    text("bolt.name", &bolt.name)?;
    number("bolt.diameter_mm", bolt.diameter_mm, 3.0..=150.0)?;
    number("bolt.pitch_mm", bolt.pitch_mm, 0.3..=10.0)?;
    number("bolt.nut_factor", bolt.nut_factor, 0.05..=0.5)?;
    number("bolt.stiffness_kN_per_mm", bolt.stiffness_kn_per_mm, 1.0..=10_000.0)?;
    number("bolt.allowed_kN", bolt.allowed_kn, 1.0..=10_000.0)?;
    let friction = &scenario.friction;
    number("friction.heat_percent", friction.heat_percent, -30.0..=30.0)?;
    number("friction.heat_runs", friction.heat_runs, 0.0..=1000.0)?;
    number("friction.reuse_percent_per_run", friction.reuse_percent_per_run, -5.0..=5.0)?;
    number("friction.scatter_percent", friction.scatter_percent, 0.0..=10.0)
}

fn check_tool(at: &str, tool: &Tool) -> Checked {
    text(format_args!("{at}.name"), &tool.name)?;
    number(format_args!("{at}.blow_rate_hz"), tool.blow_rate_hz, 8.0..=60.0)?;
    number(format_args!("{at}.jitter_percent"), tool.jitter_percent, 0.0..=8.0)?;
    match (tool.torque_nm, tool.energy_j) {
        (Some(torque_nm), None) => number(format_args!("{at}.torque_Nm"), torque_nm, 0.1..=100_000.0)?,
        (None, Some(energy_j)) => number(format_args!("{at}.energy_J"), energy_j, 0.01..=10_000.0)?,
        _ => return refuse(at, "exactly one of torque_Nm and energy_J", "both or none"),
    }
    number(format_args!("{at}.time_constant_s"), tool.time_constant_s, 0.01..=20.0)?;
    number(format_args!("{at}.step_scatter_percent"), tool.step_scatter_percent, 0.0..=30.0)?;
    number(format_args!("{at}.soft_start_blows"), f64::from(tool.soft_start_blows), 0.0..=100.0)?;
    number(format_args!("{at}.soft_start_from"), tool.soft_start_from, 0.05..=1.0)?;
    number(format_args!("{at}.sag_percent_per_run"), tool.sag_percent_per_run, 0.0..=5.0)?;
    number(format_args!("{at}.rise_ms"), tool.rise_ms, 0.5..=2.0)?;
    number(format_args!("{at}.ringing_kN"), tool.ringing_kn, 0.0..=1000.0)?;
    number(format_args!("{at}.ringing_scatter_percent"), tool.ringing_scatter_percent, 0.0..=30.0)?;
    number(format_args!("{at}.ringing_hz"), tool.ringing_hz, 150.0..=2000.0)?;
    number(format_args!("{at}.ringing_tau_ms"), tool.ringing_tau_ms, 1.0..=8.0)?;
    number(format_args!("{at}.relaxation_percent"), tool.relaxation_percent, 0.0..=1.0)?;
    number(format_args!("{at}.relaxation_s"), tool.relaxation_s, 0.05..=100.0)
}

fn pieces(scenario: &Scenario) -> Checked {
    for (i, piece) in scenario.pieces.iter().enumerate() {
        let at = format!("pieces[{i}]");
        text(format_args!("{at}.name"), &piece.name)?;
        number(format_args!("{at}.length_mm"), piece.length_mm, 1.0..=3000.0)?;
        number(format_args!("{at}.mass_g"), piece.mass_g, 1.0..=50_000.0)?;
        number(format_args!("{at}.transmission"), piece.transmission, 0.3..=1.0)?;
        if (piece.kind == PieceKind::Socket) == piece.drive_out.is_some() {
            return refuse(format_args!("{at}.drive_out"), "a drive, or none for a socket", "the other");
        }
        if scenario.pieces[..i].iter().any(|other| other.name == piece.name) {
            return refuse(format_args!("{at}.name"), "a name used once", &piece.name);
        }
    }
    Ok(())
}

fn setups(scenario: &Scenario) -> Checked {
    for (i, setup) in scenario.setups.iter().enumerate() {
        let at = format!("setups[{i}]");
        text(format_args!("{at}.name"), &setup.name)?;
        number(format_args!("{at}.contact_transmission"), setup.contact_transmission, 0.5..=1.0)?;
        if setup.chain.is_empty() || setup.chain.len() > 12 {
            return refuse(format_args!("{at}.chain"), "1 to 12 pieces", setup.chain.len());
        }
        if let Some(tool) = &setup.tool
            && !scenario.tools.iter().any(|known| known.name == *tool)
        {
            return refuse(format_args!("{at}.tool"), "the name of a tool", tool);
        }
        let mut drive: Option<&str> = None;
        for (j, name) in setup.chain.iter().enumerate() {
            let Some(piece) = scenario.pieces.iter().find(|piece| piece.name == *name) else {
                return refuse(format_args!("{at}.chain[{j}]"), "the name of a piece", name);
            };
            if drive.is_some_and(|drive| drive != piece.drive_in) {
                let expected = format!("a piece with a {} drive", drive.unwrap_or_default());
                return refuse(format_args!("{at}.chain[{j}]"), expected, &piece.drive_in);
            }
            let last = j + 1 == setup.chain.len();
            if last != (piece.kind == PieceKind::Socket) {
                return refuse(format_args!("{at}.chain[{j}]"), "a socket at the end and only there", name);
            }
            drive = piece.drive_out.as_deref();
        }
        if scenario.setups[..i].iter().any(|other| other.name == setup.name) {
            return refuse(format_args!("{at}.name"), "a name used once", &setup.name);
        }
    }
    Ok(())
}

fn check_step(at: &str, step: &Step, last: bool, scenario: &Scenario) -> Checked {
    let Some(setup) = scenario.setups.iter().find(|setup| setup.name == step.setup) else {
        return refuse(format_args!("{at}.setup"), "the name of a setup", &step.setup);
    };
    let Some(tool) = scenario.tools.iter().find(|tool| tool.name == step.tool) else {
        return refuse(format_args!("{at}.tool"), "the name of a tool", &step.tool);
    };
    if setup.tool.as_ref().is_some_and(|only| *only != step.tool) {
        return refuse(format_args!("{at}.tool"), format_args!("the tool of {}", setup.name), &step.tool);
    }
    let first = scenario.pieces.iter().find(|piece| Some(&piece.name) == setup.chain.first());
    if first.is_some_and(|piece| piece.drive_in != tool.drive) {
        return refuse(
            format_args!("{at}.setup"),
            format_args!("a chain for a {} drive", tool.drive),
            &step.setup,
        );
    }
    number(format_args!("{at}.pause_s"), step.pause_s, 0.6..=86_400.0)?;
    number(format_args!("{at}.drive_s"), step.drive_s, 0.2..=120.0)?;
    // The held value needs 0.2 s behind the 0.2 s that the level takes to settle.
    number(format_args!("{at}.hold_s"), step.hold_s, 0.4..=3600.0)?;
    number(format_args!("{at}.release_s"), step.release_s, 0.2..=1.0)?;
    if let Some(second) = &step.second_pull {
        number(format_args!("{at}.second_pull.after_s"), second.after_s, 0.4..=60.0)?;
        number(format_args!("{at}.second_pull.drive_s"), second.drive_s, 0.2..=120.0)?;
        number(format_args!("{at}.second_pull.limit_ratio"), second.limit_ratio, 0.9..=1.3)?;
    }
    if let Some(knock) = &step.knock {
        number(format_args!("{at}.knock.before_s"), knock.before_s, 0.3..=step.pause_s)?;
        number(format_args!("{at}.knock.amplitude_kN"), knock.amplitude_kn, 0.0..=1000.0)?;
    }
    if step.release == Release::None && !last {
        return refuse(format_args!("{at}.release"), "smooth or reverse before the last step", "none");
    }
    Ok(())
}
