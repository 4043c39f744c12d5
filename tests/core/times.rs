//! Calls, park-by, dismissal, running order, turn-in, facts and due times.

use crate::common::{at, board, with};
use crate::town::{book, item};
use allheard::domain::book::Book;
use allheard::domain::due::due;
use allheard::domain::facts::Field;
use allheard::domain::running_order::{placed, quick_changes};
use allheard::domain::season::Notice;
use jiff::civil::DateTime;

fn check_call(child: &str, event: &str, expect: Option<&str>) {
    let board = board(&book());
    let call = board.itinerary(item(&board, child, event)).map(|it| it.call.strftime("%H:%M").to_string());
    assert_eq!(call.as_deref(), expect, "{child} at {event}");
}

#[test]
fn the_call_is_the_earliest_of_the_childs_numbers() {
    check_call("C001", "E001", Some("16:30"));
    check_call("C002", "E001", Some("17:45"));
    check_call("C003", "E001", Some("16:30"));
    check_call("C005", "E001", Some("17:00"));
    check_call("C004", "E002", Some("18:00"));
    check_call("C004", "E003", None);
}

fn check_park_by(walks: &str, sign_in: &str, call: &str, expect: &str) {
    let changed = with(&book(), "ways", "Brewery car park", "walk minutes", walks);
    let changed = with(&changed, "places", "P001", "sign-in minutes", sign_in);
    let board = board(&with(&changed, "events", "E001", "call", call));
    let it = board.itinerary(item(&board, "C005", "E001")).unwrap();
    assert_eq!(it.park_by.unwrap().strftime("%H:%M").to_string(), expect, "{walks} {sign_in} {call}");
}

// Made-up walks; that the longest one counts and the time is rounded down is common practice, no source.
#[test]
fn park_by_takes_the_longest_walk_and_rounds_down() {
    check_park_by("12-18", "5", "17:20", "16:55");
    check_park_by("12-18", "8", "17:20", "16:50");
    check_park_by("3", "5", "17:00", "16:45");
    check_park_by("30", "0", "17:02", "16:30");
}

// Thirty minutes at rehearsals, the dress rehearsal included, and sixty at shows are common practice, no source.
#[test]
fn chaperones_are_called_before_the_children() {
    // A child of hers whose next number is called at 16:30 is signed in by her, though the class itself is called at 17:00.
    for (kind, expect) in
        [("dress rehearsal", "16:00"), ("show", "15:30"), ("rehearsal", "16:00"), ("class", "17:00")]
    {
        let board = board(&with(&book(), "events", "E001", "kind", kind));
        let duty = board.itinerary(item(&board, "V001", "E001")).unwrap();
        assert_eq!(duty.call.strftime("%H:%M").to_string(), expect, "{kind}");
    }
}

fn check_dismissal(dismissal: &str, starts: &str, ends: &str, child: &str, expect: &str) {
    let mut changed = with(&book(), "events", "E002", "dismissal", dismissal);
    for (column, value) in [("starts", starts), ("ends", ends)] {
        changed = with(&changed, "events", "E002", column, value);
    }
    let board = board(&changed);
    let it = board.itinerary(item(&board, child, "E002")).unwrap();
    let expect: DateTime = expect.parse().unwrap();
    assert_eq!(it.collect_from.map(|from| from.at()), Some(expect), "{dismissal} {starts} {ends} {child}");
    assert_eq!(it.over_at, board.season.zone.to_timestamp(expect).unwrap());
}

#[test]
fn dismissal_is_after_all_after_ones_own_or_at_a_time() {
    // The order lasts 2:00 0:20 3:00 0:20 15:00 2:30 0:30 2:00 0:20 4:00, which is 30:00.
    check_dismissal("", "19:00", "", "C001", "2027-03-27T19:30");
    check_dismissal("after the last number", "19:00", "21:10", "C001", "2027-03-27T21:10");
    check_dismissal("after the last number", "19:00", "19:10", "C001", "2027-03-27T19:30");
    check_dismissal("after own last number", "19:00", "21:10", "C001", "2027-03-27T19:10");
    check_dismissal("after own last number", "19:00", "21:10", "C004", "2027-03-27T19:30");
    check_dismissal("22:15", "19:00", "", "C001", "2027-03-27T22:15");
    check_dismissal("after the last number", "23:00", "00:20", "C001", "2027-03-28T00:20");
    check_dismissal("00:45", "23:00", "00:20", "C001", "2027-03-28T00:45");
    check_dismissal("after own last number", "23:50", "", "C004", "2027-03-28T00:20");
}

#[test]
fn numbers_start_after_everything_before_them() {
    let board = board(&book());
    let event = &board.season.events[board.event("E002").unwrap().at()];
    let starts: Vec<u32> = placed(&board.season, event).iter().map(|p| p.start).collect();
    assert_eq!(starts, [0, 140, 340 + 900, 340 + 900 + 180, 340 + 900 + 180 + 140]);
}

fn check_quick(numbers: &str, threshold: &str, expect: &[(&str, &str)]) {
    let mut changed = with(&book(), "children", "C001", "numbers", numbers);
    let mut row = changed.rows("season")[0].clone();
    row.set("setting", "quick change below");
    row.set("value", threshold);
    changed.sheet_mut("season").rows.push(row);
    let board = board(&changed);
    let child = &board.season.children[item(&board, "C001", "E002").who.child().unwrap().at()];
    let event = &board.season.events[board.event("E002").unwrap().at()];
    let name = |n: allheard::domain::season::NumberId| board.season.numbers[n.at()].name.as_str();
    let found: Vec<_> =
        quick_changes(&board.season, event, child).iter().map(|(a, b)| (name(*a), name(*b))).collect();
    assert_eq!(found, expect, "{numbers} below {threshold}");
}

