//! Two tools, seven cells, one drift: against statsmodels and scipy.
//!
//! statsmodels 0.15.0 (OLS) for percents, limits, t and p; scipy 1.17.1 for the adjusted p: Genz's integral
//! of the multivariate normal with the correlation of (XᵀX)⁻¹, by Gauss-Legendre over the distribution of s.
//! The data are invented.

use super::support::{assert_near, groups, observations, row};
use boltscribe::compare::planning::{Wanted, detectable_percent, runs_needed};
use boltscribe::compare::{CompareError, Drift, Question, Verdict, compare};

pub const TWO_TOOLS: &str = "# invented\nrun,time_s,setup,tool,tension_kN
1,0,direct,w1,79.8\n2,151,ext,w1,79.17\n3,390,direct,w2,63.47\n4,493,joint,w1,73.4\n5,600,direct,w1,80.01
6,688,ext,w2,62.25\n7,841,both,w2,59.31\n8,949,ext,w1,78.24\n9,1044,joint,w1,74.11\n10,1255,direct,w2,63.89
11,1455,both,w1,72.98\n12,1551,ext,w1,76.76\n13,1686,ext,w2,61.86\n14,1847,both,w2,59.52\n15,1935,joint,w1,74.6
16,2037,both,w1,72.8\n17,2120,direct,w2,63.4\n18,2227,direct,w1,79.24\n19,2349,both,w2,58.61\n20,2567,direct,w1,79.06
";

fn ask(drift: Option<Drift>) -> Question {
    Question { baseline: "direct".into(), drift, alpha: 0.05 }
}

/// Tool, setup, percent, low, high, t, p, adjusted p.
type Expected = (&'static str, &'static str, [f64; 6]);

const LINEAR: [Expected; 5] = [
    (
        "w1",
        "ext",
        [
            97.95480652323774,
            96.6675319760238,
            99.25922308003888,
            -3.403446246356401,
            0.005236262165979611,
            0.014302914509843,
        ],
    ),
    (
        "w1",
        "joint",
        [
            93.02098164636205,
            91.81665987385134,
            94.24110001759173,
            -12.095973853447237,
            4.424972086082635e-08,
            f64::NAN,
        ],
    ),
    (
        "w1",
        "both",
        [
            91.80603457572009,
            90.44969836893938,
            93.18270968842309,
            -12.514745292117864,
            3.024433915964948e-08,
            f64::NAN,
        ],
    ),
    (
        "w2",
        "ext",
        [
            97.56378714841848,
            96.06020583357663,
            99.09090325324672,
            -3.4599780815980945,
            0.004717345072883108,
            0.008890730176726258,
        ],
    ),
    (
        "w2",
        "both",
        [
            93.17957861216556,
            91.87741890007007,
            94.5001935653432,
            -10.936656111182952,
            1.3500563801934657e-07,
            f64::NAN,
        ],
    ),
];

#[test]
fn a_drifting_comparison_of_two_tools_equals_statsmodels() {
    let found = compare(&observations(TWO_TOOLS), &ask(None)).unwrap();
    assert_eq!((found.drift, found.degrees_of_freedom), (Drift::Linear, 12));
    assert_near("sd", found.residual_sd_percent.unwrap(), 0.7806511443881946, 1e-12);
    let drift = found.drift_found.unwrap();
    assert_near("drift", drift.percent_per_hour, -1.4925330525170644, 1e-11);
    assert_near("drift se", drift.se_percent_per_hour.unwrap(), 0.8876557165679491, 1e-11);
    assert_near("drift p", drift.p_value.unwrap(), 0.11849817943610746, 1e-10);
    for (tool, setup, [percent, low, high, t, p, adjusted]) in LINEAR {
        let r = row(&found, Some(tool), setup);
        let j = r.judged.unwrap();
        assert_near(setup, r.percent_of_baseline, percent, 1e-13);
        let limits = j.limits.unwrap();
        assert_near("low", limits.0, low, 1e-12);
        assert_near("high", limits.1, high, 1e-12);
        assert_near("t", j.t, t, 1e-10);
        assert_near("p", j.p_value, p, 1e-9);
        if adjusted.is_finite() {
            assert_near("adjusted p", j.p_adjusted, adjusted, 2e-6);
        } else {
            assert!(j.p_adjusted >= p && j.p_adjusted < 4.0 * p, "{setup}: {}", j.p_adjusted);
        }
        assert_eq!(r.verdict, Some(Verdict::Lower));
    }
    assert_near("critical w1", row(&found, Some("w1"), "ext").judged.unwrap().critical, 2.7108499174, 1e-7);
    assert_near("critical w2", row(&found, Some("w2"), "ext").judged.unwrap().critical, 2.5119761841, 1e-7);
    let outlier = found.checks.outlier.unwrap();
    assert_eq!(outlier.index, 11);
    assert_near("studentised", outlier.studentised, 2.257842321838107, 1e-11);
    assert_near("outlier p", outlier.p_value, 0.31573822438063665, 1e-9);
}

