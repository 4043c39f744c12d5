//! When to ring: in the evening, when people are at home, and never in the season's quiet hours unless nothing else is left.

use crate::domain::quiet::Window;
use crate::domain::record::{CallEnd, Rung};
use crate::domain::wall;
use jiff::civil::Time;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

/// The hours in which families are best rung. Common practice, no source.
pub const EVENING: Window = Window { from: Time::constant(17, 30, 0, 0), until: Time::constant(20, 0, 0, 0) };
/// Minutes before the call by which a family has to know for it to be of use. An assumption, no source.
const AHEAD_MINUTES: i64 = 120;
/// Minutes after a call in vain before the next is of use. An assumption, no source.
const AGAIN_MINUTES: i64 = 120;
/// Steps between the evening and the permitted hours until they meet; each takes at most a day.
const STEPS_MAX: usize = 8;

/// When to ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// At once.
    Now,
    /// From that instant on.
    From(Timestamp),
}

/// The suggested moment: the next evening within the permitted hours, after an earlier call in vain not too soon, and
/// where somebody promised to call back not on the same day; where no such evening is left before the call, the next
/// permitted hour; where none is left of those either, now.
pub fn suggested(
    permitted: Window,
    zone: &TimeZone,
    now: Timestamp,
    last: Option<&Rung>,
    needed_by: Timestamp,
) -> Moment {
    let later = |at: Timestamp, minutes| at.saturating_add(SignedDuration::from_mins(minutes)).unwrap_or(at);
    let earliest = match last {
        Some(Rung { at, end: CallEnd::WillCallBack, .. }) => {
            let tomorrow = wall::local(zone, *at).date().saturating_add(1.day());
            wall::instant(zone, tomorrow.to_datetime(Time::midnight())).max(now)
        }
        Some(rung) => later(rung.at, AGAIN_MINUTES).max(now),
        None => now,
    };
    let in_time = |at: &Timestamp| later(*at, AHEAD_MINUTES) <= needed_by;
    let hour = evening(permitted, zone, earliest)
        .filter(in_time)
        .or_else(|| Some(permitted.next_permitted(zone, now)).filter(|at| *at < needed_by));
    match hour {
        Some(at) if at > now => Moment::From(at),
        _ => Moment::Now,
    }
}

/// The first instant from `earliest` on that is in the evening and permitted.
fn evening(permitted: Window, zone: &TimeZone, earliest: Timestamp) -> Option<Timestamp> {
    let mut at = earliest;
    for _ in 0..STEPS_MAX {
        let next = permitted.next_permitted(zone, EVENING.next_permitted(zone, at));
        if EVENING.permitted(zone, next) {
            return Some(next);
        }
        at = next;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::time;

    const DAY: Window = Window { from: time(8, 0, 0, 0), until: time(20, 30, 0, 0) };

    /// Times are local and of June 2027 in London: day and hour. `last`: an earlier call and its end.
    fn check(permitted: Window, now: &str, last: Option<(&str, CallEnd)>, needed_by: &str, expect: &str) {
        let zone = TimeZone::get("Europe/London").unwrap();
        let at = |text: &str| -> Timestamp {
            let (day, hour) = text.split_once(' ').unwrap();
            wall::instant(&zone, format!("2027-06-{day}T{hour}").parse().unwrap())
        };
        let last = last.map(|(text, end)| Rung { at: at(text), end, by: "V001".to_owned() });
        let expect = if expect == "now" { Moment::Now } else { Moment::From(at(expect)) };
        let found = suggested(permitted, &zone, at(now), last.as_ref(), at(needed_by));
        assert_eq!(found, expect, "{now}, {last:?}, needed by {needed_by}");
    }

    #[test]
    fn a_family_is_rung_in_the_evening_before_it_has_to_know() {
        check(DAY, "01 10:00", None, "04 17:00", "01 17:30");
        check(DAY, "01 18:00", None, "04 17:00", "now");
        check(DAY, "01 20:00", None, "04 17:00", "02 17:30");
        check(DAY, "01 23:00", None, "04 17:00", "02 17:30");
    }

    #[test]
    fn where_hours_are_short_it_is_rung_as_soon_as_it_may() {
        check(DAY, "04 10:00", None, "04 17:00", "now");
        check(DAY, "03 23:00", None, "04 17:00", "04 08:00");
        check(DAY, "03 23:00", None, "04 07:00", "now");
        // An evening that is too short for the family to get ready is none.
        check(DAY, "04 12:00", None, "04 19:29", "now");
        check(DAY, "04 12:00", None, "04 19:30", "04 17:30");
    }

    #[test]
    fn after_a_call_in_vain_the_next_waits() {
        check(DAY, "01 17:40", Some(("01 17:35", CallEnd::NoAnswer)), "04 17:00", "01 19:35");
        check(DAY, "01 18:40", Some(("01 18:35", CallEnd::NoAnswer)), "04 17:00", "02 17:30");
        check(DAY, "01 17:40", Some(("01 17:35", CallEnd::WillCallBack)), "04 17:00", "02 17:30");
        check(DAY, "02 18:00", Some(("01 17:35", CallEnd::WillCallBack)), "04 17:00", "now");
        check(DAY, "04 09:00", Some(("04 08:55", CallEnd::NoAnswer)), "04 17:00", "now");
    }

    #[test]
    fn the_seasons_hours_come_first() {
        let early = Window { from: time(8, 0, 0, 0), until: time(17, 0, 0, 0) };
        check(early, "01 18:00", None, "04 17:00", "02 08:00");
        let late = Window { from: time(18, 15, 0, 0), until: time(21, 0, 0, 0) };
        check(late, "01 10:00", None, "04 17:00", "01 18:15");
    }
}
