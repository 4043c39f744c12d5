//! A change of order on paper: what it would change, held against two workbooks read and worked out apart.

use crate::common::board;
use crate::day::{SEASONS, random_season, twin_hand_overs, twin_turns};
use crate::town::book;
use allheard::demo::dice::Dice;
use allheard::domain::board::Board;
use allheard::domain::book::{Book, Row};
use allheard::domain::day::difference::{DayDifference, tried};
use allheard::domain::day::order::{OrderShift, Piece, Target, Unmoved};
use allheard::domain::day::turns::{Ease, Turn};
use allheard::domain::season::{EventId, NumberId, Season, Slot};

const KELP: Piece = Piece::Number(NumberId(0));
const FOGHORN: Piece = Piece::Number(NumberId(1));
const GULLS: Piece = Piece::Number(NumberId(2));

/// What a trial of the Saturday show changes, a line each.
fn lines(board: &Board, shift: OrderShift) -> Vec<String> {
    let season = &board.season;
    let (_, found) = tried(season, board.event("E002").unwrap(), shift).unwrap();
    let child = |child: allheard::domain::season::ChildId| season.children[child.at()].given.as_str();
    let number = |number: NumberId| season.numbers[number.at()].name.as_str();
    let mut out = Vec::new();
    for (what, change) in [("quick", &found.quick), ("no time", &found.impossible)] {
        for (word, list) in [("goes", &change.goes), ("comes", &change.comes)] {
            for p in list {
                out.push(format!(
                    "{what} {word}: {} {}>{} {} s",
                    child(p.child),
                    number(p.from),
                    number(p.into),
                    p.left
                ));
            }
        }
    }
    for (word, list) in [("goes", &found.hand_overs.goes), ("comes", &found.hand_overs.comes)] {
        let of = list.iter();
        out.extend(
            of.map(|h| format!("hand-over {word}: {} {}>{}", child(h.child), number(h.from), number(h.into))),
        );
    }
    for (word, list) in [("goes", &found.holds.goes), ("comes", &found.holds.comes)] {
        out.extend(list.iter().map(|h| format!("hold {word}: {} for {}", number(h.number), child(h.child))));
    }
    for moved in &found.starts {
        out.push(format!("{} {:?}>{:?}", number(moved.number), moved.was, moved.now));
    }
    out
}

// As planned, seconds from curtain up: Kelp 0-120, Foghorn 140-320, interval, Gulls 1240-1390, Ropewalk 1420-1540,
// Finale 1560-1800. Ada is in Kelp and Foghorn, Bo in Gulls and Ropewalk, Cy in Foghorn and Gulls.
#[test]
fn a_trial_says_what_goes_and_what_comes() {
    let board = board(&book());
    // Foghorn 0-180, Kelp 200-320: Ada the other way round, with whoever has her, since nobody is named for Foghorn.
    assert_eq!(
        lines(&board, OrderShift::Exchange(KELP, FOGHORN)),
        [
            "no time goes: Ada Kelp>Foghorn 0 s",
            "no time comes: Ada Foghorn>Kelp 0 s",
            "hold goes: Foghorn for Ada",
            "hold comes: Kelp for Ada",
            "Foghorn Some(140)>Some(0)",
            "Kelp Some(0)>Some(200)",
        ]
    );
    // The interval before Foghorn: Ada has it between, Cy goes from Foghorn (1040-1220) to Gulls (1240) at once.
    assert_eq!(
        lines(&board, OrderShift::Move(Piece::Interval(0), Target::Behind(KELP))),
        [
            "no time goes: Ada Kelp>Foghorn 0 s",
            "no time comes: Cy Foghorn>Gulls 0 s",
            "hold goes: Foghorn for Ada",
            "hold comes: Gulls for Cy",
            "Foghorn Some(140)>Some(1040)",
        ]
    );
    // Gulls to the end: Ropewalk 1240-1360, Finale 1380-1620, Gulls 1640: Bo has Finale between, 280 less 40 s.
    assert_eq!(
        lines(&board, OrderShift::Move(GULLS, Target::Behind(Piece::Number(NumberId(4))))),
        [
            "quick comes: Bo Ropewalk>Gulls 240 s",
            "no time goes: Bo Gulls>Ropewalk 0 s",
            "hold goes: Ropewalk for Bo",
            "hold comes: Gulls for Bo",
            "Ropewalk Some(1420)>Some(1240)",
            "Finale Some(1560)>Some(1380)",
            "Gulls Some(1240)>Some(1640)",
        ]
    );
    let show = board.event("E002").unwrap();
    let refused = |shift| tried(&board.season, show, shift).map(|_| ()).unwrap_err();
    assert_eq!(refused(OrderShift::Exchange(KELP, KELP)), Unmoved::Same);
    assert_eq!(refused(OrderShift::Move(KELP, Target::First)), Unmoved::Same);
    assert_eq!(refused(OrderShift::Move(FOGHORN, Target::Behind(KELP))), Unmoved::Same);
    assert_eq!(refused(OrderShift::Exchange(KELP, Piece::Interval(1))), Unmoved::Missing);
    assert_eq!(refused(OrderShift::Move(Piece::Number(NumberId(9)), Target::First)), Unmoved::Missing);
}

