//! Places, ways in, numbers, events and running orders.

use super::super::book::{Book, Row};
use super::super::running_order::placed_in;
use super::super::season::{
    Concerned, Dismissal, Event, EventId, EventKind, Notice, Number, NumberId, Place, PlaceId, Room, Series,
    Slot,
};
use super::super::typed;
use super::super::words::{key, list};
use super::desk::{Desk, Names, Spot, counted, row_list};
use super::people::index;
use super::repeats::Repeat;
use super::settings::Head;
use super::{places, rooms};
use jiff::civil::{Date, DateTime, Time};
use jiff::{Span, ToSpan};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// Minutes of an interval where nothing is written.
const INTERVAL_MINUTES: u32 = 15;
/// Minutes an interval or a sign-in may take at most.
pub(super) const MINUTES_MAX: u32 = 240;
/// Hours from start to announced end that cannot be meant.
const EVENT_MAX_HOURS: i64 = 12;
/// Hours from call to start that cannot be meant.
const CALL_MAX_HOURS: i64 = 12;
/// Hours from call to start that are asked about.
const CALL_LONG_HOURS: i64 = 6;
/// A call before this hour is asked about: pm may be missing.
const EARLY_HOUR: i8 = 6;

/// What these sheets say.
pub(super) struct Programme {
    pub(super) places: Vec<Place>,
    pub(super) rooms: Vec<Room>,
    /// Row of each room.
    pub(super) room_rows: Vec<u32>,
    pub(super) numbers: Vec<Number>,
    pub(super) events: Vec<Event>,
    /// Row of each event.
    pub(super) event_rows: Vec<u32>,
    pub(super) number_names: Names<NumberId>,
    pub(super) event_names: Names<EventId>,
    /// Sheets with lines that could not be read: that something is nowhere to be found there may follow from it.
    pub(super) partly: BTreeSet<&'static str>,
}

impl Programme {
    /// The events of a name: one, or all of one line that comes round again; an error at the spot for anything else.
    pub(super) fn events_named(&self, name: &str, spot: Spot<'_>, desk: &mut Desk) -> Vec<EventId> {
        events_named(&self.event_names, &self.event_rows, name, spot, desk)
    }

    /// The lines that come round again, with the events they stand for.
    pub(super) fn series(&self, repeats: &[Repeat]) -> Vec<Series> {
        let of_row = |row: u32| {
            let events = self.event_rows.iter().enumerate().filter(move |(_, of)| **of == row);
            events.map(|(at, _)| EventId(index(at))).collect::<Vec<_>>()
        };
        repeats
            .iter()
            .filter_map(|repeat| {
                let events = of_row(repeat.row);
                let name = self.events.get(events.first()?.at())?.name.clone();
                Some(Series { name, words: repeat.words.clone(), events })
            })
            .collect()
    }
}

fn events_named(
    names: &Names<EventId>,
    rows: &[u32],
    name: &str,
    spot: Spot<'_>,
    desk: &mut Desk,
) -> Vec<EventId> {
    let all = names.all(name);
    let row = |id: &EventId| rows.get(id.at());
    if all.len() > 1 && all.iter().all(|id| row(id) == row(&all[0])) {
        return all.to_vec();
    }
    names.find(name, spot, desk).into_iter().collect()
}

/// A count, or what an empty cell means.
pub(super) fn number_or(row: &Row, column: &str, default: u32) -> u32 {
    typed::count(row.text(column)).unwrap_or(default)
}

fn yes(row: &Row, column: &str, default: bool) -> bool {
    typed::yes_no(row.text(column)).unwrap_or(default)
}

