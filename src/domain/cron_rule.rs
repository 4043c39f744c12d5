//! When something comes round again: a five-field line as in a crontab (POSIX.1-2017, `crontab`), or plain words.
//!
//! A rule is read to wall-clock times, which become instants only in a zone; so what is meant once a day happens once a
//! local day through every clock change. The crate `cron` walks those times as if they were UTC, which has no clock
//! changes; it takes both day fields together as *and*, where a crontab means *either*, so it is asked once for each.

use super::calendar::{time, weekday_named};
use super::wall;
use super::words::key;
use chrono::{DateTime as Walked, Utc};
use cron::Schedule;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use std::collections::BTreeSet;
use std::str::FromStr;

/// Wall-clock times looked at for one stretch of time, at most.
const TIMES_MAX: usize = 100_000;
/// Times of day spelled out in words, at most.
const TIMES_TOLD: usize = 6;
/// Characters of a rule, at most.
const RULE_MAX_CHARS: usize = 400;

/// What one field of a line may hold.
struct Kind {
    name: &'static str,
    lowest: u32,
    highest: u32,
}

const KINDS: [Kind; 5] = [
    Kind { name: "minute", lowest: 0, highest: 59 },
    Kind { name: "hour", lowest: 0, highest: 23 },
    Kind { name: "day of the month", lowest: 1, highest: 31 },
    Kind { name: "month", lowest: 1, highest: 12 },
    Kind { name: "day of the week", lowest: 0, highest: 6 },
];

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];
/// From Sunday, which a crontab counts as 0.
const WEEKDAYS: [&str; 7] =
    ["Sundays", "Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays"];
/// The same as the crate names them; by number it would count from 1.
const WALKED_WEEKDAYS: [&str; 7] = ["SUN", "MON", "TUE", "WED", "THU", "FRI", "SAT"];

/// A rule that can be walked.
#[derive(Debug, Clone, PartialEq)]
pub struct CronRule {
    minutes: Field,
    hours: Field,
    days: Field,
    months: Field,
    weekdays: Field,
    /// One, or two whose times are merged.
    walks: Vec<Schedule>,
}

/// One field: every value, or those listed, rising.
type Field = Option<Vec<u32>>;

impl CronRule {
    /// Reads a line such as `0 18 * * 1-5`, or words such as `daily at 18:00`, `weekdays at 7:30`, `Mondays and
    /// Thursdays at 17:15`; says in half a sentence why it cannot be read.
    pub fn read(text: &str) -> Result<CronRule, String> {
        if text.chars().nth(RULE_MAX_CHARS).is_some() {
            return Err(format!("the rule is longer than {RULE_MAX_CHARS} characters"));
        }
        let plain = key(text);
        let fields = if plain.chars().any(char::is_alphabetic) { worded(&plain)? } else { lined(&plain)? };
        CronRule::of(fields)
    }

    fn of([minutes, hours, days, months, weekdays]: [Field; 5]) -> Result<CronRule, String> {
        let every = "*".to_owned();
        let numbers = |field: &Field| match field {
            None => every.clone(),
            Some(values) => values.iter().map(u32::to_string).collect::<Vec<_>>().join(","),
        };
        let named = |values: &Vec<u32>| {
            let names = values.iter().filter_map(|day| WALKED_WEEKDAYS.get(*day as usize).copied());
            names.collect::<Vec<_>>().join(",")
        };
        let of_week = weekdays.as_ref().map_or_else(|| every.clone(), named);
        let pairs = if days.is_some() && weekdays.is_some() {
            vec![(numbers(&days), every.clone()), (every.clone(), of_week)]
        } else {
            vec![(numbers(&days), of_week)]
        };
        let (at, of_year) = (format!("0 {} {}", numbers(&minutes), numbers(&hours)), numbers(&months));
        let walks = pairs
            .iter()
            .map(|(day, weekday)| Schedule::from_str(&format!("{at} {day} {of_year} {weekday}")))
            .collect::<Result<_, _>>()
            .map_err(|_| "the rule cannot be walked".to_owned())?;
        Ok(CronRule { minutes, hours, days, months, weekdays, walks })
    }

    /// The reading in words, such as `Mondays and Thursdays at 17:15`.
    pub fn words(&self) -> String {
        let months = self.months.as_ref().map_or_else(String::new, |months| {
            let names = months.iter().filter_map(|m| MONTHS.get((*m as usize).wrapping_sub(1)));
            format!(" in {}", listed(&names.map(|name| (*name).to_owned()).collect::<Vec<_>>()))
        });
        format!("{}{months} {}", self.days_in_words(), self.times_in_words())
    }

