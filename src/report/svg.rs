//! A small writer of plots as SVG: two axes with round ticks, points, lines, intervals.
//!
//! Shapes and not only colours tell series apart. Colours are variables of the page it stands in. Must not know
//! what is drawn.

use super::html::escaped;
use std::fmt::Write;

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 300.0;
const LEFT: f64 = 76.0;
const RIGHT: f64 = 36.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 48.0;

/// The shape of points.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// A filled disc in the first colour.
    Disc,
    /// An open square in the second colour.
    Square,
    /// A cross in the colour of the text.
    Cross,
}

/// Dashes of curves beside one another, so that they are told apart without colour.
const DASHES: [&str; 6] = ["", "10 4", "2 4", "12 4 2 4", "6 3", "14 3 2 3 2 3"];
/// Their colours, in turn.
const COLOURS: [&str; 3] = ["var(--first)", "var(--second)", "currentColor"];

/// A plot being drawn.
pub struct Plot {
    x: Scale,
    y: Scale,
    body: String,
    title: String,
}

/// From a quantity to a place.
#[derive(Clone, Debug)]
struct Scale {
    label: String,
    ticks: Vec<f64>,
    low: f64,
    high: f64,
}

impl Scale {
    fn new(label: &str, low: f64, high: f64) -> Self {
        let ticks = round_ticks(low, high);
        let (first, last) = (ticks[0], ticks[ticks.len() - 1]);
        Self { label: label.to_owned(), low: first.min(low), high: last.max(high), ticks }
    }

    fn share(&self, value: f64) -> f64 {
        (value - self.low) / (self.high - self.low)
    }
}

/// About five round values from at most `low` to at least `high`: steps of 1, 2 or 5 times a power of ten.
#[must_use]
pub fn round_ticks(low: f64, high: f64) -> Vec<f64> {
    let (low, high) = if low.is_finite() && high.is_finite() && high > low {
        (low, high)
    } else {
        let at = if low.is_finite() { low } else { 0.0 };
        (at - 1.0, at + 1.0)
    };
    let rough = (high - low) / 5.0;
    let power = libm::pow(10.0, libm::floor(libm::log10(rough)));
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= rough).unwrap_or(rough);
    let (first, last) = (libm::floor(low / step), libm::ceil(high / step));
    (0..=(last - first) as u32).map(|i| (first + f64::from(i)) * step).collect()
}

/// A tick's number, without digits that are only rounding.
pub(super) fn number(value: f64, step: f64) -> String {
    let decimals = (-libm::floor(libm::log10(step.abs()))).clamp(0.0, 9.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') {
        return text.trim_start_matches('-').to_owned();
    }
    text
}

impl Plot {
    /// Axes that hold these values; `title` is read out where it cannot be seen.
    #[must_use]
    pub fn new(title: &str, x: (&str, &[f64]), y: (&str, &[f64])) -> Self {
        let ends = |values: &[f64]| {
            let finite = values.iter().copied().filter(|v| v.is_finite());
            (finite.clone().fold(f64::INFINITY, f64::min), finite.fold(f64::NEG_INFINITY, f64::max))
        };
        let ((x_low, x_high), (y_low, y_high)) = (ends(x.1), ends(y.1));
        Self {
            x: Scale::new(x.0, x_low, x_high),
            y: Scale::new(y.0, y_low, y_high),
            body: String::new(),
            title: title.to_owned(),
        }
    }

    fn place(&self, x: f64, y: f64) -> (f64, f64) {
        (
            LEFT + self.x.share(x) * (WIDTH - LEFT - RIGHT),
            HEIGHT - BOTTOM - self.y.share(y) * (HEIGHT - TOP - BOTTOM),
        )
    }

    /// Points; what is not finite is left out.
    pub fn points(&mut self, points: &[(f64, f64)], shape: Shape) {
        for &(x, y) in points.iter().filter(|(x, y)| x.is_finite() && y.is_finite()) {
            let (x, y) = self.place(x, y);
            let _ = match shape {
                Shape::Disc => {
                    writeln!(self.body, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"var(--first)\"/>")
                }
                Shape::Square => {
                    let (x, y) = (x - 4.0, y - 4.0);
                    writeln!(
                        self.body,
                        "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"8\" height=\"8\" fill=\"none\" \
                         stroke=\"var(--second)\" stroke-width=\"2\"/>"
                    )
                }
                Shape::Cross => {
                    let (x, y) = (x - 5.0, y - 5.0);
                    writeln!(
                        self.body,
                        "<path d=\"M{x:.1},{y:.1}l10,10m0,-10l-10,10\" stroke=\"currentColor\" stroke-width=\"2\"/>"
                    )
                }
            };
        }
    }

    /// A line through these points; dashed where it is a limit.
    pub fn line(&mut self, points: &[(f64, f64)], dashed: bool) {
        let mut path = String::new();
        for (at, &(x, y)) in points.iter().filter(|(x, y)| x.is_finite() && y.is_finite()).enumerate() {
            let (x, y) = self.place(x, y);
            let _ = write!(path, "{}{x:.1},{y:.1}", if at == 0 { "M" } else { "L" });
        }
        let dash = if dashed { " stroke-dasharray=\"6 4\"" } else { "" };
        let _ = writeln!(self.body, "<path d=\"{path}\" fill=\"none\" stroke=\"currentColor\"{dash}/>");
    }

    /// The curve number `nth` of several, told from the others by colour and dashes; [`keys`] draws what each is.
    pub fn curve(&mut self, points: &[(f64, f64)], nth: usize) {
        let places: Vec<String> = points
            .iter()
            .filter(|(x, y)| x.is_finite() && y.is_finite())
            .map(|&(x, y)| self.place(x, y))
            .map(|(x, y)| format!("{x:.1},{y:.1}"))
            .collect();
        let _ =
            writeln!(self.body, "<polyline points=\"{}\" fill=\"none\" {}/>", places.join(" "), stroke(nth));
    }

