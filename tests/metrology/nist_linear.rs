//! Linear least squares against NIST StRD: all eleven sets, coefficients, standard errors, SD, R², F.
//!
//! Once from decimals read to all their digits, once from `f64` as a caller without a file has them.

use crate::support::{Checks, DataSet};
use boltscribe::numerics::{
    Design, DoubleDouble, LinearFit, PolynomialFit, fit_polynomial, fit_polynomial_exact, least_squares,
};

const NIST: &str = "NIST/ITL StRD, linear least squares";

/// Set, text, degree.
const POLYNOMIALS: [(&str, &str, usize); 8] = [
    ("Norris", include_str!("nist/norris.csv"), 1),
    ("Pontius", include_str!("nist/pontius.csv"), 2),
    ("Filip", include_str!("nist/filip.csv"), 10),
    ("Wampler1", include_str!("nist/wampler1.csv"), 5),
    ("Wampler2", include_str!("nist/wampler2.csv"), 5),
    ("Wampler3", include_str!("nist/wampler3.csv"), 5),
    ("Wampler4", include_str!("nist/wampler4.csv"), 5),
    ("Wampler5", include_str!("nist/wampler5.csv"), 5),
];

/// What a fit says, beside what NIST certifies.
struct Found<'a> {
    coefficients: &'a [f64],
    standard_errors: Vec<f64>,
    fit: &'a LinearFit,
}

/// Certified values have 15 digits; `digits` of them must come out.
fn compare(checks: &mut Checks, name: &str, set: &DataSet, found: &Found<'_>, digits: f64) {
    let certified = set.coefficients();
    assert_eq!(certified.len(), found.coefficients.len());
    for (i, (b, estimate, error)) in certified.iter().enumerate() {
        checks.digits((name, b), found.coefficients[i], *estimate, digits);
        checks.digits((name, b, "SE"), found.standard_errors[i], *error, digits);
    }
    let sd = set.certified("residual_sd")[0];
    checks.digits((name, "residual SD"), found.fit.residual_sd().unwrap(), sd, digits);
    checks.digits((name, "R²"), found.fit.r_squared, set.certified("r_squared")[0], digits);
    let f = set.certified("f")[0];
    if f.is_finite() {
        checks.digits((name, "F"), found.fit.f_statistic().unwrap().0, f, digits);
    }
}

fn of_polynomial(fit: &PolynomialFit) -> Found<'_> {
    Found {
        coefficients: &fit.coefficients,
        standard_errors: fit.standard_errors().unwrap(),
        fit: &fit.centred,
    }
}

#[test]
fn polynomials_of_decimals_keep_fourteen_digits() {
    let mut checks = Checks::of(NIST);
    for (name, text, degree) in POLYNOMIALS {
        let set = DataSet::read(text);
        let (x, y) = (set.column::<DoubleDouble>("x"), set.column::<DoubleDouble>("y"));
        let fit = fit_polynomial_exact(&x, &y, degree, None).unwrap();
        compare(&mut checks, name, &set, &of_polynomial(&fit), 14.0);
    }
}

#[test]
fn polynomials_of_doubles_keep_the_digits_the_data_hold() {
    let mut checks = Checks::of("NIST/ITL StRD, linear least squares, data rounded to double");
    for (name, text, degree) in POLYNOMIALS {
        let set = DataSet::read(text);
        let fit = fit_polynomial(&set.column::<f64>("x"), &set.column::<f64>("y"), degree, None).unwrap();
        // Rounding the decimals of Wampler2, which has no residuals, leaves some.
        let digits = if name == "Filip" { 12.0 } else { 12.5 };
        compare(&mut checks, name, &set, &of_polynomial(&fit), digits);
    }
}

#[test]
fn longley_and_lines_through_zero_keep_fourteen_digits() {
    let mut checks = Checks::of(NIST);
    let longley = DataSet::read(include_str!("nist/longley.csv"));
    let mut design = Design::new();
    design.push("B0", vec![DoubleDouble::ONE; 16]);
    for k in 1..=6 {
        design.push(format!("B{k}"), longley.column(&format!("x{k}")));
    }
    let fit = boltscribe::numerics::least_squares_exact(&design, &longley.column("y"), None).unwrap();
    compare(&mut checks, "Longley", &longley, &of_linear(&fit), 13.5);
    for (name, text) in
        [("NoInt1", include_str!("nist/noint1.csv")), ("NoInt2", include_str!("nist/noint2.csv"))]
    {
        let set = DataSet::read(text);
        let design = Design::new().with("B1", &set.column::<f64>("x"));
        let fit = least_squares(&design, &set.column::<f64>("y"), None).unwrap();
        assert!(!fit.has_constant);
        compare(&mut checks, name, &set, &of_linear(&fit), 13.5);
    }
}

fn of_linear(fit: &LinearFit) -> Found<'_> {
    Found { coefficients: &fit.coefficients, standard_errors: fit.standard_errors().unwrap(), fit }
}

/// Normal equations on raw counts, to show what the sets are there to catch.
#[test]
fn normal_equations_in_raw_powers_would_fail_these_checks() {
    let set = DataSet::read(include_str!("nist/filip.csv"));
    let (x, y) = (set.column::<f64>("x"), set.column::<f64>("y"));
    let n = 11;
    let gram = nalgebra::DMatrix::from_fn(n, n, |i, j| x.iter().map(|x| x.powi((i + j) as i32)).sum::<f64>());
    let right = nalgebra::DVector::from_fn(n, |i, _| {
        x.iter().zip(&y).map(|(x, y)| x.powi(i as i32) * y).sum::<f64>()
    });
    let certified = set.coefficients();
    let off = gram.lu().solve(&right).is_none_or(|b| (b[0] / certified[0].1 - 1.0).abs() > 1e-2);
    assert!(off, "Filip no longer tells a bad solver from a good one");
}
