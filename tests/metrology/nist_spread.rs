//! Mean, SD, lag-1 correlation and one-way analysis of variance against NIST StRD.
//!
//! Once from decimals read to all their digits, once from `f64`; the values stand in `nist/`.

use crate::support::{Checks, DataSet};
use boltscribe::numerics::anova::{Anova, one_way, one_way_exact};
use boltscribe::numerics::{DoubleDouble, Moments, moments, moments_exact};

const UNIVARIATE: [(&str, &str); 8] = [
    ("Lew", include_str!("nist/lew.csv")),
    ("Lottery", include_str!("nist/lottery.csv")),
    ("Mavro", include_str!("nist/mavro.csv")),
    ("Michelso", include_str!("nist/michelso.csv")),
    ("NumAcc1", include_str!("nist/numacc1.csv")),
    ("NumAcc2", include_str!("nist/numacc2.csv")),
    ("NumAcc3", include_str!("nist/numacc3.csv")),
    ("NumAcc4", include_str!("nist/numacc4.csv")),
];

fn compare(checks: &mut Checks, name: &str, set: &DataSet, found: &Moments, digits: f64) {
    checks.digits((name, "mean"), found.mean, set.certified("mean")[0], digits);
    checks.digits((name, "SD"), found.sd.unwrap(), set.certified("sd")[0], digits);
    checks.digits((name, "r1"), found.lag_1_correlation.unwrap(), set.certified("lag_1")[0], digits);
}

#[test]
fn univariate_sets_of_decimals_keep_fourteen_digits() {
    let mut checks = Checks::of("NIST/ITL StRD, univariate");
    for (name, text) in UNIVARIATE {
        let set = DataSet::read(text);
        let found = moments_exact(&set.column::<DoubleDouble>("y")).unwrap();
        compare(&mut checks, name, &set, &found, 14.0);
    }
}

#[test]
fn univariate_sets_of_doubles_keep_what_rounding_to_double_leaves() {
    let mut checks = Checks::of("NIST/ITL StRD, univariate, data rounded to double");
    for (name, text) in UNIVARIATE {
        let set = DataSet::read(text);
        // NumAcc4 has values of 10,000,000.2: rounding them to double takes eight digits of their spread.
        let digits = match name {
            "NumAcc3" => 9.0,
            "NumAcc4" => 8.0,
            _ => 13.0,
        };
        compare(&mut checks, name, &set, &moments(&set.column::<f64>("y")).unwrap(), digits);
    }
}

fn compare_anova(checks: &mut Checks, name: &str, found: &Anova, certified: [f64; 5], digits: f64) {
    let [between, within, f, r_squared, residual_sd] = certified;
    checks.digits((name, "between"), found.between, between, digits);
    checks.digits((name, "within"), found.within, within, digits);
    checks.digits((name, "F"), found.f, f, digits);
    checks.digits((name, "R²"), found.r_squared, r_squared, digits);
    checks.digits((name, "residual SD"), found.residual_sd, residual_sd, digits);
}

#[test]
fn observed_groups_keep_fourteen_digits() {
    let mut checks = Checks::of("NIST/ITL StRD, one-way analysis of variance");
    for (name, text) in
        [("AtmWtAg", include_str!("nist/atmwtag.csv")), ("SiRstv", include_str!("nist/sirstv.csv"))]
    {
        let set = DataSet::read(text);
        let (group, y) = (set.column::<usize>("group"), set.column::<DoubleDouble>("y"));
        let of = |k: usize| group.iter().zip(&y).filter(|(g, _)| **g == k).map(|(_, y)| *y).collect();
        let groups: Vec<Vec<DoubleDouble>> = (1..=*group.last().unwrap()).map(of).collect();
        let certified = ["between", "within", "f", "r_squared", "residual_sd"].map(|n| set.certified(n)[0]);
        compare_anova(&mut checks, name, &one_way_exact(&groups).unwrap(), certified, 13.5);
    }
}

/// Values of the generated sets SmLs01 to SmLs09: nine groups about 1.4, 1.3, 1.5, 1.3, …, each a centre
/// followed by pairs of a tenth below and above it, behind `leading` equal digits.
fn smls(leading: &str, in_a_group: usize) -> Vec<Vec<String>> {
    let centres = [4, 3, 5, 3, 5, 3, 5, 3, 5];
    let tenth = |centre: i32, i: usize| match i {
        0 => centre,
        i if i % 2 == 1 => centre - 1,
        _ => centre + 1,
    };
    centres.map(|c| (0..in_a_group).map(|i| format!("{leading}.{}", tenth(c, i))).collect()).to_vec()
}

/// Values in a group, and what NIST certifies for SmLs01/04/07, 02/05/08 and 03/06/09.
const SMLS: [(usize, [f64; 5]); 3] = [
    (21, [1.68, 1.8, 21.0, 4.827_586_206_896_55e-1, 0.1]),
    (201, [16.08, 18.0, 201.0, 4.718_309_859_154_93e-1, 0.1]),
    (2001, [160.08, 180.0, 2001.0, 4.707_127_734_650_67e-1, 0.1]),
];

#[test]
fn nine_generated_sets_with_up_to_thirteen_equal_digits_keep_fourteen() {
    let mut checks = Checks::of("NIST/ITL StRD, one-way analysis of variance");
    for (k, leading) in ["1", "1000000", "1000000000000"].into_iter().enumerate() {
        for (j, (n, certified)) in SMLS.into_iter().enumerate() {
            let read = |group: Vec<String>| group.iter().map(|v| v.parse().unwrap()).collect();
            let groups: Vec<Vec<DoubleDouble>> = smls(leading, n).into_iter().map(read).collect();
            let name = format!("SmLs0{}", 3 * k + j + 1);
            compare_anova(&mut checks, &name, &one_way_exact(&groups).unwrap(), certified, 13.5);
        }
    }
}

#[test]
fn generated_sets_of_doubles_keep_what_rounding_to_double_leaves() {
    let mut checks = Checks::of("NIST/ITL StRD, one-way analysis of variance, data rounded to double");
    for (leading, digits) in [("1", 13.0), ("1000000", 8.0), ("1000000000000", 2.0)] {
        for (n, certified) in SMLS {
            let read = |group: Vec<String>| group.iter().map(|v| v.parse().unwrap()).collect::<Vec<f64>>();
            let groups: Vec<Vec<f64>> = smls(leading, n).into_iter().map(read).collect();
            let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
            compare_anova(&mut checks, leading, &one_way(&slices).unwrap(), certified, digits);
        }
    }
}

/// The variance by sum and sum of squares in one pass, to show what NumAcc3 and NumAcc4 are there to catch.
#[test]
fn a_one_pass_variance_would_fail_these_checks() {
    for name in ["NumAcc3", "NumAcc4"] {
        let (_, text) = UNIVARIATE.into_iter().find(|(n, _)| *n == name).unwrap();
        let y = DataSet::read(text).column::<f64>("y");
        let (n, sum, squares) = y.iter().fold((0.0, 0.0, 0.0), |(n, s, q), y| (n + 1.0, s + y, q + y * y));
        let sd = f64::sqrt((squares - sum * sum / n) / (n - 1.0));
        assert!(sd.is_nan() || (sd / 0.1 - 1.0).abs() > 1e-3, "{name}: {sd}");
    }
}
