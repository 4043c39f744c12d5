//! The notices a season starts from: each with what it rests on, and never two messages a day.

use crate::common::board;
use allheard::demo;
use allheard::domain::board::{Board, Item};
use allheard::domain::book::{Book, Row};
use allheard::domain::chase::{self, Reason};
use allheard::domain::layout::{AUDIENCES, ROADS, WORDINGS};
use allheard::domain::plan::{Wanted, plan};
use allheard::domain::published::reminders::{Ground, ReminderStep, STARTERS, sentence};
use allheard::domain::reasons::{beside, rests_on};
use allheard::domain::record::{Ask, NoticeKey, Record};
use allheard::domain::season::{Channel, GuardianId, HouseholdId};
use allheard::domain::wall;
use allheard::workbook::blank;
use jiff::Timestamp;
use jiff::civil::{Date, date};
use std::collections::{BTreeMap, BTreeSet};

/// The blank workbook with its required settings, and with everybody in reach by both channels.
fn started() -> Book {
    let mut book = blank();
    for (name, value) in [
        ("name", "The Brass Heron"),
        ("school", "Fenmouth Dance"),
        ("zone", "Europe/London"),
        ("country", "GB"),
    ] {
        setting(&mut book, name, value);
    }
    for (at, row) in book.sheet_mut("children").rows.iter_mut().enumerate() {
        for guardian in 1..=2 {
            if row.text(&format!("guardian {guardian} name")).is_empty() {
                continue;
            }
            row.set(&format!("guardian {guardian} mobile"), format!("07700 9000{at}{guardian}"));
            for column in ["texts", "mails"] {
                row.set(&format!("guardian {guardian} {column}"), "yes");
            }
            row.set(&format!("guardian {guardian} agreed"), "themselves, 2030-01-10");
        }
    }
    book
}

fn setting(book: &mut Book, name: &str, value: &str) {
    let row = book.sheet_mut("season").rows.iter_mut().find(|row| row.text("setting") == name).unwrap();
    row.set("value", value);
}

/// A season of 350 children with the notices of the starting set in place of its own.
fn large() -> Book {
    let mut book = demo::book(3);
    let rows = &mut book.sheet_mut("notices").rows;
    rows.clear();
    for (at, starter) in (1_u32..).zip(STARTERS) {
        let mut row = Row { number: at + 1, ..Row::default() };
        row.set("ref", format!("T{at:03}"));
        for (column, text) in starter.cells() {
            row.set(column, text);
        }
        rows.push(row);
    }
    let mut visit = Row { number: 8, ..Row::default() };
    for (column, text) in [
        ("ref", "E007"),
        ("name", "Class visit"),
        ("kind", "class"),
        ("place", "Weirside Studios"),
        ("date", "2027-02-24"),
        ("call", "16:45"),
        ("starts", "16:45"),
        ("ends", "17:30"),
    ] {
        visit.set(column, text);
    }
    book.sheet_mut("events").rows.push(visit);
    book
}

/// The notices of the starting set that are about something in a season.
fn starters(book: &Book) -> usize {
    let there = |about: &str| {
        about == "season" || book.rows("events").iter().any(|event| event.text("kind") == about)
    };
    STARTERS.iter().filter(|starter| there(starter.about)).count()
}

fn planned(board: &Board, now: &str) -> Vec<Wanted> {
    plan(board, &Record::default(), now.parse::<Timestamp>().unwrap())
}

#[test]
fn every_notice_says_what_it_rests_on_and_whose_it_is() {
    let steps = ReminderStep::ALL.into_iter().map(|step| (step.words(), step.grounds()));
    let all: Vec<_> = STARTERS.iter().map(|starter| (starter.name, starter.grounds)).chain(steps).collect();
    assert_eq!(all.len(), STARTERS.len() + 3);
    for (name, grounds) in all {
        assert!(!grounds.is_empty(), "{name}");
        let said = sentence(grounds);
        assert!(said.ends_with('.') && said.len() < 600, "{name}: {said}");
        for ground in grounds {
            match ground {
                Ground::Found(found) => {
                    let year = found.source.year.unwrap_or_default();
                    assert!((2000..=2026).contains(&year), "{name}");
                    assert!(!found.source.body.is_empty() && !found.source.document.is_empty(), "{name}");
                    assert!(said.contains(found.source.body) && said.contains(&year.to_string()), "{said}");
                }
                Ground::Practice(_) => assert!(said.contains("common practice, no source"), "{said}"),
                Ground::Ours(_) => assert!(said.contains("a planning figure of ours"), "{said}"),
            }
        }
        // How many texts are opened is claimed by sellers only.
        assert!(!said.contains("opened"), "{said}");
    }
}

#[test]
fn the_starting_set_is_written_in_the_words_of_the_workbook() {
    let mut names = BTreeSet::new();
    for starter in STARTERS {
        assert!(names.insert(starter.name), "{}", starter.name);
        assert!(AUDIENCES.contains(&starter.to) && ROADS.contains(&starter.by), "{}", starter.name);
        assert!(WORDINGS.contains(&starter.wording), "{}", starter.name);
        // What goes to everyone before a show is short and asks nothing; the silent are asked.
        let chases = starter.to == "not heard from";
        assert_eq!(starter.wording == "reminder", chases, "{}", starter.name);
        assert_eq!(
            starter.owes,
            chases || !matches!(starter.wording, "eve" | "introduction") && starter.days > 1
        );
    }
}

