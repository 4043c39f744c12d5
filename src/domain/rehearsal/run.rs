//! One season, lived through: messages go as planned, some are answered after a while, and what is answered is not
//! asked again.

use super::chance::{Chance, DRAWS, Leaf, Page};
use super::course::RehearsedSeason;
use super::habits::Habits;
use super::moment;
use super::nature::Nature;
use super::stage::{Asked, Group, Leaving, Stage, planned};
use crate::domain::board::{Board, Item};
use crate::domain::plan::{self, Wanted};
use crate::domain::record::{Answer, AnswerKind, Ask, Cover, Record};
use crate::domain::season::{Channel, EventId, GuardianId};
use crate::domain::standing;
use jiff::Timestamp;
use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap, HashSet};

/// Segments of a text; what a mail answers does not matter.
pub type Weigh<'a> = &'a (dyn Fn(&Board, &Wanted) -> u32 + Sync);

/// Lives through a season.
pub fn live(
    stage: &Stage,
    habits: &Habits,
    chance: &dyn Chance,
    season: u32,
    weigh: Weigh<'_>,
) -> RehearsedSeason {
    let mut course = RehearsedSeason::of(stage);
    for group in &stage.groups {
        Life::new(stage, group, habits, chance, season, weigh, &mut course).run();
    }
    course
}

/// Something that happens in a group besides its messages.
#[derive(Debug, Clone)]
enum Deed {
    Says { guardians: Vec<GuardianId>, items: Vec<Item>, kind: AnswerKind },
    Stops { guardian: GuardianId },
    Rings(EventId),
    Begins(EventId),
}

/// One group's season while it goes on.
pub(super) struct Life<'a> {
    pub(super) stage: &'a Stage,
    pub(super) habits: &'a Habits,
    chance: &'a dyn Chance,
    season: u32,
    weigh: Weigh<'a>,
    pub(super) group: &'a Group,
    pub(super) course: &'a mut RehearsedSeason,
    pub(super) record: Record,
    pub(super) asked: HashMap<(GuardianId, Item), Asked>,
    /// The plan of each household and how far it has gone.
    plans: Vec<(Cow<'a, [Leaving]>, usize)>,
    /// Since when a household's plan is out of date.
    stale: Vec<Option<Timestamp>>,
    deeds: BTreeMap<(Timestamp, u32), Deed>,
    natures: HashMap<GuardianId, Nature>,
    texts_had: HashMap<GuardianId, u32>,
    /// Has made up her mind about it, and will say so.
    decided: HashSet<(GuardianId, Item)>,
    pub(super) settled: HashSet<Item>,
}

