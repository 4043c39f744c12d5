//! The arithmetic of a day: a worked example to follow with a pencil, and a slow twin on random seasons.

use crate::common::{board, book as written, with};
use crate::town::book;
use allheard::demo;
use allheard::demo::dice::Dice;
use allheard::domain::book::Book;
use allheard::domain::day::care::Watch;
use allheard::domain::day::turns::{Ease, Turn};
use allheard::domain::day::{Day, door};
use allheard::domain::itinerary::Programme;
use allheard::domain::season::{ChaperoneId, Event, EventId, Number, Season, Slot};
use std::time::{Duration, Instant};

/// What everything for 350 children and 44 numbers may take.
const EVERYTHING_WITHIN: Duration = Duration::from_millis(50);
/// Random seasons held against the twin.
pub const SEASONS: u64 = 200;

// The Saturday show of the town, curtain up 19:00. By hand:
//
//   number      length  changeover  starts   ends
//   1 Kelp        2:00        0:20    0:00    2:00
//   2 Foghorn     3:00        0:20    2:20    5:20
//   interval     15:00               (5:40 to 20:40)
//   3 Gulls       2:30        0:30   20:40   23:10
//   4 Ropewalk    2:00        0:20   23:40   25:40
//   5 Finale      4:00               26:00   30:00
fn check_order(ahead: &str, ready: [&str; 5]) {
    let board = board(&set(&book(), "ready numbers ahead", ahead));
    let day = Day::of(&board.season, board.event("E002").unwrap());
    let minutes = |seconds: i64| format!("{}:{:02}", seconds / 60, seconds % 60);
    let times: Vec<(String, String)> =
        day.numbers.iter().map(|n| (minutes(n.starts), minutes(n.ends))).collect();
    let expect =
        [("0:00", "2:00"), ("2:20", "5:20"), ("20:40", "23:10"), ("23:40", "25:40"), ("26:00", "30:00")];
    assert_eq!(times, expect.map(|(a, b)| (a.to_owned(), b.to_owned())));
    let called: Vec<String> =
        day.numbers.iter().map(|n| day.clock(n.ready).strftime("%H:%M:%S").to_string()).collect();
    assert_eq!(called, ready, "{ahead} ahead");
}

pub fn set(book: &Book, setting: &str, value: &str) -> Book {
    let mut book = book.clone();
    let mut row = allheard::domain::book::Row { number: 99, ..Default::default() };
    row.set("setting", setting);
    row.set("value", value);
    book.sheet_mut("season").rows.push(row);
    book
}

// Four numbers ahead and beginners five minutes before an act are common practice, no source.
#[test]
fn a_number_gets_ready_with_another_or_with_the_beginners_of_its_act() {
    check_order("4", ["18:55:00", "18:55:00", "19:15:40", "19:15:40", "19:15:40"]);
    check_order("2", ["18:55:00", "18:55:00", "19:15:40", "19:15:40", "19:20:40"]);
    check_order("1", ["18:55:00", "19:00:00", "19:15:40", "19:20:40", "19:23:40"]);
}

fn check_turn(change: impl Fn(Book) -> Book, child: &str, expect: Option<(usize, i64, i64, Ease)>) {
    let board = board(&change(book()));
    let day = Day::of(&board.season, board.event("E002").unwrap());
    let found = day.turns.iter().find(|turn| board.season.children[turn.child.at()].reference == child);
    assert_eq!(found.map(|t| (t.between, t.gap, t.left, t.ease)), expect, "{child}");
}

