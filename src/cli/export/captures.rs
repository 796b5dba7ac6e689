//! placeholder
//!
//! x
use crate::cli::error::CliError;
use crate::cli::output::Format;
#[derive(Debug, clap::Args)]
pub struct Captures {}
pub fn run(_: &Captures, _: Format) -> Result<(), CliError> { Ok(()) }
