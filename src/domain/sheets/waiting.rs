//! The rooms: where each number's children wait and when they are called away, and the heads that each room has.

use super::rooms::count;
use super::{Paper, PaperCell, PaperSheet, SheetKind, Table, row};
use crate::domain::day::rooms::{Heads, Whereabouts, minute_of};
use crate::domain::season::RoomId;
use std::collections::{BTreeSet, HashMap};

pub(super) fn rooms(paper: &Paper<'_>) -> PaperSheet {
    let each = paper.rooms.heads.chunk_by(|a, b| a.room == b.room);
    let mut tables = vec![fullest(paper)];
    let leaving = leaving(paper);
    tables.extend(each.map(|heads| of_room(paper, heads, &leaving)));
    let mut sheet = paper.sheet(SheetKind::Rooms, "Rooms", tables);
    sheet.under.push(
        "Worked out from the running order, minute by minute, without children called away. Count the real heads. \
         If the house is held, every time moves with it."
            .to_owned(),
    );
    sheet
}

fn fullest(paper: &Paper<'_>) -> Table {
    let rows = paper
        .rooms
        .heads
        .chunk_by(|a, b| a.room == b.room)
        .filter_map(|heads| heads.iter().max_by_key(|now| (now.children, std::cmp::Reverse(now.from))))
        .map(|now| {
            let room = &paper.board.season.rooms[now.room.at()];
            row![
                room.name.clone(),
                room.most.map_or(String::new(), |most| most.to_string()),
                now.children.to_string(),
                now.adults.to_string(),
                paper.at(now.from * 60),
                too_full(paper, now),
            ]
        });
    Table::of(&["Room", "May hold", "Children", "Adults", "From", ""], rows)
        .headed("At the busiest moment")
        .noted(format!(
            "Adults: those who count and are not away with a number. Compared with {} children to an adult, the \
             season's planning figure, and with what a room may hold. It certifies nothing: the school and the local \
             licensing body decide.",
            paper.board.season.settings.children_per_adult
        ))
        .together()
}

fn too_full(paper: &Paper<'_>, now: &Heads) -> &'static str {
    let per_adult = paper.board.season.settings.children_per_adult as usize;
    let most = paper.board.season.rooms[now.room.at()].most;
    if most.is_some_and(|most| now.children > most as usize) {
        "TOO FULL"
    } else if now.children > now.adults * per_adult {
        "TOO FEW ADULTS"
    } else {
        ""
    }
}

/// One room: its heads whenever they change, and the numbers for which children leave it.
fn of_room(paper: &Paper<'_>, heads: &[Heads], leaving: &HashMap<(RoomId, i64), BTreeSet<usize>>) -> Table {
    let room = heads.first().map(|now| now.room);
    let called = |minute: i64| {
        let numbers = room.and_then(|room| leaving.get(&(room, minute))).into_iter().flatten();
        numbers.map(|at| &**paper.number(*at)).collect::<Vec<_>>().join(", ")
    };
    let mut rows = Vec::new();
    for (at, now) in heads.iter().enumerate() {
        rows.push(row![
            paper.at(now.from * 60),
            count(now.children),
            now.adults.to_string(),
            called(now.from),
            too_full(paper, now),
        ]);
        if heads.get(at + 1).is_none_or(|next| next.from > now.until) {
            rows.push(row![paper.at(now.until * 60), "empty", "", called(now.until), ""]);
        }
    }
    let numbers = paper.rooms.of_number.iter().enumerate();
    let groups: Vec<&str> =
        numbers.filter(|(_, of_number)| **of_number == room).map(|(at, _)| &**paper.number(at)).collect();
    let note =
        if groups.is_empty() { String::new() } else { format!("Waiting here: {}.", groups.join(", ")) };
    Table::of(&["From", "Children", "Adults", "Called away", ""], rows)
        .headed(room.map_or("", |room| paper.room(room)))
        .noted(note)
}

/// The numbers for which children leave each room at a minute; a sign-out is none.
fn leaving(paper: &Paper<'_>) -> HashMap<(RoomId, i64), BTreeSet<usize>> {
    let mut leaving: HashMap<(RoomId, i64), BTreeSet<usize>> = HashMap::new();
    for stretch in &paper.rooms.stretches {
        let Whereabouts::Room(room) = stretch.place else { continue };
        if paper.day.numbers[stretch.number].ends > stretch.until {
            leaving.entry((room, minute_of(stretch.until))).or_default().insert(stretch.number);
        }
    }
    leaving
}