#[test]
fn two_workbooks_read_apart_differ_by_what_the_trial_said() {
    let mut lines = 0;
    for seed in 0..SEASONS {
        let book = random_season(seed);
        let before = board(&book);
        let mut dice = Dice::new(seed, "trial");
        let Some((shift, changed)) = random_shift(&before.season, &book, &mut dice) else { continue };
        let after = board(&changed);
        let (day, found) = tried(&before.season, EventId(0), shift).unwrap();
        let expect = twin_difference(&before.season, &after.season);
        let said = said(&found);
        assert_eq!(said, expect, "seed {seed}: {shift:?}");
        assert_eq!(day.numbers, allheard::domain::day::Day::of(&after.season, EventId(0)).numbers);
        lines += said.len();
    }
    println!("{lines} lines of difference");
    assert!(lines > 1_000);
}

/// Another order, and the same workbook with its running order written anew by hand.
fn random_shift(season: &Season, book: &Book, dice: &mut Dice) -> Option<(OrderShift, Book)> {
    let order = &season.events[0].order;
    let piece = |at: usize| match order[at] {
        Slot::Number { number, .. } => Piece::Number(number),
        Slot::Interval(_) => {
            Piece::Interval(order[..at].iter().filter(|slot| matches!(slot, Slot::Interval(_))).count())
        }
    };
    let (one, other) = (dice.below(order.len()), dice.below(order.len() + 1));
    let mut rows: Vec<Row> = book.rows("running order").to_vec();
    let shift = if dice.below(2) == 0 {
        if other >= order.len() || one == other {
            return None;
        }
        rows.swap(one, other);
        OrderShift::Exchange(piece(one), piece(other))
    } else {
        // `other` is the gap to go to: before everything, or behind the line before the gap.
        if other == one || other == one + 1 {
            return None;
        }
        let row = rows.remove(one);
        rows.insert(if other > one { other - 1 } else { other }, row);
        let target = if other == 0 { Target::First } else { Target::Behind(piece(other - 1)) };
        OrderShift::Move(piece(one), target)
    };
    for (row, place) in rows.iter_mut().zip(1..) {
        row.set("place", place.to_string());
    }
    let mut changed = book.clone();
    changed.sheet_mut("running order").rows = rows;
    Some((shift, changed))
}

fn said(found: &DayDifference) -> Vec<String> {
    let mut out = Vec::new();
    for (what, change) in [("quick", &found.quick), ("impossible", &found.impossible)] {
        for (word, list) in [("goes", &change.goes), ("comes", &change.comes)] {
            out.extend(
                list.iter()
                    .map(|p| format!("{what} {word} {} {} {} {}", p.child.0, p.from.0, p.into.0, p.left)),
            );
        }
    }
    for (word, list) in [("goes", &found.hand_overs.goes), ("comes", &found.hand_overs.comes)] {
        out.extend(list.iter().map(|h| format!("hand-over {word} {} {} {}", h.child.0, h.from.0, h.into.0)));
    }
    for (word, list) in [("goes", &found.holds.goes), ("comes", &found.holds.comes)] {
        out.extend(list.iter().map(|h| format!("hold {word} {} {}", h.child.0, h.number.0)));
    }
    out.extend(found.starts.iter().map(|m| format!("start {} {:?} {:?}", m.number.0, m.was, m.now)));
    out.sort();
    out
}

/// The same from the turnarounds of both workbooks, worked out by the slow twin.
fn twin_difference(before: &Season, after: &Season) -> Vec<String> {
    let mut out = Vec::new();
    let (old, new) = (twin_lines(before), twin_lines(after));
    for (word, from, other) in [("goes", &old, &new), ("comes", &new, &old)] {
        for (what, key, left) in from {
            if !other.iter().any(|(w, k, _)| (w, k) == (what, key)) {
                out.push(format!("{what} {word} {key}{left}"));
            }
        }
    }
    let starts = |season: &Season| crate::day::twin_starts(season);
    for number in 0..before.numbers.len() as u32 {
        let find = |season| starts(season).into_iter().find(|(n, _)| *n == number).map(|(_, at)| at);
        let (was, now) = (find(before), find(after));
        if was != now {
            out.push(format!("start {number} {was:?} {now:?}"));
        }
    }
    out.sort();
    out
}

/// Kind, what tells one from another, and the seconds left.
fn twin_lines(season: &Season) -> Vec<(&'static str, String, String)> {
    let order: Vec<u32> = season.events[0]
        .order
        .iter()
        .filter_map(|slot| match slot {
            Slot::Number { number, .. } => Some(number.0),
            Slot::Interval(_) => None,
        })
        .collect();
    let mut turns: Vec<Turn> = twin_turns(season);
    turns.sort_by_key(|turn| (turn.from, turn.into, turn.child));
    let handed = twin_hand_overs(season, &turns);
    let mut out = Vec::new();
    for (at, turn) in turns.iter().enumerate() {
        let (from, into) = (order[turn.from], order[turn.into]);
        let key = format!("{} {from} {into}", turn.child.0);
        match turn.ease {
            Ease::Easy => {}
            Ease::Quick => out.push(("quick", key.clone(), format!(" {}", turn.left))),
            Ease::Impossible => out.push(("impossible", key.clone(), format!(" {}", turn.left))),
        }
        if turn.ease != Ease::Easy {
            out.push(("hold", format!("{} {into}", turn.child.0), String::new()));
        }
        if handed.contains(&at) {
            out.push(("hand-over", key, String::new()));
        }
    }
    out
}
