//! What a running order and its people may not be, or should be looked at for: sheet, row, reason, cure.

use crate::common::{board, set as set_cell, with};
use crate::town::book;
use allheard::domain::book::{Book, Problem, Row, Weight};
use allheard::domain::day::Day;
use allheard::domain::reading;
use allheard::domain::season::EventId;
use jiff::civil::date;

fn warned(book: &Book, sheet: &str, words: &str) -> Vec<Problem> {
    let (season, problems) = reading::season(book);
    assert!(season.is_some(), "{problems:#?}");
    problems.into_iter().filter(|p| p.sheet == sheet && p.reason.contains(words)).collect()
}

#[track_caller]
fn check(book: &Book, sheet: &str, row: u32, words: &str, cure: &str) {
    let found = warned(book, sheet, words);
    let [problem] = &found[..] else { panic!("{words}: {:#?}", reading::season(book).1) };
    assert!(problem.weight != Weight::Error && problem.row == Some(row), "{problem:?}");
    assert!(problem.cure.contains(cure), "{problem:?}");
}

/// The town with one line of the Saturday order replaced by an interval, or with one more at a place.
fn with_line(place: &str, number: &str) -> Book {
    let mut book = book();
    let rows = &mut book.sheet_mut("running order").rows;
    rows.retain(|row| (row.text("event"), row.text("place")) != ("Saturday", place));
    let mut line = Row { number: 99, ..Row::default() };
    for (column, text) in [("event", "Saturday"), ("place", place), ("number", number)] {
        line.set(column, text);
    }
    rows.push(line);
    book
}

#[test]
fn an_act_without_numbers() {
    check(&with_line("1", "interval"), "running order", 99, "begins with an interval", "Keep one interval");
    check(
        &with_line("4", "interval"),
        "running order",
        99,
        "right after the one in row 10",
        "Keep one interval",
    );
    check(&with_line("7", "interval"), "running order", 99, "after the last number", "Take the interval out");
    assert!(warned(&book(), "running order", "empty").is_empty());
}

#[test]
fn numbers_without_a_length_are_told_once() {
    let mut bare = book();
    for number in ["Kelp", "Gulls", "Finale"] {
        set_cell(&mut bare, "numbers", number, "length", "");
    }
    check(
        &bare,
        "numbers",
        2,
        "for 3 numbers of a running order (rows 2, 4 and 6); each is taken for as long as the middle one of its class, 2:05 where",
        "with a watch",
    );
    // Foghorn (3:00), Ropewalk (2:00) and a third of 2:30 are of one class: the middle one is 2:30.
    let mut classed = bare.clone();
    for (number, class) in
        [("Kelp", "Swans"), ("Foghorn", "Swans"), ("Ropewalk", "Swans"), ("Gulls", "Swans")]
    {
        set_cell(&mut classed, "numbers", number, "class", class);
    }
    set_cell(&mut classed, "numbers", "Gulls", "length", "2:30");
    let lengths: Vec<u32> = board(&classed).season.numbers.iter().map(|number| number.seconds).collect();
    assert_eq!(lengths, [150, 180, 150, 120, 125]);
    assert!(warned(&book(), "numbers", "no length").is_empty());
    let unordered = {
        let mut book = with(&bare, "events", "E001", "ends", "20:00");
        book.sheet_mut("running order").rows.clear();
        book
    };
    assert!(warned(&unordered, "numbers", "no length").is_empty(), "nothing follows from it");
}

#[test]
fn a_child_in_every_number() {
    let every = with(&book(), "children", "C004", "numbers", "Kelp; Foghorn; Gulls; Ropewalk; Finale");
    let found = warned(&every, "children", "in all 5 numbers of");
    assert!(found.len() == 1 && found[0].row == Some(5), "one finding for both days: {found:#?}");
    assert!(found[0].reason.ends_with("numbers of 'Dress' and 'Saturday'"), "{}", found[0].reason);
    assert!(found[0].cure.contains("filled down"));
    let board = board(&every);
    let day = Day::of(&board.season, board.event("E002").unwrap());
    let hers = day.turns.iter().filter(|turn| board.season.children[turn.child.at()].reference == "C004");
    assert_eq!(hers.count(), 4, "a turnaround between each two");
}