// Walks of 40 seconds and a shortest change of 60 are assumptions; fewer than three numbers between are a quick change:
// common practice, no source.
#[test]
fn turnarounds_are_what_a_pencil_says() {
    let plain = |book| book;
    check_turn(plain, "C001", Some((0, 20, 0, Ease::Impossible)));
    check_turn(plain, "C002", Some((0, 30, 0, Ease::Impossible)));
    // The interval breaks it: 20:40 less 5:20 is 15:20.
    check_turn(plain, "C003", Some((0, 920, 880, Ease::Easy)));
    check_turn(plain, "C004", None);
    let quick =
        |book: Book| set(&set(&book, "walk off and on seconds", "10"), "shortest change seconds", "10");
    check_turn(quick, "C001", Some((0, 20, 10, Ease::Quick)));
    check_turn(|book| set(&quick(book), "quick change below", "0"), "C001", Some((0, 20, 10, Ease::Easy)));
    // Gulls to Finale: Ropewalk lies between; 26:00 less 23:10 is 2:50.
    let longer = |book| with(&book, "children", "C002", "numbers", "Gulls; Finale");
    check_turn(longer, "C002", Some((1, 170, 130, Ease::Quick)));
}

#[test]
fn a_child_is_handed_on_unless_one_adult_has_both_numbers() {
    let hand_overs = |book: &Book| {
        let board = board(book);
        let day = Day::of(&board.season, board.event("E002").unwrap());
        let refs = |list: &[ChaperoneId]| -> Vec<String> {
            list.iter().map(|c| board.season.chaperones[c.at()].reference.clone()).collect()
        };
        day.hand_overs()
            .iter()
            .map(|h| {
                let child = day.turns[h.turn].child;
                let child = board.season.children[child.at()].reference.clone();
                (child, refs(&h.from), refs(&h.to), h.by_quick_change)
            })
            .collect::<Vec<_>>()
    };
    // Nobody takes Ada over for Foghorn, so she stays with Uma.
    assert_eq!(hand_overs(&book()), []);
    let both = book_with_duties("Uma Lock | all | Kelp | yes | yes\nUma Lock | all | Foghorn | |");
    assert_eq!(hand_overs(&both), []);
    let two = book_with_duties("Uma Lock | all | Kelp | yes | yes\nIvo Wren | all | Foghorn | |");
    let named = |who: &str| vec![who.to_owned()];
    assert_eq!(hand_overs(&two), [("C001".to_owned(), named("V001"), named("V002"), true)]);
    // In a number in which children stay with their own chaperone nobody takes them over, whoever leads it.
    let own = crate::common::with(&two, "numbers", "Foghorn", "own chaperone", "yes");
    assert_eq!(hand_overs(&own), []);
}

fn book_with_duties(lines: &str) -> Book {
    let duties = written(&format!("# duties\nchaperone | event | number | signs in | signs out\n{lines}"));
    let mut book = book();
    let ivo = written("# chaperones\nref | name\nV002 | Ivo Wren");
    book.sheet_mut("chaperones").rows.extend(ivo.rows("chaperones").to_vec());
    book.sheet_mut("duties").rows = duties.rows("duties").to_vec();
    book
}

#[test]
fn a_number_is_held_for_whoever_may_still_be_changing() {
    let board = board(&book());
    let day = Day::of(&board.season, board.event("E002").unwrap());
    let held: Vec<Vec<&str>> = (0..5)
        .map(|at| day.held_for(at).iter().map(|c| board.season.children[c.at()].reference.as_str()).collect())
        .collect();
    assert_eq!(held, [vec![], vec!["C001"], vec![], vec!["C002"], vec![]]);
}

// Uma has Ada and Ed; nobody is named for any number of Bo, Cy and Di.
#[test]
fn heads_are_counted_at_the_fullest_moment() {
    let board = board(&book());
    let day = Day::of(&board.season, board.event("E002").unwrap());
    let uma = ChaperoneId(0);
    assert_eq!(
        day.watches(),
        [
            Watch { chaperones: vec![], adults: 0, children: 3, from: None },
            Watch { chaperones: vec![uma], adults: 1, children: 2, from: None }
        ]
    );
    let young = crate::common::with(&book(), "chaperones", "V001", "adult", "no");
    let board = crate::common::board(&young);
    let day = Day::of(&board.season, board.event("E002").unwrap());
    let watch = day.watches().into_iter().find(|w| w.chaperones == [uma]).unwrap();
    assert!(watch.adults == 0 && watch.too_many(12), "a helper under 18 does not count");
}

