//! Budgets, lines and Monte Carlo against the examples of the GUM and of its supplement 1.
//!
//! Drawn values are held to three standard errors of their draw, never to digits.

use crate::support::Checks;
use boltscribe::metrology::budget::{Budget, Input, Line, propagate};
use boltscribe::metrology::monte_carlo::{Distribution, Simulated, simulate};
use boltscribe::numerics::fit_polynomial;

/// GUM H.1: an end gauge of 50 mm, lengths in nanometres.
fn end_gauge() -> (f64, Budget) {
    let input = |name: &str, value: f64, u: f64, freedom: f64| Input {
        name: name.into(),
        value,
        standard_uncertainty: u,
        degrees_of_freedom: freedom,
    };
    let known = f64::INFINITY;
    let u_d = Budget::new(vec![
        Line::sampled("repeated observations", 5.8, 24.0),
        Line::sampled("comparator, random", 3.9, 5.0),
        Line::sampled("comparator, systematic", 6.7, 8.0),
    ])
    .combine();
    // The second-order terms vanish here: at the estimates, δα and δθ and θ stand in products with zeros.
    let root_3 = 3.0_f64.sqrt();
    let inputs = [
        input("length of the standard", 50_000_623.0, 25.0, 18.0),
        input("measured difference", 215.0, u_d.standard_uncertainty, u_d.degrees_of_freedom),
        input("difference of expansion", 0.0, 1e-6 / root_3, 50.0),
        input("difference of temperature", 0.0, 0.05 / root_3, 2.0),
        input("expansion of the standard", 11.5e-6, 2e-6 / root_3, known),
        input("temperature", -0.1, 0.41, known),
    ];
    let model = |x: &[f64]| x[0] + x[1] - x[0] * (x[2] * x[5] + x[4] * x[3]);
    propagate(model, &inputs)
}

#[test]
fn the_end_gauge_of_the_gum_has_its_budget() {
    let mut checks = Checks::of("JCGM 100:2008, H.1");
    let (length, budget) = end_gauge();
    checks.digits("l", length, 50_000_838.0, 14.0);
    let line = |k: usize| budget.lines[k].contribution.abs();
    checks.within("u(d)", line(1), 9.7, 0.05);
    checks.digits("u(d)", line(1), 9.681_941_953_967_707, 8.0);
    checks.within("u of δα", line(2), 2.9, 0.05);
    checks.digits("u of δα", line(2), 2.886_787_314_869_9, 8.0);
    checks.within("u of δθ", line(3), 16.6, 0.05);
    checks.digits("u of δθ", line(3), 16.599_027_060_501_925, 8.0);
    checks.within(
        "degrees of freedom of d",
        budget.lines[1].degrees_of_freedom,
        25.447_250_777_362_726,
        1e-6,
    );
    let combined = budget.combine();
    checks.within("u_c", combined.standard_uncertainty, 32.0, 0.5);
    checks.digits("u_c", combined.standard_uncertainty, 31.663_879_111_008_633, 8.0);
    checks.digits("degrees of freedom", combined.degrees_of_freedom, 16.751_855_737_627_24, 6.0);
    let expanded = combined.expand(0.99);
    checks.equal("cut to", expanded.degrees_of_freedom, 16.0);
    checks.within("k", expanded.coverage_factor, 2.92, 0.005);
    checks.within("U, from 32 × 2.92 in the GUM", expanded.uncertainty, 93.0, 0.6);
    checks.equal("dominating", combined.dominating.unwrap().0, "length of the standard".to_owned());
}

/// GUM, table H.6: reading and correction of a thermometer, °C.
const THERMOMETER: [(f64, f64); 11] = [
    (21.521, -0.171),
    (22.012, -0.169),
    (22.512, -0.166),
    (23.003, -0.159),
    (23.507, -0.164),
    (23.999, -0.165),
    (24.513, -0.156),
    (25.002, -0.157),
    (25.503, -0.159),
    (26.010, -0.161),
    (26.511, -0.160),
];

