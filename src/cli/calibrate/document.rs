//! What `calibrate fit --format json` prints: keys with units, absent figures as null.
//!
//! Coefficients stand lowest power first. Must not know the terminal.

use boltscribe_analysis::metrology::e74::E74Fit;
use boltscribe_analysis::metrology::iso376::{self, Figures, Series, Withheld};
use boltscribe_analysis::metrology::outlier;
use boltscribe_analysis::metrology::tension_fit::TensionFit;
use boltscribe_numerics::PolynomialFit;
use boltscribe_tables::files::{Load, Loads};
use serde_json::{Value, json};

/// Points of two columns with their lines.
pub struct Points {
    /// Line of each.
    pub lines: Vec<usize>,
    /// Abscissae.
    pub x: Vec<f64>,
    /// Ordinates.
    pub y: Vec<f64>,
}

/// What was fitted to what.
pub enum Fitted {
    /// Tension on counts of a calibration.
    Loads {
        /// The line.
        fit: Box<TensionFit>,
        /// Its loads.
        file: Loads,
    },
    /// Deflection on force of a calibration.
    LoadsE74 {
        /// The line.
        fit: Box<E74Fit>,
        /// Of each load, counts.
        deflection: Vec<f64>,
        /// Its loads.
        file: Loads,
        /// What was done with the zeros.
        notes: Vec<&'static str>,
    },
    /// Any two columns.
    Columns {
        /// The line.
        fit: Box<PolynomialFit>,
        /// Names of x and y.
        names: (String, String),
        /// The points.
        points: Points,
    },
    /// The same after E74.
    ColumnsE74 {
        /// The line.
        fit: Box<E74Fit>,
        /// Names of x and y.
        names: (String, String),
        /// The points.
        points: Points,
    },
}

/// A residual beyond this probability is pointed out.
const OUTLIER_P: f64 = 0.01;
/// Why a class is not to be quoted without a look at the standard.
const CLASS_NOTE: &str =
    "figures in the style of ISO 376; its class limits are from memory: check them before quoting a class";
/// Resolution of a reading: a converter gives whole counts.
const COUNT: f64 = 1.0;
/// Why b and class are null.
const POSITION_NOTE: &str =
    "no position_deg: figures that need mounting anew (reproducibility, and so the class) are not told";

/// The document of a fit to the file called `name`.
pub fn of(fitted: &Fitted, name: &str) -> Value {
    let mut document = match fitted {
        Fitted::Loads { fit, file } => loads(fit, file),
        Fitted::LoadsE74 { fit, deflection, file, notes } => loads_e74(fit, deflection, file, notes),
        Fitted::Columns { fit, names, points } => {
            let mut d = line(fit, "y-on-x");
            d["residual_sd"] = json!(fit.centred.residual_sd());
            d["f_statistic"] = json!(fit.centred.f_statistic().map(|f| f.0).filter(|f| f.is_finite()));
            d["residuals"] = columns(fit, points);
            d["notes"] = notes(fit, &points.x, &points.lines, &[]);
            named(&mut d, names);
            d
        }
        Fitted::ColumnsE74 { fit, names, points } => {
            let mut d = e74(fit, ["residual_sd", "llf_deflection", "llf", "class_A_from", "class_AA_from"]);
            let rows: Vec<usize> = (0..points.x.len()).filter(|i| points.x[*i] != 0.0).collect();
            let pick = |v: &[f64]| rows.iter().map(|i| v[*i]).collect();
            let lines = rows.iter().map(|i| points.lines[*i]).collect();
            let loaded = Points { lines, x: pick(&points.x), y: pick(&points.y) };
            d["residuals"] = columns(&fit.polynomial, &loaded);
            d["notes"] = notes(&fit.polynomial, &loaded.x, &loaded.lines, &[]);
            named(&mut d, names);
            d
        }
    };
    document["file"] = json!(name);
    document
}

fn named(document: &mut Value, names: &(String, String)) {
    document["x"] = json!(names.0);
    document["y"] = json!(names.1);
}