// 350 children, 20 s each, at 3 and at 6 tables: about 39 and about 19 minutes (a planning guide's worked figures).
#[test]
fn the_door_takes_as_long_as_its_tables_let_it() {
    assert_eq!(door::seconds(350, 20, 3), 39 * 60);
    assert_eq!(door::seconds(350, 20, 6), 19 * 60 + 40);
    assert_eq!((door::seconds(0, 20, 3), door::seconds(1, 20, 0)), (0, 20));
    let mut aged = with(&book(), "children", "C005", "ages", "3-4");
    crate::common::set(&mut aged, "children", "C001", "ages", "9-11");
    let board = board(&aged);
    let day = Day::of(&board.season, board.event("E002").unwrap());
    let batches: Vec<_> = day.leaving().iter().map(|b| (b.ages, b.children.len(), b.from, b.until)).collect();
    assert_eq!(batches, [(Some((3, 4)), 1, 0, 20), (Some((9, 11)), 1, 20, 20), (None, 3, 20, 40)]);
}

// British use: the half is 35 minutes before curtain up, beginners 5; North American use: half hour 30, places 0
// (handbooks of stage management).
#[test]
fn calls_have_the_names_and_moments_of_their_place() {
    let check = |names: &str, expect: [(&str, &str); 4]| {
        let board = board(&set(&book(), "call names", names));
        let day = Day::of(&board.season, board.event("E002").unwrap());
        let calls: Vec<(&str, String)> = day
            .calls()
            .into_iter()
            .map(|(name, at)| (name, day.clock(at).strftime("%H:%M").to_string()))
            .collect();
        assert_eq!(calls, expect.map(|(name, at)| (name, at.to_owned())));
    };
    check(
        "British",
        [("the half", "18:25"), ("the quarter", "18:40"), ("the five", "18:50"), ("beginners", "18:55")],
    );
    check(
        "north american",
        [
            ("half hour", "18:30"),
            ("fifteen minutes", "18:45"),
            ("five minutes", "18:55"),
            ("places", "19:00"),
        ],
    );
}

#[test]
fn a_show_across_midnight_and_a_clock_change_keeps_wall_time_of_its_own_evening() {
    let late = with(&book(), "events", "E002", "starts", "23:50");
    let board = board(&late);
    let day = Day::of(&board.season, board.event("E002").unwrap());
    // Clocks go forward that night at 01:00; the show is over before.
    assert_eq!(day.clock(day.ends().unwrap()).to_string(), "2027-03-28T00:20:00");
}

#[test]
fn everything_for_a_full_season_is_quick() {
    let (season, _) = allheard::domain::reading::season(&demo::book(1));
    let season = season.unwrap();
    let programme = Programme::of(&season);
    assert!(season.children.len() == 350 && season.numbers.len() == 44);
    let show =
        (0..).zip(&season.events).filter(|(_, e)| e.ordered).map(|(at, _)| EventId(at)).last().unwrap();
    let everything = || {
        let began = Instant::now();
        let day = Day::of(&season, show);
        let held: usize = (0..day.numbers.len()).map(|at| day.held_for(at).len()).sum();
        let counts =
            (day.turns.len(), day.hand_overs().len(), day.watches().len(), day.leaving().len(), held);
        let rooms = day.rooms(&programme);
        assert!(rooms.stretches.len() > 1_000 && rooms.heads.len() > 100, "{}", rooms.heads.len());
        assert!(
            counts.0 > 100 && counts.1 > 50 && counts.2 > 40 && counts.3 > 4 && counts.4 > 5,
            "{counts:?}"
        );
        began.elapsed()
    };
    // The best of five: what other tests take of the machine meanwhile is not counted.
    let took = (0..5).map(|_| everything()).min().unwrap();
    println!("everything for {} children: {took:?}", season.children.len());
    assert!(took < EVERYTHING_WITHIN, "{took:?}");
}

