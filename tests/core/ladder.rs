//! Who is asked next when nobody answers, and how many messages one person gets a day.

use crate::common::{at, board, with};
use crate::town::{book, early, guardian, item, says, set, shown, told, with_word};
use allheard::domain::board::Board;
use allheard::domain::book::Book;
use allheard::domain::plan::plan;
use allheard::domain::record::{Addresses, AnswerKind, Ask, Cover, NoticeKey, Record};
use allheard::domain::season::Channel;
use allheard::domain::wall;
use jiff::Timestamp;

/// The town with one notice about the dress rehearsal and rungs to it.
fn climbing(columns: &[(&str, &str)]) -> Book {
    let mut book = book();
    book.sheet_mut("notices").rows.truncate(1);
    columns.iter().fold(book, |book, (column, value)| with(&book, "notices", "T001", column, value))
}

/// Each message of a child's guardians with its moment in London.
fn moments(board: &Board, record: &Record, now: Timestamp, child: &str) -> Vec<String> {
    let wanted = plan(board, record, now);
    let mut lines: Vec<String> = wanted
        .iter()
        .filter(|want| shown(board, std::slice::from_ref(want))[0].contains(child))
        .map(|want| {
            let line = shown(board, std::slice::from_ref(want)).remove(0);
            let who: Vec<&str> = line.split(' ').take(2).collect();
            format!("{} {}", wall::local(&board.season.zone, want.due).strftime("%m-%d %H:%M"), who.join(" "))
        })
        .collect();
    lines.sort();
    lines
}

#[test]
fn the_other_channel_follows_after_its_hours_and_only_without_an_answer() {
    let board = board(&climbing(&[("other channel after", "24")]));
    let dress = item(&board, "C003", "E001");
    let mut record = Record::default();
    let both =
        ["03-18 10:00 mail G002", "03-18 10:00 mail G003", "03-19 10:00 text G002", "03-19 10:00 text G003"];
    assert_eq!(moments(&board, &record, early(), "C003"), both);
    // It went a quarter of an hour late; the next rung is counted from there.
    let sheet = NoticeKey::Rule(0);
    told(&board, &mut record, "G002", dress, sheet, Channel::Mail, at("2027-03-18T10:15:00Z"));
    told(&board, &mut record, "G003", dress, sheet, Channel::Mail, at("2027-03-18T10:15:00Z"));
    let noon = at("2027-03-18T12:00:00Z");
    assert_eq!(moments(&board, &record, noon, "C003"), ["03-19 10:15 text G002", "03-19 10:15 text G003"]);
    says(&board, &mut record, "G002", dress, AnswerKind::Heard, noon);
    // Any guardian settles the child here, so nobody is asked on.
    assert_eq!(moments(&board, &record, noon, "C003"), Vec::<String>::new());
}

#[test]
fn a_rung_waits_for_one_that_is_overdue_and_keeps_quiet_hours() {
    let board = board(&climbing(&[("other channel after", "9")]));
    let dress = item(&board, "C003", "E001");
    let mut record = Record::default();
    // 10:00 and nine hours is 19:00; 12:00 and nine is 21:00, which is quiet until 08:00.
    assert!(moments(&board, &record, early(), "C003").contains(&"03-18 19:00 text G002".to_owned()));
    let late = at("2027-03-18T11:00:00Z");
    assert_eq!(moments(&board, &record, late, "C003"), ["03-18 10:00 mail G002", "03-18 10:00 mail G003"]);
    told(&board, &mut record, "G002", dress, NoticeKey::Rule(0), Channel::Mail, at("2027-03-18T12:00:00Z"));
    assert!(moments(&board, &record, late, "C003").contains(&"03-19 08:00 text G002".to_owned()));
}

#[test]
fn one_guardian_is_asked_first_and_the_others_in_turn() {
    let book = climbing(&[("to", "one guardian"), ("other guardian after", "48")]);
    let board = board(&book);
    let dress = item(&board, "C003", "E001");
    let mut record = Record::default();
    let turns = ["03-18 10:00 mail G002", "03-20 10:00 mail G003"];
    assert_eq!(moments(&board, &record, early(), "C003"), turns);
    // The first cannot be reached: the other is asked in her place, at once and not later.
    record.bad.insert(Channel::Mail, "nora@example.com");
    record.bad.insert(Channel::Text, "+447700900002");
    assert_eq!(moments(&board, &record, early(), "C003"), ["03-18 10:00 mail G003"]);
    record.bad = Addresses::default();
    told(&board, &mut record, "G002", dress, NoticeKey::Rule(0), Channel::Mail, at("2027-03-18T10:00:00Z"));
    let noon = at("2027-03-18T12:00:00Z");
    assert_eq!(moments(&board, &record, noon, "C003"), ["03-20 10:00 mail G003"]);
    says(&board, &mut record, "G002", dress, AnswerKind::CantCome, noon);
    assert_eq!(moments(&board, &record, noon, "C003"), Vec::<String>::new());
}

