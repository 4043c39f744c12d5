//! A day as it runs: a worked example to follow with a pencil, and a slow twin on random seasons and deeds.

use crate::common::{board, with};
use crate::day::{SEASONS, random_season, set};
use crate::town::book;
use allheard::demo::dice::Dice;
use allheard::domain::board::Board;
use allheard::domain::day::order::{OrderShift, Piece, Target};
use allheard::domain::day::running::{Before, Deed, Running, ShowReport, StageNow, Verdict};
use allheard::domain::day::turns::Ease;
use allheard::domain::day::{BEGINNERS_SECONDS, Day};
use allheard::domain::season::{ChildId, EventId, NumberId, Season, Slot};

const KELP: NumberId = NumberId(0);
const FOGHORN: NumberId = NumberId(1);
const GULLS: NumberId = NumberId(2);
const ROPEWALK: NumberId = NumberId(3);
const FINALE: NumberId = NumberId(4);

fn exchange(one: NumberId, other: NumberId) -> ShowReport {
    ShowReport::Shifted(OrderShift::Exchange(Piece::Number(one), Piece::Number(other)))
}

fn behind(number: NumberId, piece: Piece) -> ShowReport {
    ShowReport::Shifted(OrderShift::Move(Piece::Number(number), Target::Behind(piece)))
}

fn to_front(number: NumberId) -> ShowReport {
    ShowReport::Shifted(OrderShift::Move(Piece::Number(number), Target::First))
}

fn back(nth: usize) -> ShowReport {
    ShowReport::TakenBack(format!("d{nth}"))
}

/// Deeds `d1`, `d2` … at `minutes:seconds` from curtain up.
pub fn deeds(list: &[(&str, ShowReport)]) -> Vec<Deed> {
    (1..)
        .zip(list)
        .map(|(nth, (at, act))| Deed { id: format!("d{nth}"), at: seconds(at), act: act.clone() })
        .collect()
}

pub fn seconds(clock: &str) -> i64 {
    let (sign, rest) = clock.strip_prefix('-').map_or((1, clock), |rest| (-1, rest));
    let (minutes, seconds) = rest.split_once(':').unwrap();
    sign * (minutes.parse::<i64>().unwrap() * 60 + seconds.parse::<i64>().unwrap())
}

fn clock(seconds: i64) -> String {
    let sign = if seconds < 0 { "-" } else { "" };
    format!("{sign}{}:{:02}", seconds.abs() / 60, seconds.abs() % 60)
}

fn show(board: &Board) -> EventId {
    board.event("E002").unwrap()
}

fn two_ahead() -> Board {
    board(&set(&book(), "ready numbers ahead", "2"))
}

/// Each number as `Name start-end ready stage`.
fn shown(running: &Running<'_>) -> Vec<String> {
    let season = running.day.season;
    let rows = running.day.numbers.iter().zip(&running.progress);
    rows.map(|(timed, progress)| {
        let stage = match progress.stage {
            StageNow::Over => "over",
            StageNow::On => "on",
            StageNow::ToCome => "to come",
        };
        format!(
            "{} {}-{} {} {stage}",
            season.numbers[timed.number.at()].name,
            clock(timed.starts),
            clock(timed.ends),
            clock(timed.ready)
        )
    })
    .collect()
}

fn check(list: &[(&str, ShowReport)], now: &str, expect: &[&str], late: &str) {
    let board = two_ahead();
    let running = Running::of(&board.season, show(&board), &deeds(list), seconds(now));
    assert!(running.verdicts.iter().all(|v| *v == Verdict::Done), "{:?}", running.verdicts);
    assert_eq!(shown(&running), expect, "{list:?}");
    assert_eq!(clock(running.late()), late, "{list:?}");
}

