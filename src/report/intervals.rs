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
/// Characters beside a row.
const LINE: usize = 28;

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
        name(&mut out, &row.name, y);
        bar(&mut out, row.wider.map(|(a, b)| (at(a), at(b))), y, 1.0);
        bar(&mut out, row.limits.map(|(a, b)| (at(a), at(b))), y, 4.0);
        if row.value.is_finite() {
            dot(&mut out, at(row.value), y, row.shape);
        }
    }
    out.push_str("</svg>\n");
    out
}

/// The name of a row beside it, in two lines where one is too long; the table has it whole.
fn name(out: &mut String, name: &str, y: f64) {
    let (first, second) = halves(name);
    let x = LEFT - 12.0;
    let raised = if second.is_empty() { y + 4.0 } else { y - 3.0 };
    for (line, y) in [(first, raised), (second, y + 12.0)].into_iter().filter(|(line, _)| !line.is_empty()) {
        let _ = writeln!(
            out,
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"end\" fill=\"currentColor\">{}</text>",
            escaped(&line)
        );
    }
}

/// A name in lines of at most [`LINE`] characters; the second ends with dots where there would be a third.
fn halves(name: &str) -> (String, String) {
    if name.chars().count() <= LINE {
        return (name.to_owned(), String::new());
    }
    let head: String = name.chars().take(LINE + 1).collect();
    let at = head
        .rfind(' ')
        .filter(|at| *at > 0)
        .unwrap_or_else(|| name.char_indices().nth(LINE).map_or(name.len(), |(at, _)| at));
    let (first, rest) = (name[..at].trim_end(), name[at..].trim_start());
    if rest.chars().count() <= LINE {
        return (first.to_owned(), rest.to_owned());
    }
    (first.to_owned(), rest.chars().take(LINE - 1).chain(['…']).collect())
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

    #[test]
    fn long_names_take_two_lines_and_lose_only_what_comes_after() {
        assert_eq!(halves("direct"), ("direct".to_owned(), String::new()));
        let (first, second) = halves("socket 30 - adapter 3/4 to 1/2 - socket 30 small drive");
        assert_eq!(
            (first.as_str(), second.as_str()),
            ("socket 30 - adapter 3/4 to", "1/2 - socket 30 small drive")
        );
        let (first, second) = halves(&"ü".repeat(70));
        assert_eq!((first.chars().count(), second.chars().count()), (28, 28));
        assert!(second.ends_with('…'));
        assert_eq!(halves(&"x".repeat(29)), ("x".repeat(28), "x".to_owned()));
    }
}
