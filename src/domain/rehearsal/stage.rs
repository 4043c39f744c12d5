//! A season made ready for being lived through: what is the same every time is worked out once.

use crate::domain::board::{Board, Item};
use crate::domain::due;
use crate::domain::plan::{self, Wanted};
use crate::domain::record::{Ask, Cover, NoticeKey, Record};
use crate::domain::season::{
    Channel, ChaperoneId, ChildId, EventId, GuardianId, HouseholdId, Person, Season,
};
use crate::domain::shift::numbers_of;
use crate::domain::wall;
use jiff::civil::{Date, Time};
use jiff::{Timestamp, ToSpan};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// Days a rehearsal covers at most.
const DAYS_MAX: usize = 400;

/// What a rehearsal takes for given besides the season.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terms {
    /// Where it begins.
    pub from: Timestamp,
    /// So many days before an event those not heard from are rung.
    pub ring_days: i32,
    /// At this local time.
    pub ring_at: Time,
    /// What is settled so many days before an event is shown for every change of plan.
    pub early_days: i32,
}

/// What one guardian was asked about one item so far.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked {
    /// Askings, each counted once by however many roads it went.
    pub times: u32,
    /// The last one.
    pub last: Option<(NoticeKey, Channel)>,
    /// Share of everybody that has not answered after these.
    pub rest: f64,
}

impl Default for Asked {
    fn default() -> Self {
        Asked { times: 0, last: None, rest: 1.0 }
    }
}

/// Households that have to be looked at together, for they share a child, a guardian or an address.
pub(super) struct Group {
    pub households: Vec<HouseholdId>,
    /// Children, each with the event it is called to.
    pub called: Vec<(ChildId, EventId)>,
    pub record: Record,
    pub asked: HashMap<(GuardianId, Item), Asked>,
    /// The plan as it stands at the beginning, by household, in the order of sending.
    pub plans: Vec<Vec<Leaving>>,
}

/// A planned message and when it leaves.
#[derive(Debug, Clone)]
pub(super) struct Leaving {
    pub at: Timestamp,
    pub wanted: Wanted,
}

/// One event's moments.
#[derive(Debug, Clone, Copy)]
pub struct Moments {
    /// When those not heard from are rung; none where that time is over before the rehearsal begins.
    pub ring: Option<Timestamp>,
    /// The first child's call.
    pub begins: Timestamp,
}

/// A season, ready.
pub struct Stage {
    /// The season.
    pub board: Board,
    /// The terms.
    pub terms: Terms,
    /// Moments of each event that children are called to and that is not over, by event.
    pub moments: BTreeMap<EventId, Moments>,
    /// Chaperones' lists: an event's children of one chaperone.
    pub lists: Vec<(EventId, ChaperoneId)>,
    /// First day covered.
    pub first_day: Date,
    pub(super) midnights: Vec<Timestamp>,
    pub(super) groups: Vec<Group>,
    pub(super) lists_of: HashMap<(ChildId, EventId), Vec<usize>>,
    owners: [Vec<GuardianId>; 2],
}

/// When the first notice of a season falls due.
pub fn first_due(board: &Board) -> Option<Timestamp> {
    let notices = 0..board.season.notices.len();
    let of_events =
        board.programme.ids().flat_map(|it| notices.clone().filter_map(move |at| board.due(it, at)));
    of_events.chain(notices.clone().filter_map(|at| board.season_due(at))).map(|due| due.at).min()
}

impl Stage {
    /// Makes a season ready, with what has happened in it so far.
    pub fn new(board: Board, record: &Record, terms: Terms) -> Stage {
        let season = &board.season;
        let first_day = wall::local(&season.zone, terms.from).date();
        let moments = moments(&board, &terms);
        let last = moments.keys().map(|event| season.events[event.at()].date).max().unwrap_or(first_day);
        let midnight = |date: Date| wall::instant(&season.zone, date.to_datetime(Time::midnight()));
        let days = (0..DAYS_MAX as i64).map(|day| first_day.saturating_add(day.days()));
        let midnights = days.take_while(|date| *date <= last).map(midnight).collect();
        let (lists, lists_of) = lists(&board, &moments);
        let owners = [owners(season, Channel::Mail), owners(season, Channel::Text)];
        let groups = groups(&board, record, &terms, &owners);
        Stage { terms, moments, lists, first_day, midnights, groups, lists_of, owners, board }
    }

    /// Days covered.
    pub fn days(&self) -> usize {
        self.midnights.len()
    }

    /// The day of an instant, from 0; none after the last.
    pub fn day(&self, at: Timestamp) -> Option<usize> {
        let began = self.midnights.partition_point(|midnight| *midnight <= at);
        let last = self.midnights.last()?;
        let after = at.duration_since(*last).as_hours() >= 24;
        (!after).then(|| began.saturating_sub(1))
    }

