//! The day of a wall time.
//!
//! In UTC for what must not hang on where the computer thinks it stands; in a given time zone for what people call
//! the same day. Reads no clock and no zone of the system.

use jiff::civil::Date;
use jiff::tz::{Offset, TimeZone};

fn moment(utc_ns: i64) -> jiff::Timestamp {
    jiff::Timestamp::from_nanosecond(i128::from(utc_ns)).unwrap_or_default()
}

/// The day in UTC of nanoseconds since 1970.
#[must_use]
pub fn day_utc(utc_ns: i64) -> Date {
    Offset::UTC.to_datetime(moment(utc_ns)).date()
}

/// The day in a time zone of nanoseconds since 1970.
#[must_use]
pub fn day_in(utc_ns: i64, zone: &TimeZone) -> Date {
    zone.to_datetime(moment(utc_ns)).date()
}

/// When a day begins in a time zone and when the next one does, nanoseconds since 1970; none outside what 64 bits hold.
#[must_use]
pub fn bounds_of_day(day: Date, zone: &TimeZone) -> Option<(i64, i64)> {
    let begins = |day: Date| {
        let start = day.to_zoned_datetime(zone.clone()).ok()?.timestamp();
        i64::try_from(start.as_nanosecond()).ok()
    };
    Some((begins(day)?, begins(day.tomorrow().ok()?)?))
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

    #[test]
    fn an_afternoon_is_one_day_where_people_are() {
        // 2026-01-01, 16:00 and 16:30 eight hours west of Greenwich: midnight in UTC lies between.
        let west = TimeZone::fixed(Offset::constant(-8));
        let (before, after) = (1_767_311_999_000_000_000, 1_767_313_800_000_000_000);
        assert_ne!(day_utc(before), day_utc(after));
        assert_eq!((day_in(before, &west), day_in(after, &west)), (date(2026, 1, 1), date(2026, 1, 1)));
        let (from, to) = bounds_of_day(date(2026, 1, 1), &west).unwrap();
        assert_eq!((from, to - from), (1_767_254_400_000_000_000, 86_400_000_000_000));
    }
}