#[test]
fn a_channel_that_failed_is_replaced_at_once_and_no_rung_is_left() {
    let board = board(&climbing(&[("other channel after", "24")]));
    let dress = item(&board, "C003", "E001");
    let mut record = Record::default();
    let ask = Ask {
        guardian: guardian(&board, "G002"),
        item: dress,
        notice: NoticeKey::Rule(0),
        channel: Channel::Mail,
    };
    record.covered.insert(ask, Cover::Failed);
    let now = at("2027-03-18T10:30:00Z");
    assert!(moments(&board, &record, now, "C003").contains(&"03-18 10:00 text G002".to_owned()));
    assert_eq!(with_word(&board, &plan(&board, &record, now), "mail G002 C003").len(), 0);
}

/// Two notices of one day about the dress rehearsal, one by mail and one by text.
fn crowded() -> Book {
    let book = climbing(&[]);
    let mut second = book.rows("notices")[0].clone();
    for (column, value) in
        [("ref", "T009"), ("name", "Eve"), ("at", "18:00"), ("by", "text"), ("wording", "eve")]
    {
        second.set(column, value);
    }
    let mut book = book;
    book.sheet_mut("notices").rows.push(second);
    book
}

#[test]
fn nobody_gets_two_messages_on_one_day() {
    let board = board(&crowded());
    let mut record = Record::default();
    // The mail is due first; the text, which says something else, waits a day.
    assert_eq!(moments(&board, &record, early(), "C005"), ["03-18 10:00 mail G002", "03-19 18:00 text G002"]);
    let dress = item(&board, "C005", "E001");
    told(&board, &mut record, "G002", dress, NoticeKey::Rule(0), Channel::Mail, at("2027-03-18T10:00:00Z"));
    // What went counts as what was planned did.
    let noon = at("2027-03-18T12:00:00Z");
    assert_eq!(moments(&board, &record, noon, "C005"), ["03-19 18:00 text G002"]);
    let without = crate::common::board(&set(&crowded(), "messages a day", "0"));
    assert_eq!(
        moments(&without, &Record::default(), early(), "C005"),
        ["03-18 10:00 mail G002", "03-18 18:00 text G002"]
    );
}

#[test]
fn what_would_wait_until_a_newer_one_is_due_is_not_planned() {
    let mut book = climbing(&[]);
    let sheet = book.rows("notices")[0].clone();
    let notice = |reference: &str, days: &str, at: &str, wording: &str| {
        let mut row = sheet.clone();
        let columns = [
            ("ref", reference),
            ("name", reference),
            ("answer owed", "no"),
            ("days before", days),
            ("at", at),
            ("wording", wording),
        ];
        columns.iter().for_each(|(column, value)| row.set(column, *value));
        row
    };
    // An introduction has the day of the sheet, which would wait for the next, when the reminder is due before it.
    let [introduction, reminder] =
        [notice("T009", "7", "09:00", "introduction"), notice("T010", "6", "09:00", "reminder")];
    book.sheet_mut("notices").rows.extend([introduction.clone(), reminder]);
    let with_both = board(&book);
    let lines = moments(&with_both, &Record::default(), early(), "C005");
    assert_eq!(lines, ["03-18 09:00 mail G002", "03-19 09:00 mail G002"]);
    // Without the reminder the sheet waits, and it still leaves by itself when the day has come.
    book.sheet_mut("notices").rows.truncate(2);
    let waits = board(&book);
    let lines = moments(&waits, &Record::default(), early(), "C005");
    assert_eq!(lines, ["03-18 09:00 mail G002", "03-19 10:00 mail G002"]);
    let mut record = Record::default();
    let ask = Ask {
        guardian: guardian(&waits, "G002"),
        item: item(&waits, "C005", "E001"),
        notice: NoticeKey::Rule(1),
        channel: Channel::Mail,
    };
    record.went(ask, None, false, at("2027-03-18T09:00:00Z"));
    for now in ["2027-03-18T12:00:00Z", "2027-03-19T09:30:00Z"] {
        assert_eq!(moments(&waits, &record, at(now), "C005"), ["03-19 10:00 mail G002"], "{now}");
    }
}

#[test]
fn one_notice_by_two_channels_is_one_message_of_the_day() {
    let board = board(&climbing(&[("by", "mail and text")]));
    let lines = moments(&board, &Record::default(), early(), "C005");
    assert_eq!(lines, ["03-18 10:00 mail G002", "03-18 10:00 text G002"]);
}

