//! `access`: who may use the page and the interface from other machines, by tokens in a file of their own.
//!
//! A token is shown once, as it is made; the file holds its digest only. Works without the daemon, which reads the file
//! anew when it changes.

use super::args::Common;
use super::error::CliError;
use super::output::{Cell, Format, Rows, print, say};
use super::place::Place;
use boltscribe_http::access::{Kept, Role, TOKEN_BYTES, TOKENS_MAX, hex, read};
use boltscribe_model::setups::check_text;
use clap::{Subcommand, ValueEnum};
use serde_json::json;
use std::fs::OpenOptions;
use std::io::Write;
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, fchown};
use std::path::{Path, PathBuf};

/// Roles as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum RoleWord {
    /// Look at everything.
    View,
    /// And test: setups, zero, trials, readings.
    Operate,
    /// And change what is kept: shelf, rigs, calibrations, corrections, the store.
    Correct,
}

impl From<RoleWord> for Role {
    fn from(word: RoleWord) -> Self {
        match word {
            RoleWord::View => Self::View,
            RoleWord::Operate => Self::Operate,
            RoleWord::Correct => Self::Correct,
        }
    }
}

/// What can be done about tokens.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// A new token, shown once.
    #[command(before_help = "Example:\n  boltscribe access add 'tablet at bench 1' --role operate")]
    Add {
        /// Whose it is, or of which device.
        name: String,
        /// What it allows.
        #[arg(long, value_enum, default_value_t = RoleWord::Operate)]
        role: RoleWord,
    },
    /// The names and roles there are.
    List,
    /// Takes a token back; it counts at once.
    Remove {
        /// Its name.
        name: String,
    },
}

/// Does it.
///
/// # Errors
/// No file is set, it cannot be read or written; a name that is taken or not there.
pub fn run(verb: &Verb, common: &Common) -> Result<(), CliError> {
    let path = Place::find(common)?.tokens_file.ok_or_else(|| {
        CliError::usage_with(
            "expected daemon.tokens_file in the settings, found none",
            "name a file there such as /var/lib/boltscribe/tokens, and an address in daemon.listen",
        )
    })?;
    let mut all = if path.exists() { read(&path).map_err(|what| no(what, None))? } else { Vec::new() };
    match verb {
        Verb::List => {
            let mut rows = Rows::new(&["name", "role"]);
            rows.rows = all
                .iter()
                .map(|kept| vec![Cell::text(Some(&kept.name)), Cell::text(Some(kept.role.name()))])
                .collect();
            let tokens: Vec<_> =
                all.iter().map(|kept| json!({ "name": kept.name, "role": kept.role })).collect();
            print(common.format, &json!({ "tokens": tokens }), &rows)
        }
        Verb::Add { name, role } => {
            check_text("name", name).map_err(|error| CliError::usage(error.to_string()))?;
            if all.iter().any(|kept| kept.name == *name) {
                return Err(no(
                    format!("cannot add '{name}': there is a token of this name"),
                    Some("take it back first: access remove"),
                ));
            }
            if all.len() >= TOKENS_MAX {
                return Err(no(
                    format!("cannot add '{name}': expected fewer than {TOKENS_MAX} tokens"),
                    None,
                ));
            }
            let mut secret = [0; TOKEN_BYTES];
            getrandom::fill(&mut secret)
                .map_err(|error| no(format!("cannot make a token: {error}"), None))?;
            let token = hex(&secret);
            all.push(Kept::of(name, Role::from(*role), &token));
            write(&path, &all)?;
            let mut rows = Rows::new(&["name", "role", "token"]);
            let role = Role::from(*role);
            rows.rows.push(vec![
                Cell::text(Some(name)),
                Cell::text(Some(role.name())),
                Cell::text(Some(&token)),
            ]);
            print(common.format, &json!({ "name": name, "role": role, "token": token }), &rows)?;
            if common.format == Format::Table {
                say("it is shown this once; the page asks for it on the other device");
            }
            Ok(())
        }
        Verb::Remove { name } => {
            let before = all.len();
            all.retain(|kept| kept.name != *name);
            if all.len() == before {
                return Err(no(
                    format!("cannot take back '{name}': there is no token of this name"),
                    Some("`boltscribe access list` shows them"),
                ));
            }
            write(&path, &all)
        }
    }
}

fn no(what: String, hint: Option<&str>) -> CliError {
    CliError::No { what, hint: hint.map(str::to_owned) }
}

/// Writes the file whole or not at all, for the one who owned it; a new one belongs to the owner of its folder, who is
/// the daemon's user.
fn write(path: &Path, all: &[Kept]) -> Result<(), CliError> {
    let failed = |tried, path: &Path| {
        let path: PathBuf = path.into();
        move |source| CliError::File { tried, path, source }
    };
    let part = path.with_extension("part");
    let folder = path.parent().unwrap_or(Path::new("/"));
    let owner =
        std::fs::metadata(if path.exists() { path } else { folder }).map_err(failed("look at", folder))?;
    // What a broken-off attempt left behind.
    match std::fs::remove_file(&part) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            return Err(failed("remove", &part)(error));
        }
        _ => {}
    }
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(&part)
        .map_err(failed("make", &part))?;
    let mut text = "# Access tokens of boltscribe: SHA-256 of each, its role, its name\n".to_owned();
    for kept in all {
        text.push_str(&kept.line());
        text.push('\n');
    }
    let written = file.write_all(text.as_bytes()).and_then(|()| {
        let mine = file.metadata()?;
        if (mine.uid(), mine.gid()) != (owner.uid(), owner.gid()) {
            fchown(&file, Some(owner.uid()), Some(owner.gid()))?;
        }
        file.sync_all()
    });
    written.map_err(failed("write", &part))?;
    std::fs::rename(&part, path).map_err(failed("put in place", path))
}