    /// The drawing.
    #[must_use]
    pub fn finish(self) -> String {
        let mut out = format!(
            "<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-label=\"{}\" font-size=\"13\" \
             font-family=\"system-ui,sans-serif\">\n",
            escaped(&self.title)
        );
        let (left, right, bottom) = (LEFT, WIDTH - RIGHT, HEIGHT - BOTTOM);
        let step = |ticks: &[f64]| ticks.get(1).map_or(1.0, |second| second - ticks[0]);
        for &tick in &self.y.ticks {
            let (_, y) = self.place(self.x.low, tick);
            let text = number(tick, step(&self.y.ticks));
            let _ = writeln!(
                out,
                "<path d=\"M{left},{y:.1}H{right}\" stroke=\"var(--line)\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"currentColor\">{text}</text>",
                left - 8.0,
                y + 4.0
            );
        }
        for &tick in &self.x.ticks {
            let (x, _) = self.place(tick, self.y.low);
            let text = number(tick, step(&self.x.ticks));
            let _ = writeln!(
                out,
                "<path d=\"M{x:.1},{bottom}v5\" stroke=\"currentColor\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" fill=\"currentColor\">{text}</text>",
                bottom + 20.0
            );
        }
        let _ = writeln!(
            out,
            "<path d=\"M{left},{bottom}H{right}\" stroke=\"currentColor\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\" fill=\"currentColor\">{}</text>\
             <text transform=\"translate(16 {:.1}) rotate(-90)\" text-anchor=\"middle\" fill=\"currentColor\">{}</text>",
            0.5 * (left + right),
            HEIGHT - 8.0,
            escaped(&self.x.label),
            0.5 * (TOP + bottom),
            escaped(&self.y.label)
        );
        out.push_str(&self.body);
        out.push_str("</svg>\n");
        out
    }
}

fn stroke(nth: usize) -> String {
    let (colour, dashes) = (COLOURS[nth % COLOURS.len()], DASHES[nth % DASHES.len()]);
    format!("stroke=\"{colour}\" stroke-width=\"2\" stroke-dasharray=\"{dashes}\"")
}

/// Keys of curves, one below the other: a piece of each and its name.
#[must_use]
pub fn keys(title: &str, names: &[String]) -> String {
    let height = 22 * names.len() + 6;
    let mut out = format!(
        "<svg viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" aria-label=\"{}\" font-size=\"13\" \
         font-family=\"system-ui,sans-serif\">\n",
        escaped(title)
    );
    for (nth, name) in names.iter().enumerate() {
        let y = 22 * nth + 14;
        let _ = writeln!(
            out,
            "<path d=\"M{LEFT},{y}h60\" fill=\"none\" {}/><text x=\"{}\" y=\"{}\" fill=\"currentColor\">{}</text>",
            stroke(nth),
            LEFT + 72.0,
            y + 4,
            escaped(name)
        );
    }
    out.push_str("</svg>\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_hold_all_values() {
        assert_eq!(round_ticks(0.0, 100.0), [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]);
        assert_eq!(round_ticks(-0.003, 0.0021).len(), 5);
        assert_eq!(round_ticks(5.0, 5.0), [4.0, 4.5, 5.0, 5.5, 6.0]);
        for (low, high) in [(0.1, 97.0), (-1e-9, 1e-9), (1e6, 8.4e6), (-3.0, 0.2)] {
            let ticks = round_ticks(low, high);
            assert!(ticks[0] <= low && ticks[ticks.len() - 1] >= high, "{low} {high}: {ticks:?}");
            assert!((4..=12).contains(&ticks.len()), "{low} {high}: {ticks:?}");
        }
    }

    #[test]
    fn numbers_of_ticks_have_the_digits_of_their_step() {
        assert_eq!(number(0.30000000000000004, 0.1), "0.3");
        assert_eq!(number(-0.0, 0.002), "0.000");
        assert_eq!(number(20000.0, 5000.0), "20000");
    }

    #[test]
    fn points_lie_inside_the_axes_and_nothing_else_is_drawn() {
        let values = [0.0, 50.0, 100.0];
        let mut plot = Plot::new("a <b>", ("x, kN", &values), ("y, kN", &values));
        plot.points(&[(0.0, 0.0), (100.0, 100.0), (f64::NAN, 1.0)], Shape::Disc);
        plot.line(&[(0.0, 0.0), (100.0, 100.0)], true);
        let text = plot.finish();
        assert_eq!(text.matches("<circle").count(), 2);
        assert!(
            text.contains("cx=\"76.0\" cy=\"252.0\"") && text.contains("cx=\"684.0\" cy=\"12.0\""),
            "{text}"
        );
        assert!(text.contains("stroke-dasharray") && text.contains("a &lt;b&gt;"));
    }

    #[test]
    fn six_curves_differ_in_dashes_and_their_keys_too() {
        let values = [0.0, 1.0];
        let mut plot = Plot::new("t", ("x", &values), ("y", &values));
        (0..6).for_each(|nth| plot.curve(&[(0.0, 0.0), (1.0, 1.0)], nth));
        let names: Vec<String> = (0..6).map(|nth| format!("<{nth}>")).collect();
        let (text, keys) = (plot.finish(), keys("k", &names));
        for nth in 0..6 {
            assert_eq!((text.matches(&stroke(nth)).count(), keys.matches(&stroke(nth)).count()), (1, 1));
        }
        assert!(keys.contains("&lt;5&gt;"));
    }
}
