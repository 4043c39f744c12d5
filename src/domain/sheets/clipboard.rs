//! The chaperone's clipboard: the children who are with her number by number, in lining-up order.

use super::{FETCH_LEAD, Paper, PaperCell, PaperSheet, SheetKind, Table, row, side};
use crate::domain::day::Part;
use crate::domain::day::turns::{Ease, HandBack};
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

pub(super) fn sheet(paper: &Paper<'_>, chaperone: ChaperoneId) -> Option<PaperSheet> {
    let held = paper.held.get(&chaperone)?;
    let hers = Hers { paper, chaperone, back: paper.day.hand_backs() };
    let mut signed: HashSet<ChildId> = HashSet::new();
    let mut tables: Vec<Table> =
        held.chunk_by(|a, b| a.at == b.at).map(|parts| hers.table(parts, &mut signed)).collect();
    tables.extend(hers.taken_back());
    let named = &paper.board.season.chaperones[chaperone.at()];
    let mut sheet = paper.sheet(SheetKind::Clipboard, &format!("Clipboard of {}", named.name), tables);
    sheet.whose.clone_from(&named.reference);
    sheet.under.push(
        "Count heads on arrival, before and after each number, in the interval and before dismissal. Times to the minute, \
         in ink."
            .to_owned(),
    );
    sheet.under.push(paper.no_show());
    sheet.under.push(paper.stranger());
    Some(sheet)
}

/// One chaperone's paper.
struct Hers<'a> {
    paper: &'a Paper<'a>,
    chaperone: ChaperoneId,
    /// Children who are taken back at the end, to anybody.
    back: Vec<HandBack>,
}

impl Hers<'_> {
    /// The children who are with her in one number.
    fn table(&self, parts: &[Part], signed: &mut HashSet<ChildId>) -> Table {
        let paper = self.paper;
        let at = parts[0].at;
        let number = &paper.day.numbers[at];
        let rows = parts.iter().map(|part| self.line(part, signed));
        let blank = std::iter::repeat_n([const { PaperCell::Word("") }; COLUMNS.len()], BLANK_LINES);
        let table = Table::of(&COLUMNS, rows.chain(blank));
        let held: Vec<&str> = paper.day.held_for(at).into_iter().map(|child| &**paper.child(child)).collect();
        let mut notes = Vec::new();
        if let Some(room) = paper.rooms.of_number.get(at).copied().flatten() {
            notes.push(format!("Wait at {}.", paper.room(room)));
        }
        if !held.is_empty() {
            notes.push(format!("Hold for {}.", held.join(", ").trim_end_matches('.')));
        }
        let (on, off) = (&paper.numbers[at].on, paper.at(number.ends));
        let when = match number.call {
            _ if !paper.day.event().ordered => String::new(),
            Some(call) => format!(" · called {} · on {on} · until {off}", paper.at(call)),
            None => format!(" · ready {} · on {on} · off {off}", paper.at(number.ready)),
        };
        table.headed(format!("{}{when}", paper.number(at))).noted(notes.join(" "))
    }

    fn line(&self, part: &Part, signed: &mut HashSet<ChildId>) -> [PaperCell; COLUMNS.len()] {
        let paper = self.paper;
        let it = paper.board.programme.get(part.child, paper.day.id);
        let first = signed.insert(part.child);
        // Where a child is signed stands once on her paper, at its first number with her.
        let signs = |who: Option<ChaperoneId>| first && who == Some(self.chaperone);
        let signs_in = signs(it.and_then(|it| it.signs_in));
        let signs_out = signs(it.and_then(|it| it.signs_out));
        let comes = !paper.day.absent.contains(&part.child);
        let unless_away = |cell: PaperCell| if comes { cell } else { PaperCell::Word("") };
        row![
            part.line.map_or(PaperCell::Word(""), |line| PaperCell::from(&paper.lines[usize::from(line)])),
            paper.name(part.child),
            side(part.entrance),
            side(part.exit),
            paper.answer(part.child),
            if signs_in { "" } else { "–" },
            unless_away(self.before(part)),
            unless_away(self.after(part)),
            "☐",
            if signs_out { collected(paper, part.child).into() } else { PaperCell::Word("–") },
            "",
        ]
    }

    /// Where the child comes from: the start of its day, or another number.
    fn before(&self, part: &Part) -> PaperCell {
        let paper = self.paper;
        let turn = paper.turns.of_child(part.child).iter().find(|turn| turn.into == part.at);
        match turn {
            Some(turn) => {
                PaperCell::from(&paper.numbers[turn.from].from[usize::from(turn.ease != Ease::Easy)])
            }
            None => PaperCell::Word("starts with you"),
        }
    }

    /// Where the child goes: another number, back to whoever signs it out, or the end of its day.
    fn after(&self, part: &Part) -> PaperCell {
        let paper = self.paper;
        let Some(turn) = paper.turns.of_child(part.child).iter().find(|turn| turn.from == part.at) else {
            let back = self.back.iter().find(|back| back.child == part.child);
            return back.map_or(PaperCell::Word("ends with you"), |back| {
                PaperCell::Own(format!("back to {}, who signs out", paper.chaperones[back.to.at()]))
            });
        };
        let day = paper.day;
        let next = day.of_child(part.child).iter().find(|next| next.at == turn.into);
        // Those who have the child keep it, unless others take it over.
        let taken_over = next.filter(|next| !day.with_whom(next).contains(&self.chaperone));
        let with = taken_over.and_then(|next| next.with);
        let by_way = paper.rooms.quick_change.filter(|_| turn.ease != Ease::Easy);
        let waits = paper.rooms.before(part.child, turn.into).filter(|_| by_way.is_none());
        let mut known = paper.into.borrow_mut();
        let words = known
            .entry((turn.into, turn.ease, waits, with))
            .or_insert_with(|| into(paper, turn.into, turn.ease, by_way.or(waits), with).into());
        PaperCell::from(&*words)
    }

    /// Children who come back to her at the end, from whom and after which number.
    fn taken_back(&self) -> Option<Table> {
        let paper = self.paper;
        let hers: Vec<&HandBack> = self.back.iter().filter(|back| back.to == self.chaperone).collect();
        let rows = hers.iter().map(|back| {
            let after = paper.at(paper.day.numbers[back.after].ends);
            row![
                paper.name(back.child),
                paper.number(back.after),
                after,
                paper.names(&back.from),
                collected(paper, back.child),
                "☐"
            ]
        });
        let columns = &["Child", "After", "Off", "Brought back by", "Signed out: time, to", "Back"];
        (!hers.is_empty()).then(|| Table::of(columns, rows).headed("Back to you at the end"))
    }
}

