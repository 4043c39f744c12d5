//! The staff table: which chaperones are expected, when, and who stands in.

use super::{Paper, PaperCell, PaperSheet, SheetKind, Table, minute, row};
use crate::domain::board::Item;
use crate::domain::day::own::Own;
use crate::domain::season::{ChaperoneId, Person};
use crate::domain::words::key;
use jiff::Span;
use std::collections::BTreeMap;

/// A task in this word, or in none, leaves its chaperone free to stand in.
const FLOAT: &str = "float";
/// A chaperone who is not there so long before the children's call is replaced, minutes (common practice, no source).
const REPLACED_MINUTES: i64 = 15;

pub(super) fn roll(paper: &Paper<'_>) -> PaperSheet {
    let season = &paper.board.season;
    let event = paper.day.event();
    let call = event.date.to_datetime(event.call);
    let before = |minutes: i64| minute(call.saturating_sub(Span::new().minutes(minutes)));
    let mut tasks: BTreeMap<ChaperoneId, Vec<String>> = BTreeMap::new();
    for duty in season.duties.iter().filter(|duty| duty.event == paper.day.id) {
        let what = match duty.number {
            Some(number) => season.numbers[number.at()].name.clone(),
            None => duty.task.clone(),
        };
        let what = if what.is_empty() { FLOAT.to_owned() } else { what };
        let list = tasks.entry(duty.chaperone).or_default();
        if !list.contains(&what) {
            list.push(what);
        }
    }
    let floats: Vec<ChaperoneId> = tasks
        .iter()
        .filter(|(who, _)| {
            let mut hers = season.duties.iter().filter(|d| d.event == paper.day.id && d.chaperone == **who);
            hers.all(|duty| duty.number.is_none() && ["", FLOAT].contains(&key(&duty.task).as_str()))
        })
        .map(|(who, _)| *who)
        .collect();
    let Own { dancers, children } = &season.own;
    let mut rows: Vec<_> = tasks
        .iter()
        .map(|(who, tasks)| {
            let chaperone = &season.chaperones[who.at()];
            let counts = if paper.day.counts(*who) { "yes" } else { "no" };
            let hers = children.get(who).into_iter().flatten();
            let watched = paper.day.danced_by(hers).into_iter().map(|at| paper.number(at).to_string());
            let themselves = dancers
                .iter()
                .filter(|(chaperone, _)| chaperone == who)
                .flat_map(|(_, child)| paper.day.of_child(*child))
                .map(|part| format!("{} (themselves)", paper.number(part.at)));
            let own = watched.chain(themselves).collect::<Vec<_>>().join(", ");
            let item = Item { who: Person::Chaperone(*who), event: Some(paper.day.id) };
            let due = paper.board.itinerary(item).map(|it| minute(it.call)).unwrap_or_default();
            let answer = (paper.marks.standings)(item.who).unwrap_or_default();
            row![chaperone.name.clone(), tasks.join(", "), due, answer, counts, own, "", ""]
        })
        .collect();
    rows.sort();
    let names = if floats.is_empty() { "nobody is free".to_owned() } else { paper.names(&floats) };
    let columns = &[
        "Chaperone",
        "Looks after",
        "Due",
        "Answer",
        "Counts",
        "Own child dances in",
        "Arrived",
        "Stands in",
    ];
    let table = Table::of(columns, rows).headed("Expected").noted(format!(
        "If somebody is not here by {}, a float takes their place: {names}. Floats also cover a chaperone who \
         watches their own child. Only adults with a vetting that has not lapsed count in a ratio.",
        before(REPLACED_MINUTES)
    ));
    paper.sheet(SheetKind::Staff, "Chaperones", vec![table, watches(paper)])
}

fn watches(paper: &Paper<'_>) -> Table {
    let per_adult = paper.board.season.settings.children_per_adult;
    let rows = paper.day.watches().into_iter().map(|watch| {
        let from = watch.from.map_or("the call".to_owned(), |at| paper.at(at));
        let verdict = if watch.too_many(per_adult) { "TOO MANY" } else { "" };
        row![
            paper.names(&watch.chaperones),
            watch.adults.to_string(),
            watch.children.to_string(),
            from,
            verdict
        ]
    });
    Table::of(&["In charge", "Adults who count", "Children", "From", ""], rows)
        .headed("Children in care at the busiest moment")
        .noted(format!(
            "Compared with {per_adult} children to an adult, the season's planning figure. It certifies nothing: the \
             school and the local licensing body decide."
        ))
}
