//! What an answer of the server means for the rows that were sent.
//!
//! Status codes of RFC 9110. Pure; must not know how requests are made.

/// What is to be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// 2xx: the server has it.
    Taken,
    /// 413: too much at once.
    TooLarge(String),
    /// 400, 422: something in it is wrong.
    Refused(String),
    /// 401, 403, 404 and everything else that waiting does not mend: a person has to look.
    Denied(String),
    /// 429, 503: the server asks for time.
    Busy(String),
    /// 408, other 5xx, no answer, half an answer, garbage: try again.
    Failed(String),
}

/// Longest text of a server that is passed on, characters.
const WORDS_CHARS_MAX: usize = 300;

/// Sorts an answer by its status; `text` is what the server says about it.
#[must_use]
pub fn sorted(status: u16, text: &str) -> Answer {
    let words = if text.trim().is_empty() {
        format!("the server answered {status}")
    } else {
        format!("the server answered {status}: {}", printable(text))
    };
    match status {
        200..=299 => Answer::Taken,
        413 => Answer::TooLarge(words),
        400 | 422 => Answer::Refused(words),
        429 | 503 => Answer::Busy(words),
        408 | 500..=599 => Answer::Failed(words),
        _ => Answer::Denied(words),
    }
}

/// Text of others, shortened, without control characters: it is shown to people and kept.
#[must_use]
pub fn printable(text: &str) -> String {
    text.trim().chars().take(WORDS_CHARS_MAX).map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_status_has_its_meaning() {
        let word = |status| match sorted(status, "") {
            Answer::Taken => "taken",
            Answer::TooLarge(_) => "halve",
            Answer::Refused(_) => "bisect",
            Answer::Denied(_) => "alarm",
            Answer::Busy(_) => "wait",
            Answer::Failed(_) => "again",
        };
        for (meaning, all) in [
            ("taken", &[200, 201, 202, 204, 206][..]),
            ("halve", &[413]),
            ("bisect", &[400, 422]),
            (
                "alarm",
                &[301, 302, 307, 308, 304, 401, 402, 403, 404, 405, 409, 410, 415, 418, 431, 451, 100, 999],
            ),
            ("wait", &[429, 503]),
            ("again", &[408, 500, 501, 502, 504, 507, 599]),
        ] {
            for status in all {
                assert_eq!(word(*status), meaning, "{status}");
            }
        }
    }

    #[test]
    fn a_server_cannot_paint_the_terminal_or_fill_the_store() {
        let Answer::Refused(words) = sorted(400, &format!("\x1b[31mbad\nline{}", "x".repeat(5000))) else {
            panic!("expected a refusal");
        };
        assert!(!words.chars().any(char::is_control) && words.len() < 400, "{words}");
    }
}
