//! The units people read: kN and N·m, or lbf and lbf·ft. JSON and CSV keep theirs, which stand in the names.
//!
//! Chosen once, as the program starts. Factors are exact (`units`).

use boltscribe_model::units::{N_PER_LBF, NM_PER_LBF_FT};
use clap::ValueEnum;
use std::sync::OnceLock;

/// Units as typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Units {
    /// kN and N·m.
    #[default]
    #[value(name = "kN")]
    Kilonewtons,
    /// lbf and lbf·ft.
    #[value(name = "lbf")]
    PoundsForce,
}

static CHOSEN: OnceLock<Units> = OnceLock::new();

/// Chooses for the whole program; the first choice holds.
pub fn choose(units: Units) {
    let _ = CHOSEN.set(units);
}

/// What was chosen.
#[must_use]
pub fn chosen() -> Units {
    CHOSEN.get().copied().unwrap_or_default()
}

/// A quantity of a column or key, in the units that were chosen: another name, factor, fewer decimals. None: it
/// stays as it is.
#[must_use]
pub fn converted(name: &str, units: Units) -> Option<(String, f64, usize)> {
    if units == Units::Kilonewtons || name.contains("_per_") {
        return None;
    }
    if let Some(stem) = name.strip_suffix("_kN") {
        // A pound-force is 4.4 N: two decimals of a kN are two digits of pounds.
        return Some((format!("{stem}_lbf"), 1000.0 / N_PER_LBF, 2));
    }
    let stem = name.strip_suffix("_Nm")?;
    Some((format!("{stem}_lbf_ft"), 1.0 / NM_PER_LBF_FT, 0))
}

/// A tension in words.
#[must_use]
pub fn tension(kn: f64) -> String {
    match converted("_kN", chosen()) {
        Some((_, factor, _)) => format!("{:.0} lbf", kn * factor),
        None => format!("{kn:.2} kN"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tensions_and_torques_are_converted_by_exact_factors_and_ratios_are_not() {
        let of = |name| converted(name, Units::PoundsForce);
        let (name, factor, fewer) = of("held_kN").unwrap();
        // 1 kN is 224.808 943 1 lbf (exact: 1000 / 4.4482216152605).
        assert_eq!((name.as_str(), fewer), ("held_lbf", 2));
        assert!((factor - 224.808_943_099_710_5).abs() < 1e-9);
        // 1 N·m is 0.737 562 149 lbf·ft.
        let (name, factor, _) = of("torque_Nm").unwrap();
        assert!(name == "torque_lbf_ft" && (factor - 0.737_562_149_277_3).abs() < 1e-12);
        assert_eq!((of("factor_N_per_Nm"), of("drive_time_s")), (None, None));
        assert_eq!(converted("held_kN", Units::Kilonewtons), None);
    }
}