/// Leaving the correlation of the two coefficients out gives a wrong uncertainty away from the middle.
#[test]
fn the_thermometer_of_the_gum_has_its_line_and_its_correlation_counts() {
    let mut checks = Checks::of("JCGM 100:2008, H.3");
    let (x, y): (Vec<f64>, Vec<f64>) = THERMOMETER.iter().map(|(t, b)| (t - 20.0, *b)).unzip();
    let line = fit_polynomial(&x, &y, 1, None).unwrap();
    let errors = line.standard_errors().unwrap();
    let s = line.centred.residual_sd().unwrap();
    let u0 = (line.covariance(0, 0).unwrap(), line.covariance(1, 1).unwrap(), line.covariance(0, 1).unwrap());
    let correlation = u0.2 / (u0.0 * u0.1).sqrt();
    for (what, found, published, digit, digits) in [
        ("y1", line.coefficients[0], -0.1712, 5e-5, -0.171_203_790_131_349_98),
        ("u(y1)", errors[0], 0.0029, 5e-5, 0.002_877_597_835_159_953_7),
        ("y2", line.coefficients[1], 0.002_18, 5e-6, 0.002_182_697_739_887_278),
        ("u(y2)", errors[1], 0.000_67, 5e-6, 0.000_667_938_773_227_830_7),
        ("r", correlation, -0.930, 5e-4, -0.930_429_603_093_445_9),
        ("s", s, 0.0035, 5e-5, 0.003_497_563_963_505_284),
        ("b(30 °C)", line.value(10.0), -0.1494, 5e-5, -0.149_376_812_732_477_2),
        ("u(b(30 °C))", line.value_se(10.0).unwrap(), 0.0041, 5e-5, 0.004_138_595_752_854_947_4),
    ] {
        checks.within(what, found, published, digit);
        checks.digits(what, found, digits, 10.0);
    }
    let ignoring = (u0.0 + 100.0 * u0.1).sqrt();
    assert!((ignoring / line.value_se(10.0).unwrap() - 1.0).abs() > 0.5, "{ignoring}");
    let budget = Budget {
        lines: vec![Line::known("y1", errors[0]), Line::known("10·y2", 10.0 * errors[1])],
        correlations: vec![(0, 1, correlation)],
    };
    checks.digits("by a budget", budget.combine().standard_uncertainty, 0.004_138_595_752_854_947_4, 10.0);
}

#[test]
fn effective_degrees_of_freedom_follow_welch_and_satterthwaite() {
    let mut checks = Checks::of("JCGM 100:2008, G.2b, by 40-digit arithmetic");
    let lines = [(1.0, 9.0), (0.5, 4.0), (2.0, f64::INFINITY), (0.8, 2.0)];
    let lines = lines.iter().map(|(u, f)| Line::sampled("a", *u, *f)).collect();
    let combined = Budget::new(lines).combine();
    checks.digits("u_c", combined.standard_uncertainty, 2.426_932_219_902_319_3, 14.0);
    checks.digits("ν_eff", combined.degrees_of_freedom, 104.640_486_623_712_85, 13.0);
    checks.digits("U95", combined.expand(0.95).uncertainty, 4.812_697_666_298_753, 11.0);
    let product = [
        Input {
            name: "tension".into(),
            value: 60_000.0,
            standard_uncertainty: 240.0,
            degrees_of_freedom: 1e9,
        },
        Input {
            name: "ratio".into(),
            value: 0.0032,
            standard_uncertainty: 0.000_048,
            degrees_of_freedom: 1e9,
        },
    ];
    let (torque, budget) = propagate(|x| x[0] * x[1], &product);
    checks.digits("T = F·ratio", torque, 192.0, 14.0);
    checks.digits("u(T)", budget.combine().standard_uncertainty, 2.980_641_541_681_924_5, 12.0);
}

const TRIALS: usize = 400_000;

/// Holds mean, u and the ends of the 95 % interval to three standard errors of the draw.
fn drawn(checks: &mut Checks, what: &str, found: &Simulated, u: f64, ends: (f64, f64), end_error: f64) {
    let root = (TRIALS as f64).sqrt();
    checks.within((what, "u"), found.standard_uncertainty, u, 3.0 * u / root);
    checks.within((what, "low"), found.symmetric.0, ends.0, end_error);
    checks.within((what, "high"), found.symmetric.1, ends.1, end_error);
}

