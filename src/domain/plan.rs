//! The plan: which messages should still go, to whom, when. A pure function of season, record and instant.

mod days;
mod ladder;

pub use ladder::spans_households;

use super::board::{Board, Item, NO_EVENT};
use super::due;
use super::hash;
use super::record::{Ask, Cover, NoticeKey, Record};
use super::season::{About, Audience, Channel, GuardianId, HouseholdId, Person};
use super::standing;
use super::wall;
use jiff::civil::Date;
use jiff::{Span, Timestamp};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// Hexadecimal digits of a message's key (128 bits).
const KEY_DIGITS: usize = 32;
/// The notice word of an announced change.
pub const CHANGE: &str = "change";

/// One message that should go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// Identifier: the same season, rules and record give the same one in any process.
    pub key: String,
    /// The household; two are never merged.
    pub household: HouseholdId,
    /// The guardians who share the address, by index.
    pub guardians: Vec<GuardianId>,
    /// The channel.
    pub channel: Channel,
    /// What it says: items and notices, without repetition, in order.
    pub parts: Vec<(Item, NoticeKey)>,
    /// The wording: a folder of message-templates.
    pub wording: String,
    /// Whether an answer is owed.
    pub owes: bool,
    /// When it leaves.
    pub due: Timestamp,
    /// From when on it is useless.
    pub until: Timestamp,
    /// A change with no permitted moment left: by mail at once, whatever the hour.
    pub at_once: bool,
}

/// An ask with its times, while a plan is being made.
#[derive(Debug, Clone, Copy)]
struct Timed {
    ask: Ask,
    due: Timestamp,
    until: Timestamp,
    at_once: bool,
}

/// What is never merged with anything else: a letter speaks of one matter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum Matter {
    Rules,
    Introduction,
    Events,
    /// Other times.
    Change,
    /// An event that does not take place.
    Cancelled,
    /// An event that takes place without them.
    NotNeeded,
}

impl Matter {
    /// Whether it tells what has changed: that waits for no day.
    fn is_of_a_change(self) -> bool {
        matches!(self, Matter::Change | Matter::Cancelled | Matter::NotNeeded)
    }

    fn of(board: &Board, ask: &Ask) -> Matter {
        match (ask.notice, ask.item.event) {
            (NoticeKey::Change(_), event) if board.facts(ask.item).is_cancelled() => {
                let off = event.is_some_and(|event| board.season.events[event.at()].cancelled);
                if off { Matter::Cancelled } else { Matter::NotNeeded }
            }
            (NoticeKey::Change(_), _) => Matter::Change,
            (NoticeKey::Rule(_), None) => Matter::Rules,
            (NoticeKey::Rule(at), _) if board.season.notices[at].introduces() => Matter::Introduction,
            (NoticeKey::Rule(_), Some(_)) => Matter::Events,
        }
    }
}

/// Plans every household.
pub fn plan(board: &Board, record: &Record, now: Timestamp) -> Vec<Wanted> {
    (0..board.season.households.len())
        .flat_map(|at| plan_household(board, record, HouseholdId(at as u32), now))
        .collect()
}

/// Plans one household: asks by rule and by change, one message for each address and merge window, and no more a day
/// than the season's limit.
pub fn plan_household(board: &Board, record: &Record, household: HouseholdId, now: Timestamp) -> Vec<Wanted> {
    let mut letters = letters(board, record, household, now);
    gather_late(board, record, household, now, &mut letters);
    loop {
        let mut all: Vec<Wanted> =
            letters.iter().map(|letter| wanted(board, record, household, letter)).collect();
        days::spread(board, record, household, now, &mut all);
        if !drop_overtaken(&all, &mut letters) {
            return all;
        }
    }
}

