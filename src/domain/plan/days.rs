//! At most so many messages a guardian a day: what would be one too many waits for another day, or goes with another.
//!
//! The limit of one is a planning figure of ours. Changes are not bound by it, and it gives way where no day is left
//! before a message is of no use: nobody goes untold for the sake of a limit.

use super::super::board::{Board, Item};
use super::super::record::{NoticeKey, Record};
use super::super::season::{GuardianId, HouseholdId};
use super::super::wall;
use super::Wanted;
use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use std::collections::{BTreeMap, BTreeSet};

/// Days a message is put off at most before the limit gives way.
const DAYS_LATER_MAX: i64 = 14;
/// Hours that what is put off still leaves before it is of no more use: the word of the eve is not put off to the day
/// itself, when the car is already on its way (a planning figure of ours).
const HOURS_LEFT: i64 = 20;

/// What messages say, without repetition, in order.
type Parts = Vec<(Item, NoticeKey)>;

/// The end of the local day of an instant: what is due until then for one address goes as one message.
pub(super) fn end_of_day(board: &Board, at: Timestamp) -> Timestamp {
    let zone = &board.season.zone;
    let date = wall::local(zone, at).date();
    let next = date.checked_add(1.day()).unwrap_or(date);
    let midnight = wall::instant(zone, next.to_datetime(jiff::civil::Time::midnight()));
    midnight.checked_sub(1.second()).unwrap_or(at)
}

/// Puts off what would be one message too many for somebody on one day.
pub(super) fn spread(
    board: &Board,
    record: &Record,
    household: HouseholdId,
    now: Timestamp,
    all: &mut [Wanted],
) {
    let limit = board.season.settings.messages_a_day as usize;
    if limit == 0 || all.len() < 2 && record.last.is_empty() {
        return;
    }
    let zone = &board.season.zone;
    let mut days: BTreeMap<(GuardianId, Date), Vec<Parts>> = BTreeMap::new();
    let today = wall::local(zone, now).date();
    sent_lately(board, record, household, &mut days);
    // The soonest first, whatever the time is: who waits for whom must not change while it is sent. Of those due together
    // the one that is soonest of no more use.
    let mut order: Vec<usize> = (0..all.len()).filter(|at| !is_change(&all[*at])).collect();
    order.sort_by(|a, b| {
        let key = |at: &usize| (all[*at].due, all[*at].until, &all[*at].key);
        key(a).cmp(&key(b))
    });
    for at in order {
        let want = &mut all[at];
        let meant = wall::local(zone, want.due);
        let free = |day: Date| {
            want.guardians.iter().all(|guardian| {
                let taken = days.get(&(*guardian, day)).map_or(&[][..], Vec::as_slice);
                // The same words by another channel are the same message to her.
                taken.len() < limit || taken.iter().any(|had| is_same_message(&want.parts, had))
            })
        };
        let last = want.until.checked_sub(HOURS_LEFT.hours()).unwrap_or(want.until);
        // What is overdue goes today; from which day it was put off is worked out as it was before.
        let overdue = i64::from(today.since(meant.date()).map_or(0, |span| span.get_days())).max(0);
        let found = (0..=DAYS_LATER_MAX + overdue).find_map(|by| {
            let other = meant.date().checked_add(by.days()).ok()?;
            let moment =
                if by == 0 { want.due } else { wall::instant(zone, other.to_datetime(meant.time())) };
            let day = other.max(today);
            let in_time = moment < if by == 0 { want.until } else { last };
            (in_time && free(other) && free(day)).then_some((day, moment))
        });
        let (day, moment) = found.unwrap_or((meant.date().max(today), want.due));
        want.due = moment;
        for guardian in &want.guardians {
            take(days.entry((*guardian, day)).or_default(), &want.parts);
        }
    }
}

/// Notes a message of a day; the same words by another channel are none of their own.
fn take(taken: &mut Vec<Parts>, parts: &[(Item, NoticeKey)]) {
    match taken.iter_mut().find(|had| is_same_message(parts, had)) {
        Some(had) if had.len() < parts.len() => *had = parts.to_vec(),
        Some(_) => {}
        None => taken.push(parts.to_vec()),
    }
}

/// Whether one message says nothing that the other does not say as well.
fn is_same_message(one: &[(Item, NoticeKey)], other: &[(Item, NoticeKey)]) -> bool {
    let (few, many) = if one.len() <= other.len() { (one, other) } else { (other, one) };
    few.iter().all(|part| many.binary_search(part).is_ok())
}

fn is_change(want: &Wanted) -> bool {
    want.parts.iter().any(|(_, notice)| matches!(notice, NoticeKey::Change(_)))
}

/// What went already, to this household's people, by day.
fn sent_lately(
    board: &Board,
    record: &Record,
    household: HouseholdId,
    days: &mut BTreeMap<(GuardianId, Date), Vec<Parts>>,
) {
    let zone = &board.season.zone;
    let cares = board.cares(household);
    let guardians: BTreeSet<GuardianId> = cares.iter().map(|care| care.guardian).collect();
    for guardian in guardians {
        let mut parts: BTreeMap<Timestamp, BTreeSet<(Item, NoticeKey)>> = BTreeMap::new();
        for (at, item, notice) in record.last.get(&guardian).into_iter().flatten() {
            let here = cares.iter().any(|care| care.guardian == guardian && care.who == item.who);
            if here && matches!(notice, NoticeKey::Rule(_)) {
                parts.entry(*at).or_default().insert((*item, *notice));
            }
        }
        for (at, parts) in parts {
            let parts: Parts = parts.into_iter().collect();
            take(days.entry((guardian, wall::local(zone, at).date())).or_default(), &parts);
        }
    }
}