/// What every fit says of its line.
fn line(fit: &PolynomialFit, model: &str) -> Value {
    let n = fit.coefficients.len();
    let covariance: Vec<Vec<Option<f64>>> =
        (0..n).map(|i| (0..n).map(|j| fit.covariance(i, j)).collect()).collect();
    json!({
        "model": model,
        "degree": fit.degree(),
        "points": fit.centred.residuals.len(),
        "coefficients": fit.coefficients,
        "standard_errors": fit.standard_errors(),
        "covariance": covariance,
        "degrees_of_freedom": fit.centred.degrees_of_freedom,
        "r_squared": fit.centred.r_squared,
    })
}

fn columns(fit: &PolynomialFit, points: &Points) -> Value {
    let residuals = &fit.centred.residuals;
    let row = |i: usize| {
        let y = points.y[i];
        json!({ "line": points.lines[i], "x": points.x[i], "y": y, "fitted": y - residuals[i], "residual": residuals[i] })
    };
    (0..residuals.len()).map(row).collect()
}

/// Notes given, and a point that stands off the line by more than scatter.
fn notes(fit: &PolynomialFit, x: &[f64], lines: &[usize], given: &[&str]) -> Value {
    let mut notes: Vec<String> = given.iter().map(|n| (*n).to_owned()).collect();
    if let Some(o) = outlier::worst(fit, x).filter(|o| o.p_value < OUTLIER_P) {
        notes.push(format!(
            "line {}: stands off the line by {:.3} times the scatter of the others (p = {:.1e}); it was not left out",
            lines[o.index], o.t.abs(), o.p_value
        ));
    }
    json!(notes)
}

fn loads(fit: &TensionFit, file: &Loads) -> Value {
    let line_of = &fit.polynomial;
    let mut d = line(line_of, "tension-on-counts");
    let counts: Vec<f64> = file.loads.iter().map(|l| l.counts.to_f64()).collect();
    let lines: Vec<usize> = file.loads.iter().map(|l| l.line).collect();
    let highest = file.loads.iter().map(|l| l.reference_kn.to_f64()).fold(0.0, f64::max);
    d["residual_sd_kN"] = json!(fit.residual_sd_kn);
    d["llf_kN"] = json!(fit.llf_kn);
    d["range_kN"] = json!(highest);
    d["counts_low"] = json!(line_of.range.0);
    d["counts_high"] = json!(line_of.range.1);
    let residual = |(l, r): (&Load, &f64)| {
        let reference = l.reference_kn.to_f64();
        json!({
            "line": l.line, "series": l.series, "direction": direction(l), "reference_kN": reference,
            "counts": l.counts.to_f64(), "fitted_kN": reference - r, "residual_kN": r,
        })
    };
    d["residuals"] = file.loads.iter().zip(&line_of.centred.residuals).map(residual).collect();
    let (figures, mut given) = figures(file, line_of.degree());
    d["steps"] = steps(&figures);
    d["forces_left_out_kN"] = json!(figures.left_out);
    d["zero_error_percent"] = json!(figures.zero_error);
    d["class"] = json!(figures.class.map(iso376::Class::name));
    if figures.steps.iter().any(|s| s.class.is_some()) {
        given.push(CLASS_NOTE);
    }
    d["notes"] = notes(line_of, &counts, &lines, &given);
    d
}

/// Up or down.
pub const fn direction(load: &Load) -> &'static str {
    if load.up { "up" } else { "down" }
}

fn loads_e74(fit: &E74Fit, deflection: &[f64], file: &Loads, given: &[&str]) -> Value {
    let mut d =
        e74(fit, ["residual_sd_counts", "llf_counts", "llf_kN", "class_A_from_kN", "class_AA_from_kN"]);
    let loaded: Vec<(&Load, f64)> =
        file.loads.iter().zip(deflection).filter(|(l, _)| l.reference != 0.0).map(|(l, x)| (l, *x)).collect();
    let residual = |((l, deflection), r): (&(&Load, f64), &f64)| {
        json!({
            "line": l.line, "series": l.series, "direction": direction(l),
            "reference_kN": l.reference_kn.to_f64(), "deflection_counts": deflection,
            "fitted_counts": deflection - r, "residual_counts": r,
        })
    };
    d["residuals"] = loaded.iter().zip(&fit.polynomial.centred.residuals).map(residual).collect();
    d["forces_kN"] = json!([fit.forces.0, fit.forces.1]);
    let force: Vec<f64> = loaded.iter().map(|(l, _)| l.reference_kn.to_f64()).collect();
    let lines: Vec<usize> = loaded.iter().map(|(l, _)| l.line).collect();
    d["notes"] = notes(&fit.polynomial, &force, &lines, given);
    d
}