#[test]
fn sums_of_four_inputs_have_the_intervals_of_supplement_1() {
    let mut checks = Checks::of("JCGM 101:2008, 9.2");
    let sum = |x: &[f64]| x.iter().sum::<f64>();
    let root_3 = 3.0_f64.sqrt();
    let even = |sd: f64| Distribution::Rectangular(-sd * root_3, sd * root_3);
    let normal = simulate(sum, &[Distribution::Normal(0.0, 1.0); 4], TRIALS, 11, 0.95).unwrap();
    // SE of a 2.5 % quantile: √(p(1 − p)/n)/density; the density of N(0, 2) there is 0.0292.
    let se = |density: f64| 3.0 * (0.025 * 0.975 / TRIALS as f64).sqrt() / density;
    drawn(&mut checks, "normal", &normal, 2.0, (-3.919_927_969, 3.919_927_969), se(0.0292));
    checks.within("normal, mean", normal.mean, 0.0, 3.0 * 2.0 / (TRIALS as f64).sqrt());
    let rectangular = simulate(sum, &[even(1.0); 4], TRIALS, 12, 0.95).unwrap();
    drawn(&mut checks, "rectangular", &rectangular, 2.0, (-3.879_406_741, 3.879_406_741), se(0.0312));
    let mut inputs = [even(1.0); 4];
    inputs[3] = even(10.0);
    let wide = simulate(sum, &inputs, TRIALS, 13, 0.95).unwrap();
    drawn(&mut checks, "one wide", &wide, 10.148_891_565, (-17.015_814_101, 17.015_814_101), se(0.02));
    checks.within("one wide, published", wide.symmetric.1, 17.0, 0.06);
}

#[test]
fn a_mass_and_a_loss_of_comparison_have_the_values_of_supplement_1() {
    let mut checks = Checks::of("JCGM 101:2008, 9.3 and 9.4");
    let mass = |x: &[f64]| (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100_000.0;
    let inputs = [
        Distribution::Normal(100_000.0, 0.050),
        Distribution::Normal(1.234, 0.020),
        Distribution::Rectangular(1.10, 1.30),
        Distribution::Rectangular(7000.0, 9000.0),
        Distribution::Rectangular(7950.0, 8050.0),
    ];
    let found = simulate(mass, &inputs, TRIALS, 21, 0.95).unwrap();
    checks.within("mass, mean", found.mean, 1.234, 3.0 * 0.0755 / (TRIALS as f64).sqrt());
    checks.within("mass, u", found.standard_uncertainty, 0.075_479_74, 3.0 * 0.0755 / (TRIALS as f64).sqrt());
    checks.within("mass, shortest, low", found.shortest.0, 1.0834, 0.004);
    checks.within("mass, shortest, high", found.shortest.1, 1.3825, 0.004);
    // First order leaves out most of the buoyancy.
    checks.within("mass, first order", (0.050_f64.powi(2) + 0.020_f64.powi(2)).sqrt(), 0.0539, 0.000_05);
    for (x1, mean, u) in [(0.0, 50.0, 50.0), (0.010, 150.0, 111.803_399), (0.050, 2550.0, 502.493_781)] {
        let inputs = [Distribution::Normal(x1, 0.005), Distribution::Normal(0.0, 0.005)];
        let found = simulate(|x| 1e6 * (x[0] * x[0] + x[1] * x[1]), &inputs, TRIALS, 31, 0.95).unwrap();
        let root = (TRIALS as f64).sqrt();
        checks.within(("loss, mean", x1), found.mean, mean, 3.0 * u / root);
        // The kurtosis of a squared normal makes the SE of its SD up to twice that of a normal.
        checks.within(("loss, u", x1), found.standard_uncertainty, u, 3.0 * 1.5 * u / root);
        if x1 == 0.0 {
            checks.within("loss, shortest, low", found.shortest.0, 0.0, 0.5);
            checks.within("loss, shortest, high", found.shortest.1, 149.787, 1.5);
        }
    }
}
