//! Rooms with more children than they may hold or than the adults in them may have, and children for whom none is written.

use super::super::day::Day;
use super::super::day::rooms::{Heads, Rooms, Whereabouts};
use super::super::season::{NumberId, RoomId, Season, Settings};
use super::days::{Rows, at_events};
use super::desk::{Alike, CASES, Desk, Spot, counted, row_list};
use std::collections::{BTreeMap, BTreeSet};

/// Numbers named in one sentence at most.
const NUMBERS_TOLD: usize = 4;

/// A table of ratios that has nothing to be held against.
pub(super) fn of_season(season: &Season, rows: &Rows, desk: &mut Desk) {
    let Some(declared) = &season.settings.ratios else { return };
    if season.rooms.is_empty() {
        let reason =
            format!("the ratio table {} is for rooms, and the workbook has none", declared.table.name);
        let cure = "List the rooms on the sheet 'rooms' and name them on the sheet 'duties'.";
        desk.warn(Spot::sheet("season"), reason, cure);
        return;
    }
    if declared.table.row(None).is_some() {
        return;
    }
    let ageless = season.children.iter().zip(&rows.people.children).filter(|(child, _)| child.ages.is_none());
    let ageless: Vec<u32> = ageless.map(|(_, row)| *row).collect();
    if let Some(first) = ageless.first() {
        let reason = format!(
            "the workbook has no ages for {} ({}); the ratio table {} goes by the youngest in a room whose ages are written",
            counted(ageless.len(), "child", "children"),
            row_list(&ageless),
            declared.table.name
        );
        desk.hint(Spot::named("children", *first, "ages"), reason, "Write an age band such as 5-6.");
    }
}

pub(super) fn run(day: &Day<'_>, rooms: &Rooms, rows: &Rows, desk: &mut Desk) {
    two_rooms(day, rooms, rows, desk);
    unwritten(day, rooms, rows, desk);
    for heads in rooms.heads.chunk_by(|a, b| a.room == b.room) {
        over_cap(day, heads, rows, desk);
        too_few_adults(day, heads, rows, desk);
    }
}

/// A number's children cannot be told to wait in two rooms.
fn two_rooms(day: &Day<'_>, rooms: &Rooms, rows: &Rows, desk: &mut Desk) {
    let taken: BTreeMap<NumberId, RoomId> = day
        .numbers
        .iter()
        .zip(&rooms.of_number)
        .filter_map(|(number, room)| Some((number.number, (*room)?)))
        .collect();
    let mut told = BTreeSet::new();
    for (duty, row) in day.season.duties.iter().zip(&rows.duties).filter(|(duty, _)| duty.event == day.id) {
        let (Some(number), Some(room)) = (duty.number, duty.room) else { continue };
        let Some(first) = taken.get(&number).filter(|first| **first != room) else { continue };
        if told.insert(number) {
            let reason = format!(
                "the chaperones of '{}' have two rooms at '{}'; its children wait in '{}', the first",
                day.season.numbers[number.at()].name,
                day.event().name,
                day.season.rooms[first.at()].name
            );
            let cure = "Write one room for all of them, or make two numbers of it.";
            desk.warn(Spot::named("duties", *row, "room"), reason, cure);
        }
    }
}

fn unwritten(day: &Day<'_>, rooms: &Rooms, rows: &Rows, desk: &mut Desk) {
    let without = rooms.stretches.iter().filter(|stretch| stretch.place == Whereabouts::Unwritten);
    let children: BTreeSet<_> = without.clone().map(|stretch| stretch.child).collect();
    let numbers: BTreeSet<usize> = without.map(|stretch| stretch.number).collect();
    if children.is_empty() {
        return;
    }
    let named: Vec<&str> = numbers
        .iter()
        .take(NUMBERS_TOLD)
        .map(|at| day.season.numbers[day.numbers[*at].number.at()].name.as_str())
        .collect();
    let more = if numbers.len() > NUMBERS_TOLD { " and others" } else { "" };
    let said = |at: &str| {
        let children = counted(children.len(), "child", "children");
        format!("the workbook has no room for {children} before {}{more}, at {at}", named.join(", "))
    };
    let cure = "Name a room beside the chaperones of these numbers on the sheet 'duties'.";
    at_events(day, Spot::row("events", rows.events[day.id.at()]), said, cure, desk);
}

