//! Published examples and tables through the same code.
//! Tolerances are those of the digits that the source gives.

use super::support::{assert_near, groups, row};
use boltscribe::compare::{Drift, Question, compare};
use boltscribe::numerics::distributions::t_two_sided_quantile;
use boltscribe::numerics::many_to_one::{Contrast, ManyToOne, Sides};
use boltscribe::numerics::outlier::{grubbs_critical, most_outlying};
use boltscribe::numerics::power::{detectable_shift, power};
use boltscribe::numerics::trend::{mann_kendall, slope, von_neumann_ratio};
use boltscribe::numerics::two_samples::{Spread, fieller, welch};

const CONTROL: [f64; 6] = [7.4, 8.5, 7.2, 8.24, 9.84, 8.32];
const DRUG_A: [f64; 4] = [9.76, 8.8, 7.68, 9.36];
const DRUG_B: [f64; 5] = [12.8, 9.68, 12.16, 9.2, 10.55];

/// Dunnett 1955, blood counts; adjusted p as R's multcomp prints them and by quadrature.
#[test]
fn dunnetts_blood_counts() {
    let contrast = |n: f64| Contrast { own: 1.0 / n, loads: vec![1.0 / 6.0_f64.sqrt()] };
    let family = ManyToOne::new(&[contrast(4.0), contrast(5.0)], 12.0, Sides::Two).unwrap();
    assert_near("correlation", family.correlation(0, 1), 0.426_401_432_711_220_83, 1e-14);
    assert_near("a", family.p_adjusted(0.857_032_125_934_380_4), 0.620_101_980_018_454_2, 1e-9);
    assert_near("b", family.p_adjusted(3.693_752_311_235_726), 0.005_825_360_847_942_829, 1e-7);
    assert_near("critical", family.critical(0.05), 2.513_482_903_596_454, 1e-9);
    assert!((family.p_adjusted(3.693_752_311_235_726) - 0.005_825_4).abs() < 1e-7, "multcomp");
    // Through the whole comparison: exp of the counts has the counts as its logarithm.
    let exp = |v: &[f64]| v.iter().map(|v| v.exp()).collect::<Vec<f64>>();
    let all = groups(&[("control", &exp(&CONTROL)), ("a", &exp(&DRUG_A)), ("b", &exp(&DRUG_B))]);
    let question = Question { baseline: "control".into(), drift: Some(Drift::None), alpha: 0.05 };
    let found = compare(&all, &question).unwrap();
    let b = row(&found, None, "b").judged.unwrap();
    assert_near("t", b.t, 3.693_752_311_235_726, 1e-12);
    assert_near("p", b.p_adjusted, 0.005_825_360_847_942_829, 1e-7);
    let (low, high) = b.simultaneous.unwrap();
    assert_near("low", (low / 100.0).ln(), 0.839_728_206_420_622_6, 1e-8);
    assert_near("high", (high / 100.0).ln(), 4.416_271_793_579_374, 1e-8);
}

/// Fieller 1954, JRSS B 16:175; no numeric example was published, so: closed form and root finding elsewhere.
#[test]
fn fiellers_limits() {
    let limits = |a, b, above, below, both, t| fieller(a, b, Spread { above, below, both }, t).unwrap();
    for (found, expected) in [
        (limits(10.0, 8.0, 0.04, 0.09, 0.0, 2.0), (1.150_286_558_986_321_4, 1.363_855_490_039_448_4)),
        (limits(10.0, 8.0, 0.04, 0.09, 0.03, 2.0), (1.173_541_098_468_903_6, 1.336_829_737_483_327_3)),
        (limits(0.85, 1.0, 0.0004, 0.0009, 0.0002, 1.96), (0.799_807_178_254_551_3, 0.904_548_890_592_122)),
        (limits(5.0, 1.0, 0.2, 0.2, 0.0, 2.0), (2.550_055_679_356_354_7, 47.449_944_320_643_66)),
    ] {
        assert_near("low", found.0, expected.0, 1e-13);
        assert_near("high", found.1, expected.1, 1e-13);
    }
    // g ≥ 1: no finite interval, never numbers.
    assert_eq!(fieller(5.0, 1.0, Spread { above: 0.2, below: 0.25, both: 0.0 }, 2.0), None);
    assert_eq!(fieller(5.0, 1.0, Spread { above: 0.2, below: 0.3, both: 0.0 }, 2.0), None);
    let pooled = 0.694;
    let t = t_two_sided_quantile(0.95, 8.0);
    let two = limits(60.9, 65.24, pooled / 5.0, pooled / 5.0, 0.0, t);
    assert_near("low", two.0, 0.915_621_533_860_419_6, 1e-12);
    assert_near("high", two.1, 0.951_655_065_930_878_6, 1e-12);
}