pub(super) fn read(book: &Book, head: &Head, desk: &mut Desk) -> Programme {
    let (places, place_names) = places::places(book, head, desk);
    let (rooms, room_rows) = rooms::rooms(book, &place_names, desk);
    let (numbers, number_names) = places::numbers(book, desk);
    let mut event_names = Names::new("events");
    let mut drafts = events(book, &place_names, &mut event_names, desk);
    drafts.sort_by_cached_key(|(event, row)| {
        (event.date, event.call, event.starts, key(&event.name), row.number)
    });
    for (at, (event, _)) in drafts.iter().enumerate() {
        let id = EventId(index(at));
        event_names.add(&event.name, id);
        event_names.add(&format!("{} {}", event.name, event.date), id);
    }
    let event_rows: Vec<u32> = drafts.iter().map(|(_, row)| row.number).collect();
    let orders = orders(book, (&event_names, &event_rows), &number_names, desk);
    for (at, (event, row)) in drafts.iter_mut().enumerate() {
        fill_order(event, row, orders.get(&EventId(index(at))), &numbers, &number_names, desk);
        event_times(event, row, desk);
    }
    same_event_twice(&drafts, desk);
    let mut partly = BTreeSet::new();
    let read = [
        ("places", places.len()),
        ("rooms", rooms.len()),
        ("numbers", numbers.len()),
        ("events", drafts.len()),
    ];
    partly.extend(
        read.into_iter().filter(|(sheet, read)| book.rows(sheet).len() > *read).map(|(sheet, _)| sheet),
    );
    Programme {
        places,
        rooms,
        room_rows,
        numbers,
        events: drafts.into_iter().map(|(event, _)| event).collect(),
        event_rows,
        number_names,
        event_names,
        partly,
    }
}

/// Refuses more minutes than can be meant.
pub(super) fn too_long(minutes: u32, spot: Spot<'_>, desk: &mut Desk) {
    if minutes > MINUTES_MAX {
        desk.error(
            spot,
            format!("{minutes} minutes is too long"),
            &format!("Write at most {MINUTES_MAX} minutes."),
        );
    }
}

/// The kind of that word.
pub(super) fn event_kind(word: &str) -> Option<EventKind> {
    match key(word).as_str() {
        "class" => Some(EventKind::Class),
        "rehearsal" => Some(EventKind::Rehearsal),
        "photographs" => Some(EventKind::Photographs),
        "dress rehearsal" => Some(EventKind::Dress),
        "show" => Some(EventKind::Show),
        _ => None,
    }
}

/// Whether adults may watch; "no" at a show is taken for a slip, since families would read that they wait outside.
fn watched(row: &Row, kind: EventKind, desk: &mut Desk) -> Option<bool> {
    let said = typed::yes_no(row.text("adults may watch")).ok();
    if said == Some(false) && kind == EventKind::Show {
        desk.warn(
            Spot::cell("events", row, "adults may watch"),
            "a show has an audience, so that adults may not watch is told to nobody",
            "Leave the cell blank.",
        );
        return None;
    }
    said
}

fn events<'a>(
    book: &'a Book,
    places: &Names<PlaceId>,
    names: &mut Names<EventId>,
    desk: &mut Desk,
) -> Vec<(Event, &'a Row)> {
    let mut found = Vec::new();
    for row in book.rows("events") {
        let place = if row.text("place").is_empty() {
            None
        } else {
            places.find(row.text("place"), Spot::cell("events", row, "place"), desk)
        };
        let kind = event_kind(row.text("kind"));
        let (date, call, starts) =
            (typed::date(row.text("date")), typed::time(row.text("call")), typed::time(row.text("starts")));
        let (Some(place), Some(kind), Ok(date), Ok(call), Ok(starts)) = (place, kind, date, call, starts)
        else {
            // What is missing has been told as a problem of its cell.
            names.add_broken(row.text("name"));
            continue;
        };
        let cast = row.text("cast");
        let event = Event {
            reference: row.text("ref").to_owned(),
            name: row.text("name").to_owned(),
            kind,
            concerns: concerned(row, kind),
            place,
            date,
            call,
            starts,
            ends: typed::time(row.text("ends")).ok(),
            dismissal: dismissal(row, desk),
            cast: (!cast.is_empty()).then(|| cast.to_owned()),
            arrive_ready: row.text("arrive ready").to_owned(),
            bring: row.text("bring").to_owned(),
            leave_home: row.text("leave at home").to_owned(),
            adults_watch: watched(row, kind, desk),
            turn_in: yes(row, "turn-in", false),
            cancelled: yes(row, "cancelled", false),
            decide_by: decide_by(row, date, starts, desk),
            order: Vec::new(),
            ordered: false,
        };
        found.push((event, row));
    }
    found
}

