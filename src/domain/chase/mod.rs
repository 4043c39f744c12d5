//! The chase list: which families somebody has to speak to, most urgent first, and who does.
//!
//! A line is one guardian with everything she still has to hear. She stands on it while an answer of hers would help to
//! settle a child who was asked for, and at least one ground holds: the event is near, no channel is left, or she was
//! silent twice. A settled child is never on it; nor is one who can't come, which is a question for the coordinator.

mod moment;
mod reasons;
mod ringers;

pub use moment::{Moment, suggested};
pub use reasons::{Reason, SILENT_TIMES};
pub use ringers::{Kinship, speaks};

use super::board::{Board, Item};
use super::due;
use super::itinerary::{Itinerary, ItineraryId};
use super::plan::asks;
use super::record::{Answer, CallEnd, Cover, NoticeKey, Record, Rung};
use super::season::{Care, Channel, ChaperoneId, EventId, GuardianId, Person, SettledBy};
use super::standing::{self, Standing, heard, settled, standing};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// What was tried with a guardian about what she has to hear.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tried {
    /// Messages by channel, in the order mail, text: how many about any one thing, and when the last went.
    pub sent: Vec<(Channel, u32, Timestamp)>,
    /// Channels whose address was found not to work.
    pub failed: Vec<Channel>,
    /// Channels she has stopped.
    pub stopped: Vec<Channel>,
    /// Calls in which she heard nothing, in order.
    pub rung: Vec<Rung>,
}

/// How a guardian can be spoken to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChaseWay {
    /// By telephone, at a suggested moment.
    Ring(Moment),
    /// There is no number, or it is not hers: at the door of the next event that one of her children has; none if
    /// there is none before she has to know.
    Door(Option<EventId>),
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Call {
    /// Whom to speak to.
    pub guardian: GuardianId,
    /// What she has to hear, soonest first.
    pub items: Vec<Item>,
    /// The house rules of children for whom they were asked and not heard, read out in the same call.
    pub rules: Vec<Item>,
    /// Why, most pressing first; never empty.
    pub reasons: Vec<Reason>,
    /// Before when she has to know.
    pub needed_by: Timestamp,
    /// How.
    pub way: ChaseWay,
    /// What was tried.
    pub tried: Tried,
    /// Who rings; none where nobody can, which leaves it to the coordinator or the class door.
    pub ringer: Option<ChaperoneId>,
}

/// The list, and how it was shared out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct List {
    /// Its lines, most urgent first.
    pub calls: Vec<Call>,
    /// Guardians who have not answered yet either and need no call so far.
    pub later: usize,
    /// Chaperones who ring.
    pub ringers: Vec<ChaperoneId>,
    /// Calls each of them makes at most.
    pub share: usize,
}

impl List {
    /// The calls of one chaperone, most urgent first.
    pub fn of(&self, chaperone: ChaperoneId) -> impl Iterator<Item = &Call> {
        self.calls.iter().filter(move |call| call.ringer == Some(chaperone))
    }
}

/// The chase list at an instant.
pub fn list(board: &Board, record: &Record, now: Timestamp) -> List {
    let mut open: BTreeMap<GuardianId, Vec<&Itinerary>> = BTreeMap::new();
    for at in board.programme.ids() {
        let it = &board.programme[at];
        if it.who.is_chaperone() || it.call_at <= now {
            continue;
        }
        let item = Item { who: it.who, event: Some(it.event) };
        let cares: Vec<&Care> = board.cares_of(it.who).collect();
        if is_asked(board, record, at, now) {
            for guardian in wanted(board, record, item, &cares) {
                open.entry(guardian).or_default().push(it);
            }
        }
    }
    let unanswered = unanswered(board, record);
    let all = open.len();
    let mut calls: Vec<Call> = open
        .into_iter()
        .filter_map(|(guardian, its)| call(board, record, guardian, its, &unanswered, now))
        .collect();
    calls.sort_by_key(|call| (reasons::rank(&call.reasons), call.needed_by, call.guardian));
    let ringers = ringers::ringers(board, now);
    let share = ringers::share_out(board, &ringers, &mut calls);
    List { later: all - calls.len(), calls, ringers, share }
}

