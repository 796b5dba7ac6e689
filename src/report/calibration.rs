//! The report of a calibration, in the order in which ISO/IEC 17025 section 7.8 asks: what, who, when, how, under
//! which conditions, results with uncertainty, what they hold for.
//!
//! The order is from memory of the standard. It is a record of a workshop and no certificate of a laboratory, which
//! it says. Must not know what day it is: that is told.

use super::html::Document;
use super::svg::{Plot, Shape};
use boltscribe_analysis::metrology::KeptCalibration;
use boltscribe_analysis::metrology::budget::{Budget, Expanded, Line};
use boltscribe_analysis::metrology::tension_fit::TensionFit;
use boltscribe_store::CalibrationRow;
use jiff::civil::Date;

/// Coverage probability of the expanded uncertainties.
const LEVEL: f64 = 0.95;
/// Points of a drawn line.
const DRAWN: usize = 80;

/// A load with what the line makes of it.
struct Row {
    series: String,
    direction: &'static str,
    reference_kn: f64,
    counts: f64,
    line_kn: f64,
    residual_kn: f64,
    expanded: Expanded,
}

/// The report; none where no line goes through the loads, which a kept calibration cannot say.
#[must_use]
pub fn html(row: &CalibrationRow, digest: &str, today: Date) -> Option<String> {
    let kept = &row.kept;
    let fit = kept.taken.fit().ok()?;
    let rows = rows(kept, &fit);
    let mut document = Document::new(&format!("Calibration {}", kept.taken.name));
    if kept.expired_on(today) {
        document.note("This calibration has expired.");
    }
    who_and_when(&mut document, row, digest, today);
    conditions(&mut document, kept);
    results(&mut document, kept, &fit, &rows);
    holds_for(&mut document, kept);
    Some(document.finish())
}

fn rows(kept: &KeptCalibration, fit: &TensionFit) -> Vec<Row> {
    let row = |load: &boltscribe_analysis::metrology::KeptLoad| {
        let tension = fit.tension(load.counts, 1);
        Row {
            series: load.series.clone(),
            direction: if load.up { "up" } else { "down" },
            reference_kn: load.reference_kn,
            counts: load.counts,
            line_kn: tension.tension_kn,
            residual_kn: load.reference_kn - tension.tension_kn,
            expanded: expanded(kept, fit, load.counts),
        }
    };
    kept.taken.loads.iter().map(row).collect()
}

/// The estimate that the lines of the loads stem from.
const RESIDUAL_SD: &str = "residual SD";

/// Uncertainty of a tension read by the line once more, at these counts.
fn expanded(kept: &KeptCalibration, fit: &TensionFit, counts: f64) -> Expanded {
    let tension = fit.tension(counts, 1);
    let freedom = kept.degrees_of_freedom as f64;
    let reference = tension.tension_kn.abs() * kept.taken.reference.standard_share();
    let budget = Budget::new(vec![
        // Both from the residual SD, so its degrees of freedom count once.
        Line::sampled("line", tension.line_u_kn, freedom).from_estimate(RESIDUAL_SD),
        Line::sampled("scatter of readings", fit.residual_sd_kn, freedom).from_estimate(RESIDUAL_SD),
        Line::known("reference standard", reference),
    ]);
    budget.combine().expand(LEVEL)
}

fn told(text: Option<&str>) -> String {
    text.map_or_else(|| "not told".to_owned(), str::to_owned)
}

fn who_and_when(document: &mut Document, row: &CalibrationRow, digest: &str, today: Date) {
    let taken = &row.kept.taken;
    document.section("What, who, when", |d| {
        d.facts(&[
            ("calibration", taken.name.clone()),
            ("SHA-256 of its record", digest.to_owned()),
            ("item calibrated", told(taken.item.as_deref())),
            ("performed by", taken.performed_by.clone()),
            ("performed on", taken.performed_on.to_string()),
            ("holds until", taken.valid_until.map_or("not told".to_owned(), |day| day.to_string())),
            ("kept in the store by", row.who.clone()),
            ("report made on", today.to_string()),
        ]);
        d.paragraph("A record of the workshop that made it, not a certificate of an accredited laboratory.");
    });
}