impl<'a> Life<'a> {
    fn new(
        stage: &'a Stage,
        group: &'a Group,
        habits: &'a Habits,
        chance: &'a dyn Chance,
        season: u32,
        weigh: Weigh<'a>,
        course: &'a mut RehearsedSeason,
    ) -> Life<'a> {
        let mut life = Life {
            stage,
            habits,
            chance,
            season,
            weigh,
            group,
            course,
            record: group.record.clone(),
            asked: group.asked.clone(),
            plans: group.plans.iter().map(|plan| (Cow::Borrowed(plan.as_slice()), 0)).collect(),
            stale: vec![None; group.households.len()],
            deeds: BTreeMap::new(),
            natures: HashMap::new(),
            texts_had: HashMap::new(),
            decided: HashSet::new(),
            settled: HashSet::new(),
        };
        let events: std::collections::BTreeSet<EventId> =
            group.called.iter().map(|(_, event)| *event).collect();
        for event in events {
            let Some(moments) = stage.moments.get(&event) else { continue };
            if let Some(ring) = moments.ring {
                life.put(ring, Deed::Rings(event));
            }
            life.put(moments.begins, Deed::Begins(event));
        }
        life.count_first();
        life
    }

    /// Counts what was so before the rehearsal begins.
    fn count_first(&mut self) {
        if self.record.answers.is_empty() {
            return;
        }
        let board = &self.stage.board;
        let answers: Vec<(GuardianId, Item)> = self.record.answers.keys().copied().collect();
        for (guardian, item) in answers {
            if standing::heard(board, &self.record, guardian, item).is_some() {
                self.count_heard(item, self.stage.terms.from);
            }
            self.count_settled(item, self.stage.terms.from);
        }
    }

    fn put(&mut self, at: Timestamp, deed: Deed) {
        let next = self.deeds.range((at, 0)..=(at, u32::MAX)).next_back().map_or(0, |((_, n), _)| n + 1);
        self.deeds.insert((at, next), deed);
    }

    pub(super) fn page(&self, guardian: GuardianId, leaf: Leaf) -> [f64; DRAWS] {
        self.chance.page(Page { season: self.season, guardian, leaf })
    }

    pub(super) fn nature(&mut self, guardian: GuardianId) -> Nature {
        if let Some(nature) = self.natures.get(&guardian) {
            return *nature;
        }
        let nature = Nature::of(self.habits, self.page(guardian, Leaf::Habits));
        self.natures.insert(guardian, nature);
        nature
    }

    fn run(&mut self) {
        loop {
            let message = self.next_message();
            let deed = self.deeds.first_key_value().map(|(key, _)| *key);
            match (message, deed) {
                (None, None) => break,
                (Some((at, home)), deed) if deed.is_none_or(|(when, _)| at < when) => {
                    match self.stale[home] {
                        Some(since) => self.plan(home, since),
                        None => self.send(home),
                    }
                }
                _ => {
                    if let Some(((at, _), deed)) = self.deeds.pop_first() {
                        self.happen(at, deed);
                    }
                }
            }
        }
    }

    /// When the next message leaves, and from which household's plan.
    fn next_message(&self) -> Option<(Timestamp, usize)> {
        let heads = self.plans.iter().enumerate();
        heads.filter_map(|(home, (plan, gone))| Some((plan.get(*gone)?.at, home))).min()
    }

    fn plan(&mut self, home: usize, now: Timestamp) {
        self.stale[home] = None;
        let plan = planned(&self.stage.board, &self.record, self.group.households[home], now);
        self.plans[home] = (Cow::Owned(plan), 0);
    }

    fn send(&mut self, home: usize) {
        let (plan, gone) = &mut self.plans[home];
        let Leaving { at, wanted } = plan[*gone].clone();
        *gone += 1;
        let board = &self.stage.board;
        let owner = self.stage.owner(wanted.guardians[0], wanted.channel);
        let nature = self.nature(owner);
        let asks: Vec<Ask> = wanted
            .parts
            .iter()
            .flat_map(|(item, notice)| {
                wanted.guardians.iter().map(|guardian| Ask {
                    guardian: *guardian,
                    item: *item,
                    notice: *notice,
                    channel: wanted.channel,
                })
            })
            .collect();
        match wanted.channel {
            Channel::Mail => self.course.mails += 1,
            Channel::Text => {
                self.course.texts += 1;
                self.course.segments += (self.weigh)(board, &wanted);
            }
        }
        let wrong = nature.wrong[usize::from(wanted.channel == Channel::Text)];
        if wrong == Some(true) {
            self.course.refused += 1;
            self.record.covered.extend(asks.iter().map(|ask| (*ask, Cover::Failed)));
            let address = standing::address(board, &self.record, wanted.guardians[0], wanted.channel);
            if let Some(address) = address {
                self.record.bad.insert(wanted.channel, address);
            }
            (0..self.plans.len()).for_each(|home| self.plan(home, at));
            return;
        }
        for ask in asks {
            let first = !self.record.told.contains_key(&(ask.guardian, ask.item));
            let told = plan::tells(board, ask.notice).then(|| board.fingerprint(ask.item));
            self.record.went(ask, told, plan::asks(board, ask.item, ask.notice), at);
            for item in plan::told_beside(board, ask.item, ask.notice, first, at) {
                self.record.went(Ask { item, ..ask }, Some(board.fingerprint(item)), false, at);
            }
        }
        if wrong.is_none() {
            self.read(owner, nature, at, &wanted);
        }
    }

    /// Somebody reads a message, and may answer it later.
    fn read(&mut self, owner: GuardianId, nature: Nature, at: Timestamp, wanted: &Wanted) {
        let Some((item, notice)) = wanted.parts.first().copied() else { return };
        let draws = self.page(owner, Leaf::Message { item, notice, channel: wanted.channel });
        let zone = &self.stage.board.season.zone;
        let then =
            moment::answered(zone, at, self.habits.waiting(wanted.channel), [draws[1], draws[2], draws[3]]);
        if wanted.channel == Channel::Text {
            let had = self.texts_had.entry(owner).or_default();
            *had += 1;
            match nature.stops_at {
                Some(stops_at) if *had == stops_at => return self.put(then, Deed::Stops { guardian: owner }),
                Some(stops_at) if *had > stops_at => return,
                _ => {}
            }
        }
        if !wanted.owes || nature.never {
            return;
        }
        let open = self.open(owner, wanted);
        let Some(chance) = self.asked_again(owner, wanted, &open) else { return };
        if draws[0] >= chance {
            return;
        }
        let kind = match draws[4] {
            cant if cant < self.habits.cant_come => AnswerKind::CantCome,
            asks if asks < self.habits.cant_come + self.habits.question => AnswerKind::Question,
            _ => AnswerKind::Heard,
        };
        self.decided.extend(open.iter().map(|item| (owner, *item)));
        self.put(then, Deed::Says { guardians: wanted.guardians.clone(), items: open, kind });
    }

    /// What a message asks that nobody who gets it has answered or is about to.
    fn open(&self, owner: GuardianId, wanted: &Wanted) -> Vec<Item> {
        let board = &self.stage.board;
        let unanswered = |item: Item| {
            wanted.guardians.iter().any(|guardian| !answered(board, &self.record, *guardian, item))
        };
        let mut items: Vec<Item> = wanted
            .parts
            .iter()
            .filter(|(item, notice)| {
                plan::asks(board, *item, *notice)
                    && !self.decided.contains(&(owner, *item))
                    && unanswered(*item)
            })
            .map(|(item, _)| *item)
            .collect();
        items.dedup();
        items
    }

    /// Counts an asking, and gives the chance that it is answered: that of the freshest thing it asks. None if it asks
    /// nothing that is open.
    fn asked_again(&mut self, owner: GuardianId, wanted: &Wanted, open: &[Item]) -> Option<f64> {
        let mut freshest: Option<(f64, f64)> = None;
        for (item, notice) in wanted.parts.iter().filter(|(item, _)| open.contains(item)) {
            let asked = self.asked.entry((owner, *item)).or_default();
            let share = match asked.last {
                Some((last, first)) if last == *notice => {
                    self.habits.share_of_copy(asked.times.saturating_sub(1), first)
                }
                _ => {
                    let share = self.habits.share(asked.times, wanted.channel);
                    asked.times += 1;
                    asked.last = Some((*notice, wanted.channel));
                    share
                }
            };
            if freshest.is_none_or(|(rest, _)| asked.rest > rest) {
                freshest = Some((asked.rest, share));
            }
            asked.rest *= 1.0 - share;
        }
        freshest.map(|(rest, share)| self.habits.chance(share, rest))
    }

    fn happen(&mut self, at: Timestamp, deed: Deed) {
        match deed {
            Deed::Says { guardians, items, kind } => {
                let owner_of = |guardian: &GuardianId| {
                    [Channel::Mail, Channel::Text].map(|channel| self.stage.owner(*guardian, channel))
                };
                let owners: Vec<GuardianId> = guardians.iter().flat_map(owner_of).collect();
                for item in &items {
                    owners.iter().for_each(|owner| {
                        self.decided.remove(&(*owner, *item));
                    });
                }
                self.say(&guardians, &items, kind, at);
            }
            Deed::Stops { guardian } => {
                let address = standing::address(&self.stage.board, &self.record, guardian, Channel::Text);
                if let Some(address) = address {
                    self.record.stopped.insert(Channel::Text, address);
                }
                (0..self.plans.len()).for_each(|home| self.plan(home, at));
            }
            Deed::Rings(event) => self.ring(event, at),
            Deed::Begins(event) => self.begin(event, at),
        }
    }

    pub(super) fn say(&mut self, guardians: &[GuardianId], items: &[Item], kind: AnswerKind, at: Timestamp) {
        if kind == AnswerKind::Question {
            return;
        }
        let board = &self.stage.board;
        for item in items {
            for guardian in guardians {
                if answered(board, &self.record, *guardian, *item) {
                    continue;
                }
                let (fingerprint, one_phone) = (board.fingerprint(*item), guardians.len() > 1);
                self.record.answer(*guardian, *item, Answer { kind, fingerprint, at, one_phone });
                if kind == AnswerKind::Heard {
                    self.count_heard(*item, at);
                }
            }
            self.count_settled(*item, at);
        }
        // A message that is no longer wanted may free its day for another.
        self.stale.iter_mut().for_each(|stale| *stale = Some(at));
    }

    fn count_heard(&mut self, item: Item, at: Timestamp) {
        if let (Some(day), false) = (self.stage.day(at), item.who.is_chaperone()) {
            self.course.heard[self.stage.matter(item) * self.course.days + day] += 1;
        }
    }

    fn count_settled(&mut self, item: Item, at: Timestamp) {
        if item.who.is_chaperone() {
            return;
        }
        let now = standing::settled(&self.stage.board, &self.record, item);
        let step = match (now, self.settled.contains(&item)) {
            (true, false) => 1,
            (false, true) => -1,
            _ => return,
        };
        if now {
            self.settled.insert(item)
        } else {
            self.settled.remove(&item)
        };
        if let Some(day) = self.stage.day(at) {
            self.course.settled[self.stage.matter(item) * self.course.days + day] += step;
        }
    }
}

/// Whether a guardian has said what settles an item for her.
fn answered(board: &Board, record: &Record, guardian: GuardianId, item: Item) -> bool {
    standing::standing(board, record, guardian, item).is_answered()
}
