//! A time as typed: RFC 3339, or a date with or without a time of day, which is UTC then.
//!
//! Must not know what it is for.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

/// Reads one; gives it as the API wants it.
///
/// # Errors
/// What was expected, in words.
pub fn time(text: &str) -> Result<Timestamp, String> {
    let refuse =
        || format!("expected a time such as 2026-01-31T13:00:00Z, or 2026-01-31 13:00 (UTC), found '{text}'");
    if let Ok(stamp) = text.parse::<Timestamp>() {
        return Ok(stamp);
    }
    let civil = text
        .parse::<DateTime>()
        .ok()
        .or_else(|| text.parse::<Date>().ok().map(|date| date.to_datetime(jiff::civil::Time::midnight())));
    let zoned = civil.ok_or_else(refuse)?.to_zoned_datetime(TimeZone::UTC).map_err(|_| refuse())?;
    Ok(zoned.timestamp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_without_an_offset_is_utc() {
        let expected = time("2026-01-31T13:00:00Z").unwrap();
        for text in ["2026-01-31T14:00:00+01:00", "2026-01-31T13:00", "2026-01-31 13:00:00"] {
            assert_eq!(time(text).unwrap(), expected, "{text}");
        }
        assert_eq!(time("2026-01-31").unwrap(), time("2026-01-31T00:00:00Z").unwrap());
        for text in ["", "yesterday", "13:00", "31.01.2026", "2026-02-30"] {
            assert!(time(text).unwrap_err().contains("expected a time"), "{text}");
        }
    }
}
