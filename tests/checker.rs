//! The demo season's plan, written out as files by the simplest hand, against the checker that shares no code with it.

use allheard::audit::{Ledger, Line, Violations, count};
use allheard::demo;
use allheard::domain::board::Board;
use allheard::domain::book::{Book, Row};
use allheard::domain::plan::{self, Wanted};
use allheard::domain::reading;
use allheard::domain::record::Record;
use allheard::domain::season::Channel;
use allheard::domain::standing;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use tempfile::TempDir;

/// Messages one guardian of one household gets over the season, when nobody ever answers.
const MESSAGES_PER_GUARDIAN: std::ops::RangeInclusive<usize> = 9..=16;

struct Run {
    book: Book,
    start: Timestamp,
    board: Board,
    wanted: Vec<Wanted>,
    outbox: TempDir,
    ledger: Vec<Line>,
}

impl Run {
    /// Sends every planned message on the minute; nobody answers.
    fn new(seed: u64) -> Run {
        Run::of(demo::book(seed))
    }

    fn of(book: Book) -> Run {
        let (start, end) = demo::span(&book).expect("the demo has a span");
        let board = Board::of(reading::season(&book).0.expect("the demo reads"));
        let wanted = plan::plan(&board, &Record::default(), start);
        let outbox = TempDir::new().expect("a folder");
        for folder in ["mail/new", "texts"] {
            fs::create_dir_all(outbox.path().join(folder)).expect("a folder");
        }
        let over = Line { at: end, kind: "season".to_owned(), about: BTreeMap::new() };
        let mut run = Run { book, start, board, wanted, outbox, ledger: vec![over] };
        for at in 0..run.wanted.len() {
            let line = run.attempt(&run.wanted[at]);
            run.ledger.push(line);
            run.write(&run.wanted[at]);
        }
        run
    }

    fn guardians(&self, message: &Wanted) -> Vec<&str> {
        message.guardians.iter().map(|g| self.board.season.guardians[g.at()].reference.as_str()).collect()
    }

    fn attempt(&self, message: &Wanted) -> Line {
        let items = message.parts.iter().map(|(item, notice)| {
            let (child, event) = self.board.item_refs(*item);
            format!("{child}/{event}/{}", plan::notice_word(&self.board, *notice))
        });
        let about = [
            ("message", message.key.clone()),
            ("channel", message.channel.word().to_owned()),
            ("guardians", self.guardians(message).join(" ")),
            ("items", items.collect::<Vec<_>>().join(" ")),
        ];
        let about = about.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
        Line { at: message.due, kind: "attempting".to_owned(), about }
    }

    fn write(&self, message: &Wanted) {
        let (key, due) = (&message.key, message.due);
        let to = standing::address(&self.board, &Record::default(), message.guardians[0], message.channel);
        let to = to.expect("planned messages have an address");
        let (mut words, mut names, mut entries) = (String::new(), String::new(), String::new());
        for (item, _) in &message.parts {
            let Some(it) = self.board.itinerary(*item) else { continue };
            let (child, event) = self.board.item_refs(*item);
            let ends = match &it.shift {
                None => it.collect_from.map(|from| from.at()),
                Some(shift) => shift.until,
            };
            let ends = ends.expect("every event of the demo ends").strftime("%Y%m%dT%H%M%S").to_string();
            let place = self.board.season.events[it.event.at()].place;
            let door = &self.board.season.places[place.at()].door;
            write!(words, "{} {door} ", it.call.strftime("%H:%M")).expect("words");
            for signer in [it.signs_in, it.signs_out].into_iter().flatten() {
                write!(names, "{}\r\n", self.board.season.chaperones[signer.at()].name).expect("words");
            }
            write!(
                entries,
                "BEGIN:VEVENT\r\nDTSTART:{}\r\nDTEND;TZID=Europe/London:{ends}\r\nX-ALLHEARD-ITEM:{child}/{event}\r\nEND:VEVENT\r\n",
                it.call_at.strftime("%Y%m%dT%H%M%SZ"),
            )
            .expect("words");
        }
        let (name, file) = match message.channel {
            Channel::Text => {
                let body = format!("AshlarDance: {words} Confirm: https://show.example/r/x");
                (format!("texts/{key}.txt"), format!("To: {to}\nDate: {due}\nReference: {key}\n\n{body}\n"))
            }
            Channel::Mail => (
                format!("mail/new/{key}.eml"),
                format!(
                    "To: <{to}>\r\nDate: {}\r\nMessage-ID: <{key}@school.example>\r\nMIME-Version: 1.0\r\n\
                     Content-Type: multipart/mixed; boundary=\"b\"\r\n\r\n--b\r\n\
                     Content-Type: text/plain; charset=utf-8\r\n\r\n{names}\r\n--b\r\n\
                     Content-Type: text/calendar; charset=utf-8\r\n\r\nBEGIN:VCALENDAR\r\n{entries}END:VCALENDAR\r\n--b--\r\n",
                    due.strftime("%a, %d %b %Y %H:%M:%S +0000"),
                ),
            ),
        };
        fs::write(self.outbox.path().join(name), file).expect("a file");
    }

