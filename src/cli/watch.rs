//! `rig watch`: the live feed as lines.
//!
//! JSON: each message as it comes, one a line. For people: what happened, one line each, and the
//! live reading — rewritten in place on a terminal, once a second elsewhere (by the rig's own clock).
//! The feed skips messages for a slow reader; the store does not depend on it.

use super::context::Context;
use super::door::{feed_request, segment};
use super::error::CliError;
use super::output::{Cell, Format, Rows, printable};
use super::shown::tension;
use super::sse::Events;
use axum::body::Bytes;
use http_body_util::BodyExt;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{IsTerminal, Write};

/// Readings of a dial shown at the start.
const READINGS_SHOWN: u32 = 3;

/// Follows the feed until it ends or nobody reads any more.
///
/// # Errors
/// No daemon runs, an unknown rig, or the feed breaks off.
pub async fn run(context: &Context, rig: Option<&str>) -> Result<(), CliError> {
    if !context.door.is_daemon() {
        return Err(CliError::No {
            what: "cannot watch: expected a running boltscribed, found none".into(),
            hint: Some("start boltscribed, or name its store with `--store FOLDER`".into()),
        });
    }
    if let Some(name) = rig {
        known(context, name).await?;
    }
    if context.format == Format::Table {
        standing(context, rig).await?;
    }
    let answer = context.door.send(feed_request("events")?).await?;
    if !answer.status().is_success() {
        return Err(CliError::Refused {
            status: answer.status().as_u16(),
            detail: format!("the live feed was refused with status {}", answer.status()),
            hint: None,
        });
    }
    let mut body = answer.into_body();
    let mut events = Events::default();
    let mut lines = Lines::new(context.format, std::io::stdout().is_terminal());
    let mut out = std::io::stdout().lock();
    lines.begin(&mut out)?;
    if context.format == Format::Table {
        for text in last_readings(context, rig).await? {
            lines.message(&text, rig, &mut out)?;
        }
        out.flush()?;
    }
    while let Some(frame) = body.frame().await {
        let bytes: Bytes = match frame.map(hyper::body::Frame::into_data) {
            Ok(Ok(bytes)) => bytes,
            Ok(Err(_)) => continue,
            Err(e) => {
                return Err(CliError::Answer {
                    request: "GET events".into(),
                    expected: "a feed without end",
                    found: e.to_string(),
                });
            }
        };
        for text in events.push(&bytes) {
            lines.message(&text, rig, &mut out)?;
        }
        out.flush()?;
    }
    lines.end(&mut out)?;
    super::output::say("the daemon ended the feed");
    Ok(())
}

