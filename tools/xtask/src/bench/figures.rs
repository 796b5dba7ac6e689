//! The figures of one run, the ratios between them, and which of them are to be reached.
//!
//! Must not know how anything is measured.

/// A figure to be reached.
struct Goal {
    name: &'static str,
    at_least: bool,
    limit: f64,
    words: &'static str,
}

/// What is to be reached. A load that is sent at a pace comes in a little slower than it was sent, because
/// the daemon's accounts are looked at a moment after the last byte.
const GOALS: [Goal; 6] = [
    Goal {
        name: "pipeline-wire-to-outputs",
        at_least: true,
        limit: 10.0,
        words: "pipeline alone, from wire bytes, one core",
    },
    Goal {
        name: "disk-usual-worst",
        at_least: false,
        limit: 1.10,
        words: "raw samples on disk, runs of 8 s",
    },
    Goal { name: "daemon-paced-rate", at_least: true, limit: 0.95, words: "line to store at 1 million/s" },
    Goal { name: "daemon-paced-cores", at_least: false, limit: 0.5, words: "cores it takes, nothing lost" },
    Goal {
        name: "latency-last-byte-p99",
        at_least: false,
        limit: 5.0,
        words: "last byte that shows a blow to its event",
    },
    Goal {
        name: "latency-onset-beyond-filter-p99",
        at_least: false,
        limit: 5.0,
        words: "onset of a blow to its event, less the filter's delay",
    },
];

/// Ratios: name, the figure above, the figure below, words.
const RATIOS: [(&str, &str, &str); 4] = [
    ("daemon over script, samples a second", "daemon-flood-rate", "script-packed-rate"),
    ("daemon over script, samples a core second", "daemon-flood-a-core", "script-packed-a-core"),
    ("daemon over script line by line, samples a second", "daemon-flood-rate", "script-lines-rate"),
    ("pipeline alone over daemon, samples a core second", "pipeline-wire-to-outputs", "daemon-flood-a-core"),
];

/// All figures told so far, in order.
#[derive(Default)]
pub struct Figures(Vec<(String, f64, String)>);

impl Figures {
    /// Takes a line `figure NAME VALUE UNIT`; false for any other.
    pub fn take(&mut self, line: &str) -> bool {
        let words: Vec<&str> = line.split(' ').collect();
        let ["figure", name, value, unit] = words[..] else { return false };
        let Ok(value) = value.parse() else { return false };
        self.0.push((name.to_owned(), value, unit.to_owned()));
        true
    }

    fn get(&self, name: &str) -> Option<f64> {
        self.0.iter().find(|figure| figure.0 == name).map(|figure| figure.1)
    }

    /// Names of what was measured and not reached.
    pub fn missed(&self) -> Vec<&'static str> {
        GOALS.iter().filter(|goal| self.reached(goal) == Some(false)).map(|goal| goal.name).collect()
    }

    fn reached(&self, goal: &Goal) -> Option<bool> {
        self.get(goal.name).map(|value| if goal.at_least { value >= goal.limit } else { value <= goal.limit })
    }

    /// Figures, ratios and goals as text.
    pub fn table(&self) -> String {
        let mut text = String::new();
        for (name, value, unit) in &self.0 {
            text += &format!("{name:<36} {value:>10.3} {unit}\n");
        }
        text += "\nratios\n";
        for (words, above, below) in RATIOS {
            if let (Some(a), Some(b)) = (self.get(above), self.get(below)) {
                text += &format!("{words:<52} {:>8.3}\n", a / b);
            }
        }
        text += "\nto reach\n";
        for goal in &GOALS {
            let (sign, limit) = (if goal.at_least { "at least" } else { "at most" }, goal.limit);
            let found = match (self.get(goal.name), self.reached(goal)) {
                (Some(value), Some(true)) => format!("{value:>8.3}  reached"),
                (Some(value), _) => format!("{value:>8.3}  NOT REACHED"),
                (None, _) => "       -  not measured in this run".to_owned(),
            };
            text += &format!("{:<54} {sign:<8} {limit:>5.2}: {found}\n", goal.words);
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_read_and_what_is_not_reached_is_named() {
        let mut figures = Figures::default();
        assert!(figures.take("figure daemon-paced-cores 0.510000 cores"));
        assert!(figures.take("figure pipeline-wire-to-outputs 10.000000 Msamples/s/core"));
        assert!(figures.take("figure daemon-flood-rate 6.000000 Msamples/s"));
        assert!(figures.take("figure script-packed-rate 3.000000 Msamples/s"));
        assert!(!figures.take("figure without a value"));
        assert!(!figures.take("daemon: 3 runs"));
        assert_eq!(figures.missed(), ["daemon-paced-cores"]);
        let table = figures.table();
        assert!(table.contains("0.510  NOT REACHED") && table.contains("10.000  reached"), "{table}");
        assert!(table.contains("not measured in this run"), "{table}");
        assert!(table.contains(&format!("{:<52} {:>8.3}", RATIOS[0].0, 2.0)), "{table}");
    }
}
