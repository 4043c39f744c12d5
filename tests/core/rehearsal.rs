//! Rehearsed seasons: families that do as they are told, families by chance against what can be worked out, and changes
//! of plan.

use crate::common::{self, at, with};
use crate::town;
use allheard::app::rehearse::{Draws, Wish, rehearse};
use allheard::demo;
use allheard::domain::board::{Board, Item};
use allheard::domain::book::{Book, Row};
use allheard::domain::plan::{self, Wanted};
use allheard::domain::record::{Answer, AnswerKind, Ask, Cover, NoticeKey, Record};
use allheard::domain::rehearsal::chance::{DRAWS, Leaf, Page};
use allheard::domain::rehearsal::fit::{WEIGHT, fitted};
use allheard::domain::rehearsal::habits::WaitingHabit;
use allheard::domain::rehearsal::run::live;
use allheard::domain::rehearsal::stage::first_due;
use allheard::domain::rehearsal::variants::worth_trying;
use allheard::domain::rehearsal::{
    Chance, Habits, RehearsalOutlook, RehearsedSeason, Stage, Terms, VariantChange,
};
use allheard::domain::season::{By, Channel, Season};
use allheard::service::office::Ways;
use allheard::service::wording::Wording;
use jiff::Timestamp;
use jiff::civil::time;
use std::sync::Mutex;

/// A draw that no chance in these tests exceeds.
const NO: f64 = 0.999_999;

/// Families that do as they are told: habits, messages and calls each have their draws.
struct Told {
    habits: [f64; DRAWS],
    messages: [f64; DRAWS],
    rings: [f64; DRAWS],
}

impl Chance for Told {
    fn page(&self, page: Page) -> [f64; DRAWS] {
        match page.leaf {
            Leaf::Habits => self.habits,
            Leaf::Message { .. } => self.messages,
            Leaf::Ring(_) => self.rings,
        }
    }
}

/// Nobody answers anything.
const SILENT: Told = Told { habits: [NO; DRAWS], messages: [NO; DRAWS], rings: [NO; DRAWS] };
/// Everybody answers, after the median time, that it is heard.
const READY: Told =
    Told { habits: [NO; DRAWS], messages: [0.0, 0.0, 0.0, 0.0, 0.5, 0.5, 0.5, 0.5], rings: [NO; DRAWS] };

/// Habits of people who all answer, within a minute.
fn quick() -> Habits {
    let minute = WaitingHabit { median_minutes: 1.0, sigma: 1.0 };
    Habits { text: minute, mail: minute, ..Habits::assumed() }
}

fn stage(book: &Book, record: &Record, from: Option<Timestamp>) -> Stage {
    let board = common::board(book);
    let from = from.or_else(|| first_due(&board)).unwrap();
    Stage::new(board, record, Terms { from, ring_days: 5, ring_at: time(18, 0, 0, 0), early_days: 7 })
}

/// A season in which every text is one segment, and the texts that went.
fn texts(stage: &Stage, habits: &Habits, chance: &dyn Chance) -> (RehearsedSeason, Vec<Wanted>) {
    let gone = Mutex::new(Vec::new());
    let weigh = |_: &Board, wanted: &Wanted| {
        gone.lock().unwrap().push(wanted.clone());
        1
    };
    let course = live(stage, habits, chance, 0, &weigh);
    (course, gone.into_inner().unwrap())
}

fn last_settled(course: &RehearsedSeason, matter: usize) -> u32 {
    course.settled(matter).last().unwrap()
}

