//! `forward`: what is still to reach the central store, what it will not have, and the word to try again.
//!
//! All of it is the API's; here documents become rows. Must not know how rows are sent.

use super::context::Context;
use super::error::CliError;
use super::output::{Cell, Rows, print};
use super::store::flatten;
use axum::http::Method;
use clap::Subcommand;
use serde_json::json;

/// What can be done about forwarding.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// How it goes; exit 1 when something needs a look.
    #[command(
        before_help = "Examples:\n  boltscribe forward status\n  boltscribe --format json forward status"
    )]
    Status,
    /// Try at once; or put rows into the outbox again.
    #[command(
        before_help = "Examples:\n  boltscribe forward retry                      what waits, without waiting\n  boltscribe forward retry --quarantined        what the server would not have\n  boltscribe forward retry --from-run 1         all stored runs, such as those from before it was set up"
    )]
    Retry(Retry),
    /// Rows that the central store will not have, with its reasons; exit 1 when there are any.
    #[command(
        before_help = "Examples:\n  boltscribe forward quarantine\n  boltscribe --format csv forward quarantine"
    )]
    Quarantine,
}

/// What to try again.
#[derive(Debug, clap::Args)]
pub struct Retry {
    /// All rows in quarantine.
    #[arg(long, conflicts_with = "row")]
    quarantined: bool,
    /// One row in quarantine, by its number there.
    #[arg(long, value_name = "ROW")]
    row: Option<i64>,
    /// Stored runs from this number on, sent before or not; a run sent twice changes nothing there.
    #[arg(long, value_name = "RUN")]
    from_run: Option<i64>,
    /// Up to this number; without it, to the newest.
    #[arg(long, value_name = "RUN", requires = "from_run")]
    to_run: Option<i64>,
}

/// Runs a verb.
///
/// # Errors
/// Nobody answers, a refusal, or the answer is no.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    match verb {
        Verb::Status => status(context).await,
        Verb::Retry(what) => retry(what, context).await,
        Verb::Quarantine => quarantine(context).await,
    }
}

async fn status(context: &Context) -> Result<(), CliError> {
    let document = context.door.get("forward").await?;
    let mut rows = Rows::new(&["what", "found"]);
    flatten(&mut rows, "outbox", &document["outbox"]);
    flatten(&mut rows, "server", &document["server"]);
    print(context.format, &document, &rows)?;
    let troubles = troubles(&document);
    if troubles.is_empty() {
        return Ok(());
    }
    Err(CliError::No { what: troubles.join("; "), hint: None })
}

/// What is wrong with forwarding, by the document of `GET /forward`.
pub fn troubles(document: &serde_json::Value) -> Vec<String> {
    let (outbox, server) = (&document["outbox"], &document["server"]);
    let number = |key: &str| outbox[key].as_u64().unwrap_or_default();
    let mut troubles = Vec::new();
    let condition = server["condition"].as_str().unwrap_or("good");
    if condition == "retrying" || condition == "alarm" {
        let why = server["trouble"].as_str().unwrap_or("no reason given");
        troubles.push(format!("forwarding: {condition}: {why} ({} rows wait)", number("waiting")));
    }
    if number("quarantined") > 0 {
        let rows = number("quarantined");
        troubles.push(format!("forwarding: {rows} rows in quarantine: see 'boltscribe forward quarantine'"));
    }
    if number("rows_dropped") > 0 {
        let rows = number("rows_dropped");
        troubles.push(format!(
            "forwarding: {rows} rows of runs found the outbox full: 'boltscribe forward retry --from-run' sends them"
        ));
    }
    troubles
}

async fn retry(what: &Retry, context: &Context) -> Result<(), CliError> {
    let body = json!({
        "quarantined": what.quarantined,
        "row": what.row,
        "first_run": what.from_run,
        "last_run": what.to_run,
    });
    let document = context.door.change(Method::POST, "forward/retry", &body).await?;
    let mut rows = Rows::new(&["what", "found"]);
    flatten(&mut rows, "rows_put_in", &document["rows"]);
    flatten(&mut rows, "tried_at_once", &document["woken"]);
    print(context.format, &document, &rows)
}

async fn quarantine(context: &Context) -> Result<(), CliError> {
    let (document, items) = context.list("forward/quarantine", "rows").await?;
    let mut rows = Rows::new(&["row", "kind", "run", "reason"]);
    for item in &items {
        let cell = |key: &str| Cell::text_of(item, key);
        rows.rows.push(vec![cell("id"), cell("kind"), cell("run"), cell("reason")]);
    }
    print(context.format, &document, &rows)?;
    if items.is_empty() {
        return Ok(());
    }
    Err(CliError::No {
        what: format!("the central store will not have {} rows", items.len()),
        hint: Some("once the reason is gone: `boltscribe forward retry --quarantined`".into()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waiting_is_no_trouble_but_retrying_quarantine_and_a_full_outbox_are() {
        let good = json!({"outbox": {"waiting": 7, "quarantined": 0, "rows_dropped": 0}, "server": {"condition": "good"}});
        assert!(troubles(&good).is_empty());
        assert!(troubles(&json!({"outbox": {"waiting": 0}, "server": null})).is_empty());
        let bad = json!({"outbox": {"waiting": 7, "quarantined": 1, "rows_dropped": 2},
                         "server": {"condition": "alarm", "trouble": "401"}});
        let told = troubles(&bad);
        assert_eq!(told.len(), 3);
        assert_eq!(told[0], "forwarding: alarm: 401 (7 rows wait)");
    }
}
