//! ASCII boards: one number a line, or a tick and a number, by a pattern with named fields.
//!
//! Line ends are LF, CR or both. What does not fit the pattern (a boot banner, half a line after the
//! port was opened) is thrown away and counted by reason.

use super::account::Account;
use super::item::{Frame, Item};
use super::pattern::{Pattern, PatternError, scaled};
use super::settings::Lines as Settings;

/// Longest line that is looked at, bytes.
const LINE_MAX: usize = 256;

/// Parses lines.
pub struct Lines {
    pattern: Pattern,
    decimals: u8,
    line: Vec<u8>,
    overlong: usize,
    account: Account,
    resync: bool,
}

impl Lines {
    /// Checks the settings.
    ///
    /// # Errors
    /// A pattern that cannot be used; ticks without a rate.
    pub fn new(settings: &Settings) -> Result<Self, PatternError> {
        let pattern = Pattern::parse(&settings.pattern)?;
        let tick_hz = settings.tick_hz.filter(|hz| *hz > 0.0 && hz.is_finite());
        if pattern.has_tick() && tick_hz.is_none() {
            return Err(PatternError::TickRate {
                pattern: settings.pattern.clone(),
                found: settings.tick_hz,
            });
        }
        Ok(Self {
            pattern,
            decimals: settings.decimals,
            line: Vec::with_capacity(LINE_MAX),
            overlong: 0,
            account: Account::default(),
            resync: false,
        })
    }

    /// The account of bytes.
    #[must_use]
    pub fn account(&self) -> &Account {
        &self.account
    }

    /// The port was (re)opened: what comes first may be the rest of a line.
    pub fn link_up(&mut self) {
        self.account.discard("resync", self.line.len() + self.overlong);
        self.line.clear();
        self.overlong = 0;
        self.resync = true;
    }

    /// Takes bytes, hands out what they hold.
    pub fn push(&mut self, bytes: &[u8], sink: &mut dyn FnMut(Item<'_>)) {
        self.account.bytes_in += bytes.len() as u64;
        let mut rest = bytes;
        while let Some(end) = memchr::memchr2(b'\n', b'\r', rest) {
            self.keep(&rest[..end]);
            self.finish(sink);
            rest = &rest[end + 1..];
        }
        self.keep(rest);
    }

    fn keep(&mut self, bytes: &[u8]) {
        let room = LINE_MAX - self.line.len();
        let (kept, over) = bytes.split_at(bytes.len().min(room));
        self.line.extend_from_slice(kept);
        self.overlong += over.len();
    }

    /// A line end has come.
    fn finish(&mut self, sink: &mut dyn FnMut(Item<'_>)) {
        let length = self.line.len() + self.overlong + 1;
        let resync = std::mem::take(&mut self.resync);
        let parsed = if self.overlong > 0 { Err("overlong") } else { self.parse() };
        let empty = self.line.is_empty() && self.overlong == 0;
        match parsed {
            // The second half of CR LF, or an empty line.
            _ if empty => self.account.parsed += 1,
            // The first line after opening may have lost its front and still look like a number.
            _ if resync => self.account.discard("resync", length),
            Ok(frame) => {
                self.account.good(length);
                sink(Item::Frame(frame));
            }
            Err(reason) => {
                self.account.discard(reason, length);
                let text: String = String::from_utf8_lossy(&self.line).escape_debug().take(80).collect();
                sink(Item::Bad { reason, detail: format!("cannot read the line '{text}': {reason}") });
            }
        }
        self.line.clear();
        self.overlong = 0;
    }

    fn parse(&self) -> Result<Frame<'static>, &'static str> {
        let line = std::str::from_utf8(&self.line).map_err(|_| "not-text")?;
        let fields = self.pattern.fields(line).ok_or("no-match")?;
        let count = scaled(fields.value, self.decimals)?;
        let tick = match fields.tick {
            Some(text) => Some(text.parse::<u64>().map_err(|_| "bad-tick")?),
            None => None,
        };
        Ok(Frame::Reading { tick, count })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(settings: &Settings, text: &str) -> (Vec<i32>, Account) {
        let mut lines = Lines::new(settings).unwrap();
        let mut counts = Vec::new();
        lines.push(text.as_bytes(), &mut |item| {
            if let Item::Frame(Frame::Reading { count, .. }) = item {
                counts.push(count);
            }
        });
        (counts, lines.account().clone())
    }

    #[test]
    fn a_banner_is_thrown_away_and_the_account_closes() {
        let text = "bridge reader v1.2\r\nready\r\n8421\r\n-12\n\r\n77";
        let (counts, account) = counts(&Settings::default(), text);
        assert_eq!(counts, [8421, -12]);
        assert_eq!(account.pending(), 2);
        assert_eq!(account.discarded["no-match"], 25);
        assert_eq!(account.bytes_in, text.len() as u64);
    }

    #[test]
    fn the_first_half_line_after_opening_is_not_taken_for_a_number() {
        let mut lines = Lines::new(&Settings::default()).unwrap();
        lines.link_up();
        let mut seen = 0;
        lines.push(b"21\r\n8422\r\n", &mut |item| seen += i32::from(matches!(item, Item::Frame(_))));
        assert_eq!(seen, 1);
        assert_eq!(lines.account().discarded["resync"], 3);
    }

    #[test]
    fn endless_text_without_a_line_end_stays_bounded() {
        let mut lines = Lines::new(&Settings::default()).unwrap();
        for _ in 0..1000 {
            lines.push(&[b'7'; 1000], &mut |_| {});
        }
        assert!(lines.line.capacity() <= 2 * LINE_MAX);
        assert_eq!(lines.account().pending(), 1_000_000);
    }
}