fn conditions(document: &mut Document, kept: &KeptCalibration) {
    let (taken, reference) = (&kept.taken, &kept.taken.reference);
    document.section("Method and conditions", |d| {
        d.paragraph(&format!(
            "Loads were applied by a reference standard and read in counts. Tension was fitted on counts by least \
             squares, degree {}, with all loads: those coming down and those of zero too.",
            taken.degree
        ));
        d.facts(&[
            ("reference standard", reference.standard.clone()),
            ("its certificate", reference.certificate.clone()),
            (
                "its expanded uncertainty",
                format!("{} % of the load (k = {})", reference.uncertainty_percent, reference.coverage_factor),
            ),
            (
                "its certificate holds until",
                reference.valid_until.map_or("not told".to_owned(), |day| day.to_string()),
            ),
            ("air temperature", taken.temperature_c.map_or("not told".to_owned(), |t| format!("{t} °C"))),
            ("relative humidity", taken.humidity_percent.map_or("not told".to_owned(), |h| format!("{h} %"))),
            ("note", told(taken.note.as_deref())),
        ]);
    });
}

fn results(document: &mut Document, kept: &KeptCalibration, fit: &TensionFit, rows: &[Row]) {
    let errors = fit.polynomial.standard_errors().unwrap_or_default();
    document.section("Results", |d| {
        let coefficients: Vec<Vec<String>> = kept
            .line
            .coefficients_kn
            .iter()
            .enumerate()
            .map(|(power, c)| {
                let error = errors.get(power).map_or_else(String::new, |e| format!("{e:.3e}"));
                vec![format!("counts^{power}"), format!("{c:.9e}"), error]
            })
            .collect();
        d.table("Tension in kN by powers of counts.", &["power", "coefficient", "standard error"], &coefficients);
        d.facts(&[
            ("residual standard deviation", format!("{:.4} kN", kept.residual_sd_kn)),
            ("degrees of freedom", kept.degrees_of_freedom.to_string()),
            ("lower limit factor (2.4 residual SDs)", format!("{:.4} kN", kept.llf_kn)),
            ("R²", format!("{:.9}", fit.polynomial.centred.r_squared)),
        ]);
        d.figure(&fit_plot(fit, rows), "Loads (discs going up, squares coming down) and the line.");
        d.figure(
            &residual_plot(kept, rows),
            "Residuals: reference less line. The dashed lines are the lower limit factor either side.",
        );
        let cells: Vec<Vec<String>> = rows
            .iter()
            .map(|r| {
                vec![
                    r.series.clone(),
                    r.direction.to_owned(),
                    format!("{:.3}", r.reference_kn),
                    format!("{:.1}", r.counts),
                    format!("{:.3}", r.line_kn),
                    format!("{:.3}", r.residual_kn),
                    format!("{:.3}", r.expanded.uncertainty),
                    format!("{:.2}", r.expanded.coverage_factor),
                ]
            })
            .collect();
        d.table(
            "U is the expanded uncertainty (95 %) of one tension read by the line there: line, scatter of readings and \
             reference standard. What a rig adds (zero, noise, resolution) is not in it.",
            &["series", "direction", "reference kN", "counts", "line kN", "residual kN", "U kN", "k"],
            &cells,
        );
    });
}

type Drawn = Vec<(f64, f64)>;

/// Points going up, and coming down.
fn split(rows: &[Row], of: impl Fn(&Row) -> (f64, f64)) -> (Drawn, Drawn) {
    let pick = |direction: &str| rows.iter().filter(|r| r.direction == direction).map(&of).collect();
    (pick("up"), pick("down"))
}

