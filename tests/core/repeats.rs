//! Events that come round again by a rule.

use crate::common::{self, board};
use crate::town::{book, item};
use allheard::domain::board::Board;
use allheard::domain::book::{Book, Row};
use allheard::domain::due::first_show;
use jiff::civil::Time;

/// The town with weekly class visits of all who dance Kelp, a duty, a rule and two notices about them. The clocks go
/// forward on 28 March.
fn visits(cells: &[(&str, &str)]) -> Book {
    let mut book = book();
    let rows: [(&str, &[(&str, &str)]); 5] = [
        (
            "events",
            &[
                ("ref", "E004"),
                ("name", "Class visit"),
                ("kind", "class"),
                ("place", "Corn Loft"),
                ("date", "2027-03-15"),
                ("call", "16:25"),
                ("starts", "16:30"),
                ("ends", "17:15"),
                ("numbers", "Kelp"),
                ("repeats", "Tuesdays at 16:45"),
                ("repeats until", "2027-04-06"),
            ],
        ),
        ("duties", &[("chaperone", "Uma Lock"), ("event", "Class visit"), ("task", "float")]),
        (
            "house rules",
            &[
                ("ref", "R004"),
                ("name", "Shoes"),
                ("event", "Class visit"),
                ("language", "en"),
                ("text", "No shoes."),
            ],
        ),
        ("notices", &notice("T005", "class", "1", "18:00")),
        ("notices", &notice("T006", "Class visit", "0", "9:00")),
    ];
    for (sheet, own) in rows {
        let rows = &mut book.sheet_mut(sheet).rows;
        let mut row = Row { number: rows.len() as u32 + 2, ..Row::default() };
        own.iter().for_each(|(column, text)| row.set(column, *text));
        if sheet == "events" {
            cells.iter().for_each(|(column, text)| row.set(column, *text));
        }
        rows.push(row);
    }
    book
}

fn notice<'a>(reference: &'a str, about: &'a str, days: &'a str, at: &'a str) -> [(&'a str, &'a str); 9] {
    [
        ("ref", reference),
        ("name", reference),
        ("about", about),
        ("to", "everyone"),
        ("counted from", "call"),
        ("days before", days),
        ("at", at),
        ("by", "mail"),
        ("wording", "reminder"),
    ]
}

/// Ref, call, start and end of each visit; a cancelled one in brackets.
fn listed(board: &Board) -> Vec<String> {
    let clock = |time: Time| time.strftime("%H:%M").to_string();
    let visits = board.season.events.iter().filter(|event| event.name == "Class visit");
    visits
        .map(|event| {
            let ends = event.ends.map(clock).unwrap_or_default();
            let line = format!("{} {} {} {ends}", event.reference, clock(event.call), clock(event.starts));
            if event.cancelled { format!("({line})") } else { line }
        })
        .collect()
}

#[track_caller]
fn check(cells: &[(&str, &str)], words: &str, expect: &[&str]) {
    let board = board(&visits(cells));
    assert_eq!(listed(&board), expect);
    let [series] = &board.season.series[..] else { panic!("{:?}", board.season.series) };
    assert_eq!((series.name.as_str(), series.words.as_str()), ("Class visit", words));
    assert_eq!(series.events.len(), expect.len());
}

#[test]
fn one_line_becomes_one_event_a_date() {
    check(
        &[],
        "Tuesdays at 16:45",
        &[
            "E004-2027-03-16 16:40 16:45 17:30",
            "E004-2027-03-23 16:40 16:45 17:30",
            "E004-2027-03-30 16:40 16:45 17:30",
            "E004-2027-04-06 16:40 16:45 17:30",
        ],
    );
    // The same in crontab's words; both ends count; a day off is called off and stays.
    check(
        &[("repeats", "45 16 * * 1,4"), ("repeats until", "2027-03-22"), ("not on", "18 March 2027")],
        "Mondays and Thursdays at 16:45",
        &[
            "E004-2027-03-15 16:40 16:45 17:30",
            "(E004-2027-03-18 16:40 16:45 17:30)",
            "E004-2027-03-22 16:40 16:45 17:30",
        ],
    );
    // A line without an end; a call on the hour before; a line that is called off as a whole.
    check(
        &[
            ("repeats", "0 17 16 3 *"),
            ("call", "15:30"),
            ("ends", ""),
            ("cancelled", "yes"),
            ("dismissal", "17:10"),
        ],
        "the 16th of the month in March at 17:00",
        &["(E004-2027-03-16 16:00 17:00 )"],
    );
    assert_eq!(board(&book()).season.series, []);
}

