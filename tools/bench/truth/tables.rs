//! Prints: by figure and band of rates, by family, each untold figure, one case side by side.
//!
//! Must not judge.

use crate::judge::{Came, Figure, Verdict};
use crate::measured::measure;
use crate::trace::{Trace, families};
use std::collections::BTreeMap;

/// Bands of rates: name, from, below, samples a second.
pub const BANDS: [(&str, f64, f64); 4] = [
    ("80-249", 0.0, 250.0),
    ("250-999", 250.0, 1000.0),
    ("1000-4999", 1000.0, 5000.0),
    (">=5000", 5000.0, f64::INFINITY),
];

/// Whether a rate lies in a band.
pub fn in_band(rate_hz: f64, band: (&str, f64, f64)) -> bool {
    (band.1..band.2).contains(&rate_hz)
}

/// How many came out how.
#[derive(Default)]
pub struct Tally {
    pub n: usize,
    came: [usize; 4],
}

impl Tally {
    /// Counts.
    pub fn of<'a>(verdicts: impl Iterator<Item = &'a Verdict>) -> Self {
        let mut tally = Self::default();
        for verdict in verdicts {
            tally.n += 1;
            tally.came[verdict.came as usize] += 1;
        }
        tally
    }

    /// Percent of all that came out so.
    pub fn percent(&self, came: Came) -> f64 {
        100.0 * self.came[came as usize] as f64 / (self.n.max(1)) as f64
    }
}

/// Both tables.
pub fn print(verdicts: &[Verdict]) {
    println!(
        "{:<12} {:<10} {:>6} {:>8} {:>8} {:>8} {:>9}",
        "figure", "samples/s", "n", "right %", "null %", "told %", "untold %"
    );
    for figure in Figure::ALL {
        for band in BANDS {
            let tally = Tally::of(verdicts.iter().filter(|v| v.figure == figure && in_band(v.rate_hz, band)));
            if tally.n > 0 {
                let percent =
                    [Came::Right, Came::Null, Came::Told, Came::Untold].map(|came| tally.percent(came));
                let [right, null, told, untold] = percent;
                let (name, n) = (figure.name(), tally.n);
                println!(
                    "{name:<12} {:<10} {n:>6} {right:>8.2} {null:>8.2} {told:>8.2} {untold:>9.2}",
                    band.0
                );
            }
        }
    }
    by_family(verdicts);
}

fn by_family(verdicts: &[Verdict]) {
    let mut untold: BTreeMap<(&str, Figure), usize> = BTreeMap::new();
    let mut runs: BTreeMap<&str, usize> = BTreeMap::new();
    for verdict in verdicts {
        if matches!(verdict.figure, Figure::Missed | Figure::Interrupted) {
            *runs.entry(verdict.family).or_default() += 1;
        }
        if verdict.came == Came::Untold {
            *untold.entry((verdict.family, verdict.figure)).or_default() += 1;
        }
    }
    print!("\n{:<30} {:>5}", "untold by family", "runs");
    Figure::ALL.iter().for_each(|figure| print!(" {:>11}", figure.name()));
    println!();
    for family in families() {
        let Some(n) = runs.get(family) else { continue };
        print!("{family:<30} {n:>5}");
        for figure in Figure::ALL {
            match untold.get(&(family, figure)) {
                Some(count) => print!(" {count:>11}"),
                None => print!(" {:>11}", "."),
            }
        }
        println!();
    }
    println!();
}

/// Each figure that did not come out right, and how.
pub fn list(verdicts: &[Verdict]) {
    println!("not right: how, case, family, samples/s, run, figure, measured and true");
    for v in verdicts.iter().filter(|v| v.came != Came::Right) {
        println!(
            "{:<6} {:<17} {:<30} {:>6} {} {:<11} {}",
            format!("{:?}", v.came),
            v.id,
            v.family,
            v.rate_hz,
            v.run,
            v.figure.name(),
            v.words
        );
    }
}

/// One case: what was measured beside what is true.
pub fn side_by_side(trace: &Trace) {
    let seconds = trace.counts.len() as f64 / trace.rate_hz;
    println!("case {}: {}, {} samples/s, {seconds:.2} s", trace.id, trace.family, trace.rate_hz);
    println!("range {} kN, {} counts a kN", trace.range_kn, trace.counts_per_kn);
    trace.notes.iter().for_each(|note| println!("  {note}"));
    for run in &trace.runs {
        println!(
            "true      first {:.4} last {:.4} blows {} p {:.4} s, level {:.4} held {:?} peak {:.4} ({:.4}) limit {:?}",
            run.first_blow_s,
            run.last_blow_s,
            run.blows,
            run.interval_s,
            run.level_kn,
            run.held_kn,
            run.peak_kn,
            run.peak_sampled_kn,
            run.limit_kn
        );
        println!(
            "          re-pulled {} lift {:?} released {:?} whole {} settled {}",
            run.re_pulled, run.lift, run.released_s, run.whole, run.settled
        );
        let gates: Vec<_> = run.gates.iter().map(|gate| gate.kn).collect();
        println!("          gates {gates:?}\n          {:?}", run.noise);
    }
    for found in measure(trace) {
        let r = &found.record;
        println!(
            "measured  first {:.4} last {:.4} blows {:?} level {:?} held {:?} peak {:.4}",
            r.first_blow_s,
            r.last_blow_s,
            r.blow_count,
            r.level.map(|n| n.kn()),
            r.held.map(|n| n.kn()),
            r.peak.kn()
        );
        let gates: Vec<_> = r.gates.iter().map(|gate| gate.tension.map(|n| n.kn())).collect();
        println!("          gates {gates:?}\n          plateau {:?}", r.plateau);
        println!("          flags {:?} spikes {} closing {:?}", r.flags, r.spikes, found.closing);
    }
}
