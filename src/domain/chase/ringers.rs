//! Who rings whom: an assignment of all calls at once, not a queue, so that everybody has an even share and families are
//! rung by somebody they know, or who speaks their language.

use super::{Call, ChaseWay};
use crate::domain::assignment::{self, Cost};
use crate::domain::board::{Board, Item};
use crate::domain::record::CallEnd;
use crate::domain::season::{
    Chaperone, ChaperoneId, Contact, EventId, GuardianId, Language, NumberId, Person,
};
use jiff::Timestamp;
use std::collections::{BTreeSet, HashMap, HashSet};

/// What it costs that somebody else than she who was promised a call back rings.
const BROKEN_PROMISE: u32 = 40_000;
/// What it costs that a family is rung in a language it did not ask for: more than several who ring children not theirs.
const OTHER_LANGUAGE: u32 = 20_000;
/// What it costs that the ringer looks after none of the children.
const NOT_HERS: u32 = 4_000;
/// What it costs that the ringer is not even at the events.
const NOT_THERE: u32 = 2_000;
/// What it costs that another chaperone rings than the last one who tried.
const ANOTHER: u32 = 1_000;
/// What each further call of one ringer costs above the one before: it decides between equals only.
const EACH_MORE: u32 = 1;

/// Why a chaperone rings a family.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kinship {
    /// She looks after one of the children at one of the events.
    pub hers: bool,
    /// She speaks the language the family asked for, where it is not the season's.
    pub speaks: bool,
}

/// Chaperones who ring: of age, with a number of their own to ring from, and a duty that is not over.
pub(super) fn ringers(board: &Board, now: Timestamp) -> Vec<ChaperoneId> {
    let on_duty = |id: ChaperoneId| {
        let mut own = board.programme.of_person(Person::Chaperone(id));
        own.any(|at| board.programme[at].over_at > now)
    };
    (0_u32..)
        .zip(&board.season.chaperones)
        .filter(|(_, chaperone)| chaperone.adult && chaperone.contact.phone.is_some())
        .map(|(at, _)| ChaperoneId(at))
        .filter(|id| on_duty(*id))
        .collect()
}

/// Gives every call that can be made by telephone to a ringer; answers how many each takes at most.
pub(super) fn share_out(board: &Board, ringers: &[ChaperoneId], calls: &mut [Call]) -> usize {
    let mut by_phone: Vec<&mut Call> =
        calls.iter_mut().filter(|call| matches!(call.way, ChaseWay::Ring(_))).collect();
    if ringers.is_empty() || by_phone.is_empty() {
        return 0;
    }
    let share = by_phone.len().div_ceil(ringers.len());
    let team = Team::of(board, ringers);
    let costs: Vec<Vec<Cost>> = by_phone
        .iter()
        .map(|call| ringers.iter().map(|ringer| team.cost(board, *ringer, call)).collect())
        .collect();
    let given = assignment::share_out(&costs, &vec![share; ringers.len()], EACH_MORE);
    for (call, ringer) in by_phone.iter_mut().zip(given) {
        call.ringer = ringer.map(|at| ringers[at]);
    }
    share
}

impl Call {
    /// Why its ringer rings; none if nobody does.
    pub fn kinship(&self, board: &Board) -> Option<Kinship> {
        let ringer = self.ringer?;
        let wanted = &board.season.guardians[self.guardian.at()].contact.language;
        let foreign = !same_tongue(wanted, &board.season.language);
        Some(Kinship {
            hers: Team::of(board, &[ringer]).looks_after(board, ringer, self),
            speaks: foreign && speaks(&board.season.chaperones[ringer.at()], wanted),
        })
    }
}

/// Whether a chaperone speaks a language, whatever the country.
pub fn speaks(chaperone: &Chaperone, language: &Language) -> bool {
    let mut tongues = chaperone.speaks.iter().chain([&chaperone.contact.language]);
    tongues.any(|tongue| same_tongue(tongue, language))
}

