//! One action on a season, such as calling an event off: from the workbook in force to the next one, or why not.
//!
//! An edit changes rows and nothing else. What the new workbook means, and whether it may be taken in, is found out in
//! the same way as of a workbook that was brought as a file.

mod events;
mod people;
mod substitute;

use super::book::{Book, Row};
use super::season::{Event, EventId, Ref, Season};
use super::words::key;
use jiff::civil::Date;

pub use people::{ContactText, GuardianText, Joining};
pub use substitute::Substitute;

/// When and where an event is, as typed; what is not given stays.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Moved {
    /// Local date.
    pub date: Option<String>,
    /// Children's call.
    pub call: Option<String>,
    /// Curtain up, or when it begins.
    pub starts: Option<String>,
    /// Announced end; empty for none.
    pub ends: Option<String>,
    /// Name of the place.
    pub place: Option<String>,
}

/// One action. Events are meant by their refs, one of a line that comes round again by that of its day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Edit {
    /// An event is called off; a question about the weather is thereby answered.
    CallOff {
        /// Which.
        event: Ref,
    },
    /// An event that was called off takes place after all.
    Reinstate {
        /// Which.
        event: Ref,
    },
    /// An event is at another time or place.
    Move {
        /// Which.
        event: Ref,
        /// What is new.
        to: Moved,
    },
    /// Children come to another door of a place, or are collected elsewhere.
    Door {
        /// The place.
        place: Ref,
        /// The door children use.
        door: String,
        /// Where they are collected; empty for the same door.
        collect_at: String,
    },
    /// A number is not danced at some events.
    Cut {
        /// The number.
        number: Ref,
        /// Where.
        events: Vec<Ref>,
    },
    /// It is decided by a stated hour whether an event takes place, such as when the weather is doubtful.
    Decide {
        /// Which.
        event: Ref,
        /// The day and hour as typed; an hour alone is on the day of the event.
        by: String,
    },
    /// It is decided that an event takes place.
    GoesOn {
        /// Which.
        event: Ref,
    },
    /// A child leaves the season.
    Leaves {
        /// Who.
        child: Ref,
    },
    /// A child joins the season.
    Joins(Box<Joining>),
    /// A child dances other numbers.
    Dances {
        /// Who.
        child: Ref,
        /// The numbers as the workbook writes them.
        numbers: String,
    },
    /// Somebody else may collect a child.
    AlsoCollects {
        /// Whom.
        child: Ref,
        /// Who, and when, in words.
        who: String,
    },
    /// A guardian or a chaperone is reached in another way.
    Reached {
        /// Who.
        person: Ref,
        /// How, as typed.
        by: Box<ContactText>,
    },
    /// A chaperone's duties pass to somebody else.
    Replace {
        /// Whose.
        chaperone: Ref,
        /// At which event; none for all of them.
        event: Option<Ref>,
        /// To whom.
        by: Box<Substitute>,
    },
}

/// Why an edit cannot be made; the words are for the person who wanted it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditFault {
    /// What it is about has gone from the season meanwhile.
    #[error("the {0} is no longer in the season")]
    Gone(&'static str),
    /// It is so already.
    #[error("{0}")]
    Already(String),
    /// One day of a line that comes round again cannot differ from the others in this.
    #[error(
        "'{0}' comes round again and is one line of the workbook: call this day off and add a line for the new one, or \
         change the line in the workbook"
    )]
    ComesRound(String),
    /// Nothing would be left to dance.
    #[error("it is the last number of '{0}': call the event off instead")]
    LastNumber(String),
    /// The chaperone has nothing to pass on.
    #[error("{0} has no duty there")]
    NoDuty(String),
    /// She would take her own place.
    #[error("{0} has these duties already")]
    Herself(String),
}

impl Edit {
    /// The workbook after the edit. `season` is what `book` says.
    pub fn apply(&self, book: &Book, season: &Season) -> Result<Book, EditFault> {
        let mut new = book.clone();
        match self {
            Edit::CallOff { event } => events::call_off(&mut new, season, event)?,
            Edit::Reinstate { event } => events::reinstate(&mut new, season, event)?,
            Edit::Move { event, to } => events::move_to(&mut new, season, event, to)?,
            Edit::Door { place, door, collect_at } => {
                let row = row_mut(&mut new, "places", place).ok_or(EditFault::Gone("place"))?;
                row.set("door", door.clone());
                row.set("collect at", collect_at.clone());
            }
            Edit::Cut { number, events } => events::cut(&mut new, season, number, events)?,
            Edit::Decide { event, by } => events::decide(&mut new, season, event, by)?,
            Edit::GoesOn { event } => events::decide(&mut new, season, event, "")?,
            Edit::Leaves { child } => people::leaves(&mut new, child)?,
            Edit::Joins(joining) => people::joins(&mut new, joining),
            Edit::Dances { child, numbers } => {
                let row = row_mut(&mut new, "children", child).ok_or(EditFault::Gone("child"))?;
                row.set("numbers", numbers.clone());
            }
            Edit::AlsoCollects { child, who } => people::also_collects(&mut new, child, who)?,
            Edit::Reached { person, by } => people::reached(&mut new, person, by)?,
            Edit::Replace { chaperone, event, by } => {
                substitute::replace(&mut new, season, chaperone, event.as_deref(), by)?;
            }
        }
        new.number_rows();
        Ok(new)
    }

