//! `cargo xtask sensitivity`: what it does to the figures if a constant of the run finder is a little off.
//!
//! Each float literal in a constant of `src/signal/runs` is scaled down and up in a copy of the room; the copy is built in
//! the release profile with the truth bench and plays the same cases as the tree does. Nothing of the tree is changed.
//! Two builds a literal: an afternoon for all of them, so that it is no part of `cargo verify`.

mod constants;
mod package;
mod score;

use crate::error::Failed;
use crate::tree::root;
use constants::Constant;
use package::{Package, Played};
use score::Score;
use std::fmt::Display;
use std::time::{Instant, SystemTime, UNIX_EPOCH};

/// What is scaled, by how much, on what it is played.
struct Options {
    cases: usize,
    seed: u64,
    only: Vec<String>,
    percent: f64,
}

impl Options {
    fn parse(words: &[String]) -> Result<Self, Failed> {
        // A case takes some 30 ms of both cores: 200 are seconds, and hold each family of cases several times.
        let mut options = Self { cases: 200, seed: seed_of_the_clock(), only: Vec::new(), percent: 20.0 };
        let mut rest = words.iter();
        while let Some(word) = rest.next() {
            let value = rest.next().map(String::as_str);
            let understood = match (word.as_str(), value) {
                ("--cases", Some(n)) => n.parse().ok().filter(|n| *n > 0).map(|n| options.cases = n),
                ("--seed", Some(s)) => s.parse().ok().map(|s| options.seed = s),
                ("--only", Some(names)) => {
                    options.only.extend(names.split(',').map(str::to_owned));
                    Some(())
                }
                ("--by", Some(p)) => p
                    .parse()
                    .ok()
                    .filter(|p| (0.0..100.0).contains(p) && *p > 0.0)
                    .map(|p| options.percent = p),
                _ => None,
            };
            if understood.is_none() {
                let expected = "expected --cases N, --seed S, --only NAME[,NAME], --by PERCENT (more than 0, less than 100)";
                return Err(Failed::usage(format!("{expected}, found {words:?}")));
            }
        }
        Ok(options)
    }
}

#[allow(clippy::disallowed_methods, reason = "each run has a fresh seed, which is printed")]
fn seed_of_the_clock() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs())
}

/// What came of one constant: scaled down, then up.
struct Row {
    constant: Constant,
    sides: [Played; 2],
}

/// Scales, builds, plays, prints.
#[allow(clippy::disallowed_methods, reason = "how long a constant took is shown, nothing hangs on it")]
pub fn run(words: &[String]) -> Result<(), Failed> {
    let options = Options::parse(words)?;
    let constants = constants::all(&root())?;
    if let Some(name) = options.only.iter().find(|name| !constants.iter().any(|c| c.is_named(name))) {
        return Err(Failed::usage(format!(
            "expected the name of a float constant of src/signal/runs, found '{name}'"
        )));
    }
    let chosen: Vec<Constant> = constants
        .into_iter()
        .filter(|c| options.only.is_empty() || options.only.iter().any(|name| c.is_named(name)))
        .collect();
    let mut package = Package::lay_out(&root())?;
    let start = Instant::now();
    let Played::Through { score: base, text } = package.play(options.cases, options.seed)? else {
        return Err(Failed::no("the truth bench does not build or run on the tree as it is"));
    };
    eprintln!("the tree as it is: {:.0} s", start.elapsed().as_secs_f64());
    let mut rows = Vec::new();
    for (i, constant) in chosen.iter().enumerate() {
        let start = Instant::now();
        let mut side = |factor: f64| {
            package.change(constant, factor)?;
            package.play(options.cases, options.seed)
        };
        let sides = [side(1.0 - options.percent / 100.0)?, side(1.0 + options.percent / 100.0)?];
        package.restore(constant)?;
        let (n, of, seconds) = (i + 1, chosen.len(), start.elapsed().as_secs_f64());
        eprintln!("{n} of {of}: {} ({seconds:.0} s)", constant.label());
        rows.push(Row { constant: constant.clone(), sides });
    }
    println!("seed {}, {} cases, {} % less and more", options.seed, options.cases, options.percent);
    println!("as it is: {base}\n");
    print(rows, &base, &text);
    Ok(())
}

/// The table, those with the largest effect first; then what changes nothing.
fn print(rows: Vec<Row>, base: &Score, text: &str) {
    let (idle, mut moving): (Vec<Row>, Vec<Row>) =
        rows.into_iter().partition(|row| row.sides.iter().all(|side| side.text() == Some(text)));
    let effect = |row: &Row| row.sides.iter().map(|side| side.effect(base)).max();
    moving.sort_by_key(|row| std::cmp::Reverse(effect(row)));
    let head = columns(["untold", "told", "null", "m+i"]);
    println!("{:<26} {:<18} {:>10} | {head} | {head}", "constant", "file", "value");
    for row in &moving {
        let [less, more] = &row.sides;
        let side = |side: &Played| match side {
            Played::Through { score, .. } => {
                let by = score.minus(base);
                let counts = [by.untold, by.told, by.null, by.missed_or_invented];
                columns(counts.map(|n| format!("{n:+}")))
            }
            Played::Broken(why) => format!("{why:>28}"),
        };
        let constant = &row.constant;
        println!(
            "{:<26} {:<18} {:>10} | {} | {}",
            constant.label(),
            constant.file(),
            constant.literal,
            side(less),
            side(more)
        );
    }
    println!("\nleft: less, right: more; m+i: runs missed or invented. Changes in counts.");
    if !idle.is_empty() {
        println!("\nno figure and no line of the list changes:");
        idle.iter().for_each(|row| {
            println!("  {} ({}) {}", row.constant.label(), row.constant.file(), row.constant.literal)
        });
    }
}

fn columns(words: [impl Display; 4]) -> String {
    let [a, b, c, d] = words;
    format!("{a:>7} {b:>6} {c:>6} {d:>6}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(words: &str) -> Result<Options, Failed> {
        Options::parse(&words.split_whitespace().map(str::to_owned).collect::<Vec<_>>())
    }

    #[test]
    fn what_is_asked_is_understood_or_refused() {
        let options = parsed("--cases 600 --seed 3 --only A,b.rs:C --only D --by 5").unwrap();
        assert_eq!((options.cases, options.seed, options.percent.to_bits()), (600, 3, 5.0_f64.to_bits()));
        assert_eq!(options.only, ["A", "b.rs:C", "D"]);
        for bad in ["--by 0", "--by 100", "--by x", "--cases 0", "--cases", "--fast", "A"] {
            assert!(parsed(bad).is_err_and(|e| e.code == 2), "{bad}");
        }
    }

    #[test]
    fn a_change_is_made_at_its_place_and_grows_no_other() {
        let constant =
            constants::all(&root()).unwrap().into_iter().find(|c| c.label() == "FAINT_REACH.1").unwrap();
        let text = std::fs::read_to_string(root().join(&constant.path)).unwrap();
        let changed = constant.scaled(&text, 1.2).unwrap();
        let differs: Vec<_> = text.lines().zip(changed.lines()).filter(|(a, b)| a != b).collect();
        assert_eq!(differs.len(), 1);
        assert!(differs[0].1.contains("FAINT_REACH: (f64, f64) = (1.6, 0.72)"), "{differs:?}");
        assert_eq!(constant.scaled(&text[1..], 1.2), None, "the file is no longer what it was");
    }
}
