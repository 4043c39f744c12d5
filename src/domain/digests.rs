//! When a digest goes, and whether there is anything to say: pure functions of a rule, a zone and what was said last.

use super::cron_rule::CronRule;
use super::quiet::Window;
use super::wall;
use jiff::civil::Time;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use std::collections::HashMap;

/// Days that are looked back over: a moment outside permitted hours waits for the next morning, never for longer.
const BACK_DAYS: i64 = 2;
/// Moments of a rule looked at for the next one that is still to come, at most.
const LOOKED_AT: usize = 10_000;

/// One moment of a rule at which a digest goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct DigestMoment {
    /// The moment the rule says: the digest's name, whenever it really leaves.
    pub of: Timestamp,
    /// When it leaves: that moment, or the next of permitted hours.
    pub due: Timestamp,
    /// The end of permitted hours of that local day; a digest that has not left by then is dropped.
    pub until: Timestamp,
}

/// The one moment for which a digest should leave now: the latest that is due and not over, if it is after the last one
/// considered. What was missed before it is never made up for; one considered for a moment still to come was so by a clock
/// that has been set right since.
pub fn moment(
    rule: &CronRule,
    zone: &TimeZone,
    window: Window,
    considered: Option<Timestamp>,
    now: Timestamp,
) -> Option<DigestMoment> {
    let today = wall::local(zone, now);
    // A day on: where the clock was put back, the hour on it may be earlier than what it showed when a moment passed.
    let times = rule.instants(zone, today.saturating_sub(BACK_DAYS.days()), today.saturating_add(1.day()));
    let open = times.into_iter().map(|of| placed(zone, window, of)).filter(|m| m.due <= now && now < m.until);
    open.max().filter(|moment| considered.is_none_or(|last| moment.of > last || last > now))
}

/// When a digest by this rule may next leave, after an instant.
pub fn next(rule: &CronRule, zone: &TimeZone, window: Window, now: Timestamp) -> Option<Timestamp> {
    let from = wall::local(zone, now).saturating_sub(BACK_DAYS.days());
    let times = rule.after(from).take(LOOKED_AT).map(|at| wall::instant(zone, at));
    times.map(|of| placed(zone, window, of).due).find(|due| *due > now)
}

/// What is sent once at a moment, such as a list to greet by: from the first permitted instant to the end of that day.
pub fn placed(zone: &TimeZone, window: Window, of: Timestamp) -> DigestMoment {
    let due = window.next_permitted(zone, of);
    let day = wall::local(zone, due).date();
    let closes = wall::instant(zone, day.to_datetime(window.until));
    let midnight = day.saturating_add(1.day()).to_datetime(Time::midnight());
    DigestMoment { of, due, until: if closes > due { closes } else { wall::instant(zone, midnight) } }
}

/// One line of what a digest saw, by refs and plain words: an event, what of it, and how that stood.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Seen {
    /// Event's ref, or `-` for the season.
    pub event: String,
    /// Child's ref, or a word for what was counted.
    pub what: String,
    /// How it stood.
    pub how: String,
}

/// What a digest saw as it is stored: a line each, three words a line.
pub fn form(seen: &[Seen]) -> String {
    seen.iter().map(|s| format!("{} {} {}\n", s.event, s.what, s.how)).collect()
}

/// What is otherwise than the last digest saw it. What was not looked at then, or is over now, is no news.
pub fn news<'a>(before: &'a str, seen: &'a [Seen]) -> Vec<(&'a Seen, &'a str)> {
    let words = before.lines().filter_map(|line| {
        let mut words = line.split(' ');
        Some(((words.next()?, words.next()?), words.next()?))
    });
    let before: HashMap<(&str, &str), &str> = words.collect();
    seen.iter()
        .filter_map(|now| {
            let was = *before.get(&(now.event.as_str(), now.what.as_str()))?;
            (was != now.how).then_some((now, was))
        })
        .collect()
}

