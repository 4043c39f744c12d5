//! Wall time and instants: where the season's local hours become points on the one time line.
//!
//! The rule for hours that a clock change makes twice or not at all is RFC 5545 section 3.3.5: an hour that occurs
//! twice means the first, one that does not occur is read with the offset in force before the gap.

use jiff::civil::{DateTime, Time};
use jiff::tz::{Offset, TimeZone, TimeZoneDatabase};
use jiff::{SignedDuration, Timestamp, ToSpan};

/// The instant of a local wall time; beyond the years a [`Timestamp`] can hold, the nearest one it can.
///
/// Source of the rule for gaps and overlaps: RFC 5545 section 3.3.5.
pub fn instant(zone: &TimeZone, local: DateTime) -> Timestamp {
    match zone.to_timestamp(local) {
        Ok(at) => at,
        Err(_) if local.year() < 0 => Timestamp::MIN,
        Err(_) => Timestamp::MAX,
    }
}

/// What a clock on the wall of `zone` shows at an instant.
pub fn local(zone: &TimeZone, at: Timestamp) -> DateTime {
    zone.to_datetime(at)
}

/// The instant of the wall time `at`, `days` days before the local date of `anchor`; a negative count lies after it.
///
/// Days are nominal (RFC 5545 section 3.3.6): the evening before at 18:30 stays at 18:30 through a clock change.
pub fn days_before(zone: &TimeZone, anchor: Timestamp, days: i32, at: Time) -> Timestamp {
    let date = local(zone, anchor).date();
    instant(zone, date.saturating_sub(days.days()).to_datetime(at))
}

/// The instant exactly `minutes` minutes before `anchor` (RFC 5545 section 3.3.6: hours and minutes are exact).
pub fn minutes_before(anchor: Timestamp, minutes: i64) -> Timestamp {
    let seconds = minutes.saturating_mul(60);
    match anchor.checked_sub(SignedDuration::from_secs(seconds)) {
        Ok(at) => at,
        Err(_) if minutes > 0 => Timestamp::MIN,
        Err(_) => Timestamp::MAX,
    }
}

/// One zone whose law changed so late that old zone data give the wrong hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Canary {
    /// IANA name of the zone.
    pub zone: &'static str,
    /// Offset from UTC, in hours, that IANA release 2026f gives at [`CANARY_INSTANT`]; 2025b is an hour off.
    pub hours: i8,
}

/// 2026-12-05T12:00:00Z in seconds since the epoch: the moment at which the canaries are looked at.
pub const CANARY_INSTANT: i64 = 1_796_472_000;

/// The zones to look at. Source: IANA time zone data release 2026f against release 2025b.
pub const CANARIES: [Canary; 5] = [
    Canary { zone: "America/Vancouver", hours: -7 },
    Canary { zone: "America/Edmonton", hours: -6 },
    Canary { zone: "America/Winnipeg", hours: -5 },
    Canary { zone: "America/Havana", hours: -4 },
    Canary { zone: "Africa/Casablanca", hours: 0 },
];

/// The canaries that `database` gets wrong or does not know; empty when its zone data are new enough.
pub fn canaries(database: &TimeZoneDatabase) -> Vec<Canary> {
    let Ok(moment) = Timestamp::from_second(CANARY_INSTANT) else {
        return CANARIES.to_vec();
    };
    let right = |canary: &Canary| {
        database.get(canary.zone).is_ok_and(|zone| zone.to_offset(moment) == Offset::constant(canary.hours))
    };
    CANARIES.iter().copied().filter(|c| !right(c)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::{date, time};

    #[test]
    fn the_bundled_zone_data_are_new_enough() {
        assert_eq!(canaries(jiff::tz::db()), vec![]);
    }

    #[test]
    fn an_empty_database_fails_every_canary() {
        assert_eq!(canaries(&TimeZoneDatabase::none()).len(), CANARIES.len());
    }

    #[test]
    fn the_evening_before_keeps_its_hour_through_a_clock_change() {
        let zone = TimeZone::get("Europe/London").unwrap();
        let call = instant(&zone, date(2026, 10, 25).at(10, 0, 0, 0));
        let evening = days_before(&zone, call, 1, time(18, 30, 0, 0));
        assert_eq!(local(&zone, evening), date(2026, 10, 24).at(18, 30, 0, 0));
        // 15 h 30 min by the clock, and the hour that came twice.
        assert_eq!(evening, minutes_before(call, 16 * 60 + 30));
    }

    #[test]
    fn the_ends_of_time_are_held_not_wrapped() {
        let zone = TimeZone::fixed(Offset::constant(-12));
        assert_eq!(instant(&zone, DateTime::MAX), Timestamp::MAX);
        let zone = TimeZone::fixed(Offset::constant(12));
        assert_eq!(instant(&zone, DateTime::MIN), Timestamp::MIN);
        assert_eq!(minutes_before(Timestamp::MIN, 1), Timestamp::MIN);
        assert_eq!(minutes_before(Timestamp::MAX, -1), Timestamp::MAX);
        assert_eq!(minutes_before(Timestamp::MAX, i64::MAX), Timestamp::MIN);
    }
}
