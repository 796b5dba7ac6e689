//! Minimum pretensions of structural bolts, by edition: RCSC and AISC 360, table J3.1.
//!
//! Above 1 in, group 120 bolts (A325) had a lower tensile strength before 2016 than since. The edition is
//! therefore part of the question. For comparison on a rig only; no basis for tightening a connection.

/// Which table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edition {
    /// AISC 360-05 and -10, RCSC to 2014: A325 over 1 in at 105 ksi.
    Before2016,
    /// AISC 360-16 and later: group 120 at 120 ksi in all diameters.
    Since2016,
}

/// Strength of a structural bolt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// A325, F1852; group 120 since 2016.
    A325,
    /// A490, F2280; group 150 since 2016.
    A490,
}

/// Diameter in inches, then kip: A325 before 2016, A490, group 120 since 2016.
const KIP: [(f64, f64, f64, f64); 9] = [
    (0.5, 12.0, 15.0, 12.0),
    (0.625, 19.0, 24.0, 19.0),
    (0.75, 28.0, 35.0, 28.0),
    (0.875, 39.0, 49.0, 39.0),
    (1.0, 51.0, 64.0, 51.0),
    (1.125, 56.0, 80.0, 64.0),
    (1.25, 71.0, 102.0, 81.0),
    (1.375, 85.0, 121.0, 97.0),
    (1.5, 103.0, 148.0, 118.0),
];

/// Diameter in millimetres, then kN: A325M, A490M.
const KN: [(f64, f64, f64); 7] = [
    (16.0, 91.0, 114.0),
    (20.0, 142.0, 179.0),
    (22.0, 176.0, 221.0),
    (24.0, 205.0, 257.0),
    (27.0, 267.0, 334.0),
    (30.0, 326.0, 408.0),
    (36.0, 475.0, 595.0),
];

/// Minimum pretension in kip of a bolt of `diameter_in`; none where the table has no such size.
#[must_use]
pub fn pretension_kip(diameter_in: f64, group: Group, edition: Edition) -> Option<f64> {
    let row = KIP.iter().find(|row| row.0 == diameter_in)?;
    Some(match (group, edition) {
        (Group::A490, _) => row.2,
        (Group::A325, Edition::Before2016) => row.1,
        (Group::A325, Edition::Since2016) => row.3,
    })
}

/// Minimum pretension in kN of a metric bolt (A325M, A490M); none where the table has no such size.
#[must_use]
pub fn pretension_kn(diameter_mm: f64, group: Group) -> Option<f64> {
    let row = KN.iter().find(|row| row.0 == diameter_mm)?;
    Some(if group == Group::A325 { row.1 } else { row.2 })
}
