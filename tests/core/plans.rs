//! Who is written to: merging, households, channels, catching up, changes.

use crate::common::{at, board, with};
use crate::town::{book, early, guardian, item, says, set, shown, told, with_word};
use allheard::domain::board::Board;
use allheard::domain::plan::plan;
use allheard::domain::record::{AnswerKind, Ask, Cover, NoticeKey, Record};
use allheard::domain::season::Channel;
use jiff::Timestamp;

fn check(record: &Record, board: &Board, now: Timestamp, word: &str, expect: &[&str]) {
    assert_eq!(with_word(board, &plan(board, record, now), word), expect, "{word}");
}

#[test]
fn siblings_share_a_message_and_households_do_not() {
    let board = board(&book());
    check(
        &Record::default(),
        &board,
        early(),
        "/T001",
        &[
            "mail G001 C001/E001/T001 C002/E001/T001",
            "mail G002 C003/E001/T001",
            "mail G002 C005/E001/T001",
            "mail G003 C003/E001/T001",
            // One phone in a household: one text for both, because neither has a mail address.
            "text G004+G005 C004/E001/T001",
        ],
    );
}

#[test]
fn notices_of_one_hour_are_one_message_and_others_are_not() {
    let mut later = set(&book(), "messages a day", "0");
    for (column, value) in [("about", "dress rehearsal"), ("days before", "7"), ("counted from", "call")] {
        later = with(&later, "notices", "T004", column, value);
    }
    for (time, messages) in [("10:00", 1), ("11:00", 1), ("11:01", 2)] {
        let board = board(&with(&later, "notices", "T004", "at", time));
        let mails = with_word(&board, &plan(&board, &Record::default(), early()), "mail G003");
        assert_eq!(mails.len(), messages, "{time}: {mails:?}");
    }
}

#[test]
fn only_quick_changes_are_told_of_the_turn_in() {
    let board = board(&book());
    check(&Record::default(), &board, early(), "/T003", &["text G001 C001/E001/T003 C002/E001/T003"]);
}

#[test]
fn who_joins_late_gets_the_newest_only() {
    let board = board(&book());
    let late = at("2027-03-24T12:00:00Z");
    let record = Record::default();
    let wanted = plan(&board, &record, late);
    let dress = with_word(&board, &wanted, "C003/E001");
    // The sheet goes by mail and the reminder by text: of each channel the newest, with what else is overdue.
    let line = |channel: &str, who: &str, notice: &str| {
        format!("{channel} {who} C003/E001/{notice} C003/E002/T004 C003/E003/T004")
    };
    let expect = [
        ("mail", "G002", "T001"),
        ("mail", "G003", "T001"),
        ("text", "G002", "T002"),
        ("text", "G003", "T002"),
    ];
    assert_eq!(dress, expect.map(|(channel, who, notice)| line(channel, who, notice)));
    let texts = with_word(&board, &wanted, "C004/E001");
    assert_eq!(
        texts,
        ["text G004+G005 C004/E001/T002 C004/E002/T004"],
        "not the sheet and the reminder together"
    );
    // Once that has gone, what was passed over does not follow.
    let mut record = Record::default();
    for w in &wanted {
        for (item, notice) in &w.parts {
            for guardian in &w.guardians {
                let who = board.season.guardians[guardian.at()].reference.clone();
                told(&board, &mut record, &who, *item, *notice, w.channel, late);
            }
        }
    }
    let after = plan(&board, &record, late);
    assert!(after.iter().all(|w| w.due > late), "{:?}", shown(&board, &after));
}

#[test]
fn who_was_heard_from_is_not_reminded_and_cannot_come_is_not_chased() {
    let board = board(&book());
    let it = item(&board, "C003", "E001");
    for kind in [AnswerKind::Heard, AnswerKind::CantCome] {
        let mut record = Record::default();
        says(&board, &mut record, "G002", it, kind, early());
        check(&record, &board, early(), "C003/E001/T002", &["text G003 C003/E001/T002"]);
    }
    let mut record = Record::default();
    says(&board, &mut record, "G002", it, AnswerKind::Question, early());
    assert_eq!(with_word(&board, &plan(&board, &record, early()), "C003/E001/T002").len(), 2);
}

