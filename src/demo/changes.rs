//! What happens in the middle of the demo season, and when the season begins and ends.

use super::dice::Dice;
use super::numbers::{FIRST_ACT, PLANS};
use super::planted::PLANTED;
use super::words::DRESS;
use crate::domain::book::{Book, Row};
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

/// The number whose dress rehearsal call moves, from 0; it dances in the second act.
const MOVED_NUMBER: usize = FIRST_ACT + 5;
/// Its new call, half an hour earlier.
pub const MOVED_CALL: &str = "17:15";
/// The guardian's new telephone; nobody else is given a North American number but one.
pub const NEW_PHONE: &str = "+1 212 555 0177";
/// Weeks from the beginning of the demo to the week of the first show.
const WEEKS_BEFORE: i64 = 7;

/// Changes a workbook in place.
type Change = fn(&mut Book, &mut Dice);

/// The changes of the season in order: each whole workbook is in force from its instant on. A child leaves, a guardian has
/// a new telephone, and in show week one number's call at the dress rehearsal moves half an hour earlier.
pub fn changes(seed: u64, book: &Book) -> Vec<(Timestamp, Book)> {
    let (Some(zone), Some(dress)) = (zone(book), date_of(book, DRESS)) else {
        return Vec::new();
    };
    let mut dice = Dice::new(seed, "changes");
    let mut current = book.clone();
    let mut changes = Vec::new();
    let steps: [(i64, Time, Change); 3] = [
        (8, Time::constant(12, 0, 0, 0), child_leaves),
        (3, Time::constant(19, 40, 0, 0), new_phone),
        (2, Time::constant(10, 12, 0, 0), call_moves),
    ];
    for (days_before, time, change) in steps {
        change(&mut current, &mut dice);
        current.number_rows();
        let day = dress.saturating_sub(days_before.days());
        if let Ok(at) = day.to_datetime(time).to_zoned_datetime(zone.clone()) {
            changes.push((at.timestamp(), current.clone()));
        }
    }
    changes
}

/// From 09:00 on the Monday seven weeks before the week of the first show to the end of the day after the last; none when
/// the workbook has no readable zone or no show.
pub fn span(book: &Book) -> Option<(Timestamp, Timestamp)> {
    let zone = zone(book)?;
    let shows = || {
        book.rows("events")
            .iter()
            .filter(|e| e.text("kind") == "show")
            .filter_map(|e| e.text("date").parse::<Date>().ok())
    };
    let (first, last) = (shows().min()?, shows().max()?);
    let monday = first.saturating_sub(i64::from(first.weekday().to_monday_zero_offset()).days());
    let begins = monday.saturating_sub((7 * WEEKS_BEFORE).days()).at(9, 0, 0, 0);
    let ends = last.saturating_add(2.days()).at(0, 0, 0, 0);
    Some((
        begins.to_zoned_datetime(zone.clone()).ok()?.timestamp(),
        ends.to_zoned_datetime(zone).ok()?.timestamp(),
    ))
}

/// The season's zone as the workbook names it.
pub(super) fn zone(book: &Book) -> Option<TimeZone> {
    let name = book.rows("season").iter().find(|r| r.text("setting") == "zone")?.text("value");
    TimeZone::get(name).ok()
}

fn date_of(book: &Book, event: &str) -> Option<Date> {
    book.rows("events").iter().find(|e| e.text("name") == event)?.text("date").parse().ok()
}

/// A child nobody planted, in one number of the first act, so that no planted case is lost.
fn child_leaves(book: &mut Book, dice: &mut Dice) {
    let rows = &mut book.sheet_mut("children").rows;
    let ordinary: Vec<usize> = (0..rows.len()).filter(|at| !is_planted(&rows[*at])).collect();
    if let Some(at) = ordinary.get(dice.below(ordinary.len())) {
        rows.remove(*at);
    }
}

/// A guardian with a mobile, in every row where she stands.
fn new_phone(book: &mut Book, dice: &mut Dice) {
    let chaperones: Vec<String> =
        book.rows("chaperones").iter().map(|c| c.text("mobile").to_owned()).collect();
    let rows = &mut book.sheet_mut("children").rows;
    let fit: Vec<String> = rows
        .iter()
        .filter(|row| !is_planted(row) && row.text("guardian 1 texts") == "yes")
        .filter(|row| !chaperones.iter().any(|mobile| mobile == row.text("guardian 1 mobile")))
        .map(|row| row.text("guardian 1 ref").to_owned())
        .collect();
    let Some(guardian) = fit.get(dice.below(fit.len())) else {
        return;
    };
    for row in rows {
        for nth in 1..=4 {
            if row.text(&format!("guardian {nth} ref")) == guardian {
                row.set(&format!("guardian {nth} mobile"), NEW_PHONE);
            }
        }
    }
}

fn call_moves(book: &mut Book, _: &mut Dice) {
    for line in &mut book.sheet_mut("running order").rows {
        if line.text("event") == DRESS && line.text("number") == PLANS[MOVED_NUMBER].name {
            line.set("call", MOVED_CALL);
        }
    }
}

fn is_planted(row: &Row) -> bool {
    let child = format!("{} {}", row.text("given name"), row.text("family name"));
    let named = |name: &str| PLANTED.iter().any(|(_, names)| names.contains(&name));
    named(&child) || (1..=4).any(|nth| named(row.text(&format!("guardian {nth} name"))))
}

#[cfg(test)]
mod tests {
    use super::super::season::book;
    use super::super::words::{CLOCK_CHANGE_SHOW, SECOND_ACT_DRESS_CALL};
    use super::*;

    #[test]
    fn three_changes_each_touch_what_they_say() {
        let first = book(7);
        let changes = changes(7, &first);
        let [(left_at, left), (phone_at, phone), (call_at, call)] = &changes[..] else {
            panic!("three changes")
        };
        assert!(left_at < phone_at && phone_at < call_at);
        assert_eq!(left.rows("children").len(), first.rows("children").len() - 1);
        assert_eq!(left.rows("events"), first.rows("events"));
        let differ = |a: &Book, b: &Book, sheet: &str| {
            a.rows(sheet).iter().zip(b.rows(sheet)).filter(|(x, y)| x != y).count()
        };
        assert!((1..=3).contains(&differ(left, phone, "children")), "one guardian, at most three siblings");
        assert_eq!(differ(left, phone, "running order"), 0);
        assert_eq!(differ(phone, call, "running order"), 1);
        assert_eq!(differ(phone, call, "children"), 0);
        let moved = call
            .rows("running order")
            .iter()
            .find(|r| r.text("event") == DRESS && r.text("call") == MOVED_CALL);
        assert_eq!(moved.map(|r| r.text("number")), Some(PLANS[MOVED_NUMBER].name));
        assert_eq!(SECOND_ACT_DRESS_CALL, "17:45", "half an hour later than the moved call");
    }

    #[test]
    fn the_span_begins_on_a_monday_and_covers_the_clock_change() {
        let book = book(7);
        let (begins, ends) = span(&book).unwrap();
        // Europe/London leaves UTC on 28 March 2027 (IANA time zone database).
        assert_eq!(begins.to_string(), "2027-02-01T09:00:00Z");
        assert_eq!(ends.to_string(), "2027-03-29T23:00:00Z");
        assert_eq!(date_of(&book, CLOCK_CHANGE_SHOW).unwrap().to_string(), "2027-03-28");
    }

    #[test]
    fn a_workbook_without_shows_has_no_span_and_no_changes() {
        assert_eq!(span(&Book::default()), None);
        assert!(changes(7, &Book::default()).is_empty());
    }
}
