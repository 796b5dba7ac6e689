//! `store verify`: the audit chain against the rows.
//!
//! The looking is the API's; here its report becomes rows and an exit code.

use super::check::show;
use crate::context::{Context, who};
use crate::error::CliError;
use axum::http::Method;
use clap::Args;
use serde_json::json;

/// Looks through the audit chain.
#[derive(Debug, Args)]
#[command(
    before_help = "Examples:\n  boltscribe store verify\n  boltscribe store verify --head 4711:9f2c…  (the head noted on an earlier report)"
)]
pub struct Verify {
    /// The end of the chain as it was noted before, NUMBER:LINK: tells too when the end was cut off.
    #[arg(long, value_name = "NUMBER:LINK")]
    head: Option<boltscribe_store::Head>,
}

/// Looks, and says what does not fit.
///
/// # Errors
/// Faults were found (the answer is no), or the store cannot be read.
pub async fn run(verify: &Verify, context: &Context) -> Result<(), CliError> {
    let who = who(None).unwrap_or_else(|_| "unknown".to_owned());
    let head = verify.head.as_ref().map(ToString::to_string);
    let report =
        context.door.change(Method::POST, "store/verify", &json!({ "who": who, "head": head })).await?;
    show(context, &report)
}
