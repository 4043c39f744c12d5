//! What holds of every plan.

use crate::common::{board, with};
use crate::town::{book, early, told};
use allheard::demo;
use allheard::demo::dice::Dice;
use allheard::domain::board::{Board, Item};
use allheard::domain::book::Book;
use allheard::domain::due::window;
use allheard::domain::plan::{Wanted, plan};
use allheard::domain::record::{NoticeKey, Record};
use allheard::domain::refs::adopt;
use allheard::domain::season::Channel;
use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

static TOWN: LazyLock<Book> = LazyLock::new(book);
static DEMO: LazyLock<Board> = LazyLock::new(|| board(&demo::book(7)));

fn shuffled(book: &Book, seed: u64) -> Book {
    let mut book = book.clone();
    let mut dice = Dice::new(seed, "rows");
    for sheet in book.sheets_mut() {
        dice.shuffle(&mut sheet.rows);
        for (row, number) in sheet.rows.iter_mut().zip(2..) {
            row.number = number;
        }
    }
    book
}

/// Key and times of every message, in no order.
fn keyed(wanted: &[Wanted]) -> BTreeMap<&str, (Timestamp, Timestamp, Channel)> {
    wanted.iter().map(|w| (w.key.as_str(), (w.due, w.until, w.channel))).collect()
}

/// A record in which some have been told, by chance.
fn some_told(board: &Board, seed: u64) -> Record {
    let mut dice = Dice::new(seed, "told");
    let mut record = Record { revised_at: early(), ..Record::default() };
    for it in board.programme.itineraries() {
        for care in board.cares_of(it.who) {
            if dice.chance(0.3) {
                let who = &board.season.guardians[care.guardian.at()].reference;
                let item = Item { who: it.who, event: Some(it.event) };
                told(board, &mut record, who, item, NoticeKey::Rule(dice.below(4)), Channel::Mail, early());
            }
        }
    }
    record
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn the_order_of_rows_changes_no_message(seed in any::<u64>(), hours in 0_i64..700) {
        let now = early() + SignedDuration::from_hours(hours);
        let first = board(&TOWN);
        let mut other = shuffled(&TOWN, seed);
        prop_assert_eq!(adopt(&mut other, Some(&TOWN)), vec![]);
        let second = board(&other);
        let (a, b) = (plan(&first, &Record::default(), now), plan(&second, &Record::default(), now));
        prop_assert_eq!(keyed(&a), keyed(&b));
    }

    #[test]
    fn every_plan_keeps_hours_moments_and_keys(seed in any::<u64>(), minutes in 0_i64..70_000) {
        let now = demo::span(&demo::book(7)).unwrap().0 + SignedDuration::from_mins(minutes);
        let record = some_told(&DEMO, seed);
        let wanted = plan(&DEMO, &record, now);
        let again = plan(&DEMO, &record, now);
        prop_assert_eq!(keyed(&wanted), keyed(&again), "planning again");
        let keys: BTreeSet<_> = wanted.iter().map(|w| &w.key).collect();
        prop_assert_eq!(keys.len(), wanted.len(), "keys are unique");
        let hours = window(&DEMO.season);
        for w in &wanted {
            prop_assert!(w.at_once || hours.permitted(&DEMO.season.zone, w.due), "{:?}", w);
            prop_assert!(w.due <= w.until && now < w.until, "{:?}", w);
            prop_assert!(!w.parts.is_empty() && !w.guardians.is_empty());
        }
    }

    #[test]
    fn a_change_of_one_number_touches_its_own_families_only(number in 0_usize..5, seed in any::<u64>(), hour in 10_u32..14) {
        let names = ["Kelp", "Foghorn", "Gulls", "Ropewalk", "Finale"];
        let first = board(&TOWN);
        let mut record = some_told(&first, seed);
        record.revised_at = early() + SignedDuration::from_hours(1);
        let now = record.revised_at;
        let second = board(&with(&TOWN, "running order", names[number], "call", &format!("{hour}:05")));
        let (before, after) = (plan(&first, &record, now), plan(&second, &record, now));
        let (old, new) = (keyed(&before), keyed(&after));
        let concerned: BTreeSet<_> = first
            .season
            .cares
            .iter()
            .filter(|care| {
                let Some(child) = care.who.child() else { return false };
                let child = &first.season.children[child.at()];
                child.castings.iter().any(|c| first.season.numbers[c.number.at()].name == names[number])
            })
            .map(|care| care.guardian)
            .collect();
        let differing = before.iter().filter(|w| new.get(w.key.as_str()) != old.get(w.key.as_str()));
        let arriving = after.iter().filter(|w| new.get(w.key.as_str()) != old.get(w.key.as_str()));
        for w in differing.chain(arriving) {
            prop_assert!(w.guardians.iter().all(|g| concerned.contains(g)), "{:?}", w);
        }
    }
}
