//! `runs tag`, `exclude`, `restore`: corrections, each a new row with who, when and why.
//!
//! Nothing stored is changed, and nothing is judged here: whether a run counts is the store's rule.

use crate::context::{Context, who};
use crate::error::CliError;
use crate::output::{Format, print, say};
use axum::http::Method;
use clap::{ArgGroup, Args};
use serde_json::{Value, json};

/// Options of `runs exclude` and `runs restore`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe runs exclude 42 --why \"socket slipped\"
  boltscribe runs restore 42 --why \"excluded by mistake\"
")]
pub struct Correct {
    /// Number of the run.
    pub id: u64,
    /// Why, for the record.
    #[arg(long)]
    pub why: String,
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Options of `runs tag`.
#[derive(Debug, Args)]
#[command(
    before_help = "Examples:\n  boltscribe runs tag 42 --setup ext75 --why \"forgot to switch\"\n",
    group = ArgGroup::new("tags").args(["setup", "tool"]).required(true).multiple(true)
)]
pub struct Tag {
    /// Name of the setup it was.
    #[arg(long)]
    pub setup: Option<String>,
    /// Name of the tool it was.
    #[arg(long)]
    pub tool: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub correct: Correct,
}

/// Gives a run other tags.
///
/// # Errors
/// No such run, or a refusal of the API.
pub async fn tag(tag: &Tag, context: &Context) -> Result<(), CliError> {
    let mut body = json!({});
    for (key, name) in [("setup", &tag.setup), ("tool", &tag.tool)] {
        if let Some(name) = name {
            body[key] = json!(name);
        }
    }
    post("tag", &tag.correct, body, context).await
}

/// Excludes or restores a run.
///
/// # Errors
/// No such run, or a refusal of the API.
pub async fn mark(verb: &str, correct: &Correct, context: &Context) -> Result<(), CliError> {
    post(verb, correct, json!({}), context).await
}

async fn post(verb: &str, correct: &Correct, mut body: Value, context: &Context) -> Result<(), CliError> {
    body["who"] = json!(who(correct.who.as_deref())?);
    body["why"] = json!(correct.why);
    let id = correct.id;
    context.door.change(Method::POST, &format!("runs/{id}/{verb}"), &body).await?;
    let run = context.door.get(&format!("runs/{id}")).await?;
    let rows = super::list::rows_of(std::slice::from_ref(&run));
    print(context.format, &run, &rows)?;
    if context.format == Format::Table {
        say(&format!("run {id}: {verb} is on record"));
    }
    Ok(())
}
