//! Quantiles and tails of t, F, chi² and the normal against printed tables and 40-digit arithmetic.
//!
//! Printed values are held to their last digit, computed ones to the digits the functions promise.

use crate::support::Checks;
use boltscribe::numerics::distributions as d;

/// GUM (JCGM 100:2008), table G.2: degrees of freedom; t for 68.27, 90, 95, 95.45, 99 and 99.73 %, as printed.
const GUM_G_2: [(f64, [f64; 6]); 20] = [
    (1.0, [1.84, 6.31, 12.71, 13.97, 63.66, 235.80]),
    (2.0, [1.32, 2.92, 4.30, 4.53, 9.92, 19.21]),
    (3.0, [1.20, 2.35, 3.18, 3.31, 5.84, 9.22]),
    (4.0, [1.14, 2.13, 2.78, 2.87, 4.60, 6.62]),
    (5.0, [1.11, 2.02, 2.57, 2.65, 4.03, 5.51]),
    (6.0, [1.09, 1.94, 2.45, 2.52, 3.71, 4.90]),
    (7.0, [1.08, 1.89, 2.36, 2.43, 3.50, 4.53]),
    (8.0, [1.07, 1.86, 2.31, 2.37, 3.36, 4.28]),
    (9.0, [1.06, 1.83, 2.26, 2.32, 3.25, 4.09]),
    (10.0, [1.05, 1.81, 2.23, 2.28, 3.17, 3.96]),
    (12.0, [1.04, 1.78, 2.18, 2.23, 3.05, 3.76]),
    (15.0, [1.03, 1.75, 2.13, 2.18, 2.95, 3.59]),
    (16.0, [1.03, 1.75, 2.12, 2.17, 2.92, 3.54]),
    (20.0, [1.03, 1.72, 2.09, 2.13, 2.85, 3.42]),
    (25.0, [1.02, 1.71, 2.06, 2.11, 2.79, 3.33]),
    (30.0, [1.02, 1.70, 2.04, 2.09, 2.75, 3.27]),
    (40.0, [1.01, 1.68, 2.02, 2.06, 2.70, 3.20]),
    (50.0, [1.01, 1.68, 2.01, 2.05, 2.68, 3.16]),
    (100.0, [1.005, 1.660, 1.984, 2.025, 2.626, 3.077]),
    (f64::INFINITY, [1.000, 1.645, 1.960, 2.000, 2.576, 3.000]),
];

#[test]
fn t_equals_the_table_of_the_gum() {
    let mut checks = Checks::of("JCGM 100:2008, table G.2");
    let levels = [0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973];
    for (freedom, row) in GUM_G_2 {
        for (level, printed) in levels.into_iter().zip(row) {
            let found = d::t_two_sided_quantile(level, freedom);
            // The table's 235.80 stands for 99.73 % rounded from 99.7300204 %; all else is within its last digit.
            let tolerance = if printed > 200.0 {
                0.02
            } else if freedom >= 100.0 {
                0.000_501
            } else {
                0.005_01
            };
            checks.within((level, freedom), found, printed, tolerance);
        }
    }
}

