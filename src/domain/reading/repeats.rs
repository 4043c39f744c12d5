//! Rows of the sheet `events` that come round again, such as a weekly class visit: one row becomes one row a date.

use super::super::book::{Book, Row};
use super::super::cron_rule::CronRule;
use super::super::typed;
use super::super::words::list;
use super::desk::{Desk, Spot};
use super::programme::moment;
use jiff::civil::{Date, Time};
use std::collections::BTreeSet;

/// Events that one row may become, at most: twice a week through a year, and a little more.
pub const OCCURRENCES_MAX: usize = 120;
/// Minutes in a day.
const DAY_MINUTES: i32 = 24 * 60;

/// How a row that repeats was read.
pub(super) struct Repeat {
    /// Row as the spreadsheet numbers it.
    pub(super) row: u32,
    /// The rule in words.
    pub(super) words: String,
}

/// Puts one row a date in the place of each row that repeats; a row that cannot be spread stays as it is.
pub(super) fn spread(book: &mut Book, desk: &mut Desk) -> Vec<Repeat> {
    let mut repeats = Vec::new();
    if book.rows("events").iter().all(|row| COLUMNS.iter().all(|column| row.text(column).is_empty())) {
        return repeats;
    }
    let sheet = book.sheet_mut("events");
    let rows = std::mem::take(&mut sheet.rows);
    for row in rows {
        match occurrences(&row, desk) {
            Some((words, dates)) => {
                repeats.push(Repeat { row: row.number, words });
                sheet.rows.extend(dates);
            }
            None => sheet.rows.push(row),
        }
    }
    repeats
}

const COLUMNS: [&str; 3] = ["repeats", "repeats until", "not on"];

/// The rule in words and a row for each of its dates; none for a row that does not repeat or has a fault.
fn occurrences(row: &Row, desk: &mut Desk) -> Option<(String, Vec<Row>)> {
    let spot = |column: &'static str| Spot::cell("events", row, column);
    if row.text("repeats").is_empty() {
        for column in COLUMNS.iter().filter(|column| !row.text(column).is_empty()) {
            desk.hint(
                spot(column),
                format!("'{column}' is not used, since 'repeats' is empty"),
                "Write when the event repeats, such as Tuesdays at 16:45, or empty this cell.",
            );
        }
        return None;
    }
    let rule = match CronRule::read(row.text("repeats")) {
        Ok(rule) => rule,
        Err(reason) => {
            desk.error(
                spot("repeats"),
                reason,
                "Write days and a time, such as Tuesdays at 16:45, or a line of a crontab, such as 45 16 * * 2.",
            );
            return None;
        }
    };
    let Some(begins) = rule.time_of_day() else {
        desk.error(
            spot("repeats"),
            format!("read as '{}', the event would begin more than once on a day", rule.words()),
            "Write one time of day; give another time a line of its own.",
        );
        return None;
    };
    if row.text("repeats until").is_empty() {
        desk.error(
            spot("repeats until"),
            "the last day it takes place is missing",
            "Write that day, such as 2027-06-04.",
        );
        return None;
    }
    // What is no date or time has been told as a problem of its cell.
    let (from, until) = (typed::date(row.text("date")).ok()?, typed::date(row.text("repeats until")).ok()?);
    let dates = dates(row, &rule, from, until, desk)?;
    let times = Times::of(row, begins, desk)?;
    let off = called_off(row, &dates, desk)?;
    // What is to be decided is about the first day from then on; what cannot be read is told once, on the first of all.
    let until = moment(row.text("decide by"), from).map_or(from, |at| at.date());
    let asked = dates.iter().copied().find(|date| *date >= until).or(dates.first().copied());
    let rows = dates.iter().map(|date| {
        let mut one = row.clone();
        one.set("ref", format!("{}-{date}", row.text("ref")));
        one.set("date", date.to_string());
        times.write(&mut one);
        if asked != Some(*date) {
            one.set("decide by", "");
        }
        if off.contains(date) {
            one.set("cancelled", "yes");
        }
        one
    });
    Some((rule.words(), rows.collect()))
}

fn dates(row: &Row, rule: &CronRule, from: Date, until: Date, desk: &mut Desk) -> Option<Vec<Date>> {
    let mut fault = |column: &'static str, reason: String, cure: &str| {
        desk.error(Spot::cell("events", row, column), reason, cure);
        None
    };
    if until < from {
        return fault(
            "repeats until",
            format!("the last day, {until}, is before the first, {from}"),
            "Write a day after the one in 'date'.",
        );
    }
    let dates = rule.dates(from, until, OCCURRENCES_MAX + 1);
    if dates.is_empty() {
        return fault(
            "repeats",
            format!("read as '{}', it never takes place from {from} to {until}", rule.words()),
            "Check the rule, 'date' and 'repeats until'.",
        );
    }
    if dates.len() > OCCURRENCES_MAX {
        return fault(
            "repeats",
            format!("read as '{}', it takes place more than {OCCURRENCES_MAX} times", rule.words()),
            "Write an earlier end, or let it repeat less often.",
        );
    }
    Some(dates)
}

/// The dates on which it does not take place: families are told that those are called off.
fn called_off(row: &Row, dates: &[Date], desk: &mut Desk) -> Option<BTreeSet<Date>> {
    let mut off = BTreeSet::new();
    for text in list(row.text("not on")) {
        let reason = match typed::date(text) {
            Ok(date) if dates.contains(&date) => {
                off.insert(date);
                continue;
            }
            Ok(date) => format!("{date} is not one of the days on which it would take place"),
            Err(reason) => reason,
        };
        let cure = "Write days on which it would otherwise take place, with ; between them, such as 2027-06-04; 2027-06-11.";
        desk.error(Spot::cell("events", row, "not on"), reason, cure);
        return None;
    }
    Some(off)
}

/// The times of one occurrence, as cells: the rule says when it begins, and the others keep their distance from that.
struct Times(Vec<(&'static str, String)>);

impl Times {
    fn of(row: &Row, begins: Time, desk: &mut Desk) -> Option<Times> {
        let minute = |time: Time| i32::from(time.hour()) * 60 + i32::from(time.minute());
        let (starts, call) = (typed::time(row.text("starts")).ok()?, typed::time(row.text("call")).ok()?);
        let shift = minute(begins) - minute(starts);
        let moved = minute(call) + shift;
        if !(0..DAY_MINUTES).contains(&moved) {
            desk.error(
                Spot::cell("events", row, "call"),
                format!(
                    "when it begins at {}, as 'repeats' says, children are called on another day",
                    begins.strftime("%H:%M")
                ),
                "Put 'call' nearer to 'starts', or write another time at which it begins.",
            );
            return None;
        }
        let mut cells = Vec::new();
        for column in ["call", "starts", "ends", "dismissal"] {
            if let Ok(time) = typed::time(row.text(column)) {
                // An end before the start is after midnight, and stays so.
                let at = (minute(time) + shift).rem_euclid(DAY_MINUTES);
                cells.push((column, format!("{:02}:{:02}", at / 60, at % 60)));
            }
        }
        Some(Times(cells))
    }

    fn write(&self, row: &mut Row) {
        for (column, text) in &self.0 {
            row.set(column, text.clone());
        }
    }
}
