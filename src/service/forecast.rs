//! How many will have been heard from by the call: real tellings and answers into cases, and what they foretell.
//!
//! Guardians are counted, not children: each is rung once. One who said that a child can't come has been heard from.

use super::lists::children_of;
use super::office::{Desk, Office, OfficeFault, parts_of};
use super::ports::{Gateway, History, NewAnswer, Store};
use crate::domain::board::{Board, Item};
use crate::domain::facts::Fingerprint;
use crate::domain::forecast::{Asking, Assumed, Case, FAMILIES, Forecast, Outlook};
use crate::domain::graph::State;
use crate::domain::plan::{self, asks};
use crate::domain::record::{AnswerKind, Record};
use crate::domain::season::{Channel, ChaperoneId, EventId, GuardianId};
use crate::domain::standing::{reachable, standing};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

/// Messages to one guardian within so many hours are one asking; it counts as a text if one of them is, for that is the
/// quicker (assumption, no source).
const TOGETHER_HOURS: f64 = 1.0;
/// Instants looked ahead to: at least, and at most; between them one a day.
const LOOKS: (i64, i64) = (6, 28);
const HOUR_MS: f64 = 3_600_000.0;
const DAY_HOURS: i64 = 24;

/// The forecast of one event.
pub struct EventForecast {
    /// The season.
    pub board: Arc<Board>,
    /// Which event.
    pub event: EventId,
    /// Now.
    pub now: Timestamp,
    /// The earliest call of its children.
    pub deadline: Timestamp,
    /// Heard by then.
    pub outlook: Outlook,
    /// Since when each guardian heard from has been so, earliest first.
    pub heard_since: Vec<Timestamp>,
    /// When the first of them was asked.
    pub asked_since: Option<Timestamp>,
    /// Heard by instants between now and the deadline, the deadline the last; empty once it has passed.
    pub ahead: Vec<(Timestamp, Outlook)>,
    /// The guardians of each chaperone's children; one with children of two chaperones counts with both.
    pub chaperones: Vec<(ChaperoneId, Outlook)>,
    /// The guardians of children no chaperone looks after, if there are any.
    pub nobodys: Option<Outlook>,
    /// What was learnt from the season's answers so far.
    pub learnt: Forecast,
}

/// What has to be read before anything is worked out.
struct Read {
    now: Timestamp,
    deadline: Timestamp,
    cases: Vec<Case>,
    guardians: BTreeMap<GuardianId, Case>,
    groups: Vec<(ChaperoneId, BTreeSet<GuardianId>)>,
    nobodys: BTreeSet<GuardianId>,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// The forecast of the event of a ref; none if there is no such event, or no child is called there.
    pub async fn forecast(&self, event: &str) -> Result<Option<EventForecast>, OfficeFault> {
        let desk = self.desk().await?;
        let Some(event) = desk.board.event(event) else { return Ok(None) };
        let history = self.store.history(desk.season).await?;
        let now = self.now();
        let Some(read) = read(&desk, &history, event, now) else { return Ok(None) };
        let board = desk.board.clone();
        drop(desk);
        Ok(Some(look_ahead(board, event, &read)))
    }
}

/// Everything the forecast of an event is made from.
fn read(desk: &Desk, history: &History, event: EventId, now: Timestamp) -> Option<Read> {
    let (board, record) = (&*desk.board, &desk.record);
    let deadline = board.programme.children_at(event).map(|(_, it)| it.call_at).min()?;
    let told = told(board, history);
    let mut guardians = guardians_at(board, record, &told, event, now);
    add_planned(board, record, event, now, &mut guardians);
    let of = |children: &mut dyn Iterator<Item = crate::domain::season::ChildId>| -> BTreeSet<GuardianId> {
        children.flat_map(|child| board.cares_of(child)).map(|care| care.guardian).collect()
    };
    let mut chaperones: Vec<ChaperoneId> =
        board.season.duties.iter().filter(|d| d.event == event).map(|d| d.chaperone).collect();
    chaperones.sort();
    chaperones.dedup();
    let groups: Vec<(ChaperoneId, BTreeSet<GuardianId>)> = chaperones
        .into_iter()
        .map(|chaperone| (chaperone, of(&mut children_of(board, chaperone, event).into_iter())))
        .filter(|(_, own)| !own.is_empty())
        .collect();
    let looked_after: BTreeSet<GuardianId> = groups.iter().flat_map(|(_, own)| own.iter().copied()).collect();
    Some(Read {
        now,
        deadline,
        cases: distinct(&told),
        nobodys: guardians.keys().copied().filter(|g| !looked_after.contains(g)).collect(),
        guardians,
        groups,
    })
}