/// Whether a child's guardians were asked about an event: one of them was; or none can be, and others were about to be; or
/// the last moment to ask has passed. Whom no notice asks was not meant to be.
pub fn is_asked(board: &Board, record: &Record, at: ItineraryId, now: Timestamp) -> bool {
    let it = &board.programme[at];
    let item = Item { who: it.who, event: Some(it.event) };
    let told = |care: &Care| record.told.get(&(care.guardian, item)).is_some_and(|told| told.asked);
    if board.cares_of(it.who).any(told) {
        return true;
    }
    let notices = board.season.notices.iter().enumerate();
    let owing = notices.filter(|(_, notice)| notice.owes && !notice.to.of_chaperones());
    let dues: Vec<due::Due> = owing.filter_map(|(notice, _)| board.due(at, notice)).collect();
    let reached = board.cares_of(it.who).any(|care| standing::reachable(board, record, care.guardian));
    if reached {
        !dues.is_empty() && dues.iter().all(|due| due.until <= now)
    } else {
        dues.iter().any(|due| due.at <= now)
    }
}

/// Whose answer would help to settle a child: nobody's if it is settled or can't come, else for each answer that is
/// missing the one guardian who is best rung.
fn wanted(board: &Board, record: &Record, item: Item, cares: &[&Care]) -> BTreeSet<GuardianId> {
    let of = |care: &Care| standing(board, record, care.guardian, item);
    if settled(board, record, item) || cares.iter().any(|care| of(care) == Standing::CantCome) {
        return BTreeSet::new();
    }
    let heard = |care: &Care| heard(board, record, care.guardian, item);
    let mut missing: Vec<Vec<&Care>> = Vec::new();
    match board.season.settings.settled_by {
        SettledBy::AnyGuardian => missing.push(cares.to_vec()),
        SettledBy::EachHousehold => {
            let households: BTreeSet<_> = cares.iter().map(|care| care.household).collect();
            let live_in = |household| cares.iter().copied().filter(move |care| care.household == household);
            missing.extend(
                households
                    .into_iter()
                    .map(|household| live_in(household).collect::<Vec<_>>())
                    .filter(|all| all.iter().all(|care| heard(care).is_none())),
            );
        }
        SettledBy::BringsAndCollects => {
            let parts: [fn(&Care) -> bool; 2] = [|care| care.brings, |care| care.collects];
            for part in parts {
                let all: Vec<&Care> = cares.iter().copied().filter(|care| part(care)).collect();
                if all.iter().all(|care| heard(care).is_none()) {
                    missing.push(all);
                }
            }
            // Both have been heard from one shared phone: one of them has to say so on an own road.
            if missing.is_empty() {
                missing.push(cares.iter().copied().filter(|care| care.brings || care.collects).collect());
            }
        }
    }
    let own = |answer: Option<Answer>| answer.is_some_and(|answer| !answer.one_phone);
    missing
        .into_iter()
        .filter_map(|all| best(board, record, item, all.into_iter().filter(|care| !own(heard(care)))))
        .collect()
}

/// Of several guardians the one to ring: she who has a number, was rung in vain least often, and is written first.
fn best<'a>(
    board: &Board,
    record: &Record,
    item: Item,
    cares: impl Iterator<Item = &'a Care>,
) -> Option<GuardianId> {
    let in_vain = |guardian: GuardianId| {
        let rung = record.calls.get(&(guardian, item)).map_or(&[][..], Vec::as_slice);
        rung.iter().filter(|rung| rung.end == CallEnd::NoAnswer).count()
    };
    let no_number = |guardian| standing::telephone(board, record, guardian).is_none();
    cares.map(|care| care.guardian).min_by_key(|guardian| (no_number(*guardian), in_vain(*guardian)))
}

