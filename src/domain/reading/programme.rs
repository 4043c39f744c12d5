//! Places, ways in, numbers, events and running orders.

use super::super::book::{Book, Row};
use super::super::season::{
    Dismissal, Event, EventId, EventKind, Number, NumberId, Place, PlaceId, Room, Series, Slot,
};
use super::super::typed;
use super::super::words::{key, list};
use super::desk::{Desk, Names, Spot};
use super::people::index;
use super::repeats::Repeat;
use super::settings::Head;
use super::{places, rooms};
use jiff::civil::{Date, DateTime, Time};
use jiff::{Span, ToSpan};
use std::collections::{BTreeMap, HashMap, HashSet};

/// Minutes of an interval where nothing is written.
const INTERVAL_MINUTES: u32 = 15;
/// Minutes an interval or a sign-in may take at most.
pub(super) const MINUTES_MAX: u32 = 240;
/// Hours from start to announced end that cannot be meant.
const EVENT_MAX_HOURS: i64 = 12;
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
    Programme {
        places,
        rooms,
        room_rows,
        numbers,
        events: drafts.into_iter().map(|(event, _)| event).collect(),
        event_rows,
        number_names,
        event_names,
    }
}

/// Refuses more minutes than can be meant.
pub(super) fn too_long(minutes: u32, spot: Spot<'_>, desk: &mut Desk) {
    if minutes > MINUTES_MAX {
        desk.error(
            spot,
            format!("{minutes} minutes cannot be meant"),
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
            adults_watch: yes(row, "adults may watch", false),
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
            format!("'{}' is no day and hour", typed::shown(text)),
            "Write a day and an hour, such as 2027-06-04 14:00, or an hour on the day of the event.",
        );
        return None;
    };
    if at > date.to_datetime(starts) {
        desk.warn(spot, "it is decided after the event has begun", "Check the day and the hour.");
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
                        "the event comes round again, and a running order is for one day",
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
            number.map(|number| Slot::Number { number, call: typed::time(row.text("call")).ok() })
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
            _ if line.place == 0 => desk.error(spot, "places are counted from 1", "Let the first be 1."),
            _ if line.place > last + 1 => {
                let reason = format!("after place {last} comes place {}", line.place);
                desk.warn(spot, reason, "Check that no number is missing; the order is used as it stands.");
            }
            _ => {}
        }
        if let Slot::Interval(_) = line.slot {
            empty_act(line, before, desk);
        }
        if let Slot::Number { number, .. } = line.slot
            && let Some(first) = danced.insert(number, line.row.number)
        {
            let reason = format!("the number stands in this running order in row {first} too");
            desk.error(
                Spot::cell("running order", line.row, "number"),
                reason,
                "Keep one line, or add the repeat as a number with a name of its own.",
            );
        }
        before = Some(line);
    }
    if let Some(line) = before.filter(|line| matches!(line.slot, Slot::Interval(_))) {
        desk.warn(
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
            desk.warn(
                Spot::cell("events", row, "numbers"),
                "the event has a running order, so this list is not used",
                "Empty the cell, or take the event out of the sheet 'running order'.",
            );
        }
        event.ordered = true;
        event.order = lines.iter().map(|line| line.slot.clone()).collect();
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
    event.order = wanted.into_iter().map(|number| Slot::Number { number, call: None }).collect();
    if event.ends.is_none() {
        desk.warn(
            Spot::cell("events", row, "ends"),
            "no end is written and there is no running order, so dismissal cannot be told",
            "Write when it ends.",
        );
    }
}

fn event_times(event: &Event, row: &Row, desk: &mut Desk) {
    if event.call > event.starts {
        desk.error(
            Spot::cell("events", row, "call"),
            "children are called after the event starts",
            "Let the call be earlier than the start.",
        );
    }
    if event.call.hour() < EARLY_HOUR {
        desk.warn(
            Spot::cell("events", row, "call"),
            format!("the call is {} in the morning", event.call.strftime("%H:%M")),
            "Write pm or the 24-hour clock if the afternoon is meant.",
        );
    }
    let starts = event.date.to_datetime(event.starts);
    if event.ends.is_some() && hours_between(starts, ending(event, &[])) >= EVENT_MAX_HOURS {
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
        let ends = event.date.to_datetime(ends);
        return if ends < starts { later(ends, 1.day()) } else { ends };
    }
    if !event.ordered {
        return starts;
    }
    let seconds: i64 = event
        .order
        .iter()
        .map(|slot| match slot {
            Slot::Interval(minutes) => i64::from(*minutes) * 60,
            Slot::Number { number, .. } => {
                numbers.get(number.at()).map_or(0, |n| i64::from(n.seconds) + i64::from(n.changeover_seconds))
            }
        })
        .sum();
    later(starts, seconds.seconds())
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
