//! Chaperones and what they do at which event.

use super::desk::{Desk, Names, Spot};
use super::people::{contact, index};
use super::programme::{Programme, danced};
use super::rooms;
use super::settings::Head;
use crate::domain::book::{Book, Row};
use crate::domain::phone::Phones;
use crate::domain::season::{Chaperone, ChaperoneId, Duty, EventId, Language};
use crate::domain::typed;
use crate::domain::words::{key, list};
use std::collections::HashSet;

/// The sheet `chaperones`, and the names duties use.
pub(super) fn chaperones(
    book: &Book,
    head: &Head,
    phones: &mut Phones,
    desk: &mut Desk,
) -> (Vec<Chaperone>, Names<ChaperoneId>) {
    let mut chaperones = Vec::new();
    let mut names = Names::new("chaperones");
    for row in book.rows("chaperones") {
        let name = row.text("name");
        if !name.is_empty() && !names.add(name, ChaperoneId(index(chaperones.len()))) {
            desk.error(
                Spot::cell("chaperones", row, "name"),
                "another chaperone has this name, so duties cannot tell them apart",
                "Add something that tells them apart, such as a second name.",
            );
        }
        let (contact, _) = contact(row, str::to_owned, "chaperones", head, phones, desk);
        chaperones.push(Chaperone {
            reference: row.text("ref").to_owned(),
            name: name.to_owned(),
            contact,
            adult: typed::yes_no(row.text("adult")).unwrap_or(true),
            vetted_until: typed::date(row.text("vetted until")).ok(),
            speaks: speaks(row, desk),
        });
    }
    (chaperones, names)
}

fn speaks(row: &Row, desk: &mut Desk) -> Vec<Language> {
    let mut languages = Vec::new();
    for text in list(row.text("speaks")) {
        match typed::language(text) {
            Ok(language) => languages.push(language),
            Err(reason) => {
                desk.error(Spot::cell("chaperones", row, "speaks"), reason, "Write codes such as es; pl.");
            }
        }
    }
    languages
}

/// The sheet `duties`, with the row of each duty.
pub(super) fn duties(
    book: &Book,
    programme: &Programme,
    names: &Names<ChaperoneId>,
    desk: &mut Desk,
) -> (Vec<Duty>, Vec<u32>) {
    let mut duties: Vec<Duty> = Vec::new();
    let mut rows = Vec::new();
    let mut seen = HashSet::new();
    let at_event: Vec<_> = programme.events.iter().map(danced).collect();
    for row in book.rows("duties") {
        let chaperone = lookup(names, row, "chaperone", desk);
        let number = if row.text("number").is_empty() {
            Some(None)
        } else {
            lookup(&programme.number_names, row, "number", desk).map(Some)
        };
        let everywhere = key(row.text("event")) == "all";
        let events: Vec<EventId> = if everywhere {
            (0..programme.events.len()).map(|at| EventId(index(at))).collect()
        } else {
            match row.text("event") {
                "" => Vec::new(),
                name => programme.events_named(name, Spot::cell("duties", row, "event"), desk),
            }
        };
        let (Some(chaperone), Some(number)) = (chaperone, number) else {
            continue;
        };
        let rooms = rooms::named(row, programme, desk);
        let (mut used, mut housed) = (false, rooms.is_empty());
        for event in events {
            let not_danced = number.is_some_and(|number| !at_event[event.at()].contains(&number));
            if not_danced && everywhere {
                continue;
            }
            if not_danced {
                desk.warn(
                    Spot::cell("duties", row, "number"),
                    "the number is not danced at this event",
                    "Check the event, or its running order.",
                );
            }
            used = true;
            let room = rooms.at(programme.events[event.at()].place);
            housed |= room.is_some();
            if !seen.insert((chaperone, event, number, key(row.text("task")))) {
                desk.hint(
                    Spot::row("duties", row.number),
                    "this duty is listed already",
                    "Keep one of the two lines.",
                );
                continue;
            }
            rows.push(row.number);
            duties.push(Duty {
                chaperone,
                event,
                number,
                task: row.text("task").to_owned(),
                room,
                signs_in: typed::yes_no(row.text("signs in")).unwrap_or(false),
                signs_out: typed::yes_no(row.text("signs out")).unwrap_or(false),
            });
        }
        if everywhere && !used && !programme.partly.contains("events") {
            desk.warn(
                Spot::cell("duties", row, "number"),
                "the number is not danced at any event",
                "Check the number, or the running orders.",
            );
        }
        if used && !housed {
            desk.error(
                Spot::cell("duties", row, "room"),
                "the room is at another place than the event",
                "Pick a room of the event's place on the sheet 'rooms', or add it there.",
            );
        }
    }
    (duties, rows)
}

fn lookup<Id: Copy + PartialEq>(names: &Names<Id>, row: &Row, column: &str, desk: &mut Desk) -> Option<Id> {
    let text = row.text(column);
    if text.is_empty() { None } else { names.find(text, Spot::cell("duties", row, column), desk) }
}
