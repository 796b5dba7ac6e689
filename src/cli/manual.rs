//! The manual at a terminal, completions for shells, and manual pages of the commands.
//!
//! All three are made of what is in the program and need neither daemon nor store. Must not word chapters itself.

use super::args::Args;
use super::error::CliError;
use super::hints::nearest;
use boltscribe_page::{CHAPTERS, Chapter};
use clap::CommandFactory;
use clap_complete::Shell;
use std::fmt::Write as _;
use std::io::{Write, stdout};
use std::path::PathBuf;

/// A chapter, the list of them, or the lines that hold a word.
#[derive(Debug, clap::Args)]
pub struct Manual {
    /// A chapter; without one, all are listed.
    pub chapter: Option<String>,
    /// Print each line that holds these words, with its chapter.
    #[arg(long, value_name = "WORDS", conflicts_with = "chapter")]
    pub find: Option<String>,
}

/// Prints what was asked for.
///
/// # Errors
/// No such chapter, nothing found, or standard output is closed.
pub fn manual(asked: &Manual) -> Result<(), CliError> {
    let text = match (&asked.chapter, &asked.find) {
        (Some(name), _) => chapter(name)?.text.to_owned(),
        (None, Some(words)) => found(words)?,
        (None, None) => list(),
    };
    stdout().lock().write_all(text.as_bytes()).map_err(CliError::Output)
}

fn list() -> String {
    CHAPTERS.iter().fold(String::new(), |mut text, one| {
        let _ = writeln!(text, "{:<14} {}", one.name, one.title);
        text
    })
}

fn chapter(name: &str) -> Result<&'static Chapter, CliError> {
    CHAPTERS.iter().find(|one| one.name == name).ok_or_else(|| {
        let near = nearest(name, CHAPTERS.iter().map(|one| one.name));
        let hint = near.map_or("boltscribe manual lists the chapters".to_owned(), |name| {
            format!("did you mean 'boltscribe manual {name}'?")
        });
        let what = format!("manual: expected the name of a chapter, found '{name}'");
        CliError::Usage { what, hint: Some(hint) }
    })
}

/// Lines with the words, whatever their case.
fn found(words: &str) -> Result<String, CliError> {
    let wanted = words.to_lowercase();
    let mut text = String::new();
    for one in CHAPTERS {
        for line in one.text.lines().filter(|line| line.to_lowercase().contains(&wanted)) {
            let _ = writeln!(text, "{}: {}", one.name, line.trim());
        }
    }
    if text.is_empty() {
        return Err(CliError::No { what: format!("'{words}' stands nowhere in the manual"), hint: None });
    }
    Ok(text)
}

/// For which shell.
#[derive(Debug, clap::Args)]
pub struct Completions {
    /// The shell.
    pub shell: Shell,
}

/// Prints the completions of a shell.
///
/// # Errors
/// Standard output is closed.
pub fn completions(asked: &Completions) -> Result<(), CliError> {
    let mut text = Vec::new();
    clap_complete::generate(asked.shell, &mut Args::command(), "boltscribe", &mut text);
    stdout().lock().write_all(&text).map_err(CliError::Output)
}

/// Where to.
#[derive(Debug, clap::Args)]
pub struct Man {
    /// A folder that there is; one page a command is written into it.
    #[arg(long, value_name = "DIR")]
    pub into: PathBuf,
}

/// Writes the manual pages.
///
/// # Errors
/// The folder cannot be written to.
pub fn man(asked: &Man) -> Result<(), CliError> {
    clap_mangen::generate_to(Args::command(), &asked.into).map_err(|source| CliError::File {
        tried: "write into",
        path: asked.into.clone(),
        source,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_chapter_is_found_by_its_name_and_a_slip_is_answered_by_the_nearest() {
        assert!(CHAPTERS.len() > 10);
        for one in CHAPTERS {
            assert!(chapter(one.name).unwrap().text.starts_with(&format!("# {}", one.title)));
        }
        let Err(CliError::Usage { what, hint }) = chapter("trail") else { panic!("no chapter") };
        assert!(what.contains("'trail'"));
        assert_eq!(hint.as_deref(), Some("did you mean 'boltscribe manual trial'?"));
    }

    #[test]
    fn words_are_found_whatever_their_case() {
        assert!(found("EQUIVALENT TORQUE").unwrap().contains("glossary: "));
        assert!(found("zorbleflux").is_err());
    }

    #[test]
    fn each_command_has_a_manual_page() {
        let folder = tempfile::tempdir().unwrap();
        man(&Man { into: folder.path().to_owned() }).unwrap();
        for name in ["boltscribe", "boltscribe-rig-add", "boltscribe-trial-ready", "boltscribe-doctor"] {
            let text = std::fs::read_to_string(folder.path().join(format!("{name}.1"))).unwrap();
            assert!(text.contains(".SH SYNOPSIS"), "{name}");
        }
    }
}