    fn count(&self) -> Violations {
        count(&[(self.start, self.book.clone())], self.outbox.path(), &Ledger::of(&self.ledger))
    }
}

#[test]
fn everything_planned_and_sent_satisfies_the_checker() {
    let run = Run::new(7);
    let found = run.count();
    assert_eq!(found, Violations::default(), "{:#?}", found.examples);
    assert!(run.wanted.len() > 5_000, "{} messages", run.wanted.len());
}

#[test]
fn any_one_text_of_the_plan_missing_is_noticed() {
    let run = Run::new(7);
    let texts: Vec<&Wanted> = run.wanted.iter().filter(|w| w.channel == Channel::Text).collect();
    for message in texts.iter().step_by(texts.len() / 5) {
        let path = run.outbox.path().join(format!("texts/{}.txt", message.key));
        let file = fs::read(&path).expect("the file");
        fs::remove_file(&path).expect("the file");
        let parts = (message.parts.len() * message.guardians.len()) as u64;
        let found = run.count();
        assert!((1..=parts).contains(&found.lost) && found.total() == found.lost, "{:#?}", found.examples);
        fs::write(&path, file).expect("the file");
    }
}

#[test]
fn guardians_are_not_flooded() {
    let run = Run::new(7);
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for message in &run.wanted {
        run.guardians(message).into_iter().for_each(|guardian| *counts.entry(guardian).or_default() += 1);
    }
    // A chaperone is written to about four kinds of event at most: once at length, once again, and the day before each.
    let chaperones: Vec<_> = counts.iter().filter(|(who, _)| who.starts_with('V')).collect();
    assert!(chaperones.len() > 70, "{}", chaperones.len());
    assert!(chaperones.iter().all(|(_, count)| (1..=10).contains(*count)), "{chaperones:?}");
    counts.retain(|who, _| who.starts_with('G'));
    let beyond: Vec<_> = counts.iter().filter(|(_, count)| !MESSAGES_PER_GUARDIAN.contains(count)).collect();
    // The one guardian of two households is written to once for each.
    assert_eq!(beyond.len(), 1, "{beyond:?}");
}

/// The demo with a class visit that comes round again, across the morning on which the clocks go forward.
fn with_visits(repeats: &str) -> Book {
    let mut book = demo::book(7);
    let rows = &mut book.sheet_mut("events").rows;
    let mut visit = Row { number: rows.len() as u32 + 2, ..Row::default() };
    for (column, text) in [
        ("ref", "E099"),
        ("name", "Class visit"),
        ("kind", "class"),
        ("place", "Weirside Studios"),
        ("date", "2027-02-22"),
        ("call", "16:25"),
        ("starts", "16:30"),
        ("ends", "17:15"),
        ("numbers", "Market Morning"),
        ("repeats", repeats),
        ("repeats until", "2027-03-28"),
        ("not on", "2027-03-09"),
    ] {
        visit.set(column, text);
    }
    rows.push(visit);
    // Whom no visit concerns would be planned and checked six times over.
    book.sheet_mut("children").rows.retain(|row| row.text("numbers").contains("Market Morning"));
    let rows = &mut book.sheet_mut("notices").rows;
    for (reference, about, by) in [
        ("T098", "class", "mail and text"),
        ("T099", "Class visit", "text"),
        ("T097", "Class visit 2027-03-02", "text"),
    ] {
        let mut notice = Row { number: rows.len() as u32 + 2, ..Row::default() };
        for (column, text) in [
            ("ref", reference),
            ("name", reference),
            ("about", about),
            ("to", "everyone"),
            ("counted from", "call"),
            ("minutes before", if by == "text" { "180" } else { "1440" }),
            ("by", by),
            ("wording", "reminder"),
        ] {
            notice.set(column, text);
        }
        rows.push(notice);
    }
    book
}

#[test]
fn events_that_come_round_again_are_read_alike_by_both() {
    for (repeats, dates) in [
        ("Tuesdays at 16:45", 5),
        ("45 16 * * 2", 5),
        ("on Tue, Thursdays and every Sunday at 4:45 pm", 15),
        ("weekdays at 16:45", 25),
        ("45 16 1,9 3 2", 5),
        ("30 17 1-9 3 *", 9),
    ] {
        let run = Run::of(with_visits(repeats));
        assert_eq!(run.board.season.series[0].events.len(), dates, "{repeats}");
        let found = run.count();
        assert_eq!(found, Violations::default(), "{repeats}: {:#?}", found.examples);
        let visits: Vec<&Wanted> = run
            .wanted
            .iter()
            .filter(|w| w.channel == Channel::Text)
            .filter(|w| w.parts.iter().any(|(item, _)| run.board.item_refs(*item).1.starts_with("E099-")))
            .collect();
        assert!(visits.len() > dates, "{repeats}: {}", visits.len());
        let last = visits[visits.len() - 1];
        fs::remove_file(run.outbox.path().join(format!("texts/{}.txt", last.key))).expect("the file");
        assert!(run.count().lost > 0, "{repeats}");
    }
}
