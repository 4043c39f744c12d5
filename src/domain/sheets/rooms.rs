//! Sheets that hang in a room: the quick changes, the running order, the roll at the assembly point, the photographs.

use super::{NOBODY, Paper, PaperCell, PaperSheet, SheetKind, Table, length, minute, row};
use crate::domain::day::Day;
use crate::domain::day::turns::Ease;
use crate::domain::season::{ChildId, EventId, EventKind};
use std::collections::{BTreeMap, HashSet};

pub(super) fn quick_changes(paper: &Paper<'_>) -> PaperSheet {
    let day = paper.day;
    let rows = day.turns.iter().filter(|turn| turn.ease != Ease::Easy).map(|turn| {
        let off = &day.numbers[turn.from];
        let part = |at| day.of_child(turn.child).iter().find(|part| part.at == at);
        row![
            paper.at(off.ends),
            paper.child(turn.child),
            paper.number(turn.from),
            paper.number(turn.into),
            &paper.numbers[turn.into].on,
            if turn.ease == Ease::Impossible { "NO TIME".to_owned() } else { length(turn.left) },
            paper.with_whom(part(turn.from)),
            paper.with_whom(part(turn.into)),
            "☐",
        ]
    });
    let columns = &["Off", "Child", "Out of", "Into", "On", "Minutes", "Brought by", "Taken over by", "Done"];
    let table = Table::of(columns, rows).headed("In order of time").noted(
        "Minutes are what is left after the walks off and on. NO TIME: less than the shortest change that was \
         planned; tell the coordinator, who changes the order or leaves the child out of one of the two.",
    );
    let mut sheet = paper.sheet(SheetKind::QuickChanges, "Quick-change room", vec![table]);
    sheet.under.extend(paper.rooms.quick_change.map(|room| format!("Wait at {}.", paper.room(room))));
    sheet.under.push(
        "Children change out of sight of the stage and the wings. Two adults stay in earshot of each other. No adult \
         changes here. No telephones and no pictures."
            .to_owned(),
    );
    sheet
}

pub(super) fn wall(paper: &Paper<'_>) -> PaperSheet {
    let day = paper.day;
    let by_slots = day.event().by_slots();
    let mut rows = Vec::new();
    if day.event().ordered {
        for (at, number) in day.numbers.iter().enumerate() {
            if at > 0 && number.act != day.numbers[at - 1].act {
                rows.push(row!["", "Interval", "", "", paper.at(day.numbers[at - 1].ends), ""]);
            }
            let named = &paper.board.season.numbers[number.number.at()];
            let called = match number.call {
                Some(call) => paper.at(call),
                None if by_slots => String::new(),
                None if number.beginner => format!("{} beginners", paper.at(number.ready)),
                None => paper.at(number.ready),
            };
            rows.push(row![
                (at + 1).to_string(),
                named.name.clone(),
                named.class.clone(),
                called,
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
    const SHOW: &[&str; 6] = &["", "Number", "Class", "Ready", "On", "Length"];
    const SLOTS: &[&str; 6] = &["", "Number", "Class", "Called", "On", "Length"];
    let order = Table::of(if by_slots { SLOTS } else { SHOW }, rows).headed("Running order");
    paper.sheet(SheetKind::Wall, "Running order", vec![order, calls])
}

pub(super) fn assembly(paper: &Paper<'_>) -> PaperSheet {
    let day = paper.day;
    let mut groups: BTreeMap<(usize, Option<usize>), Vec<ChildId>> = BTreeMap::new();
    for child in paper.children.iter().copied() {
        let Some(first) = day.of_child(child).first() else { continue };
        groups.entry((first.at, first.with)).or_default().push(child);
    }
    let tables = groups.into_iter().map(|((at, with), children)| {
        let with = with.map_or(NOBODY, |at| paper.with(at));
        let heading = format!("{} · {with} · {}", paper.number(at), count(children.len()));
        let rows = children.into_iter().map(|child| row![paper.name(child), "☐"]);
        Table::of(&["Child", "Here"], rows).headed(heading).together()
    });
    let mut sheet = paper.sheet(SheetKind::Assembly, "Roll for the assembly point", tables.collect());
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

pub(super) fn photographs(paper: &Paper<'_>) -> PaperSheet {
    let day = paper.day;
    let mut rows = Vec::new();
    if day.event().kind == EventKind::Photographs {
        let changing = changing(paper);
        let place = &paper.board.season.places[day.event().place.at()];
        let collect_at = if place.collect_at.is_empty() { &place.door } else { &place.collect_at };
        for (at, number) in day.numbers.iter().enumerate() {
            let line: Vec<ChildId> = paper.numbers[at].line_up.iter().map(|part| part.child).collect();
            let coming: Vec<ChildId> = line.into_iter().filter(|child| !day.absent.contains(child)).collect();
            let first: Vec<&str> = coming
                .iter()
                .filter(|child| changing.contains(child))
                .map(|child| &**paper.child(*child))
                .collect();
            rows.push(row![
                number.call.map_or_else(
                    || minute(day.event().date.to_datetime(day.event().call)),
                    |call| paper.at(call)
                ),
                if day.event().ordered { paper.at(number.starts) } else { String::new() },
                paper.number(at),
                coming.len().to_string(),
                first.join(", "),
                paper.with(at),
                collect_at.clone(),
                "☐",
            ]);
        }
    }
    let columns = &["Call", "On", "Number", "Children", "First", "Walked by", "Collected at", "Done"];
    let table = Table::of(columns, rows)
        .headed("In order")
        .noted("Children with a quick change at a show go first within their number.");
    let mut sheet = paper.sheet(SheetKind::Photographs, "Photographs", vec![table]);
    sheet.under.push(
        "Only children who want it, and whose guardian has agreed, are photographed, in costume. Two adults stay. Nobody \
         but the photographer takes pictures, and none where children change."
            .to_owned(),
    );
    sheet
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
