//! What the truth bench printed, as counts.
//!
//! Reads its table by figure and band of rates: `figure band n right null told untold`, the last four in percent. Must
//! not know what is right.

use std::fmt::{Display, Formatter, Result};

/// Figures that are counted together.
const FIGURES: [&str; 6] = ["first blow", "last blow", "count", "held", "gate", "peak"];
/// And the rows of whole runs.
const RUNS: [&str; 2] = ["missed", "invented"];

/// Counts over all figures and bands, or a change of them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Score {
    /// Wrong, and it counts.
    pub untold: i64,
    /// Wrong, but a flag leaves it out.
    pub told: i64,
    /// Not given.
    pub null: i64,
    /// Runs that were not found, or were none.
    pub missed_or_invented: i64,
}

impl Score {
    /// From what was printed; none where there is no table in it.
    pub fn read(text: &str) -> Option<Self> {
        let mut score = Self::default();
        let mut rows = 0;
        for line in text.lines() {
            let Some((figure, [n, right, null, told, untold])) = row(line) else { continue };
            let count = |percent: f64| (n * percent / 100.0).round() as i64;
            if FIGURES.contains(&figure.as_str()) {
                rows += 1;
                score.untold += count(untold);
                score.told += count(told);
                score.null += count(null);
            } else if RUNS.contains(&figure.as_str()) {
                score.missed_or_invented += n as i64 - count(right);
            }
        }
        (rows > 0).then_some(score)
    }

    /// What changed against another.
    pub fn minus(&self, other: &Self) -> Self {
        Self {
            untold: self.untold - other.untold,
            told: self.told - other.told,
            null: self.null - other.null,
            missed_or_invented: self.missed_or_invented - other.missed_or_invented,
        }
    }

    /// How large a change is: first what is wrong and counts, then what is not given.
    pub fn size(&self) -> (i64, i64) {
        (self.untold.abs() + self.missed_or_invented.abs(), self.told.abs() + self.null.abs())
    }
}

impl Display for Score {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        let Self { untold, told, null, missed_or_invented } = self;
        write!(f, "untold {untold}, told {told}, null {null}, runs missed or invented {missed_or_invented}")
    }
}

/// A row of the table: figure, then n and four percentages.
fn row(line: &str) -> Option<(String, [f64; 5])> {
    let words: Vec<&str> = line.split_whitespace().collect();
    let band = words.len().checked_sub(6).filter(|band| *band > 0)?;
    let numbers: Vec<f64> = words[band + 1..].iter().map_while(|word| word.parse().ok()).collect();
    let is_band = words[band].starts_with(">=") || words[band].contains('-');
    Some((words[..band].join(" "), numbers.try_into().ok()?)).filter(|_| is_band)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PRINTED: &str = "\
seed 3, 600 cases

figure       samples/s       n  right %   null %   told %  untold %
first blow   80-249        245    93.06     0.00     6.53      0.41
count        >=5000        246    82.11    17.48     0.41      0.00
plateau      80-249        245    35.92    64.08     0.00      9.00
missed       >=5000        246    99.59     0.00     0.00      0.41
invented     80-249          1     0.00     0.00   100.00      0.00

untold by family                runs  first blow   last blow
plain                             13           .           .
Null   first:2924369959 first model                       250 0 count        [\"blows-unsure\"]
";

    #[test]
    fn the_table_is_read_back_into_counts() {
        let score = Score::read(PRINTED).unwrap();
        assert_eq!(score, Score { untold: 1, told: 17, null: 43, missed_or_invented: 2 });
        assert_eq!(Score::read("error: no such family\n"), None);
    }

    #[test]
    fn what_is_wrong_and_counts_outweighs_what_is_not_given() {
        let base = Score::default();
        let wrong = Score { untold: -1, ..base };
        let silent = Score { null: 90, ..base };
        assert!(wrong.minus(&base).size() > silent.minus(&base).size());
    }
}