/// What E74 says; `keys` name residual SD, lower limit factor in deflection and in force, and the classes.
fn e74(fit: &E74Fit, keys: [&str; 5]) -> Value {
    let mut d = line(&fit.polynomial, "deflection-on-force");
    let figures = [fit.residual_sd, fit.llf_deflection, fit.llf_force, fit.class_a_from, fit.class_aa_from];
    for (key, figure) in keys.into_iter().zip(figures) {
        d[key] = json!(figure);
    }
    d["resolution_governs"] = json!(fit.resolution_governs);
    d["degree_by_rule"] = json!(fit.degree_by_rule);
    let step = |s: &boltscribe_analysis::metrology::e74::DegreeStep| {
        json!({
            "degree": s.degree, "residual_sd_of_means": s.residual_sd_of_means,
            "ratio": s.ratio.filter(|r| r.is_finite()), "limit": s.limit,
        })
    };
    d["degree_steps"] = fit.degree_steps.iter().map(step).collect();
    d
}

/// ISO 376-style figures of the series that begin with a load of zero, and what to say of them.
fn figures(file: &Loads, degree: usize) -> (Figures, Vec<&'static str>) {
    let mut names: Vec<&str> = Vec::new();
    for load in &file.loads {
        if !names.contains(&load.series.as_str()) {
            names.push(&load.series);
        }
    }
    let series: Vec<Series> = names.iter().filter_map(|name| series(file, name)).collect();
    let mut given = Vec::new();
    if series.len() < names.len() {
        given.push(
            "a series without a load of zero at its beginning has no deflections: it is not in the steps",
        );
    }
    if file.loads.iter().any(|l| l.position_deg.is_none()) {
        given.push(POSITION_NOTE);
    }
    let figures = iso376::figures(&series, degree, COUNT);
    given.extend(figures.withheld.iter().map(|why| match why {
        Withheld::ForcesMissing => {
            "forces that not every series has going up, or that are no step coming down, have no step (forces_left_out_kN), and so there is no class"
        }
        Withheld::FewForces => "fewer than 8 forces: there is no class",
        Withheld::ZeroNotRead => {
            "no series ends with a load of zero: there is no zero error, and so no class"
        }
    }));
    if figures.steps.iter().any(|step| step.reversibility.is_none()) {
        given
            .push("without falling loads the reversibility is not known: the class is for rising loads only");
    }
    (figures, given)
}

/// One series with its zero taken off; none where it does not begin with one.
fn series(file: &Loads, name: &str) -> Option<Series> {
    let own = || file.loads.iter().filter(|l| l.series == name);
    let zero = own().find(|l| l.up && l.reference == 0.0)?.counts;
    let points = |up: bool| {
        own()
            .filter(|l| l.up == up && l.reference != 0.0)
            .map(|l| (l.reference_kn.to_f64(), (l.counts - zero).to_f64()))
            .collect()
    };
    let back = own().find(|l| !l.up && l.reference == 0.0);
    Some(Series {
        position_deg: own().next()?.position_deg,
        up: points(true),
        down: points(false),
        zero_return: back.map(|l| (l.counts - zero).to_f64()),
    })
}

fn steps(figures: &Figures) -> Value {
    let step = |s: &iso376::Step| {
        json!({
            "reference_kN": s.force,
            "mean_deflection_counts": s.mean_deflection,
            "reproducibility_percent": s.reproducibility,
            "repeatability_percent": s.repeatability,
            "interpolation_percent": s.interpolation,
            "reversibility_percent": s.reversibility,
            "resolution_percent": s.resolution,
            "class": s.class.map(iso376::Class::name),
        })
    };
    figures.steps.iter().map(step).collect()
}