#[test]
fn a_changed_rule_keeps_the_refs_and_facts_of_dates_that_stay() {
    let before = board(&visits(&[]));
    let after =
        board(&visits(&[("repeats", "Tuesdays and Fridays at 16:45"), ("repeats until", "2027-03-30")]));
    let at = |board: &Board, event: &str| board.fingerprint(item(board, "C001", event));
    for event in ["E004-2027-03-16", "E004-2027-03-23", "E004-2027-03-30"] {
        assert_eq!(at(&before, event), at(&after, event), "{event}");
    }
    assert!(before.event("E004-2027-04-06").is_some() && after.event("E004-2027-04-06").is_none());
    assert!(after.event("E004-2027-03-19").is_some());
    assert!(after.season.events.iter().all(|event| !event.reference.contains(['/', ' '])));
}

#[test]
fn wall_times_stay_through_a_clock_change() {
    let board = board(&visits(&[]));
    let calls = ["E004-2027-03-23", "E004-2027-03-30"]
        .map(|event| board.itinerary(item(&board, "C001", event)).unwrap().call_at.to_string());
    assert_eq!(calls, ["2027-03-23T16:40:00Z", "2027-03-30T15:40:00Z"]);
    assert!(first_show(&board.season).is_some());
}

#[test]
fn duties_rules_and_notices_concern_every_date() {
    let board = board(&visits(&[]));
    let series = &board.season.series[0].events;
    let hers = board.season.duties.iter().filter(|duty| series.contains(&duty.event));
    // The float at each, and Kelp, which she has everywhere.
    assert_eq!(hers.clone().filter(|duty| duty.task == "float").count(), 4);
    assert_eq!(hers.filter(|duty| duty.number.is_some()).count(), 4);
    let rules = board.season.house_rules.iter().filter(|rule| rule.reference == "R004");
    assert_eq!(
        rules.map(|rule| rule.event).collect::<Vec<_>>(),
        series.iter().copied().map(Some).collect::<Vec<_>>()
    );
    for (notice, dues) in [
        ("T005", ["2027-03-15T18:00Z", "2027-03-22T18:00Z", "2027-03-29T17:00Z", "2027-04-05T17:00Z"]),
        ("T006", ["2027-03-16T09:00Z", "2027-03-23T09:00Z", "2027-03-30T08:00Z", "2027-04-06T08:00Z"]),
    ] {
        let notice = board.notice(notice).unwrap();
        let found = series.iter().map(|event| {
            let child = item(&board, "C001", "E001").who;
            board.due(board.programme.position(child, *event).unwrap(), notice).unwrap().at
        });
        assert_eq!(found.collect::<Vec<_>>(), dues.map(common::at));
    }
}

#[test]
fn one_date_can_be_named() {
    let mut book = visits(&[]);
    for (sheet, column) in [("duties", "event"), ("notices", "about"), ("house rules", "event")] {
        let rows = &mut book.sheet_mut(sheet).rows;
        rows.last_mut().unwrap().set(column, "class visit 2027-03-23");
    }
    let board = board(&book);
    let only = board.event("E004-2027-03-23").unwrap();
    let floats = board.season.duties.iter().filter(|duty| duty.task == "float");
    assert_eq!(floats.map(|duty| duty.event).collect::<Vec<_>>(), [only]);
    let notice = board.notice("T006").unwrap();
    let due: Vec<_> = board.season.series[0]
        .events
        .iter()
        .map(|event| {
            let child = item(&board, "C001", "E001").who;
            board.due(board.programme.position(child, *event).unwrap(), notice).is_some()
        })
        .collect();
    assert_eq!(due, [false, true, false, false]);
}
