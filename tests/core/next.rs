//! What a chaperone has to do next, by hand, before the show and after each thing told of it.

use crate::common::{board, book as written, with};
use crate::day::{SEASONS, random_season, set};
use crate::running::{deeds, random_deeds, seconds};
use crate::town::book;
use allheard::demo::dice::Dice;
use allheard::domain::board::{Board, Item};
use allheard::domain::book::Book;
use allheard::domain::day::next::{Names, THINGS_MAX, Thing, next};
use allheard::domain::day::order::{OrderShift, Piece};
use allheard::domain::day::running::{Before, Running, ShowReport, Verdict};
use allheard::domain::season::{ChaperoneId, ChildId, EventId, NumberId};
use allheard::domain::sheets;

const KELP: NumberId = NumberId(0);
const FOGHORN: NumberId = NumberId(1);
const GULLS: NumberId = NumberId(2);
const UMA: ChaperoneId = ChaperoneId(0);
const ROSA: ChaperoneId = ChaperoneId(1);
const IVY: ChaperoneId = ChaperoneId(2);

/// The town with a chaperone for every number, a change that can be made in ten seconds, and Ada's sides.
fn staffed() -> Book {
    staffed_with("10")
}

fn staffed_with(change_seconds: &str) -> Book {
    let staff = written(
        "# chaperones\nref | name\nV001 | Uma Lock\nV002 | Rosa Dale\nV003 | Ivy Shaw\n\
         # duties\nchaperone | event | number\nUma Lock | all | Kelp\nRosa Dale | all | Foghorn\nRosa Dale | all | Finale\n\
         Ivy Shaw | all | Gulls\nIvy Shaw | all | Ropewalk\n",
    );
    let mut book =
        with(&book(), "children", "C001", "numbers", "Kelp: 1, left, right; Foghorn: 1, left, right");
    for sheet in ["chaperones", "duties"] {
        book.sheet_mut(sheet).rows = staff.rows(sheet).to_vec();
    }
    [
        ("ready numbers ahead", "2"),
        ("walk off and on seconds", "10"),
        ("shortest change seconds", change_seconds),
    ]
    .into_iter()
    .fold(book, |book, (setting, value)| set(&book, setting, value))
}

/// Her things at a moment, each after the moment it is for.
fn things(board: &Board, chaperone: ChaperoneId, list: &[(&str, ShowReport)], now: &str) -> Vec<String> {
    let show = board.event("E002").unwrap();
    let running = Running::of(&board.season, show, &deeds(list), seconds(now));
    assert!(running.verdicts.iter().all(|v| *v == Verdict::Done), "{:?}", running.verdicts);
    let release = |child: allheard::domain::season::ChildId| {
        board.itinerary(Item { who: child.into(), event: Some(show) })?.collect_from
    };
    let children = sheets::labels(&board.season, &running.planned.children());
    let names = Names { season: &board.season, children: &children };
    let next = next(&running, chaperone, &release);
    assert_eq!(next.later, 0);
    let shown = next.things.iter().map(|(at, thing)| {
        let at = at.map_or("-".to_owned(), |at| running.day.clock(at).strftime("%H:%M:%S").to_string());
        format!("{at} {}", thing.words(&names))
    });
    shown.collect()
}

const OUT: &str = "- Your children may go out by the door from 19:30, not before.";

#[test]
fn before_the_show_each_reads_her_own() {
    let board = board(&staffed());
    let check = |chaperone, expect: &[&str]| {
        assert_eq!(things(&board, chaperone, &[], "-30:00"), expect);
    };
    check(
        UMA,
        &[
            "18:55:00 Next: Kelp. Line up: left side.",
            "19:02:00 Bring Ada R. to the quick-change room after Kelp: Rosa takes over.",
            OUT,
        ],
    );
    check(
        ROSA,
        &[
            "18:55:00 In two numbers: Foghorn. Line up: left side.",
            "19:02:00 Wait at the quick-change room for Ada R. (out of Kelp, into Foghorn, 10 s).",
            "19:05:20 Cy V. goes to Ivy after Foghorn.",
            "19:20:40 In 5 numbers: Finale. Line up.",
            OUT,
        ],
    );
    check(
        IVY,
        &[
            "19:05:20 Cy V. comes to you from Rosa after Foghorn.",
            "19:15:40 In three numbers: Gulls. Line up.",
            "19:15:40 In four numbers: Ropewalk. Line up.",
            "19:23:10 Wait at the quick-change room for Bo R. (out of Gulls, into Ropewalk, 20 s).",
            OUT,
        ],
    );
}

