//! Reads `vectors/*.txt` (format: SPEC.md section 10) for the tests of this crate.
//!
//! Cases are kept as plain keys and values; what they mean is for the tests to say.
//! It must not use the crate under test, so that a fault there cannot hide here.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

pub struct Case {
    pub file: String,
    pub keys: Vec<(String, String)>,
}

impl Case {
    pub fn all(&self, key: &str) -> Vec<&str> {
        let of_key = self.keys.iter().filter(|(found, _)| found == key);
        of_key.map(|(_, value)| value.as_str()).collect()
    }

    pub fn get(&self, key: &str) -> Option<&str> {
        let values = self.all(key);
        assert!(values.len() <= 1, "{}: key `{key}` stands twice", self.name());
        values.first().copied()
    }

    pub fn need(&self, key: &str) -> &str {
        self.get(key).unwrap_or_else(|| panic!("{}: key `{key}` is missing", self.name()))
    }

    pub fn name(&self) -> &str {
        let (key, name) = self.keys.first().expect("a case has keys");
        assert_eq!(key, "name", "{}: a case starts with its name", self.file);
        name
    }

    pub fn wire(&self) -> Vec<u8> {
        bytes_of(self.need("hex"))
    }
}

pub fn bytes_of(hex: &str) -> Vec<u8> {
    hex.split_whitespace()
        .map(|pair| {
            assert_eq!(pair.len(), 2, "hex pair `{pair}`");
            u8::from_str_radix(pair, 16).unwrap()
        })
        .collect()
}

pub fn crate_dir() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn cases_of(path: &Path) -> Vec<Case> {
    let file = path.file_name().unwrap().to_str().unwrap().to_owned();
    let text = std::fs::read_to_string(path).unwrap();
    let mut cases: Vec<Case> = Vec::new();
    let mut open = false;
    for line in text.lines() {
        assert!(line.len() <= 16_384 && line.is_ascii(), "{file}: line too long or not ASCII");
        if line.is_empty() || line.starts_with('#') {
            open = false;
            continue;
        }
        if !open {
            let keys = Vec::new();
            let file = file.clone();
            cases.push(Case { file, keys });
            open = true;
        }
        let (key, value) = line.split_once(" =").unwrap_or_else(|| panic!("{file}: `{line}`"));
        let pair = (key.to_owned(), value.trim_start().to_owned());
        cases.last_mut().unwrap().keys.push(pair);
    }
    cases
}

/// All cases of all files, in the order of file names.
pub fn cases() -> Vec<Case> {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(crate_dir().join("vectors"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "txt"))
        .collect();
    paths.sort();
    let cases: Vec<Case> = paths.iter().flat_map(|path| cases_of(path)).collect();
    let mut names: Vec<&str> = cases.iter().map(Case::name).collect();
    let total = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), total, "two cases share a name");
    // Tests go through all cases that fit them, and none would fit an empty folder.
    let messages = cases.iter().filter(|case| case.get("message").is_some()).count();
    assert!(messages >= 8, "cases of only {messages} messages were found");
    cases
}

/// What a vector says of its frame: the message and its fields, or the fault.
pub fn stated(case: &Case) -> Vec<(&str, String)> {
    let shell = ["name", "direction", "hex", "reencodes"];
    let fields = case.keys.iter().filter(|(key, _)| !shell.contains(&key.as_str()));
    fields.map(|(key, value)| (key.as_str(), value.clone())).collect()
}
