//! Whom to ring, why, when and who does, on a small town and on the demo season.

use crate::common::{at, board, book as written, set, with};
use crate::town::{book, guardian, item, says, told};
use allheard::demo;
use allheard::domain::board::{Board, Item};
use allheard::domain::book::Book;
use allheard::domain::chase::{self, Call, ChaseWay, List, Moment, Reason};
use allheard::domain::plan::plan;
use allheard::domain::record::{AnswerKind, Ask, CallEnd, Cover, NoticeKey, Record, Rung};
use allheard::domain::season::Channel;
use allheard::domain::standing::{self, Standing};
use jiff::Timestamp;
use std::time::Instant;

/// Two days before the dress rehearsal, at noon.
const NOON: &str = "2027-03-23T12:00:00Z";

/// The town with chaperones who can ring; Nora Vale asked for Polish.
fn staffed() -> Book {
    let more = written(
        "
# chaperones
ref | name | mobile | adult | speaks
V001 | Uma Lock | 07700 900011 | |
V002 | Ivo Hart | 07700 900012 | | es; pl
V003 | Wren Oak | | |
V004 | Tim Ash | 07700 900014 | no |
# duties
chaperone | event | number | task
Uma Lock | all | Kelp |
Ivo Hart | all | Gulls |
Wren Oak | all | Finale |
Tim Ash | all | Foghorn |
",
    );
    let mut book = book();
    for sheet in ["chaperones", "duties"] {
        book.sheet_mut(sheet).rows = more.rows(sheet).to_vec();
    }
    set(&mut book, "children", "C003", "g1 language", "pl");
    set(&mut book, "children", "C005", "g1 language", "pl");
    book
}

/// A call in words: `G001 C001/E001 C002/E001: near 2, quick; V001`.
fn line(board: &Board, call: &Call) -> String {
    let season = &board.season;
    let items: Vec<String> = call
        .items
        .iter()
        .map(|item| {
            let (child, event) = board.item_refs(*item);
            format!("{child}/{event}")
        })
        .collect();
    let reasons: Vec<String> = call
        .reasons
        .iter()
        .map(|reason| match reason {
            Reason::Near(days) => format!("near {days}"),
            Reason::NoChannel => "no channel".to_owned(),
            Reason::OldTimes => "old times".to_owned(),
            Reason::SilentTwice(times) => format!("silent {times}"),
            Reason::QuickChange => "quick".to_owned(),
            Reason::NewToSchool => "new".to_owned(),
        })
        .collect();
    let who = match (call.ringer, call.way) {
        (Some(ringer), _) => season.chaperones[ringer.at()].reference.clone(),
        (None, ChaseWay::Door(Some(event))) => format!("door {}", season.events[event.at()].reference),
        (None, ChaseWay::Door(None)) => "door".to_owned(),
        (None, ChaseWay::Ring(_)) => "nobody".to_owned(),
    };
    let guardian = &season.guardians[call.guardian.at()].reference;
    format!("{guardian} {}: {}; {who}", items.join(" "), reasons.join(", "))
}

fn list(board: &Board, record: &Record, now: &str) -> List {
    let list = chase::list(board, record, at(now));
    assert_eq!(list, chase::list(board, record, at(now)), "the same twice");
    list
}

fn check(board: &Board, record: &Record, now: &str, expect: &[&str]) {
    let lines: Vec<String> = list(board, record, now).calls.iter().map(|call| line(board, call)).collect();
    assert_eq!(lines, expect, "at {now}");
}

/// Every guardian was told of the dress rehearsal by the notice at a position.
fn asked(board: &Board, record: &mut Record, notice: usize, when: &str) {
    let all = [("G001", "C001"), ("G001", "C002"), ("G002", "C003"), ("G003", "C003"), ("G004", "C004")];
    for (who, child) in all.into_iter().chain([("G005", "C004"), ("G002", "C005")]) {
        let it = item(board, child, "E001");
        told(board, record, who, it, NoticeKey::Rule(notice), Channel::Text, at(when));
    }
}

