//! Sheets that families meet: the door, the tag on a costume bag, the slip at the class door.

use super::rooms::count;
use super::{
    CANT_COME, FETCH_LEAD, HEARD, NOBODY, NOT_ASKED, Paper, PaperCell, PaperSheet, SheetKind, Table, length,
    minute, row,
};
use crate::domain::day::door::seconds;
use crate::domain::release::Release;
use crate::domain::season::{ChildId, Dismissal};
use jiff::Span;
use std::collections::BTreeMap;

pub(super) fn door(paper: &Paper<'_>) -> PaperSheet {
    let day = paper.day;
    let row = |child: &ChildId| {
        let it = paper.board.programme.get(*child, day.id)?;
        let goes_to =
            it.signs_in.map_or(PaperCell::Word(NOBODY), |who| PaperCell::from(&paper.chaperones[who.at()]));
        let out = if paper.board.season.children[child.at()].fetch_lead { FETCH_LEAD } else { "" };
        let row = row![paper.name(*child), &paper.minute(it.call), goes_to, paper.answer(*child), "", out];
        Some((it.call, row))
    };
    let mut rows: Vec<_> = paper.children.iter().filter_map(row).collect();
    let columns = &["Child", "Call", "Goes to", "Answer", "In: time, by", "Out: time, to"];
    let mut tables: Vec<Table> = if day.event().by_slots() {
        rows.sort_by_key(|(call, _)| *call);
        let slots = rows.chunk_by(|a, b| a.0 == b.0).map(|slot| {
            let heading = format!("{} called {}, by given name", count(slot.len()), minute(slot[0].0));
            Table::of(columns, slot.iter().map(|(_, row)| row.clone())).headed(heading)
        });
        slots.collect()
    } else {
        let heading = format!("{}, by given name", count(rows.len()));
        vec![Table::of(columns, rows.into_iter().map(|(_, row)| row)).headed(heading)]
    };
    tables.push(leaving(paper));
    let mut sheet = paper.sheet(SheetKind::Door, "Children's door", tables);
    let early = if day.event().dismissal == Dismissal::AfterLastNumber {
        "Nobody is released early from this door. "
    } else {
        ""
    };
    sheet.under.push(format!("{early}{}", paper.stranger()));
    sheet.under.push(paper.no_show());
    sheet
}

/// When each age band has its turn, counted from the earliest moment at which anyone may be collected; where children go
/// as their slots end, when how many may be collected.
fn leaving(paper: &Paper<'_>) -> Table {
    let day = paper.day;
    let settings = &paper.board.season.settings;
    let of_children = || {
        let coming = paper.board.programme.children_at(day.id).filter(|(id, _)| !day.absent.contains(id));
        coming.filter_map(|(_, it)| it.collect_from).map(Release::at)
    };
    let gone = |children| length(i64::from(seconds(children, settings.door_seconds, settings.door_tables)));
    let table = if day.event().by_slots() && day.event().dismissal == Dismissal::AfterOwnLastNumber {
        let mut moments: Vec<_> = of_children().collect();
        moments.sort_unstable();
        let rows = moments
            .chunk_by(|a, b| a == b)
            .map(|slot| row![minute(slot[0]), slot.len().to_string(), gone(slot.len())]);
        Table::of(&["From", "Children", "All gone after"], rows).headed("Leaving, as each slot ends")
    } else {
        let opens = of_children().max();
        let rows = day.leaving().into_iter().map(|batch| {
            let ages = batch.ages.map_or("not written".to_owned(), |(from, to)| format!("{from}–{to}"));
            let from = opens.map_or(String::new(), |opens| {
                minute(opens.saturating_add(Span::new().seconds(i64::from(batch.from))))
            });
            row![ages, batch.children.len().to_string(), from, length(i64::from(batch.until))]
        });
        Table::of(&["Ages", "Children", "From", "All gone after"], rows).headed("Leaving, the youngest first")
    };
    table
        .noted(format!(
            "Worked out with {} s a child at {} {}: an assumption in the season's settings.",
            settings.door_seconds,
            settings.door_tables,
            if settings.door_tables == 1 { "table" } else { "tables" }
        ))
        .together()
}

pub(super) fn tags(paper: &Paper<'_>) -> PaperSheet {
    let coming = paper.day.children().into_iter().filter(|child| !paper.day.absent.contains(child));
    let tables = coming.map(|child| tag(paper, child)).collect();
    paper.sheet(SheetKind::Tags, "Tags for costume bags", tables)
}

fn tag(paper: &Paper<'_>, child: ChildId) -> Table {
    let day = paper.day;
    let it = paper.board.programme.get(child, day.id);
    let call = it.map_or(String::new(), |it| format!(" · call {}", paper.minute(it.call)));
    let rows = day.of_child(child).iter().map(|part| {
        let number = &paper.numbers[part.at];
        let on = if day.event().ordered { PaperCell::from(&number.on) } else { PaperCell::Word("") };
        row![on, &number.name, &number.pieces, "☐"]
    });
    Table::of(&["On", "Number", "Pieces", "In the bag"], rows)
        .headed(format!("{}{call}", paper.child(child)))
        .together()
}

/// Children whose answer is not in, by class, with a line to sign; where nobody was asked yet, or no answer is known, every
/// child.
pub(super) fn slips(paper: &Paper<'_>) -> PaperSheet {
    let day = paper.day;
    let standings = day.children().into_iter().map(|child| (paper.marks.standings)(child.into()));
    let asked = standings.into_iter().any(|word| word != Some(NOT_ASKED));
    let mut by_class: BTreeMap<&str, Vec<_>> = BTreeMap::new();
    for child in paper.children.iter().copied() {
        let standing = (paper.marks.standings)(child.into());
        let silent = match standing {
            _ if day.absent.contains(&child) => false,
            Some(CANT_COME | HEARD) => false,
            Some(NOT_ASKED) => !asked,
            _ => true,
        };
        if !silent {
            continue;
        }
        let Some(first) = day.of_child(child).first() else { continue };
        let number = &paper.board.season.numbers[day.numbers[first.at].number.at()];
        let line = row![paper.child(child), standing.unwrap_or_default(), "", "", ""];
        by_class.entry(&number.class).or_default().push(line);
    }
    let tables = by_class.into_iter().map(|(class, rows)| {
        let columns = &["Child", "Answer so far", "I have read the times and rules (signed)", "Name", "Date"];
        Table::of(columns, rows).headed(if class.is_empty() { "No class" } else { class })
    });
    paper.sheet(SheetKind::Slips, "Class door: still to be heard from", tables.collect())
}
