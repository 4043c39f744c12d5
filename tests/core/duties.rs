//! Chaperones are people with notices too: their own times, what they are told and asked, and what a change does to it.

use crate::common::{at, board, book as written, set, with};
use crate::town::{book, early, item, says, shown, told};
use allheard::domain::board::Board;
use allheard::domain::book::Book;
use allheard::domain::facts::Field;
use allheard::domain::plan::plan;
use allheard::domain::reading;
use allheard::domain::record::{AnswerKind, NoticeKey, Record};
use allheard::domain::season::Channel;
use allheard::domain::standing::{Standing, standing};

/// The town with three chaperones who can be reached, and notices to them.
fn staffed() -> Book {
    let more = written(
        "
# chaperones
ref | name | mobile | e-mail | texts | mails | agreed
V001 | Uma Lock | 07700 900011 | uma@example.com | yes | yes | form
V002 | Ivo Hart | 07700 900012 | | yes | yes | form
V003 | Wren Oak | | wren@example.com | | yes | form
# duties
chaperone | event | number | task | signs in | signs out
Uma Lock | all | Kelp | | yes | yes
Ivo Hart | Dress | Gulls | | yes |
Ivo Hart | Dress | Ropewalk | | |
Wren Oak | Dress | | stage door | |
Wren Oak | Saturday | Foghorn | | |
Wren Oak | Saturday | | quick-change room | |
# notices
ref | name | about | to | counted from | days before | at | minutes before | by | answer owed | wording
T005 | Duties | show | chaperones | first show | 12 | 10:00 | | mail | yes | duty
T006 | Duties at the dress | dress rehearsal | chaperones | call | 3 | 12:00 | | text | yes | duty
T007 | Duties again | show | chaperones not heard from | first show | 2 | 12:00 | | mail | yes | duty
",
    );
    let mut book = book();
    for sheet in ["chaperones", "duties"] {
        book.sheet_mut(sheet).rows = more.rows(sheet).to_vec();
    }
    book.sheet_mut("notices").rows.extend(more.rows("notices").to_vec());
    book
}

fn check(book: &Book, chaperone: &str, event: &str, expect: &str) {
    let board = board(book);
    let facts = board.facts(item(&board, chaperone, event));
    let fields = [
        Field::Call,
        Field::ParkBy,
        Field::Briefing,
        Field::Station,
        Field::Until,
        Field::Numbers,
        Field::Task,
        Field::SignsIn,
        Field::SignsOut,
    ];
    let found: Vec<&str> = fields.iter().map(|field| facts.get(*field)).collect();
    assert_eq!(found.join(" | "), expect, "{chaperone} at {event}");
}

// Common practice, no source: chaperones come 60 minutes before the children at shows and 30 at rehearsals, the dress
// rehearsal included; their briefing is 45 and their place at the door 15 minutes before the call. A walk of 20 minutes and a
// child she signs in at 16:30, for a later number that is called then: there at 16:00, parked by 15:40, in place 16:15.
#[test]
fn a_chaperones_times_are_counted_from_her_childrens_call() {
    let town = staffed();
    check(&town, "V001", "E001", "16:00 | 15:40 |  | 16:15 | 18:30 | Kelp |  | Kelp | Kelp");
    // Both of Ivo's numbers are called at 17:45, but a child he signs in is called at 16:30 for another.
    check(
        &town,
        "V002",
        "E001",
        "16:00 | 15:40 |  | 16:15 | 18:30 | Gulls; Ropewalk |  | Gulls; Ropewalk | Gulls; Ropewalk",
    );
    check(&town, "V003", "E001", "16:30 | 16:10 |  | 16:45 | 18:30 |  | stage door |  | ");
    // Nobody of Foghorn is marked as the one who signs, so its only chaperone does.
    let foghorn = "17:00 | 16:40 | 17:15 | 17:45 | 19:30 | Foghorn | quick-change room | Foghorn | Foghorn";
    check(&town, "V003", "E002", foghorn);
    let rehearsed = with(&town, "events", "E001", "kind", "rehearsal");
    // By slots she is free when hers is over; Gulls is called at 17:45 and begins an hour after its call, as the event does.
    check(&rehearsed, "V001", "E001", "16:00 | 15:40 |  | 16:15 | 18:05 | Kelp |  | Kelp | Kelp");
    check(&rehearsed, "V003", "E001", "16:30 | 16:10 |  | 16:45 | 18:55 |  | stage door |  | ");
    // Foghorn is called at 16:30, before the others.
    let early_call = with(&town, "duties", "stage door", "number", "Foghorn");
    check(
        &early_call,
        "V003",
        "E001",
        "16:00 | 15:40 |  | 16:15 | 18:30 | Foghorn | stage door | Foghorn | Foghorn",
    );
}