// The Saturday show of the town, curtain up 19:00, ready two numbers ahead, as planned:
//
//   number      starts   ends    ready
//   1 Kelp        0:00    2:00   -5:00  beginners
//   2 Foghorn     2:20    5:20   -5:00  beginners
//   interval    (5:40 to 20:40)
//   3 Gulls      20:40   23:10   15:40  beginners
//   4 Ropewalk   23:40   25:40   15:40  beginners
//   5 Finale     26:00   30:00   20:40  when Gulls begins
#[test]
fn with_nothing_told_the_day_is_as_planned() {
    let board = two_ahead();
    let running = Running::of(&board.season, show(&board), &[], seconds("-60:00"));
    assert_eq!(running.day.numbers, running.planned.numbers);
    assert_eq!(running.day.turns, running.planned.turns);
    assert!(running.next() == Some(0) && running.on().is_none() && running.between_acts());
    assert_eq!(running.calls(), running.planned.calls());
    assert_eq!(running.day.clock(seconds("2:20")).to_string(), "2027-03-27T19:02:20");
    let ahead: Vec<usize> = running.progress.iter().map(|one| one.ahead).collect();
    assert_eq!(ahead, [0, 1, 2, 3, 4]);
}

#[test]
fn everything_after_a_deed_is_worked_out_anew() {
    // The house is held four minutes before curtain up.
    let held = ("-2:00", ShowReport::Held(Before::Act(0), 4));
    check(
        std::slice::from_ref(&held),
        "-2:00",
        &[
            "Kelp 4:00-6:00 -1:00 to come",
            "Foghorn 6:20-9:20 -1:00 to come",
            "Gulls 24:40-27:10 19:40 to come",
            "Ropewalk 27:40-29:40 19:40 to come",
            "Finale 30:00-34:00 24:40 to come",
        ],
        "4:00",
    );
    // Kelp begins ten seconds later still and runs 30 seconds long.
    let begun = ("4:10", ShowReport::Begun(KELP));
    let over = ("6:40", ShowReport::Ended(KELP));
    let so_far = [held, begun, over];
    check(
        &so_far,
        "6:40",
        &[
            "Kelp 4:10-6:40 -0:50 over",
            "Foghorn 7:00-10:00 -0:50 to come",
            "Gulls 25:20-27:50 20:20 to come",
            "Ropewalk 28:20-30:20 20:20 to come",
            "Finale 30:40-34:40 25:20 to come",
        ],
        "4:40",
    );
    // Ropewalk is cut: 2:20 less, so Finale starts when Gulls is over and its changeover of 30 seconds too.
    let with_cut = [so_far.as_slice(), &[("7:00", ShowReport::Cut(ROPEWALK))]].concat();
    check(
        &with_cut,
        "6:40",
        &[
            "Kelp 4:10-6:40 -0:50 over",
            "Foghorn 7:00-10:00 -0:50 to come",
            "Gulls 25:20-27:50 20:20 to come",
            "Finale 28:20-32:20 20:20 to come",
        ],
        "2:20",
    );
    // Gulls and Finale change places.
    let swapped = [with_cut.as_slice(), &[("7:00", exchange(GULLS, FINALE))]].concat();
    check(
        &swapped,
        "7:00",
        &[
            "Kelp 4:10-6:40 -0:50 over",
            "Foghorn 7:00-10:00 -0:50 to come",
            "Finale 25:20-29:20 20:20 to come",
            "Gulls 29:40-32:10 20:20 to come",
        ],
        "2:10",
    );
    // The tick "Kelp is over" is taken back at 7:30: it is on, and nothing is expected in the past.
    let ticked = [swapped.as_slice(), &[("7:30", back(3))]].concat();
    check(
        &ticked,
        "7:30",
        &[
            "Kelp 4:10-7:30 -0:50 on",
            "Foghorn 7:50-10:50 -0:50 to come",
            "Finale 26:10-30:10 21:10 to come",
            "Gulls 30:30-33:00 21:10 to come",
        ],
        "3:00",
    );
}

#[test]
fn a_tick_left_out_is_made_up_for() {
    // Only ends are ticked: a number began as long before as it is, yet not before the last was over.
    check(
        &[("2:05", ShowReport::Ended(KELP)), ("4:35", ShowReport::Ended(FOGHORN))],
        "4:35",
        &[
            "Kelp 0:05-2:05 -4:55 over",
            "Foghorn 2:05-4:35 -4:55 over",
            "Gulls 19:55-22:25 14:55 to come",
            "Ropewalk 22:55-24:55 14:55 to come",
            "Finale 25:15-29:15 19:55 to come",
        ],
        "-0:45",
    );
    // Only beginnings are: what went before was over after its length, and when the next began at the latest.
    check(
        &[("0:00", ShowReport::Begun(KELP)), ("1:50", ShowReport::Begun(FOGHORN))],
        "1:50",
        &[
            "Kelp 0:00-1:50 -5:00 over",
            "Foghorn 1:50-4:50 -5:00 on",
            "Gulls 20:10-22:40 15:10 to come",
            "Ropewalk 23:10-25:10 15:10 to come",
            "Finale 25:30-29:30 20:10 to come",
        ],
        "-0:30",
    );
}

