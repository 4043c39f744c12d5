//! Quiet hours: when a message may go, and where one goes that was planned for the night.
//!
//! The window is local wall time at the recipient. Its shape, `[from, until)`, is the safe reading of the hours of
//! 47 CFR 64.1200(c)(1): the closing minute itself is already quiet.

use super::wall;
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

/// Seconds after a person's own message in which an answer to it is not bound by the window.
///
/// Source of the five minutes: 47 CFR 64.1200(a)(12), for the message that confirms an opt-out.
pub const DIRECT_ANSWER_SECONDS: i64 = 5 * 60;

/// Days searched on either side; clock changes can swallow a day's whole window, and a zone may even skip a day.
const SEARCH_DAYS: i64 = 4;

/// The hours in which messages may go: `[from, until)` in local wall time, whole minutes.
///
/// When `until` is not later than `from` the window runs through midnight; when both are equal it is the whole day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The first permitted minute.
    pub from: Time,
    /// The first minute that is quiet again.
    pub until: Time,
}

impl Window {
    /// Whether a message may go at an instant, read on the recipient's clock.
    pub fn permitted(&self, zone: &TimeZone, at: Timestamp) -> bool {
        let clock = wall::local(zone, at).time();
        if self.from < self.until {
            self.from <= clock && clock < self.until
        } else {
            self.from <= clock || clock < self.until
        }
    }

    /// The first permitted instant at or after `at`: `at` itself when it is permitted.
    ///
    /// [`Timestamp::MAX`] when the calendar ends before one comes.
    pub fn next_permitted(&self, zone: &TimeZone, at: Timestamp) -> Timestamp {
        if self.permitted(zone, at) {
            return at;
        }
        // Time becomes permitted only when the clock reads the opening hour, or jumps past or back over it.
        borders(zone, at, self.from)
            .into_iter()
            .filter(|border| *border >= at && self.permitted(zone, *border))
            .min()
            .unwrap_or(Timestamp::MAX)
    }

    /// The latest permitted whole minute at or before `at`; after the closing hour that is the minute before it.
    ///
    /// [`Timestamp::MIN`] when the calendar begins after it.
    pub fn last_permitted_before(&self, zone: &TimeZone, at: Timestamp) -> Timestamp {
        let this_minute = minute_at_or_before(at);
        if self.permitted(zone, this_minute) {
            return this_minute;
        }
        // Time stops being permitted only when the clock reads the closing hour, or jumps past or back over it.
        borders(zone, at, self.until)
            .into_iter()
            .map(minute_before)
            .filter(|minute| *minute <= at && self.permitted(zone, *minute))
            .max()
            .unwrap_or(Timestamp::MIN)
    }

    /// When a message planned for `planned` goes, if at all: then, when that is permitted; else at the next permitted
    /// moment, when it comes before `useful_until`; else at the last permitted moment before `planned`, when that is
    /// not before `not_before`. Never after `useful_until`.
    pub fn place(
        &self,
        zone: &TimeZone,
        planned: Timestamp,
        useful_until: Timestamp,
        not_before: Option<Timestamp>,
    ) -> Option<Timestamp> {
        if planned > useful_until {
            return None;
        }
        let next = self.next_permitted(zone, planned);
        if next == planned || next < useful_until {
            return Some(next);
        }
        let last = self.last_permitted_before(zone, planned);
        let early_enough = last > Timestamp::MIN;
        let late_enough = not_before.is_none_or(|earliest| earliest <= last);
        (early_enough && late_enough).then_some(last)
    }
}

/// Whether a message sent at `sent` is a direct answer to one received at `received`, and so not bound by the window.
pub fn is_direct_answer(received: Timestamp, sent: Timestamp) -> bool {
    let passed = sent.duration_since(received);
    !passed.is_negative() && passed <= SignedDuration::from_secs(DIRECT_ANSWER_SECONDS)
}

/// Every instant near `at` at which the clock reads `hour` or is changed.
fn borders(zone: &TimeZone, at: Timestamp, hour: Time) -> Vec<Timestamp> {
    let reach = SignedDuration::from_hours(24 * SEARCH_DAYS);
    let start = at.checked_sub(reach).unwrap_or(Timestamp::MIN);
    let end = at.checked_add(reach).unwrap_or(Timestamp::MAX);
    let mut found: Vec<Timestamp> =
        zone.following(start).map(|change| change.timestamp()).take_while(|change| *change <= end).collect();
    let today = wall::local(zone, at).date();
    for days in -SEARCH_DAYS..=SEARCH_DAYS {
        found.extend(occurrences(zone, today.saturating_add(days.days()), hour));
    }
    found
}