/// How many messages that wanted an answer went to each guardian about each item, by whatever channel.
fn unanswered(board: &Board, record: &Record) -> HashMap<(GuardianId, Item), BTreeSet<NoticeKey>> {
    let mut notices: HashMap<(GuardianId, Item), BTreeSet<NoticeKey>> = HashMap::new();
    for (ask, cover) in &record.covered {
        if matches!(cover, Cover::Done(_)) && asks(board, ask.item, ask.notice) {
            notices.entry((ask.guardian, ask.item)).or_default().insert(ask.notice);
        }
    }
    notices
}

/// The line of one guardian; none if there is no ground to ring her yet.
fn call(
    board: &Board,
    record: &Record,
    guardian: GuardianId,
    mut its: Vec<&Itinerary>,
    unanswered: &HashMap<(GuardianId, Item), BTreeSet<NoticeKey>>,
    now: Timestamp,
) -> Option<Call> {
    its.sort_by_key(|it| (it.call_at, it.event, it.who));
    let needed_by = its.first()?.call_at;
    let items: Vec<Item> = its.iter().map(|it| Item { who: it.who, event: Some(it.event) }).collect();
    let silent = |item: &Item| match standing(board, record, guardian, *item) {
        Standing::Waiting => unanswered.get(&(guardian, *item)).map_or(0, BTreeSet::len),
        _ => 0,
    };
    let silent = items.iter().map(silent).max().unwrap_or(0);
    let reasons = reasons::of(board, record, guardian, &items, (needed_by, silent), now);
    if !reasons.iter().any(Reason::is_ground) {
        return None;
    }
    let tried = tried(board, record, guardian, &items);
    let way = match standing::telephone(board, record, guardian) {
        Some(_) => {
            let window = due::window(&board.season);
            ChaseWay::Ring(suggested(window, &board.season.zone, now, tried.rung.last(), needed_by))
        }
        None => ChaseWay::Door(next_door(board, &items, needed_by, now)),
    };
    let mut children: Vec<Person> = items.iter().map(|item| item.who).collect();
    children.sort();
    children.dedup();
    let asked = |item: &Item| {
        let waits =
            matches!(standing(board, record, guardian, *item), Standing::Waiting | Standing::HeardBefore);
        waits && !settled(board, record, *item)
    };
    let rules = children.into_iter().map(|who| Item { who, event: None }).filter(asked).collect();
    Some(Call { rules, guardian, items, reasons, needed_by, way, tried, ringer: None })
}

/// The next event of one of the children, up to the one before whose call the guardian has to know.
fn next_door(board: &Board, items: &[Item], needed_by: Timestamp, now: Timestamp) -> Option<EventId> {
    let people: BTreeSet<_> = items.iter().map(|item| item.who).collect();
    people
        .into_iter()
        .flat_map(|who| board.programme.of_person(who))
        .map(|at| &board.programme[at])
        .filter(|it| now < it.call_at && it.call_at <= needed_by)
        .min_by_key(|it| (it.call_at, it.event))
        .map(|it| it.event)
}

fn tried(board: &Board, record: &Record, guardian: GuardianId, items: &[Item]) -> Tried {
    let mut tried = Tried::default();
    let contact = &board.season.guardians[guardian.at()].contact;
    for channel in [Channel::Mail, Channel::Text] {
        let sent = items.iter().filter_map(|item| record.sent.get(&(guardian, *item, channel)));
        if let Some((times, last)) = sent.copied().reduce(|a, b| (a.0.max(b.0), a.1.max(b.1))) {
            tried.sent.push((channel, times, last));
        }
        let address = match channel {
            Channel::Mail => contact.mail_to(),
            Channel::Text => contact.text_to(),
        };
        let Some(address) = address else { continue };
        if record.bad.contains(channel, address) {
            tried.failed.push(channel);
        }
        if record.stopped.contains(channel, address) {
            tried.stopped.push(channel);
        }
    }
    let rung = items.iter().filter_map(|item| record.calls.get(&(guardian, *item))).flatten();
    tried.rung = rung.cloned().collect();
    tried.rung.sort_by(|a, b| (a.at, &a.by).cmp(&(b.at, &b.by)));
    // One call about several children is noted with each of them.
    tried.rung.dedup();
    tried
}
