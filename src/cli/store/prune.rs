//! `store prune`: old raw samples and idle time away, results kept; in parts, each of them whole.
//!
//! What is old is said in days or as a date. What goes and what is freed is told by the API; giving freed room
//! back to the disk needs the store for itself.

use crate::context::{Context, who};
use crate::error::CliError;
use crate::local::now_utc_ns;
use crate::output::{Cell, Format, Rows, print, say};
use axum::http::Method;
use clap::{ArgGroup, Args};
use serde_json::{Value, json};

const DAY_NS: i64 = 86_400_000_000_000;

/// Options of `store prune`.
#[derive(Debug, Args)]
#[command(
    before_help = "Examples:
  boltscribe store prune --older-than 90d --dry-run
  boltscribe store prune --older-than 90d --keep 12,40 --why \"disk\"
  boltscribe store prune --before 2026-01-01 --shrink --why \"last year is backed up\"
",
    group = ArgGroup::new("age").args(["older_than", "before"]).required(true)
)]
pub struct Prune {
    /// Samples older than this: 90d (days) or 12w (weeks).
    #[arg(long, value_name = "AGE", value_parser = age)]
    pub older_than: Option<i64>,
    /// Samples from before this: 2026-01-01 or 2026-01-01T12:00:00Z.
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub before: Option<i64>,
    /// Runs that keep their samples, by number.
    #[arg(long, value_name = "RUN", value_delimiter = ',')]
    pub keep: Vec<i64>,
    /// Only say what would go.
    #[arg(long)]
    pub dry_run: bool,
    /// Give freed room back to the disk; boltscribed must not run.
    #[arg(long, conflicts_with = "dry_run")]
    pub shrink: bool,
    /// Why, for the record.
    #[arg(long, required_unless_present = "dry_run")]
    pub why: Option<String>,
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// An age in nanoseconds.
fn age(text: &str) -> Result<i64, String> {
    let wrong = || format!("expected a number of days or weeks such as 90d or 12w, found '{text}'");
    let (number, unit) = text.split_at_checked(text.len().saturating_sub(1)).ok_or_else(wrong)?;
    let days = match unit {
        "d" => 1,
        "w" => 7,
        _ => return Err(wrong()),
    };
    let number: i64 = number.parse().ok().filter(|n| (1..=36_500).contains(n)).ok_or_else(wrong)?;
    Ok(number * days * DAY_NS)
}

/// A date (its beginning in UTC) or a moment, in nanoseconds since 1970.
fn date(text: &str) -> Result<i64, String> {
    let wrong = || format!("expected a date such as 2026-01-01 or 2026-01-01T12:00:00Z, found '{text}'");
    let moment: jiff::Timestamp = match text.parse::<jiff::civil::Date>() {
        Ok(_) if !text.contains('T') => format!("{text}T00:00:00Z").parse().map_err(|_| wrong())?,
        _ => text.parse().map_err(|_| wrong())?,
    };
    i64::try_from(moment.as_nanosecond()).map_err(|_| wrong())
}

/// Prunes, or says what a pruning would take.
///
/// # Errors
/// Samples that are too young, a refusal of the API.
pub async fn run(prune: &Prune, context: &Context) -> Result<(), CliError> {
    if prune.shrink && context.door.is_daemon() {
        return Err(CliError::No {
            what: "cannot shrink the file: expected the store for itself, found boltscribed at work".into(),
            hint: Some("leave --shrink out: freed room is used again; or stop boltscribed first".into()),
        });
    }
    let before = prune.before.unwrap_or_else(|| now_utc_ns() - prune.older_than.unwrap_or(0));
    let mut body = json!({ "who": who(prune.who.as_deref())?, "before_utc_ns": before, "keep": prune.keep,
                           "dry_run": prune.dry_run });
    if let Some(why) = &prune.why {
        body["why"] = json!(why);
    }
    let mut answer = ask(context, &body).await?;
    while !answer["go_on"].is_null() {
        body["go_on"] = answer["go_on"].clone();
        answer = ask(context, &body).await?;
    }
    if let Some(map) = answer.as_object_mut() {
        map.remove("go_on");
    }
    let amount = if prune.dry_run { &answer["would_prune"] } else { &answer["pruned"] };
    print(context.format, &answer, &rows(amount))?;
    if context.format == Format::Table {
        say(&sentence(prune, &answer));
    }
    Ok(())
}

async fn ask(context: &Context, body: &Value) -> Result<Value, CliError> {
    context.door.change(Method::POST, "store/prune", body).await
}

fn rows(amount: &Value) -> Rows {
    const COLUMNS: [&str; 5] = ["runs", "samples", "sample_bytes", "idle_blocks", "idle_bytes"];
    let mut rows = Rows::new(&COLUMNS);
    rows.rows.push(COLUMNS.iter().map(|key| Cell::text_of(amount, key)).collect());
    rows
}

fn sentence(prune: &Prune, answer: &Value) -> String {
    let bytes = |key: &str| answer["file"][key].as_u64().unwrap_or(0) as f64 / (1 << 20) as f64;
    if prune.dry_run {
        return "nothing was pruned; results of these runs would stay, their traces would not".to_owned();
    }
    let free = format!("{:.1} of {:.1} MiB of the file are free", bytes("free_bytes"), bytes("bytes"));
    if prune.shrink {
        format!("results stay; {free} and go back to the disk now")
    } else {
        format!("results stay; {free} and will be used for new samples first (--shrink gives them back)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ages_and_dates_are_read_strictly() {
        assert_eq!(age("90d"), Ok(90 * DAY_NS));
        assert_eq!(age("2w"), Ok(14 * DAY_NS));
        for wrong in ["", "d", "0d", "-3d", "3", "3h", "1.5d", "99999999d", "3ö"] {
            assert!(age(wrong).is_err(), "{wrong}");
        }
        assert_eq!(date("1970-01-02"), Ok(DAY_NS));
        assert_eq!(date("1970-01-01T00:00:01Z"), Ok(1_000_000_000));
        assert!(date("yesterday").is_err() && date("2026-13-01").is_err());
    }
}