    /// The position of a date among the days; none outside them.
    pub fn day_of(&self, date: Date) -> Option<usize> {
        let days = self.first_day.until((jiff::Unit::Day, date)).ok()?.get_days();
        usize::try_from(days).ok().filter(|day| *day < self.days())
    }

    /// What standing is counted about: each event, and last the season's house rules.
    pub fn matters(&self) -> usize {
        self.board.season.events.len() + 1
    }

    pub(super) fn matter(&self, item: Item) -> usize {
        item.event.map_or(self.board.season.events.len(), EventId::at)
    }

    /// Children that have to be settled about a matter.
    pub fn children(&self, matter: usize) -> u32 {
        let groups = self.groups.iter();
        if matter == self.board.season.events.len() {
            return self.board.season.children.len() as u32;
        }
        groups.flat_map(|group| &group.called).filter(|(_, event)| event.at() == matter).count() as u32
    }

    /// Whose phone or mailbox an address is: the first guardian who has it.
    pub(super) fn owner(&self, guardian: GuardianId, channel: Channel) -> GuardianId {
        self.owners[usize::from(channel == Channel::Text)][guardian.at()]
    }
}

fn moments(board: &Board, terms: &Terms) -> BTreeMap<EventId, Moments> {
    let season = &board.season;
    let events = (0..season.events.len() as u32).map(EventId);
    events
        .filter_map(|event| {
            let begins = board.programme.children_at(event).map(|(_, it)| it.call_at).min()?;
            let ring = wall::days_before(&season.zone, begins, terms.ring_days, terms.ring_at);
            // Who takes over late rings at once.
            let ring = Some(ring.max(terms.from)).filter(|ring| *ring < begins);
            (begins > terms.from).then_some((event, Moments { ring, begins }))
        })
        .collect()
}

type Lists = (Vec<(EventId, ChaperoneId)>, HashMap<(ChildId, EventId), Vec<usize>>);

/// Each chaperone's children at each event: those who are in one of her numbers.
fn lists(board: &Board, moments: &BTreeMap<EventId, Moments>) -> Lists {
    let (mut lists, mut of): Lists = (Vec::new(), HashMap::new());
    for event in moments.keys().copied() {
        for chaperone in (0..board.season.chaperones.len() as u32).map(ChaperoneId) {
            let numbers = numbers_of(&board.season, chaperone, event);
            let children = board.programme.children_at(event);
            let hers: Vec<ChildId> = children
                .filter(|(_, it)| it.numbers.iter().any(|number| numbers.contains(number)))
                .map(|(child, _)| child)
                .collect();
            if !hers.is_empty() {
                hers.iter().for_each(|child| of.entry((*child, event)).or_default().push(lists.len()));
                lists.push((event, chaperone));
            }
        }
    }
    (lists, of)
}

fn address(season: &Season, guardian: usize, channel: Channel) -> Option<&str> {
    let contact = &season.guardians[guardian].contact;
    match channel {
        Channel::Mail => contact.mail_to(),
        Channel::Text => contact.text_to(),
    }
}

fn owners(season: &Season, channel: Channel) -> Vec<GuardianId> {
    let mut first: HashMap<&str, usize> = HashMap::new();
    (0..season.guardians.len())
        .map(|at| match address(season, at, channel) {
            Some(address) => GuardianId(*first.entry(address).or_insert(at) as u32),
            None => GuardianId(at as u32),
        })
        .collect()
}

fn groups(board: &Board, record: &Record, terms: &Terms, owners: &[Vec<GuardianId>; 2]) -> Vec<Group> {
    let season = &board.season;
    let mut root: Vec<usize> = (0..season.households.len()).collect();
    fn find(root: &mut [usize], mut at: usize) -> usize {
        while root[at] != at {
            root[at] = root[root[at]];
            at = root[at];
        }
        at
    }
    let (mut by_guardian, mut by_person): (HashMap<GuardianId, usize>, HashMap<Person, usize>) =
        (HashMap::new(), HashMap::new());
    for care in &season.cares {
        let home = care.household.at();
        let mut kin = vec![*by_person.entry(care.who).or_insert(home)];
        let names = [care.guardian, owners[0][care.guardian.at()], owners[1][care.guardian.at()]];
        kin.extend(names.map(|name| *by_guardian.entry(name).or_insert(home)));
        for other in kin {
            let (one, other) = (find(&mut root, home), find(&mut root, other));
            root[one.max(other)] = one.min(other);
        }
    }
    let mut members: BTreeMap<usize, Vec<HouseholdId>> = BTreeMap::new();
    for at in 0..root.len() {
        members.entry(find(&mut root, at)).or_default().push(HouseholdId(at as u32));
    }
    members.into_values().map(|households| group(board, record, terms, owners, households)).collect()
}

