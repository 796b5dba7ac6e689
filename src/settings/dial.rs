//! The keys of a rig whose dial is read by hand: which belong to it, what they mean, and back.
//!
//! psi is a mark and not yet a quantity: a dial so marked says by `dial_psi` what it reads. Kinds and ranges
//! were checked before. This file must not know what a reading becomes.

use super::typed::TypedRig;
use boltscribe_analysis::results::{Dial, DialUnit, PistonArea};
use boltscribe_model::constants::Calibration;

/// A key that excludes or needs another: which, and what was expected.
pub(super) type Conflict = (&'static str, String);

const FORCE: &str = "force";
const OIL: &str = "oil-pressure";

/// Keys of a dial beside another instrument.
pub(super) fn strangers(typed: &TypedRig) -> Vec<Conflict> {
    let given = [
        ("dial_unit", typed.dial_unit.is_some()),
        ("dial_psi", typed.dial_psi.is_some()),
        ("dial_resolution", typed.dial_resolution.is_some()),
        ("piston_area_mm2", typed.piston_area_mm2.is_some()),
        ("piston_area_in2", typed.piston_area_in2.is_some()),
    ];
    refused(
        &given,
        &format!("expected no such key with instrument = \"{}\", which has no dial", typed.instrument),
    )
}

/// What does not fit together in the keys of a dial.
pub(super) fn conflicts(typed: &TypedRig) -> Vec<Conflict> {
    let of_a_line = [
        ("port", typed.port.is_some()),
        ("baud", typed.baud.is_some()),
        ("rate_hz", typed.rate_hz.is_some()),
        ("count_min", typed.count_min.is_some()),
        ("count_max", typed.count_max.is_some()),
        ("pattern", typed.pattern.is_some()),
        ("tick_hz", typed.tick_hz.is_some()),
        ("tick_bits", typed.tick_bits.is_some()),
        ("decimals", typed.decimals.is_some()),
    ];
    let mut found =
        refused(&of_a_line, "expected no such key with instrument = \"typed\", whose dial is read by hand");
    let Some(unit) = typed.dial_unit else {
        let units = DialUnit::NAMES.join(", ");
        found.push(("dial_unit", format!("expected one of {units} with instrument = \"typed\", found none")));
        return found;
    };
    if typed.dial_resolution.is_none() {
        let what = format!(
            "expected the dial's smallest step in {} with instrument = \"typed\", found none",
            unit.name()
        );
        found.push(("dial_resolution", what));
    }
    let shows_pressure = match (unit, typed.dial_psi.as_deref()) {
        (DialUnit::Psi, None) => {
            let what = "expected what a dial marked psi reads, \"force\" (its figures are lbf) or \"oil-pressure\" \
                        (with the piston's area), found none";
            found.push(("dial_psi", what.to_owned()));
            return found;
        }
        (DialUnit::Psi, Some(reads)) => reads == OIL,
        (_, Some(_)) => {
            let what = format!("expected no such key with dial_unit = \"{}\", found one", unit.name());
            found.push(("dial_psi", what));
            return found;
        }
        (DialUnit::Bar | DialUnit::Mpa, None) => true,
        (DialUnit::Kn | DialUnit::N | DialUnit::Lbf, None) => false,
    };
    let areas = [
        ("piston_area_mm2", typed.piston_area_mm2.is_some()),
        ("piston_area_in2", typed.piston_area_in2.is_some()),
    ];
    match (shows_pressure, areas.iter().filter(|(_, given)| *given).count()) {
        (false, _) => found.extend(refused(&areas, "expected no such key beside a dial that reads force")),
        (true, 0) => found.push((
            "piston_area_mm2",
            "expected piston_area_mm2 or piston_area_in2 beside a dial of oil pressure, found none"
                .to_owned(),
        )),
        (true, 1) => {}
        (true, _) => found.push((
            "piston_area_in2",
            "expected one of piston_area_mm2 and piston_area_in2, found both".to_owned(),
        )),
    }
    found.extend(coarse(typed));
    found
}

/// A step as large as the whole scale is a slip of the pen.
fn coarse(typed: &TypedRig) -> Option<Conflict> {
    let dial = dial(typed, None)?;
    let step = dial.newtons(dial.resolution, dial.unit).ok()?.kn();
    let range = dial.range_kn.filter(|range| step >= *range)?;
    Some(("dial_resolution", format!("expected less than the dial's range of {range} kN, found {step} kN")))
}

fn refused(keys: &[(&'static str, bool)], what: &str) -> Vec<Conflict> {
    keys.iter().filter(|(_, given)| *given).map(|(key, _)| (*key, what.to_owned())).collect()
}

/// The dial of these keys; none where they are of another instrument.
pub(super) fn dial(typed: &TypedRig, correction: Option<Calibration>) -> Option<Dial> {
    let (unit, resolution) = typed.dial_unit.zip(typed.dial_resolution)?;
    let piston_area =
        typed.piston_area_mm2.map(PistonArea::Mm2).or_else(|| typed.piston_area_in2.map(PistonArea::In2));
    Some(Dial { unit, piston_area, resolution, range_kn: typed.range_kn, correction })
}

/// Back to keys; name, range and calibration are common to all rigs.
pub(super) fn typed(dial: &Dial) -> TypedRig {
    let reads = if dial.piston_area.is_some() { OIL } else { FORCE };
    let (mm2, in2) = match dial.piston_area {
        Some(PistonArea::Mm2(area)) => (Some(area), None),
        Some(PistonArea::In2(area)) => (None, Some(area)),
        None => (None, None),
    };
    TypedRig {
        instrument: "typed".to_owned(),
        dial_unit: Some(dial.unit),
        dial_psi: (dial.unit == DialUnit::Psi).then(|| reads.to_owned()),
        dial_resolution: Some(dial.resolution),
        piston_area_mm2: mm2,
        piston_area_in2: in2,
        ..TypedRig::default()
    }
}
