//! Events that come round again, as the checker reads them: by going through the days from the first to the last.

use crate::domain::book::Row;
use jiff::ToSpan;
use jiff::civil::{Date, Time};

/// Names of days, from Sunday.
const DAYS: [&str; 7] = ["sun", "mon", "tue", "wed", "thu", "fri", "sat"];
/// Minutes in a day.
const DAY: i32 = 24 * 60;

/// When something comes round again.
struct Rule {
    /// Minute of the day.
    begins: i32,
    days: Option<Vec<i8>>,
    months: Option<Vec<i8>>,
    /// From Sunday, which is 0.
    weekdays: Option<Vec<i8>>,
}

/// A row for each day of a line that comes round again; the line itself where it does not.
pub(super) fn spread(row: &Row) -> Vec<Row> {
    rows(row).unwrap_or_else(|| vec![row.clone()])
}

fn rows(row: &Row) -> Option<Vec<Row>> {
    let rule = rule(&row.text("repeats").to_lowercase())?;
    let last: Date = row.text("repeats until").parse().ok()?;
    let first: Date = row.text("date").parse().ok()?;
    let later = rule.begins - minute(row.text("starts"))?;
    let off: Vec<Date> = row.text("not on").split(';').filter_map(|date| date.trim().parse().ok()).collect();
    let days = first.series(1.day()).take_while(|day| *day <= last).filter(|day| rule.falls_on(*day));
    Some(days.map(|day| one(row, day, later, off.contains(&day))).collect())
}

fn one(row: &Row, day: Date, later: i32, off: bool) -> Row {
    let mut one = row.clone();
    one.set("ref", format!("{}-{day}", row.text("ref")));
    one.set("date", day.to_string());
    for column in ["call", "starts", "ends", "dismissal"] {
        if let Some(at) = minute(row.text(column)) {
            let at = (at + later).rem_euclid(DAY);
            one.set(column, format!("{:02}:{:02}", at / 60, at % 60));
        }
    }
    if off {
        one.set("cancelled", "yes");
    }
    one
}

impl Rule {
    fn falls_on(&self, day: Date) -> bool {
        let dated = self.days.as_ref().map(|days| days.contains(&day.day()));
        let named = self.weekdays.as_ref().map(|days| days.contains(&day.weekday().to_sunday_zero_offset()));
        let month = self.months.as_ref().is_none_or(|months| months.contains(&day.month()));
        // Both written means either of the two (POSIX.1-2017, crontab).
        month
            && match (dated, named) {
                (Some(dated), Some(named)) => dated || named,
                (one, other) => one.or(other).unwrap_or(true),
            }
    }
}

/// A time such as `7:30` as minutes of the day.
fn minute(text: &str) -> Option<i32> {
    let (hour, minute) = text.trim().split_once(':')?;
    let time = Time::new(hour.parse().ok()?, minute.get(..2)?.parse().ok()?, 0, 0).ok()?;
    Some(i32::from(time.hour()) * 60 + i32::from(time.minute()))
}

/// A time as people say it, such as `4:45 pm`, `16.45` or `5pm`, as minutes of the day.
fn spoken(text: &str) -> Option<i32> {
    let plain: String = text.chars().filter(|c| !c.is_whitespace()).collect();
    let half =
        plain.strip_suffix("pm").map(|head| (head, 12)).or(plain.strip_suffix("am").map(|head| (head, 0)));
    let Some((head, hours)) = half else { return minute(&plain.replace('.', ":")) };
    let (hour, minutes) = head.split_once([':', '.']).unwrap_or((head, "0"));
    Some((hour.parse::<i32>().ok()? % 12 + hours) * 60 + minutes.parse::<i32>().ok()?)
}

/// Five fields, or days and a time in words; the hours as a workbook holds them.
fn rule(text: &str) -> Option<Rule> {
    let Some((days, at)) = text.split_once(" at ") else {
        let parts: Vec<&str> = text.split_whitespace().collect();
        let [minute, hour, days, months, weekdays] = parts[..] else { return None };
        let (minute, hour): (i32, i32) = (minute.parse().ok()?, hour.parse().ok()?);
        let (days, months, weekdays) = (numbers(days)?, numbers(months)?, numbers(weekdays)?);
        return Some(Rule { begins: hour * 60 + minute, days, months, weekdays });
    };
    let words = days.split([' ', ',']).filter(|word| !["", "on", "and", "every", "each"].contains(word));
    let weekdays = match words.clone().collect::<Vec<_>>()[..] {
        ["daily" | "day"] => None,
        ["weekdays" | "weekday"] => Some((1..=5).collect()),
        ["weekends"] => Some(vec![0, 6]),
        _ => Some(
            words
                .map(|word| {
                    DAYS.iter().position(|day| word.starts_with(day)).and_then(|at| i8::try_from(at).ok())
                })
                .collect::<Option<Vec<i8>>>()?,
        ),
    };
    Some(Rule { begins: spoken(at)?, days: None, months: None, weekdays })
}

/// How often a rule comes round on a day on which it does: days in words have one time, the hours and minutes of five
/// fields as many as they make together.
pub(super) fn times_a_day(text: &str) -> usize {
    let text = text.trim().to_lowercase();
    if text.contains(" at ") {
        return 1;
    }
    let parts: Vec<&str> = text.split_whitespace().collect();
    let [minutes, hours, ..] = parts[..] else { return 0 };
    let of = |field: &str, every: usize| numbers(field).map_or(0, |all| all.map_or(every, |all| all.len()));
    of(minutes, 60) * of(hours, 24)
}

/// The numbers of a field; the inner none is every number.
#[allow(clippy::option_option, reason = "a field that cannot be read is not one that allows everything")]
fn numbers(field: &str) -> Option<Option<Vec<i8>>> {
    if field == "*" {
        return Some(None);
    }
    let mut all = Vec::new();
    for part in field.split(',') {
        let (from, to) = part.split_once('-').unwrap_or((part, part));
        all.extend(from.parse::<i8>().ok()?..=to.parse().ok()?);
    }
    Some(Some(all))
}