#[test]
fn a_quick_change_has_few_numbers_between_and_no_interval() {
    check_quick("Kelp; Foghorn", "3", &[("Kelp", "Foghorn")]);
    check_quick("Foghorn; Gulls", "3", &[]);
    check_quick("Gulls; Finale", "2", &[("Gulls", "Finale")]);
    check_quick("Gulls; Finale", "1", &[]);
    check_quick("Gulls; Ropewalk; Finale", "1", &[("Gulls", "Ropewalk"), ("Ropewalk", "Finale")]);
    check_quick("Kelp", "3", &[]);
}

#[test]
fn only_children_with_a_quick_change_at_a_show_turn_costumes_in() {
    let board = board(&book());
    for (child, expect) in [
        ("C001", vec!["Foghorn"]),
        ("C002", vec!["Ropewalk"]),
        ("C003", vec![]),
        ("C004", vec![]),
        ("C005", vec![]),
    ] {
        let it = board.itinerary(item(&board, child, "E001")).unwrap();
        let names: Vec<&str> =
            it.turn_in.iter().map(|n| board.season.numbers[n.at()].name.as_str()).collect();
        assert_eq!(names, expect, "{child}");
        assert!(
            board.itinerary(item(&board, "C001", "E002")).unwrap().turn_in.is_empty(),
            "only where it is said"
        );
    }
}

#[test]
fn facts_hold_the_rules_that_are_acknowledged_and_no_computed_start() {
    let first = board(&book());
    let facts = first.facts(item(&first, "C001", "E001"));
    assert_eq!(facts.get(Field::Rules), "The rehearsal is closed.");
    assert_eq!(first.facts(item(&first, "C001", "-")).get(Field::Rules), "Stay with the chaperone.");
    let changes: [(Book, &str, bool); 5] = [
        (with(&book(), "numbers", "N001", "length", "1:50"), "a length", false),
        (with(&book(), "house rules", "R003", "text", "Bring nothing."), "a rule nobody acknowledges", false),
        (with(&book(), "house rules", "R002", "text", "It is open."), "a rule", true),
        (with(&book(), "events", "E001", "bring", "a hat"), "what to bring", true),
        (with(&book(), "ways", "Brewery car park", "walk minutes", "25"), "the walk", true),
    ];
    for (changed, what, differs) in changes {
        let after = board(&changed);
        let same = first.fingerprint(item(&first, "C001", "E001"))
            == after.fingerprint(item(&after, "C001", "E001"));
        assert_eq!(!same, differs, "{what}");
    }
}

/// The due time of one notice for a child at an event.
fn check_due(event: &str, from: &str, days: &str, time: &str, minutes: &str, expect: Option<&str>) {
    let mut changed = book();
    for (column, value) in [
        ("counted from", from),
        ("days before", days),
        ("at", time),
        ("minutes before", minutes),
        ("about", "show"),
    ] {
        changed = with(&changed, "notices", "T004", column, value);
    }
    let board = board(&changed);
    let notice: &Notice = &board.season.notices[board.notice("T004").unwrap()];
    let it = board.itinerary(item(&board, "C001", event)).unwrap();
    let found = due(&board.season, notice, Some(it));
    assert_eq!(found.map(|d| d.at), expect.map(at), "{event} {from} {days} {time} {minutes}");
    if let Some(found) = found {
        assert!(found.at <= found.until, "never after the anchor");
    }
}

#[test]
fn due_times_keep_wall_time_exact_minutes_and_quiet_hours() {
    // Europe/London goes from UTC to UTC+1 at 01:00 UTC on 28 March 2027 (IANA time zone database).
    check_due("E003", "call", "1", "18:30", "", Some("2027-03-27T18:30:00Z"));
    check_due("E003", "call", "0", "09:00", "", Some("2027-03-28T08:00:00Z"));
    check_due("E003", "call", "", "", "1080", Some("2027-03-27T18:20:00Z"));
    check_due("E003", "park by", "", "", "35", Some("2027-03-28T11:20:00Z"));
    // In the night: at eight, unless that is too late; then at the last minute before the night.
    check_due("E003", "call", "", "", "720", Some("2027-03-28T07:00:00Z"));
    check_due("E003", "call", "1", "21:00", "", Some("2027-03-28T07:00:00Z"));
    check_due("E002", "call", "", "", "5", Some("2027-03-27T17:55:00Z"));
    check_due("E002", "2027-03-27", "1", "20:30", "", Some("2027-03-27T08:00:00Z"));
    // After the moment it is counted from it is never due.
    check_due("E002", "call", "0", "18:30", "", None);
    check_due("E002", "first show", "9", "10:00", "", Some("2027-03-18T10:00:00Z"));
}

#[test]
fn before_an_early_call_the_evening_before_is_the_last_permitted_moment() {
    let early =
        with(&with(&book(), "events", "E003", "call", "07:30"), "notices", "T004", "counted from", "call");
    let mut early = with(&early, "notices", "T004", "days before", "");
    for (column, value) in [("at", ""), ("minutes before", "60")] {
        early = with(&early, "notices", "T004", column, value);
    }
    let board = board(&early);
    let it = board.itinerary(item(&board, "C001", "E003")).unwrap();
    let found = due(&board.season, &board.season.notices[board.notice("T004").unwrap()], Some(it)).unwrap();
    assert_eq!(found.at, at("2027-03-27T20:29:00Z"));
}
