//! Why each message leaves when it does, in words.

use crate::common::{at, board, with};
use crate::town::{book, early, guardian, item, told};
use allheard::domain::board::Board;
use allheard::domain::plan::{Wanted, plan};
use allheard::domain::reasons::why;
use allheard::domain::record::{NoticeKey, Record};
use allheard::domain::season::Channel;
use jiff::Timestamp;

/// The reasons of the messages to a guardian, in order of due time.
fn check(board: &Board, record: &Record, now: Timestamp, who: &str, expect: &[&str]) {
    let mut all: Vec<Wanted> = plan(board, record, now);
    all.retain(|one| one.guardians.contains(&guardian(board, who)));
    all.sort_by(|a, b| (a.due, &a.key).cmp(&(b.due, &b.key)));
    let mut said: Vec<String> = all.iter().map(|one| why(board, record, one, now)).collect();
    said.dedup();
    assert_eq!(said, expect, "{who}");
}

#[test]
fn each_message_says_which_rule_it_follows() {
    let board = board(&book());
    check(
        &board,
        &Record::default(),
        early(),
        "G001",
        &[
            "Shows: 12 days before the first show at 10:00",
            "Sheet: 7 days before the call at 10:00",
            "Again: 3 days before the call at 18:00",
            "Costumes: 2 days before the call at 18:00",
        ],
    );
}

#[test]
fn what_the_quiet_hours_moved_says_from_when_to_when() {
    let reason = |cells: &[(&str, &str)], expect: &str| {
        let mut book = book();
        for (column, value) in cells {
            book = with(&book, "notices", "T001", column, value);
        }
        let board = board(&book);
        let mut all = plan(&board, &Record::default(), early());
        all.retain(|one| why(&board, &Record::default(), one, early()).starts_with("Sheet"));
        assert!(!all.is_empty(), "{expect}");
        assert_eq!(why(&board, &Record::default(), &all[0], early()), expect);
    };
    // Hours are 08:00 to 20:30; the call of the first is at 16:30 on 25 March.
    reason(
        &[("at", "22:10")],
        "Sheet: 7 days before the call at 22:10, moved from 18 March 2027, 22:10, to 19 March 2027, 08:00 by the quiet hours",
    );
    reason(
        &[("days before", "0"), ("at", "06:15")],
        "Sheet: the day of the call at 06:15, moved from 06:15 to 08:00 by the quiet hours",
    );
    reason(&[("days before", "1"), ("at", "18:30")], "Sheet: the day before the call at 18:30");
    let minutes = |n| [("days before", ""), ("at", ""), ("minutes before", n)];
    reason(&minutes("90"), "Sheet: 90 minutes before the call");
    reason(&minutes("120"), "Sheet: 2 hours before the call");
    // Nothing is permitted between the night and the call, so it goes the evening before.
    let mut early_call = with(&book(), "events", "E001", "call", "07:30");
    for (column, value) in minutes("60") {
        early_call = with(&early_call, "notices", "T001", column, value);
    }
    let board = board(&early_call);
    let finale = plan(&board, &Record::default(), early());
    let said: Vec<String> = finale.iter().map(|one| why(&board, &Record::default(), one, early())).collect();
    assert!(
        said.iter().any(|why| why
            == "Sheet: 60 minutes before the call, moved from 25 March 2027, 06:30, to 24 March 2027, 20:29 by the quiet hours"),
        "{said:#?}"
    );
}

#[test]
fn merged_late_and_changed_messages_say_so() {
    let mut both = book();
    for (column, value) in [("about", "dress rehearsal"), ("days before", "7"), ("counted from", "call")] {
        both = with(&both, "notices", "T004", column, value);
    }
    let merged = board(&both);
    let all = plan(&merged, &Record::default(), early());
    let said: Vec<String> = all.iter().map(|one| why(&merged, &Record::default(), one, early())).collect();
    assert!(
        said.iter().any(|why| why == "Sheet: 7 days before the call at 10:00; with it goes Shows"),
        "{said:#?}"
    );
    let late = at("2027-03-20T12:00:00Z");
    let apart = board(&book());
    let all = plan(&apart, &Record::default(), late);
    let said: Vec<String> = all.iter().map(|one| why(&apart, &Record::default(), one, late)).collect();
    let past = "; that moment is past, so it leaves as soon as it may";
    assert!(said.iter().any(|why| why.contains("; with it goes Sheet") && why.ends_with(past)), "{said:#?}");
    assert!(said.iter().any(|why| why == "Again: 3 days before the call at 18:00"), "{said:#?}");

    // Told of a call that is another by now: a change, at once or when the hours open.
    let before = board(&book());
    let mut record = Record::default();
    let who = item(&before, "C003", "E001");
    told(&before, &mut record, "G002", who, NoticeKey::Rule(0), Channel::Mail, early());
    let after = board(&with(&book(), "events", "E001", "bring", "water and socks"));
    for (revised, expect) in [
        ("2027-03-19T12:00:00Z", "A change of what was told: at once"),
        (
            "2027-03-19T22:00:00Z",
            "A change of what was told: at once, moved from 19 March 2027, 22:00, to 20 March 2027, 08:00 by the quiet hours",
        ),
        (
            "2027-03-25T07:00:00Z",
            "A change of what was told: at once, moved from 07:00 to 08:00 by the quiet hours",
        ),
    ] {
        let now = at(revised);
        record.revised_at = now;
        let all = plan(&after, &record, now);
        let said: Vec<String> = all
            .iter()
            .filter(|one| one.wording == "change" && one.guardians == [guardian(&after, "G002")])
            .map(|one| why(&after, &record, one, now))
            .collect();
        assert!(said.iter().any(|why| why == expect), "{revised}: {said:#?}");
    }
}