fn rings(board: &Board, record: &mut Record, who: &str, it: Item, end: CallEnd, by: &str, when: &str) {
    let id = guardian(board, who);
    let number = board.season.guardians[id.at()].contact.phone.clone().expect("a number").e164;
    record.rung(id, it, Rung { at: at(when), end, by: by.to_owned() }, &number);
}

/// Only the dress rehearsal, so that lines stay short.
fn dress() -> Board {
    let mut book = with(&staffed(), "events", "E002", "cancelled", "yes");
    set(&mut book, "events", "E003", "cancelled", "yes");
    board(&book)
}

#[test]
fn who_was_asked_once_and_has_time_is_not_rung() {
    let board = dress();
    let mut record = Record::default();
    check(&board, &record, "2027-03-18T09:00:00Z", &[]);
    assert_eq!(list(&board, &record, "2027-03-18T09:00:00Z").later, 0, "nobody was asked yet");
    asked(&board, &mut record, 0, "2027-03-18T10:00:00Z");
    check(&board, &record, "2027-03-19T12:00:00Z", &[]);
    assert_eq!(list(&board, &record, "2027-03-19T12:00:00Z").later, 3);
}

#[test]
fn the_most_urgent_come_first_and_each_reason_is_said() {
    let board = dress();
    let mut record = Record::default();
    asked(&board, &mut record, 0, "2027-03-18T10:00:00Z");
    let near = [
        "G001 C001/E001 C002/E001: near 2, quick; V001",
        "G002 C003/E001 C005/E001: near 2; V002",
        "G004 C004/E001: near 2; V001",
    ];
    check(&board, &record, NOON, &near);
    // Silence presses more than a quick change, and puts on the list however far the event is.
    let it = item(&board, "C004", "E001");
    told(&board, &mut record, "G004", it, NoticeKey::Rule(1), Channel::Text, at("2027-03-19T10:00:00Z"));
    check(&board, &record, "2027-03-19T12:00:00Z", &["G004 C004/E001: silent 2; V001"]);
    let silent = ["G004 C004/E001: near 2, silent 2; V001", near[0], near[1]];
    check(&board, &record, NOON, &silent);
    // Two channels of one notice are one message.
    told(
        &board,
        &mut record,
        "G001",
        item(&board, "C001", "E001"),
        NoticeKey::Rule(0),
        Channel::Mail,
        at(NOON),
    );
    check(&board, &record, NOON, &silent);
    record.stopped.insert(Channel::Text, "+447700900002");
    record.bad.insert(Channel::Mail, "nora@example.com");
    let cut_off = ["G002 C003/E001 C005/E001: near 2, no channel; V002", silent[0], near[0]];
    check(&board, &record, NOON, &cut_off);
    let tried = &list(&board, &record, NOON).calls[0].tried;
    assert_eq!(
        (tried.failed.as_slice(), tried.stopped.as_slice()),
        (&[Channel::Mail][..], &[Channel::Text][..])
    );
    let (_, times, last) = tried.sent[0];
    assert_eq!((times, last), (1, at("2027-03-18T10:00:00Z")));
}

#[test]
fn new_families_and_those_with_old_times_move_up() {
    let mut old = with(&staffed(), "children", "C004", "new", "yes");
    set(&mut old, "events", "E002", "cancelled", "yes");
    set(&mut old, "events", "E003", "cancelled", "yes");
    let changed = board(&with(&old, "events", "E001", "bring", "a hat"));
    let old = board(&old);
    let mut record = Record::default();
    asked(&old, &mut record, 0, "2027-03-18T10:00:00Z");
    for child in ["C003", "C005"] {
        let it = item(&old, child, "E001");
        says(&old, &mut record, "G002", it, AnswerKind::Heard, at("2027-03-18T11:00:00Z"));
    }
    check(
        &old,
        &record,
        NOON,
        &["G001 C001/E001 C002/E001: near 2, quick; V001", "G004 C004/E001: near 2, new; V002"],
    );
    check(
        &changed,
        &record,
        NOON,
        &[
            "G002 C003/E001 C005/E001: near 2, old times; V002",
            "G001 C001/E001 C002/E001: near 2, quick; V001",
            "G004 C004/E001: near 2, new; V001",
        ],
    );
}

