//! A fit for people: residuals drawn beside their points, then coefficients, figures and notes.
//!
//! Everything shown comes from the JSON document, so the two cannot differ.

use super::document::Fitted;
use crate::error::CliError;
use crate::output::{Cell, Rows, print_text, say, terminal_width};
use serde_json::Value;

/// Half-width of the drawing of a residual, characters.
const HALF: usize = 10;

/// The points, one a row; the rows of `--format csv` too.
pub fn rows(fitted: &Fitted, document: &Value) -> Rows {
    let names: &[&'static str] = match fitted {
        Fitted::Loads { .. } => {
            &["line", "series", "direction", "reference_kN", "counts", "fitted_kN", "residual_kN"]
        }
        Fitted::LoadsE74 { .. } => &[
            "line",
            "series",
            "direction",
            "reference_kN",
            "deflection_counts",
            "fitted_counts",
            "residual_counts",
        ],
        Fitted::Columns { .. } | Fitted::ColumnsE74 { .. } => &["line", "x", "y", "fitted", "residual"],
    };
    let residual = names[names.len() - 1];
    let points = document["residuals"].as_array().map_or(&[][..], Vec::as_slice);
    let greatest = points.iter().filter_map(|p| p[residual].as_f64()).fold(0.0, |a: f64, r| a.max(r.abs()));
    let decimals = if greatest > 0.0 {
        (3 - libm::floor(libm::log10(greatest)) as i32).clamp(0, 12) as usize
    } else {
        3
    };
    let mut rows = Rows::new(names);
    rows.columns.push("residual_drawn");
    for point in points {
        let cell = |name: &&str| match *name {
            "line" => Cell::number_of(point, name, 0),
            "series" | "direction" => Cell::text_of(point, name),
            "x" | "y" | "counts" | "reference_kN" | "deflection_counts" => {
                Cell::number_of(point, name, written(points, name))
            }
            _ => Cell::number_of(point, name, decimals),
        };
        let mut cells: Vec<Cell> = names.iter().map(cell).collect();
        cells.push(Cell::text(point[residual].as_f64().map(|r| bar(r, greatest)).as_deref()));
        rows.rows.push(cells);
    }
    rows
}

/// Decimals that the values of a column were given with, six at most.
fn written(points: &[Value], name: &str) -> usize {
    let decimals = |p: &Value| {
        let text = p[name].as_f64().map(|v| v.to_string()).unwrap_or_default();
        text.split_once('.').map_or(0, |(_, after)| after.len())
    };
    points.iter().map(decimals).max().unwrap_or(0).min(6)
}

/// A residual as a bar left or right of the middle.
fn bar(residual: f64, greatest: f64) -> String {
    let share = if greatest > 0.0 { residual / greatest } else { 0.0 };
    let long = libm::round(share.abs() * HALF as f64) as usize;
    let (left, right) = if share < 0.0 { (long, 0) } else { (0, long) };
    format!(
        "{}{}|{}{}",
        " ".repeat(HALF - left),
        "#".repeat(left),
        "#".repeat(right),
        " ".repeat(HALF - right)
    )
}

/// Coefficients, steps, figures and notes below the points.
///
/// # Errors
/// Standard output cannot take it.
pub fn people(fitted: &Fitted, document: &Value) -> Result<(), CliError> {
    let mut coefficients = Rows::new(&["power", "coefficient", "standard_error"]);
    let list = |key: &str| document[key].as_array().cloned().unwrap_or_default();
    let errors = list("standard_errors");
    let text = |v: Option<&Value>| Cell::text(v.and_then(Value::as_f64).map(|v| format!("{v:e}")).as_deref());
    for (power, coefficient) in list("coefficients").iter().enumerate() {
        let name = Cell::Text(power.to_string());
        coefficients.rows.push(vec![name, text(Some(coefficient)), text(errors.get(power))]);
    }
    print_text(&coefficients.table(terminal_width()))?;
    if matches!(fitted, Fitted::Loads { .. }) && !list("steps").is_empty() {
        print_text(&steps(document).table(terminal_width()))?;
    }
    for key in [
        "degree",
        "degree_by_rule",
        "points",
        "degrees_of_freedom",
        "r_squared",
        "residual_sd_kN",
        "residual_sd_counts",
        "residual_sd",
        "llf_counts",
        "llf_deflection",
        "llf_kN",
        "llf",
        "class_A_from_kN",
        "class_AA_from_kN",
        "class_A_from",
        "class_AA_from",
        "zero_error_percent",
        "class",
    ] {
        match &document[key] {
            Value::Null => {}
            Value::String(text) => print_text(&format!("{}: {text}", key.replace('_', " ")))?,
            other => print_text(&format!("{}: {other}", key.replace('_', " ")))?,
        }
    }
    for note in list("notes") {
        say(&format!("note: {}", note.as_str().unwrap_or_default()));
    }
    Ok(())
}

fn steps(document: &Value) -> Rows {
    let names = [
        ("reference_kN", 3),
        ("reproducibility_percent", 4),
        ("repeatability_percent", 4),
        ("interpolation_percent", 4),
        ("reversibility_percent", 4),
        ("resolution_percent", 4),
    ];
    let columns: Vec<&'static str> = names.iter().map(|n| n.0).chain(["class"]).collect();
    let mut rows = Rows::new(&columns);
    for step in document["steps"].as_array().map_or(&[][..], Vec::as_slice) {
        let mut cells: Vec<Cell> = names.iter().map(|(n, d)| Cell::number_of(step, n, *d)).collect();
        cells.push(Cell::text_of(step, "class"));
        rows.rows.push(cells);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_leans_to_the_side_of_its_residual() {
        assert_eq!(bar(1.0, 1.0), format!("{}|{}", " ".repeat(10), "#".repeat(10)));
        assert_eq!(bar(-0.5, 1.0), format!("{}#####|{}", " ".repeat(5), " ".repeat(10)));
        assert_eq!(bar(0.0, 0.0).trim(), "|");
    }
}