/// Student's sleep data (Cushny and Peebles 1905): R's `t.test(extra ~ group, data = sleep)`.
#[test]
fn welchs_t_of_the_sleep_data() {
    let x = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
    let y = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
    let found = welch(&x, &y).unwrap();
    assert_near("t", found.t, -1.860_813_467_486_852_6, 1e-13);
    assert_near("df", found.degrees_of_freedom, 17.776_473_516_178_488, 1e-13);
    assert_near("p", found.p_value, 0.079_394_140_187_358_3, 1e-12);
    assert_eq!(welch(&[1.0], &y), None);
}

/// Gilbert 1987, chapter 16 (four points, S = 4, one-sided p 0.167); others by scipy's exact Kendall and R.
#[test]
fn mann_and_kendalls_test_is_exact_for_short_series() {
    let four = mann_kendall(&[10.0, 15.0, 14.0, 20.0]).unwrap();
    assert_eq!((four.s, four.exact), (4, true));
    assert_near("p", four.p_value, 1.0 / 3.0, 1e-14);
    let warm = [55.1, 56.3, 57.0, 57.4, 57.2, 57.9, 58.1, 58.0];
    let found = mann_kendall(&warm).unwrap();
    assert_eq!(found.s, 24);
    assert_near("p", found.p_value, 0.001_736_111_111_111_111, 1e-13);
    let drift = [100.2, 100.0, 99.9, 100.1, 99.7, 99.8, 99.4, 99.5, 99.6, 99.1, 99.2, 98.9];
    let found = mann_kendall(&drift).unwrap();
    assert_eq!(found.s, -52);
    assert_near("p", found.p_value, 0.000_107_423_440_756_774_09, 1e-12);
    let ties = mann_kendall(&[58.0, 58.1, 57.9, 58.0, 58.2, 58.0, 57.9, 58.1, 58.0, 58.1]).unwrap();
    assert_eq!((ties.s, ties.exact), (5, false));
    assert_near("p", ties.p_value, 0.705_038_264_690_931_3, 1e-12);
    assert_eq!(mann_kendall(&[1.0, 1.0, 1.0]), None);
}

/// Von Neumann 1941: mean 2 for independent values; the two series by numpy.
#[test]
fn von_neumanns_ratio_and_the_slope_of_a_warm_up() {
    let warm = [55.1, 56.3, 57.0, 57.4, 57.2, 57.9, 58.1, 58.0];
    assert_near("ratio", von_neumann_ratio(&warm).unwrap(), 0.371_091_035_441_276_75, 1e-12);
    let steady = [58.0, 58.1, 57.9, 58.0, 58.2, 58.0, 57.9, 58.1, 58.0, 58.1];
    assert_near("ratio", von_neumann_ratio(&steady).unwrap(), 2.592_592_592_592_592_6, 1e-12);
    let line = slope(&warm).unwrap();
    assert_near("slope", line.per_step, 0.378_571_428_571_428_6, 1e-12);
    assert_near("se", line.se, 0.068_304_706_132_290_52, 1e-12);
    assert_eq!(line.degrees_of_freedom, 6);
}

/// Grubbs 1969 / NIST e-Handbook 1.3.5.17.1: G = 2.4687; critical values by scipy 1.17.1.
#[test]
fn grubbs_test_of_the_nist_handbook() {
    let data = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
    let mean = data.iter().sum::<f64>() / 8.0;
    let residuals: Vec<f64> = data.iter().map(|v| v - mean).collect();
    let found = most_outlying(&residuals, &[1.0 / 8.0; 8], 7).unwrap();
    // With n − 1 degrees of freedom a residual's own SD is s·√(1 − 1/n).
    let g = found.studentised * (7.0_f64 / 8.0).sqrt();
    assert_near("G", g, 2.468_764_611_212_45, 1e-12);
    assert_eq!(found.index, 7);
    assert!(found.p_value < 1e-6);
    for (n, critical) in [
        (3, 1.154_304_851_344_038_6),
        (8, 2.126_645_087_195_466_7),
        (20, 2.708_245_645_805_758_4),
        (30, 2.908_473_059_740_962),
    ] {
        assert_near("critical", grubbs_critical(n, 0.05).unwrap(), critical, 1e-11);
    }
    // A value at the critical G has the p 0.05.
    let n = 10.0_f64;
    let at = grubbs_critical(10, 0.05).unwrap() / ((n - 1.0) / n).sqrt();
    let rest = 9.0 - at * at;
    let p = n * boltscribe::numerics::distributions::t_two_sided(at * (8.0 / rest).sqrt(), 8.0);
    assert_near("p at the critical value", p, 0.05, 1e-10);
}