#[test]
fn a_hold_counts_from_when_it_is_told_once_the_moment_has_passed() {
    let kelp = |list: &[(&str, ShowReport)], now: &str| {
        let board = two_ahead();
        let running = Running::of(&board.season, show(&board), &deeds(list), seconds(now));
        assert!(running.verdicts.iter().all(|v| *v == Verdict::Done));
        (clock(running.day.numbers[0].starts), running.calls().last().map(|(name, at)| (*name, clock(*at))))
    };
    let held = |at, minutes| (at, ShowReport::Held(Before::Act(0), minutes));
    let beginners = |at: &str| Some(("beginners", at.to_owned()));
    assert_eq!(kelp(&[held("-10:00", 4)], "-10:00"), ("4:00".to_owned(), beginners("-1:00")));
    assert_eq!(kelp(&[held("1:00", 4)], "1:00"), ("5:00".to_owned(), beginners("0:00")));
    assert_eq!(kelp(&[held("-10:00", 4), held("3:00", 5)], "3:00"), ("9:00".to_owned(), beginners("4:00")));
    // Nobody told of anything: it begins now at the earliest.
    assert_eq!(kelp(&[], "2:30"), ("2:30".to_owned(), beginners("-2:30")));
    assert_eq!(
        kelp(&[held("-1:00", 1), ("1:10", ShowReport::Begun(KELP))], "1:10"),
        ("1:10".to_owned(), None)
    );
    // Before an act whatever begins it, before a number that number only.
    let starts = |act: ShowReport| {
        let board = two_ahead();
        let list = [("-9:00", act), ("-8:00", ShowReport::Cut(GULLS))];
        let running = Running::of(&board.season, show(&board), &deeds(&list), seconds("-8:00"));
        clock(running.day.numbers.iter().find(|n| n.number == ROPEWALK).unwrap().starts)
    };
    assert_eq!(starts(ShowReport::Held(Before::Act(1), 3)), "23:40");
    assert_eq!(starts(ShowReport::Held(Before::Number(GULLS), 3)), "20:40");
}

#[test]
fn a_move_takes_a_number_past_the_interval_and_its_turnarounds_with_it() {
    let board = two_ahead();
    let list = [("-5:00", behind(KELP, Piece::Interval(0)))];
    let running = Running::of(&board.season, show(&board), &deeds(&list), seconds("-5:00"));
    assert_eq!(
        shown(&running),
        [
            "Foghorn 0:00-3:00 -5:00 to come",
            "Kelp 18:20-20:20 13:20 to come",
            "Gulls 20:40-23:10 13:20 to come",
            "Ropewalk 23:40-25:40 18:20 to come",
            "Finale 26:00-30:00 20:40 to come",
        ]
    );
    // Ada has Foghorn before Kelp now, and the whole interval between.
    let ada = running.day.turns.iter().find(|turn| turn.child == ChildId(0)).unwrap();
    assert_eq!((ada.from, ada.into, ada.gap, ada.ease), (0, 1, 15 * 60 + 20, Ease::Easy));
    assert_eq!(running.planned.turns.iter().find(|t| t.child == ChildId(0)).unwrap().ease, Ease::Impossible);
}

// The lead of two numbers before Finale is 5:20 as planned; with Ropewalk cut it is called with the beginners, 8:00.
#[test]
fn the_lead_is_kept_in_numbers_and_in_minutes() {
    let board = two_ahead();
    let leads = |list: &[(&str, ShowReport)]| {
        let running = Running::of(&board.season, show(&board), &deeds(list), seconds("-5:00"));
        let last = running.day.numbers.last().unwrap();
        (clock(last.lead()), clock(running.progress.last().unwrap().planned_lead))
    };
    assert_eq!(leads(&[]), ("5:20".to_owned(), "5:20".to_owned()));
    assert_eq!(leads(&[("-5:00", ShowReport::Cut(ROPEWALK))]), ("8:00".to_owned(), "5:20".to_owned()));
}