    fn days_in_words(&self) -> String {
        let dates = self.days.as_ref().map(|days| {
            let days: Vec<String> = days.iter().map(|day| ordinal(*day)).collect();
            format!("the {} of the month", listed(&days))
        });
        let weekdays = self.weekdays.as_ref().map(|days| match days[..] {
            [1, 2, 3, 4, 5] => "weekdays".to_owned(),
            [0, 6] => "weekends".to_owned(),
            _ => {
                let names = days.iter().filter_map(|day| WEEKDAYS.get(*day as usize));
                listed(&names.map(|name| (*name).to_owned()).collect::<Vec<_>>())
            }
        });
        match (dates, weekdays) {
            (None, None) => "every day".to_owned(),
            (Some(dates), None) => dates,
            (None, Some(weekdays)) => weekdays,
            (Some(dates), Some(weekdays)) => format!("{dates}, and {weekdays} as well,"),
        }
    }

    fn times_in_words(&self) -> String {
        let two = |number: &u32| format!("{number:02}");
        match (&self.hours, &self.minutes) {
            (Some(hours), Some(minutes)) if hours.len() * minutes.len() <= TIMES_TOLD => {
                let times = hours.iter().flat_map(|h| minutes.iter().map(move |m| format!("{h:02}:{m:02}")));
                format!("at {}", listed(&times.collect::<Vec<_>>()))
            }
            (hours, minutes) => {
                let minutes = minutes.as_ref().map_or_else(
                    || "every minute".to_owned(),
                    |m| format!("at minute {}", listed(&m.iter().map(two).collect::<Vec<_>>())),
                );
                let hours = hours.as_ref().map_or_else(
                    || "every hour".to_owned(),
                    |h| format!("hour {}", listed(&h.iter().map(two).collect::<Vec<_>>())),
                );
                format!("{minutes} of {hours}")
            }
        }
    }

    /// The time of day, where it is the same on every day; none if there are several.
    pub fn time_of_day(&self) -> Option<Time> {
        let (Some([hour]), Some([minute])) = (self.hours.as_deref(), self.minutes.as_deref()) else {
            return None;
        };
        Time::new(i8::try_from(*hour).ok()?, i8::try_from(*minute).ok()?, 0, 0).ok()
    }

    /// How often it comes round on a day on which it does.
    pub fn times_a_day(&self) -> usize {
        let of = |field: &Field, kind: &Kind| {
            field.as_ref().map_or((kind.highest - kind.lowest + 1) as usize, Vec::len)
        };
        of(&self.minutes, &KINDS[0]) * of(&self.hours, &KINDS[1])
    }

    /// The wall-clock times after a moment, soonest first, as far as the year 2100.
    pub fn after(&self, from: DateTime) -> impl Iterator<Item = DateTime> + '_ {
        std::iter::successors(self.next(from), |at| self.next(*at))
    }

    /// The dates from one to another, both included, soonest first; at most so many.
    pub fn dates(&self, from: Date, until: Date, most: usize) -> Vec<Date> {
        let mut dates: Vec<Date> = Vec::new();
        let before = from.to_datetime(Time::midnight()).saturating_sub(1.second());
        for at in self.after(before).take(TIMES_MAX).take_while(|at| at.date() <= until) {
            if dates.len() == most {
                break;
            }
            if dates.last() != Some(&at.date()) {
                dates.push(at.date());
            }
        }
        dates
    }

    /// The instants of the wall-clock times after one moment and up to another, each once; hours that a clock change
    /// makes twice or not at all as [`wall::instant`] reads them.
    pub fn instants(&self, zone: &TimeZone, from: DateTime, until: DateTime) -> BTreeSet<Timestamp> {
        let times = self.after(from).take(TIMES_MAX).take_while(|at| *at <= until);
        times.map(|at| wall::instant(zone, at)).collect()
    }

    fn next(&self, from: DateTime) -> Option<DateTime> {
        let from = wall::instant(&TimeZone::UTC, from).as_second();
        let from = Walked::<Utc>::from_timestamp(from, 0)?;
        let next = self.walks.iter().filter_map(|walk| walk.after(&from).next()).min()?;
        Some(wall::local(&TimeZone::UTC, Timestamp::from_second(next.timestamp()).ok()?))
    }
}

/// Five fields as POSIX has them: `*`, numbers, ranges, and lists of these.
fn lined(plain: &str) -> Result<[Field; 5], String> {
    let parts: Vec<&str> = plain.split(' ').filter(|part| !part.is_empty()).collect();
    if parts.len() != KINDS.len() {
        return Err(format!("'{plain}' has {} fields where a line of a crontab has five", parts.len()));
    }
    let mut fields = [const { None }; 5];
    for ((field, part), kind) in fields.iter_mut().zip(parts).zip(&KINDS) {
        *field = values(part, kind)?;
    }
    Ok(fields)
}