#[test]
fn things_follow_a_hold_a_tick_a_cut_and_an_exchange() {
    let board = board(&staffed());
    let held = [("0:00", ShowReport::Begun(KELP)), ("1:00", ShowReport::Held(Before::Number(FOGHORN), 3))];
    // 5:20 less 2:00 less the walks of ten seconds: 190 seconds, said as three minutes.
    assert_eq!(
        things(&board, ROSA, &held, "1:00"),
        [
            "18:55:00 Next: Foghorn. Line up: left side.",
            "19:02:00 Wait at the quick-change room for Ada R. (out of Kelp, into Foghorn, 3 min).",
            "19:08:20 Cy V. goes to Ivy after Foghorn.",
            "19:23:40 In four numbers: Finale. Line up.",
            OUT,
        ]
    );
    assert_eq!(
        things(&board, UMA, &held, "1:00")[0],
        "19:02:00 Kelp is on: they come off at the right side."
    );
    let over = [held.as_slice(), &[("2:30", ShowReport::Ended(KELP))]].concat();
    assert_eq!(
        things(&board, ROSA, &over, "2:40")[..3],
        [
            "19:02:40 Tell the stage side if Ada R. is still changing: Foghorn is next.",
            "18:55:00 Next: Foghorn. Line up: left side.",
            "19:02:30 Wait at the quick-change room for Ada R. (out of Kelp, into Foghorn, 3 min).",
        ]
    );
    let on = [over.as_slice(), &[("5:50", ShowReport::Begun(FOGHORN))]].concat();
    assert_eq!(things(&board, UMA, &on, "5:50"), [OUT], "Ada was passed on");
    assert_eq!(
        things(&board, ROSA, &on, "5:50")[0],
        "19:08:50 Foghorn is on: they come off at the right side."
    );
    // Gulls is cut: Cy, who was to dance it, stays with Rosa, and Ivy keeps only Bo.
    let cut = [on.as_slice(), &[("6:00", ShowReport::Cut(GULLS))]].concat();
    assert_eq!(
        things(&board, IVY, &cut, "6:00"),
        [
            "19:19:10 Next: Ropewalk. Line up.",
            "- Gulls is cut: nobody lines up for it. Keep its children with you.",
            OUT,
        ]
    );
    assert_eq!(things(&board, ROSA, &cut, "6:00")[1..], ["19:19:10 In two numbers: Finale. Line up.", OUT]);
    // Finale before Gulls: Ivy lines up one number later.
    let exchange =
        ShowReport::Shifted(OrderShift::Exchange(Piece::Number(GULLS), Piece::Number(NumberId(4))));
    let exchanged = [on.as_slice(), &[("6:00", exchange)]].concat();
    let ivy = things(&board, IVY, &exchanged, "6:00");
    assert!(ivy.contains(&"19:19:10 In two numbers: Ropewalk. Line up.".to_owned()), "{ivy:?}");
    assert!(ivy.contains(&"19:24:10 In three numbers: Gulls. Line up.".to_owned()), "{ivy:?}");
}

#[test]
fn where_there_is_no_time_somebody_has_to_decide() {
    let board = board(&staffed_with("60"));
    let words = "19:02:00 No time to change for Ada R. (out of Kelp, into Foghorn): ask the coordinator.";
    for chaperone in [UMA, ROSA] {
        let things = things(&board, chaperone, &[], "-30:00");
        assert_eq!(things.iter().filter(|line| *line == words).count(), 1, "{things:?}");
    }
}

#[test]
fn namesakes_are_told_apart() {
    let book = with(&staffed(), "chaperones", "V003", "name", "Rosa Shaw");
    let mut book = book;
    crate::common::set(&mut book, "duties", "Ivy Shaw", "chaperone", "Rosa Shaw");
    let board = board(&book);
    assert_eq!(
        things(&board, IVY, &[], "-30:00")[0],
        "19:05:20 Cy V. comes to you from Rosa Dale after Foghorn."
    );
}

// However early the curtain comes down: a child goes out when its itinerary says, and every child of the day does.
#[test]
fn a_release_is_the_itinerarys_whatever_is_told() {
    let mut named = 0;
    for seed in 0..SEASONS {
        let board = board(&random_season(seed));
        let season = &board.season;
        let list = random_deeds(season, &mut Dice::new(seed, "next"));
        let running = Running::of(season, EventId(0), &list, list.last().map_or(0, |deed| deed.at));
        let release = |child: allheard::domain::season::ChildId| {
            board.itinerary(Item { who: child.into(), event: Some(EventId(0)) })?.collect_from
        };
        let mut out: Vec<ChildId> = Vec::new();
        for at in 0..season.chaperones.len() as u32 {
            let next = next(&running, ChaperoneId(at), &release);
            assert!(next.things.iter().filter(|(at, _)| at.is_some()).count() <= THINGS_MAX);
            for (_, thing) in next.things {
                let Thing::Out { children, not_before, .. } = thing else { continue };
                for child in &children {
                    assert_eq!(Some(not_before), release(*child), "seed {seed}");
                }
                out.extend(children);
            }
        }
        named += out.len();
    }
    assert!(named > 1_000, "{named}");
}
