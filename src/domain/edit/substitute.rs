//! A chaperone's duties pass to somebody else, at one event or everywhere.

use super::people::ContactText;
use super::{EditFault, event_of, label, names};
use crate::domain::book::{Book, Row};
use crate::domain::season::{Event, EventId, Ref, Season, Slot};
use crate::domain::words::key;

/// Who takes a chaperone's place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Substitute {
    /// A chaperone of the season.
    Known(Ref),
    /// Somebody new.
    New {
        /// Full name.
        name: String,
        /// How she is reached.
        contact: ContactText,
        /// Eighteen or over: yes or no.
        adult: String,
        /// Last day of a valid vetting.
        vetted_until: String,
    },
}

impl Substitute {
    /// The name in full.
    pub fn name(&self, season: &Season) -> String {
        match self {
            Substitute::Known(reference) => {
                let found = season.chaperones.iter().find(|one| one.reference == *reference);
                found.map_or(String::new(), |chaperone| chaperone.name.clone())
            }
            Substitute::New { name, .. } => name.trim().to_owned(),
        }
    }
}

pub(super) fn replace(
    book: &mut Book,
    season: &Season,
    chaperone: &str,
    event: Option<&str>,
    by: &Substitute,
) -> Result<(), EditFault> {
    let gone = EditFault::Gone("chaperone");
    let old = season.chaperones.iter().find(|one| one.reference == chaperone).ok_or(gone.clone())?;
    let name = by.name(season);
    if name.is_empty() && matches!(by, Substitute::Known(_)) {
        return Err(gone);
    }
    if key(&name) == key(&old.name) {
        return Err(EditFault::Herself(name));
    }
    if let Substitute::New { contact, adult, vetted_until, .. } = by {
        let mut row = Row::default();
        row.set("name", name.clone());
        contact.columns().into_iter().for_each(|(column, text)| row.set(column, text.trim()));
        row.set("adult", adult.trim());
        row.set("vetted until", vetted_until.trim());
        book.sheet_mut("chaperones").rows.push(row);
    }
    let event = event.map(|reference| event_of(season, reference)).transpose()?;
    let rows = std::mem::take(&mut book.sheet_mut("duties").rows);
    let (mut out, mut passed) = (Vec::with_capacity(rows.len()), false);
    for mut row in rows {
        if key(row.text("chaperone")) != key(&old.name) {
            out.push(row);
            continue;
        }
        let Some(event) = event else {
            row.set("chaperone", name.clone());
            passed = true;
            out.push(row);
            continue;
        };
        let all = covered(season, &row);
        if !all.contains(&event) {
            out.push(row);
        } else if all.len() == 1 {
            row.set("chaperone", name.clone());
            passed = true;
            out.push(row);
        } else {
            out.extend(all.iter().map(|at| only(season, &row, *at, (*at == event).then_some(name.as_str()))));
            passed = true;
        }
    }
    book.sheet_mut("duties").rows = out;
    if passed { Ok(()) } else { Err(EditFault::NoDuty(old.name.clone())) }
}

/// The events that a row of duties is about.
fn covered(season: &Season, row: &Row) -> Vec<EventId> {
    let everywhere = key(row.text("event")) == "all";
    let number = key(row.text("number"));
    let danced = |event: &Event| {
        number.is_empty()
            || event.order.iter().any(|slot| match slot {
                Slot::Number { number: id, .. } => key(&season.numbers[id.at()].name) == number,
                Slot::Interval(_) => false,
            })
    };
    let ours = |event: &Event| if everywhere { danced(event) } else { names(row.text("event"), event) };
    let numbered = (0_u32..).map(EventId).zip(&season.events);
    numbered.filter(|(_, event)| ours(event)).map(|(id, _)| id).collect()
}

/// A row for one of the events a row of duties is about, for another chaperone where one is named.
fn only(season: &Season, row: &Row, event: EventId, chaperone: Option<&str>) -> Row {
    let mut one = row.clone();
    let event = &season.events[event.at()];
    one.set("event", label(season, event));
    if let Some(name) = chaperone {
        one.set("chaperone", name);
    }
    // A row for all events may name a room that only some of their places have.
    let here = |room: &crate::domain::season::Room| {
        room.place == event.place && key(&room.name) == key(row.text("room"))
    };
    if !season.rooms.iter().any(here) {
        one.set("room", "");
    }
    one
}