#[test]
fn tails_equal_arithmetic_of_forty_digits() {
    let mut checks = Checks::of("mpmath 1.3.0 at 40 digits");
    checks.digits("t cdf", d::t_cdf(1.0, 1.0), 0.75, 14.0);
    checks.digits("t cdf", d::t_cdf(2.5, 3.0), 0.956_146_676_495_967_23, 14.0);
    checks.digits("t cdf", d::t_cdf(2.0, 4.7), 0.947_213_908_898_280_2, 14.0);
    checks.digits("t cdf", d::t_cdf(-1.8608, 17.776), 0.039_698_289_069_889_905, 13.0);
    checks.digits("t cdf", d::t_cdf(3.3, 100.0), 0.999_329_690_239_019_9, 14.0);
    for (x, freedom, value) in [
        (3.84, 1.0, 0.949_956_478_751_294_9),
        (9.5, 4.0, 0.950_252_752_582_056_4),
        (3.0, 10.0, 0.018_575_936_222_140_674),
        (60.0, 30.0, 0.999_079_317_603_851_3),
    ] {
        checks.digits(("chi²", x, freedom), d::chi_squared_cdf(x, freedom), value, 13.0);
    }
    checks.digits("F", d::f_sf(3.0, 2.0, 37.0), 0.062_024_813_490_579_43, 13.0);
    checks.digits("F", d::f_sf(21.0, 8.0, 180.0), 2.583_264_337_268_971_4e-22, 12.0);
    checks.digits("F", d::f_sf(15.946_733_567_793, 1.0, 46.0), 2.326_844_483_389_254_8e-4, 12.5);
    for (z, value) in [
        (0.5, 0.308_537_538_725_986_9),
        (1.0, 0.158_655_253_931_457_05),
        (1.959_963_984_540_054, 0.025_000_000_000_000_01),
        (3.0, 0.001_349_898_031_630_094_5),
        (6.0, 9.865_876_450_376_981e-10),
    ] {
        checks.digits(("normal", z), d::normal_sf(z), value, 14.0);
    }
    for (p, z) in [
        (0.9, 1.281_551_565_544_600_5),
        (0.95, 1.644_853_626_951_472_7),
        (0.975, 1.959_963_984_540_054_2),
        (0.99, 2.326_347_874_040_841),
        (0.995, 2.575_829_303_548_900_8),
        (0.999, 3.090_232_306_167_813_5),
    ] {
        checks.digits(("normal quantile", p), d::normal_quantile(p), z, 14.0);
    }
}

#[test]
fn quantiles_of_chi_squared_and_f_equal_the_tables() {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4 and 1.3.6.7.3 (upper critical values).
    let mut checks = Checks::of("NIST/SEMATECH e-Handbook, tables of critical values");
    for (freedom, at_95, at_99) in [
        (1.0, 3.841, 6.635),
        (2.0, 5.991, 9.210),
        (5.0, 11.070, 15.086),
        (10.0, 18.307, 23.209),
        (30.0, 43.773, 50.892),
    ] {
        checks.within(("chi²", freedom), d::chi_squared_quantile(0.95, freedom), at_95, 0.000_501);
        checks.within(("chi²", freedom), d::chi_squared_quantile(0.99, freedom), at_99, 0.000_501);
    }
    for (above, below, at_95) in
        [(1.0, 1.0, 161.448), (2.0, 5.0, 5.786), (3.0, 10.0, 3.708), (5.0, 20.0, 2.711), (10.0, 60.0, 1.993)]
    {
        checks.within(("F", above, below), d::f_quantile(0.95, above, below), at_95, 0.000_501);
    }
}

#[test]
fn exact_one_sided_tolerance_factors_follow_from_the_noncentral_t() {
    // Factor for a share p at confidence γ: t'(γ; n − 1, z_p·√n)/√n.
    let mut checks = Checks::of("one-sided tolerance factors, p 0.95, γ 0.95 (ISO 16269-6, table C)");
    for (n, printed) in
        [(5.0, 4.203), (10.0, 2.911), (20.0, 2.397), (30.0, 2.220), (50.0, 2.065), (100.0, 1.927)]
    {
        let root = f64::sqrt(n);
        let k = d::noncentral_t_quantile(0.95, n - 1.0, d::normal_quantile(0.95) * root) / root;
        // Rows 10 and 20 by quadrature of 10 digits: 2.9109634131 and 2.3960016838.
        checks.within(n, k, printed, 0.001_1);
    }
    for (n, k) in [(10.0, 2.910_963_413_1), (20.0, 2.396_001_683_8)] {
        let root = f64::sqrt(n);
        let found = d::noncentral_t_quantile(0.95, n - 1.0, d::normal_quantile(0.95) * root) / root;
        checks.digits(n, found, k, 9.5);
    }
}
