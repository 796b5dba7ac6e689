//! What can be asked of the demo: once, the format of its table, and how fast.
//! Must not start anything.

use crate::error::Failed;

/// How the table is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// For people.
    Table,
    /// One document.
    Json,
}

impl Format {
    /// The word for it on a command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Table => "table",
            Self::Json => "json",
        }
    }
}

/// What was asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// End after the table.
    pub once: bool,
    /// Nobody is ready but whoever says so at the page or the command line.
    pub by_hand: bool,
    /// Of the table.
    pub format: Format,
    /// Device seconds in a second here, 1 to 100.
    pub speed: u32,
    /// The programs are built and Ctrl-C is ignored: the second half of the command.
    pub staged: bool,
}

/// The word that asks for the second half; not for people.
pub const STAGED: &str = "--staged";

impl Options {
    /// The words that ask for the second half of the same.
    pub fn staged_words(&self) -> Vec<String> {
        let speed = self.speed.to_string();
        let mut words = vec![STAGED, "--format", self.format.word(), "--speed", &speed];
        words.extend(self.once.then_some("--once"));
        words.extend(self.by_hand.then_some("--by-hand"));
        words.into_iter().map(str::to_owned).collect()
    }

    /// Reads the words after `demo`.
    ///
    /// # Errors
    /// A word that is none of the demo's.
    pub fn parse(words: &[String]) -> Result<Self, Failed> {
        let mut options =
            Self { once: false, by_hand: false, format: Format::Table, speed: 20, staged: false };
        let mut rest = words.iter().map(String::as_str);
        while let Some(word) = rest.next() {
            match word {
                "--once" => options.once = true,
                "--by-hand" => options.by_hand = true,
                STAGED => options.staged = true,
                "--format" => options.format = format(rest.next())?,
                "--speed" => options.speed = speed(rest.next())?,
                other => {
                    let what = format!(
                        "expected --once, --by-hand, --format table|json or --speed N, found '{other}'"
                    );
                    return Err(Failed::usage(what));
                }
            }
        }
        Ok(options)
    }
}

fn format(word: Option<&str>) -> Result<Format, Failed> {
    match word {
        Some("table") => Ok(Format::Table),
        Some("json") => Ok(Format::Json),
        other => Err(Failed::usage(format!("--format: expected table or json, found {other:?}"))),
    }
}

fn speed(word: Option<&str>) -> Result<u32, Failed> {
    word.and_then(|w| w.parse().ok()).filter(|s| (1..=100).contains(s)).ok_or_else(|| {
        Failed::usage(format!("--speed: expected a whole number from 1 to 100, found {word:?}"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_read_and_strange_ones_refused() {
        let parse =
            |words: &[&str]| Options::parse(&words.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>());
        let asked = parse(&["--once", "--format", "json", "--speed", "10"]).unwrap();
        let expected = Options { once: true, by_hand: false, format: Format::Json, speed: 10, staged: false };
        assert_eq!(asked, expected);
        let by_hand = parse(&["--by-hand"]).unwrap();
        assert!(by_hand.by_hand && Options::parse(&by_hand.staged_words()).unwrap().by_hand);
        assert_eq!(Options::parse(&asked.staged_words()).unwrap(), Options { staged: true, ..asked });
        for wrong in [&["--twice"][..], &["--format"], &["--format", "xml"], &["--speed", "0"]] {
            assert_eq!(parse(wrong).unwrap_err().code, 2);
        }
    }
}