/// statsmodels 0.15.0, `TTestIndPower().power(effect, n, 0.05)`.
const POWERS: [(f64, f64, f64); 3] =
    [(5.0, 1.5, 0.549385597762396), (8.0, 2.0, 0.9602207726723204), (20.0, 0.7, 0.5782904310179556)];

#[test]
fn power_of_students_t_equals_statsmodels() {
    for (n, effect, expected) in POWERS {
        let df = 2.0 * n - 2.0;
        let shift = effect * (n / 2.0).sqrt();
        let critical = t_two_sided_quantile(0.95, df);
        assert_near("power", power(shift, df, critical), expected, 1e-9);
        assert_near("shift", detectable_shift(df, critical, expected).unwrap(), shift, 1e-7);
    }
    assert_eq!(detectable_shift(8.0, 2.3, 0.01), None);
}

/// ISO 16269-6 tables (4 decimals) by quadrature and PyPI toleranceinterval 1.0.3, `method='exact'`.
#[test]
fn tolerance_factors_are_exact() {
    use boltscribe::numerics::tolerance::{one_sided, two_sided};
    for (n, share, confidence, one, two) in [
        (5, 0.90, 0.95, 3.406_633_262_8, 4.290_604_070_7),
        (10, 0.95, 0.95, 2.910_963_413_1, 3.393_429_478_7),
        (20, 0.95, 0.95, 2.396_001_683_8, 2.760_346_178_4),
        (30, 0.99, 0.95, 3.063_901_126_2, 3.354_575_844_8),
        (43, 0.90, 0.99, 1.873_953_605_9, 2.222_825_173_8),
        (100, 0.99, 0.95, 2.683_957_855_7, 2.935_549_241_1),
    ] {
        assert_near("one-sided", one_sided(n, share, confidence).unwrap(), one, 1e-9);
        assert_near("two-sided", two_sided(n, share, confidence).unwrap(), two, 1e-9);
    }
    assert_eq!(two_sided(1, 0.9, 0.9), None);
}

/// Constants of ISO 7870-2 / ASTM E2587 for ranges of two (1.128, 3.267), and a chart by hand.
#[test]
fn individuals_and_moving_range_chart() {
    use boltscribe::compare::history::{D2, D4, Pattern, chart};
    assert!((D2 - 1.128).abs() < 5e-4 && (D4 - 3.267).abs() < 5e-4);
    assert_near("D4", D4, 3.266_531_919_288_601_3, 1e-13);
    let values = [58.1, 58.4, 57.9, 58.2, 58.0, 58.6, 58.3, 57.8, 58.1, 58.2];
    let found = chart(&values, None).unwrap();
    assert_near("centre", found.centre, 58.16, 1e-14);
    assert_near("upper", found.limits.1, 59.075_767_822_967_86, 1e-13);
    assert_near("lower", found.limits.0, 57.244_232_177_032_16, 1e-13);
    assert_near("range", found.range_limit, 1.125_138_772_199_412_8, 1e-12);
    assert_eq!(found.remarks, []);
    let mut worse = values.to_vec();
    worse.extend([58.3, 58.4, 58.5, 58.6, 58.7, 60.0]);
    let remarks = chart(&worse, Some(10)).unwrap().remarks;
    // 57.8 58.1 58.2 58.3 58.4 58.5 58.6: the seventh that rises. 58.2 to 60.0: seven above 58.16.
    let expected = [
        (13, Pattern::Trend),
        (14, Pattern::Trend),
        (15, Pattern::Beyond),
        (15, Pattern::Jump),
        (15, Pattern::OneSide),
        (15, Pattern::Trend),
    ];
    assert_eq!(remarks, expected);
    assert_eq!(chart(&values[..2], None), None);
}