/// From when a child may be collected, and by whom.
fn collected(paper: &Paper<'_>, child: ChildId) -> String {
    let season = &paper.board.season;
    if season.children[child.at()].fetch_lead {
        return FETCH_LEAD.to_owned();
    }
    let it = paper.board.programme.get(child, paper.day.id);
    let from = it.and_then(|it| it.collect_from).map(|from| format!("from {} ", paper.minute(from.at())));
    let collects = paper.board.cares_of(child).filter(|care| care.collects);
    let others = season.children[child.at()].also_collects.iter().map(String::as_str);
    let guardians = collects.map(|care| season.guardians[care.guardian.at()].name.as_str());
    let adults: Vec<&str> = guardians.chain(others).collect();
    let adults = if adults.is_empty() { "ask the lead who collects".to_owned() } else { adults.join(" or ") };
    format!("{}{adults}", from.unwrap_or_default())
}

/// How a number is left, easily or not.
pub(super) fn from(number: &str) -> [String; 2] {
    [format!("from {number}"), format!("quick change from {number}")]
}

/// How a child goes to a number: with whom, by way of the quick-change room or from where it waits before.
fn into(paper: &Paper<'_>, number: usize, ease: Ease, room: Option<RoomId>, with: Option<usize>) -> String {
    let word = match ease {
        Ease::Easy => "to",
        Ease::Quick => "QUICK CHANGE into",
        Ease::Impossible => "NO TIME (tell the coordinator) to change into",
    };
    let by_way = if ease == Ease::Easy { ", wait at " } else { ", by way of " };
    let room = room.map_or(String::new(), |room| format!("{by_way}{}", paper.room(room)));
    let with = with.map_or("still with you".to_owned(), |at| format!("with {}", paper.with(at)));
    format!("{word} {}, {with}{room}", paper.number(number))
}