/// Works out the forecast; pure.
fn look_ahead(board: Arc<Board>, event: EventId, read: &Read) -> EventForecast {
    let (now, then) = (hours(read.now), hours(read.deadline));
    let learnt = Forecast::of(&read.cases, now, &Assumed::default(), &FAMILIES);
    let outlook = |own: &BTreeSet<GuardianId>| {
        let cases: Vec<&Case> = own.iter().filter_map(|guardian| read.guardians.get(guardian)).collect();
        learnt.outlook(cases.iter().copied(), now, then)
    };
    let heard = read.guardians.values().filter_map(|case| case.answered.or(case.otherwise)).map(instant);
    let mut heard_since: Vec<Timestamp> = heard.collect();
    heard_since.sort();
    let asked =
        read.guardians.values().filter_map(|case| case.askings.first()).map(|asking| instant(asking.at));
    let ahead = looks(read.now, read.deadline)
        .into_iter()
        .map(|at| (at, learnt.outlook(read.guardians.values(), now, hours(at))));
    let mut ahead: Vec<(Timestamp, Outlook)> = ahead.collect();
    never_falls(&mut ahead);
    EventForecast {
        event,
        now: read.now,
        deadline: read.deadline,
        outlook: ahead
            .last()
            .map_or_else(|| learnt.outlook(read.guardians.values(), now, then), |last| last.1),
        asked_since: asked.filter(|at| *at <= read.now).chain(heard_since.first().copied()).min(),
        heard_since,
        chaperones: read.groups.iter().map(|(chaperone, own)| (*chaperone, outlook(own))).collect(),
        nobodys: (!read.nobodys.is_empty()).then(|| outlook(&read.nobodys)),
        ahead,
        learnt,
        board,
    }
}

/// Who has been heard from stays so: what rounding to whole numbers takes back is put right.
fn never_falls(ahead: &mut [(Timestamp, Outlook)]) {
    let mut before: Option<Outlook> = None;
    for (_, outlook) in ahead {
        if let Some(before) = before {
            outlook.low = outlook.low.max(before.low);
            outlook.middle = outlook.middle.max(before.middle);
            outlook.high = outlook.high.max(before.high);
        }
        before = Some(*outlook);
    }
}

/// Instants to look ahead to, evenly to the deadline.
fn looks(now: Timestamp, deadline: Timestamp) -> Vec<Timestamp> {
    let left = deadline.duration_since(now);
    if left <= SignedDuration::ZERO {
        return Vec::new();
    }
    let count = (left.as_hours() / DAY_HOURS + 1).clamp(LOOKS.0, LOOKS.1);
    let part = |k: i64| now + SignedDuration::from_millis((left.as_millis() as i64 / count) * k);
    (1..count).map(part).chain([deadline]).collect()
}

fn hours(at: Timestamp) -> f64 {
    at.as_millisecond() as f64 / HOUR_MS
}

fn instant(hours: f64) -> Timestamp {
    Timestamp::from_millisecond((hours * HOUR_MS).round() as i64).unwrap_or(Timestamp::MAX)
}

/// Cases of each guardian about each item, in order of time.
type Told = HashMap<(GuardianId, Item), Vec<Case>>;

/// Something that happened between us and one guardian about one item.
enum Deed<'a> {
    Asked(Channel, Option<Fingerprint>),
    Said(&'a NewAnswer),
}

