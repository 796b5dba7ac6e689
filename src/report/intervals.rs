//! Dots with intervals, one below the other, against a line that all are compared with.
//!
//! The dot's shape says the verdict, which also stands in words beside it. Must not know what is compared.

use super::html::escaped;
use super::svg::{Shape, number, round_ticks};
use std::fmt::Write;

const WIDTH: f64 = 720.0;
const LEFT: f64 = 210.0;
const RIGHT: f64 = 24.0;
const TOP: f64 = 8.0;
const ROW: f64 = 34.0;
const BOTTOM: f64 = 46.0;

/// A dot with its interval.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What it is.
    pub name: String,
    /// Where the dot is.
    pub value: f64,
    /// Its interval, where there is one.
    pub limits: Option<(f64, f64)>,
    /// A wider one around it, drawn thin.
    pub wider: Option<(f64, f64)>,
    /// The dot.
    pub shape: Shape,
}

/// The drawing; `line` is where everything is compared with, such as 100 %.
#[must_use]
pub fn draw(title: &str, unit: &str, line: f64, rows: &[Row]) -> String {
    let ends = rows.iter().flat_map(|row| {
        let (a, b) =
            (row.limits.unwrap_or((row.value, row.value)), row.wider.unwrap_or((row.value, row.value)));
        [row.value, a.0, a.1, b.0, b.1]
    });
    let finite = ends.chain([line]).filter(|value| value.is_finite());
    let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    let ticks = round_ticks(low, high);
    let (first, last) = (ticks[0].min(low), ticks[ticks.len() - 1].max(high));
    let at = |value: f64| LEFT + (value - first) / (last - first) * (WIDTH - LEFT - RIGHT);
    let bottom = TOP + ROW * rows.len() as f64;
    let height = bottom + BOTTOM;
    let mut out = format!(
        "<svg viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" aria-label=\"{}\" font-size=\"13\" \
         font-family=\"system-ui,sans-serif\">\n",
        escaped(title)
    );
    let step = ticks.get(1).map_or(1.0, |second| second - ticks[0]);
    for &tick in &ticks {
        let x = at(tick);
        let _ = writeln!(
            out,
            "<path d=\"M{x:.1},{TOP}V{bottom}\" stroke=\"var(--line)\"/><text x=\"{x:.1}\" y=\"{}\" \
             text-anchor=\"middle\" fill=\"currentColor\">{}</text>",
            bottom + 18.0,
            number(tick, step)
        );
    }
    let x = at(line);
    let _ = writeln!(
        out,
        "<path d=\"M{x:.1},{TOP}V{bottom}\" stroke=\"currentColor\" stroke-width=\"2\" stroke-dasharray=\"6 4\"/>\
         <text x=\"{}\" y=\"{}\" text-anchor=\"middle\" fill=\"currentColor\">{}</text>",
        0.5 * (LEFT + WIDTH - RIGHT),
        height - 8.0,
        escaped(unit)
    );
    for (nth, row) in rows.iter().enumerate() {
        let y = TOP + ROW * (nth as f64 + 0.5);
        let _ = writeln!(
            out,
            "<text x=\"{}\" y=\"{}\" text-anchor=\"end\" fill=\"currentColor\">{}</text>",
            LEFT - 12.0,
            y + 4.0,
            escaped(&row.name)
        );
        bar(&mut out, row.wider.map(|(a, b)| (at(a), at(b))), y, 1.0);
        bar(&mut out, row.limits.map(|(a, b)| (at(a), at(b))), y, 4.0);
        if row.value.is_finite() {
            dot(&mut out, at(row.value), y, row.shape);
        }
    }
    out.push_str("</svg>\n");
    out
}

fn bar(out: &mut String, limits: Option<(f64, f64)>, y: f64, width: f64) {
    let Some((low, high)) = limits.filter(|(a, b)| a.is_finite() && b.is_finite()) else { return };
    let _ = writeln!(
        out,
        "<path d=\"M{low:.1},{}v10M{high:.1},{}v10\" stroke=\"currentColor\"/>\
         <path d=\"M{low:.1},{y}H{high:.1}\" stroke=\"currentColor\" stroke-width=\"{width}\"/>",
        y - 5.0,
        y - 5.0
    );
}

fn dot(out: &mut String, x: f64, y: f64, shape: Shape) {
    let _ = match shape {
        Shape::Disc => writeln!(out, "<circle cx=\"{x:.1}\" cy=\"{y}\" r=\"6\" fill=\"var(--first)\"/>"),
        Shape::Square => writeln!(
            out,
            "<rect x=\"{:.1}\" y=\"{}\" width=\"12\" height=\"12\" fill=\"var(--ground)\" \
             stroke=\"var(--second)\" stroke-width=\"3\"/>",
            x - 6.0,
            y - 6.0
        ),
        Shape::Cross => writeln!(
            out,
            "<path d=\"M{:.1},{}l12,12m0,-12l-12,12\" stroke=\"currentColor\" stroke-width=\"2\"/>",
            x - 6.0,
            y - 6.0
        ),
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dots_lie_in_their_intervals_and_the_line_is_drawn() {
        let row = |name: &str, value, limits| Row {
            name: name.into(),
            value,
            limits,
            wider: None,
            shape: Shape::Disc,
        };
        let rows = [row("<a>", 100.0, None), row("b", 90.0, Some((80.0, 95.0)))];
        let text = draw("t", "percent", 100.0, &rows);
        // From 80 to 100 over 486 units, from 210: 90 is at 453, 80 at 210, 95 at 574.5.
        assert!(text.contains("cx=\"453.0\"") && text.contains("M210.0,59H574.5"), "{text}");
        assert!(text.contains("&lt;a&gt;") && text.matches("<circle").count() == 2);
        let odd = draw("t", "percent", 100.0, &[row("n", f64::NAN, Some((f64::NAN, 1.0)))]);
        assert!(!odd.contains("NaN") && !odd.contains("<circle"), "{odd}");
    }
}
