//! `/season/EVENT/try`: a change of order on paper. It only reads: nothing is stored, and nobody is told.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;

use super::guardian::{Asked, asked};
use super::labels::{ENGLISH, capitalised};
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{Pick, TrialForm, TrialList, TrialPage, TrialStart};
use crate::domain::day::Day;
use crate::domain::day::difference::{DayDifference, OrderChange, Passage, tried};
use crate::domain::day::next::{Names, time_left};
use crate::domain::day::order::{OrderShift, Piece, Target, Unmoved};
use crate::domain::season::{EventId, NumberId, Season, Slot};
use crate::domain::sheets;
use crate::service::ports::{Gateway, Store};
use crate::service::show::{FIRST, INTERVAL, number_of};

/// Two lines change places.
const EXCHANGE: &str = "exchange";
/// The first goes right behind the second.
const BEHIND: &str = "behind";

/// The form of a trial of an event; none without a running order.
pub(super) fn form(season: &Season, id: EventId, first: &str, second: &str) -> Option<TrialForm> {
    let event = &season.events[id.at()];
    if !event.ordered {
        return None;
    }
    let mut intervals = 0;
    let pieces = event.order.iter().map(|slot| match slot {
        Slot::Number { number, .. } => {
            let number = &season.numbers[number.at()];
            (number.reference.clone(), number.name.clone())
        }
        Slot::Interval(minutes) => {
            intervals += 1;
            (format!("{INTERVAL}{}", intervals - 1), format!("interval ({minutes} minutes)"))
        }
    });
    let pieces: Vec<(String, String)> = pieces.collect();
    let picks = |chosen: &str| {
        let pick = |(value, words): &(String, String)| Pick {
            chosen: value == chosen,
            value: value.clone(),
            words: words.clone(),
        };
        pieces.iter().map(pick).collect::<Vec<_>>()
    };
    let start = Pick { value: FIRST.to_owned(), words: "the beginning".to_owned(), chosen: second == FIRST };
    Some(TrialForm {
        href: format!("/season/{}/try", event.reference),
        first: picks(first),
        second: std::iter::once(start).chain(picks(second)).collect(),
    })
}

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(reference): Path<String>,
    query: Asked,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    let board = front.office.desk().await?.board.clone();
    let season = &board.season;
    let id = board.event(&reference).ok_or(Denied::NotFound)?;
    let [first, second, how] = ["first", "second", "how"].map(|name| asked(&query, name));
    let form = form(season, id, first, second).ok_or(Denied::NotFound)?;
    let mut page = TrialPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, front.office.now()),
        event: season.events[id.at()].name.clone(),
        href: format!("/season/{reference}"),
        heading: "Choose two lines of the running order".to_owned(),
        down: String::new(),
        form,
        lists: Vec::new(),
        starts: Vec::new(),
    };
    let shift = match (how, piece(season, first), piece(season, second)) {
        (EXCHANGE, Some(one), Some(other)) => Some(OrderShift::Exchange(one, other)),
        (BEHIND, Some(one), Some(other)) => Some(OrderShift::Move(one, Target::Behind(other))),
        (BEHIND, Some(one), None) if second == FIRST => Some(OrderShift::Move(one, Target::First)),
        _ => None,
    };
    let Some(shift) = shift else { return Ok(html(&page)) };
    match tried(season, id, shift) {
        Ok((after, difference)) => fill(&mut page, &Day::of(season, id), &after, &difference, shift),
        Err(Unmoved::Same) => "That is the order as it stands".clone_into(&mut page.heading),
        Err(Unmoved::Missing) => {}
    }
    Ok(html(&page))
}

fn piece(season: &Season, word: &str) -> Option<Piece> {
    match word.strip_prefix(INTERVAL) {
        Some(nth) => nth.parse().ok().map(Piece::Interval),
        None => number_of(season, word).map(Piece::Number),
    }
}