#[test]
fn where_nobody_answers_what_was_planned_goes_and_everybody_is_rung() {
    for book in [town::book(), demo::book(1)] {
        let stage = stage(&book, &Record::default(), None);
        let record = Record { revised_at: stage.terms.from, ..Record::default() };
        let planned = plan::plan(&stage.board, &record, stage.terms.from);
        let by = |channel| planned.iter().filter(|wanted| wanted.channel == channel).count();
        let (course, gone) = texts(&stage, &Habits::assumed(), &SILENT);
        assert_eq!(course.mails as usize, by(Channel::Mail));
        assert_eq!((course.texts as usize, gone.len()), (by(Channel::Text), by(Channel::Text)));
        assert_eq!((course.segments, course.refused), (course.texts, 0));
        assert!(planned.len() > 10, "{}", planned.len());
        let mut keys: Vec<&str> = gone.iter().map(|wanted| wanted.key.as_str()).collect();
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), gone.len(), "none goes twice");
        for event in stage.moments.keys() {
            assert_eq!(course.calls[event.at()], stage.children(event.at()));
            assert_eq!(course.left[event.at()], stage.children(event.at()));
            assert_eq!(last_settled(&course, event.at()), 0);
        }
    }
}

#[test]
fn where_everybody_answers_at_once_nobody_is_asked_again_or_rung() {
    let stage = stage(&town::book(), &Record::default(), None);
    let (course, gone) = texts(&stage, &quick(), &READY);
    let chaser = stage.board.notice("T002").unwrap();
    let chased = gone.iter().flat_map(|wanted| &wanted.parts).filter(|(_, n)| *n == NoticeKey::Rule(chaser));
    // Those without mail get the sheet by text, but nobody is asked a second time.
    assert_eq!(chased.count(), 0);
    assert_eq!(course.all_calls(), 0);
    for event in stage.moments.keys() {
        assert_eq!(last_settled(&course, event.at()), stage.children(event.at()));
        assert_eq!(course.left[event.at()], 0);
    }
    // The sheet for the dress rehearsal goes on the 18th at 10:00, and is answered the same day.
    let dress = stage.board.event("E001").unwrap();
    let day = |day: i8| stage.day_of(jiff::civil::date(2027, 3, day)).unwrap();
    let settled: Vec<u32> = course.settled(dress.at()).collect();
    assert_eq!((settled[day(17)], settled[day(18)]), (0, stage.children(dress.at())));
}

#[test]
fn a_call_settles_whom_it_reaches() {
    let stage = stage(&town::book(), &Record::default(), None);
    let reached = Told { rings: [0.0, 0.5, NO, NO, NO, NO, NO, NO], ..SILENT };
    let refuses = Told { rings: [0.0, 0.0, NO, NO, NO, NO, NO, NO], ..SILENT };
    for event in stage.moments.keys() {
        let (course, _) = texts(&stage, &Habits::assumed(), &reached);
        assert_eq!((course.calls[event.at()], course.left[event.at()]), (stage.children(event.at()), 0));
        assert_eq!(last_settled(&course, event.at()), stage.children(event.at()));
        let (course, _) = texts(&stage, &Habits::assumed(), &refuses);
        assert_eq!((course.cant_come[event.at()], course.left[event.at()]), (stage.children(event.at()), 0));
        assert_eq!(last_settled(&course, event.at()), 0);
    }
}

#[test]
fn a_refused_mail_is_replaced_by_a_text_at_once() {
    let stage = stage(&town::book(), &Record::default(), None);
    let mut dead = SILENT;
    (dead.habits[3], dead.habits[4]) = (0.0, 0.0);
    let (course, gone) = texts(&stage, &Habits::assumed(), &dead);
    let sheet = NoticeKey::Rule(stage.board.notice("T001").unwrap());
    let of = |reference: &str| {
        let guardian = stage.board.guardian(reference).unwrap();
        gone.iter()
            .filter(|w| w.guardians.contains(&guardian) && w.parts.iter().any(|(_, n)| *n == sheet))
            .count()
    };
    // Rosa and Nora have both; each address is refused once and then left alone.
    assert_eq!((of("G001"), course.mails, course.refused), (1, 3, 3));
    // One that shows nothing is written to all season, and never answers.
    dead.habits[4] = NO;
    let silent = texts(&stage, &Habits::assumed(), &SILENT).0;
    let (course, _) = texts(&stage, &Habits::assumed(), &dead);
    assert_eq!((course.mails, course.texts, course.refused), (silent.mails, silent.texts, 0));
}