/// Weeks and days before the first show on which something leaves, with its wording and channels, as the plan has them.
#[test]
fn the_plan_of_the_blank_workbook_is_the_published_one() {
    let board = board(&started());
    let show = date(2030, 6, 14);
    let who = board.season.guardians.iter().position(|g| g.name == "Example Guardian-One").unwrap();
    let who = GuardianId(u32::try_from(who).unwrap());
    let mut days: BTreeMap<i32, BTreeSet<String>> = BTreeMap::new();
    for one in planned(&board, "2030-04-20T09:00:00Z").iter().filter(|one| one.guardians.contains(&who)) {
        let day = local(&board, one).until(show).unwrap().get_days();
        days.entry(day).or_default().insert(format!("{} {}", one.wording, one.channel.word()));
    }
    let said: Vec<String> = days
        .iter()
        .rev()
        .map(|(day, what)| format!("{day}: {}", what.iter().cloned().collect::<Vec<_>>().join(", ")))
        .collect();
    assert_eq!(
        said,
        [
            "42: rules mail",
            "35: rules text",
            "34: introduction mail",
            "14: call-sheet mail, call-sheet text",
            "7: reminder text",
            "6: introduction mail",
            "5: reminder mail",
            "3: reminder text",
            "2: eve text",
            "1: eve text",
        ]
    );
}

fn local(board: &Board, one: &Wanted) -> Date {
    wall::local(&board.season.zone, one.due).date()
}

/// The most messages one person gets on one day; the same words by both channels are one message.
fn most_a_day(board: &Board, all: &[Wanted]) -> usize {
    // Two households are never merged, not even for somebody who lives in both.
    let mut days: BTreeMap<(HouseholdId, GuardianId, Date), BTreeMap<Channel, Vec<BTreeSet<_>>>> =
        BTreeMap::new();
    for one in all {
        let parts: BTreeSet<_> = one.parts.iter().copied().collect();
        for guardian in &one.guardians {
            let day = days.entry((one.household, *guardian, local(board, one))).or_default();
            day.entry(one.channel).or_default().push(parts.clone());
        }
    }
    let count = |channels: &BTreeMap<Channel, Vec<BTreeSet<(Item, NoticeKey)>>>| {
        let (mails, texts) = (channels.get(&Channel::Mail), channels.get(&Channel::Text));
        let (mails, texts) = (mails.map_or(&[][..], Vec::as_slice), texts.map_or(&[][..], Vec::as_slice));
        let alone = texts
            .iter()
            .filter(|text| !mails.iter().any(|mail| mail.is_subset(text) || text.is_subset(mail)));
        mails.len() + alone.count()
    };
    days.values().map(count).max().unwrap_or(0)
}

#[test]
fn nobody_gets_two_messages_on_one_day() {
    for (name, book, now) in
        [("blank", started(), "2030-04-20T09:00:00Z"), ("large", large(), "2027-02-01T09:00:00Z")]
    {
        let board = board(&book);
        let all = planned(&board, now);
        assert!(all.len() > 30, "{name}: {}", all.len());
        let told: BTreeSet<usize> = all
            .iter()
            .flat_map(|one| &one.parts)
            .filter_map(|(_, notice)| match notice {
                NoticeKey::Rule(at) => Some(*at),
                NoticeKey::Change(_) => None,
            })
            .collect();
        assert_eq!(told.len(), starters(&book), "{name}: every notice tells somebody something");
        println!("{name}: {} messages to {} people", all.len(), board.season.guardians.len());
        assert_eq!(most_a_day(&board, &all), 1, "{name}");
        let named: usize = rests_on(&board, &all).iter().map(|(names, _)| names.len()).sum();
        assert_eq!(named, starters(&book), "{name}: each is named with what it rests on, once");
    }
}

#[test]
fn what_people_do_beside_the_messages_is_counted_from_the_first_show() {
    let check = |door: &str, calls: &str, expect: [(Date, ReminderStep); 3]| {
        let mut book = started();
        setting(&mut book, "class door days before", door);
        setting(&mut book, "calls days before", calls);
        assert_eq!(beside(&board(&book).season), expect);
    };
    let show = (date(2030, 6, 14), ReminderStep::OnlyChanges);
    check(
        "28",
        "5",
        [(date(2030, 5, 17), ReminderStep::ClassDoor), (date(2030, 6, 9), ReminderStep::Calls), show],
    );
    check(
        "3",
        "10",
        [(date(2030, 6, 4), ReminderStep::Calls), (date(2030, 6, 11), ReminderStep::ClassDoor), show],
    );
}

/// Everybody was told everything by mail, and asked for an answer.
fn asked(board: &Board, now: jiff::Timestamp) -> Record {
    let mut record = Record::default();
    for it in board.programme.itineraries() {
        let item = Item { who: it.who, event: Some(it.event) };
        for care in board.cares_of(it.who) {
            let notice = NoticeKey::Rule(0);
            let ask = Ask { guardian: care.guardian, item, notice, channel: Channel::Mail };
            record.tell(ask, board.fingerprint(item), true, now);
        }
    }
    record
}

/// Nine days before the show, eight before the dress rehearsal; everybody was asked about both, and nobody has answered.
#[test]
fn families_are_rung_from_as_many_days_before_as_the_season_says() {
    let near = |days: &str| {
        let mut book = started();
        setting(&mut book, "calls days before", days);
        let board = board(&book);
        let now = "2030-06-05T09:00:00Z".parse().unwrap();
        let list = chase::list(&board, &asked(&board, now), now);
        assert_eq!(chase::list(&board, &Record::default(), now).calls, [], "whom nobody asked is not rung");
        let days = |reason: &Reason| if let Reason::Near(days) = reason { Some(*days) } else { None };
        list.calls.iter().filter_map(|call| call.reasons.iter().find_map(days)).collect::<Vec<_>>()
    };
    assert_eq!(near("7"), Vec::<i32>::new());
    assert_eq!(near("8"), [8, 8]);
}