/// What a household would get if there were no limit to a day.
fn letters<'a>(board: &'a Board, record: &Record, household: HouseholdId, now: Timestamp) -> Vec<Letter<'a>> {
    let mut asks = Vec::new();
    for care in board.cares(household) {
        for it_at in board.programme.of_person(care.who) {
            let item = Item { who: care.who, event: Some(it_at.event) };
            for notice in 0..board.season.notices.len() {
                if let Some(due) = board.due(it_at, notice) {
                    by_rule(board, record, care.guardian, item, notice, due, now, &mut asks);
                }
            }
        }
        // The season's house rules are the families'.
        let season_notices = if care.who.is_chaperone() { 0 } else { board.season.notices.len() };
        for notice in 0..season_notices {
            if let Some(due) = board.season_due(notice) {
                let item = Item { who: care.who, event: None };
                by_rule(board, record, care.guardian, item, notice, due, now, &mut asks);
            }
        }
        by_change(board, record, care.guardian, care.who, now, &mut asks);
    }
    let mut asks = newest_overdue_only(board, asks, now);
    asks.retain(|timed| !superseded(board, record, timed, now));
    merge(board, record, asks, now)
}

/// Adds what one notice asks of one guardian about one item.
#[allow(clippy::too_many_arguments)]
fn by_rule(
    board: &Board,
    record: &Record,
    guardian: GuardianId,
    item: Item,
    at: usize,
    due: due::Due,
    now: Timestamp,
    out: &mut Vec<Timed>,
) {
    let notice = &board.season.notices[at];
    if due.until <= now || record.is_away(item) || !is_meant(board, record, guardian, item, notice.to) {
        return;
    }
    if notice.about == About::Season && board.season.house_rules.iter().all(|r| r.event.is_some()) {
        return;
    }
    let key = NoticeKey::Rule(at);
    for (channel, at) in ladder::rungs(board, record, guardian, item, at, due, now) {
        let ask = Ask { guardian, item, notice: key, channel };
        out.push(Timed { ask, due: at, until: due.until, at_once: false });
    }
}

fn is_meant(board: &Board, record: &Record, guardian: GuardianId, item: Item, to: Audience) -> bool {
    match to {
        Audience::Everyone | Audience::OneGuardian | Audience::Chaperones => true,
        Audience::NotHeard | Audience::ChaperonesNotHeard => {
            !standing::standing(board, record, guardian, item).is_answered()
        }
        Audience::TurnIn => board.itinerary(item).is_some_and(|it| !it.turn_in.is_empty()),
    }
}

/// Adds the announcements owed to a guardian who was told facts that no longer hold, by every channel.
fn by_change(
    board: &Board,
    record: &Record,
    guardian: GuardianId,
    who: Person,
    now: Timestamp,
    out: &mut Vec<Timed>,
) {
    let first = (guardian, Item { who, event: None });
    let told = record.told.range(first..).take_while(|((g, item), _)| *g == guardian && item.who == who);
    for ((_, item), told) in told {
        let today = board.fingerprint(*item);
        let until = board.over_at(*item);
        let owed = told.fingerprint != today || told.by_change;
        if !owed || until <= now || record.is_away(*item) {
            continue;
        }
        let notice = NoticeKey::Change(today);
        let window = due::window(&board.season);
        let in_hours = window
            .place(&board.season.zone, record.revised_at, board.needed_by(*item), Some(record.revised_at))
            .filter(|at| *at >= record.revised_at);
        for channel in [Channel::Mail, Channel::Text] {
            let ask = Ask { guardian, item: *item, notice, channel };
            let usable = standing::address(board, record, guardian, channel).is_some();
            if !usable || record.covered.contains_key(&ask) {
                continue;
            }
            match (in_hours, channel) {
                (Some(due), _) => out.push(Timed { ask, due, until, at_once: false }),
                (None, Channel::Mail) => {
                    out.push(Timed { ask, due: record.revised_at, until, at_once: true })
                }
                (None, Channel::Text) => {}
            }
        }
    }
}

/// To whom, about what, by which channel, of what matter: of what is overdue there only the newest is worth sending.
type Slot = (GuardianId, Item, Channel, Matter);

/// Of several overdue notices of one matter about one item to one guardian by one channel, only the newest is still worth
/// sending.
fn newest_overdue_only(board: &Board, asks: Vec<Timed>, now: Timestamp) -> Vec<Timed> {
    let slot = |ask: &Ask| (ask.guardian, ask.item, ask.channel, Matter::of(board, ask));
    let mut newest: BTreeMap<Slot, (Timestamp, NoticeKey)> = BTreeMap::new();
    for timed in asks.iter().filter(|t| t.due <= now) {
        let slot = newest.entry(slot(&timed.ask)).or_insert((timed.due, timed.ask.notice));
        *slot = (*slot).max((timed.due, timed.ask.notice));
    }
    asks.into_iter()
        .filter(|t| {
            let newest = newest.get(&slot(&t.ask));
            t.due > now || newest == Some(&(t.due, t.ask.notice))
        })
        .collect()
}

