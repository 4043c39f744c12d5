//! Heard, settled, and what a change does to them.

use crate::common::{board, with};
use crate::town::{answers, book, early, guardian, item, says, told};
use allheard::domain::board::Board;
use allheard::domain::book::Book;
use allheard::domain::record::{AnswerKind, NoticeKey, Record};
use allheard::domain::season::Channel;
use allheard::domain::standing::{Standing, settled, standing};
use jiff::{SignedDuration, Timestamp};

fn hour(n: i64) -> Timestamp {
    early() + SignedDuration::from_hours(n)
}

fn check(board: &Board, record: &Record, expect: Standing, why: &str) {
    let item = item(board, "C001", "E001");
    assert_eq!(standing(board, record, guardian(board, "G001"), item), expect, "{why}");
}

#[test]
fn heard_follows_the_facts() {
    let (old, new) = (board(&book()), board(&with(&book(), "events", "E001", "bring", "a hat")));
    let it = item(&old, "C001", "E001");
    let tell = |board: &Board, record: &mut Record, at| {
        told(board, record, "G001", it, NoticeKey::Change(board.fingerprint(it)), Channel::Mail, at);
    };
    let mut record = Record::default();
    check(&old, &record, Standing::NotAsked, "nothing was sent");
    tell(&old, &mut record, hour(1));
    check(&old, &record, Standing::Waiting, "told, no answer");
    says(&old, &mut record, "G001", it, AnswerKind::Question, hour(2));
    check(&old, &record, Standing::Waiting, "a question settles nothing");
    says(&old, &mut record, "G001", it, AnswerKind::Heard, hour(3));
    check(&old, &record, Standing::Heard, "answered");
    check(&new, &record, Standing::HeardBefore, "the facts changed");
    check(&old, &record, Standing::Heard, "undone before anyone was told");
    tell(&new, &mut record, hour(4));
    check(&new, &record, Standing::HeardBefore, "told the change");
    check(&old, &record, Standing::HeardBefore, "undone after it was told: asked again");
    tell(&old, &mut record, hour(5));
    check(&old, &record, Standing::HeardBefore, "telling is not hearing");
    says(&old, &mut record, "G001", it, AnswerKind::Heard, hour(6));
    check(&old, &record, Standing::Heard, "she answered again");
    // She read today's facts on her page before their announcement reached her.
    says(&new, &mut record, "G001", it, AnswerKind::Heard, hour(7));
    tell(&new, &mut record, hour(8));
    check(&new, &record, Standing::Heard, "the page was ahead of the message");
    says(&new, &mut record, "G001", it, AnswerKind::CantCome, hour(9));
    check(&new, &record, Standing::CantCome, "the last answer counts");
    says(&new, &mut record, "G001", it, AnswerKind::Heard, hour(8));
    check(&new, &record, Standing::CantCome, "by time of the act, not of arrival");
}

#[test]
fn without_an_address_there_is_no_way() {
    let board = board(&book());
    let mut record = Record::default();
    record.stopped.insert(Channel::Mail, "rosa@example.com");
    check(&board, &record, Standing::NotAsked, "the phone is left");
    record.bad.insert(Channel::Text, "+447700900001");
    check(&board, &record, Standing::NoWay, "nothing is left");
}

#[test]
fn each_household_hears_for_itself_and_one_child_does_not_answer_for_another() {
    let board = board(&book());
    let mut record = Record::default();
    says(&board, &mut record, "G002", item(&board, "C003", "E001"), AnswerKind::Heard, hour(1));
    let of = |who: &str, child: &str| {
        standing(&board, &record, guardian(&board, who), item(&board, child, "E001"))
    };
    assert_eq!(of("G002", "C003"), Standing::Heard);
    assert_eq!(of("G003", "C003"), Standing::NotAsked);
    assert_eq!(of("G002", "C005"), Standing::NotAsked);
}

fn settled_by(way: &str) -> Book {
    let mut book = book();
    let mut row = book.rows("season")[0].clone();
    row.set("setting", "settled by");
    row.set("value", way);
    book.sheet_mut("season").rows.push(row);
    book
}

/// `answers`: guardian, kind, whether by a shared phone.
fn check_settled(way: &str, child: &str, said: &[(&str, AnswerKind, bool)], expect: bool) {
    let board = board(&settled_by(way));
    let it = item(&board, child, "E001");
    let mut record = Record::default();
    for (who, kind, one_phone) in said {
        answers(&mut record, guardian(&board, who), it, *kind, board.fingerprint(it), hour(1), *one_phone);
    }
    assert_eq!(settled(&board, &record, it), expect, "{way} {child} {said:?}");
}

#[test]
fn a_child_is_settled_in_the_seasons_way() {
    use AnswerKind::{CantCome, Heard};
    const ANY: &str = "any guardian";
    const EACH: &str = "each household";
    const BOTH: &str = "brings and collects";
    for way in [ANY, EACH, BOTH] {
        check_settled(way, "C003", &[], false);
        check_settled(way, "C003", &[("G002", Heard, false), ("G003", Heard, false)], true);
        check_settled(way, "C003", &[("G002", Heard, false), ("G003", CantCome, false)], false);
        check_settled(way, "C001", &[("G001", Heard, false)], true);
    }
    check_settled(ANY, "C003", &[("G003", Heard, false)], true);
    check_settled(EACH, "C003", &[("G003", Heard, false)], false);
    check_settled(BOTH, "C003", &[("G003", Heard, false)], false);
    check_settled(EACH, "C004", &[("G004", Heard, false)], true);
    check_settled(BOTH, "C004", &[("G004", Heard, false)], false);
    // One phone for both: enough for a household, never for bringing and collecting.
    check_settled(EACH, "C004", &[("G004", Heard, true), ("G005", Heard, true)], true);
    check_settled(BOTH, "C004", &[("G004", Heard, true), ("G005", Heard, true)], false);
    check_settled(BOTH, "C004", &[("G004", Heard, true), ("G005", Heard, false)], true);
}
