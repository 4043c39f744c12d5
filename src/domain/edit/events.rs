//! Edits of events: off and on, moved, a number cut, a decision awaited.

use super::{EditFault, Moved, dated, event_of, names, row_mut};
use crate::domain::book::{Book, Row};
use crate::domain::season::{Event, Season, Slot};
use crate::domain::typed;
use crate::domain::words::{key, list};
use jiff::civil::Date;

/// The row behind an event, and its day where the row stands for many.
fn line<'a>(book: &'a mut Book, event: &Event) -> Result<(&'a mut Row, Option<Date>), EditFault> {
    let day = format!("-{}", event.date);
    let whole = row_mut(book, "events", &event.reference).is_some();
    let reference = if whole { Some(event.reference.as_str()) } else { event.reference.strip_suffix(&day) };
    let row = reference.and_then(|reference| row_mut(book, "events", reference));
    row.map(|row| (row, (!whole).then_some(event.date))).ok_or(EditFault::Gone("event"))
}

fn found<'a>(season: &'a Season, reference: &str) -> Result<&'a Event, EditFault> {
    event_of(season, reference).map(|id| &season.events[id.at()])
}

pub(super) fn call_off(book: &mut Book, season: &Season, reference: &str) -> Result<(), EditFault> {
    let event = found(season, reference)?;
    if event.cancelled {
        return Err(EditFault::Already(format!("'{}' is called off already", event.name)));
    }
    match line(book, event)? {
        (row, None) => {
            row.set("cancelled", "yes");
            row.set("decide by", "");
        }
        (row, Some(day)) => {
            let mut days: Vec<String> = list(row.text("not on")).map(str::to_owned).collect();
            days.push(day.to_string());
            row.set("not on", days.join("; "));
            forget_decision(row, event);
        }
    }
    Ok(())
}

pub(super) fn reinstate(book: &mut Book, season: &Season, reference: &str) -> Result<(), EditFault> {
    let event = found(season, reference)?;
    if !event.cancelled {
        return Err(EditFault::Already(format!("'{}' takes place already", event.name)));
    }
    let (row, day) = line(book, event)?;
    row.set("cancelled", "");
    if let Some(day) = day {
        let other = |text: &&str| typed::date(text).ok() != Some(day);
        let days: Vec<String> = list(row.text("not on")).filter(other).map(str::to_owned).collect();
        row.set("not on", days.join("; "));
    }
    Ok(())
}

pub(super) fn move_to(
    book: &mut Book,
    season: &Season,
    reference: &str,
    to: &Moved,
) -> Result<(), EditFault> {
    let event = found(season, reference)?;
    let (row, day) = line(book, event)?;
    if day.is_some() || !row.text("repeats").is_empty() {
        return Err(EditFault::ComesRound(event.name.clone()));
    }
    for (column, text) in [("call", &to.call), ("starts", &to.starts), ("ends", &to.ends)] {
        let Some(text) = text else { continue };
        // The same time written in another way is no change.
        let same = typed::time(text).ok().is_some_and(|new| typed::time(row.text(column)).ok() == Some(new));
        if !same {
            row.set(column, text.trim());
        }
    }
    if let Some(place) = &to.place
        && key(place) != key(row.text("place"))
    {
        row.set("place", place.trim());
    }
    let Some(text) = &to.date else { return Ok(()) };
    let new = typed::date(text).ok();
    if new == Some(event.date) {
        return Ok(());
    }
    row.set("date", text.trim());
    if let Some(new) = new {
        follow(book, event, new);
    }
    Ok(())
}

/// Other rows that name an event with its date follow it to the new one.
fn follow(book: &mut Book, event: &Event, new: Date) {
    let old = key(&dated(event, event.date));
    for (sheet, column) in
        [("running order", "event"), ("duties", "event"), ("house rules", "event"), ("notices", "about")]
    {
        if book.rows(sheet).iter().all(|row| key(row.text(column)) != old) {
            continue;
        }
        let rows = book.sheet_mut(sheet).rows.iter_mut();
        for row in rows.filter(|row| key(row.text(column)) == old) {
            row.set(column, dated(event, new));
        }
    }
}

pub(super) fn decide(book: &mut Book, season: &Season, reference: &str, by: &str) -> Result<(), EditFault> {
    let event = found(season, reference)?;
    if event.cancelled && !by.trim().is_empty() {
        return Err(EditFault::Already(format!("'{}' is called off already", event.name)));
    }
    let (row, day) = line(book, event)?;
    match day {
        None => row.set("decide by", by.trim()),
        Some(_) if by.trim().is_empty() => forget_decision(row, event),
        // The line has one cell for all its days, so the day stands in it.
        Some(day) if typed::time(by).is_ok() => row.set("decide by", format!("{day} {}", by.trim())),
        Some(_) => row.set("decide by", by.trim()),
    }
    Ok(())
}

/// Empties the question of a line that comes round again where it is about this day of it.
fn forget_decision(row: &mut Row, event: &Event) {
    if event.decide_by.is_some() {
        row.set("decide by", "");
    }
}

pub(super) fn cut(
    book: &mut Book,
    season: &Season,
    number: &str,
    events: &[String],
) -> Result<(), EditFault> {
    let number =
        season.numbers.iter().find(|one| one.reference == number).ok_or(EditFault::Gone("number"))?;
    for reference in events {
        let event = found(season, reference)?;
        let danced = |slot: &Slot| match slot {
            Slot::Number { number: id, .. } => Some(season.numbers[id.at()].name.as_str()),
            Slot::Interval(_) => None,
        };
        let danced: Vec<&str> = event.order.iter().filter_map(danced).collect();
        if !danced.contains(&number.name.as_str()) {
            return Err(EditFault::Already(format!("'{}' is not danced at '{}'", number.name, event.name)));
        }
        if danced.len() == 1 {
            return Err(EditFault::LastNumber(event.name.clone()));
        }
        if event.ordered {
            cut_order(book, event, &number.name);
            continue;
        }
        let (row, day) = line(book, event)?;
        if day.is_some() {
            return Err(EditFault::ComesRound(event.name.clone()));
        }
        let left: Vec<&str> = danced.into_iter().filter(|name| *name != number.name).collect();
        row.set("numbers", left.join("; "));
    }
    Ok(())
}

/// Takes a number out of a running order; what comes behind it moves up by one place.
fn cut_order(book: &mut Book, event: &Event, number: &str) {
    let rows = &mut book.sheet_mut("running order").rows;
    let ours = |row: &Row| names(row.text("event"), event);
    let gone = rows.iter().position(|row| ours(row) && key(row.text("number")) == key(number));
    let Some(gone) = gone else { return };
    let place = typed::count(rows.remove(gone).text("place")).unwrap_or(u32::MAX);
    for row in rows.iter_mut().filter(|row| ours(row)) {
        if let Ok(later) = typed::count(row.text("place"))
            && later > place
        {
            row.set("place", (later - 1).to_string());
        }
    }
}
