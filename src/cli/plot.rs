//! A trace drawn in the terminal: braille dots, kN upwards, seconds to the right, marks at times.
//!
//! Each character cell holds 2 × 4 dots (Unicode block U+2800). A column of dots is filled from the
//! least to the greatest value that falls into it, so a blow is never lost between columns. It gets
//! numbers and gives text: it must not know where a trace comes from or what prints it.

use std::fmt::Write;

/// One thinned point of a trace.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Time in seconds.
    pub time_s: f64,
    /// Least tension in the point, kN.
    pub min_kn: f64,
    /// Greatest tension in the point, kN.
    pub max_kn: f64,
}

/// Something to point at.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Time in seconds.
    pub time_s: f64,
    /// One letter above the plot, explained below it.
    pub letter: char,
    /// What it is.
    pub words: String,
}

/// How large, and whether colours may be used.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Characters across, axis included; at least `WIDTH_MIN` is used.
    pub width: usize,
    /// Rows of the plot, without its axis.
    pub height: usize,
    /// ANSI colours.
    pub colour: bool,
}

/// Narrower than this nothing can be read.
pub const WIDTH_MIN: usize = 40;
/// Room for a figure such as `-123.4` and the axis.
const AXIS: usize = 8;

struct Canvas {
    columns: usize,
    rows: usize,
    dots: Vec<u8>,
}

impl Canvas {
    fn new(columns: usize, rows: usize) -> Self {
        Self { columns, rows, dots: vec![0; columns * rows] }
    }

    /// Sets the dot at `x` (from the left) and `y` (from the top), in dots.
    fn set(&mut self, x: usize, y: usize) {
        // Dot numbers of U+2800: left column 1 2 3 7, right column 4 5 6 8.
        const BITS: [[u8; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];
        if x < 2 * self.columns && y < 4 * self.rows {
            self.dots[(y / 4) * self.columns + x / 2] |= BITS[x % 2][y % 4];
        }
    }

    fn row(&self, row: usize) -> String {
        self.dots[row * self.columns..(row + 1) * self.columns]
            .iter()
            .map(|&bits| char::from_u32(0x2800 + u32::from(bits)).unwrap_or(' '))
            .collect()
    }
}

/// Maps values of one axis to dots.
#[derive(Clone, Copy)]
struct Scale {
    low: f64,
    high: f64,
    dots: usize,
}

impl Scale {
    fn of(values: impl Iterator<Item = f64>, dots: usize) -> Option<Self> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.filter(|v| v.is_finite()) {
            low = low.min(value);
            high = high.max(value);
        }
        if low > high {
            return None;
        }
        if high - low <= f64::EPSILON * high.abs().max(1.0) {
            high = low + 1.0;
        }
        Some(Self { low, high, dots })
    }

    fn dot(&self, value: f64) -> usize {
        let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        // In range by the clamp: 0..=dots-1.
        (share * (self.dots - 1) as f64).round() as usize
    }

    /// Round figures inside the axis, at most `most` of them, in steps of 1, 2 or 5.
    fn ticks(&self, most: usize) -> Vec<f64> {
        let rough = (self.high - self.low) / most.max(1) as f64;
        let power = libm::pow(10.0, libm::floor(libm::log10(rough)));
        let step =
            [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * power).find(|s| *s >= rough).unwrap_or(10.0 * power);
        let first = libm::ceil(self.low / step);
        (0..=most).map(|k| (first + k as f64) * step).filter(|t| *t <= self.high).collect()
    }
}

/// Draws a trace; none where there is no finite point.
#[must_use]
pub fn draw(points: &[Point], marks: &[Mark], look: Look) -> Option<String> {
    let columns = look.width.max(WIDTH_MIN) - AXIS;
    let rows = look.height.max(4);
    let time = Scale::of(points.iter().map(|p| p.time_s), 2 * columns)?;
    let tension = Scale::of(points.iter().flat_map(|p| [p.min_kn, p.max_kn]).chain([0.0]), 4 * rows)?;
    let mut canvas = Canvas::new(columns, rows);
    fill(&mut canvas, points, &time, &tension);
    let (paint, rest) = if look.colour { ("\u{1b}[36m", "\u{1b}[0m") } else { ("", "") };
    let mut text = String::new();
    push_line(&mut text, &mark_line(marks, &time, columns));
    let labels = tension_labels(&tension, rows);
    for (row, label) in labels.iter().enumerate() {
        push_line(&mut text, &format!("{label}{paint}{}{rest}", canvas.row(row)));
    }
    push_line(&mut text, &format!("{:>7}└{}", "kN", "─".repeat(columns)));
    push_line(&mut text, &time_labels(&time, columns));
    for mark in marks {
        let _ = writeln!(text, "{:>7} {} {:.3} s", mark.letter, mark.words, mark.time_s);
    }
    Some(text)
}

fn push_line(text: &mut String, line: &str) {
    text.push_str(line.trim_end());
    text.push('\n');
}