fn check_refused(list: &[(&str, ShowReport)], words: &str) {
    let board = two_ahead();
    let (list, last) = (deeds(list), list.len() - 1);
    let running = Running::of(&board.season, show(&board), &list, seconds("60:00"));
    assert!(running.verdicts[..last].iter().all(|v| *v == Verdict::Done), "{:?}", running.verdicts);
    let Verdict::Refused(refusal) = running.verdicts[last] else { panic!("{:?}", running.verdicts) };
    assert_eq!(refusal.words(&board.season), words);
    assert_eq!(
        Running::verdict(&board.season, show(&board), &list[..last], &list[last]),
        running.verdicts[last]
    );
    // It changes nothing.
    let without = Running::of(&board.season, show(&board), &list[..last], seconds("60:00"));
    assert_eq!(shown(&running), shown(&without));
}

#[test]
fn what_cannot_be_is_refused_with_its_reason() {
    let begun = ("0:00", ShowReport::Begun(KELP));
    let over = ("2:00", ShowReport::Ended(KELP));
    let told = |more: &[(&'static str, ShowReport)]| [&[begun.clone(), over.clone()], more].concat();
    check_refused(&[begun.clone(), ("0:10", ShowReport::Begun(KELP))], "Kelp has begun already.");
    check_refused(&told(&[("2:10", ShowReport::Begun(KELP))]), "Kelp is over already.");
    check_refused(&told(&[("2:10", ShowReport::Ended(KELP))]), "Kelp is over already.");
    let passed = [begun.clone(), ("2:10", ShowReport::Begun(FOGHORN)), ("2:20", ShowReport::Ended(KELP))];
    check_refused(&passed, "Kelp is over already.");
    let first =
        "Foghorn comes before Gulls and has not been ticked off. Tick it off, cut it or move it first.";
    check_refused(&told(&[("2:10", ShowReport::Begun(GULLS))]), first);
    check_refused(&told(&[("2:10", ShowReport::Ended(GULLS))]), first);
    let cut = ("-1:00", ShowReport::Cut(GULLS));
    for act in [
        ShowReport::Begun(GULLS),
        ShowReport::Ended(GULLS),
        ShowReport::Cut(GULLS),
        ShowReport::Held(Before::Number(GULLS), 1),
    ] {
        check_refused(&[cut.clone(), ("1:00", act)], "Gulls is cut. Take the cut back first.");
    }
    check_refused(&[begun.clone(), ("1:00", ShowReport::Cut(KELP))], "Kelp has begun already.");
    check_refused(&told(&[("3:00", ShowReport::Cut(KELP))]), "Kelp is over already.");
    for minutes in [0, 121] {
        check_refused(
            &[("1:00", ShowReport::Held(Before::Act(0), minutes))],
            "A hold is from 1 to 120 minutes.",
        );
    }
    let act = "That part of the show has begun already, or has no number left.";
    check_refused(&[begun.clone(), ("1:00", ShowReport::Held(Before::Act(0), 2))], act);
    check_refused(&[("1:00", ShowReport::Held(Before::Act(2), 2))], act);
    check_refused(
        &[begun.clone(), ("1:00", ShowReport::Held(Before::Number(KELP), 2))],
        "Kelp has begun already.",
    );
    check_refused(&[begun.clone(), ("1:00", exchange(KELP, GULLS))], "Kelp has begun already.");
    check_refused(&[begun.clone(), ("1:00", to_front(GULLS))], "Kelp has begun already.");
    check_refused(&[("1:00", exchange(GULLS, GULLS))], "It stands there already.");
    check_refused(&[("1:00", behind(FOGHORN, Piece::Number(KELP)))], "It stands there already.");
    let missing = "That is not in the running order.";
    check_refused(&[("1:00", ShowReport::Begun(NumberId(77)))], missing);
    check_refused(&[("1:00", behind(KELP, Piece::Interval(1)))], missing);
    check_refused(
        &[("1:00", ShowReport::Shifted(OrderShift::Move(Piece::Interval(0), Target::First)))],
        missing,
    );
    check_refused(&[("1:00", back(9))], "There is nothing like that to take back.");
    check_refused(&[cut.clone(), ("1:00", back(1)), ("1:10", back(1))], "That was taken back before.");
    check_refused(&[cut, ("1:00", back(1)), ("1:10", back(2))], "There is nothing like that to take back.");
    // Foghorn has begun since, which it could not have without Kelp.
    let hangs = [begun, ("2:10", ShowReport::Begun(FOGHORN)), ("2:20", back(1))];
    check_refused(&hangs, "Something told later hangs on it. Take that back first.");
    let board = two_ahead();
    let photographs = board.event("E001").unwrap();
    assert!(board.season.events[photographs.at()].ordered);
    let list = with(&book(), "events", "E003", "kind", "photographs");
    let unordered = crate::common::board(&without_order(&list));
    let told = deeds(&[("0:00", ShowReport::Begun(KELP))]);
    let event = unordered.event("E003").unwrap();
    let Verdict::Refused(refusal) = Running::verdict(&unordered.season, event, &[], &told[0]) else {
        panic!()
    };
    assert_eq!(refusal.words(&unordered.season), "This event has no running order.");
}

fn without_order(book: &allheard::domain::book::Book) -> allheard::domain::book::Book {
    let mut book = book.clone();
    book.sheet_mut("running order").rows.retain(|row| row.text("event") != "Sunday");
    book
}

#[test]
fn the_same_deed_again_changes_nothing() {
    let board = two_ahead();
    let mut list = deeds(&[("0:00", ShowReport::Begun(KELP)), ("1:00", ShowReport::Held(Before::Act(1), 4))]);
    let once = shown(&Running::of(&board.season, show(&board), &list, 60));
    list.push(list[1].clone());
    // Another act under the same id is the same form posted twice, too.
    list.push(Deed { act: ShowReport::Cut(GULLS), ..list[1].clone() });
    let twice = Running::of(&board.season, show(&board), &list, 60);
    assert_eq!(shown(&twice), once);
    assert_eq!(twice.verdicts, [Verdict::Done, Verdict::Done, Verdict::Known, Verdict::Known]);
}

// Cutting all of the second act brings the curtain down at 19:05; nobody goes home the sooner.
#[test]
fn no_deed_moves_a_release() {
    let board = two_ahead();
    let before: Vec<_> = board.programme.itineraries().map(|it| it.collect_from).collect();
    let list = deeds(&[
        ("0:00", ShowReport::Cut(GULLS)),
        ("0:00", ShowReport::Cut(ROPEWALK)),
        ("0:00", ShowReport::Cut(FINALE)),
    ]);
    let running = Running::of(&board.season, show(&board), &list, 0);
    assert_eq!(clock(running.late()), "-24:40");
    let again = Board::of(board.season.clone());
    let after: Vec<_> = again.programme.itineraries().map(|it| it.collect_from).collect();
    assert_eq!(before, after);
}

#[test]
fn a_slow_twin_agrees_on_random_deeds() {
    let (mut done, mut refused, mut known, mut turns) = (0, 0, 0, 0);
    for seed in 0..SEASONS {
        let board = board(&random_season(seed));
        let season = &board.season;
        let mut dice = Dice::new(seed, "deeds");
        let list = random_deeds(season, &mut dice);
        let now = list.last().map_or(0, |deed| deed.at) + dice.below(300) as i64;
        let running = Running::of(season, EventId(0), &list, now);
        let (twin, verdicts) = twin_of(season, &list);
        let counted = |verdict: &Verdict| match verdict {
            Verdict::Done => 'd',
            Verdict::Known => 'k',
            Verdict::Refused(_) => 'r',
        };
        let mine: String = running.verdicts.iter().map(counted).collect();
        assert_eq!(mine, verdicts, "seed {seed}: {list:?}");
        let now = now.max(twin.latest);
        let rows: Vec<_> = running
            .day
            .numbers
            .iter()
            .zip(&running.progress)
            .map(|(t, p)| (t.number, t.act, t.starts, t.ends, t.ready, p.stage))
            .collect();
        assert_eq!(rows, twin.rows(season, now), "seed {seed}: {list:?}");
        let passed: Vec<_> =
            running.day.turns.iter().map(|t| (t.child, t.from, t.into, t.gap, t.left, t.ease)).collect();
        assert_eq!(passed, twin.turns(season, now), "seed {seed}: {list:?}");
        done += mine.matches('d').count();
        refused += mine.matches('r').count();
        known += mine.matches('k').count();
        turns += passed.len();
    }
    println!("{done} deeds done, {refused} refused, {known} known, {turns} turnarounds");
    assert!(done > 800 && refused > 200 && known > 20 && turns > 500);
}

/// Deeds as somebody in haste might tell them: mostly what comes next, sometimes anything.
pub fn random_deeds(season: &Season, dice: &mut Dice) -> Vec<Deed> {
    let numbers = season.numbers.len();
    let mut list: Vec<Deed> = Vec::new();
    let mut at = -300;
    for nth in 0..5 + dice.below(12) {
        at += dice.below(200) as i64 - 10;
        let any = NumberId(dice.below(numbers) as u32);
        let other = NumberId(dice.below(numbers) as u32);
        let running = Running::of(season, EventId(0), &list, at);
        let next = running.next().map_or(any, |next| running.day.numbers[next].number);
        let on = running.on().map_or(next, |on| running.day.numbers[on].number);
        let act = match dice.below(16) {
            0..4 => ShowReport::Begun(next),
            4..7 => ShowReport::Ended(on),
            7 => ShowReport::Begun(any),
            8 => ShowReport::Ended(any),
            9 => ShowReport::Held(Before::Number(any), dice.below(10) as u32),
            10 => ShowReport::Held(Before::Act(dice.below(3) as u32), 1 + dice.below(10) as u32),
            11 => ShowReport::Cut(any),
            12 => exchange(any, other),
            13 => behind(any, if dice.below(3) == 0 { Piece::Interval(0) } else { Piece::Number(other) }),
            14 => to_front(any),
            _ => back(dice.below(nth.max(1))),
        };
        let id = if dice.below(12) == 0 { format!("d{}", dice.below(nth.max(1))) } else { format!("d{nth}") };
        list.push(Deed { id, at, act });
    }
    list
}

/// A line of the twin's running order.
#[derive(Clone)]
struct Line {
    number: Option<NumberId>,
    minutes: u32,
    cut: bool,
    began: Option<i64>,
    ended: Option<i64>,
}

#[derive(Clone)]
struct Twin {
    lines: Vec<Line>,
    holds: Vec<(Before, i64, u32)>,
    latest: i64,
}

/// Plays each deed on top of all that count, from the top each time.
fn twin_of(season: &Season, list: &[Deed]) -> (Twin, String) {
    let mut count: Vec<Deed> = Vec::new();
    let mut seen: Vec<String> = Vec::new();
    let mut verdicts = String::new();
    for deed in list {
        if seen.contains(&deed.id) {
            verdicts.push('k');
            continue;
        }
        let mut wanted = count.clone();
        if let ShowReport::TakenBack(id) = &deed.act {
            wanted.retain(|other| other.id != *id);
            if wanted.len() == count.len() {
                verdicts.push('r');
                continue;
            }
        } else {
            wanted.push(deed.clone());
        }
        if twin_played(season, &wanted).is_some() {
            seen.push(deed.id.clone());
            count = wanted;
            verdicts.push('d');
        } else {
            verdicts.push('r');
        }
    }
    (twin_played(season, &count).unwrap(), verdicts)
}

fn twin_played(season: &Season, list: &[Deed]) -> Option<Twin> {
    let lines = season.events[0].order.iter().map(|slot| {
        let (number, minutes) = match slot {
            Slot::Number { number, .. } => (Some(*number), 0),
            Slot::Interval(minutes) => (None, *minutes),
        };
        Line { number, minutes, cut: false, began: None, ended: None }
    });
    let mut twin = Twin { lines: lines.collect(), holds: Vec::new(), latest: i64::MIN };
    for deed in list {
        let at = if deed.at > twin.latest { deed.at } else { twin.latest };
        if !twin.play(&deed.act, at) {
            return None;
        }
        twin.latest = at;
    }
    Some(twin)
}

impl Twin {
    fn live(&self) -> Vec<usize> {
        (0..self.lines.len()).filter(|at| self.lines[*at].number.is_some() && !self.lines[*at].cut).collect()
    }

    fn line(&self, number: NumberId) -> Option<usize> {
        self.live().into_iter().find(|at| self.lines[*at].number == Some(number))
    }

    fn touched(&self, at: usize) -> bool {
        self.lines[at].began.is_some() || self.lines[at].ended.is_some()
    }

    fn last_touched(&self) -> Option<usize> {
        self.live().into_iter().rfind(|at| self.touched(*at))
    }

    fn stage(&self, at: usize) -> StageNow {
        let last = self.last_touched();
        if last.is_some_and(|last| at < last) || self.lines[at].ended.is_some() {
            StageNow::Over
        } else if last == Some(at) {
            StageNow::On
        } else {
            StageNow::ToCome
        }
    }

    fn play(&mut self, act: &ShowReport, at: i64) -> bool {
        let waits = |twin: &Twin, number: NumberId| {
            twin.line(number).filter(|line| twin.stage(*line) == StageNow::ToCome)
        };
        match act {
            ShowReport::Begun(number) | ShowReport::Ended(number) => {
                let Some(line) = self.line(*number) else { return false };
                let before = self.live().into_iter().filter(|other| *other < line);
                if before.into_iter().any(|other| self.stage(other) == StageNow::ToCome) {
                    return false;
                }
                match (act, self.stage(line)) {
                    (ShowReport::Begun(_), StageNow::ToCome) => self.lines[line].began = Some(at),
                    (ShowReport::Ended(_), StageNow::ToCome | StageNow::On) => {
                        self.lines[line].ended = Some(at)
                    }
                    _ => return false,
                }
            }
            ShowReport::Held(before, minutes) => {
                let may = match before {
                    Before::Number(number) => waits(self, *number).is_some(),
                    Before::Act(act) => {
                        let of: Vec<usize> =
                            self.live().into_iter().filter(|line| self.act_of(*line) == *act).collect();
                        !of.is_empty() && of.iter().all(|line| self.stage(*line) == StageNow::ToCome)
                    }
                };
                if !may || *minutes < 1 || *minutes > 120 {
                    return false;
                }
                self.holds.push((*before, at, *minutes));
            }
            ShowReport::Cut(number) => match waits(self, *number) {
                Some(line) => self.lines[line].cut = true,
                None => return false,
            },
            ShowReport::Shifted(OrderShift::Exchange(Piece::Number(one), Piece::Number(other))) => {
                let (Some(one), Some(other)) = (waits(self, *one), waits(self, *other)) else { return false };
                if one == other {
                    return false;
                }
                self.lines.swap(one, other);
            }
            ShowReport::Shifted(OrderShift::Move(Piece::Number(number), target)) => {
                let Some(from) = waits(self, *number) else { return false };
                let line = self.lines[from].clone();
                let mut lines = self.lines.clone();
                // Marked first and taken out last, so that places do not move meanwhile.
                let to = match target {
                    Target::First => 0,
                    Target::Behind(Piece::Number(other)) => {
                        match lines.iter().position(|line| line.number == Some(*other)) {
                            Some(place) => place + 1,
                            None => return false,
                        }
                    }
                    Target::Behind(Piece::Interval(nth)) => {
                        let intervals: Vec<usize> =
                            (0..lines.len()).filter(|place| lines[*place].number.is_none()).collect();
                        match intervals.get(*nth) {
                            Some(place) => place + 1,
                            None => return false,
                        }
                    }
                };
                if to == from || to == from + 1 {
                    return false;
                }
                lines.insert(to, line);
                lines.remove(if to <= from { from + 1 } else { from });
                let moved = Twin { lines, ..self.clone() };
                // Nothing waits before what has begun.
                let last = moved.last_touched().unwrap_or(0);
                if moved.live().iter().any(|line| *line < last && !moved.touched(*line)) {
                    return false;
                }
                *self = moved;
            }
            ShowReport::Shifted(_) | ShowReport::TakenBack(_) => return false,
        }
        true
    }

    fn act_of(&self, line: usize) -> u32 {
        self.lines[..line].iter().filter(|line| line.number.is_none()).count() as u32
    }

    fn before(&self, line: usize) -> Option<usize> {
        self.live().into_iter().rfind(|other| *other < line)
    }

    /// A start from the end of the number before it, and so on down to curtain up.
    fn start(&self, season: &Season, line: usize, now: i64) -> i64 {
        if let Some(began) = self.lines[line].began {
            return began;
        }
        let number = self.lines[line].number.unwrap();
        if let Some(ended) = self.lines[line].ended {
            let guess = ended - i64::from(season.numbers[number.at()].seconds);
            let not_before = self.before(line).map_or(guess, |before| self.end(season, before, now));
            return ended.min(guess.max(not_before));
        }
        let from = self.before(line).map_or(0, |before| before + 1);
        let mut start = match self.before(line) {
            Some(before) => {
                let danced = self.lines[before].number.unwrap();
                self.end(season, before, now) + i64::from(season.numbers[danced.at()].changeover_seconds)
            }
            None => 0,
        };
        start += self.lines[from..line].iter().map(|line| i64::from(line.minutes) * 60).sum::<i64>();
        let begins_act = self.before(line).is_none_or(|before| self.act_of(before) != self.act_of(line));
        for (before, at, minutes) in &self.holds {
            if *before == Before::Number(number) || begins_act && *before == Before::Act(self.act_of(line)) {
                let from = if start > *at { start } else { *at };
                start = from + i64::from(*minutes) * 60;
            }
        }
        if start < now { now } else { start }
    }

    fn end(&self, season: &Season, line: usize, now: i64) -> i64 {
        if let Some(ended) = self.lines[line].ended {
            return ended;
        }
        let length = i64::from(season.numbers[self.lines[line].number.unwrap().at()].seconds);
        let due = self.start(season, line, now) + length;
        let next = self.live().into_iter().find(|other| *other > line);
        match (next.filter(|next| self.touched(*next)), self.stage(line)) {
            (Some(next), _) => due.min(self.lines[next].began.or(self.lines[next].ended).unwrap()),
            (None, StageNow::On) => due.max(now),
            (None, _) => due,
        }
    }

    fn rows(&self, season: &Season, now: i64) -> Vec<(NumberId, u32, i64, i64, i64, StageNow)> {
        let live = self.live();
        let lead = season.settings.ready_numbers as usize;
        live.iter()
            .map(|line| {
                let of_act: Vec<usize> =
                    live.iter().copied().filter(|other| self.act_of(*other) == self.act_of(*line)).collect();
                let nth = of_act.iter().position(|other| other == line).unwrap();
                let ready = if nth >= lead {
                    self.start(season, of_act[nth - lead], now)
                } else {
                    self.start(season, of_act[0], now) - BEGINNERS_SECONDS
                };
                let (start, end) = (self.start(season, *line, now), self.end(season, *line, now));
                (self.lines[*line].number.unwrap(), self.act_of(*line), start, end, ready, self.stage(*line))
            })
            .collect()
    }

    fn turns(&self, season: &Season, now: i64) -> Vec<(ChildId, usize, usize, i64, i64, Ease)> {
        let rows = self.rows(season, now);
        let settings = &season.settings;
        let mut out = Vec::new();
        for from in 0..rows.len() {
            for into in from + 1..rows.len() {
                for (nth, child) in (0_u32..).zip(&season.children) {
                    let dances = |at: usize| child.castings.iter().any(|c| c.number == rows[at].0);
                    if !dances(from) || !dances(into) || (from + 1..into).any(dances) {
                        continue;
                    }
                    let gap = rows[into].2 - rows[from].3;
                    let left = (gap - i64::from(settings.walks_seconds)).max(0);
                    let same_act = rows[from].1 == rows[into].1;
                    let quick = into - from - 1 < settings.quick_change_numbers as usize;
                    let worn = season.numbers[rows[into].0.at()].worn;
                    let ease = if !same_act || worn {
                        Ease::Easy
                    } else if left < i64::from(settings.change_seconds) {
                        Ease::Impossible
                    } else if quick {
                        Ease::Quick
                    } else {
                        Ease::Easy
                    };
                    out.push((ChildId(nth), from, into, gap, left, ease));
                }
            }
        }
        out
    }
}

#[test]
fn a_show_ticked_off_on_time_is_as_planned() {
    let (season, _) = allheard::domain::reading::season(&allheard::demo::book(1));
    let season = season.unwrap();
    let show =
        (0..).zip(&season.events).filter(|(_, e)| e.ordered).map(|(at, _)| EventId(at)).last().unwrap();
    let mut list: Vec<Deed> = Vec::new();
    for timed in &Day::of(&season, show).numbers {
        for (word, at, act) in [
            ("b", timed.starts, ShowReport::Begun(timed.number)),
            ("e", timed.ends, ShowReport::Ended(timed.number)),
        ] {
            list.push(Deed { id: format!("{word}{}", timed.number.0), at, act });
        }
    }
    let running = Running::of(&season, show, &list, 0);
    assert!(running.over() && running.late() == 0);
    assert_eq!(running.day.numbers, running.planned.numbers);
}
