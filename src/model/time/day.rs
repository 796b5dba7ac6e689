//! The day of a wall time.
//!
//! In UTC, so that it does not hang on where the computer thinks it stands. Reads no clock.

use jiff::civil::Date;
use jiff::tz::Offset;

/// The day in UTC of nanoseconds since 1970.
#[must_use]
pub fn day_utc(utc_ns: i64) -> Date {
    let moment = jiff::Timestamp::from_nanosecond(i128::from(utc_ns)).unwrap_or_default();
    Offset::UTC.to_datetime(moment).date()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn the_day_changes_at_midnight_utc() {
        assert_eq!(day_utc(1_767_225_600_000_000_000), date(2026, 1, 1));
        assert_eq!(day_utc(1_767_225_599_999_999_999), date(2025, 12, 31));
    }
}