/// The instants at which the clock reads a time of day: one, or two when the clock is put back over it; in a gap, a
/// reading on either side of it, which is harmless because every candidate is tested.
fn occurrences(zone: &TimeZone, date: Date, hour: Time) -> impl Iterator<Item = Timestamp> {
    let local = date.to_datetime(hour);
    let first = zone.to_ambiguous_timestamp(local).earlier();
    let second = zone.to_ambiguous_timestamp(local).later();
    first.into_iter().chain(second)
}

/// The whole minute at or before an instant.
fn minute_at_or_before(at: Timestamp) -> Timestamp {
    Timestamp::from_second(at.as_second().div_euclid(60) * 60)
        .ok()
        .filter(|minute| *minute <= at)
        .unwrap_or(Timestamp::MIN)
}

/// The last whole minute strictly before an instant.
fn minute_before(border: Timestamp) -> Timestamp {
    border.checked_sub(SignedDuration::from_nanos(1)).map_or(Timestamp::MIN, minute_at_or_before)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::time;
    use proptest::prelude::*;

    const DAY: Window = Window { from: time(8, 0, 0, 0), until: time(20, 30, 0, 0) };

    fn zone(name: &str) -> TimeZone {
        TimeZone::get(name).unwrap()
    }

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn the_closing_minute_is_quiet_and_the_one_before_it_is_not() {
        let utc = TimeZone::UTC;
        assert!(DAY.permitted(&utc, at("2026-12-05T20:29:59.999Z")));
        assert!(!DAY.permitted(&utc, at("2026-12-05T20:30:00Z")));
        assert_eq!(DAY.last_permitted_before(&utc, at("2026-12-05T23:10:30Z")), at("2026-12-05T20:29:00Z"));
        assert_eq!(DAY.last_permitted_before(&utc, at("2026-12-05T12:00:59Z")), at("2026-12-05T12:00:00Z"));
    }

    #[test]
    fn a_night_message_waits_while_waiting_is_of_use_and_else_goes_early() {
        let utc = TimeZone::UTC;
        let planned = at("2026-12-05T22:00:00Z");
        let place =
            |until: &str, not_before: Option<&str>| DAY.place(&utc, planned, at(until), not_before.map(at));
        let morning = Some(at("2026-12-06T08:00:00Z"));
        let evening = Some(at("2026-12-05T20:29:00Z"));
        assert_eq!(place("2026-12-06T08:00:01Z", None), morning);
        assert_eq!(place("2026-12-06T08:00:00Z", None), evening);
        assert_eq!(place("2026-12-06T07:00:00Z", Some("2026-12-05T20:29:00Z")), evening);
        assert_eq!(place("2026-12-06T07:00:00Z", Some("2026-12-05T20:29:01Z")), None);
        assert_eq!(place("2026-12-05T21:59:59Z", None), None);
    }

    #[test]
    fn a_window_may_open_inside_a_gap_and_run_through_midnight() {
        let gap = Window { from: time(2, 30, 0, 0), until: time(20, 0, 0, 0) };
        // New York, 2027-03-14: 02:00 to 03:00 does not occur, so the day opens at 03:00.
        assert_eq!(
            gap.next_permitted(&zone("America/New_York"), at("2027-03-14T06:00:00Z")),
            at("2027-03-14T07:00:00Z")
        );
        let night = Window { from: time(22, 0, 0, 0), until: time(2, 0, 0, 0) };
        assert!(night.permitted(&TimeZone::UTC, at("2026-12-05T01:59:00Z")));
        assert!(!night.permitted(&TimeZone::UTC, at("2026-12-05T02:00:00Z")));
        let always = Window { from: time(8, 0, 0, 0), until: time(8, 0, 0, 0) };
        assert!(always.permitted(&TimeZone::UTC, at("2026-12-05T03:00:00Z")));
    }

    #[test]
    fn a_clock_put_back_over_the_opening_hour_closes_the_window_again() {
        // New York, 2026-11-01: 01:00 to 02:00 occurs twice; the window opens at 01:30 both times.
        let window = Window { from: time(1, 30, 0, 0), until: time(20, 0, 0, 0) };
        let new_york = zone("America/New_York");
        assert_eq!(window.next_permitted(&new_york, at("2026-11-01T05:00:00Z")), at("2026-11-01T05:30:00Z"));
        assert_eq!(window.next_permitted(&new_york, at("2026-11-01T06:10:00Z")), at("2026-11-01T06:30:00Z"));
        assert_eq!(
            window.last_permitted_before(&new_york, at("2026-11-01T06:10:00Z")),
            at("2026-11-01T05:59:00Z")
        );
    }

    #[test]
    fn the_ends_of_time_give_an_answer() {
        let utc = TimeZone::UTC;
        assert_eq!(DAY.next_permitted(&utc, Timestamp::MAX), Timestamp::MAX);
        assert_eq!(DAY.last_permitted_before(&utc, Timestamp::MIN), Timestamp::MIN);
        assert_eq!(DAY.place(&utc, Timestamp::MIN, Timestamp::MIN, None), None);
    }

    /// Checks the three functions at one instant against a walk, minute by minute, over the days around it.
    fn check(window: Window, zone: &TimeZone, moment: Timestamp) {
        let minute = SignedDuration::from_mins(1);
        let next = window.next_permitted(zone, moment);
        assert!(window.permitted(zone, next) && next >= moment);
        let mut walk = moment;
        while walk < next {
            assert!(!window.permitted(zone, walk), "{walk} before {next}");
            walk += minute;
        }
        let last = window.last_permitted_before(zone, moment);
        assert!(window.permitted(zone, last) && last <= moment);
        let mut walk = last + minute;
        while walk <= moment {
            assert!(!window.permitted(zone, walk), "{walk} after {last}");
            walk += minute;
        }
        for hours in [0, 1, 7, 13, 40] {
            let useful_until = moment + SignedDuration::from_hours(hours);
            let not_before = moment - SignedDuration::from_hours(hours);
            if let Some(placed) = window.place(zone, moment, useful_until, Some(not_before)) {
                assert!(window.permitted(zone, placed));
                assert!(not_before <= placed && placed <= useful_until);
            } else {
                assert!(next >= useful_until && last < not_before);
            }
        }
    }

    #[test]
    fn every_clock_change_of_every_zone_until_2030() {
        let windows = [
            DAY,
            Window { from: time(0, 30, 0, 0), until: time(23, 45, 0, 0) },
            Window { from: time(1, 30, 0, 0), until: time(2, 30, 0, 0) },
            Window { from: time(21, 0, 0, 0), until: time(2, 15, 0, 0) },
        ];
        let (start, end) = (at("2026-01-01T00:00:00Z"), at("2031-01-01T00:00:00Z"));
        let mut seen = std::collections::BTreeSet::new();
        let mut changes = 0;
        for name in jiff::tz::db().available() {
            let zone = zone(name.as_str());
            let list: Vec<i64> = zone
                .following(start)
                .map(|change| change.timestamp())
                .take_while(|change| *change < end)
                .map(Timestamp::as_second)
                .collect();
            changes += list.len();
            for second in list {
                let change = Timestamp::from_second(second).unwrap();
                let before = change - SignedDuration::from_secs(1);
                // Zones that share the change and both offsets share every answer near it.
                if !seen.insert((second, zone.to_offset(before), zone.to_offset(change))) {
                    continue;
                }
                for window in windows {
                    for minutes in [-1500, -600, -90, -61, -1, 0, 1, 29, 59, 60, 400, 900] {
                        check(window, &zone, change + SignedDuration::from_mins(minutes));
                    }
                }
            }
        }
        assert!(changes > 1000, "only {changes} clock changes found");
    }

    proptest! {
        #[test]
        fn random_zones_instants_and_windows(
            zone_index in 0_usize..600,
            second in 1_767_225_600_i64..1_924_992_000,
            from in 0_i8..24, from_minute in 0_i8..60,
            until in 0_i8..24, until_minute in 0_i8..60,
        ) {
            let names: Vec<_> = jiff::tz::db().available().collect();
            let zone = zone(names[zone_index % names.len()].as_str());
            let window = Window {
                from: time(from, from_minute, 0, 0),
                until: time(until, until_minute, 0, 0),
            };
            let moment = Timestamp::from_second(second).unwrap();
            check(window, &zone, moment);
        }
    }
}