/// Whether a newer notice about the same item has gone to the same guardian by the same channel: what was passed over
/// for it is not sent afterwards.
fn superseded(board: &Board, record: &Record, timed: &Timed, now: Timestamp) -> bool {
    let NoticeKey::Rule(own) = timed.ask.notice else { return false };
    let item = timed.ask.item;
    let position = item.event.and_then(|event| board.programme.position(item.who, event));
    let newer = |at: usize| {
        let due = match position {
            Some(position) => board.due(position, at),
            None => board.season_due(at),
        };
        due.is_some_and(|due| due.at <= now && (due.at, at) > (timed.due, own))
    };
    let gone = |at: usize| {
        let ask = Ask { notice: NoticeKey::Rule(at), ..timed.ask };
        matches!(record.covered.get(&ask), Some(Cover::Done(_)))
    };
    let introduces = |at: usize| board.season.notices[at].introduces();
    let alike = |at: usize| introduces(at) == introduces(own);
    timed.due <= now && (0..board.season.notices.len()).any(|at| alike(at) && newer(at) && gone(at))
}

/// Asks of one household that go together: to one address, about one matter.
#[derive(Debug, Clone)]
struct Letter<'a> {
    channel: Channel,
    address: &'a str,
    matter: Matter,
    asks: Vec<Timed>,
}

/// Groups asks by channel and address, then into windows of the season's merge minutes, or into days where only so many
/// messages a day may go. Which day is not asked of the clock, so that what was planned at first is what leaves.
fn merge<'a>(board: &'a Board, record: &Record, asks: Vec<Timed>, now: Timestamp) -> Vec<Letter<'a>> {
    let mut groups: BTreeMap<(Channel, &str, Matter), Vec<Timed>> = BTreeMap::new();
    for timed in asks {
        let Some(address) = standing::address(board, record, timed.ask.guardian, timed.ask.channel) else {
            continue;
        };
        groups.entry((timed.ask.channel, address, Matter::of(board, &timed.ask))).or_default().push(timed);
    }
    let window = Span::new().minutes(i64::from(board.season.settings.merge_minutes));
    let mut out = Vec::new();
    for ((channel, address, matter), mut group) in groups {
        group.sort_by_key(|t| (t.due, t.ask));
        let mut rest = group.as_slice();
        while let Some(first) = rest.first() {
            let close = first.due.saturating_add(window).unwrap_or(first.due);
            let close = if board.season.settings.messages_a_day > 0 && !matter.is_of_a_change() {
                close.max(days::end_of_day(board, first.due))
            } else {
                close.max(now)
            };
            let (bucket, later) = rest.split_at(rest.partition_point(|t| t.due <= close));
            out.push(Letter { channel, address, matter, asks: bucket.to_vec() });
            rest = later;
        }
    }
    out
}

/// Puts together what should have left on an earlier day, such as in a season that is brought late, and what of the same
/// matter leaves today. What was put off for the limit's sake is not late before the day it was put off to is over.
fn gather_late(
    board: &Board,
    record: &Record,
    household: HouseholdId,
    now: Timestamp,
    letters: &mut Vec<Letter<'_>>,
) {
    let zone = &board.season.zone;
    let date = |at| wall::local(zone, at).date();
    let today = date(now);
    let bound = |letter: &Letter<'_>| !letter.matter.is_of_a_change();
    let due = |letter: &Letter<'_>| letter.asks.iter().map(|t| t.due).min().map(date);
    let is_past = |letter: &Letter<'_>| bound(letter) && due(letter).is_some_and(|day| day < today);
    if board.season.settings.messages_a_day == 0 || !letters.iter().any(is_past) {
        return;
    }
    let mut meant: Vec<Wanted> =
        letters.iter().map(|letter| wanted(board, record, household, letter)).collect();
    days::spread(board, record, household, Timestamp::MIN, &mut meant);
    let days: Vec<Date> = meant.iter().map(|want| date(want.due)).collect();
    let mut groups: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for (at, letter) in letters.iter().enumerate().filter(|(at, letter)| bound(letter) && days[*at] <= today)
    {
        let group = (letter.channel, letter.address, letter.matter);
        groups.entry(group).or_default().push(at);
    }
    let mut gone = BTreeSet::new();
    for group in groups.into_values().filter(|group| group.iter().any(|at| days[*at] < today)) {
        for other in &group[1..] {
            let asks = std::mem::take(&mut letters[*other].asks);
            letters[group[0]].asks.extend(asks);
            gone.insert(*other);
        }
    }
    let mut at = 0..letters.len();
    letters.retain(|_| at.next().is_some_and(|at| !gone.contains(&at)));
}

