//! Whom and what a change touches: people, households that may have to be written to, and events whose paper may differ.
//!
//! Rows are compared with rows and itineraries with itineraries, each once, so that the work grows with the season and
//! not with its square.

use super::board::{Board, Item, NO_EVENT};
use super::book::{Book, Cell, Row};
use super::due;
use super::facts::Facts;
use super::itinerary::ItineraryId;
use super::layout::{self, GUARDIANS_PER_CHILD, SHEETS, guardian_column};
use super::season::{ChildId, Event, EventId, Person, Ref, Season, Slot};
use super::words::key;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// Columns of a guardian by which she is known and reached.
const CONTACT: [&str; 7] = ["name", "mobile", "e-mail", "language", "texts", "mails", "agreed"];

/// What a change touches, by refs.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Touched {
    /// Children whose day or line is another.
    pub children: BTreeSet<Ref>,
    /// Guardians of those children, and guardians who are reached in another way.
    pub guardians: BTreeSet<Ref>,
    /// Chaperones whose duties or line are others.
    pub chaperones: BTreeSet<Ref>,
    /// Households that may have to be written to, or no longer.
    pub households: BTreeSet<Ref>,
    /// Events whose sheets may differ.
    pub events: BTreeSet<Ref>,
    /// Whether it is about settings or notices, and so about everybody's messages.
    pub all_messages: bool,
}

/// One row that is not what it was.
struct Line<'a> {
    sheet: &'a str,
    old: Option<&'a Row>,
    new: Option<&'a Row>,
}

impl Line<'_> {
    fn both(&self) -> impl Iterator<Item = &Row> {
        self.old.into_iter().chain(self.new)
    }

    /// Whether one of the columns differs.
    fn differs(&self, mut columns: impl Iterator<Item = String>) -> bool {
        let text = |row: Option<&Row>, column: &str| row.map(|row| row.text(column).to_owned());
        columns.any(|column| text(self.old, &column) != text(self.new, &column))
    }
}

/// What changes from one season to another. Both books have their refs.
pub fn touched(old: (&Book, &Board), new: (&Book, &Board)) -> Touched {
    let mut touched = Touched::default();
    let lines = lines(old.0, new.0);
    let boards = [old.1, new.1];
    for line in &lines {
        by_line(line, boards, &mut touched);
    }
    for (one, other) in [(old.1, new.1), (new.1, old.1)] {
        let unlike = (0..one.programme.events() as u32)
            .map(EventId)
            .filter(|event| !one.programme.shares(&other.programme, *event));
        for at in unlike.flat_map(|event| one.programme.ids_at(event)) {
            if !same_day(one, at, other) {
                let it = &one.programme[at];
                let people = match it.who {
                    Person::Child(_) => &mut touched.children,
                    Person::Chaperone(_) => &mut touched.chaperones,
                };
                people.insert(one.season.reference_of(it.who).to_owned());
            }
        }
    }
    let rules = |board: &Board| Facts::of_rules(&board.season).fingerprint();
    if rules(old.1) != rules(new.1) {
        touched.all_messages = true;
        touched.children.extend(new.1.season.children.iter().map(|child| child.reference.clone()));
    }
    // What is counted from the first show, or of use until the season is over, moves for everybody.
    let ends = |board: &Board| {
        let rules = Item { who: Person::Child(ChildId(0)), event: None };
        (due::first_show(&board.season), board.over_at(rules))
    };
    touched.all_messages |= ends(old.1) != ends(new.1);
    for board in boards {
        let season = &board.season;
        for care in &season.cares {
            let who = season.reference_of(care.who);
            let guardian = &season.guardians[care.guardian.at()].reference;
            let child = touched.children.contains(who);
            if child && !care.who.is_chaperone() {
                touched.guardians.insert(guardian.clone());
            }
            if child || touched.chaperones.contains(who) || touched.guardians.contains(guardian) {
                touched.households.insert(season.households[care.household.at()].reference.clone());
            }
        }
    }
    touched
}

/// Whether somebody's day at an event is told and timed in one season as in the other.
fn same_day(one: &Board, at: ItineraryId, other: &Board) -> bool {
    let it = &one.programme[at];
    let event = &one.season.events[it.event.at()].reference;
    let there = other.item(one.season.reference_of(it.who), event);
    let there = there.and_then(|item| other.programme.position(item.who, item.event?));
    there.is_some_and(|there| {
        let same = &other.programme[there];
        one.fingerprint_at(at) == other.fingerprint_at(there)
            && (it.call_at, it.over_at, it.starts, it.park_by)
                == (same.call_at, same.over_at, same.starts, same.park_by)
    })
}