/// Whether there is something to say: somebody waits for a person, or something is otherwise than when it was last said.
pub fn worth_saying(waiting: usize, before: Option<&str>, seen: &[Seen]) -> bool {
    waiting > 0 || before.is_some_and(|before| !news(before, seen).is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::{date, time};
    use proptest::prelude::*;

    const HOURS: Window = Window { from: Time::constant(8, 0, 0, 0), until: Time::constant(20, 30, 0, 0) };

    fn zone(name: &str) -> TimeZone {
        TimeZone::get(name).unwrap()
    }

    /// An instant of a zone's wall clock.
    fn wall_at(zone: &TimeZone, local: &str) -> Timestamp {
        wall::instant(zone, local.parse().unwrap())
    }

    #[test]
    fn only_the_latest_of_the_day_goes_and_only_once() {
        let london = zone("Europe/London");
        let check = |rule: &str, considered: &str, now: &str, expect: &str| {
            let rule = CronRule::read(rule).unwrap();
            let last = (!considered.is_empty()).then(|| wall_at(&london, considered));
            let found = moment(&rule, &london, HOURS, last, wall_at(&london, now));
            let found = found.map_or(String::new(), |m| wall::local(&london, m.of).to_string());
            assert_eq!(found, expect, "{now} after {considered}");
        };
        check("daily at 18:00", "", "2027-05-04T17:59:59", "");
        check("daily at 18:00", "", "2027-05-04T18:00", "2027-05-04T18:00:00");
        check("daily at 18:00", "2027-05-03T18:00", "2027-05-04T18:00", "2027-05-04T18:00:00");
        check("daily at 18:00", "2027-05-04T18:00", "2027-05-04T18:00", "");
        // Down over the moment: made up for on the same day and within permitted hours, later not at all.
        check("daily at 18:00", "2027-05-01T18:00", "2027-05-04T20:29", "2027-05-04T18:00:00");
        check("daily at 18:00", "2027-05-01T18:00", "2027-05-04T20:30", "");
        check("daily at 18:00", "2027-05-01T18:00", "2027-05-05T09:00", "");
        // Of two moments of one day the later is enough.
        check("0 9,17 * * *", "2027-05-03T17:00", "2027-05-04T19:00", "2027-05-04T17:00:00");
        check("0 9,17 * * *", "2027-05-04T09:00", "2027-05-04T16:59", "");
        // Mondays and Thursdays: 4 May 2027 is a Tuesday.
        check("Mondays and Thursdays at 18:00", "", "2027-05-04T19:00", "");
        check("Mondays and Thursdays at 18:00", "", "2027-05-06T19:00", "2027-05-06T18:00:00");
        // Outside permitted hours it waits for the morning.
        check("daily at 22:00", "", "2027-05-04T22:00", "");
        check("daily at 22:00", "", "2027-05-05T07:59", "");
        check("daily at 22:00", "", "2027-05-05T08:00", "2027-05-04T22:00:00");
        check("daily at 22:00", "2027-05-04T22:00", "2027-05-05T12:00", "");
        // A clock that was a year ahead, and was set right.
        check("daily at 18:00", "2028-05-04T18:00", "2027-05-04T18:30", "2027-05-04T18:00:00");
        check("daily at 6:15", "", "2027-05-04T08:00", "2027-05-04T06:15:00");
    }

    /// The clocks change on 28 March and 31 October 2027 in London, on 14 March and 7 November in New York (the zone data of
    /// the system, as Python's zoneinfo reads them). The crate `cron` left alone drops or doubles such days:
    /// `tests/vectors/cron.json`, `crate_dst`.
    #[test]
    fn a_day_has_one_digest_through_every_clock_change() {
        let all_day = Window { from: Time::midnight(), until: Time::constant(23, 59, 0, 0) };
        for (name, first, days) in [
            ("Europe/London", date(2027, 3, 26), 5),
            ("Europe/London", date(2027, 10, 29), 5),
            ("America/New_York", date(2027, 3, 12), 5),
            ("America/New_York", date(2027, 11, 5), 5),
        ] {
            let zone = zone(name);
            for rule in ["daily at 18:00", "daily at 1:30", "daily at 2:30", "daily at 8:00"] {
                let rule = CronRule::read(rule).unwrap();
                let mut now = wall::instant(&zone, first.to_datetime(Time::midnight()));
                let end =
                    wall::instant(&zone, first.saturating_add(days.days()).to_datetime(Time::midnight()));
                let (mut last, mut dates) = (None, Vec::new());
                while now < end {
                    if let Some(found) = moment(&rule, &zone, all_day, last, now) {
                        last = Some(found.of);
                        dates.push(wall::local(&zone, now).date());
                    }
                    now += jiff::SignedDuration::from_mins(10);
                }
                let wanted: Vec<_> = (0..days).map(|n: i64| first.saturating_add(n.days())).collect();
                assert_eq!(dates, wanted, "{name} {}", rule.words());
            }
        }
    }

    /// RFC 5545 section 3.3.5: an hour that does not occur is read with the offset before the gap, one that occurs twice
    /// means the first.
    #[test]
    fn hours_that_a_clock_change_makes_twice_or_not_at_all_have_one_instant() {
        let all_day = Window { from: Time::midnight(), until: Time::constant(23, 59, 0, 0) };
        for (name, rule, now, of) in [
            ("America/New_York", "daily at 2:30", "2027-03-14T12:00:00Z", "2027-03-14T07:30:00Z"),
            ("America/New_York", "daily at 1:30", "2027-11-07T12:00:00Z", "2027-11-07T05:30:00Z"),
            ("Europe/London", "daily at 1:30", "2027-03-28T12:00:00Z", "2027-03-28T01:30:00Z"),
            ("Europe/London", "daily at 1:30", "2027-10-31T12:00:00Z", "2027-10-31T00:30:00Z"),
        ] {
            let rule = CronRule::read(rule).unwrap();
            let found = moment(&rule, &zone(name), all_day, None, now.parse().unwrap()).unwrap();
            assert_eq!(found.of.to_string(), of, "{name}");
        }
    }

    #[test]
    fn the_next_moment_is_known_beforehand() {
        let london = zone("Europe/London");
        let check = |rule: &str, now: &str, expect: &str| {
            let rule = CronRule::read(rule).unwrap();
            let found = next(&rule, &london, HOURS, wall_at(&london, now)).unwrap();
            assert_eq!(wall::local(&london, found).to_string(), expect, "{now}");
        };
        check("daily at 18:00", "2027-05-04T17:59", "2027-05-04T18:00:00");
        check("daily at 18:00", "2027-05-04T18:00", "2027-05-05T18:00:00");
        check("daily at 22:00", "2027-05-04T23:00", "2027-05-05T08:00:00");
        check("Mondays at 18:00", "2027-05-04T12:00", "2027-05-10T18:00:00");
        // The clocks go forward on 28 March 2027.
        check("daily at 18:00", "2027-03-27T18:00", "2027-03-28T18:00:00");
        let never = CronRule::read("0 9 30 2 *").unwrap();
        assert_eq!(next(&never, &london, HOURS, wall_at(&london, "2027-05-04T12:00")), None);
    }

    fn seen(lines: &[[&str; 3]]) -> Vec<Seen> {
        let line = |[event, what, how]: &[&str; 3]| Seen {
            event: (*event).to_owned(),
            what: (*what).to_owned(),
            how: (*how).to_owned(),
        };
        lines.iter().map(line).collect()
    }

    #[test]
    fn there_is_something_to_say_when_somebody_waits_or_something_has_moved() {
        let heard = [["E001", "C001", "heard"], ["E001", "C002", "heard"]];
        let open = [["E001", "C001", "heard"], ["E001", "C002", "waiting"]];
        let check = |before: Option<&[[&str; 3]]>, now: &[[&str; 3]], waiting: usize, expect: bool| {
            let before = before.map(|lines| form(&seen(lines)));
            assert_eq!(worth_saying(waiting, before.as_deref(), &seen(now)), expect, "{before:?} {now:?}");
        };
        check(None, &open, 1, true);
        check(None, &heard, 0, false);
        check(Some(&open), &open, 1, true);
        check(Some(&open), &heard, 0, true);
        check(Some(&heard), &heard, 0, false);
        // An event that is over, or is asked about for the first time, is no news by itself.
        check(Some(&open), &[], 0, false);
        check(Some(&heard), &[["E001", "C001", "heard"], ["E002", "C001", "heard"]], 0, false);
    }

    proptest! {
        /// A daemon that looks at any moments whatever sends at most one digest a local day, and one on every day on which
        /// it looked after the rule's time and within permitted hours.
        #[test]
        fn however_often_one_looks_a_day_has_one(
            looks in proptest::collection::btree_set(0_i64..(14 * 24 * 12), 1..200),
            start in 0_i64..700,
            hour in 8_i8..20,
        ) {
            let zone = zone("America/New_York");
            let rule = CronRule::read(&format!("0 {hour} * * *")).unwrap();
            let begins = wall::instant(&zone, date(2026, 1, 1).saturating_add(start.days()).to_datetime(Time::midnight()));
            let (mut last, mut sent) = (None, Vec::new());
            let mut wanted = std::collections::BTreeSet::new();
            for look in looks {
                let now = begins + jiff::SignedDuration::from_mins(look * 5);
                let local = wall::local(&zone, now);
                if (time(hour, 0, 0, 0)..HOURS.until).contains(&local.time()) {
                    wanted.insert(local.date());
                }
                if let Some(found) = moment(&rule, &zone, HOURS, last, now) {
                    last = Some(found.of);
                    sent.push(local.date());
                }
            }
            prop_assert_eq!(sent, wanted.into_iter().collect::<Vec<_>>());
        }
    }
}
