//! Advice and exit codes for every error of the command line, in this one place.
//!
//! Exit codes: 0 done; 1 the answer is no; 2 wrong usage or settings; 3 IO; 128 + its number after a
//! signal. An error says what happened; what to do about it is a line of its own that begins with `hint:`.

use super::error::CliError;
use std::io::{ErrorKind, Write};

/// Where the store's own advice is silent.
const STORE_HINT: &str = "`--store FOLDER` or `--config FILE` names another store; a copy opens read-only with `--store FILE.sqlite`";

/// The exit code an error ends the program with.
#[must_use]
pub fn exit_code(error: &CliError) -> u8 {
    match error {
        CliError::No { .. } => 1,
        CliError::Usage { .. } | CliError::Config(_) => 2,
        CliError::Refused { status, .. } => refused_code(*status),
        // As shells report it.
        CliError::Stopped { signal } => u8::try_from(128 + signal).unwrap_or(3),
        CliError::Socket { .. }
        | CliError::Store(_)
        | CliError::File { .. }
        | CliError::Output(_)
        | CliError::Answer { .. } => 3,
    }
}

/// 404 and 409 are answers to a well-put question; other 4xx mean the entry was wrong.
fn refused_code(status: u16) -> u8 {
    match status {
        404 | 409 => 1,
        400..=499 => 2,
        _ => 3,
    }
}

/// What to do about an error, one line, where there is something to say.
#[must_use]
pub fn hint(error: &CliError) -> Option<String> {
    match error {
        CliError::Usage { hint, .. } | CliError::No { hint, .. } | CliError::Refused { hint, .. } => hint.clone(),
        CliError::Config(_) => Some("`boltscribed --check-config` checks a file without starting anything".into()),
        CliError::Socket { source, .. } if source.kind() == ErrorKind::PermissionDenied => Some(
            "the socket belongs to a group: ask for membership (`sudo usermod -aG boltscribe $USER`), then log in again"
                .into(),
        ),
        CliError::Socket { .. } => Some("see `boltscribe doctor`; is boltscribed running?".into()),
        CliError::Store(e) => Some(e.hint().map_or_else(|| STORE_HINT.to_owned(), str::to_owned)),
        CliError::Answer { .. } => {
            Some("boltscribe and boltscribed may be of different versions: compare them with `boltscribe doctor`".into())
        }
        CliError::File { source, .. } if source.kind() == ErrorKind::PermissionDenied => {
            Some("check who may read that file: `ls -l`".into())
        }
        CliError::File { source, .. } if is_full(source) => {
            Some("nothing was left behind: free some space (`df -h`), or write to another disk".into())
        }
        CliError::File { .. } | CliError::Output(_) | CliError::Stopped { .. } => None,
    }
}

fn is_full(source: &std::io::Error) -> bool {
    matches!(source.kind(), ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge)
}

/// Writes an error and its hint, as `error: …` and `hint: …`.
///
/// # Errors
/// What `to` answers.
pub fn report(error: &CliError, to: &mut dyn Write) -> std::io::Result<()> {
    writeln!(to, "error: {error}")?;
    if let Some(hint) = hint(error) {
        writeln!(to, "hint: {hint}")?;
    }
    Ok(())
}

/// Likeness (Jaro and Winkler) from which another name may have been meant.
const NEAR: f64 = 0.75;

/// The name that may have been meant, where one is near.
#[must_use]
pub fn nearest<'a>(name: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let by_likeness = names.into_iter().map(|other| (strsim::jaro_winkler(other, name), other));
    by_likeness.filter(|(near, _)| *near > NEAR).max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, other)| other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_of_trouble_has_its_exit_code() {
        let refused = |status| CliError::Refused { status, detail: String::new(), hint: None };
        assert_eq!(exit_code(&refused(404)), 1);
        assert_eq!(exit_code(&refused(422)), 2);
        assert_eq!(exit_code(&refused(503)), 3);
        assert_eq!(exit_code(&CliError::usage("x")), 2);
        assert_eq!(exit_code(&CliError::Config(vec![])), 2);
        assert_eq!(exit_code(&CliError::No { what: String::new(), hint: None }), 1);
        let missing = boltscribe_store::StoreError::Missing { path: "x".into() };
        assert_eq!(exit_code(&CliError::from(missing)), 3);
    }

    #[test]
    fn the_hint_stands_on_a_line_of_its_own() {
        let mut text = Vec::new();
        report(&CliError::usage_with("two rigs", "give --rig"), &mut text).unwrap();
        assert_eq!(String::from_utf8(text).unwrap(), "error: two rigs\nhint: give --rig\n");
    }

    #[test]
    fn a_reader_that_went_away_is_no_fault() {
        let gone = CliError::from(std::io::Error::from(ErrorKind::BrokenPipe));
        assert!(gone.is_closed_pipe());
    }
}
