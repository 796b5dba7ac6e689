//! ASTM E74, ISO 376 and inverse reading against published sets and tables.
//!
//! Values stand beside the name of their source; formulas from memory say so.

use crate::support::{Checks, DataSet};
use boltscribe::metrology::e74::{degree_limit, fit_e74};
use boltscribe::metrology::inverse::inverse;
use boltscribe::metrology::iso376::{Class, Series, figures};
use boltscribe::numerics::{DoubleDouble, fit_polynomial};

#[test]
fn the_rule_for_the_degree_has_its_printed_limits() {
    let mut checks = Checks::of("ASTM E74, annex A1, factors C(n, m)");
    for (m, printed, digits) in [
        (2, 1.373, 1.372_619_251_7),
        (3, 1.455, 1.454_701_767_6),
        (4, 1.582, 1.581_506_781_3),
        (5, 1.801, 1.800_992_095_1),
    ] {
        checks.within((10, m), degree_limit(10, m).unwrap(), printed, 0.000_5);
        checks.digits((10, m), degree_limit(10, m).unwrap(), digits, 10.0);
    }
    for (m, digits) in [(2, 1.131_420_281_1), (3, 1.140_565_576_9), (4, 1.151_072_894_6), (5, 1.163_269_491)]
    {
        checks.digits((20, m), degree_limit(20, m).unwrap(), digits, 9.5);
    }
    checks.equal("no degree of freedom", degree_limit(6, 5), None);
}

#[test]
fn a_load_cell_of_nist_gets_degree_two_and_its_class_limits() {
    let mut checks = Checks::of("ASTM E74 on NIST/ITL StRD Pontius (a load cell)");
    let set = DataSet::read(include_str!("nist/pontius.csv"));
    let fit = fit_e74(&set.column::<DoubleDouble>("x"), &set.column::<DoubleDouble>("y"), None, 0.0).unwrap();
    checks.equal("degree, as NIST's model", fit.polynomial.degree(), 2);
    checks.digits("s", fit.residual_sd, 2.051_774_240_761_85e-4, 14.0);
    checks.digits("LLF, deflection", fit.llf_deflection, 4.924_258_177_828_43e-4, 13.0);
    checks.digits("force per deflection", fit.force_per_deflection, 1_373_910.490_234_47, 13.0);
    checks.digits("LLF, force", fit.llf_force, 676.548_996_714_136, 13.0);
    checks.digits("class A", fit.class_a_from, 270_619.598_685_654, 13.0);
    checks.digits("class AA", fit.class_aa_from, 1_353_097.993_428_27, 13.0);
    let ratios = [16.275_224_48, 1.010_622_026_22, 1.011_501_807_77, 0.967_256_878_316];
    checks.equal("degrees", fit.degree_steps.len(), 1 + ratios.len());
    for (step, ratio) in fit.degree_steps[1..].iter().zip(ratios) {
        checks.digits(("ratio", step.degree), step.ratio.unwrap(), ratio, 9.0);
    }
    let line = &fit.polynomial;
    for (x, y, error) in [
        (150_000.0, 0.110_411_321_428_571_43, 8.834_302_559_062_42e-5),
        (1_500_000.0, 1.091_650_464_285_714_3, 4.864_176_790_116_64e-5),
        (3_000_000.0, 2.168_403_678_571_428_6, 8.834_302_559_062_42e-5),
    ] {
        checks.digits(("y", x), line.value(x), y, 13.0);
        checks.digits(("SE of y", x), line.value_se(x).unwrap(), error, 12.0);
    }
    for (i, j, v) in [
        (0, 0, 1.165_074_396_762_71e-8),
        (0, 1, -1.514_042_797_694_81e-14),
        (0, 2, 4.103_097_012_723_05e-21),
        (1, 1, 2.490_633_173_697_08e-20),
        (1, 2, -7.460_176_386_769_18e-27),
        (2, 2, 2.368_309_964_053_71e-33),
    ] {
        checks.digits(("covariance", i, j), line.covariance(i, j).unwrap(), v, 13.0);
    }
    checks.digits("x at y = 1", inverse(line, 1.0, 1, 0.95).unwrap().x, 1_373_231.908_919_596_4, 13.0);
}

#[test]
fn reading_back_a_line_of_nist_has_fiellers_limits() {
    let mut checks =
        Checks::of("Draper and Smith's inverse limits on NIST/ITL StRD Norris, 50-digit arithmetic");
    let set = DataSet::read(include_str!("nist/norris.csv"));
    let line = fit_polynomial(&set.column::<f64>("x"), &set.column::<f64>("y"), 1, None).unwrap();
    let correlation = line.unscaled_covariance[0][1]
        / (line.unscaled_covariance[0][0] * line.unscaled_covariance[1][1]).sqrt();
    checks.digits("correlation", correlation, -0.773_828_082_087_858, 12.0);
    for (y, readings, x, low, high, u) in [
        (338.8, 1, 338.346_105_939_571, 336.525_605_174_924, 340.166_483_888_611, 0.895_777_381_101_28),
        (338.8, 3, 338.346_105_939_571, 337.265_490_098_817, 339.426_598_964_718, 0.531_704_731_297_28),
        (0.5, 1, 0.760_712_783_246_064, -1.094_878_289_429_46, 2.615_668_113_219_62, 0.912_917_939_186_075),
    ] {
        let found = inverse(&line, y, readings, 0.95).unwrap();
        let limits = found.limits.unwrap();
        checks.digits((y, readings, "x"), found.x, x, 11.0);
        checks.digits((y, readings, "low"), limits.0, low, 11.0);
        checks.digits((y, readings, "high"), limits.1, high, 11.0);
        checks.digits((y, readings, "u"), found.standard_uncertainty, u, 11.0);
        checks.digits((y, readings, "g"), found.g.unwrap(), 7.596_991_999e-7, 9.0);
    }
}

