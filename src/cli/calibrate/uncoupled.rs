//! While somebody calibrates at a rig nothing that loads it is a tool's run: the rig is told so, and told afterwards what is
//! coupled again.
//!
//! Where the guide is broken off the rig stays without a tool: runs that count nowhere are seen and put right, runs that
//! count wrongly are not.

use crate::ask::tell;
use crate::context::Context;
use crate::door::segment;
use crate::error::CliError;
use axum::http::Method;
use serde_json::{Value, json};

/// What was coupled before.
pub(super) struct Uncoupled {
    path: String,
    who: String,
    before: Value,
}

/// Tells the rig that no tool is coupled.
///
/// # Errors
/// A run of a trial is awaited there, or nobody answers.
pub(super) async fn begin(rig: &str, who: &str, context: &Context) -> Result<Uncoupled, CliError> {
    let (_, rigs) = context.list("rigs", "rigs").await?;
    let now = rigs.iter().find(|known| known["rig"] == rig).map(|known| known["in_force"].clone());
    let path = format!("rigs/{}/use", segment(rig));
    context.door.change(Method::POST, &path, &json!({ "who": who, "no_tool": true })).await?;
    tell("No tool counts as coupled meanwhile: loads are recorded, and stay out of all results.\n")?;
    Ok(Uncoupled { path, who: who.to_owned(), before: now.unwrap_or(Value::Null) })
}

impl Uncoupled {
    /// Tells the rig what is coupled again.
    ///
    /// # Errors
    /// A setup or tool that left the shelf meanwhile, or nobody answers.
    pub(super) async fn end(self, context: &Context) -> Result<(), CliError> {
        if self.before["no_tool"] == true {
            return tell("The rig still has no tool coupled; `boltscribe setup use NAME` says what is.\n");
        }
        let (setup, tool) = (&self.before["setup"], &self.before["tool"]);
        let body = json!({ "who": self.who, "no_tool": false, "setup": setup, "tool": tool });
        context.door.change(Method::POST, &self.path, &body).await?;
        let name = setup.as_str().map_or("no setup".to_owned(), |name| format!("setup '{name}'"));
        tell(&format!("Coupled again: {name}. Fit it before the next run.\n"))
    }
}
