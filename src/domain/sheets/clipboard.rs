//! The chaperone's clipboard: her children number by number, in lining-up order.

use super::{Cell, Kind, Paper, Sheet, Table, row, side};
use crate::domain::day::Part;
use crate::domain::day::turns::Ease;
use crate::domain::season::{ChaperoneId, ChildId, RoomId};
use std::collections::HashSet;

/// Lines left blank below each number, for a child nobody expected.
const BLANK_LINES: usize = 2;

const COLUMNS: [&str; 11] = [
    "Line",
    "Child",
    "In",
    "Out",
    "Answer",
    "Signed in: time, by",
    "Before",
    "After",
    "Bag",
    "Signed out: time, to",
    "Mark",
];

pub(super) fn sheet(paper: &Paper<'_>, chaperone: ChaperoneId) -> Option<Sheet> {
    let mut signed: HashSet<ChildId> = HashSet::new();
    let tables: Vec<Table> = (0..paper.day.numbers.len())
        .filter(|at| paper.day.chaperones(paper.day.numbers[*at].number).contains(&chaperone))
        .map(|at| table(paper, chaperone, at, &mut signed))
        .collect();
    if tables.is_empty() {
        return None;
    }
    let named = &paper.board.season.chaperones[chaperone.at()];
    let mut sheet = paper.sheet(Kind::Clipboard, &format!("Clipboard of {}", named.name), tables);
    sheet.whose.clone_from(&named.reference);
    sheet.under.push(
        "Count heads on arrival, before and after each number, in the interval and before dismissal. Times to the minute, \
         in ink."
            .to_owned(),
    );
    Some(sheet)
}

fn table(paper: &Paper<'_>, chaperone: ChaperoneId, at: usize, signed: &mut HashSet<ChildId>) -> Table {
    let number = &paper.day.numbers[at];
    let rows = paper.numbers[at].line_up.iter().map(|part| line(paper, chaperone, part, signed));
    let blank = std::iter::repeat_n([const { Cell::Word("") }; COLUMNS.len()], BLANK_LINES);
    let table = Table::of(&COLUMNS, rows.chain(blank));
    let held: Vec<&str> = paper.day.held_for(at).into_iter().map(|child| &**paper.child(child)).collect();
    let mut notes = Vec::new();
    if let Some(room) = paper.rooms.of_number.get(at).copied().flatten() {
        notes.push(format!("Wait at {}.", paper.room(room)));
    }
    if !held.is_empty() {
        notes.push(format!("Hold for {}.", held.join(", ").trim_end_matches('.')));
    }
    let when = if paper.day.event().ordered {
        format!(
            " · ready {} · on {} · off {}",
            paper.at(number.ready),
            paper.numbers[at].on,
            paper.at(number.ends)
        )
    } else {
        String::new()
    };
    table.headed(format!("{}{when}", paper.number(at))).noted(notes.join(" "))
}

fn line(
    paper: &Paper<'_>,
    chaperone: ChaperoneId,
    part: &Part,
    signed: &mut HashSet<ChildId>,
) -> [Cell; COLUMNS.len()] {
    let it = paper.board.programme.get(part.child, paper.day.id);
    let first = signed.insert(part.child);
    // Where a child is signed stands once on her paper, at its first number with her.
    let signs = |who: Option<ChaperoneId>| first && who == Some(chaperone);
    let signs_in = signs(it.and_then(|it| it.signs_in));
    let signs_out = signs(it.and_then(|it| it.signs_out));
    let mut out = String::new();
    if signs_out {
        let from = it.and_then(|it| it.collect_from).map(|from| format!("from {} ", paper.minute(from.at())));
        let adults: Vec<&str> = paper
            .board
            .cares_of(part.child)
            .filter(|care| care.collects)
            .map(|care| paper.board.season.guardians[care.guardian.at()].name.as_str())
            .collect();
        let adults =
            if adults.is_empty() { "ask the lead who collects".to_owned() } else { adults.join(" or ") };
        out = format!("{}{adults}", from.unwrap_or_default());
    }
    row![
        part.line.map_or(Cell::Word(""), |line| Cell::from(&paper.lines[usize::from(line)])),
        paper.child(part.child),
        side(part.entrance),
        side(part.exit),
        (paper.standings)(part.child.into()).unwrap_or_default(),
        if signs_in { "" } else { "–" },
        before(paper, part, it.map(|it| it.signs_in == Some(chaperone))),
        after(paper, part, it.map(|it| it.signs_out == Some(chaperone))),
        "☐",
        if signs_out { out } else { "–".to_owned() },
        "",
    ]
}

/// Where the child comes from: the start of its day, or another number.
fn before(paper: &Paper<'_>, part: &Part, starts_with_her: Option<bool>) -> Cell {
    let turn = paper.turns.of_child(part.child).iter().find(|turn| turn.into == part.at);
    match turn {
        Some(turn) => Cell::from(&paper.numbers[turn.from].from[usize::from(turn.ease != Ease::Easy)]),
        None if starts_with_her == Some(true) => Cell::Word("starts with you"),
        None => Cell::Word(""),
    }
}

/// Where the child goes: another number, or the end of its day.
fn after(paper: &Paper<'_>, part: &Part, ends_with_her: Option<bool>) -> Cell {
    let turn = paper.turns.of_child(part.child).iter().find(|turn| turn.from == part.at);
    match turn {
        Some(turn) => {
            let by_way = paper.rooms.quick_change.filter(|_| turn.ease != Ease::Easy);
            let waits = paper.rooms.before(part.child, turn.into).filter(|_| by_way.is_none());
            let mut known = paper.into.borrow_mut();
            let words = known
                .entry((turn.into, turn.ease, waits))
                .or_insert_with(|| into(paper, turn.into, turn.ease, by_way, waits).into());
            Cell::from(&*words)
        }
        None if ends_with_her == Some(true) => Cell::Word("ends with you"),
        None => Cell::Word(""),
    }
}

/// How a number is left, easily or not.
pub(super) fn from(number: &str) -> [String; 2] {
    [format!("from {number}"), format!("quick change from {number}")]
}

/// How a child goes to a number: by way of the quick-change room, or from where it waits before.
fn into(
    paper: &Paper<'_>,
    number: usize,
    ease: Ease,
    by_way: Option<RoomId>,
    waits: Option<RoomId>,
) -> String {
    let word = match ease {
        Ease::Easy => "to",
        Ease::Quick => "QUICK CHANGE into",
        Ease::Impossible => "NO TIME to change into",
    };
    let room = match (by_way, waits) {
        (Some(room), _) => format!(", by way of {}", paper.room(room)),
        (None, Some(room)) => format!(", wait at {}", paper.room(room)),
        (None, None) => String::new(),
    };
    format!("{word} {}, with {}{room}", paper.number(number), paper.with(number))
}