/// Forty children, each with one guardian who has a phone and no mail, and one show about which one text goes.
fn choir() -> Book {
    let mut book = town::book();
    let children = (1..=40).map(|at| {
        let mut row = Row { number: at + 1, ..Row::default() };
        for (column, text) in [
            ("ref", format!("C{at:03}")),
            ("given name", format!("Kid{at}")),
            ("family name", "Reed".to_owned()),
            ("numbers", "Kelp".to_owned()),
            ("guardian 1 ref", format!("G{at:03}")),
            ("guardian 1 name", format!("Adult{at} Reed")),
            ("guardian 1 mobile", format!("07700 900{at:03}")),
            ("guardian 1 texts", "yes".to_owned()),
            ("guardian 1 agreed", "form".to_owned()),
            ("guardian 1 brings", "yes".to_owned()),
            ("guardian 1 collects", "yes".to_owned()),
        ] {
            row.set(column, text);
        }
        row
    });
    book.sheet_mut("children").rows = children.collect();
    book.sheet_mut("notices").rows.retain(|row| row.text("ref") == "T004");
    book
}

#[test]
fn expected_counts_are_those_that_can_be_worked_out() {
    let seasons = 250;
    let stage = stage(&choir(), &Record::default(), None);
    let (pages, mut outlook) = (Draws::new(1), RehearsalOutlook::of(&stage));
    for season in 0..seasons {
        outlook.add(&stage, &live(&stage, &Habits::assumed(), &pages, season, &|_, _| 1));
    }
    let saturday = stage.board.event("E002").unwrap().at();
    // 55 of 100 answer a first text, 6 of 100 numbers are wrong, and 4 of 100 answers are no acknowledgement.
    let (answered, heard) = (0.55 * 0.94, 0.55 * 0.94 * 0.96);
    // The text goes at 10:00 and nobody answers after 22:00: ln(720/35) / 2 = 1.5119, and Φ(1.5119) = 0.9347 (tables
    // of the normal distribution).
    let first_day = heard * 0.9347;
    // Four standard errors of a share of 10,000.
    let near = |found: f64, expect: f64| {
        assert!((found / 40.0 - expect).abs() < 4.0 * 0.005, "{} instead of {expect}", found / 40.0);
    };
    let sent = stage.day_of(jiff::civil::date(2027, 3, 15)).unwrap();
    near(outlook.heard[saturday][sent].mean(), first_day);
    near(outlook.heard[saturday].last().unwrap().mean(), heard + rung());
    near(outlook.calls[saturday].mean(), 1.0 - answered * 0.975);
    assert_eq!(outlook.texts.mean(), 40.0);
    assert_eq!((outlook.segments.mean(), outlook.mails.mean()), (40.0, 0.0));
    // A wrong number stays wrong when it is rung.
    near(outlook.left[saturday].mean(), 1.0 - answered * 0.975 - rung() / 0.985);
}

/// Share of the forty that a call settles: a question or silence on a right number, 70 of 100 of the rest.
fn rung() -> f64 {
    let (never, rest) = (0.05, 0.45);
    let reached = 0.70 * rest / (rest - never);
    let silent = rest - never;
    let asked = 0.55 * 0.025;
    0.94 * (silent + asked) * reached * 0.985
}

#[test]
fn the_same_seed_is_the_same_season_and_another_is_not() {
    let stage = stage(&demo::book(1), &Record::default(), None);
    let course = |seed, season| live(&stage, &Habits::assumed(), &Draws::new(seed), season, &|_, _| 1);
    assert_eq!(course(1, 0), course(1, 0));
    assert_ne!(course(1, 0), course(2, 0));
    assert_ne!(course(1, 0), course(1, 1));
}