#[test]
fn one_place_for_two_events_at_once() {
    let mut twice = book();
    set_cell(&mut twice, "events", "E003", "date", "2027-03-27");
    set_cell(&mut twice, "events", "E003", "call", "18:30");
    let twice = with(&twice, "events", "E003", "starts", "19:10");
    check(
        &twice,
        "events",
        4,
        "'Saturday' and 'Sunday' are both at 'Corn Loft' and overlap",
        "Move one of the two",
    );
    // Children and chaperones who would be at both are told of too.
    check(&twice, "children", 2, "wanted at 'Saturday' and at 'Sunday', which overlap", "Move a call");
    check(&twice, "duties", 2, "duties at 'Saturday' and at 'Sunday', which overlap", "somebody else");
    let mut apart = twice.clone();
    let mut hall = Row { number: 3, ..Row::default() };
    for (column, text) in [("ref", "P002"), ("name", "Tide Hall"), ("door", "river door")] {
        hall.set(column, text);
    }
    apart.sheet_mut("places").rows.push(hall);
    set_cell(&mut apart, "events", "E003", "place", "Tide Hall");
    assert!(warned(&apart, "events", "are both at").is_empty());
    assert_eq!(warned(&apart, "children", "which overlap").len(), 1, "two stages at once");
}

#[test]
fn a_child_in_both_casts_of_one_night() {
    let mut casts = book();
    set_cell(&mut casts, "events", "E002", "cast", "Herons");
    set_cell(&mut casts, "events", "E003", "cast", "Terns");
    let casts = with(&casts, "events", "E003", "date", "2027-03-27");
    let both = with(&casts, "children", "C001", "cast", "Herons; Terns");
    check(&both, "children", 2, "and 'Sunday' and 'Saturday' are both on 2027-03-27", "Keep one cast");
    // One order danced by two casts in turn is how casts are meant.
    let one = with(&casts, "children", "C001", "cast", "Terns");
    assert!(warned(&one, "children", "more than one cast").is_empty());
}

#[test]
fn a_chaperone_who_dances_herself() {
    let mut dances = book();
    set_cell(&mut dances, "chaperones", "V001", "name", "Di Moss");
    set_cell(&mut dances, "duties", "Uma Lock", "chaperone", "Di Moss");
    let words = "the name or the mobile of the child in row 5";
    check(&dances, "chaperones", 2, words, "somebody else");
    let sheets = allheard::domain::sheets::of_event(
        &board(&dances),
        EventId(1),
        allheard::domain::sheets::Marks::none(),
    );
    let staff = sheets.iter().find(|sheet| sheet.name() == "chaperones").unwrap();
    let first = staff.tables[0].rows().next().unwrap();
    assert_eq!((&first[0][..], &first[5][..]), ("Di Moss", "5 Finale (themselves)"));
    // The mobile of a guardian who stands in for the child itself.
    let mut own = book();
    set_cell(&mut own, "children", "C004", "g1 name", "Di Moss");
    let own = with(&own, "chaperones", "V001", "mobile", "07700 900004");
    check(&own, "chaperones", 2, words, "somebody else");
    // A mother's mobile makes nobody a dancer.
    let mother = with(&book(), "chaperones", "V001", "mobile", "07700 900001");
    assert!(warned(&mother, "chaperones", "ratio").is_empty());
}