#[test]
fn a_slow_twin_agrees_on_random_seasons() {
    let (mut turns, mut groups) = (0, 0);
    for seed in 0..SEASONS {
        let board = board(&random_season(seed));
        let season = &board.season;
        let day = Day::of(season, EventId(0));
        let mut twin = twin_turns(season);
        twin.sort_by_key(|t| (t.from, t.into, t.child));
        assert_eq!(day.turns, twin, "seed {seed}");
        let handed: Vec<usize> = day.hand_overs().iter().map(|h| h.turn).collect();
        assert_eq!(handed, twin_hand_overs(season, &twin), "seed {seed}");
        assert_eq!(day.watches(), twin_watches(season), "seed {seed}");
        turns += twin.len();
        groups += day.watches().len();
    }
    assert!(turns > 1_000 && groups > 500, "{turns} turnarounds, {groups} groups");
}

// The rule of no early release, whatever end is announced: what tries to make an earlier release does not compile
// (see `domain/release.rs`), and what the season makes is never earlier.
#[test]
fn nobody_is_released_before_the_last_number() {
    for seed in 0..SEASONS / 2 {
        let mut book = random_season(seed);
        if seed % 2 == 0 {
            crate::common::set(&mut book, "events", "E001", "ends", "19:01");
        }
        let board = board(&book);
        let last = twin_places(&board.season).into_iter().map(|place| place.3).max().unwrap();
        let end = jiff::civil::date(2027, 3, 27).at(19, 0, 0, 0) + jiff::Span::new().seconds(last);
        assert!(board.programme.itineraries().next().is_some());
        for (_, it) in board.programme.children_at(EventId(0)) {
            assert!(it.collect_from.unwrap().at() >= end, "seed {seed}: {it:?}");
        }
    }
}

fn twin_places(season: &Season) -> Vec<(usize, u32, i64, i64)> {
    (0..season.numbers.len() as u32).filter_map(|n| twin_place(season, &season.events[0], n)).collect()
}

pub fn random_season(seed: u64) -> Book {
    let mut dice = Dice::new(seed, "day");
    let numbers = 2 + dice.below(9);
    let mut text = String::from(
        "# season\nsetting | value\nversion | 1\nname | Twin\nschool | Fenmouth Dance\nzone | Europe/London\ncountry | GB\n",
    );
    for (setting, most) in
        [("walk off and on seconds", 90), ("shortest change seconds", 120), ("quick change below", 5)]
    {
        text.push_str(&format!("{setting} | {}\n", dice.below(most)));
    }
    text.push_str("# places\nref | name | door\nP001 | Corn Loft | side door\n# events\nref | name | kind | place | date | call | starts\nE001 | Show | show | Corn Loft | 2027-03-27 | 18:00 | 19:00\n# numbers\nref | name | length | changeover | worn already | own chaperone\n");
    for n in 0..numbers {
        let mut seldom = || if dice.below(8) == 0 { "yes" } else { "no" };
        let (worn, own) = (seldom(), seldom());
        let (length, changeover) = (30 + dice.below(200), dice.below(60));
        text.push_str(&format!("N{n:03} | Number {n} | {length} s | {changeover} s | {worn} | {own}\n"));
    }
    text.push_str("# running order\nevent | place | number | minutes\n");
    let mut place = 0;
    for n in 0..numbers {
        place += 1;
        text.push_str(&format!("Show | {place} | Number {n} |\n"));
        if n + 1 < numbers && dice.below(4) == 0 {
            place += 1;
            text.push_str(&format!("Show | {place} | interval | {}\n", 5 + dice.below(15)));
        }
    }
    text.push_str(
        "# children\nref | given name | family name | ages | numbers | g1 ref | g1 name | g1 mobile\n",
    );
    for c in 0..3 + dice.below(12) {
        let mut mine: Vec<usize> = (0..numbers).filter(|_| dice.below(3) == 0).collect();
        if mine.is_empty() {
            mine.push(dice.below(numbers));
        }
        if dice.below(2) == 0 {
            mine.reverse();
        }
        let list = mine.iter().map(|n| format!("Number {n}")).collect::<Vec<_>>().join("; ");
        let age = 3 + dice.below(10);
        let letter = char::from(b'A' + c as u8);
        text.push_str(&format!(
            "C{c:03} | Ada{letter} | Reed | {age}-{} | {list} | G{c:03} | Rosa{letter} Reed | 07700 9000{:02}\n",
            age + 1,
            c
        ));
    }
    text.push_str("# chaperones\nref | name | adult\n");
    for v in 0..4 {
        let name = char::from(b'A' + v);
        text.push_str(&format!(
            "V{v:03} | Uma{name} Lock | {}\n",
            if dice.below(4) == 0 { "no" } else { "yes" }
        ));
    }
    text.push_str("# duties\nchaperone | event | number\n");
    for n in 0..numbers {
        for v in 0..4_u8 {
            if dice.below(3) == 0 {
                text.push_str(&format!("Uma{} Lock | Show | Number {n}\n", char::from(b'A' + v)));
            }
        }
    }
    written(&text)
}

