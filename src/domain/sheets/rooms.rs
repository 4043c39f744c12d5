//! Sheets that hang in a room: the quick changes, the running order, the roll at the assembly point, the photographs.

use super::{Cell, Kind, Paper, Sheet, Table, length, minute, row};
use crate::domain::board::Item;
use crate::domain::day::Day;
use crate::domain::day::turns::Ease;
use crate::domain::season::{ChildId, EventId, EventKind};
use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;

pub(super) fn quick_changes(paper: &Paper<'_>) -> Sheet {
    let day = paper.day;
    let rows = day.turns.iter().filter(|turn| turn.ease != Ease::Easy).map(|turn| {
        let off = &day.numbers[turn.from];
        row![
            paper.at(off.ends),
            paper.child(turn.child),
            paper.number(turn.from),
            paper.number(turn.into),
            &paper.numbers[turn.into].on,
            if turn.ease == Ease::Impossible { "NO TIME".to_owned() } else { length(turn.left) },
            paper.with(turn.from),
            paper.with(turn.into),
            "☐",
        ]
    });
    let columns = &["Off", "Child", "Out of", "Into", "On", "Minutes", "Brought by", "Taken over by", "Done"];
    let table = Table::of(columns, rows).headed("In order of time").noted(
        "Minutes are what is left after the walks off and on. NO TIME: less than the shortest change that was \
         planned; change the order, or leave the child out of one of the two.",
    );
    let mut sheet = paper.sheet(Kind::QuickChanges, "Quick-change room", vec![table]);
    sheet.under.extend(paper.rooms.quick_change.map(|room| format!("Wait at {}.", paper.room(room))));
    sheet
}

pub(super) fn wall(paper: &Paper<'_>) -> Sheet {
    let day = paper.day;
    let season = &paper.board.season;
    let mut rows = Vec::new();
    if day.event().ordered {
        for (at, number) in day.numbers.iter().enumerate() {
            if at > 0 && number.act != day.numbers[at - 1].act {
                rows.push(row!["", "Interval", "", "", paper.at(day.numbers[at - 1].ends), ""]);
            }
            let named = &season.numbers[number.number.at()];
            let ready = if number.beginner {
                format!("{} beginners", paper.at(number.ready))
            } else {
                paper.at(number.ready)
            };
            rows.push(row![
                (at + 1).to_string(),
                named.name.clone(),
                named.class.clone(),
                ready,
                paper.at(number.starts),
                length(number.ends - number.starts),
            ]);
        }
    }
    let called = day.calls().into_iter().filter(|_| !rows.is_empty());
    let called = called.map(|(name, at)| row![name, paper.at(at), (-at / 60).to_string()]);
    let calls = Table::of(&["Call", "At", "Minutes before"], called.collect::<Vec<_>>())
        .headed("Calls")
        .noted("If the house is held, every call moves with it.")
        .together();
    let order = Table::of(&["", "Number", "Class", "Ready", "On", "Length"], rows).headed("Running order");
    paper.sheet(Kind::Wall, "Running order", vec![order, calls])
}

pub(super) fn assembly(paper: &Paper<'_>) -> Sheet {
    let day = paper.day;
    let mut groups: BTreeMap<usize, Vec<&Arc<str>>> = BTreeMap::new();
    for child in paper.children.iter().copied() {
        let Some(first) = day.of_child(child).first() else { continue };
        groups.entry(first.at).or_default().push(paper.child(child));
    }
    let tables = groups.into_iter().map(|(at, children)| {
        let with = paper.with(at);
        let heading = format!("{} · {with} · {}", paper.number(at), count(children.len()));
        let rows = children.into_iter().map(|child| row![child, "☐"]);
        Table::of(&["Child", "Here"], rows).headed(heading).together()
    });
    let mut sheet = paper.sheet(Kind::Assembly, "Roll for the assembly point", tables.collect());
    sheet.under.push(format!(
        "{}, each under its first number of the day. Take the sign-in sheets out too; nobody is handed over until the \
         roll is complete; nobody goes back in until the fire service says so.",
        count(paper.children.len())
    ));
    sheet
}

pub(super) fn count(children: usize) -> String {
    if children == 1 { "1 child".to_owned() } else { format!("{children} children") }
}

pub(super) fn photographs(paper: &Paper<'_>) -> Sheet {
    let day = paper.day;
    let mut rows = Vec::new();
    if day.event().kind == EventKind::Photographs {
        let changing = changing(paper);
        let collect = &paper.board.season.places[day.event().place.at()];
        let collect_at = if collect.collect_at.is_empty() { &collect.door } else { &collect.collect_at };
        let mut order: Vec<(String, bool, usize)> = (0..day.numbers.len())
            .map(|at| {
                let line = &paper.numbers[at].line_up;
                let calls = line.iter().filter_map(|part| {
                    let item = Item { who: part.child.into(), event: Some(day.id) };
                    paper.board.itinerary(item).map(|it| minute(it.call))
                });
                let first = calls.min().unwrap_or_default();
                (first, !line.iter().any(|part| changing.contains(&part.child)), at)
            })
            .collect();
        order.sort();
        for (call, _, at) in order {
            let line = &paper.numbers[at].line_up;
            let first: Vec<&str> = line
                .iter()
                .filter(|part| changing.contains(&part.child))
                .map(|part| &**paper.child(part.child))
                .collect();
            rows.push(row![
                call,
                paper.number(at),
                line.len().to_string(),
                first.join(", "),
                paper.with(at),
                collect_at.clone(),
                "☐",
            ]);
        }
    }
    let columns = &["Call", "Number", "Children", "First", "Walked by", "Collected at", "Done"];
    let table = Table::of(columns, rows)
        .headed("In order")
        .noted("Children with a quick change at a show go first within their number.");
    paper.sheet(Kind::Photographs, "Photographs", vec![table])
}

/// Children with a quick change at any show.
fn changing(paper: &Paper<'_>) -> HashSet<ChildId> {
    let season = &paper.board.season;
    (0_u32..)
        .zip(&season.events)
        .filter(|(_, event)| event.kind == EventKind::Show && !event.cancelled)
        .flat_map(|(at, _)| Day::of(season, EventId(at)).turns)
        .filter(|turn| turn.ease != Ease::Easy)
        .map(|turn| turn.child)
        .collect()
}