fn values(part: &str, kind: &Kind) -> Result<Field, String> {
    if part == "*" {
        return Ok(None);
    }
    let number = |text: &str| {
        let digits = !text.is_empty() && text.len() <= 2 && text.bytes().all(|b| b.is_ascii_digit());
        let value = if digits { text.parse::<u32>().ok() } else { None };
        value.filter(|v| (kind.lowest..=kind.highest).contains(v)).ok_or_else(|| {
            let Kind { name, lowest, highest } = kind;
            format!("'{part}' is not a {name}: numbers from {lowest} to {highest}, ranges and lists of them")
        })
    };
    let mut all = BTreeSet::new();
    for one in part.split(',') {
        let (from, to) = match one.split_once('-') {
            Some((from, to)) => (number(from)?, number(to)?),
            None => (number(one)?, number(one)?),
        };
        if from > to {
            return Err(format!("'{one}' runs from the later to the earlier"));
        }
        all.extend(from..=to);
    }
    Ok(Some(all.into_iter().collect()))
}

/// Days and a time of day in words.
fn worded(plain: &str) -> Result<[Field; 5], String> {
    let bad = || format!("'{plain}' is neither five fields of a crontab nor days and a time of day");
    let (days, at) = plain.split_once(" at ").ok_or_else(bad)?;
    let at = time(at)?;
    let days = days.strip_prefix("on ").unwrap_or(days);
    let weekdays = match days {
        "daily" | "every day" => None,
        "weekdays" | "every weekday" => Some((1..=5).collect()),
        "weekends" => Some(vec![0, 6]),
        _ => Some(weekdays(days).ok_or_else(bad)?),
    };
    let one = |number: i8| u32::try_from(number).ok().map(|number| vec![number]);
    Ok([one(at.minute()), one(at.hour()), None, None, weekdays])
}

fn weekdays(text: &str) -> Option<Vec<u32>> {
    let mut all = BTreeSet::new();
    for word in text.split([' ', ',']).filter(|word| !matches!(*word, "" | "and" | "every" | "each")) {
        let from_monday = weekday_named(word).or_else(|| weekday_named(word.strip_suffix('s')?))?;
        all.insert((u32::try_from(from_monday).ok()? + 1) % 7);
    }
    (!all.is_empty()).then(|| all.into_iter().collect())
}

