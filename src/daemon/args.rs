//! The daemon's command line as typed.
//!
//! What the options override is checked with the settings; must not know their rules.

use clap::Parser;
use std::path::PathBuf;

const EXAMPLES: &str = "Examples:
  boltscribed --config /etc/boltscribe/boltscribe.toml
  boltscribed --config boltscribe.toml --check-config
  boltscribed --store ./trial --rig bench=/dev/serial/by-id/usb-amplifier
";

/// Reads the rigs, measures every run, stores it and serves the API.
#[derive(Debug, Parser)]
#[command(
    name = "boltscribed",
    version,
    before_help = EXAMPLES,
    after_help = "Exit codes: 0 done; 2 wrong usage or settings; 3 IO"
)]
pub struct Args {
    /// Settings file.
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Check the settings, say what is wrong, and start nothing.
    #[arg(long)]
    pub check_config: bool,
    /// Folder of the store, instead of the one in the settings.
    #[arg(long, value_name = "FOLDER")]
    pub store: Option<PathBuf>,
    /// Port of a rig, instead of the one in the settings; a new name makes a rig with defaults.
    #[arg(long = "rig", value_name = "NAME=PORT", value_parser = name_and_port)]
    pub rigs: Vec<(String, String)>,
    /// Unix socket of the API, instead of api.sock in the store's folder.
    #[arg(long, value_name = "PATH")]
    pub socket: Option<PathBuf>,
    /// Record the input of every rig into this folder, for bug reports.
    #[arg(long, value_name = "FOLDER")]
    pub record: Option<PathBuf>,
}

fn name_and_port(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((name, port)) if !name.is_empty() && !port.is_empty() => Ok((name.to_owned(), port.to_owned())),
        _ => Err(format!("expected NAME=PORT, found '{text}'")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_well_formed_and_a_rig_is_a_name_and_a_port() {
        Args::command().debug_assert();
        let args = Args::try_parse_from(["boltscribed", "--rig", "a=/dev/x=y"]).unwrap();
        assert_eq!(args.rigs, [("a".to_owned(), "/dev/x=y".to_owned())]);
        assert!(Args::try_parse_from(["boltscribed", "--rig", "a"]).is_err());
    }
}