#[test]
fn the_chase_stops_the_moment_one_has_answered() {
    let board = dress();
    let mut record = Record::default();
    asked(&board, &mut record, 0, "2027-03-18T10:00:00Z");
    says(&board, &mut record, "G003", item(&board, "C003", "E001"), AnswerKind::Heard, at(NOON));
    says(&board, &mut record, "G005", item(&board, "C004", "E001"), AnswerKind::CantCome, at(NOON));
    says(&board, &mut record, "G001", item(&board, "C002", "E001"), AnswerKind::Question, at(NOON));
    let left = ["G001 C001/E001 C002/E001: near 2, quick; V001", "G002 C005/E001: near 2; V002"];
    check(&board, &record, NOON, &left);
    check(&board, &record, "2027-03-25T18:00:00Z", &[]);
}

#[test]
fn a_call_in_vain_moves_on_to_the_other_guardian_and_a_wrong_number_to_the_door() {
    let board = dress();
    let mut record = Record::default();
    asked(&board, &mut record, 0, "2027-03-18T10:00:00Z");
    says(&board, &mut record, "G001", item(&board, "C001", "E001"), AnswerKind::Heard, at(NOON));
    says(&board, &mut record, "G001", item(&board, "C002", "E001"), AnswerKind::Heard, at(NOON));
    says(&board, &mut record, "G004", item(&board, "C004", "E001"), AnswerKind::Heard, at(NOON));
    let (c003, c005) = (item(&board, "C003", "E001"), item(&board, "C005", "E001"));
    rings(&board, &mut record, "G002", c003, CallEnd::NoAnswer, "V002", NOON);
    // Her language presses more than the child's own chaperone.
    check(&board, &record, NOON, &["G003 C003/E001: near 2; V001", "G002 C005/E001: near 2; V002"]);
    rings(&board, &mut record, "G003", c003, CallEnd::WillCallBack, "V002", NOON);
    // Who promised to call back finds whom she spoke to, whatever language another family speaks.
    check(&board, &record, NOON, &["G003 C003/E001: near 2; V002", "G002 C005/E001: near 2; V001"]);
    let call = &list(&board, &record, NOON).calls[0];
    assert_eq!(call.way, ChaseWay::Ring(Moment::From(at("2027-03-24T17:30:00Z"))));
    rings(&board, &mut record, "G003", c003, CallEnd::WrongNumber, "V002", NOON);
    rings(&board, &mut record, "G002", c005, CallEnd::WrongNumber, "V002", NOON);
    check(&board, &record, NOON, &["G003 C003/E001: near 2; door E001", "G002 C005/E001: near 2; door E001"]);
    // Whoever has that number is a stranger: no text goes there, mail does.
    let nora = guardian(&board, "G002");
    assert_eq!(standing::address(&board, &record, nora, Channel::Text), None);
    assert_eq!(standing::address(&board, &record, nora, Channel::Mail), Some("nora@example.com"));
    assert!(
        plan(&board, &record, at("2027-03-20T12:00:00Z"))
            .iter()
            .all(|wanted| { wanted.channel == Channel::Mail || !wanted.guardians.contains(&nora) })
    );
    // A call that reaches her after all takes it back.
    rings(&board, &mut record, "G002", c005, CallEnd::NoAnswer, "V002", NOON);
    assert_eq!(standing::address(&board, &record, nora, Channel::Text), Some("+447700900002"));
}

#[test]
fn whose_answer_is_wanted_is_the_seasons_rule() {
    for (way, expect) in [
        ("any guardian", &["G002 C003/E001 C005/E001: near 2; V002"][..]),
        ("each household", &["G002 C005/E001: near 2; V002", "G003 C003/E001: near 2; V001"][..]),
        ("brings and collects", &["G002 C005/E001: near 2; V002", "G003 C003/E001: near 2; V001"][..]),
    ] {
        let mut book = staffed();
        let mut row = book.rows("season")[0].clone();
        row.set("setting", "settled by");
        row.set("value", way);
        book.sheet_mut("season").rows.push(row);
        for event in ["E002", "E003"] {
            set(&mut book, "events", event, "cancelled", "yes");
        }
        let board = board(&book);
        let mut record = Record::default();
        asked(&board, &mut record, 0, "2027-03-18T10:00:00Z");
        for (who, child) in [("G001", "C001"), ("G001", "C002"), ("G004", "C004"), ("G005", "C004")] {
            says(&board, &mut record, who, item(&board, child, "E001"), AnswerKind::Heard, at(NOON));
        }
        if way != "any guardian" {
            says(&board, &mut record, "G002", item(&board, "C003", "E001"), AnswerKind::Heard, at(NOON));
        }
        let mut lines: Vec<String> =
            list(&board, &record, NOON).calls.iter().map(|call| line(&board, call)).collect();
        lines.sort();
        assert_eq!(lines, expect, "{way}");
    }
}

