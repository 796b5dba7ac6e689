//! The file of one rig in the state folder: made from a document or a rig, with the comments of the
//! shipped settings, written whole or not at all.
//!
//! Comments come from config/boltscribe.toml, the one place where keys are explained. Must not know who
//! asks for a rig, nor what time it is.

use super::problem::Problem;
use super::rig::{Rig, parse_rig, rig_text};
use boltscribe_signal::runs;
use serde_json::Value;
use std::collections::HashMap;
use std::fs::{self, File};
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// The settings as shipped, whose comments explain every key.
const SHIPPED: &str = include_str!("../../config/boltscribe.toml");

/// A rig from a document with the keys of a `[[rig]]` table; null means not given.
///
/// # Errors
/// Every mistake, each with its key.
pub fn rig_from_document(document: &Value, measure: &runs::Settings) -> Result<Rig, Vec<Problem>> {
    let name = document["name"].as_str().unwrap_or("without a name");
    let place = format!("rig '{name}'");
    // A document that is no table becomes text that is none, and the reader says so with its place.
    let text = toml::to_string(&without_nulls(document)).unwrap_or_else(|error| error.to_string());
    parse_rig(&place, &text, measure)
}

fn without_nulls(document: &Value) -> Value {
    match document {
        Value::Object(map) => map
            .iter()
            .filter(|(_, value)| !value.is_null())
            .map(|(key, value)| (key.clone(), without_nulls(value)))
            .collect(),
        other => other.clone(),
    }
}

/// The path of a rig's file.
#[must_use]
pub fn rig_path(folder: &Path, name: &str) -> PathBuf {
    folder.join(format!("{name}.toml"))
}

/// The commented text of a rig's file; `head` tells where it came from.
///
/// # Errors
/// The serializer's words, where a value cannot be written.
pub fn commented(rig: &Rig, head: &str) -> Result<String, String> {
    let explained = explanations();
    let mut text = format!(
        "# {head}\n# The keys are those of [[rig]] in boltscribe.toml. A change made here with an editor\n\
         # is taken up when boltscribed starts again; `boltscribed --check-config` reads it too.\n"
    );
    for line in rig_text(rig)?.lines() {
        let key = line.split('=').next().unwrap_or_default().trim();
        if let Some(words) = explained.get(key) {
            text.push('\n');
            text.push_str(words);
        }
        text.push_str(line);
        text.push('\n');
    }
    Ok(text)
}

/// The comment above each commented-out key of the rig in the shipped settings.
fn explanations() -> HashMap<&'static str, String> {
    let mut all = HashMap::new();
    let mut comment = String::new();
    for line in SHIPPED.lines().skip_while(|line| *line != "#[[rig]]").skip(1) {
        if let Some(words) = line.strip_prefix("# ") {
            comment.push_str("# ");
            comment.push_str(words);
            comment.push('\n');
        } else {
            let key = line.trim_start_matches('#').split('=').next().unwrap_or_default().trim();
            // What stands above a table belongs to the line that opens it. A blank line explains nothing, and
            // the example that stands first explains a key.
            if !key.is_empty() {
                all.entry(key).or_insert_with(|| std::mem::take(&mut comment));
            }
            comment.clear();
        }
    }
    if let Some(words) = all.remove("[rig.calibration]") {
        all.insert("[calibration]", words);
    }
    all
}

/// Writes a rig's file: a temporary file in the same folder, synced, then renamed over the old one.
///
/// # Errors
/// The system's; what stood there before stands there still.
pub fn write_rig_file(folder: &Path, name: &str, text: &str) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let temporary = folder.join(format!(".{name}.new"));
    let written = (|| {
        let mut options = File::options();
        let mut file = options.write(true).create(true).truncate(true).mode(0o640).open(&temporary)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        fs::rename(&temporary, rig_path(folder, name))?;
        File::open(folder)?.sync_all()
    })();
    if written.is_err() {
        // The first error is told; a leftover is written over by the next attempt.
        let _ = fs::remove_file(&temporary);
    }
    written
}

/// Takes a rig's file away.
///
/// # Errors
/// The system's.
pub fn remove_rig_file(folder: &Path, name: &str) -> io::Result<()> {
    fs::remove_file(rig_path(folder, name))?;
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn document() -> Value {
        json!({
            "name": "bench-9", "port": "/dev/ttyX", "instrument": "lines", "rate_hz": 80, "baud": null,
            "range_kN": 250.0,
            "calibration": { "id": "c", "coefficients_kN": [0.0, 2.5e-5], "nominal": true },
        })
    }

    #[test]
    fn a_document_becomes_a_commented_file_that_reads_as_the_same_rig() {
        let measure = runs::Settings::default();
        let rig = rig_from_document(&document(), &measure).unwrap();
        let text = commented(&rig, "Made by a test.").unwrap();
        assert_eq!(parse_rig("file", &text, &measure).unwrap(), rig);
        assert!(text.starts_with("# Made by a test.\n"), "{text}");
        for explained in
            ["# Name: 1 to 32", "# Full range, kN", "# Counts to tension.", "# kN as a polynomial"]
        {
            assert!(text.contains(explained), "{explained} is not in {text}");
        }
        let keys = text.lines().filter(|l| !l.is_empty() && !l.starts_with('#')).count();
        let explained = text.split("\n\n").count() - 1;
        assert_eq!(keys, explained, "every key has its words: {text}");
    }

    #[test]
    fn a_dial_gets_its_comments_too() {
        let measure = runs::Settings::default();
        let document = json!({
            "name": "press", "instrument": "typed", "dial_unit": "psi", "dial_psi": "oil-pressure",
            "dial_resolution": 50, "piston_area_in2": 4, "range_kN": 250,
            "calibration": { "id": "c", "coefficients_kN": [0.4, 0.985], "nominal": false },
        });
        let rig = rig_from_document(&document, &measure).unwrap();
        let text = commented(&rig, "Made by a test.").unwrap();
        assert_eq!(parse_rig("file", &text, &measure).unwrap(), rig);
        for explained in
            ["# Typed only: what stands on the dial", "# A dial marked psi only", "# Instead of piston"]
        {
            assert!(text.contains(explained), "{explained} is not in {text}");
        }
    }

    #[test]
    fn mistakes_name_the_rig_and_the_key() {
        let mut wrong = document();
        wrong["baud"] = json!(17);
        wrong["speed"] = json!(3);
        let problems = rig_from_document(&wrong, &runs::Settings::default()).unwrap_err();
        let text: Vec<String> = problems.iter().map(ToString::to_string).collect();
        assert!(text.iter().any(|t| t.contains("rig 'bench-9'") && t.contains("rig.baud")), "{text:?}");
        assert!(text.iter().any(|t| t.contains("speed")), "{text:?}");
        assert!(rig_from_document(&json!("text"), &runs::Settings::default()).is_err());
    }

    #[test]
    fn a_file_is_written_whole_and_taken_away() {
        let folder = tempfile::tempdir().unwrap();
        let rigs = folder.path().join("rigs");
        write_rig_file(&rigs, "a", "one").unwrap();
        write_rig_file(&rigs, "a", "two").unwrap();
        assert_eq!(fs::read_to_string(rig_path(&rigs, "a")).unwrap(), "two");
        assert_eq!(fs::read_dir(&rigs).unwrap().count(), 1, "no leftover");
        remove_rig_file(&rigs, "a").unwrap();
        assert_eq!(fs::read_dir(&rigs).unwrap().count(), 0);
        assert!(write_rig_file(Path::new("/proc/none"), "a", "x").is_err());
    }
}