fn fill(canvas: &mut Canvas, points: &[Point], time: &Scale, tension: &Scale) {
    let top = tension.dots - 1;
    let mut before: Option<(usize, usize, usize)> = None;
    for p in points.iter().filter(|p| p.min_kn.is_finite() && p.max_kn.is_finite()) {
        let x = time.dot(p.time_s);
        let (mut upper, mut lower) = (top - tension.dot(p.max_kn), top - tension.dot(p.min_kn));
        let (own_upper, own_lower) = (upper, lower);
        // Neighbours are joined, so that a steep rise is a line and not two crumbs.
        if let Some((x_before, upper_before, lower_before)) = before
            && (1..=2).contains(&x.saturating_sub(x_before))
        {
            upper = upper.min(lower_before);
            lower = lower.max(upper_before);
        }
        for y in upper..=lower {
            canvas.set(x, y);
        }
        before = Some((x, own_upper, own_lower));
    }
}

fn mark_line(marks: &[Mark], time: &Scale, columns: usize) -> String {
    let mut cells = vec![' '; columns];
    for mark in marks.iter().filter(|m| (time.low..=time.high).contains(&m.time_s)) {
        let at = time.dot(mark.time_s) / 2;
        // Two marks in one cell: the later one moves right, the figures below stay exact.
        if let Some(free) = (at..columns).find(|&c| cells[c] == ' ') {
            cells[free] = mark.letter;
        }
    }
    format!("{}{}", " ".repeat(AXIS), cells.into_iter().collect::<String>())
}

fn tension_labels(tension: &Scale, rows: usize) -> Vec<String> {
    let mut labels = vec![format!("{:>7}│", ""); rows];
    for tick in tension.ticks(rows / 3) {
        let row = (tension.dots - 1 - tension.dot(tick)) / 4;
        labels[row] = format!("{:>7}┤", figure(tick));
    }
    labels
}

fn time_labels(time: &Scale, columns: usize) -> String {
    let mut cells: Vec<char> = vec![' '; columns + AXIS];
    let mut free_from = 0;
    for tick in time.ticks(columns / 12) {
        let label = format!("{} s", figure(tick));
        let middle = AXIS + time.dot(tick) / 2;
        let at = middle.saturating_sub(label.chars().count() / 2);
        if at < free_from || at + label.chars().count() > cells.len() {
            continue;
        }
        for (k, c) in label.chars().enumerate() {
            cells[at + k] = c;
        }
        free_from = at + label.chars().count() + 1;
    }
    cells.into_iter().collect()
}

/// At most three decimals, without trailing zeros, never `-0`.
fn figure(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Look = Look { width: 60, height: 8, colour: false };

    fn ramp() -> Vec<Point> {
        (0..1000)
            .map(|k| f64::from(k) * 0.005)
            .map(|t| Point { time_s: t, min_kn: 16.0 * t, max_kn: 16.0 * t + 1.0 })
            .collect()
    }

    #[test]
    fn a_single_high_sample_among_thousands_is_drawn() {
        let mut points: Vec<Point> =
            (0..5000).map(|k| Point { time_s: f64::from(k), min_kn: 0.0, max_kn: 0.0 }).collect();
        points[2500].max_kn = 50.0;
        let drawn = draw(&points, &[], PLAIN).unwrap();
        let top = drawn.lines().nth(1).unwrap();
        assert!(top.chars().any(|c| ('\u{2801}'..='\u{28ff}').contains(&c)), "{drawn}");
    }

    #[test]
    fn the_axes_carry_round_figures_with_units_and_lines_stay_within_the_width() {
        let drawn = draw(&ramp(), &[], PLAIN).unwrap();
        assert!(drawn.contains("kN") && drawn.contains("50┤"), "{drawn}");
        assert!(drawn.contains("2 s"), "{drawn}");
        for width in [10, 40, 73, 200] {
            let drawn = draw(&ramp(), &[], Look { width, ..PLAIN }).unwrap();
            let widest = drawn.lines().map(|l| l.chars().count()).max().unwrap();
            assert!(widest <= width.max(WIDTH_MIN), "{widest} at {width}");
        }
    }

    #[test]
    fn marks_stand_above_their_time_and_are_explained() {
        let marks = [
            Mark { time_s: 0.0, letter: 'F', words: "first blow".into() },
            Mark { time_s: 0.001, letter: 'G', words: "gate".into() },
        ];
        let drawn = draw(&ramp(), &marks, PLAIN).unwrap();
        assert_eq!(drawn.lines().next().unwrap(), "        FG");
        assert!(drawn.contains("F first blow 0.000 s"), "{drawn}");
    }

    #[test]
    fn nothing_finite_draws_nothing_and_a_flat_trace_draws() {
        assert_eq!(draw(&[], &[], PLAIN), None);
        let nan = Point { time_s: f64::NAN, min_kn: 0.0, max_kn: 0.0 };
        assert_eq!(draw(&[nan], &[], PLAIN), None);
        let flat = Point { time_s: 1.0, min_kn: 0.0, max_kn: 0.0 };
        assert!(draw(&[flat], &[], PLAIN).is_some());
    }

    #[test]
    fn colours_are_only_used_where_allowed() {
        let drawn = draw(&ramp(), &[], Look { colour: true, ..PLAIN }).unwrap();
        assert!(drawn.contains('\u{1b}'));
        assert!(!draw(&ramp(), &[], PLAIN).unwrap().contains('\u{1b}'));
    }
}