fn group(
    board: &Board,
    record: &Record,
    terms: &Terms,
    owners: &[Vec<GuardianId>; 2],
    households: Vec<HouseholdId>,
) -> Group {
    let cares: Vec<_> = households.iter().flat_map(|household| board.cares(*household)).collect();
    let guardians: BTreeSet<GuardianId> = cares.iter().map(|care| care.guardian).collect();
    let children: BTreeSet<ChildId> = cares.iter().filter_map(|care| care.who.child()).collect();
    let called = children
        .iter()
        .flat_map(|child| board.programme.of_person(Person::Child(*child)).map(move |it| (*child, it.event)))
        .collect();
    let record = part_of(board, record, &guardians);
    let asked = asked(board, &record, owners);
    let plans = households.iter().map(|household| planned(board, &record, *household, terms.from)).collect();
    Group { households, called, record, asked, plans }
}

/// What the record says of some guardians.
fn part_of(board: &Board, record: &Record, guardians: &BTreeSet<GuardianId>) -> Record {
    let theirs = |channel: Channel, text: &str| {
        guardians.iter().any(|guardian| address(&board.season, guardian.at(), channel) == Some(text))
    };
    Record {
        told: record.told.iter().filter(|((g, _), _)| guardians.contains(g)).map(|(k, v)| (*k, *v)).collect(),
        answers: record
            .answers
            .iter()
            .filter(|((g, _), _)| guardians.contains(g))
            .map(|(k, v)| (*k, *v))
            .collect(),
        calls: HashMap::new(),
        since: record.since,
        covered: record
            .covered
            .iter()
            .filter(|(a, _)| guardians.contains(&a.guardian))
            .map(|(k, v)| (*k, *v))
            .collect(),
        last: record
            .last
            .iter()
            .filter(|(guardian, _)| guardians.contains(guardian))
            .map(|(k, v)| (*k, v.clone()))
            .collect(),
        wrong: HashMap::new(),
        away: record.away.clone(),
        taken_back: record.taken_back.clone(),
        sent: record
            .sent
            .iter()
            .filter(|((guardian, ..), _)| guardians.contains(guardian))
            .map(|(k, v)| (*k, *v))
            .collect(),
        texted: HashSet::new(),
        stopped: record.stopped.filtered(theirs),
        bad: record.bad.filtered(theirs),
        revised_at: record.revised_at,
    }
}

/// How often guardians were asked so far, as far as the record tells.
fn asked(
    board: &Board,
    record: &Record,
    owners: &[Vec<GuardianId>; 2],
) -> HashMap<(GuardianId, Item), Asked> {
    let mut notices: BTreeMap<(GuardianId, Item), BTreeSet<(NoticeKey, Channel)>> = BTreeMap::new();
    for (ask, cover) in &record.covered {
        if matches!(cover, Cover::Done(_)) && plan::asks(board, ask.item, ask.notice) {
            let Ask { guardian, item, notice, channel } = *ask;
            let owner = owners[usize::from(channel == Channel::Text)][guardian.at()];
            notices.entry((owner, item)).or_default().insert((notice, channel));
        }
    }
    let habits = super::Habits::assumed();
    let count = |gone: BTreeSet<(NoticeKey, Channel)>| {
        let distinct: BTreeSet<NoticeKey> = gone.iter().map(|(notice, _)| *notice).collect();
        let times = distinct.len() as u32;
        let channel = gone.first().map_or(Channel::Text, |(_, channel)| *channel);
        let rest = (0..times).fold(1.0, |rest, before| rest * (1.0 - habits.share(before, channel)));
        Asked { times, last: gone.last().copied(), rest }
    };
    notices.into_iter().map(|(key, gone)| (key, count(gone))).collect()
}

/// The plan of one household at an instant, in the order of sending.
pub(super) fn planned(
    board: &Board,
    record: &Record,
    household: HouseholdId,
    now: Timestamp,
) -> Vec<Leaving> {
    let hours = due::window(&board.season);
    let leaves = |wanted: &Wanted| match wanted.due.max(now) {
        late if late > wanted.due && !wanted.at_once => hours.next_permitted(&board.season.zone, late),
        at => at,
    };
    let mut plan: Vec<Leaving> = plan::plan_household(board, record, household, now)
        .into_iter()
        .map(|wanted| Leaving { at: leaves(&wanted), wanted })
        .filter(|leaving| leaving.at < leaving.wanted.until)
        .collect();
    // A text is read before the mail of the same moment.
    plan.sort_by(|a, b| {
        let key = |l: &Leaving| (l.at, l.wanted.channel == Channel::Mail);
        key(a).cmp(&key(b)).then_with(|| a.wanted.key.cmp(&b.wanted.key))
    });
    plan
}