/// Deflections in mV/V of an invented transducer, 10 to 80 kN: X1, X2 at 0°, X3 up and X4' down at 120°,
/// X5 up and X6' down at 240°.
const FORCES: [f64; 8] = [10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0];
const X1: [f64; 8] = [0.25003, 0.50013, 0.75025, 1.0004, 1.25053, 1.50063, 1.75067, 2.00068];
const X2: [f64; 8] = [0.25005, 0.50014, 0.75027, 1.00043, 1.25055, 1.50064, 1.7507, 2.00071];
const X3: [f64; 8] = [0.25013, 0.50024, 0.75037, 1.00055, 1.25069, 1.50079, 1.75085, 2.00089];
const X4: [f64; 8] = [0.25034, 0.50053, 0.75072, 1.00091, 1.25103, 1.50107, 1.75101, 2.00089];
const X5: [f64; 8] = [0.24997, 0.50002, 0.75011, 1.00025, 1.25035, 1.50043, 1.75047, 2.00048];
const X6: [f64; 8] = [0.25016, 0.5003, 0.75044, 1.0006, 1.25067, 1.50069, 1.75062, 2.00048];

/// b, b', fc and v of each step, percent.
const ISO_376: [[f64; 4]; 8] = [
    [
        0.063_988_908_589_186_36,
        0.007_998_720_204_775_238,
        0.000_499_975_255_491_996_2,
        0.079_982_731_898_159_94,
    ],
    [
        0.043_988_562_973_626_45,
        0.001_999_460_145_773_743_5,
        -0.000_606_442_499_972_005_4,
        0.056_984_966_723_188_52,
    ],
    [
        0.034_655_422_907_224_81,
        0.002_665_742_542_587_903_5,
        -0.001_485_074_587_747_803_2,
        0.045_318_601_704_746_18,
    ],
    [
        0.029_988_004_798_077_467,
        0.002_998_755_516_458_119_4,
        0.001_196_004_798_424_582,
        0.035_485_731_535_471_85,
    ],
    [
        0.027_188_617_032_336_35,
        0.001_599_309_098_479_938_5,
        0.000_639_274_684_891_027_7,
        0.026_388_913_944_922_6,
    ],
    [
        0.023_990_137_387_971_92,
        0.000_666_384_563_872_328_2,
        -0.000_089_666_816_871_685_47,
        0.017_992_603_299_499_31,
    ],
    [
        0.021_706_058_084_652_5,
        0.001_713_614_956_429_882_8,
        -0.000_819_511_185_113_493,
        0.008_853_772_815_580_935,
    ],
    [0.020_492_998_225_607_323, 0.001_499_478_931_081_275_7, 0.000_368_087_119_330_976_5, 0.0],
];

#[test]
fn figures_of_each_step_follow_the_formulas_of_iso_376() {
    let mut checks = Checks::of("ISO 376:2011, clause 7 (formulas from memory), an invented transducer");
    let points = |x: [f64; 8]| FORCES.into_iter().zip(x).collect::<Vec<_>>();
    let series = |position: f64, up: [f64; 8], down: Option<[f64; 8]>| Series {
        position_deg: Some(position),
        up: points(up),
        down: down.map(points).unwrap_or_default(),
        // The published f0 of this transducer, 0.006 % of the greatest deflection.
        zero_return: Some(0.006e-2 * 2.000_683),
    };
    let all = [
        series(0.0, X1, None),
        series(0.0, X2, None),
        series(120.0, X3, Some(X4)),
        series(240.0, X5, Some(X6)),
    ];
    let found = figures(&all, 3, 1e-5);
    checks.equal("steps", found.steps.len(), ISO_376.len());
    for (i, (step, [b, repeat, fc, v])) in found.steps.iter().zip(ISO_376).enumerate() {
        let f = FORCES[i];
        checks.digits((f, "b"), step.reproducibility.unwrap(), b, 9.0);
        checks.digits((f, "b'"), step.repeatability.unwrap(), repeat, 8.0);
        checks.digits((f, "fc"), step.interpolation.unwrap(), fc, 7.0);
        checks.digits((f, "v"), step.reversibility.unwrap(), v, 9.0);
        checks.equal((f, "class"), step.class, Some(if i == 0 { Class::C05 } else { Class::C00 }));
    }
    checks.equal("class", found.class, Some(Class::C05));
}

/// Fits on raw counts by normal equations: what degree 3 over a converter of 24 bits does to them.
#[test]
fn a_cubic_on_counts_of_24_bits_keeps_twelve_digits() {
    let mut checks = Checks::of("exact rational arithmetic of an invented cubic");
    // y = 2·10⁻⁶·x + 2⁻⁶⁰·x² − 2⁻⁹⁰·x³, exact in doubles at these counts but for the last rounding of y.
    let (b, c, d) = (2e-6, 2.0_f64.powi(-60), -(2.0_f64.powi(-90)));
    let x: Vec<DoubleDouble> =
        (0..12).map(|i| DoubleDouble::from(f64::from(4_000_000 + 350_000 * i))).collect();
    let term = |x: DoubleDouble, f: f64, k: usize| x.powi(k) * DoubleDouble::from(f);
    let y: Vec<DoubleDouble> = x.iter().map(|x| term(*x, b, 1) + term(*x, c, 2) + term(*x, d, 3)).collect();
    let fit = boltscribe::numerics::fit_polynomial_exact(&x, &y, 3, None).unwrap();
    checks.digits("b", fit.coefficients[1], b, 12.0);
    checks.digits("c", fit.coefficients[2], c, 12.0);
    checks.digits("d", fit.coefficients[3], d, 12.0);
}