/// Whom an event is for, as its line says by itself.
fn concerned(row: &Row, kind: EventKind) -> Concerned {
    match key(row.text("for")).as_str() {
        "families" => Concerned::Families,
        "chaperones only" => Concerned::ChaperonesOnly,
        _ if kind == EventKind::Class => Concerned::ChaperonesOnly,
        _ => Concerned::Families,
    }
}

/// A class visit whose line does not say whom it is for is the families' where a notice tells them of it.
pub(super) fn told_of_classes(book: &Book, programme: &mut Programme, notices: &[Notice]) {
    let unsaid: HashSet<u32> =
        book.rows("events").iter().filter(|row| row.text("for").is_empty()).map(|row| row.number).collect();
    let ids = (0_u32..).map(EventId);
    for ((id, event), row) in ids.zip(&mut programme.events).zip(&programme.event_rows) {
        let told = |notice: &Notice| !notice.to.of_chaperones() && notice.about.covers(id, event.kind);
        if event.kind == EventKind::Class && unsaid.contains(row) && notices.iter().any(told) {
            event.concerns = Concerned::Families;
        }
    }
}

/// When it is decided whether an event takes place; an hour alone is on the day of the event.
fn decide_by(row: &Row, date: Date, starts: Time, desk: &mut Desk) -> Option<DateTime> {
    let text = row.text("decide by");
    if text.is_empty() {
        return None;
    }
    let spot = Spot::cell("events", row, "decide by");
    let Some(at) = moment(text, date) else {
        desk.error(
            spot,
            format!("'{}' is not a day and time", typed::shown(text)),
            "Write a day and a time, such as 2027-06-04 14:00, or just a time on the day of the event.",
        );
        return None;
    };
    if at > date.to_datetime(starts) {
        desk.warn(spot, "it is decided after the event has begun", "Check the day and the time.");
    }
    Some(at)
}

/// A day and an hour, or an hour on a day that is known.
pub(super) fn moment(text: &str, day: Date) -> Option<DateTime> {
    if let Ok(time) = typed::time(text) {
        return Some(day.to_datetime(time));
    }
    let splits = text.match_indices([' ', 'T']).map(|(at, _)| text.split_at(at));
    let mut read = splits.filter_map(|(date, time)| {
        let time = time.trim_start_matches([' ', 'T', ',']);
        Some(typed::date(date.trim_end_matches(',')).ok()?.to_datetime(typed::time(time).ok()?))
    });
    read.next()
}

fn dismissal(row: &Row, desk: &mut Desk) -> Dismissal {
    let text = row.text("dismissal");
    match key(text).as_str() {
        "" | "after the last number" | "after last number" => Dismissal::AfterLastNumber,
        "after own last number" | "after their own last number" => Dismissal::AfterOwnLastNumber,
        _ => match typed::time(text) {
            Ok(time) => Dismissal::At(time),
            Err(_) => {
                let reason = format!("'{}' does not say when children may leave", typed::shown(text));
                desk.error(
                    Spot::cell("events", row, "dismissal"),
                    reason,
                    "Write 'after the last number', 'after own last number', or a time.",
                );
                Dismissal::AfterLastNumber
            }
        },
    }
}

fn same_event_twice(drafts: &[(Event, &Row)], desk: &mut Desk) {
    let mut seen: HashMap<(String, jiff::civil::Date), u32> = HashMap::new();
    for (event, row) in drafts {
        if let Some(first) = seen.insert((key(&event.name), event.date), row.number) {
            let reason = format!("row {first} has an event of the same name on the same day");
            desk.error(
                Spot::cell("events", row, "name"),
                reason,
                "Give each a name of its own, such as one for the matinee and one for the evening.",
            );
        }
    }
}