/// Each number's start by the clock on the wall, then the release, and the instant after which nothing matters.
fn check_clock(on: &str, starts: &str, expect: [&str; 5], release: jiff::civil::DateTime, over: &str) {
    let mut night = with(&book(), "events", "E002", "date", on);
    set_cell(&mut night, "events", "E002", "call", if starts < "12:00" { "00:00" } else { "22:50" });
    set_cell(&mut night, "events", "E002", "starts", starts);
    let board = board(&night);
    let event = board.event("E002").unwrap();
    let day = Day::of(&board.season, event);
    let clocks: Vec<String> =
        day.numbers.iter().map(|n| day.clock(n.starts).strftime("%H:%M").to_string()).collect();
    assert_eq!(clocks, expect, "{on} {starts}");
    let it = board.programme.itineraries().find(|it| it.event == event).unwrap();
    assert_eq!(
        (it.collect_from.unwrap().at(), it.over_at.to_string()),
        (release, over.to_owned()),
        "{on} {starts}"
    );
    // What is never early by the wall is never early in hours that passed.
    let last = day.ends().unwrap();
    assert!(day.moment(it.over_at) >= last, "{} < {last}", day.moment(it.over_at));
}

// The town's Saturday order: starts at 0:00, 2:20, 20:40, 23:40, 26:00 and ends at 30:00.
#[test]
fn clocks_on_paper_are_those_on_the_wall() {
    check_clock(
        "2027-03-20",
        "23:50",
        ["23:50", "23:52", "00:10", "00:13", "00:16"],
        date(2027, 3, 21).at(0, 20, 0, 0),
        "2027-03-21T00:20:00Z",
    );
    // At 01:00 clocks go to 02:00: twenty past one is twenty past two.
    check_clock(
        "2027-03-28",
        "00:50",
        ["00:50", "00:52", "02:10", "02:13", "02:16"],
        date(2027, 3, 28).at(2, 20, 0, 0),
        "2027-03-28T01:20:00Z",
    );
    // At 02:00 clocks go back to 01:00, and every time until 02:00 has been there before: collected at two, not at the first 01:20.
    check_clock(
        "2027-10-31",
        "01:50",
        ["01:50", "01:52", "01:10", "01:13", "01:16"],
        date(2027, 10, 31).at(2, 0, 0, 0),
        "2027-10-31T02:00:00Z",
    );
}

#[test]
fn a_show_across_midnight_is_neither_refused_nor_flagged() {
    let late = with(&book(), "events", "E002", "starts", "23:50");
    let (season, problems) = reading::season(&late);
    assert!(season.is_some());
    let about: Vec<_> = problems.iter().filter(|p| p.sheet == "events" && p.row == Some(3)).collect();
    let (_, before) = reading::season(&book());
    let known: Vec<_> = before.iter().filter(|p| p.sheet == "events" && p.row == Some(3)).collect();
    assert_eq!(about, known);
    let sheets = allheard::domain::sheets::of_event(
        &board(&late),
        EventId(1),
        allheard::domain::sheets::Marks::none(),
    );
    let wall = sheets.iter().find(|sheet| sheet.name() == "wall").unwrap();
    let on: Vec<&str> = wall.tables[0].rows().map(|row| &row[4][..]).collect();
    assert_eq!(on, ["23:50", "23:52", "23:55", "00:10", "00:13", "00:16"]);
}

#[test]
fn an_order_may_not_name_a_number_twice_or_one_that_is_not_there() {
    let refused = |number: &str, words: &str, cure: &str| {
        let (season, problems) = reading::season(&with_line("3", number));
        assert!(season.is_none());
        let found = problems.iter().find(|p| p.weight == Weight::Error && p.reason.contains(words));
        let found = found.unwrap_or_else(|| panic!("{problems:#?}"));
        assert!(
            found.sheet == "running order" && found.row.is_some() && found.cure.contains(cure),
            "{found:?}"
        );
    };
    refused("Kelp", "the number is in this running order in row 8 too", "a name of its own");
    refused("Foghron", "'Foghron' is not on the sheet 'numbers'", "'Foghorn'");
}