/// What stands at the watched rigs until somebody changes it.
async fn standing(context: &Context, only: Option<&str>) -> Result<(), CliError> {
    let (_, rigs) = context.list("rigs", "rigs").await?;
    for rig in rigs.iter().filter(|rig| only.is_none_or(|name| rig["rig"] == name)) {
        let words: Vec<&str> =
            rig["standing"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        if !words.is_empty() {
            super::output::say(&format!("{}: {}", rig["rig"].as_str().unwrap_or_default(), words.join("; ")));
        }
    }
    Ok(())
}

/// The last readings of each rig with a dial, oldest first, for people: the feed is silent until somebody
/// reads again.
async fn last_readings(context: &Context, only: Option<&str>) -> Result<Vec<String>, CliError> {
    let (_, rigs) = context.list("rigs", "rigs").await?;
    let mut texts = Vec::new();
    for rig in rigs.iter().filter(|rig| !rig["dial"].is_null()).filter_map(|rig| rig["rig"].as_str()) {
        if only.is_some_and(|only| only != rig) {
            continue;
        }
        let path = format!("runs?limit={READINGS_SHOWN}&rig={}", segment(rig));
        let (_, runs) = context.list(&path, "runs").await?;
        // A run measured at this rig before it had a dial is none.
        texts
            .extend(runs.iter().rev().filter(|run| run["timing"].is_null()).map(|run| told_before(rig, run)));
    }
    Ok(texts)
}

fn told_before(rig: &str, run: &Value) -> String {
    let (of, kn) = match run["held_kN"].as_f64() {
        Some(kn) => ("held", kn),
        None => ("peak", run["peak_kN"].as_f64().unwrap_or(f64::NAN)),
    };
    let reading = json!({ "of": of, "tension": kn * 1000.0, "who": run["entered_by"] });
    json!({
        "rig": rig, "utc_ns": run["utc_ns"], "news": "reading", "id": run["id"], "reading": reading,
        "flags": run["flags"],
    })
    .to_string()
}

async fn known(context: &Context, name: &str) -> Result<(), CliError> {
    let (_, rigs) = context.list("rigs", "rigs").await?;
    if rigs.iter().any(|r| r["rig"] == name) {
        return Ok(());
    }
    let names: Vec<&str> = rigs.iter().filter_map(|r| r["rig"].as_str()).collect();
    Err(CliError::No {
        what: format!("cannot find the rig '{name}': found {}", names.join(", ")),
        hint: Some("see `boltscribe rig list`".into()),
    })
}

/// Turns messages into lines.
struct Lines {
    format: Format,
    in_place: bool,
    live_on_screen: bool,
    live_said_s: BTreeMap<String, f64>,
}

impl Lines {
    const fn new(format: Format, terminal: bool) -> Self {
        Self { format, in_place: terminal, live_on_screen: false, live_said_s: BTreeMap::new() }
    }

    fn begin(&self, out: &mut dyn Write) -> Result<(), CliError> {
        if self.format == Format::Csv {
            Rows::new(&["utc", "rig", "news"]).csv(&mut *out)?;
        }
        Ok(())
    }

    fn end(&mut self, out: &mut dyn Write) -> Result<(), CliError> {
        if std::mem::take(&mut self.live_on_screen) {
            writeln!(out)?;
        }
        Ok(())
    }

    fn message(&mut self, text: &str, only: Option<&str>, out: &mut dyn Write) -> Result<(), CliError> {
        let Ok(message) = serde_json::from_str::<Value>(text) else {
            return Err(CliError::Answer {
                request: "GET events".into(),
                expected: "JSON messages",
                found: printable(text),
            });
        };
        let rig = message["rig"].as_str().unwrap_or_default().to_owned();
        if only.is_some_and(|only| only != rig) {
            return Ok(());
        }
        if self.format == Format::Json {
            writeln!(out, "{text}")?;
            return Ok(());
        }
        let live = message["event"] == "live";
        if live && !self.live_is_due(&rig, &message) {
            return Ok(());
        }
        let Some(words) = words_of(&message) else {
            return Ok(());
        };
        if self.format == Format::Csv {
            return csv_line(&message, &rig, &words, out);
        }
        let line = format!("{}  {}", printable(&rig), printable(&words));
        match (self.in_place && live, self.live_on_screen) {
            (true, _) => write!(out, "\r{line}\u{1b}[K")?,
            (false, true) => writeln!(out, "\r{line}\u{1b}[K")?,
            (false, false) => writeln!(out, "{line}")?,
        }
        self.live_on_screen = self.in_place && live;
        Ok(())
    }

    /// Ten a second where a line is rewritten, one a second elsewhere; by the rig's clock.
    fn live_is_due(&mut self, rig: &str, message: &Value) -> bool {
        let at_s = message["at_s"].as_f64().unwrap_or_default();
        let every_s = if self.in_place && self.format == Format::Table { 0.1 } else { 1.0 };
        let due = self.live_said_s.get(rig).is_none_or(|said| at_s - said >= every_s || at_s < *said);
        if due {
            self.live_said_s.insert(rig.to_owned(), at_s);
        }
        due
    }
}

fn csv_line(message: &Value, rig: &str, words: &str, out: &mut dyn Write) -> Result<(), CliError> {
    let mut rows = Vec::new();
    let mut one = Rows::new(&["utc", "rig", "news"]);
    one.rows.push(vec![Cell::Text(utc(message)), Cell::Text(rig.into()), Cell::Text(words.into())]);
    one.csv(&mut rows)?;
    let header_end = rows.iter().position(|&b| b == b'\n').map_or(0, |at| at + 1);
    out.write_all(&rows[header_end..])?;
    Ok(())
}

fn utc(message: &Value) -> String {
    let ns = message["utc_ns"].as_i64().unwrap_or_default();
    jiff::Timestamp::from_nanosecond(i128::from(ns)).map_or_else(|_| String::new(), |t| t.to_string())
}

/// A message in words; none: nothing a person needs.
fn words_of(message: &Value) -> Option<String> {
    match message["news"].as_str()? {
        "event" => event_words(message),
        "run" => run_words(message),
        "reading" => reading_words(message),
        "link" => {
            let link = message["link"].as_str()?;
            Some(match message["detail"].as_str() {
                Some(detail) => format!("line {link}: {detail}"),
                None => format!("line {link}"),
            })
        }
        _ => None,
    }
}

fn kn(value: &Value) -> String {
    value.as_f64().map_or_else(|| "–".to_owned(), |n| tension(n / 1000.0))
}

fn event_words(message: &Value) -> Option<String> {
    let at = message["at_s"].as_f64().map_or_else(String::new, |s| format!(" at {s:.3} s"));
    let run = &message["run_seq"];
    let words = match message["event"].as_str()? {
        "live" => format!(
            "{:>10}  (least {}, greatest {})",
            kn(&message["mean"]),
            kn(&message["min"]),
            kn(&message["max"])
        ),
        "started" => format!("run {run} of this stream began{at}"),
        "blow" => format!("run {run}: blow{at}"),
        "zeroed" => format!("zero taken: {}", kn(&message["zero"])),
        "awaits-rest" if message["awaits"] == true => {
            format!(
                "no release seen since the start: no run counts before rest below {}",
                kn(&message["below"])
            )
        }
        "awaits-rest" => "the rig rests: runs are found".to_owned(),
        "refused" => format!("refused: {}", message["reason"].as_str()?),
        "rate" => format!("samples flow at {} Hz", message["rate_hz"]),
        "stale" if message["stale"] == true => "silent: the last reading is no longer live".to_owned(),
        "stale" => "sending again".to_owned(),
        "identity" => identity_words(message),
        "in-force" => format!(
            "in force: setup {}, tool {}",
            message["setup"].as_str().unwrap_or("none"),
            message["tool"].as_str().unwrap_or("none")
        ),
        _ => return None,
    };
    Some(words)
}

fn identity_words(message: &Value) -> String {
    let scale = message["time_scale"].as_u64().unwrap_or(1);
    let simulated = match (message["simulated"] == true, scale) {
        (false, _) => String::new(),
        (true, 1) => format!("; {}", super::caution::SIMULATED),
        (true, _) => format!("; {}, {scale} × faster than real time", super::caution::SIMULATED),
    };
    format!(
        "device {} answers, firmware {}{simulated}",
        message["serial"].as_str().unwrap_or("without serial"),
        message["firmware"].as_str().unwrap_or("unknown"),
    )
}

fn reading_words(message: &Value) -> Option<String> {
    let reading = &message["reading"];
    let flags: Vec<&str> = message["flags"].as_array()?.iter().filter_map(Value::as_str).collect();
    Some(format!(
        "run {} read by hand: {} {} by {}; flags: {}",
        message["id"],
        reading["of"].as_str()?,
        kn(&reading["tension"]),
        reading["who"].as_str().unwrap_or("nobody"),
        flags.join(" ")
    ))
}

fn run_words(message: &Value) -> Option<String> {
    let id = &message["id"];
    let row = &message["row"];
    match row["row"].as_str()? {
        "announced" => {
            let record = &row["record"];
            let flags: Vec<&str> = row["flags"].as_array()?.iter().filter_map(Value::as_str).collect();
            let flags =
                if flags.is_empty() { String::new() } else { format!("; flags: {}", flags.join(" ")) };
            Some(format!(
                "run {id} stored: held {}, peak {}{flags}",
                kn(&record["held"]),
                kn(&record["peak"])
            ))
        }
        "closed" => Some(format!("run {id} closed: {}", row["closing"]["reason"].as_str()?)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines_of(format: Format, terminal: bool, messages: &[&str]) -> String {
        let mut lines = Lines::new(format, terminal);
        let mut out = Vec::new();
        lines.begin(&mut out).unwrap();
        for message in messages {
            lines.message(message, Some("a"), &mut out).unwrap();
        }
        String::from_utf8(out).unwrap()
    }

    const LIVE: &str = r#"{"rig":"a","utc_ns":0,"news":"event","event":"live","at_s":1.0,"mean":1500.0,"min":1000.0,"max":2000.0,"counts":7}"#;
    const STARTED: &str = r#"{"rig":"a","utc_ns":0,"news":"event","event":"started","run_seq":3,"at_s":1.5}"#;
    const OTHER: &str = r#"{"rig":"b","utc_ns":0,"news":"event","event":"started","run_seq":1,"at_s":1.5}"#;

    #[test]
    fn json_gives_each_message_as_it_came_one_a_line_and_only_of_the_rig() {
        assert_eq!(lines_of(Format::Json, true, &[LIVE, OTHER, STARTED]), format!("{LIVE}\n{STARTED}\n"));
    }

    #[test]
    fn a_terminal_rewrites_the_reading_and_keeps_what_happened() {
        let text = lines_of(Format::Table, true, &[LIVE, STARTED]);
        assert!(text.starts_with('\r') && text.contains("1.50 kN"), "{text:?}");
        assert!(text.ends_with("run 3 of this stream began at 1.500 s\u{1b}[K\n"), "{text:?}");
    }

    #[test]
    fn elsewhere_no_control_character_is_written() {
        let text = lines_of(Format::Table, false, &[LIVE, LIVE, STARTED]);
        assert_eq!(text.lines().count(), 2, "{text:?}");
        assert!(!text.contains(['\r', '\u{1b}']));
    }

    #[test]
    fn csv_has_one_header_and_utc_times() {
        let text = lines_of(Format::Csv, false, &[STARTED]);
        assert_eq!(text, "utc,rig,news\r\n1970-01-01T00:00:00Z,a,run 3 of this stream began at 1.500 s\r\n");
    }

    #[test]
    fn a_reading_by_hand_is_told_alike_from_the_store_and_from_the_feed() {
        let run = serde_json::json!({
            "id": 4, "utc_ns": 0, "held_kN": 81.5, "peak_kN": null, "entered_by": "ana", "flags": ["by-hand"],
        });
        let live = r#"{"rig":"a","utc_ns":0,"news":"reading","id":4,"reading":{"of":"held","tension":81500.0,
            "who":"ana"},"flags":["by-hand"]}"#;
        let text = lines_of(Format::Table, false, &[&told_before("a", &run), live]);
        let line = "a  run 4 read by hand: held 81.50 kN by ana; flags: by-hand\n";
        assert_eq!(text, line.repeat(2));
    }

    #[test]
    fn a_device_that_says_so_is_called_simulated_at_any_speed_and_no_other_is() {
        for (simulated, scale, mark) in [(true, 20, true), (true, 1, true), (false, 1, false)] {
            let identity = serde_json::json!({"serial": "v1", "firmware": "1", "time_scale": scale,
                                              "simulated": simulated});
            let words = identity_words(&identity);
            assert_eq!(words.contains("SIMULATED"), mark, "{words}");
            assert_eq!(words.contains("20 ×"), scale == 20, "{words}");
        }
    }
}