fn by_line(line: &Line<'_>, boards: [&Board; 2], touched: &mut Touched) {
    let Touched { children, guardians, chaperones, events, all_messages, .. } = touched;
    let of = |season: &Season, found: &dyn Fn(&Event) -> bool, events: &mut BTreeSet<Ref>| {
        let ours = season.events.iter().filter(|event| found(event));
        events.extend(ours.map(|event| event.reference.clone()));
    };
    for (row, board) in line.both().flat_map(|row| boards.map(|board| (row, board))) {
        let season = &board.season;
        let text = |column: &str| key(row.text(column));
        let named = |column: &str, event: &Event| {
            let cell = text(column);
            cell == "all"
                || cell == key(&event.name)
                || cell == key(&format!("{} {}", event.name, event.date))
        };
        let at_place = |place: &str, event: &Event| key(&season.places[event.place.at()].name) == place;
        let reference = row.text("ref");
        match line.sheet {
            "season" => {
                *all_messages = true;
                of(season, &|_| true, events);
            }
            "notices" => *all_messages = true,
            "places" => of(season, &|event| at_place(&text("name"), event), events),
            "ways" | "rooms" => of(season, &|event| at_place(&text("place"), event), events),
            "events" => {
                let day = format!("{reference}-");
                of(
                    season,
                    &|event| event.reference == reference || event.reference.starts_with(&day),
                    events,
                );
            }
            "numbers" => {
                let name = text("name");
                let danced = |slot: &Slot| match slot {
                    Slot::Number { number, .. } => key(&season.numbers[number.at()].name) == name,
                    Slot::Interval(_) => false,
                };
                of(season, &|event| event.order.iter().any(danced), events);
            }
            "running order" | "duties" => of(season, &|event| named("event", event), events),
            "house rules" => of(season, &|event| named("event", event), events),
            "children" | "chaperones" => of_person(board, reference, events),
            _ => {}
        }
        if line.sheet == "duties" {
            let who = text("chaperone");
            let found = season.chaperones.iter().filter(|chaperone| key(&chaperone.name) == who);
            chaperones.extend(found.map(|chaperone| chaperone.reference.clone()));
        }
    }
    match line.sheet {
        "children" => {
            let own = layout::sheet("children").map_or(&[][..], |sheet| sheet.columns);
            let own = own.iter().map(|column| column.name).filter(|name| !is_contact(name));
            if line.differs(own.map(str::to_owned)) {
                children.extend(line.both().map(|row| row.text("ref").to_owned()));
            }
            for slot in 1..=GUARDIANS_PER_CHILD {
                if line.differs(CONTACT.iter().map(|part| guardian_column(slot, part))) {
                    let refs = line.both().map(|row| row.text(&guardian_column(slot, "ref")).to_owned());
                    guardians.extend(refs.filter(|reference| !reference.is_empty()));
                }
            }
        }
        "chaperones" => {
            for row in line.both() {
                chaperones.insert(row.text("ref").to_owned());
                guardians.insert(row.text("ref").to_owned());
            }
        }
        _ => {}
    }
}

/// Whether a column of the children's sheet says how a guardian is known and reached.
fn is_contact(column: &str) -> bool {
    let part = column.strip_prefix("guardian ").and_then(|rest| rest.split_once(' '));
    part.is_some_and(|(_, part)| CONTACT.contains(&part))
}

/// The events at which somebody is wanted.
fn of_person(board: &Board, reference: &str, events: &mut BTreeSet<Ref>) {
    let Some(item) = board.item(reference, NO_EVENT) else { return };
    for at in board.programme.of_person(item.who) {
        events.insert(board.season.events[at.event.at()].reference.clone());
    }
}

fn lines<'a>(old: &'a Book, new: &'a Book) -> Vec<Line<'a>> {
    let mut out = Vec::new();
    for layout in SHEETS {
        if old.agrees(new, layout.name) {
            continue;
        }
        let (before, after) = (old.rows(layout.name), new.rows(layout.name));
        if layout.letter.is_some() {
            by_ref(layout.name, before, after, &mut out);
        } else {
            by_content(layout.name, before, after, &mut out);
        }
    }
    out
}

fn by_ref<'a>(sheet: &'static str, before: &'a [Row], after: &'a [Row], out: &mut Vec<Line<'a>>) {
    let name = |row: &'a Row| (row.text("ref"), row.text("language"));
    let mut old: HashMap<_, &Row> = before.iter().map(|row| (name(row), row)).collect();
    for row in after {
        match old.remove(&name(row)) {
            Some(was) if was.cells == row.cells => {}
            was => out.push(Line { sheet, old: was, new: Some(row) }),
        }
    }
    out.extend(old.into_values().map(|row| Line { sheet, old: Some(row), new: None }));
}

/// Rows without a ref are what they say: one that says something else is gone and another is new.
fn by_content<'a>(sheet: &'static str, before: &'a [Row], after: &'a [Row], out: &mut Vec<Line<'a>>) {
    let mut counts: BTreeMap<&BTreeMap<String, Cell>, (usize, &Row)> = BTreeMap::new();
    for row in before {
        counts.entry(&row.cells).or_insert((0, row)).0 += 1;
    }
    for row in after {
        match counts.get_mut(&row.cells) {
            Some((count, _)) if *count > 0 => *count -= 1,
            _ => out.push(Line { sheet, old: None, new: Some(row) }),
        }
    }
    let gone = counts.into_values().filter(|(count, _)| *count > 0);
    out.extend(gone.map(|(_, row)| Line { sheet, old: Some(row), new: None }));
}
