//! Questions at a terminal: one line each, a default in brackets, asked again until the answer can be used.
//!
//! Questions go to standard error and answers come from standard input, so that data stays alone on
//! standard output. The end of the input ends the work. What is asked is not known here.

use super::error::CliError;
use std::io::{BufRead, Write};
use tokio::sync::mpsc;

/// Answers of a person.
pub struct Asker {
    lines: mpsc::Receiver<String>,
}

impl Asker {
    /// Reads standard input from now on.
    #[must_use]
    pub fn new() -> Self {
        let (to, lines) = mpsc::channel(1);
        // A read of a terminal cannot be cut short: the thread ends with the process.
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                if to.blocking_send(line).is_err() {
                    return;
                }
            }
        });
        Self { lines }
    }

    /// Asks until `check` takes the answer; an empty one is the default, where there is one.
    ///
    /// # Errors
    /// The input has ended.
    pub async fn ask<T>(
        &mut self,
        question: &str,
        default: Option<&str>,
        check: impl Fn(&str) -> Result<T, String>,
    ) -> Result<T, CliError> {
        loop {
            match default {
                Some(default) => tell(&format!("{question} [{default}]: "))?,
                None => tell(&format!("{question}: "))?,
            }
            let typed = self.line().await?;
            let answer = match (typed.trim(), default) {
                ("", Some(default)) => default,
                (typed, _) => typed,
            };
            match check(answer) {
                Ok(value) => return Ok(value),
                Err(why) => tell(&format!("  {why}\n"))?,
            }
        }
    }

    /// Asks for yes or no.
    ///
    /// # Errors
    /// The input has ended.
    pub async fn yes(&mut self, question: &str, default: bool) -> Result<bool, CliError> {
        let shown = if default { "yes" } else { "no" };
        self.ask(question, Some(shown), |answer| match answer.to_ascii_lowercase().as_str() {
            "y" | "yes" => Ok(true),
            "n" | "no" => Ok(false),
            _ => Err("expected yes or no".to_owned()),
        })
        .await
    }

    /// Asks for a number.
    ///
    /// # Errors
    /// The input has ended.
    pub async fn number(&mut self, question: &str, default: Option<&str>) -> Result<f64, CliError> {
        self.ask(question, default, number).await
    }

    /// The next line; it can be raced against other work without losing any.
    ///
    /// # Errors
    /// The input has ended.
    pub async fn line(&mut self) -> Result<String, CliError> {
        self.lines.recv().await.ok_or_else(|| CliError::No {
            what: "the input has ended before all was answered".to_owned(),
            hint: Some("give what is missing as options: see --help".to_owned()),
        })
    }
}

impl Default for Asker {
    fn default() -> Self {
        Self::new()
    }
}

/// Reads a number with a decimal point.
///
/// # Errors
/// A sentence about what was found.
pub fn number(text: &str) -> Result<f64, String> {
    if text.contains(',') {
        return Err(format!("expected a number with a decimal point, found a comma in '{text}'"));
    }
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(format!("expected a number, found '{text}'")),
    }
}

/// Shows text at once, without a line end of its own.
///
/// # Errors
/// Standard error cannot be written.
pub fn tell(text: &str) -> Result<(), CliError> {
    let mut err = std::io::stderr().lock();
    err.write_all(text.as_bytes())?;
    err.flush()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_comma_is_told_and_not_guessed() {
        assert_eq!(number("2.5"), Ok(2.5));
        assert!(number("2,5").unwrap_err().contains("comma"));
        assert!(number("two").is_err());
        assert!(number("inf").is_err());
    }
}