#[test]
fn one_channel_stands_in_for_the_other() {
    let no_mail = with(&book(), "children", "C003", "g2 e-mail", "");
    let board_without = board(&no_mail);
    check(&Record::default(), &board_without, early(), "G003 C003/E001/T001", &["text G003 C003/E001/T001"]);
    let no_texts = with(&book(), "children", "C003", "g2 texts", "");
    let board_silent = board(&no_texts);
    check(&Record::default(), &board_silent, early(), "G003 C003/E001/T002", &["mail G003 C003/E001/T002"]);
}

#[test]
fn a_refusal_switches_the_channel_and_a_stop_repeats_nothing() {
    let board = board(&book());
    let it = item(&board, "C003", "E001");
    let ask = Ask {
        guardian: guardian(&board, "G003"),
        item: it,
        notice: NoticeKey::Rule(0),
        channel: Channel::Mail,
    };
    let mut refused = Record::default();
    refused.covered.insert(ask, Cover::Failed);
    refused.bad.insert(Channel::Mail, "omar@example.com");
    check(&refused, &board, early(), "G003 C003/E001/T001", &["text G003 C003/E001/T001"]);
    let mut stopped = Record::default();
    told(&board, &mut stopped, "G003", it, NoticeKey::Rule(0), Channel::Mail, early());
    stopped.stopped.insert(Channel::Mail, "omar@example.com");
    check(&stopped, &board, early(), "G003 C003/E001/T001", &[]);
    check(&stopped, &board, early(), "mail G003", &[]);
    check(&stopped, &board, early(), "text G003 C003/E001", &["text G003 C003/E001/T002"]);
}

#[test]
fn only_those_told_hear_of_a_change_and_only_of_what_changed() {
    let first = board(&book());
    let mut record = Record { revised_at: at("2027-03-22T12:00:00Z"), ..Record::default() };
    let when = at("2027-03-18T10:00:00Z");
    for (who, child) in [("G001", "C001"), ("G001", "C002"), ("G002", "C003")] {
        told(&first, &mut record, who, item(&first, child, "E001"), NoticeKey::Rule(0), Channel::Mail, when);
    }
    check(&record, &first, when, "/change", &[]);
    // A number of C002 alone is called earlier.
    let moved = board(&with(&book(), "running order", "Ropewalk", "call", "17:15"));
    let now = at("2027-03-22T12:00:00Z");
    check(&record, &moved, now, "/change", &["mail G001 C002/E001/change", "text G001 C002/E001/change"]);
    let cancelled = board(&with(&book(), "events", "E001", "cancelled", "yes"));
    let wanted = plan(&cancelled, &record, now);
    assert_eq!(with_word(&cancelled, &wanted, "/E001/T"), Vec::<String>::new(), "nothing else about it");
    let changes: Vec<_> = wanted.iter().filter(|w| w.wording == "cancelled").collect();
    assert_eq!(changes.len(), 4, "two guardians by mail and by text: {:?}", shown(&cancelled, &wanted));
    // C002 dances in nothing of the dress rehearsal any more, and the others are collected earlier.
    let mut left = book();
    left.sheet_mut("running order")
        .rows
        .retain(|r| r.text("event") != "Dress" || !["Gulls", "Ropewalk"].contains(&r.text("number")));
    let left = board(&left);
    let wanted = plan(&left, &record, now);
    // That one is not needed any more and another comes earlier are two matters.
    for child in ["C001", "C002"] {
        let both = ["mail", "text"].map(|by| format!("{by} G001 {child}/E001/change"));
        assert_eq!(with_word(&left, &wanted, &format!("{child}/E001/change")), both);
    }
    assert!(left.facts(item(&left, "C002", "E001")).is_cancelled());
    assert!(!left.facts(item(&left, "C001", "E001")).is_cancelled());
}

