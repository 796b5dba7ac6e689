//! The chart of a tool's history as one drawing: individuals above, moving ranges below.
//!
//! It stands alone as a file: its colours are its own. Must not know what made a run remarkable, only which ones are.

use super::html::escaped;
use super::svg::{Plot, Shape};
use boltscribe_analysis::compare::history::Chart;

/// Height of one of the two plots, and of both with their heading.
const EACH: u32 = 300;
const ALL: u32 = 2 * EACH + 30;

/// The drawing; `values` in kN, oldest first, with the places of those that are marked.
#[must_use]
pub fn svg(title: &str, values: &[f64], chart: &Chart, marked: &[usize]) -> String {
    let numbers: Vec<f64> = (1..=values.len()).map(|n| n as f64).collect();
    let last = numbers.last().copied().unwrap_or(1.0);
    let level = |plot: &mut Plot, at: f64, dashed: bool| plot.line(&[(1.0, at), (last, at)], dashed);

    let mut ends = values.to_vec();
    ends.extend([chart.limits.0, chart.limits.1]);
    let mut individuals = Plot::new("individuals", ("run", &numbers), ("tension, kN", &ends));
    level(&mut individuals, chart.centre, false);
    level(&mut individuals, chart.limits.0, true);
    level(&mut individuals, chart.limits.1, true);
    let at = |place: usize| (numbers[place], values[place]);
    let plain: Vec<(f64, f64)> = (0..values.len()).filter(|place| !marked.contains(place)).map(at).collect();
    let odd: Vec<(f64, f64)> =
        marked.iter().filter(|place| **place < values.len()).map(|place| at(*place)).collect();
    individuals.points(&plain, Shape::Disc);
    individuals.points(&odd, Shape::Square);

    let ranges: Vec<f64> = values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    let mut ends = ranges.clone();
    ends.extend([0.0, chart.range_limit]);
    let mut moving = Plot::new("moving ranges", ("run", &numbers), ("moving range, kN", &ends));
    level(&mut moving, chart.mean_range, false);
    level(&mut moving, chart.range_limit, true);
    let points: Vec<(f64, f64)> = numbers.iter().skip(1).copied().zip(ranges).collect();
    moving.points(&points, Shape::Disc);

    // Placed one below the other; the colours are those of a light ground, which it brings along.
    let place = |plot: Plot, y: u32| {
        plot.finish().replacen(
            "<svg ",
            &format!("<svg x=\"0\" y=\"{y}\" width=\"720\" height=\"{EACH}\" "),
            1,
        )
    };
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 720 {ALL}\" width=\"720\" height=\"{ALL}\" \
         font-family=\"system-ui,sans-serif\" color=\"#1a1a1a\">\n<style>svg{{--ground:#fff;--line:#c8c8c8;\
         --first:#0072b2;--second:#d55e00}}</style>\n<rect width=\"720\" height=\"{ALL}\" fill=\"#fff\"/>\n\
         <text x=\"16\" y=\"20\" font-size=\"15\" font-weight=\"600\">{}</text>\n{}{}</svg>\n",
        escaped(title),
        place(individuals, 30),
        place(moving, 30 + EACH)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_analysis::compare::history::chart;

    #[test]
    fn every_run_and_range_is_drawn_once_and_marked_ones_otherwise() {
        // Invented.
        let values = [80.0, 80.4, 79.8, 80.2, 86.0, 80.1, 79.9];
        let found = chart(&values, None).unwrap();
        let text = svg("wrench <7>", &values, &found, &[4]);
        assert_eq!(
            (text.matches("<circle").count(), text.matches("fill=\"none\" stroke=\"var(--second)\"").count()),
            (6 + 6, 1)
        );
        assert_eq!(text.matches("stroke-dasharray").count(), 3, "two limits and one of the ranges");
        assert!(text.contains("wrench &lt;7&gt;") && !text.contains("<script"));
    }
}
