//! Planted faults: a tiny season in which everything is right, and one thing wrong at a time.

mod said;

use super::{Ledger, Line, Violations, count};
use crate::domain::book::{Book, Row};
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::fs;
use tempfile::TempDir;

const PHONE: [&str; 2] = ["+447700900001", "+447700900002"];
const MAIL: &str = "one@example.org";
const SHEET: &str = "2027-03-11T10:00:10Z";
const EVE: &str = "2027-03-24T17:00:10Z";

fn rows(book: &mut Book, sheet: &str, rows: &[&[(&str, &str)]]) {
    for cells in rows {
        let mut row = Row::default();
        cells.iter().for_each(|(column, text)| row.set(column, *text));
        book.sheet_mut(sheet).rows.push(row);
    }
}

/// One child in two numbers, the second with a call of its own; two guardians; a call sheet by mail and text, a text the
/// evening before, a reminder to those not heard from, and a notice for quick changes.
fn book() -> Book {
    let mut book = Book::default();
    let settings = [
        ("zone", "Europe/London"),
        ("country", "GB"),
        ("messages from", "08:00"),
        ("messages until", "20:30"),
        ("school", "Fenmouth Dance"),
        ("short name", "Fenmouth"),
        ("telephone", "01632 960100"),
    ];
    for (name, value) in settings {
        rows(&mut book, "season", &[&[("setting", name), ("value", value)]]);
    }
    rows(&mut book, "places", &[&[("name", "Playhouse"), ("sign-in minutes", "5")]]);
    rows(
        &mut book,
        "ways",
        &[
            &[("place", "Playhouse"), ("from", "Car park"), ("walk minutes", "12-18")],
            &[("place", "Playhouse"), ("from", "Tram"), ("walk minutes", "8")],
        ],
    );
    rows(
        &mut book,
        "events",
        &[
            &[
                ("ref", "E001"),
                ("name", "Dress"),
                ("kind", "dress rehearsal"),
                ("place", "Playhouse"),
                ("date", "2027-03-25"),
                ("call", "17:00"),
                ("starts", "18:00"),
            ],
            &[
                ("ref", "E002"),
                ("name", "Evening"),
                ("kind", "show"),
                ("place", "Playhouse"),
                ("date", "2027-03-27"),
                ("call", "19:00"),
                ("starts", "20:00"),
                ("ends", "22:10"),
            ],
        ],
    );
    rows(
        &mut book,
        "numbers",
        &[
            &[("name", "Fog"), ("length", "2:00"), ("changeover", "0:20")],
            &[("name", "Rain"), ("length", "3:00"), ("changeover", "0:20")],
        ],
    );
    rows(
        &mut book,
        "running order",
        &[
            &[("event", "Dress"), ("place", "3"), ("number", "Rain"), ("call", "17:45")],
            &[("event", "Dress"), ("place", "1"), ("number", "Fog"), ("call", "17:30")],
            &[("event", "Dress"), ("place", "2"), ("number", "interval"), ("minutes", "15")],
            &[("event", "Evening"), ("place", "1"), ("number", "Fog")],
            &[("event", "Evening"), ("place", "2"), ("number", "Rain")],
        ],
    );
    rows(
        &mut book,
        "children",
        &[&[
            ("ref", "C001"),
            ("numbers", "Fog: 1, left, right; Rain"),
            ("guardian 1 ref", "G001"),
            ("guardian 1 mobile", "07700 900001"),
            ("guardian 1 e-mail", MAIL),
            ("guardian 1 texts", "yes"),
            ("guardian 1 mails", "yes"),
            ("guardian 2 ref", "G002"),
            ("guardian 2 mobile", "07700 900002"),
            ("guardian 2 texts", "yes"),
        ]],
    );
    let notice = |reference, about, to, days, at, by| {
        [
            ("ref", reference),
            ("about", about),
            ("to", to),
            ("counted from", "call"),
            ("days before", days),
            ("at", at),
            ("by", by),
        ]
    };
    rows(
        &mut book,
        "notices",
        &[
            &notice("T001", "dress rehearsal", "everyone", "14", "10:00", "mail and text"),
            &notice("T002", "Dress", "everyone", "1", "17:00", "text"),
            &notice("T003", "dress rehearsal", "not heard from", "3", "18:00", "text"),
            &notice("T004", "dress rehearsal", "turn-in", "2", "12:00", "text"),
        ],
    );
    book
}