#[test]
fn the_limit_gives_way_where_no_day_is_left_and_a_change_never_waits() {
    // Six hours before the call and an hour before: there is no other day on which the second is of use.
    let mut book = crowded();
    for (row, minutes) in [("T001", "360"), ("T009", "60")] {
        book = with(&book, "notices", row, "days before", "");
        book = with(&book, "notices", row, "at", "");
        book = with(&book, "notices", row, "minutes before", minutes);
    }
    let tight = board(&book);
    let lines = moments(&tight, &Record::default(), early(), "C005");
    assert_eq!(lines, ["03-25 11:00 mail G002", "03-25 16:00 text G002"]);
    // Told this morning; the call is moved at noon, and the change goes at once.
    let old = board(&climbing(&[]));
    let mut record = Record { revised_at: at("2027-03-18T12:00:00Z"), ..Record::default() };
    told(
        &old,
        &mut record,
        "G002",
        item(&old, "C005", "E001"),
        NoticeKey::Rule(0),
        Channel::Mail,
        at("2027-03-18T10:00:00Z"),
    );
    let new = board(&with(&climbing(&[]), "events", "E001", "call", "16:00"));
    let lines = moments(&new, &record, at("2027-03-18T12:00:00Z"), "C005");
    assert_eq!(lines, ["03-18 12:00 mail G002", "03-18 12:00 text G002"]);
}

// A season that is brought late has much that is overdue: it does not all come on one day.
#[test]
fn what_is_overdue_waits_for_its_day_too() {
    let board = board(&crowded());
    let now = at("2027-03-21T09:00:00Z");
    let lines = moments(&board, &Record::default(), now, "C005");
    assert_eq!(lines.len(), 2, "{lines:?}");
    let mut record = Record::default();
    let dress = item(&board, "C005", "E001");
    told(&board, &mut record, "G002", dress, NoticeKey::Rule(0), Channel::Mail, now);
    let still = moments(&board, &record, at("2027-03-21T09:05:00Z"), "C005");
    assert!(still.iter().all(|line| line > &"03-21 23".to_owned()), "{still:?}");
}

// Put off by a day it would come when the car is already on its way.
#[test]
fn the_word_of_the_eve_is_never_put_off_to_the_day_itself() {
    let mut book = crowded();
    for row in ["T001", "T009"] {
        book = with(&book, "notices", row, "days before", "1");
    }
    let lines = moments(&board(&book), &Record::default(), early(), "C005");
    assert_eq!(lines, ["03-24 10:00 mail G002", "03-24 18:00 text G002"]);
}

#[test]
fn a_plan_spread_over_days_stays_as_it_is_while_it_is_sent() {
    let board = board(&crowded());
    let mut record = Record::default();
    let first = moments(&board, &record, early(), "C003");
    let dress = item(&board, "C003", "E001");
    for who in ["G002", "G003"] {
        told(&board, &mut record, who, dress, NoticeKey::Rule(0), Channel::Mail, at("2027-03-18T10:00:30Z"));
    }
    let rest: Vec<String> = first.iter().filter(|line| line.contains("text")).cloned().collect();
    assert_eq!(rest.len(), 2);
    for now in
        ["2027-03-18T10:01:00Z", "2027-03-18T20:00:00Z", "2027-03-19T09:00:00Z", "2027-03-19T17:59:00Z"]
    {
        assert_eq!(moments(&board, &record, at(now), "C003"), rest, "{now}");
    }
}

#[test]
fn who_waits_for_whom_does_not_change_with_the_hour() {
    // A third, due on the day to which the second was put off, waits for it at any hour of that day.
    let mut book = crowded();
    let mut third = book.rows("notices")[0].clone();
    for (column, value) in
        [("ref", "T010"), ("name", "Third"), ("days before", "6"), ("at", "9:00"), ("wording", "eve")]
    {
        third.set(column, value);
    }
    book.sheet_mut("notices").rows.push(third);
    let board = board(&book);
    let mut record = Record::default();
    let all = ["03-18 10:00 mail G002", "03-19 18:00 text G002", "03-20 09:00 mail G002"];
    assert_eq!(moments(&board, &record, early(), "C005"), all);
    let dress = item(&board, "C005", "E001");
    told(&board, &mut record, "G002", dress, NoticeKey::Rule(0), Channel::Mail, at("2027-03-18T10:00:00Z"));
    for now in
        ["2027-03-18T11:00:00Z", "2027-03-19T08:00:00Z", "2027-03-19T12:00:00Z", "2027-03-19T17:59:00Z"]
    {
        assert_eq!(moments(&board, &record, at(now), "C005"), all[1..], "{now}");
    }
}