fn over_cap(day: &Day<'_>, heads: &[Heads], rows: &Rows, desk: &mut Desk) {
    let Some(first) = heads.first() else { return };
    let room = &day.season.rooms[first.room.at()];
    let Some(most) = room.most.map(|most| most as usize) else { return };
    let fullest = heads.iter().max_by_key(|now| (now.children, std::cmp::Reverse(now.from)));
    let Some(fullest) = fullest.filter(|now| now.children > most) else { return };
    let case = format!(
        "{} at '{}' from {} for {}",
        counted(fullest.children, "child", "children"),
        day.event().name,
        clock(day, fullest.from),
        minutes(heads, |now| now.children > most)
    );
    let said = |rest: &str| format!("'{}' may hold {most} and is too full: {rest}", room.name);
    let alike = Alike { many: said(&CASES.to_string()), case };
    let cure = "Give some of the groups another room on the sheet 'duties'. The venue decides how many a room holds.";
    desk.warn_alike(Spot::row("rooms", rows.rooms[fullest.room.at()]), said(&alike.case), alike, cure);
}

/// Adults that a room needs, and why.
fn needs(settings: &Settings, now: &Heads) -> (usize, String) {
    let per_adult = settings.children_per_adult as usize;
    let plain = now.children.div_ceil(per_adult);
    let declared = settings.ratios.as_ref();
    let table = declared.and_then(|d| Some((d, d.table.adults(now.children, now.youngest)?)));
    match table {
        Some((declared, (adults, row))) if adults > plain => {
            let age =
                now.youngest.map_or(String::new(), |age| format!(", the youngest in the room being {age}"));
            let two = if declared.table.two_adults { " and two adults at least" } else { "" };
            let why = format!(
                "{} to an adult{two}{age}: {}; chosen by {}",
                counted(row.children, "child", "children"),
                row.source.words(),
                declared.set_by
            );
            (adults, why)
        }
        _ => (
            plain,
            format!(
                "{} to an adult: the setting 'children per adult'",
                counted(per_adult, "child", "children")
            ),
        ),
    }
}

fn too_few_adults(day: &Day<'_>, heads: &[Heads], rows: &Rows, desk: &mut Desk) {
    let settings = &day.season.settings;
    let short = |now: &Heads| needs(settings, now).0.saturating_sub(now.adults);
    let worst = heads.iter().max_by_key(|now| (short(now), std::cmp::Reverse(now.from)));
    let Some(worst) = worst.filter(|now| short(now) > 0) else { return };
    let (adults, why) = needs(settings, worst);
    let case = format!(
        "{} with {} counted at '{}' from {} for {}, where {adults} would be needed",
        counted(worst.children, "child", "children"),
        counted(worst.adults, "adult", "adults"),
        day.event().name,
        clock(day, worst.from),
        minutes(heads, |now| short(now) > 0)
    );
    let room = &day.season.rooms[worst.room.at()].name;
    let said = |rest: &str| format!("'{room}' has too few adults ({why}): {rest}");
    let alike = Alike { many: said(&CASES.to_string()), case };
    let cure = "Give more adults this room on the sheet 'duties', or some of the groups another. It is advice: the school and \
                local law decide.";
    desk.warn_alike(Spot::row("rooms", rows.rooms[worst.room.at()]), said(&alike.case), alike, cure);
}

fn clock(day: &Day<'_>, minute: i64) -> String {
    day.clock(minute * 60).strftime("%H:%M").to_string()
}

fn minutes(heads: &[Heads], of: impl Fn(&Heads) -> bool) -> String {
    let minutes: i64 = heads.iter().filter(|now| of(now)).map(|now| now.until - now.from).sum();
    counted(usize::try_from(minutes).unwrap_or(0), "minute", "minutes")
}
