//! A quiet scenario for tests: no noise, no scatter, one tool, two setups.
//!
//! Whatever a test wants to see it adds itself, so that nothing else disturbs it.
#![allow(dead_code)] // Each test file uses a part of it.

/// TOML of a noise-free scenario with 16 blows a second and a limit of 80 kN before losses;
/// `rig` and `tool` are further lines of those tables, `rest` holds further tables.
pub fn quiet(rate_hz: u32, rig: &str, tool: &str, rest: &str) -> String {
    format!(
        r#"
name = "quiet"
seed = 1
[rig]
serial = "VR-TEST"
bits = 32
counts_per_kN = 1000000.0
range_kN = 200
rates_hz = [80, 500, 1000, 2000, 4000, 20000]
rate_hz = {rate_hz}
{rig}
[bolt]
name = "bolt"
thread = "M20x2.5"
diameter_mm = 20
pitch_mm = 2.5
nut_factor = 0.2
stiffness_kN_per_mm = 300
allowed_kN = 130
[[tools]]
name = "tool"
drive = "3/4"
blow_rate_hz = 16
{tool}
[[pieces]]
name = "socket"
kind = "socket"
drive_in = "3/4"
length_mm = 50
mass_g = 400
transmission = 1.0
[[pieces]]
name = "joint"
kind = "universal-joint"
drive_in = "3/4"
drive_out = "3/4"
length_mm = 100
mass_g = 700
transmission = 0.9
[[setups]]
name = "direct"
chain = ["socket"]
contact_transmission = 1.0
[[setups]]
name = "bent"
chain = ["joint", "socket"]
contact_transmission = 0.98
{rest}
"#
    )
}

/// Tool lines of a geometric approach without ringing.
pub const SILENT_TOOL: &str = "torque_Nm = 320\ntime_constant_s = 0.6\nringing_kN = 0\nringing_hz = 600\nringing_tau_ms = 3\nrise_ms = 1.0";

/// Tool lines with ringing, scatter, soft start and relaxation.
pub const LIVELY_TOOL: &str = "torque_Nm = 320\ntime_constant_s = 0.6\nringing_kN = 4\nringing_hz = 600\n\
     ringing_tau_ms = 3\nringing_scatter_percent = 10\njitter_percent = 3\nstep_scatter_percent = 8\n\
     soft_start_blows = 4\nsoft_start_from = 0.4\nrelaxation_percent = 0.5\nrise_ms = 1.0";

/// A step of 3.6 s.
pub const STEP: &str = "[[steps]]\nsetup = \"direct\"\ntool = \"tool\"\ndrive_s = 3.6\nhold_s = 1.5\n";