#[test]
fn nobody_rings_herself_or_the_other_household_of_her_own_child() {
    let mut book = staffed();
    // Omar Hill is a chaperone himself, and the only one who can ring.
    for (who, mobile) in [("V001", ""), ("V002", "07700 900003")] {
        set(&mut book, "chaperones", who, "mobile", mobile);
    }
    for event in ["E002", "E003"] {
        set(&mut book, "events", event, "cancelled", "yes");
    }
    let board = board(&book);
    let mut record = Record::default();
    asked(&board, &mut record, 0, "2027-03-18T10:00:00Z");
    check(
        &board,
        &record,
        NOON,
        &[
            "G001 C001/E001 C002/E001: near 2, quick; V002",
            "G002 C003/E001 C005/E001: near 2; nobody",
            "G004 C004/E001: near 2; V002",
        ],
    );
}

#[test]
fn the_demo_seasons_calls_are_shared_evenly_and_mostly_kindly() {
    let board = board(&demo::book(7));
    let mut record = Record::default();
    // Everything was sent that was due, by text or mail, and nobody has answered.
    let now: Timestamp = at("2027-03-22T19:00:00Z");
    for wanted in plan(&board, &record, at("2027-01-15T12:00:00Z")) {
        for (guardian, (it, notice)) in
            wanted.guardians.iter().flat_map(|g| wanted.parts.iter().map(move |part| (*g, *part)))
        {
            if wanted.due <= now && !it.who.is_chaperone() {
                let ask = Ask { guardian, item: it, notice, channel: wanted.channel };
                record.covered.insert(ask, Cover::Done(wanted.due));
                record.tell(ask, board.fingerprint(it), true, wanted.due);
            }
        }
    }
    let began = Instant::now();
    let list = chase::list(&board, &record, now);
    println!("{} calls in {:?}", list.calls.len(), began.elapsed());
    assert!(list.calls.len() > 250, "{}", list.calls.len());
    let by_phone = list.calls.iter().filter(|call| matches!(call.way, ChaseWay::Ring(_))).count();
    assert_eq!(list.share, by_phone.div_ceil(list.ringers.len()));
    for ringer in &list.ringers {
        assert!(list.of(*ringer).count() <= list.share);
    }
    let given = list.calls.iter().filter(|call| call.ringer.is_some());
    assert_eq!(given.clone().count(), by_phone, "every call that can be made has somebody");
    let kin = |call: &&Call| call.kinship(&board).expect("somebody rings");
    let hers = given.clone().filter(|call| kin(call).hers).count();
    println!("{hers} of {by_phone} are rung by a chaperone of the child, {} in a language of their own", {
        given.clone().filter(|call| kin(call).speaks).count()
    });
    assert!(hers * 10 > by_phone * 8, "{hers} of {by_phone}");
    for call in &list.calls {
        assert!(call.items.iter().all(|it| {
            let at_all = board
                .cares_of(it.who)
                .all(|care| standing::standing(&board, &record, care.guardian, *it) != Standing::Heard);
            at_all && board.needed_by(*it) > now
        }));
        assert!(call.reasons.iter().any(Reason::is_ground));
    }
    let ranks: Vec<i32> = list
        .calls
        .iter()
        .map(|call| {
            call.reasons.iter().find_map(|r| if let Reason::Near(days) = r { Some(*days) } else { None })
        })
        .map(|days| days.unwrap_or(i32::MAX))
        .collect();
    assert!(ranks.is_sorted(), "the nearest first");
}