#[test]
fn a_running_season_goes_on_from_where_it_is() {
    let board = common::board(&town::book());
    let now = at("2027-03-20T12:00:00Z");
    let mut record = Record { revised_at: at("2027-03-01T12:00:00Z"), ..Record::default() };
    // Everything due so far went, and Rosa answered for both her children's dress rehearsal.
    for wanted in plan::plan(&board, &record.clone(), town::early()).iter().filter(|w| w.due <= now) {
        for (item, notice) in &wanted.parts {
            for guardian in &wanted.guardians {
                let ask = Ask { guardian: *guardian, item: *item, notice: *notice, channel: wanted.channel };
                record.covered.insert(ask, Cover::Done(wanted.due));
                record.tell(ask, board.fingerprint(*item), true, wanted.due);
            }
        }
    }
    let rosa = board.guardian("G001").unwrap();
    for child in ["C001", "C002"] {
        let item = board.item(child, "E001").unwrap();
        let (kind, fingerprint) = (AnswerKind::Heard, board.fingerprint(item));
        record.answer(
            rosa,
            item,
            Answer { kind, fingerprint, at: at("2027-03-19T09:00:00Z"), one_phone: false },
        );
    }
    let dress = board.event("E001").unwrap().at();
    let left = plan::plan(&board, &record, now).len();
    let stage = stage(&town::book(), &record, Some(now));
    let (course, _) = texts(&stage, &Habits::assumed(), &SILENT);
    assert_eq!((course.mails + course.texts) as usize, left);
    assert_eq!(course.settled(dress).next(), Some(2));
    // The day for calls is over, so whoever is open is rung now.
    assert_eq!(course.calls[dress], stage.children(dress) - 2);
}

#[test]
fn habits_move_from_the_assumption_as_far_as_answers_were_seen() {
    let board = common::board(&choir());
    let due = first_due(&board).unwrap();
    let mut record = Record::default();
    let items: Vec<(Item, _)> = (1..=40)
        .map(|at| {
            let item = board.item(&format!("C{at:03}"), "E002").unwrap();
            (item, board.guardian(&format!("G{at:03}")).unwrap())
        })
        .collect();
    let notice = NoticeKey::Rule(board.notice("T004").unwrap());
    for (nth, (item, guardian)) in items.iter().enumerate() {
        let ask = Ask { guardian: *guardian, item: *item, notice, channel: Channel::Text };
        record.covered.insert(ask, Cover::Done(due));
        if nth < 10 {
            let (kind, fingerprint) = (AnswerKind::Heard, board.fingerprint(*item));
            let at = due + jiff::SignedDuration::from_mins(5);
            record.answer(*guardian, *item, Answer { kind, fingerprint, at, one_phone: false });
        }
    }
    let day = |days: i64| due + jiff::SignedDuration::from_hours(24 * days);
    // While it is early the ten who answered are all that is known; afterwards the thirty who did not are, too.
    let share = |asked: f64| (10.0 + WEIGHT * 0.55) / (asked + WEIGHT);
    for (days, expect) in [(1, share(10.0)), (4, share(40.0))] {
        let fitted = fitted(&board, &record, day(days));
        assert!((fitted.first_text.unwrap() - expect).abs() < 1e-12, "after {days} days {fitted:?}");
        assert_eq!((fitted.answers, fitted.first_mail, fitted.later), (10, None, [None; 3]));
        let habits = Habits::assumed().with(&fitted);
        assert!(habits.text.median_minutes > 5.0 && habits.text.median_minutes < 35.0, "{:?}", habits.text);
        assert_eq!(habits.mail, Habits::assumed().mail);
    }
    assert_eq!(fitted(&board, &Record::default(), day(4)).first_text, None);
}

fn changed(change: VariantChange) -> (Season, Board) {
    let season = common::board(&town::book()).season;
    let after = change.apply(&season).expect("a change that fits");
    (after.clone(), Board::of(after))
}