fn fit_plot(fit: &TensionFit, rows: &[Row]) -> String {
    let (low, high) = fit.polynomial.range;
    let counts: Vec<f64> = rows.iter().map(|r| r.counts).collect();
    let loads: Vec<f64> = rows.iter().map(|r| r.reference_kn).collect();
    let mut plot = Plot::new("tension on counts", ("counts", &counts), ("tension, kN", &loads));
    let line: Vec<(f64, f64)> = (0..=DRAWN)
        .map(|i| low + (high - low) * i as f64 / DRAWN as f64)
        .map(|x| (x, fit.polynomial.value(x)))
        .collect();
    plot.line(&line, false);
    let (up, down) = split(rows, |r| (r.counts, r.reference_kn));
    plot.points(&up, Shape::Disc);
    plot.points(&down, Shape::Square);
    plot.finish()
}

fn residual_plot(kept: &KeptCalibration, rows: &[Row]) -> String {
    let loads: Vec<f64> = rows.iter().map(|r| r.reference_kn).collect();
    let llf = kept.llf_kn;
    let mut ends: Vec<f64> = rows.iter().map(|r| r.residual_kn).collect();
    ends.extend([-llf, llf]);
    let mut plot = Plot::new("residuals on load", ("reference, kN", &loads), ("residual, kN", &ends));
    let (first, last) =
        loads.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(*x), b.max(*x)));
    plot.line(&[(first, 0.0), (last, 0.0)], false);
    for limit in [-llf, llf] {
        plot.line(&[(first, limit), (last, limit)], true);
    }
    let (up, down) = split(rows, |r| (r.reference_kn, r.residual_kn));
    plot.points(&up, Shape::Disc);
    plot.points(&down, Shape::Square);
    plot.finish()
}

fn holds_for(document: &mut Document, kept: &KeptCalibration) {
    document.section("What it holds for", |d| {
        d.paragraph(&format!(
            "Static loads up to {:.1} kN, this cell with this amplifier, mounted as it was. Outside of this range, after \
             an overload, a repair or an exchange of either, it does not hold.",
            kept.line.range_kn.unwrap_or(0.0)
        ));
        d.note(
            "A stretched bolt stores energy: stay out of its line, wear eye and hearing protection, never pass its \
             allowed tension, follow the makers' instructions and local rules. Results compare tools on this rig and \
             are no basis for tightening a real connection, which is for qualified people and the applicable standard.",
        );
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_analysis::fixtures::taken;
    use jiff::civil::date;

    fn report(day: Date) -> String {
        let mut taken = taken("cell <1>");
        taken.note = Some("<script>".into());
        let row = CalibrationRow { utc_ns: 0, who: "ben".into(), kept: taken.keep().unwrap() };
        html(&row, "abc", day).unwrap()
    }

    #[test]
    fn a_report_holds_every_load_and_stands_alone() {
        let text = report(date(2026, 6, 1));
        assert_eq!(text.matches(">up</td>").count() + text.matches(">down</td>").count(), 11);
        assert_eq!(text.matches("<svg").count(), 2);
        for part in [
            "K-0815",
            "reference cell 7 (invented)",
            "cell &lt;1&gt;",
            "0.2 % of the load (k = 2)",
            "21.5 °C",
        ] {
            assert!(text.contains(part), "{part}");
        }
        assert!(!text.contains("<script") && !text.contains("http") && !text.contains("expired"));
        assert!(report(date(2027, 6, 1)).contains("This calibration has expired."));
    }

    #[test]
    fn the_uncertainty_grows_with_the_load_by_the_reference() {
        let kept = taken("c").keep().unwrap();
        let fit = kept.taken.fit().unwrap();
        let u = |counts| expanded(&kept, &fit, counts).uncertainty;
        // 0.2 % with k = 2 of 100 kN is 0.1 kN standard uncertainty; the line adds a little.
        let top = u(12.0 + 429_496.0 * 5.0);
        assert!((0.19..0.26).contains(&top) && u(12.0) < 0.02, "{top}");
    }
}