#[test]
fn without_drift_the_same_runs_equal_statsmodels() {
    let found = compare(&observations(TWO_TOOLS), &ask(Some(Drift::None))).unwrap();
    assert_near("sd", found.residual_sd_percent.unwrap(), 0.8337101986660341, 1e-12);
    assert_eq!(found.drift_found, None);
    let ext = row(&found, Some("w1"), "ext");
    assert_near("ext", ext.percent_of_baseline, 98.14376353722287, 1e-13);
    assert_near("p", ext.judged.unwrap().p_value, 0.011434622846221262, 1e-10);
    assert_near("adjusted p", ext.judged.unwrap().p_adjusted, 0.03066675782852113, 2e-6);
}

#[test]
fn a_setup_once_without_repeats_gives_a_percent_and_no_verdict() {
    let found = compare(&groups(&[("direct", &[80.0, 80.4]), ("ext", &[76.0])]), &ask(None)).unwrap();
    let ext = row(&found, None, "ext");
    assert_near("percent", ext.percent_of_baseline, 100.0 * 76.0 / (80.0_f64 * 80.4).sqrt(), 1e-13);
    assert_eq!((ext.judged, ext.verdict, found.degrees_of_freedom), (None, None, 1));
    assert!(ext.note.unwrap().contains("fewer than 3"));
}

#[test]
fn repeats_that_never_differ_give_no_verdict_either() {
    let same = [("direct", &[80.0, 80.0, 80.0][..]), ("ext", &[76.0, 76.0, 76.0][..])];
    let found = compare(&groups(&same), &ask(None)).unwrap();
    assert_eq!((row(&found, None, "ext").verdict, row(&found, None, "ext").judged), (None, None));
    assert!(row(&found, None, "ext").note.unwrap().contains("do not differ"));
}

#[test]
fn what_cannot_be_compared_is_refused_with_its_place() {
    let ext = ("ext", &[76.0, 77.0][..]);
    let refused = |o: &[boltscribe::compare::Observation], drift| compare(o, &ask(drift)).unwrap_err();
    let none = refused(&groups(&[ext, ("joint", &[70.0][..])]), None);
    assert!(matches!(none, CompareError::UnknownBaseline { .. }), "{none}");
    let one = refused(&groups(&[("direct", &[80.0, 81.0][..])]), None);
    assert!(matches!(one, CompareError::OneSetup { .. }), "{one}");
    let mut left_out = groups(&[("direct", &[80.0][..]), ext]);
    left_out[0].excluded = Some("slipped".into());
    assert!(matches!(refused(&left_out, None), CompareError::NoBaseline { .. }));
    let mut twice = groups(&[("direct", &[80.0, 81.0][..]), ext]);
    twice[2].run = 1;
    assert_eq!(refused(&twice, None).place(), Some((2, "run")));
    let mut back = groups(&[("direct", &[80.0, 81.0][..]), ext]);
    back[3].time_s = 2.0;
    assert_eq!(refused(&back, None).place(), Some((3, "time_s")));
    let mut zero = groups(&[("direct", &[80.0, 81.0][..]), ext]);
    zero[1].value = 0.0;
    assert_eq!(refused(&zero, None).place(), Some((1, "value")));
    let once = groups(&[("direct", &[80.0][..]), ("ext", &[76.0][..])]);
    assert_eq!(refused(&once, Some(Drift::Linear)), CompareError::Drift);
    let unbracketed = refused(&groups(&[("direct", &[80.0, 81.0][..]), ext]), Some(Drift::Bracket));
    assert!(matches!(unbracketed, CompareError::Bracket { row: 2, side: "after", .. }), "{unbracketed}");
}

/// statsmodels 0.15.0, `TTestIndPower().solve_power`, risk 5 %, power 0.8: 5.015, 3.647 and 35.953 runs.
const RUNS: [(f64, f64, usize); 3] = [(2.0, 1.0, 6), (5.0, 2.0, 4), (1.0, 1.5, 36)];

#[test]
fn runs_needed_and_what_can_be_shown_equal_statsmodels() {
    let wanted = |difference_percent, sd_percent| Wanted {
        difference_percent,
        sd_percent,
        alpha: 0.05,
        comparisons: 1,
        linear: false,
    };
    for (difference, sd, expected) in RUNS {
        assert_eq!(runs_needed(&wanted(difference, sd)), Some(expected), "{difference} {sd}");
    }
    assert_eq!(runs_needed(&wanted(0.01, 5.0)), None);
    // More setups cost runs, where their repeats do not pay for it with degrees of freedom.
    assert!(runs_needed(&Wanted { comparisons: 4, ..wanted(1.0, 1.5) }) > Some(36));
    // What is detectable with n runs is what n runs are needed for.
    let found = compare(
        &groups(&[("direct", &[80.0, 80.9, 79.6, 80.3, 79.9]), ("ext", &[78.0, 77.2, 78.8, 78.3, 77.9])]),
        &ask(Some(Drift::None)),
    )
    .unwrap();
    let least = detectable_percent(&row(&found, None, "ext").judged.unwrap()).unwrap();
    let sd = found.residual_sd_percent.unwrap();
    assert_eq!(runs_needed(&wanted(least * 1.000_01, sd)), Some(5));
    assert_eq!(runs_needed(&wanted(least * 0.999_99, sd)), Some(6));
}