/// One line of a running order as written.
struct Line<'a> {
    row: &'a Row,
    place: u32,
    slot: Slot,
}

fn orders<'a>(
    book: &'a Book,
    (events, event_rows): (&Names<EventId>, &[u32]),
    numbers: &Names<NumberId>,
    desk: &mut Desk,
) -> BTreeMap<EventId, Vec<Line<'a>>> {
    let mut orders: BTreeMap<EventId, Vec<Line<'a>>> = BTreeMap::new();
    for row in book.rows("running order") {
        let event = if row.text("event").is_empty() {
            None
        } else {
            let spot = Spot::cell("running order", row, "event");
            match events_named(events, event_rows, row.text("event"), spot, desk)[..] {
                [] => None,
                [one] => Some(one),
                [first, ..] => {
                    desk.error(
                        spot,
                        "the event repeats, and a running order is for one day",
                        "Write the date after the name, such as 'Class visit 2027-05-04', or list its numbers on the sheet 'events'.",
                    );
                    Some(first)
                }
            }
        };
        let name = row.text("number");
        let slot = if key(name) == "interval" {
            let minutes = number_or(row, "minutes", INTERVAL_MINUTES);
            too_long(minutes, Spot::cell("running order", row, "minutes"), desk);
            Some(Slot::Interval(minutes.min(MINUTES_MAX)))
        } else if name.is_empty() {
            None
        } else {
            let number = numbers.find(name, Spot::cell("running order", row, "number"), desk);
            let minutes = typed::count(row.text("minutes")).ok().filter(|minutes| *minutes > 0);
            too_long(minutes.unwrap_or(0), Spot::cell("running order", row, "minutes"), desk);
            let minutes = minutes.map(|minutes| minutes.min(MINUTES_MAX));
            number.map(|number| Slot::Number { number, call: typed::time(row.text("call")).ok(), minutes })
        };
        if let (Some(event), Some(slot), Ok(place)) = (event, slot, typed::count(row.text("place"))) {
            orders.entry(event).or_default().push(Line { row, place, slot });
        }
    }
    for lines in orders.values_mut() {
        lines.sort_by_key(|line| (line.place, line.row.number));
        order_faults(lines, desk);
    }
    orders
}