fn fill(page: &mut TrialPage, before: &Day<'_>, after: &Day<'_>, found: &DayDifference, shift: OrderShift) {
    let season = before.season;
    let mut children = before.children();
    children.extend(after.children());
    children.sort_unstable();
    children.dedup();
    let labels = sheets::labels(season, &children);
    let names = Names { season, children: &labels };
    let number = |number: NumberId| season.numbers[number.at()].name.as_str();
    let child = |child| labels.get(&child).cloned().unwrap_or_default();
    let passage = |p: &Passage| {
        format!(
            "{}: out of {}, into {}, {} to change",
            child(p.child),
            number(p.from),
            number(p.into),
            time_left(p.left)
        )
    };
    add(
        &mut page.lists,
        &found.impossible,
        ("turnaround without the time", "turnarounds without the time"),
        passage,
    );
    add(&mut page.lists, &found.quick, ("quick change", "quick changes"), passage);
    add(&mut page.lists, &found.holds, ("hold", "holds"), |held| {
        format!("{} held for {}", number(held.number), child(held.child))
    });
    add(&mut page.lists, &found.hand_overs, ("hand-over", "hand-overs"), |handed| {
        format!(
            "{}: from {} after {} to {} for {}",
            child(handed.child),
            names.chaperones(&handed.by),
            number(handed.from),
            names.chaperones(&handed.to),
            number(handed.into)
        )
    });
    let clock =
        |at: Option<i64>| at.map_or(String::new(), |at| before.clock(at).strftime("%H:%M:%S").to_string());
    let starts = found.starts.iter().map(|moved| TrialStart {
        name: number(moved.number).to_owned(),
        was: clock(moved.was),
        now: clock(moved.now),
    });
    page.starts = starts.collect();
    let line = |piece: Piece| match piece {
        Piece::Number(one) => number(one).to_owned(),
        Piece::Interval(_) => "the interval".to_owned(),
    };
    let what = match shift {
        OrderShift::Exchange(one, other) => format!("{} and {} swap places", line(one), line(other)),
        OrderShift::Move(one, Target::First) => format!("{} goes first", line(one)),
        OrderShift::Move(one, Target::Behind(other)) => {
            format!("{} goes right after {}", line(one), line(other))
        }
    };
    let came = found.impossible.comes.len();
    let verdict = match (came, found.quick.comes.len(), found.impossible.goes.len() + found.quick.goes.len())
    {
        (0, 0, 0) => "no turnaround gets harder or easier".to_owned(),
        (0, 0, _) => "some turnarounds get easier, none harder".to_owned(),
        (0, n, _) => format!("{} to rehearse", counted(n, "quick change", "quick changes")),
        (n, _, _) => format!("{} without the time to change", counted(n, "child", "children")),
    };
    page.heading = capitalised(&format!("{what}: {verdict}"));
    let ends = (before.ends(), after.ends());
    page.down = if ends.0 == ends.1 {
        format!("The last number ends at {}, as planned.", clock(ends.0))
    } else {
        format!("The last number ends at {} instead of {}.", clock(ends.1), clock(ends.0))
    };
}

fn counted(n: usize, one: &str, more: &str) -> String {
    format!("{} {}", ENGLISH.number(n), if n == 1 { one } else { more })
}

/// Two lists of one kind: what comes first, for that is what somebody has to look at.
fn add<T>(
    lists: &mut Vec<TrialList>,
    change: &OrderChange<T>,
    (one, more): (&str, &str),
    words: impl Fn(&T) -> String,
) {
    for (list, verb) in [(&change.comes, "come"), (&change.goes, "go")] {
        let n = list.len();
        let verb = match (n, verb) {
            (1, "go") => "goes".to_owned(),
            (1, verb) => format!("{verb}s"),
            (_, verb) => verb.to_owned(),
        };
        if n > 0 {
            let heading = capitalised(&format!("{} {verb}", counted(n, one, more)));
            lists.push(TrialList { heading, lines: list.iter().map(&words).collect() });
        }
    }
}