#[test]
fn a_change_of_plan_changes_one_notice_and_moves_none() {
    let before = common::board(&town::book());
    let dress = |board: &Board, notice: usize| {
        let item = board.item("C001", "E001").unwrap();
        board.due(board.programme.position(item.who, item.event.unwrap()).unwrap(), notice).map(|due| due.at)
    };
    let (_, earlier) = changed(VariantChange::Earlier { notice: 0, days: 7 });
    assert_eq!(dress(&before, 0), Some(at("2027-03-18T10:00:00Z")));
    assert_eq!(dress(&earlier, 0), Some(at("2027-03-11T10:00:00Z")));
    assert_eq!(dress(&earlier, 1), dress(&before, 1));
    let (season, without) = changed(VariantChange::Without { notice: 0 });
    assert_eq!((dress(&without, 0), season.notices.len()), (None, 4));
    assert_eq!(dress(&without, 1), dress(&before, 1));
    let (season, _) = changed(VariantChange::By { notice: 0, by: By::Text });
    assert_eq!(season.notices[0].by, By::Text);
    let (season, more) = changed(VariantChange::OneMoreText { after: 0, days: 6 });
    assert_eq!(dress(&more, 4), Some(at("2027-03-19T18:00:00Z")), "at the hour of the other chaser");
    assert_eq!((season.notices[4].reference.as_str(), season.notices[4].by), ("T005", By::Text));
    let mut minutes = town::book();
    for (column, text) in [("days before", ""), ("at", ""), ("minutes before", "600")] {
        minutes = with(&minutes, "notices", "T001", column, text);
    }
    let minutes = common::board(&minutes);
    assert!(VariantChange::Earlier { notice: 0, days: 7 }.apply(&minutes.season).is_none());
}

#[test]
fn what_is_worth_trying_asks_families() {
    let season = common::board(&town::book()).season;
    let words: Vec<String> = worth_trying(&season, 5).iter().map(|change| change.words(&season)).collect();
    assert_eq!(
        words,
        [
            "Sheet: 7 days earlier",
            "Sheet: by text instead",
            "Sheet: by text as well",
            "Sheet: left out",
            "Sheet: one more text to those not heard from, at 6 days",
            "Again: 2 days earlier",
            "Again: by mail instead",
            "Again: left out",
            "Costumes: 7 days earlier",
            "Costumes: by mail instead",
            "Costumes: left out",
            "Shows: 7 days earlier",
            "Shows: by text only",
            "Shows: one more text to those not heard from, at 8 days",
        ]
    );
}

#[test]
fn changes_are_tried_on_the_same_families() {
    let season = common::board(&choir()).season;
    let wish = |from| Wish {
        seasons: 60,
        tried: 60,
        seed: 3,
        from,
        ring_days: 5,
        early_days: 7,
        per_text: None,
        per_mail: None,
    };
    let wording = Wording::load(None).unwrap();
    let told = |from| rehearse(&season, None, &wish(from), &wording, &Ways::default()).unwrap();
    let report = told(None);
    assert_eq!(report.outlook.seasons, 60);
    // Composed for real, and no text takes less than one.
    assert!(report.outlook.segments.mean() >= report.outlook.texts.mean());
    let gain = |words: &str| report.gains.iter().find(|g| g.change.words(&season) == words).unwrap();
    // It alone asks about the shows: without it nobody would be asked, and so nobody rung.
    assert!(report.gains.iter().all(|g| !g.change.words(&season).contains("left out")));
    // One more text goes to nearly all who have not answered, and 30 of 100 of those do.
    let more = gain("Shows: one more text to those not heard from, at 8 days");
    let unheard = 40.0 * (1.0 - 0.55 * 0.94 * 0.975);
    assert!((more.texts.mean() - unheard).abs() < 1.5, "{more:?}");
    // Both shows: a call less about each.
    let fewer = 2.0 * 40.0 * 0.94 * 0.45 * 0.30;
    assert!((more.calls.mean() + fewer).abs() < 0.15 * fewer, "{more:?}, not {fewer}");
    assert!(more.calls.error().unwrap() < 0.1 * fewer, "{more:?}");
    let worths: Vec<f64> = report.gains.iter().map(|gain| gain.worth()).collect();
    assert!(worths.windows(2).all(|pair| pair[0] >= pair[1]), "{worths:?}");
    let again = told(None);
    assert_eq!((again.outlook, again.gains), (report.outlook, report.gains));
}