// A venue in another zone, or other rules of one: what waits is worked out anew from the local times, what went stays, and
// nobody is told of a change, since the time on the wall is the same (reliability fault 30).
#[test]
fn another_zone_moves_what_waits_and_changes_nothing_that_was_told() {
    let (here, there) = (board(&book()), board(&with(&book(), "season", "zone", "value", "Europe/Madrid")));
    let mut record = Record { revised_at: at("2027-03-18T12:00:00Z"), ..Record::default() };
    let now = at("2027-03-18T12:00:00Z");
    let when = at("2027-03-18T10:00:00Z");
    for (who, child) in [("G001", "C001"), ("G001", "C002"), ("G002", "C003")] {
        told(&here, &mut record, who, item(&here, child, "E001"), NoticeKey::Rule(0), Channel::Mail, when);
    }
    let dues = |board: &Board| -> std::collections::BTreeMap<String, jiff::Timestamp> {
        plan(board, &record, now).into_iter().map(|wanted| (wanted.key, wanted.due)).collect()
    };
    let (before, after) = (dues(&here), dues(&there));
    assert!(!before.is_empty() && before.keys().eq(after.keys()), "the same messages");
    let moved = before.iter().filter(|(key, due)| after[*key] != **due).count();
    for (key, due) in &before {
        let by = due.duration_since(after[key]);
        assert!(by.is_zero() || by == jiff::SignedDuration::from_hours(1), "{key}: {by:?}");
    }
    assert!(moved * 2 > before.len(), "{moved} of {}", before.len());
    check(&record, &there, now, "/change", &[]);
}

#[test]
fn the_same_change_coming_again_is_news_again() {
    let (a, b) = (board(&book()), board(&with(&book(), "running order", "Ropewalk", "call", "17:15")));
    let item = item(&a, "C002", "E001");
    let mut record = Record::default();
    let day = |d: i64| at("2027-03-10T12:00:00Z") + jiff::SignedDuration::from_hours(24 * d);
    told(&a, &mut record, "G001", item, NoticeKey::Rule(0), Channel::Mail, day(0));
    let mut keys = std::collections::BTreeSet::new();
    for (turn, now) in [&b, &a, &b, &a].into_iter().enumerate() {
        record.revised_at = day(turn as i64 + 1);
        let at = day(turn as i64 + 1) + jiff::SignedDuration::from_mins(1);
        for (channel, left) in [(Channel::Mail, 2), (Channel::Text, 1)] {
            let wanted = plan(now, &record, at);
            let changes: Vec<_> = wanted.iter().filter(|w| w.wording == "change").collect();
            assert_eq!(changes.len(), left, "turn {turn}: {:?}", shown(now, &wanted));
            let mine = changes.iter().find(|w| w.channel == channel).unwrap();
            assert!(keys.insert(mine.key.clone()), "turn {turn}: a key of its own");
            told(now, &mut record, "G001", item, mine.parts[0].1, channel, at);
        }
        let wanted = plan(now, &record, at);
        assert!(wanted.iter().all(|w| w.wording != "change"), "turn {turn}: announced once");
    }
}

#[test]
fn a_change_in_the_last_night_goes_by_mail_at_once() {
    let first = board(&book());
    let it = item(&first, "C001", "E003");
    let mut record = Record { revised_at: at("2027-03-28T02:00:00Z"), ..Record::default() };
    told(&first, &mut record, "G001", it, NoticeKey::Rule(3), Channel::Mail, early());
    let moved =
        board(&with(&with(&book(), "events", "E003", "call", "07:00"), "events", "E003", "starts", "08:30"));
    let wanted = plan(&moved, &record, at("2027-03-28T02:00:00Z"));
    let changes: Vec<_> = wanted.iter().filter(|w| w.wording == "change").collect();
    assert_eq!(changes.len(), 1);
    assert!(changes[0].at_once && changes[0].channel == Channel::Mail);
}

#[test]
fn rules_of_the_season_are_worded_as_rules_whatever_the_notice_says() {
    let mut asked = with(&book(), "notices", "T002", "about", "season");
    asked = with(&asked, "notices", "T002", "counted from", "first show");
    let board = board(&asked);
    let wanted = plan(&board, &Record::default(), early());
    let about: Vec<_> =
        wanted.iter().filter(|w| w.parts.iter().all(|(item, _)| item.event.is_none())).collect();
    assert!(!about.is_empty() && about.iter().all(|w| w.wording == "rules"), "{about:?}");
}