/// Every number and its start.
pub fn twin_starts(season: &Season) -> Vec<(u32, i64)> {
    let event = &season.events[0];
    let place = |n: u32| twin_place(season, event, n).map(|place| (n, place.2));
    (0..season.numbers.len() as u32).filter_map(place).collect()
}

/// Where a number stands, how many intervals before it, and its start and end, counted from the top each time.
fn twin_place(season: &Season, event: &Event, wanted: u32) -> Option<(usize, u32, i64, i64)> {
    let (mut clock, mut act, mut at) = (0_i64, 0, 0);
    for slot in &event.order {
        match slot {
            Slot::Interval(minutes) => {
                clock += i64::from(*minutes) * 60;
                act += 1;
            }
            Slot::Number { number, .. } => {
                let number_of = &season.numbers[number.at()];
                if number.0 == wanted {
                    return Some((at, act, clock, clock + i64::from(number_of.seconds)));
                }
                clock += i64::from(number_of.seconds) + i64::from(number_of.changeover_seconds);
                at += 1;
            }
        }
    }
    None
}

pub fn twin_turns(season: &Season) -> Vec<Turn> {
    let event = &season.events[0];
    let settings = &season.settings;
    let mut turns = Vec::new();
    for (nth, child) in (0_u32..).zip(&season.children) {
        let places: Vec<_> =
            child.castings.iter().filter_map(|c| twin_place(season, event, c.number.0)).collect();
        for from in &places {
            for into in &places {
                let nothing_between = !places.iter().any(|p| from.0 < p.0 && p.0 < into.0);
                if from.0 >= into.0 || !nothing_between {
                    continue;
                }
                let gap = into.2 - from.3;
                let left = if gap > i64::from(settings.walks_seconds) {
                    gap - i64::from(settings.walks_seconds)
                } else {
                    0
                };
                let between = into.0 - from.0 - 1;
                let same_act = from.1 == into.1;
                let changes = !number_at(season, event, into.0).worn;
                let ease = match (same_act && changes, left < i64::from(settings.change_seconds)) {
                    (false, _) => Ease::Easy,
                    (true, true) => Ease::Impossible,
                    (true, false) if between < settings.quick_change_numbers as usize => Ease::Quick,
                    (true, false) => Ease::Easy,
                };
                let dresser = changes && (ease != Ease::Easy || child.ages.is_some_and(|(from, _)| from < 8));
                turns.push(Turn {
                    child: allheard::domain::season::ChildId(nth),
                    from: from.0,
                    into: into.0,
                    between,
                    gap,
                    left,
                    ease,
                    dresser,
                });
            }
        }
    }
    turns
}