struct Stage {
    books: Vec<(Timestamp, Book)>,
    folder: TempDir,
    ledger: Vec<Line>,
    files: usize,
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

impl Stage {
    /// Everything owed is sent, both guardians answer, and nothing is wrong.
    fn clean() -> Stage {
        let mut stage = Stage::empty();
        stage.mail(SHEET, "m1", "C001/E001/T001", "20270325T173000Z", "20270325T182500Z");
        stage.text(SHEET, "m2", 0, "C001/E001/T001", "Park by 17:05, call 17:30, home 18:25.");
        stage.text(SHEET, "m3", 1, "C001/E001/T001", "Park by 17:05, call 17:30.");
        for guardian in ["G001", "G002"] {
            let heard = [("guardian", guardian), ("child", "C001"), ("event", "E001"), ("kind", "heard")];
            stage.line("2027-03-12T09:00:00Z", "answer", &heard);
        }
        stage.text("2027-03-23T12:00:10Z", "m4", 0, "C001/E001/T004", "Hand in the costume.");
        stage.text("2027-03-23T12:00:11Z", "m5", 1, "C001/E001/T004", "Hand in the costume.");
        stage.text(EVE, "m6", 0, "C001/E001/T002", "Tomorrow 17:30.");
        stage.text(EVE, "m7", 1, "C001/E001/T002", "Tomorrow 5:30 pm.");
        stage.line("2027-03-30T09:00:00Z", "season", &[("revision", "1")]);
        stage
    }

    fn empty() -> Stage {
        let folder = TempDir::new().unwrap();
        fs::create_dir_all(folder.path().join("mail/new")).unwrap();
        fs::create_dir_all(folder.path().join("texts")).unwrap();
        Stage { books: vec![(at("2027-02-01T09:00:00Z"), book())], folder, ledger: Vec::new(), files: 0 }
    }

    fn line(&mut self, when: &str, kind: &str, about: &[(&str, &str)]) {
        let about = about
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
            .collect::<BTreeMap<_, _>>();
        self.ledger.push(Line { at: at(when), kind: kind.to_owned(), about });
    }

    fn attempt(&mut self, when: &str, key: &str, channel: &str, guardian: usize, items: &str) {
        let guardian = ["G001", "G002"][guardian];
        let about = [
            ("message", key),
            ("number", "1"),
            ("channel", channel),
            ("household", "H001"),
            ("guardians", guardian),
            ("items", items),
        ];
        self.line(when, "attempting", &about);
        self.files += 1;
    }

    fn text(&mut self, when: &str, key: &str, guardian: usize, items: &str, body: &str) {
        self.attempt(when, key, "text", guardian, items);
        self.text_file(when, key, PHONE[guardian], body);
    }

    /// A text in full, or without its head and its question where it begins with an exclamation mark.
    fn text_file(&mut self, when: &str, key: &str, to: &str, body: &str) {
        self.files += 1;
        let body = match body.strip_prefix('!') {
            Some(bare) => bare.to_owned(),
            None => format!("Fenmouth: {body} Confirm: https://school.example/r/x"),
        };
        let path = self.folder.path().join(format!("texts/{:03}-{key}.txt", self.files));
        fs::write(path, format!("To: {to}\nDate: {when}\nReference: {key}\n\n{body}\n")).unwrap();
    }

    fn mail(&mut self, when: &str, key: &str, items: &str, start: &str, end: &str) {
        self.mail_saying(when, key, items, (start, end), "Hello");
    }

    fn mail_saying(&mut self, when: &str, key: &str, items: &str, (start, end): (&str, &str), words: &str) {
        self.attempt(when, key, "mail", 0, items);
        let date =
            jiff::fmt::rfc2822::to_string(&at(when).to_zoned_datetime(jiff::tz::TimeZone::UTC)).unwrap();
        let (child_event, _) = items.rsplit_once('/').unwrap();
        let mail = format!(
            "From: school@example.org\r\nTo: One <{MAIL}>\r\nDate: {date}\r\nMessage-ID: <{key}.1@school.example>\r\nMIME-Version: 1.0\r\n\
             Content-Type: multipart/alternative; boundary=\"b\"\r\n\r\n--b\r\nContent-Type: text/plain; charset=utf-8\r\n\r\n{words}\r\n\
             --b\r\nContent-Type: text/calendar; method=PUBLISH; charset=utf-8\r\n\r\nBEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\n\
             UID:1\r\nDTSTART:{start}\r\nDTEND:{end}\r\nX-ALLHEARD-ITEM:{child_event}\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n--b--\r\n"
        );
        fs::write(self.folder.path().join(format!("mail/new/{key}.{}.eml", self.files)), mail).unwrap();
    }

