//! The shipped file: every key with its range, and the values that are built in.
//!
//! Read from the tree, so that what is shipped is what is tested.

use super::*;
use crate::kinds::Kind;
use crate::schema::{Key, SECTIONS};

fn shipped() -> String {
    std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../config/boltscribe.toml")).unwrap()
}

/// The shipped file with its commented keys and tables made real; prose has a blank after its mark.
fn uncommented() -> String {
    shipped()
        .lines()
        .map(|line| match line.strip_prefix('#') {
            Some(rest) if !rest.is_empty() && !rest.starts_with(' ') => format!("{rest}\n"),
            _ => format!("{line}\n"),
        })
        .collect()
}

fn values(loaded: &Loaded) -> Vec<(String, String)> {
    let pair = |shown: &Shown| (shown.key.clone(), shown.value.clone());
    loaded.values.iter().map(pair).collect()
}

#[test]
fn the_shipped_file_equals_the_built_in_defaults() {
    let loaded = load(&shipped()).unwrap();
    let empty = assemble(None, none(), |_| Ok(vec![])).unwrap();
    assert_eq!(loaded.settings, Settings::default());
    assert_eq!(empty.settings, Settings::default());
    assert_eq!(values(&loaded), values(&empty));
    // Every default stands in the file itself and is not only inherited.
    assert!(loaded.values.iter().all(|shown| shown.source.starts_with("f:")), "{:?}", loaded.values);
}

#[test]
fn the_shipped_file_shows_every_key_with_its_range() {
    let loaded = load(&uncommented()).unwrap();
    let shown: Vec<&str> = loaded.values.iter().map(|shown| shown.key.as_str()).collect();
    let comments: String =
        shipped().lines().filter_map(|line| line.strip_prefix("# ")).collect::<Vec<_>>().join(" ");
    for section in SECTIONS {
        let paths: &[&str] = match section.name {
            "rig" => &["rig[0]", "rig[1]", "rig[2]"],
            "limit" => &["limit[0]", "limit[1]", "limit[2]", "limit[3]"],
            _ => std::slice::from_ref(&section.name),
        };
        expect_keys(&shown, &comments, paths, section.keys);
    }
    // A line and two dials: no rig can have all keys.
    assert_eq!(loaded.settings.rigs.iter().filter(|rig| rig.dial().is_some()).count(), 2);
    assert_eq!(loaded.settings.rigs.len(), 3);
    // What is commented out among the defaults is what the program takes where the range is unknown.
    let unset = runs::Settings::default();
    let measure = &loaded.settings.measure;
    assert_eq!(measure.start_threshold(), unset.start_threshold());
    assert_eq!(measure.zero_shift_limit(), unset.zero_shift_limit());
}

fn expect_keys(shown: &[&str], comments: &str, paths: &[&str], keys: &[Key]) {
    for key in keys {
        let full: Vec<String> = paths.iter().map(|path| format!("{path}.{}", key.name)).collect();
        let limits = match &key.kind {
            Kind::Table(inner) => {
                let full: Vec<&str> = full.iter().map(String::as_str).collect();
                expect_keys(shown, comments, &full, inner);
                continue;
            }
            Kind::Number(limits) | Kind::Numbers { limits, .. } if limits.max < f64::MAX => {
                vec![limits.min.to_string(), limits.max.to_string()]
            }
            Kind::Whole { min, max } => vec![min.to_string(), max.to_string()],
            Kind::Choice(words) => words.iter().map(|&word| word.to_owned()).collect(),
            _ => vec![],
        };
        assert!(
            full.iter().any(|full| shown.contains(&full.as_str())),
            "{full:?} is not in the shipped file"
        );
        for limit in limits {
            assert!(comments.contains(&limit), "{full:?}: {limit} is not told");
        }
    }
}

#[test]
fn the_example_rig_of_the_shipped_file_shows_the_defaults_it_names() {
    let example = load(&uncommented()).unwrap().settings.rigs.remove(0);
    let example = example.line().unwrap();
    let defaults = frames::settings::Lines::default();
    let frames::Settings::Lines(lines) = &example.pipeline.instrument else {
        panic!("expected lines");
    };
    assert_eq!(example.baud, crate::rig::BAUD_DEFAULT);
    assert_eq!((lines.tick_bits, lines.decimals), (defaults.tick_bits, defaults.decimals));
    assert!(shipped().contains(&format!("Default {:?}", defaults.pattern)));
}

#[test]
fn a_key_of_the_shipped_file_with_one_letter_missing_is_always_refused() {
    let good = uncommented();
    let mut tried = 0;
    for (start, line) in good.lines().map(|line| (line.as_ptr() as usize - good.as_ptr() as usize, line)) {
        let Some((name, _)) = line.split_once(" = ").filter(|(name, _)| !name.contains(' ')) else {
            continue;
        };
        for at in 0..name.len() {
            let mut wrong = good.clone();
            wrong.remove(start + at);
            let told = lines(load(&wrong));
            assert!(!told.is_empty(), "{name} without letter {at} was taken");
            assert!(told.iter().all(|line| line.starts_with("f:")), "{told:?}");
            tried += 1;
        }
    }
    assert!(tried >= 150, "{tried}");
}

proptest::proptest! {
    #[test]
    fn a_damaged_file_is_taken_or_refused_with_places_but_never_panics(
        damage in proptest::collection::vec((proptest::prelude::any::<proptest::sample::Index>(), "[ -~äß\n]{0,3}"), 1..6)
    ) {
        let mut chars: Vec<char> = uncommented().chars().collect();
        for (at, insert) in damage {
            let at = at.index(chars.len());
            let end = (at + 2).min(chars.len());
            chars.splice(at..end, insert.chars());
        }
        let wrong: String = chars.into_iter().collect();
        for line in lines(load(&wrong)) {
            proptest::prop_assert!(line.starts_with("f:") && line.len() > 5, "{}", line);
        }
    }
}