fn number_at<'a>(season: &'a Season, event: &Event, at: usize) -> &'a Number {
    let there = |n: &u32| twin_place(season, event, *n).is_some_and(|place| place.0 == at);
    let number = (0..season.numbers.len() as u32).find(there).unwrap();
    &season.numbers[number as usize]
}

/// The chaperones who take over the children of the number that stands at a place, sorted.
fn twin_takers(season: &Season, at: usize) -> Vec<ChaperoneId> {
    if number_at(season, &season.events[0], at).own_chaperone { Vec::new() } else { twin_leads(season, at) }
}

/// The chaperones whose duties name it, sorted.
fn twin_leads(season: &Season, at: usize) -> Vec<ChaperoneId> {
    let event = &season.events[0];
    let mut group = Vec::new();
    for duty in &season.duties {
        if let Some(number) = duty.number
            && twin_place(season, event, number.0).is_some_and(|place| place.0 == at)
            && !group.contains(&duty.chaperone)
        {
            group.push(duty.chaperone);
        }
    }
    group.sort();
    group
}

/// Who has a child until it comes off the number at a place: the last who took it over by then, else the first who will,
/// else the first who lead any.
fn twin_group(season: &Season, child: usize, at: usize) -> Vec<ChaperoneId> {
    let event = &season.events[0];
    let mut places: Vec<usize> = season.children[child]
        .castings
        .iter()
        .filter_map(|c| twin_place(season, event, c.number.0))
        .map(|place| place.0)
        .collect();
    places.sort();
    let taken: Vec<(usize, Vec<ChaperoneId>)> = places
        .iter()
        .map(|place| (*place, twin_takers(season, *place)))
        .filter(|(_, takers)| !takers.is_empty())
        .collect();
    let before = taken.iter().rev().find(|(place, _)| *place <= at);
    let led = || places.iter().map(|place| twin_leads(season, *place)).find(|leads| !leads.is_empty());
    before.or(taken.first()).map(|(_, takers)| takers.clone()).or_else(led).unwrap_or_default()
}

pub fn twin_hand_overs(season: &Season, turns: &[Turn]) -> Vec<usize> {
    (0..turns.len())
        .filter(|t| {
            let of = |at| twin_group(season, turns[*t].child.at(), at);
            let (from, to) = (of(turns[*t].from), of(turns[*t].into));
            let shared = from.iter().filter(|c| to.contains(c)).count();
            shared == 0 && from.len() + to.len() > 0
        })
        .collect()
}

fn twin_watches(season: &Season) -> Vec<Watch> {
    let event = &season.events[0];
    let mut moments: Vec<Option<i64>> = vec![None];
    moments.extend(twin_places(season).into_iter().map(|place| Some(place.3)));
    moments.sort();
    let with_whom = |child: usize, moment: Option<i64>| {
        let mut places: Vec<_> = season.children[child]
            .castings
            .iter()
            .filter_map(|c| twin_place(season, event, c.number.0))
            .collect();
        places.sort();
        let now = places.iter().find(|p| moment.is_none_or(|m| p.3 > m)).or(places.last())?;
        Some(twin_group(season, child, now.0))
    };
    let mut groups: Vec<Vec<ChaperoneId>> = Vec::new();
    for moment in &moments {
        groups.extend((0..season.children.len()).filter_map(|child| with_whom(child, *moment)));
    }
    groups.sort();
    groups.dedup();
    groups
        .into_iter()
        .map(|group| {
            let mut best: (usize, Option<i64>) = (0, None);
            for moment in &moments {
                let heads = (0..season.children.len())
                    .filter(|child| with_whom(*child, *moment).as_ref() == Some(&group))
                    .count();
                if heads > best.0 {
                    best = (heads, *moment);
                }
            }
            let adults = group.iter().filter(|c| season.chaperones[c.at()].adult).count();
            Watch { chaperones: group, adults, children: best.0, from: best.1 }
        })
        .collect()
}