fn to_chaperones(board: &Board, record: &Record, now: &str) -> Vec<String> {
    let messages = shown(board, &plan(board, record, at(now)));
    let theirs = |line: &&String| line.split_whitespace().nth(1).is_some_and(|who| who.starts_with('V'));
    let (duties, others): (Vec<_>, Vec<_>) = messages.iter().partition(theirs);
    assert!(others.iter().all(|line| !line.contains(" V00") && !line.contains("T005")), "{others:?}");
    assert!(duties.iter().all(|line| !line.contains("/T001") && !line.contains("/T004")), "{duties:?}");
    duties.into_iter().cloned().collect()
}

#[test]
fn chaperones_get_their_own_notices_and_nobody_elses() {
    let board = board(&staffed());
    let mut record = Record::default();
    let all = [
        "mail V001 V001/E002/T005 V001/E003/T005",
        "mail V001 V001/E002/T007 V001/E003/T007",
        "mail V003 V003/E001/T006",
        "mail V003 V003/E002/T005",
        "mail V003 V003/E002/T007",
        "text V001 V001/E001/T006",
        "text V002 V002/E001/T006",
    ];
    assert_eq!(to_chaperones(&board, &record, "2027-03-01T12:00:00Z"), all);
    // Heard: the second asking is not wanted.
    let show = item(&board, "V003", "E002");
    told(&board, &mut record, "V003", show, NoticeKey::Rule(4), Channel::Mail, early());
    says(&board, &mut record, "V003", show, AnswerKind::Heard, early());
    let rest: Vec<&str> = all.into_iter().filter(|line| !line.contains("V003/E002")).collect();
    assert_eq!(to_chaperones(&board, &record, "2027-03-01T12:00:00Z"), rest);
}

#[test]
fn a_change_of_duties_is_told_to_that_chaperone_alone() {
    let old = board(&staffed());
    let mut record = Record::default();
    for (who, event) in [("V001", "E002"), ("V001", "E003"), ("V003", "E002")] {
        let duty = item(&old, who, event);
        told(&old, &mut record, who, duty, NoticeKey::Rule(4), Channel::Mail, early());
        says(&old, &mut record, who, duty, AnswerKind::Heard, early());
    }
    let stands = |book: &Book, record: &Record, who: &str, event: &str| {
        let board = board(book);
        standing(&board, record, board.guardian(who).unwrap(), item(&board, who, event))
    };
    let changed = with(&staffed(), "duties", "Foghorn", "number", "Gulls");
    let mut after = record.clone();
    after.revised_at = at("2027-03-10T12:00:00Z");
    assert_eq!(stands(&changed, &after, "V003", "E002"), Standing::HeardBefore);
    assert_eq!(stands(&changed, &after, "V001", "E002"), Standing::Heard);
    let news: Vec<String> = to_chaperones(&board(&changed), &after, "2027-03-10T12:00:00Z")
        .into_iter()
        .filter(|line| line.contains("/change"))
        .collect();
    assert_eq!(news, ["mail V003 V003/E002/change"]);
    // Replaced: she is told that she is not wanted, and who takes over is asked like anybody.
    let mut replaced = staffed();
    set(&mut replaced, "duties", "Foghorn", "chaperone", "Ivo Hart");
    set(&mut replaced, "duties", "quick-change room", "chaperone", "Ivo Hart");
    let new = board(&replaced);
    assert!(new.facts(item(&new, "V003", "E002")).is_cancelled());
    let lines = to_chaperones(&new, &after, "2027-03-10T12:00:00Z");
    assert!(lines.contains(&"mail V003 V003/E002/change".to_owned()), "{lines:?}");
    assert!(lines.contains(&"text V002 V002/E002/T005".to_owned()), "{lines:?}");
}

fn refused(change: impl Fn(&mut Book), expect: &str) {
    let mut book = staffed();
    change(&mut book);
    let (season, found) = reading::season(&book);
    assert!(season.is_none());
    let found: Vec<String> = found.into_iter().map(|problem| problem.reason).collect();
    assert!(found.iter().any(|problem| problem.contains(expect)), "{expect}: {found:?}");
}

#[test]
fn what_makes_no_sense_about_duties_is_refused() {
    refused(|book| set(book, "notices", "T005", "about", "season"), "chaperones are told of their duties");
    refused(
        |book| set(book, "notices", "T005", "wording", "reminder"),
        "the wording 'duty' is for chaperones",
    );
    refused(|book| set(book, "notices", "T001", "wording", "duty"), "the wording 'duty' is for chaperones");
}
