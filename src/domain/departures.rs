//! When planned messages really leave: nearest deadline first, as fast as a carrier takes them, within permitted hours.

use super::quiet::Window;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// How long one exchange with a carrier is taken to last, seconds; an assumption, for sessions that may hold a rate back.
pub const EXCHANGE_SECONDS: f64 = 0.2;
/// How long before the first deadline a start is sought, minutes: a week.
const START_SOUGHT_MINUTES: i64 = 7 * 24 * 60;
/// The slowest rate, messages a second, so that nothing is divided by none.
const SLOWEST_PER_SECOND: f64 = 0.001;

/// How fast a carrier takes messages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace {
    /// Between two messages.
    each: SignedDuration,
    /// Messages that leave at once after a rest.
    burst: i32,
}

impl Pace {
    /// The pace of a rate with so many sessions.
    pub fn of(per_second: f64, sessions: usize) -> Pace {
        let by_sessions = sessions.max(1) as f64 / EXCHANGE_SECONDS;
        let rate = per_second.min(by_sessions).max(SLOWEST_PER_SECOND);
        Pace { each: SignedDuration::from_secs_f64(1.0 / rate), burst: rate.max(1.0) as i32 }
    }

    /// How long after the first the last of so many leaves, when none was given to the carrier just before.
    pub fn span(&self, messages: usize) -> SignedDuration {
        let waiting = i32::try_from(messages).unwrap_or(i32::MAX).saturating_sub(self.burst).max(0);
        self.each.saturating_mul(waiting)
    }
}

/// A message that is to leave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Departing {
    /// Not before.
    pub due: Timestamp,
    /// Of no use from then on.
    pub until: Timestamp,
    /// Whatever the hour.
    pub at_once: bool,
}

/// When each message of a channel leaves, in the order given; none for one that cannot in time.
pub fn departures(
    messages: &[Departing],
    pace: Pace,
    hours: Window,
    zone: &TimeZone,
) -> Vec<Option<Timestamp>> {
    let mut out = vec![None; messages.len()];
    let mut coming: BinaryHeap<Reverse<(Timestamp, usize)>> =
        messages.iter().enumerate().map(|(at, one)| Reverse((one.due, at))).collect();
    let mut ready: BinaryHeap<Reverse<(Timestamp, usize)>> = BinaryHeap::new();
    let ahead = pace.each.saturating_mul(pace.burst - 1);
    // The moment up to which the carrier's rate is used up (the virtual scheduling of ITU-T I.371).
    let (mut now, mut used_until) = (Timestamp::MIN, Timestamp::MIN);
    loop {
        if ready.is_empty() {
            let Some(Reverse((next, _))) = coming.peek() else { return out };
            now = now.max(*next);
        }
        now = now.max(used_until.saturating_sub(ahead).unwrap_or(now));
        while let Some(Reverse((due, at))) = coming.peek().copied()
            && due <= now
        {
            coming.pop();
            ready.push(Reverse((messages[at].until, at)));
        }
        let Some(Reverse((until, at))) = ready.pop() else { continue };
        if until <= now {
            continue;
        }
        if !messages[at].at_once && !hours.permitted(zone, now) {
            let next = hours.next_permitted(zone, now);
            if next < until {
                coming.push(Reverse((next, at)));
            }
            continue;
        }
        out[at] = Some(now);
        used_until = used_until.max(now).saturating_add(pace.each).unwrap_or(Timestamp::MAX);
    }
}

