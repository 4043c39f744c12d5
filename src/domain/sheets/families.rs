//! Sheets that families meet: the door, the tag on a costume bag, the slip at the class door.

use super::{CANT_COME, HEARD, Kind, NOT_ASKED, Paper, Sheet, Table, length, minute, row};
use crate::domain::board::Item;
use crate::domain::release::Release;
use crate::domain::season::ChildId;
use jiff::Span;
use std::collections::BTreeMap;

pub(super) fn door(paper: &Paper<'_>) -> Sheet {
    let day = paper.day;
    let mut rows: Vec<Vec<String>> = day
        .children()
        .into_iter()
        .filter_map(|child| {
            let it = paper.board.itinerary(Item { who: child.into(), event: Some(day.id) })?;
            let goes_to: Vec<_> = it.signs_in.into_iter().collect();
            Some(row![
                paper.child(child),
                minute(it.call),
                paper.names(&goes_to),
                (paper.standings)(child.into()).unwrap_or_default(),
                "",
                "",
            ])
        })
        .collect();
    rows.sort();
    let children = Table {
        heading: format!("{} children, by given name", rows.len()),
        note: "Nobody is released early from this door. An adult who is not known, or a restriction on file: stop and \
               fetch the named lead."
            .to_owned(),
        columns: vec!["Child", "Call", "Goes to", "Answer", "In: time, by", "Out: time, to"],
        rows,
        together: false,
    };
    paper.sheet(Kind::Door, "Children's door", vec![children, leaving(paper)])
}

/// When each age band has its turn, counted from the earliest moment at which anyone may be collected.
fn leaving(paper: &Paper<'_>) -> Table {
    let day = paper.day;
    let settings = &paper.board.season.settings;
    let opens = day
        .children()
        .into_iter()
        .filter_map(|child| {
            paper.board.itinerary(Item { who: child.into(), event: Some(day.id) })?.collect_from
        })
        .map(Release::at)
        .max();
    let rows = day
        .leaving()
        .into_iter()
        .map(|batch| {
            let ages = batch.ages.map_or("not written".to_owned(), |(from, to)| format!("{from}–{to}"));
            let from = opens.map_or(String::new(), |opens| {
                minute(opens.saturating_add(Span::new().seconds(i64::from(batch.from))))
            });
            row![ages, batch.children.len().to_string(), from, length(i64::from(batch.until))]
        })
        .collect();
    Table {
        heading: "Leaving, the youngest first".to_owned(),
        note: format!(
            "Reckoned with {} s a child at {} {}: an assumption of the season's settings.",
            settings.door_seconds,
            settings.door_tables,
            if settings.door_tables == 1 { "table" } else { "tables" }
        ),
        columns: vec!["Ages", "Children", "From", "All gone after"],
        rows,
        together: true,
    }
}

pub(super) fn tags(paper: &Paper<'_>) -> Sheet {
    let tables = paper.day.children().into_iter().map(|child| tag(paper, child)).collect();
    paper.sheet(Kind::Tags, "Tags for costume bags", tables)
}

fn tag(paper: &Paper<'_>, child: ChildId) -> Table {
    let day = paper.day;
    let it = paper.board.itinerary(Item { who: child.into(), event: Some(day.id) });
    let call = it.map_or(String::new(), |it| format!(" · call {}", minute(it.call)));
    let rows = day
        .of_child(child)
        .iter()
        .map(|part| {
            let number = &paper.board.season.numbers[day.numbers[part.at].number.at()];
            let on = if day.event().ordered { &paper.numbers[part.at].on[..] } else { "" };
            row![on, paper.number(part.at), number.pieces.join(", "), "☐"]
        })
        .collect();
    Table {
        heading: format!("{}{call}", paper.child(child)),
        note: String::new(),
        columns: vec!["On", "Number", "Pieces", "In the bag"],
        rows,
        together: true,
    }
}

/// Children whose answer is not in, by class, with a line to sign; where nobody was asked yet, or no answer is known, every
/// child.
pub(super) fn slips(paper: &Paper<'_>) -> Sheet {
    let day = paper.day;
    let standings = day.children().into_iter().map(|child| (paper.standings)(child.into()));
    let asked = standings.into_iter().any(|word| word != Some(NOT_ASKED));
    let mut by_class: BTreeMap<&str, Vec<Vec<String>>> = BTreeMap::new();
    for child in day.children() {
        let standing = (paper.standings)(child.into());
        let silent = match standing {
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
    let tables = by_class.into_iter().map(|(class, mut rows)| {
        rows.sort();
        Table {
            heading: if class.is_empty() { "No class written".to_owned() } else { class.to_owned() },
            note: String::new(),
            columns: vec![
                "Child",
                "Answer so far",
                "I have read the times and rules (signed)",
                "Name",
                "Date",
            ],
            rows,
            together: false,
        }
    });
    paper.sheet(Kind::Slips, "Class door: still to be heard from", tables.collect())
}