    /// Whether rows come of it that have no refs yet.
    pub fn adds_rows(&self) -> bool {
        match self {
            Edit::Joins(_) => true,
            Edit::Replace { by, .. } => matches!(**by, Substitute::New { .. }),
            _ => false,
        }
    }

    /// What it does, in a few words.
    pub fn words(&self, season: &Season) -> String {
        let event = |reference: &Ref| called(season, reference);
        let child = |reference: &Ref| {
            let found = season.children.iter().find(|child| child.reference == *reference);
            found.map_or(String::new(), |child| format!("{} {}", child.given, child.family).trim().to_owned())
        };
        match self {
            Edit::CallOff { event: of } => format!("{} is called off", event(of)),
            Edit::Reinstate { event: of } => format!("{} takes place after all", event(of)),
            Edit::Move { event: of, .. } => format!("{} is at another time or place", event(of)),
            Edit::Door { place, .. } => {
                let found = season.places.iter().find(|one| one.reference == *place);
                format!("another door at {}", found.map_or("", |place| place.name.as_str()))
            }
            Edit::Cut { number, events } => {
                let found = season.numbers.iter().find(|one| one.reference == *number);
                let places: Vec<String> = events.iter().map(event).collect();
                format!("{} is cut: {}", found.map_or("", |number| number.name.as_str()), places.join(", "))
            }
            Edit::Decide { event: of, by } if by.trim().is_empty() => {
                format!("{}: nothing is left to decide", event(of))
            }
            Edit::Decide { event: of, by } => format!("{}: decided by {by}", event(of)),
            Edit::GoesOn { event: of } => format!("{} goes on", event(of)),
            Edit::Leaves { child: who } => format!("{} leaves", child(who)),
            Edit::Joins(joining) => format!("{} {} joins", joining.given.trim(), joining.family.trim()),
            Edit::Dances { child: who, .. } => format!("{} dances other numbers", child(who)),
            Edit::AlsoCollects { child: whom, who } => format!("{who} may collect {}", child(whom)),
            Edit::Reached { person, .. } => {
                let found = season.guardians.iter().find(|one| one.reference == *person);
                format!("{} is reached in another way", found.map_or("", |guardian| guardian.name.as_str()))
            }
            Edit::Replace { chaperone, event: at, by } => {
                let found = season.chaperones.iter().find(|one| one.reference == *chaperone);
                let at = at.as_ref().map_or("everywhere".to_owned(), |at| format!("at {}", event(at)));
                let name = found.map_or("", |chaperone| chaperone.name.as_str());
                format!("{} takes the place of {name} {at}", by.name(season))
            }
        }
    }
}

/// An event as people tell it from others.
fn called(season: &Season, reference: &str) -> String {
    let found = season.events.iter().find(|event| event.reference == *reference);
    found.map_or(String::new(), |event| label(season, event))
}

/// How a row names one event: by its name, with the date where others have the same.
pub(super) fn label(season: &Season, event: &Event) -> String {
    let same = season.events.iter().filter(|other| key(&other.name) == key(&event.name)).count();
    if same > 1 { dated(event, event.date) } else { event.name.clone() }
}

fn dated(event: &Event, date: Date) -> String {
    format!("{} {date}", event.name)
}

/// Whether a cell that names events means this one.
fn names(cell: &str, event: &Event) -> bool {
    let cell = key(cell);
    cell == key(&event.name) || cell == key(&dated(event, event.date))
}

fn event_of(season: &Season, reference: &str) -> Result<EventId, EditFault> {
    let at = season.events.iter().position(|event| event.reference == reference);
    at.and_then(|at| u32::try_from(at).ok()).map(EventId).ok_or(EditFault::Gone("event"))
}

fn row_mut<'a>(book: &'a mut Book, sheet: &str, reference: &str) -> Option<&'a mut Row> {
    let meant = |row: &Row| row.text("ref").eq_ignore_ascii_case(reference);
    let at = book.rows(sheet).iter().position(meant)?;
    book.sheet_mut(sheet).rows.get_mut(at)
}