/// The latest permitted whole minute at which messages, all ready by then, begin to leave so that every one leaves in
/// time; none where even the earliest start that is looked at is too late. Beginning earlier never makes one late.
pub fn latest_start(messages: &[Departing], pace: Pace, hours: Window, zone: &TimeZone) -> Option<Timestamp> {
    let last = messages.iter().map(|one| one.until).min()?;
    let in_time = |minutes: i64| {
        let start = last.checked_sub(SignedDuration::from_mins(minutes)).ok()?;
        let start = hours.last_permitted_before(zone, start);
        let ready: Vec<Departing> = messages.iter().map(|one| Departing { due: start, ..*one }).collect();
        departures(&ready, pace, hours, zone).iter().all(Option::is_some).then_some(start)
    };
    let (mut too_late, mut early) = (-1, START_SOUGHT_MINUTES);
    in_time(early)?;
    while early - too_late > 1 {
        let between = too_late + (early - too_late) / 2;
        if in_time(between).is_some() { early = between } else { too_late = between }
    }
    in_time(early)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::time;
    use proptest::prelude::*;

    const DAY: Window = Window { from: time(8, 0, 0, 0), until: time(20, 30, 0, 0) };
    const ALWAYS: Window = Window { from: time(0, 0, 0, 0), until: time(0, 0, 0, 0) };

    fn at(text: &str) -> Timestamp {
        format!("2027-02-08T{text}Z").parse().unwrap()
    }

    /// Messages as `COUNT DUE UNTIL`, and when they leave, the same moments counted together.
    fn check(per_second: f64, messages: &[(usize, &str, &str)], expect: &[(usize, &str)]) {
        let all: Vec<Departing> = messages
            .iter()
            .flat_map(|(count, due, until)| {
                std::iter::repeat_n(Departing { due: at(due), until: at(until), at_once: false }, *count)
            })
            .collect();
        let left = departures(&all, Pace::of(per_second, 100), DAY, &TimeZone::UTC);
        let mut said: Vec<(usize, String)> = Vec::new();
        for one in left {
            let word = one.map_or("cannot".to_owned(), |at| at.strftime("%d %H:%M:%S").to_string());
            match said.iter_mut().find(|(_, other)| *other == word) {
                Some((count, _)) => *count += 1,
                None => said.push((1, word)),
            }
        }
        let expect: Vec<(usize, String)> = expect.iter().map(|(n, word)| (*n, (*word).to_owned())).collect();
        assert_eq!(said, expect);
    }

    #[test]
    fn a_burst_takes_its_time() {
        // One a second: the first at once, the last of five four seconds later.
        check(
            1.0,
            &[(5, "18:30:00", "23:00:00")],
            &[
                (1, "08 18:30:00"),
                (1, "08 18:30:01"),
                (1, "08 18:30:02"),
                (1, "08 18:30:03"),
                (1, "08 18:30:04"),
            ],
        );
        // Ten a second take ten at once.
        check(10.0, &[(10, "18:30:00", "23:00:00")], &[(10, "08 18:30:00")]);
        assert_eq!(Pace::of(10.0, 100).span(600), SignedDuration::from_secs(59));
        // Ten a second through one session of 0.2 s each are five.
        assert_eq!(Pace::of(10.0, 1).span(605), SignedDuration::from_secs(120));
    }

    #[test]
    fn the_nearest_deadline_goes_first() {
        check(
            1.0,
            &[(1, "18:30:00", "22:00:00"), (1, "18:30:00", "19:00:00"), (1, "18:30:01", "18:45:00")],
            &[(1, "08 18:30:02"), (1, "08 18:30:00"), (1, "08 18:30:01")],
        );
    }

    #[test]
    fn what_comes_too_late_for_the_rate_cannot_leave() {
        check(1.0, &[(4, "18:30:00", "18:30:02")], &[(1, "08 18:30:00"), (1, "08 18:30:01"), (2, "cannot")]);
    }

    #[test]
    fn the_rest_of_a_burst_waits_for_the_morning_if_it_may() {
        check(
            0.01,
            &[(1, "20:29:00", "23:00:00"), (1, "20:29:00", "23:30:00")],
            &[(1, "08 20:29:00"), (1, "cannot")],
        );
        let late = |hour: &str| Departing {
            due: at("20:29:00"),
            until: format!("2027-02-09T{hour}:00Z").parse().unwrap(),
            at_once: false,
        };
        let left = departures(&[late("09:00"), late("10:00")], Pace::of(0.01, 1), DAY, &TimeZone::UTC);
        assert_eq!(left[1], Some("2027-02-09T08:00:00Z".parse().unwrap()));
        let night = Departing { at_once: true, due: at("23:00:00"), until: at("23:30:00") };
        assert_eq!(departures(&[night], Pace::of(1.0, 1), DAY, &TimeZone::UTC), [Some(at("23:00:00"))]);
    }

    #[test]
    fn a_start_is_found_from_which_the_last_leaves_in_time() {
        let burst = |count, until: &str| {
            vec![Departing { due: at("18:00:00"), until: at(until), at_once: false }; count]
        };
        let start = |count, until| latest_start(&burst(count, until), Pace::of(1.0, 1), DAY, &TimeZone::UTC);
        // 601 texts at one a second take ten minutes and must be gone before 19:00.
        assert_eq!(start(601, "19:00:00"), Some(at("18:49:00")));
        assert_eq!(start(1, "19:00:00"), Some(at("18:59:00")));
        // After the close of the hours nothing leaves: the last goes at 20:29:59.
        assert_eq!(start(601, "23:00:00"), Some(at("20:19:00")));
        assert_eq!(latest_start(&[], Pace::of(1.0, 1), DAY, &TimeZone::UTC), None);
        // More than the hours of a week take.
        let slow = Pace::of(SLOWEST_PER_SECOND, 1);
        assert_eq!(latest_start(&burst(500, "19:00:00"), slow, DAY, &TimeZone::UTC), None);
    }

    proptest! {
        #[test]
        fn all_leave_in_time_from_the_latest_start_and_not_from_two_minutes_later(
            untils in prop::collection::vec(0_i64..7_200, 1..80),
            rate in 1_u32..50,
        ) {
            let pace = Pace::of(f64::from(rate) / 100.0, 10);
            let ready = |start: Timestamp| -> Vec<Departing> {
                let until = |seconds: &i64| at("12:00:00") + SignedDuration::from_secs(*seconds);
                untils.iter().map(|s| Departing { due: start, until: until(s), at_once: false }).collect()
            };
            let start = latest_start(&ready(at("12:00:00")), pace, ALWAYS, &TimeZone::UTC).unwrap();
            let left = |start| departures(&ready(start), pace, ALWAYS, &TimeZone::UTC);
            prop_assert!(left(start).iter().all(Option::is_some));
            prop_assert!(left(start + SignedDuration::from_mins(2)).iter().any(Option::is_none));
        }

        #[test]
        fn none_leaves_before_it_is_due_or_after_its_use_or_faster_than_the_pace(
            messages in prop::collection::vec((0_i64..100_000, 1_i64..40_000), 1..80),
        ) {
            let all: Vec<Departing> = messages
                .iter()
                .map(|(due, use_for)| {
                    let due = at("00:00:00") + SignedDuration::from_secs(*due);
                    Departing { due, until: due + SignedDuration::from_secs(*use_for), at_once: false }
                })
                .collect();
            let left = departures(&all, Pace::of(0.01, 1), DAY, &TimeZone::UTC);
            let mut moments: Vec<Timestamp> = Vec::new();
            for (one, left) in all.iter().zip(&left) {
                if let Some(left) = left {
                    prop_assert!(one.due <= *left && *left < one.until);
                    prop_assert!(DAY.permitted(&TimeZone::UTC, *left));
                    moments.push(*left);
                }
            }
            moments.sort();
            for pair in moments.windows(2) {
                prop_assert!(pair[1].duration_since(pair[0]) >= SignedDuration::from_secs(100));
            }
        }
    }
}