/// What was asked and answered, as cases: one begins with the first message about facts not yet answered, and ends with
/// the answer.
fn told(board: &Board, history: &History) -> Told {
    let mut deeds: HashMap<(GuardianId, Item), Vec<(Timestamp, Deed<'_>)>> = HashMap::new();
    for telling in &history.tellings {
        let went = matches!(
            telling.state,
            State::Accepted | State::Delivered | State::Uncertain | State::Attempting
        );
        let Some((guardians, item, notice)) = parts_of(board, telling).filter(|_| went) else { continue };
        if item.who.is_chaperone() || !asks(board, item, notice) {
            continue;
        }
        for guardian in guardians {
            let asked = Deed::Asked(telling.channel, telling.part.fingerprint);
            deeds.entry((guardian, item)).or_default().push((telling.at, asked));
        }
    }
    for stored in &history.answers {
        let said = &stored.answer;
        let item = board.item(&said.child, &said.event);
        if let (Some(guardian), Some(item)) = (board.guardian(&said.guardian), item) {
            deeds.entry((guardian, item)).or_default().push((said.at, Deed::Said(said)));
        }
    }
    deeds
        .into_iter()
        .map(|(key, mut deeds)| {
            deeds.sort_by_key(|(at, _)| *at);
            (key, in_cases(&deeds))
        })
        .collect()
}

fn in_cases(deeds: &[(Timestamp, Deed<'_>)]) -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    let mut answered: Option<Fingerprint> = None;
    let mut open = false;
    for (at, deed) in deeds {
        let at = hours(*at);
        match deed {
            Deed::Asked(channel, facts) => {
                if !open {
                    // A reminder to whoever has answered asks nothing.
                    if answered.is_some() && *facts == answered {
                        continue;
                    }
                    cases.push(Case::default());
                    open = true;
                }
                if let Some(case) = cases.last_mut() {
                    add(case, Asking { channel: *channel, at });
                }
            }
            Deed::Said(said) => {
                let settles = matches!(said.kind, Some(AnswerKind::Heard | AnswerKind::CantCome));
                if !settles {
                    continue;
                }
                answered = Some(said.fingerprint);
                if let Some(case) = cases.last_mut().filter(|_| open) {
                    let of_herself = said.noted_by.is_empty() && said.road != "door";
                    *(if of_herself { &mut case.answered } else { &mut case.otherwise }) = Some(at);
                    open = false;
                }
            }
        }
    }
    cases
}

/// Adds a message; those of one hour are one.
fn add(case: &mut Case, asking: Asking) {
    match case.askings.last_mut() {
        Some(last) if asking.at - last.at < TOGETHER_HOURS => {
            if asking.channel == Channel::Text {
                last.channel = Channel::Text;
            }
        }
        _ => case.askings.push(asking),
    }
}

/// The cases to learn from. Messages about several children or events are one case, for one act answers them.
fn distinct(told: &Told) -> Vec<Case> {
    let mut seen: BTreeMap<(GuardianId, i64), Case> = BTreeMap::new();
    for ((guardian, _), cases) in told {
        for case in cases {
            let Some(first) = case.askings.first() else { continue };
            let key = (*guardian, (first.at * HOUR_MS).round() as i64);
            let kept = seen.entry(key).or_insert_with(|| case.clone());
            // Of two, the one that waited longer: all are heard only then, and its messages are the others' too.
            if later(case) > later(kept) {
                kept.clone_from(case);
            }
        }
    }
    seen.into_values().collect()
}

/// When a case ended; never, if it has not.
fn later(case: &Case) -> f64 {
    case.answered.or(case.otherwise).unwrap_or(f64::INFINITY)
}

/// Each guardian of a child called at an event, as one case: heard from once all her children are.
fn guardians_at(
    board: &Board,
    record: &Record,
    told: &Told,
    event: EventId,
    now: Timestamp,
) -> BTreeMap<GuardianId, Case> {
    let mut guardians: BTreeMap<GuardianId, Vec<Item>> = BTreeMap::new();
    for (child, _) in board.programme.children_at(event) {
        for care in board.cares_of(child) {
            guardians.entry(care.guardian).or_default().push(Item { who: child.into(), event: Some(event) });
        }
    }
    let whole = |(guardian, items): (GuardianId, Vec<Item>)| {
        let open: Vec<Item> =
            items.iter().copied().filter(|item| is_open(board, record, guardian, *item)).collect();
        let last = |item: &Item| told.get(&(guardian, *item)).and_then(|cases| cases.last());
        let mut case = Case::default();
        if open.is_empty() {
            let answers = items.iter().filter_map(|item| record.answer_of(guardian, *item));
            case.otherwise = Some(hours(answers.map(|answer| answer.at).max().unwrap_or(now)));
            let first = items.iter().filter_map(last).filter_map(|case| case.askings.first());
            case.askings.extend(first.min_by(|a, b| a.at.total_cmp(&b.at)));
        } else if reachable(board, record, guardian) {
            let waiting = open.iter().filter_map(last).filter(|case| later(case).is_infinite());
            let mut askings: Vec<Asking> = waiting.flat_map(|case| case.askings.iter().copied()).collect();
            askings.sort_by(|a, b| a.at.total_cmp(&b.at));
            askings.into_iter().for_each(|asking| add(&mut case, asking));
        }
        (guardian, case)
    };
    guardians.into_iter().map(whole).collect()
}

fn is_open(board: &Board, record: &Record, guardian: GuardianId, item: Item) -> bool {
    !standing(board, record, guardian, item).is_answered()
}

/// Adds what the plan still means to ask of those not heard from.
fn add_planned(
    board: &Board,
    record: &Record,
    event: EventId,
    now: Timestamp,
    guardians: &mut BTreeMap<GuardianId, Case>,
) {
    let mut planned = plan::plan(board, record, now);
    planned.retain(|wanted| wanted.owes);
    planned.sort_by_key(|wanted| wanted.due);
    for wanted in planned {
        for guardian in &wanted.guardians {
            let about = wanted.parts.iter().any(|(item, _)| {
                item.event == Some(event)
                    && !item.who.is_chaperone()
                    && is_open(board, record, *guardian, *item)
            });
            if let Some(case) = guardians.get_mut(guardian).filter(|_| about) {
                add(case, Asking { channel: wanted.channel, at: hours(wanted.due.max(now)) });
            }
        }
    }
}

#[cfg(test)]
mod tests;