/// Takes out what is put off until a newer notice of the same matter about the same item is due by the same channel: then
/// it would no longer be worth sending. Says whether there was anything.
fn drop_overtaken(all: &[Wanted], letters: &mut Vec<Letter<'_>>) -> bool {
    let put_off = |(letter, want): (&Letter<'_>, &Wanted)| letter.asks.iter().any(|t| t.due < want.due);
    if !letters.iter().zip(all).any(put_off) {
        return false;
    }
    let mut newer: HashMap<Slot, Vec<(Timestamp, NoticeKey)>> = HashMap::new();
    let slot = |letter: &Letter<'_>, t: &Timed| (t.ask.guardian, t.ask.item, t.ask.channel, letter.matter);
    for letter in letters.iter() {
        for t in &letter.asks {
            newer.entry(slot(letter, t)).or_default().push((t.due, t.ask.notice));
        }
    }
    let mut dropped = false;
    for (letter, want) in letters.iter_mut().zip(all) {
        let asks = std::mem::take(&mut letter.asks);
        let stays = |t: &Timed| {
            let others = newer.get(&slot(letter, t)).into_iter().flatten();
            let mut overtaking =
                others.filter(|other| **other > (t.due, t.ask.notice) && other.0 <= want.due);
            want.due <= t.due || overtaking.next().is_none()
        };
        let (stay, go): (Vec<Timed>, Vec<Timed>) = asks.into_iter().partition(stays);
        dropped |= !go.is_empty();
        letter.asks = stay;
    }
    letters.retain(|letter| !letter.asks.is_empty());
    dropped
}

fn wanted(board: &Board, record: &Record, household: HouseholdId, letter: &Letter<'_>) -> Wanted {
    let Letter { channel, asks, .. } = letter;
    let guardians = in_order(asks.iter().map(|t| t.ask.guardian));
    let parts = in_order(asks.iter().map(|t| (t.ask.item, t.ask.notice)));
    Wanted {
        key: key(board, record, household, &guardians, *channel, &parts),
        wording: wording(board, &parts),
        owes: parts.iter().any(|(_, notice)| owes(board, *notice)),
        due: asks.iter().map(|t| t.due).min().unwrap_or_default(),
        until: asks.iter().map(|t| t.until).min().unwrap_or_default(),
        at_once: asks.iter().any(|t| t.at_once),
        household,
        guardians,
        channel: *channel,
        parts,
    }
}

/// Each once, in order.
fn in_order<T: Ord>(all: impl Iterator<Item = T>) -> Vec<T> {
    let mut all: Vec<T> = all.collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Whether a notice wants an answer; a change always does.
pub fn owes(board: &Board, notice: NoticeKey) -> bool {
    match notice {
        NoticeKey::Rule(at) => board.season.notices[at].owes,
        NoticeKey::Change(_) => true,
    }
}

/// Whether an answer to a notice counts for an item: the dates told beside the season's house rules are told, not asked.
pub fn covers(board: &Board, item: Item, notice: NoticeKey) -> bool {
    match notice {
        NoticeKey::Rule(at) => item.event.is_none() == (board.season.notices[at].about == About::Season),
        NoticeKey::Change(_) => true,
    }
}

/// Whether a notice asks for an answer about an item.
pub fn asks(board: &Board, item: Item, notice: NoticeKey) -> bool {
    owes(board, notice) && covers(board, item, notice)
}

/// What a part of a message tells beside its own item: with the season's house rules, when they are first told (whichever
/// notice of them comes first to these guardians), every event of the child that is still to come.
pub fn told_beside(board: &Board, item: Item, notice: NoticeKey, first: bool, now: Timestamp) -> Vec<Item> {
    let first_letter = match notice {
        NoticeKey::Rule(at) => {
            let notice = &board.season.notices[at];
            notice.about == About::Season && (first || !notice.to.of_unheard())
        }
        NoticeKey::Change(_) => false,
    };
    if !first_letter || item.event.is_some() {
        return Vec::new();
    }
    let to_come = board.programme.of_person(item.who).filter(|at| board.programme[*at].call_at > now);
    to_come.map(|at| Item { who: item.who, event: Some(at.event) }).collect()
}

/// Whether a notice tells facts: not where it only introduces somebody.
pub fn tells(board: &Board, notice: NoticeKey) -> bool {
    match notice {
        NoticeKey::Rule(at) => !board.season.notices[at].introduces(),
        NoticeKey::Change(_) => true,
    }
}

/// The word of a notice in keys, the store and the ledger.
pub fn notice_word(board: &Board, notice: NoticeKey) -> &str {
    match notice {
        NoticeKey::Rule(at) => &board.season.notices[at].reference,
        NoticeKey::Change(_) => CHANGE,
    }
}

/// The wording of merged parts: the one that says most.
pub fn wording(board: &Board, parts: &[(Item, NoticeKey)]) -> String {
    const BY_WEIGHT: [&str; 6] = ["call-sheet", "reminder", "eve", "turn-in", "duty", "rules"];
    if parts
        .iter()
        .all(|(item, notice)| matches!(notice, NoticeKey::Change(_)) && board.facts(*item).is_cancelled())
    {
        return "cancelled".to_owned();
    }
    if parts.iter().any(|(_, notice)| matches!(notice, NoticeKey::Change(_))) {
        return CHANGE.to_owned();
    }
    // Whatever the notice is worded by, there are no times to speak of where only house rules are asked about.
    if parts.iter().all(|(item, _)| item.event.is_none()) {
        return "rules".to_owned();
    }
    let words: Vec<&str> = parts
        .iter()
        .filter_map(|(_, notice)| match notice {
            NoticeKey::Rule(at) => Some(board.season.notices[*at].wording.as_str()),
            NoticeKey::Change(_) => None,
        })
        .collect();
    BY_WEIGHT
        .into_iter()
        .find(|w| words.contains(w))
        .or(words.first().copied())
        .unwrap_or("reminder")
        .to_owned()
}

/// How often what these guardians are told about an item has changed, the announcement of today's facts included.
fn turns(board: &Board, record: &Record, guardians: &[GuardianId], item: Item) -> u32 {
    let today = board.fingerprint(item);
    let told = guardians.iter().filter_map(|guardian| record.told.get(&(*guardian, item)));
    told.map(|told| told.turns + u32::from(told.fingerprint != today)).max().unwrap_or(0)
}

fn key(
    board: &Board,
    record: &Record,
    household: HouseholdId,
    guardians: &[GuardianId],
    channel: Channel,
    parts: &[(Item, NoticeKey)],
) -> String {
    let season = &board.season;
    let mut text = format!(
        "message 1\n{}\n{}\n{}",
        season.reference,
        season.households[household.at()].reference,
        channel.word()
    );
    for guardian in guardians {
        text.push('\n');
        text.push_str(&season.guardians[guardian.at()].reference);
    }
    let mut lines: Vec<String> = parts
        .iter()
        .map(|(item, notice)| {
            let (child, event) = board.item_refs(*item);
            debug_assert!(item.event.is_some() || event == NO_EVENT);
            match notice {
                NoticeKey::Rule(_) => format!("\n{child}/{event}/{}", notice_word(board, *notice)),
                // The same change may be undone and come again: each time it is another message.
                NoticeKey::Change(to) => {
                    format!("\n{child}/{event}/{CHANGE} {to} {}", turns(board, record, guardians, *item))
                }
            }
        })
        .collect();
    lines.sort();
    text.push_str(&lines.concat());
    hash::hex(&hash::sha256(text.as_bytes())[..KEY_DIGITS / 2])
}