fn order_faults(lines: &[Line<'_>], desk: &mut Desk) {
    let mut danced: HashMap<NumberId, u32> = HashMap::new();
    let mut before: Option<&Line<'_>> = None;
    for line in lines {
        let spot = Spot::cell("running order", line.row, "place");
        let last = before.map_or(0, |b| b.place);
        match before {
            Some(before) if before.place == line.place => {
                let reason = format!("place {} is taken by row {} already", line.place, before.row.number);
                desk.error(spot, reason, "Give each line of an event a place of its own.");
            }
            _ if line.place == 0 => desk.error(spot, "places are counted from 1", "Write 1 for the first."),
            _ if line.place > last + 1 => {
                let reason = format!("after place {last} comes place {}", line.place);
                desk.hint(spot, reason, "Check that no number is missing; the order is used as it stands.");
            }
            _ => {}
        }
        if let Slot::Interval(_) = line.slot {
            empty_act(line, before, desk);
        }
        if let Slot::Number { number, .. } = line.slot
            && let Some(first) = danced.insert(number, line.row.number)
        {
            let reason = format!("the number is in this running order in row {first} too");
            desk.error(
                Spot::cell("running order", line.row, "number"),
                reason,
                "Keep one line, or add the repeat as a number with a name of its own.",
            );
        }
        before = Some(line);
    }
    if let Some(line) = before.filter(|line| matches!(line.slot, Slot::Interval(_))) {
        desk.hint(
            Spot::cell("running order", line.row, "number"),
            "an interval stands after the last number, so the act that follows it is empty",
            "Take the interval out, or add the numbers after it.",
        );
    }
}

/// An interval with no number since the one before, or since curtain up.
fn empty_act(line: &Line<'_>, before: Option<&Line<'_>>, desk: &mut Desk) {
    let reason = match before.map(|before| (&before.slot, before.row.number)) {
        None => "the running order begins with an interval, so its first act is empty".to_owned(),
        Some((Slot::Interval(_), row)) => {
            format!("this interval stands right after the one in row {row}, so the act between them is empty")
        }
        Some((Slot::Number { .. }, _)) => return,
    };
    let cure = "Keep one interval where the audience goes out; for a longer one write its minutes.";
    desk.warn(Spot::cell("running order", line.row, "number"), reason, cure);
}

fn fill_order(
    event: &mut Event,
    row: &Row,
    lines: Option<&Vec<Line<'_>>>,
    numbers: &[Number],
    names: &Names<NumberId>,
    desk: &mut Desk,
) {
    let listed = row.text("numbers");
    if let Some(lines) = lines {
        if !listed.is_empty() {
            desk.hint(
                Spot::cell("events", row, "numbers"),
                "the event has a running order, so this list is not used",
                "Empty the cell, or take the event out of the sheet 'running order'.",
            );
        }
        event.ordered = true;
        event.order = lines.iter().map(|line| line.slot.clone()).collect();
        if event.by_slots() && row.text("dismissal").is_empty() {
            event.dismissal = Dismissal::AfterOwnLastNumber;
        }
        slots(event, lines, desk);
        let ends = ending(event, numbers);
        for line in lines {
            // Numbers of a long rehearsal are called while it runs; only after its end can nothing be meant.
            if let Slot::Number { call: Some(call), .. } = line.slot
                && event.date.to_datetime(call) > ends
            {
                desk.warn(
                    Spot::cell("running order", line.row, "call"),
                    "the number is called after the event is over",
                    "Check the time.",
                );
            }
        }
        return;
    }
    let wanted: Vec<NumberId> = if listed.is_empty() {
        (0..numbers.len()).map(|at| NumberId(index(at))).collect()
    } else {
        let mut wanted: Vec<NumberId> = list(listed)
            .filter_map(|name| names.find(name, Spot::cell("events", row, "numbers"), desk))
            .collect();
        wanted.sort();
        wanted.dedup();
        wanted
    };
    event.order =
        wanted.into_iter().map(|number| Slot::Number { number, call: None, minutes: None }).collect();
    if event.ends.is_none() {
        desk.warn(
            Spot::cell("events", row, "ends"),
            "there is neither an end nor a running order, so families cannot be told when children leave",
            "Write when it ends.",
        );
    }
}

/// Whether the slots of an event are whole: minutes beside those that have a call, calls in order; and minutes nowhere
/// else, where they would not count.
fn slots(event: &Event, lines: &[Line<'_>], desk: &mut Desk) {
    let numbers = lines.iter().filter_map(|line| match line.slot {
        Slot::Number { call, minutes, .. } => Some((line.row, call, minutes)),
        Slot::Interval(_) => None,
    });
    let numbers: Vec<(&Row, Option<Time>, Option<u32>)> = numbers.collect();
    if !event.by_slots() {
        if let Some((row, ..)) = numbers.iter().find(|(.., minutes)| minutes.is_some()) {
            desk.hint(
                Spot::cell("running order", row, "minutes"),
                format!(
                    "'{}' does not go by slots, so minutes beside its numbers are not used",
                    typed::shown(&event.name)
                ),
                "Write lengths on the sheet 'numbers'; give numbers calls of their own where each has a slot.",
            );
        }
        return;
    }
    let without: Vec<u32> = numbers
        .iter()
        .filter(|(_, call, minutes)| call.is_some() && minutes.is_none())
        .map(|(row, ..)| row.number)
        .collect();
    if let Some(first) = without.first() {
        let reason = format!(
            "no minutes are written for {} of '{}' ({}): each is taken to last no longer than its number, and children may be \
             collected right after it",
            counted(without.len(), "slot", "slots"),
            typed::shown(&event.name),
            row_list(&without)
        );
        desk.warn(
            Spot::named("running order", *first, "minutes"),
            reason,
            "Write how many minutes each slot lasts.",
        );
    }
    let called = numbers.iter().filter_map(|(row, call, _)| Some((row, (*call)?)));
    let called: Vec<(&&Row, Time)> = called.collect();
    if let Some([_, (row, call)]) = called.windows(2).find(|pair| pair[1].1 < pair[0].1) {
        let reason = format!("it is called at {}, before the number ahead of it", call.strftime("%H:%M"));
        desk.warn(
            Spot::cell("running order", row, "call"),
            reason,
            "Put the slots in the order of their calls.",
        );
    }
}

fn event_times(event: &Event, row: &Row, desk: &mut Desk) {
    if event.call > event.starts {
        desk.error(
            Spot::cell("events", row, "call"),
            "children are called after the event starts",
            "Write a call that is earlier than the start.",
        );
    }
    let waits = hours_between(event.date.to_datetime(event.call), event.date.to_datetime(event.starts));
    let cure = "Write pm or the 24-hour clock if the afternoon is meant.";
    let early = || format!("children are called {waits} hours before it starts");
    if waits >= CALL_MAX_HOURS {
        desk.error(Spot::cell("events", row, "call"), early(), cure);
    } else if waits >= CALL_LONG_HOURS {
        desk.warn(Spot::cell("events", row, "call"), early(), cure);
    } else if event.call.hour() < EARLY_HOUR {
        desk.hint(
            Spot::cell("events", row, "call"),
            format!("the call is {} in the morning", event.call.strftime("%H:%M")),
            cure,
        );
    }
    let starts = event.date.to_datetime(event.starts);
    if event.ends.is_some_and(|ends| hours_between(starts, announced(event, ends)) >= EVENT_MAX_HOURS) {
        desk.error(
            Spot::cell("events", row, "ends"),
            "the event ends before it starts, or lasts twelve hours",
            "Check both times.",
        );
    }
    if let Dismissal::At(time) = event.dismissal
        && time < event.starts
        && event.ends.is_none_or(|ends| ends >= event.starts)
    {
        desk.error(
            Spot::cell("events", row, "dismissal"),
            "children are dismissed before the event starts",
            "Check both times.",
        );
    }
}

fn hours_between(from: DateTime, to: DateTime) -> i64 {
    to.duration_since(from).as_hours()
}

/// When an event is over, local time: as announced, else by its running order, else when it starts.
pub(super) fn ending(event: &Event, numbers: &[Number]) -> DateTime {
    let starts = event.date.to_datetime(event.starts);
    if let Some(ends) = event.ends {
        return announced(event, ends);
    }
    if !event.ordered {
        return starts;
    }
    let last = placed_in(numbers, event, &event.order).last().map_or(0, |last| last.end + last.changeover);
    later(starts, i64::from(last).seconds())
}

/// An announced end; a time before the start is after midnight.
fn announced(event: &Event, ends: Time) -> DateTime {
    let ends = event.date.to_datetime(ends);
    if ends < event.date.to_datetime(event.starts) { later(ends, 1.day()) } else { ends }
}

fn later(from: DateTime, by: Span) -> DateTime {
    from.checked_add(by).unwrap_or(from)
}

/// The numbers danced at an event.
pub(super) fn danced(event: &Event) -> HashSet<NumberId> {
    event
        .order
        .iter()
        .filter_map(|slot| match slot {
            Slot::Number { number, .. } => Some(*number),
            Slot::Interval(_) => None,
        })
        .collect()
}

/// The first call at an event, over its own and its numbers'.
pub(super) fn first_call(event: &Event) -> Time {
    event
        .order
        .iter()
        .filter_map(|slot| match slot {
            Slot::Number { call, .. } => *call,
            Slot::Interval(_) => None,
        })
        .fold(event.call, Time::min)
}