    /// Takes the files of a message out of the outbox.
    fn lose(&self, key: &str) {
        for folder in ["texts", "mail/new"] {
            for entry in fs::read_dir(self.folder.path().join(folder)).unwrap() {
                let path = entry.unwrap().path();
                if path.file_name().unwrap().to_string_lossy().contains(key) {
                    fs::remove_file(path).unwrap();
                }
            }
        }
    }

    /// From that instant the number Fog is called at another time.
    fn recall(&mut self, when: &str, call: &str) {
        let mut book = book();
        for line in &mut book.sheet_mut("running order").rows {
            if line.text("number") == "Fog" && line.text("event") == "Dress" {
                line.set("call", call);
            }
        }
        self.books.push((at(when), book));
    }

    fn count(&self) -> Violations {
        count(&self.books, self.folder.path(), &Ledger::of(&self.ledger))
    }

    /// Expects the counts in the order duplicate, out of hours, after opt-out, stale facts, lost, unaccounted, and nothing
    /// of any other.
    #[track_caller]
    fn expect(&self, expected: [u64; 6]) {
        self.expect_said(expected, [0; 2]);
    }

    /// The same, and after them wrong names and what is half said.
    #[track_caller]
    fn expect_said(&self, expected: [u64; 6], said: [u64; 2]) {
        let v = self.count();
        assert_eq!([v.wrong_names, v.half_said], said, "{:#?}", v.examples);
        let counted = [v.duplicate, v.out_of_hours, v.after_opt_out, v.stale_facts, v.lost, v.unaccounted];
        assert_eq!(counted, expected, "{:#?}", v.examples);
        assert_eq!(v.examples.is_empty(), v.total() == 0);
        assert!(
            !v.examples.iter().any(|e| e.contains("7700") || e.contains('@')),
            "an address in an example"
        );
    }
}

#[test]
fn a_season_without_fault_counts_nothing() {
    Stage::clean().expect([0; 6]);
}

#[test]
fn a_message_sent_twice_is_a_duplicate_unless_its_outcome_was_uncertain() {
    let mut stage = Stage::clean();
    stage.text_file("2027-03-24T17:03:00Z", "m6", PHONE[0], "Tomorrow 17:30.");
    stage.expect([1, 0, 0, 0, 0, 0]);
    stage.line("2027-03-24T17:02:00Z", "uncertain", &[("message", "m6"), ("channel", "text")]);
    stage.expect([0; 6]);
}

#[test]
fn the_same_item_in_another_message_is_a_duplicate() {
    let mut stage = Stage::clean();
    stage.text("2027-03-24T17:03:00Z", "m9", 0, "C001/E001/T002", "Tomorrow 17:30.");
    stage.expect([1, 0, 0, 0, 0, 0]);
}

#[test]
fn an_uncertain_outcome_noted_later_excuses_nothing() {
    let mut stage = Stage::clean();
    stage.text_file("2027-03-24T17:03:00Z", "m6", PHONE[0], "Tomorrow 17:30.");
    stage.line("2027-03-24T17:05:00Z", "uncertain", &[("message", "m6"), ("channel", "text")]);
    stage.expect([1, 0, 0, 0, 0, 0]);
}

#[test]
fn a_text_at_night_is_out_of_hours_and_a_mail_of_a_change_is_not() {
    let mut stage = Stage::clean();
    stage.text("2027-03-24T20:30:00Z", "m9", 0, "C001/E001/change", "Call 17:30.");
    stage.expect([0, 1, 0, 0, 0, 0]);
    let mut stage = Stage::clean();
    stage.mail("2027-03-24T23:30:00Z", "m9", "C001/E001/change", "20270325T173000Z", "20270325T182500Z");
    stage.expect([0; 6]);
}

#[test]
fn permitted_hours_are_local_ones() {
    let mut stage = Stage::clean();
    // 07:30 UTC is 08:30 in London after 28 March 2027, and 07:30 before it (IANA time zone database).
    stage.text("2027-03-29T07:30:00Z", "m8", 0, "C001/E001/change", "Be there by 17:30.");
    stage.expect([0; 6]);
    stage.text("2027-03-26T07:30:00Z", "m9", 0, "C001/E001/change", "Be there by 17:30.");
    stage.expect([0, 1, 0, 0, 0, 0]);
}

#[test]
fn a_text_after_a_stop_counts_until_a_start() {
    let stop = [("channel", "text"), ("guardian", "G002")];
    let mut stage = Stage::clean();
    stage.line("2027-03-24T09:00:00Z", "stop", &stop);
    stage.expect([0, 0, 1, 0, 0, 0]);
    stage.line("2027-03-24T12:00:00Z", "start", &stop);
    stage.expect([0; 6]);
}

#[test]
fn nothing_is_owed_by_text_after_a_stop() {
    let mut stage = Stage::clean();
    stage.lose("m7");
    stage.expect([0, 0, 0, 0, 1, 0]);
    stage.line("2027-03-24T09:00:00Z", "stop", &[("channel", "text"), ("guardian", "G002")]);
    stage.expect([0; 6]);
}

#[test]
fn nothing_is_owed_by_text_to_a_wrong_number_until_a_call_or_a_workbook_says_otherwise() {
    let call = |kind: &'static str| [("guardian", "G002"), ("kind", kind), ("road", "call")];
    let mut stage = Stage::clean();
    stage.lose("m7");
    stage.line("2027-03-24T09:00:00Z", "call", &call("no_answer"));
    stage.expect([0, 0, 0, 0, 1, 0]);
    stage.line("2027-03-24T10:00:00Z", "call", &call("wrong_number"));
    stage.expect([0; 6]);
    let mut corrected = book();
    corrected.sheet_mut("children").rows[0].set("guardian 2 mobile", "07700 900003");
    let before = stage.books.clone();
    stage.books.push((at("2027-03-24T11:00:00Z"), corrected));
    stage.expect([0, 0, 0, 0, 1, 0]);
    stage.books = before;
    stage.line("2027-03-24T12:00:00Z", "answer", &call("heard"));
    stage.expect([0, 0, 0, 0, 1, 0]);
}

#[test]
fn the_answer_to_a_stop_is_no_fault() {
    let mut stage = Stage::clean();
    stage.line("2027-03-28T22:00:00Z", "stop", &[("channel", "text"), ("guardian", "G002")]);
    stage.text_file("2027-03-28T22:00:20Z", "reply", PHONE[1], "No more texts will come.");
    stage.expect([0; 6]);
    stage.text_file("2027-03-28T22:10:00Z", "late", PHONE[1], "No more texts will come.");
    stage.expect([0, 1, 1, 0, 0, 1]);
}

#[test]
fn a_text_with_a_time_of_nobody_is_stale() {
    let mut stage = Stage::clean();
    stage.lose("m6");
    stage.text_file(EVE, "m6", PHONE[0], "Tomorrow 17:00.");
    stage.expect([0, 0, 0, 1, 0, 0]);
}

#[test]
fn a_mail_with_a_stale_beginning_end_or_date_counts() {
    let right = ["20270325T173000Z", "20270325T182500Z"];
    for (start, end) in
        [("20270325T170000Z", right[1]), (right[0], "20270325T183000Z"), ("20270326T173000Z", right[1])]
    {
        let mut stage = Stage::clean();
        stage.lose("m1");
        stage.ledger.retain(|line| line.about.get("message").is_none_or(|key| key != "m1"));
        stage.mail(SHEET, "m1", "C001/E001/T001", start, end);
        stage.expect([0, 0, 0, 1, 0, 0]);
    }
}

#[test]
fn facts_are_those_of_the_workbook_in_force() {
    let mut stage = Stage::clean();
    stage.recall("2027-03-24T12:00:00Z", "17:15");
    stage.expect([0, 0, 0, 2, 0, 0]);
    let mut stage = Stage::clean();
    stage.recall("2027-03-24T18:00:00Z", "17:15");
    stage.text("2027-03-24T18:01:00Z", "m8", 0, "C001/E001/change", "Call 17:15, not 17:30. Park by 16:50.");
    stage.expect([0; 6]);
    stage.text("2027-03-24T18:02:00Z", "m9", 1, "C001/E001/change", "Call 17:30.");
    stage.expect([0, 0, 0, 1, 0, 0]);
}

#[test]
fn a_message_that_never_left_is_lost() {
    for key in ["m1", "m2", "m3", "m4", "m5", "m6", "m7"] {
        let stage = Stage::clean();
        stage.lose(key);
        stage.expect([0, 0, 0, 0, 1, 0]);
    }
}

#[test]
fn an_end_in_the_ledger_is_no_loss() {
    for kind in ["withdrawn", "expired", "refused", "bounced", "quarantined"] {
        let mut stage = Stage::clean();
        stage.lose("m7");
        let items =
            [("message", "m7"), ("channel", "text"), ("guardians", "G002"), ("items", "C001/E001/T002")];
        stage.line("2027-03-24T17:01:00Z", kind, &items);
        stage.expect([0; 6]);
    }
}

#[test]
fn an_end_of_something_else_is_a_loss_still() {
    let mut stage = Stage::clean();
    stage.lose("m7");
    let other = [("message", "x"), ("channel", "text"), ("guardians", "G002"), ("items", "C001/E002/T002")];
    stage.line("2027-03-24T17:01:00Z", "withdrawn", &other);
    stage.expect([0, 0, 0, 0, 1, 0]);
}

#[test]
fn a_message_to_somebody_elses_address_is_a_loss() {
    let mut stage = Stage::clean();
    stage.lose("m7");
    stage.text_file(EVE, "m7", PHONE[0], "Tomorrow 17:30.");
    stage.expect([0, 0, 0, 0, 1, 0]);
}

#[test]
fn those_not_heard_from_are_owed_a_reminder() {
    let mut stage = Stage::clean();
    stage.ledger.retain(|line| line.kind != "answer");
    stage.expect([0, 0, 0, 0, 2, 0]);
    let reminders = [("m8", 0), ("m9", 1)];
    for (key, guardian) in reminders {
        stage.text("2027-03-22T18:00:10Z", key, guardian, "C001/E001/T003", "Please answer. Call 17:30.");
    }
    stage.expect([0; 6]);
}

#[test]
fn a_question_is_no_answer_and_the_other_guardian_answers_for_herself() {
    let mut stage = Stage::clean();
    let mut kept = 0;
    for line in stage.ledger.iter_mut().filter(|line| line.kind == "answer") {
        kept += 1;
        if kept == 1 {
            line.about.insert("kind".to_owned(), "question".to_owned());
        }
    }
    stage.expect([0, 0, 0, 0, 1, 0]);
    assert!(stage.count().examples[0].contains("G001 C001/E001/T003"));
}

#[test]
fn after_a_pause_one_message_does_for_several_notices() {
    let mut stage = Stage::clean();
    for key in ["m6", "m7"] {
        stage.lose(key);
    }
    stage.ledger.retain(|line| {
        line.kind != "answer"
            && line.about.get("message").is_none_or(|key| !["m6", "m7"].contains(&key.as_str()))
    });
    // The reminder of the 22nd and the text of the 24th are told on the 25th in one, to the first guardian alone.
    stage.text("2027-03-25T09:00:00Z", "m8", 0, "C001/E001/T002", "Today 17:30.");
    stage.expect([0, 0, 0, 0, 2, 0]);
    assert!(stage.count().examples.iter().all(|e| e.contains("G002")));
}

#[test]
fn what_is_not_yet_due_or_was_due_before_is_not_owed() {
    let mut stage = Stage::clean();
    stage.lose("m6");
    stage.lose("m7");
    stage.ledger.retain(|line| line.at < at("2027-03-24T17:30:00Z"));
    stage.expect([0; 6]);
    let mut stage = Stage::empty();
    stage.books[0].0 = at("2027-03-29T09:00:00Z");
    stage.line("2027-03-30T09:00:00Z", "season", &[]);
    stage.expect([0; 6]);
}

#[test]
fn files_nobody_accounts_for_are_counted() {
    let mut stage = Stage::clean();
    stage.text_file("2027-03-20T12:00:00Z", "stray", PHONE[0], "Hello.");
    fs::write(stage.folder.path().join("mail/new/broken.eml"), b"not a mail").unwrap();
    stage.expect([0, 0, 0, 0, 0, 2]);
}

#[test]
fn an_empty_outbox_loses_everything_owed() {
    let mut stage = Stage::empty();
    stage.line("2027-03-30T09:00:00Z", "season", &[]);
    // Two guardians, each with a call sheet, a reminder, a turn-in and a text the evening before.
    stage.expect([0, 0, 0, 0, 8, 0]);
}

#[test]
fn times_are_found_in_words() {
    let found = super::faults::printed_times(
        "At 17:05 or 5:45 pm; 9:30. Port 127.0.0.1:8080, 1:234, 25:00, 123:45, 12:10 am.",
    );
    assert_eq!(found.into_iter().collect::<Vec<_>>(), [(0, 10), (9, 30), (17, 5), (17, 45)]);
}

/// A chaperone with a list, who is written to by text.
fn with_digest(stage: &mut Stage, rule: &str) {
    let book = &mut stage.books[0].1;
    rows(book, "season", &[&[("setting", "chaperone digest"), ("value", rule)]]);
    rows(
        book,
        "chaperones",
        &[&[("ref", "V001"), ("name", "Odile Marsh"), ("mobile", "07700 900003"), ("texts", "yes")]],
    );
}

fn digest(stage: &mut Stage, at: &str, key: &str) {
    let about = [("message", key), ("channel", "text"), ("guardians", "V001"), ("kind", "list")];
    stage.line(at, "digest", &about);
    stage.text_file(at, key, "+447700900003", "2 of 14 not heard from");
}

#[test]
fn a_digest_is_accounted_for_and_owes_nothing() {
    let mut stage = Stage::clean();
    with_digest(&mut stage, "daily at 18:00");
    digest(&mut stage, "2027-03-13T18:00:00Z", "d1");
    digest(&mut stage, "2027-03-14T18:00:00Z", "d2");
    stage.expect([0; 6]);
}

#[test]
fn a_digest_twice_or_more_often_than_its_rule_is_a_duplicate() {
    let mut stage = Stage::clean();
    with_digest(&mut stage, "daily at 18:00");
    digest(&mut stage, "2027-03-13T18:00:00Z", "d1");
    digest(&mut stage, "2027-03-13T18:30:00Z", "d2");
    stage.expect([1, 0, 0, 0, 0, 0]);
    let mut stage = Stage::clean();
    with_digest(&mut stage, "0 9,18 * * *");
    digest(&mut stage, "2027-03-13T09:00:00Z", "d1");
    digest(&mut stage, "2027-03-13T18:00:00Z", "d2");
    stage.expect([0; 6]);
    stage.text_file("2027-03-14T18:00:00Z", "d2", "+447700900003", "2 of 14 not heard from");
    stage.expect([1, 0, 0, 0, 0, 0]);
}

#[test]
fn a_digest_at_night_or_after_a_stop_is_seen_whatever_she_said_just_before() {
    let mut stage = Stage::clean();
    with_digest(&mut stage, "daily at 18:00");
    stage.line("2027-03-13T17:59:00Z", "stop", &[("channel", "text"), ("guardian", "V001")]);
    digest(&mut stage, "2027-03-13T18:00:00Z", "d1");
    stage.expect([0, 0, 1, 0, 0, 0]);
    let mut stage = Stage::clean();
    with_digest(&mut stage, "daily at 18:00");
    digest(&mut stage, "2027-03-13T20:30:00Z", "d1");
    stage.expect([0, 1, 0, 0, 0, 0]);
}

#[test]
fn a_digest_without_a_line_in_the_ledger_is_unaccounted() {
    let mut stage = Stage::clean();
    with_digest(&mut stage, "daily at 18:00");
    stage.text_file("2027-03-13T18:00:00Z", "d1", "+447700900003", "2 of 14 not heard from");
    stage.expect([0, 0, 0, 0, 0, 1]);
}

#[test]
fn an_introduction_is_owed_where_somebody_looks_after_the_child_and_no_other_notice_stands_for_it() {
    let mut stage = Stage::clean();
    let book = &mut stage.books[0].1;
    let notice = [
        ("ref", "T009"),
        ("about", "dress rehearsal"),
        ("to", "everyone"),
        ("counted from", "call"),
        ("days before", "14"),
        ("at", "09:00"),
        ("by", "text"),
        ("wording", "introduction"),
    ];
    rows(book, "notices", &[&notice]);
    // Nobody looks after her numbers: nothing is owed.
    stage.expect([0; 6]);
    let book = &mut stage.books[0].1;
    rows(book, "chaperones", &[&[("ref", "V001"), ("name", "Odile Marsh")]]);
    rows(book, "duties", &[&[("chaperone", "Odile Marsh"), ("event", "Dress"), ("number", "Rain")]]);
    // Owed to both guardians, though the call sheet is newer and has gone; which does not say who signs.
    stage.expect_said([0, 0, 0, 0, 2, 0], [1, 0]);
}