fn listed(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn ordinal(day: u32) -> String {
    let ending = match (day / 10, day % 10) {
        (1, _) => "th",
        (_, 1) => "st",
        (_, 2) => "nd",
        (_, 3) => "rd",
        _ => "th",
    };
    format!("{day}{ending}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::{date, datetime};
    use proptest::prelude::*;

    #[test]
    fn lines_and_words_are_read_back_in_words() {
        let check = |input: &str, line: &str, words: &str| {
            let rule = CronRule::read(input).unwrap_or_else(|why| panic!("{input:?}: {why}"));
            assert_eq!(rule.words(), words, "{input:?}");
            // The same as the line of a crontab beside it, field by field.
            let fields = |rule: CronRule| [rule.minutes, rule.hours, rule.days, rule.months, rule.weekdays];
            assert_eq!(fields(rule), fields(CronRule::read(line).unwrap()), "{input:?}");
        };
        check("daily at 18:00", "0 18 * * *", "every day at 18:00");
        check("Every day at 6 pm", "0 18 * * *", "every day at 18:00");
        check("weekdays at 7:30", "30 7 * * 1-5", "weekdays at 07:30");
        check("weekends at 9:05", "5 9 * * 0,6", "weekends at 09:05");
        check("Mondays and Thursdays at 17:15", "15 17 * * 1,4", "Mondays and Thursdays at 17:15");
        check(
            "on Sunday, Tue and every Friday at 5pm",
            "0 17 * * 0,2,5",
            "Sundays, Tuesdays and Fridays at 17:00",
        );
        check("  0  18 * *  2 ", "0 18 * * 2", "Tuesdays at 18:00");
        check("0,30 9-10 * * *", "0,30 9-10 * * *", "every day at 09:00, 09:30, 10:00 and 10:30");
        check("30 4 1,15 * *", "30 4 1,15 * *", "the 1st and 15th of the month at 04:30");
        check(
            "30 4 1,15 * 5",
            "30 4 1,15 * 5",
            "the 1st and 15th of the month, and Fridays as well, at 04:30",
        );
        check(
            "0 8 2,3,11,22 6,7 *",
            "0 8 2-3,11,22 6-7 *",
            "the 2nd, 3rd, 11th and 22nd of the month in June and July at 08:00",
        );
        check("5 * * * *", "5 * * * *", "every day at minute 05 of every hour");
        check("* 7 * * *", "* 7 * * *", "every day every minute of hour 07");
    }

    #[test]
    fn what_cannot_be_read_says_why() {
        let check = |input: &str, why: &str| {
            let fault = CronRule::read(input).expect_err(input);
            assert!(fault.contains(why), "{input:?}: {fault}");
        };
        check("", "0 fields");
        check("0 18 * *", "4 fields");
        check("0 0 18 * * 2", "6 fields");
        check("60 18 * * *", "minute");
        check("0 24 * * *", "hour");
        check("0 18 0 * *", "day of the month");
        check("0 18 * 13 *", "month");
        check("0 18 * * 7", "numbers from 0 to 6");
        check("*/15 9 * * *", "'*/15' is not a minute");
        check("0 22-2 * * *", "from the later to the earlier");
        check("0 9,, * * *", "hour");
        check("0 +9 * * *", "hour");
        check("0 18 * * FRI", "neither");
        check("@daily", "neither");
        check("sometimes at 18:00", "neither");
        check("daily at 25:00", "not a time of day");
        check("daily 18:00", "neither");
        check(&"0,".repeat(RULE_MAX_CHARS), "longer than");
    }

    #[test]
    fn a_rule_that_never_fires_gives_nothing() {
        let rule = CronRule::read("0 9 30 2 *").unwrap();
        assert_eq!(rule.after(datetime(2026, 12, 1, 0, 0, 0, 0)).next(), None);
        assert_eq!(rule.dates(date(2026, 1, 1), date(2030, 1, 1), 10), vec![]);
    }

    #[test]
    fn dates_hold_both_ends_and_no_more_than_asked_for() {
        let rule = CronRule::read("0,30 0 * * 2").unwrap();
        let (from, until) = (date(2027, 5, 4), date(2027, 5, 25));
        let all = [4, 11, 18, 25].map(|day| date(2027, 5, day));
        assert_eq!(rule.dates(from, until, 10), all);
        assert_eq!(rule.dates(from, until, 2), all[..2]);
        assert_eq!(rule.time_of_day(), None);
        assert_eq!(
            CronRule::read("Tuesdays at 16:45").unwrap().time_of_day(),
            Some(jiff::civil::time(16, 45, 0, 0))
        );
    }

    proptest! {
        /// A twin that looks at every minute of a few weeks.
        #[test]
        fn the_times_are_those_a_clock_would_find(
            minutes in proptest::collection::btree_set(0_u32..60, 1..3),
            hours in proptest::collection::btree_set(0_u32..24, 1..3),
            days in proptest::option::of(proptest::collection::btree_set(1_u32..32, 1..4)),
            months in proptest::option::of(proptest::collection::btree_set(1_u32..13, 1..4)),
            weekdays in proptest::option::of(proptest::collection::btree_set(0_u32..7, 1..4)),
            start in 0_i64..4000,
        ) {
            let cell = |set: &BTreeSet<u32>| set.iter().map(u32::to_string).collect::<Vec<_>>().join(",");
            let any = |set: &Option<BTreeSet<u32>>| set.as_ref().map_or("*".to_owned(), cell);
            let line = format!("{} {} {} {} {}", cell(&minutes), cell(&hours), any(&days), any(&months), any(&weekdays));
            let rule = CronRule::read(&line).unwrap();
            let from = date(2024, 1, 1).saturating_add(start.days());
            let mut wanted = Vec::new();
            for day in (0..40).map(|n: i64| from.saturating_add(n.days())) {
                let has = |set: &Option<BTreeSet<u32>>, value: i8| set.as_ref().is_none_or(|s| s.contains(&(value as u32)));
                let (dated, named) = (has(&days, day.day()), has(&weekdays, day.weekday().to_sunday_zero_offset()));
                let either = days.is_some() && weekdays.is_some();
                if has(&months, day.month()) && if either { dated || named } else { dated && named } {
                    for hour in &hours {
                        wanted.extend(minutes.iter().map(|m| day.at(*hour as i8, *m as i8, 0, 0)));
                    }
                }
            }
            let until = from.saturating_add(40.days()).to_datetime(Time::midnight());
            let before = from.to_datetime(Time::midnight()).saturating_sub(1.second());
            let found: Vec<DateTime> = rule.after(before).take_while(|at| *at < until).collect();
            prop_assert_eq!(found, wanted, "{}", line);
        }
    }
}
