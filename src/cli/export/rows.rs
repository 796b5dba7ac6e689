//! From the lines of a streamed answer to rows: reads on only as fast as rows are written.
//!
//! An answer without its end is an error, and so is one whose end counts other rows than came. A signal ends
//! the work before anything gets a name.

use super::signals::Signals;
use crate::door::{Door, stream};
use crate::error::CliError;
use axum::body::{Body, Bytes};
use boltscribe_export::Line;
use boltscribe_export::stream::{Lines, TooLong};
use http_body_util::BodyExt;
use serde::de::DeserializeOwned;
use std::collections::VecDeque;

/// A streamed answer.
pub struct Answer<H, R> {
    request: String,
    body: Body,
    lines: Lines,
    head: Option<H>,
    ready: VecDeque<R>,
    rows: u64,
    ended: bool,
    signals: Signals,
}

impl<H: DeserializeOwned, R: DeserializeOwned> Answer<H, R> {
    /// Asks for `path` and reads the head.
    ///
    /// # Errors
    /// Nobody answers, a refusal, an answer of another form, a signal.
    pub async fn ask(door: &Door, path: &str) -> Result<(H, Self), CliError> {
        let mut signals = Signals::new()?;
        let body = tokio::select! {
            stopped = signals.any() => return Err(stopped),
            body = stream(door, path) => body?,
        };
        let mut answer = Self {
            request: format!("GET {path}"),
            body,
            lines: Lines::default(),
            head: None,
            ready: VecDeque::new(),
            rows: 0,
            ended: false,
            signals,
        };
        loop {
            answer.more().await?;
            if let Some(head) = answer.head.take() {
                return Ok((head, answer));
            }
        }
    }

    /// The next row; none: that was all.
    ///
    /// # Errors
    /// The answer breaks off, or a signal comes.
    pub async fn next(&mut self) -> Result<Option<R>, CliError> {
        while self.ready.is_empty() && !self.ended {
            self.more().await?;
        }
        Ok(self.ready.pop_front())
    }

    async fn more(&mut self) -> Result<(), CliError> {
        let bytes = take(&mut self.body, &mut self.signals, &self.request).await?;
        let Self { lines, head, ready, rows, ended, request, .. } = self;
        let done = lines.push(&bytes, |text| -> Result<(), Fault> {
            let line = serde_json::from_slice(text)
                .map_err(|error| other(request, "a head, a row or an end as JSON", error.to_string()))?;
            match line {
                Line::Head(found) => *head = Some(found),
                Line::Row(row) => {
                    *rows += 1;
                    ready.push_back(row);
                }
                Line::End { rows: told } if told == *rows => *ended = true,
                Line::End { rows: told } => {
                    return Err(other(request, "as many rows as told", format!("{rows} of {told}")).into());
                }
                Line::Failed { detail, hint } => {
                    return Err(CliError::Refused { status: 500, detail, hint }.into());
                }
            }
            Ok(())
        });
        done.map_err(|fault| match fault {
            Fault::Cli(error) => error,
            Fault::TooLong(error) => other(request, "lines of some length", error.to_string()),
        })
    }
}

fn other(request: &str, expected: &'static str, found: String) -> CliError {
    CliError::Answer { request: request.to_owned(), expected, found }
}

async fn take(body: &mut Body, signals: &mut Signals, request: &str) -> Result<Bytes, CliError> {
    loop {
        let frame = tokio::select! {
            biased;
            stopped = signals.any() => return Err(stopped),
            frame = body.frame() => frame,
        };
        match frame {
            None => return Err(other(request, "a last line that counts the rows", "none".into())),
            Some(Err(error)) => return Err(other(request, "a whole answer", error.to_string())),
            Some(Ok(frame)) => {
                if let Ok(bytes) = frame.into_data() {
                    return Ok(bytes);
                }
            }
        }
    }
}

enum Fault {
    Cli(CliError),
    TooLong(TooLong),
}

impl From<TooLong> for Fault {
    fn from(fault: TooLong) -> Self {
        Self::TooLong(fault)
    }
}

impl From<CliError> for Fault {
    fn from(error: CliError) -> Self {
        Self::Cli(error)
    }
}