/// NIST e-Handbook 6.1.6: limits 8 and 20, mean 16, SD 2: 1.0 and 0.6667, which it calls Cp and Cpk; by the SD of all
/// values they are Pp and Ppk here.
#[test]
fn capability_of_the_nist_handbook() {
    use boltscribe::compare::history::capability;
    let found = capability(16.0, 2.0, 50, Some(8.0), Some(20.0)).unwrap();
    assert_eq!(found.pp, Some(1.0));
    assert_near("Cpk", found.ppk, 2.0 / 3.0, 1e-15);
    // Bissell 1990: Cpk·(1 ± z·√(1/(9·n·Cpk²) + 1/(2(n − 1)))).
    let half = 1.959_963_984_540_054 * (1.0 / (9.0 * 50.0 * 4.0 / 9.0) + 1.0 / 98.0_f64).sqrt();
    assert_near("low", found.ppk_limits.0, 2.0 / 3.0 * (1.0 - half), 1e-12);
    assert_near(
        "Cpk",
        capability(10.5, 0.4, 9, Some(9.0), Some(11.0)).unwrap().ppk,
        0.416_666_666_666_666_7,
        1e-14,
    );
    assert_eq!(capability(1.0, 0.0, 9, Some(0.0), None), None);
}

/// JCGM 106:2012, examples of 7.2 to 7.4 (0.92, 0.99, 0.66); guard factor of ISO 14253-1:2017 (1.65).
#[test]
fn conformity_of_jcgm_106() {
    use boltscribe::compare::acceptance::{Decision, Limit, Measured, accept, conformance_probability};
    assert_near(
        "diode",
        conformance_probability(-5.47, 0.05, None, Some(-5.40)),
        0.919_243_340_766_227_3,
        1e-12,
    );
    assert_near(
        "container",
        conformance_probability(509.7, 8.6, Some(490.0), None),
        0.989_009_547_384_822_2,
        1e-12,
    );
    assert_near(
        "oil",
        conformance_probability(13.6, 1.8, Some(12.5), Some(16.3)),
        0.662_629_786_495_307_9,
        1e-12,
    );
    // The same through acceptance, whose t is normal for an uncertainty that is well known.
    let known =
        |value, u_common| Measured { value, u_common, common_freedom: f64::INFINITY, sd: 0.0, runs: 1 };
    let diode = accept(&known(-5.47, 0.05), Limit::Upper(-5.40), 0.95).unwrap();
    assert_near("diode", diode.probability, 0.919_243_340_766_227_3, 1e-12);
    assert_near("guard", diode.guard / 0.05, 1.644_853_626_951_472_6, 1e-12);
    assert_eq!(diode.decision, Decision::Undecided);
    let container = accept(&known(509.7, 8.6), Limit::Lower(490.0), 0.95).unwrap();
    assert_eq!(container.decision, Decision::Conforms);
    let upper = |value| accept(&known(value, 1.2), Limit::Upper(100.0), 0.95).unwrap().decision;
    // ISO 14253-1:2017: acceptance up to 100 − 1.645·1.2.
    assert_eq!((upper(98.026), upper(98.027)), (Decision::Conforms, Decision::Undecided));
    assert_eq!((upper(101.973), upper(101.974)), (Decision::Undecided, Decision::DoesNotConform));
}

#[test]
fn an_undecided_case_says_what_would_decide_it() {
    use boltscribe::compare::acceptance::{Decision, Limit, Measured, accept};
    let measured = Measured { value: 101.0, u_common: 0.3, common_freedom: f64::INFINITY, sd: 2.0, runs: 6 };
    let judged = accept(&measured, Limit::Lower(100.0), 0.95).unwrap();
    assert_eq!(judged.decision, Decision::Undecided);
    let runs = judged.runs_of_a_new_test.unwrap();
    let decided = |runs| accept(&Measured { runs, ..measured }, Limit::Lower(100.0), 0.95).unwrap().decision;
    assert_eq!((decided(runs - 1), decided(runs)), (Decision::Undecided, Decision::Conforms));
    let hopeless = Measured { u_common: 0.9, ..measured };
    let judged = accept(&hopeless, Limit::Lower(100.0), 0.95).unwrap();
    assert_eq!(judged.runs_of_a_new_test, None);
    assert!(judged.u_to_decide.unwrap() < 0.9);
    assert_eq!(accept(&Measured { runs: 1, ..measured }, Limit::Lower(100.0), 0.95), None);
}