fn same_tongue(a: &Language, b: &Language) -> bool {
    let primary = |language: &Language| language.0.split('-').next().unwrap_or_default().to_owned();
    primary(a) == primary(b)
}

/// What is looked up again and again.
struct Team {
    numbers: HashMap<(EventId, NumberId), Vec<ChaperoneId>>,
    there: HashSet<(ChaperoneId, EventId)>,
    /// Guardians who are the chaperone herself, and the people she answers for.
    herself: HashMap<ChaperoneId, BTreeSet<GuardianId>>,
    family: HashMap<ChaperoneId, BTreeSet<Person>>,
}

impl Team {
    fn of(board: &Board, ringers: &[ChaperoneId]) -> Team {
        let season = &board.season;
        let mut team = Team {
            numbers: HashMap::new(),
            there: HashSet::new(),
            herself: HashMap::new(),
            family: HashMap::new(),
        };
        for duty in season.duties.iter().filter(|duty| ringers.contains(&duty.chaperone)) {
            team.there.insert((duty.chaperone, duty.event));
            if let Some(number) = duty.number {
                team.numbers.entry((duty.event, number)).or_default().push(duty.chaperone);
            }
        }
        for ringer in ringers {
            let own = &season.chaperones[ringer.at()].contact;
            let same = |guardian: &GuardianId| is_one(own, &season.guardians[guardian.at()].contact);
            let herself: BTreeSet<GuardianId> =
                (0_u32..).zip(&season.guardians).map(|(at, _)| GuardianId(at)).filter(same).collect();
            let family = season.cares.iter().filter(|care| herself.contains(&care.guardian));
            team.family.insert(*ringer, family.map(|care| care.who).collect());
            team.herself.insert(*ringer, herself);
        }
        team
    }

    fn looks_after(&self, board: &Board, ringer: ChaperoneId, call: &Call) -> bool {
        call.items.iter().filter_map(|item| board.itinerary(*item)).any(|it| {
            let mut numbers = it.numbers.iter();
            numbers.any(|n| self.numbers.get(&(it.event, *n)).is_some_and(|all| all.contains(&ringer)))
        })
    }

    /// None where she may not: nobody rings herself, nor another household about her own child, whose number she may not know.
    fn cost(&self, board: &Board, ringer: ChaperoneId, call: &Call) -> Cost {
        let own = |item: &Item| self.family.get(&ringer).is_some_and(|all| all.contains(&item.who));
        if self.herself.get(&ringer).is_some_and(|all| all.contains(&call.guardian))
            || call.items.iter().any(own)
        {
            return None;
        }
        let season = &board.season;
        let chaperone = &season.chaperones[ringer.at()];
        let wanted = &season.guardians[call.guardian.at()].contact.language;
        let foreign = !same_tongue(wanted, &season.language);
        let there = |item: &Item| item.event.is_some_and(|event| self.there.contains(&(ringer, event)));
        let last = call.tried.rung.last();
        let tried = last.is_some_and(|rung| rung.by == chaperone.reference);
        let promised = last.is_some_and(|rung| rung.end == CallEnd::WillCallBack);
        let parts = [
            (promised && !tried, BROKEN_PROMISE),
            (foreign && !speaks(chaperone, wanted), OTHER_LANGUAGE),
            (!self.looks_after(board, ringer, call), NOT_HERS),
            (!call.items.iter().any(there), NOT_THERE),
            (!tried, ANOTHER),
        ];
        Some(parts.into_iter().filter(|(holds, _)| *holds).map(|(_, cost)| cost).sum())
    }
}

/// Whether two contacts are one person's: the same number or the same address.
fn is_one(a: &Contact, b: &Contact) -> bool {
    let phone = a.phone.as_ref().zip(b.phone.as_ref()).is_some_and(|(a, b)| a.e164 == b.e164);
    let mail = a.mail.as_ref().zip(b.mail.as_ref());
    phone || mail.is_some_and(|(a, b)| a.0.eq_ignore_ascii_case(&b.0))
}
