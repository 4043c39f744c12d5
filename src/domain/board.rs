//! A season with everything that follows from it alone, worked out once for each version of it.

use super::due::{self, Due};
use super::facts::{Facts, Fingerprint, Published};
use super::introduction;
use super::itinerary::{Itinerary, ItineraryId, Programme};
use super::season::{
    About, Care, ChaperoneId, ChildId, EventId, GuardianId, HouseholdId, Notice, NumberId, People, Person,
    Season,
};
use jiff::Timestamp;
use jiff::civil::DateTime;
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

/// What somebody answers for: a child or her own duties at an event, or (no event) the season's house rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Item {
    /// Whom it is about.
    pub who: Person,
    /// The event; none for the season's house rules.
    pub event: Option<EventId>,
}

/// The word that stands for "no event" in refs of items.
pub const NO_EVENT: &str = "-";

/// No due time.
const NOT_DUE: u32 = u32::MAX;

/// What is told of one event, and when.
#[derive(Debug)]
struct Tellings {
    /// By itinerary.
    fingerprints: Vec<Fingerprint>,
    /// Every due time there is, each once.
    dues: Vec<Due>,
    /// Position in `dues`, for each itinerary and notice; [`NOT_DUE`] where there is none.
    due_of: Vec<u32>,
}

/// A season, its itineraries, their fingerprints and the due times of its notices.
#[derive(Debug)]
pub struct Board {
    /// The season.
    pub season: Season,
    /// Its itineraries.
    pub programme: Programme,
    /// What is told of each event, and when.
    told: Vec<Arc<Tellings>>,
    rules: Fingerprint,
    over: Timestamp,
    season_dues: HashMap<usize, Due>,
    people: Arc<Directory>,
    events: HashMap<String, EventId>,
    notices: HashMap<String, usize>,
}

/// Who people are by their refs, and who answers for whom.
#[derive(Debug)]
struct Directory {
    cares_by_household: Vec<Vec<Care>>,
    /// Positions in the season's cares, by person.
    cares_by_person: HashMap<Person, Vec<usize>>,
    /// The same by guardian.
    cares_by_guardian: Vec<Vec<usize>>,
    people: HashMap<String, Person>,
    guardians: HashMap<String, GuardianId>,
    households: HashMap<String, HouseholdId>,
}

impl Board {
    /// Works everything out. Pure; about a millisecond for 350 children.
    pub fn of(season: Season) -> Board {
        let programme = Programme::of(&season);
        Board::with(season, programme, None)
    }

    /// As [`Board::of`], of itineraries worked out already; what is told of events about which nothing differs is taken over
    /// from an earlier version.
    pub fn with(season: Season, programme: Programme, before: Option<&Board>) -> Board {
        let looked_after = introduction::looked_after(&season.duties);
        let of_event = |id: EventId| {
            let known = before.filter(|before| programme.shares(&before.programme, id));
            match known.and_then(|before| before.told.get(id.at())) {
                Some(told) => Arc::clone(told),
                None => Arc::new(Tellings::of(&season, programme.at(id), &looked_after)),
            }
        };
        let told = (0..programme.events() as u32).map(|event| of_event(EventId(event))).collect();
        let people = match before {
            Some(before) if Arc::ptr_eq(&before.season.people, &season.people) => Arc::clone(&before.people),
            _ => Arc::new(Directory::of(&season.people)),
        };
        let dues = season.notices.iter().enumerate().filter(|(_, notice)| notice.about == About::Season);
        let season_dues =
            dues.filter_map(|(at, notice)| Some((at, due::due(&season, notice, None)?))).collect();
        Board {
            told,
            rules: Facts::of_rules(&season).fingerprint(),
            over: programme.itineraries().map(|it| it.over_at).max().unwrap_or(Timestamp::MAX),
            season_dues,
            people,
            events: index(season.events.iter().map(|e| &e.reference), EventId),
            notices: season.notices.iter().enumerate().map(|(at, n)| (n.reference.clone(), at)).collect(),
            programme,
            season,
        }
    }

    /// The due time of a notice (by position) for an itinerary, if it concerns it.
    pub fn due(&self, itinerary: ItineraryId, notice: usize) -> Option<Due> {
        let told = self.told.get(itinerary.event.at())?;
        let place = *told.due_of.get(itinerary.nth() * self.season.notices.len() + notice)?;
        told.dues.get(place as usize).copied()
    }

    /// The due time of a notice about the season's house rules.
    pub fn season_due(&self, notice: usize) -> Option<Due> {
        self.season_dues.get(&notice).copied()
    }

    /// The cares of one household.
    pub fn cares(&self, household: HouseholdId) -> &[Care] {
        &self.people.cares_by_household[household.at()]
    }

    /// The itinerary behind an item, if the child is called there.
    pub fn itinerary(&self, item: Item) -> Option<&Itinerary> {
        item.event.and_then(|event| self.programme.get(item.who, event))
    }

    /// The fingerprint of today's facts of an itinerary.
    pub fn fingerprint_at(&self, itinerary: ItineraryId) -> Fingerprint {
        self.told[itinerary.event.at()].fingerprints[itinerary.nth()]
    }

    /// The fingerprint of today's facts of an item.
    pub fn fingerprint(&self, item: Item) -> Fingerprint {
        match item.event {
            None => self.rules,
            Some(event) => self
                .programme
                .position(item.who, event)
                .map_or_else(|| Facts::cancelled().fingerprint(), |at| self.fingerprint_at(at)),
        }
    }

    /// Today's facts of an item.
    pub fn facts(&self, item: Item) -> Facts {
        Facts::today(&self.season, &self.programme, item.who, item.event)
    }

    /// From when on nothing about an item is useful any more.
    pub fn over_at(&self, item: Item) -> Timestamp {
        match (item.event, self.itinerary(item)) {
            (_, Some(it)) => it.over_at,
            (Some(event), None) => self.season.curtain_up(event),
            (None, None) => self.over,
        }
    }

    /// Before which instant a change of an item must be known to be of any help.
    pub fn needed_by(&self, item: Item) -> Timestamp {
        self.itinerary(item).map_or_else(|| self.over_at(item), |it| it.call_at)
    }

    /// The refs of an item, person and event, [`NO_EVENT`] for the season's house rules.
    pub fn item_refs(&self, item: Item) -> (&str, &str) {
        let event = item.event.map_or(NO_EVENT, |e| self.season.events[e.at()].reference.as_str());
        (self.season.reference_of(item.who), event)
    }

    /// The item of two refs; none if either row is gone.
    pub fn item(&self, person: &str, event: &str) -> Option<Item> {
        let who = *self.people.people.get(person)?;
        let event = if event == NO_EVENT { None } else { Some(*self.events.get(event)?) };
        Some(Item { who, event })
    }

    /// The guardian of a ref.
    pub fn guardian(&self, reference: &str) -> Option<GuardianId> {
        self.people.guardians.get(reference).copied()
    }

    /// The household of a ref.
    pub fn household(&self, reference: &str) -> Option<HouseholdId> {
        self.people.households.get(reference).copied()
    }

    /// The position of a notice by its ref.
    pub fn notice(&self, reference: &str) -> Option<usize> {
        self.notices.get(reference).copied()
    }

    /// The event of a ref.
    pub fn event(&self, reference: &str) -> Option<EventId> {
        self.events.get(reference).copied()
    }

    /// For whom a guardian answers, in every household.
    pub fn cares_by(&self, guardian: GuardianId) -> impl Iterator<Item = &Care> {
        self.people.cares_by_guardian[guardian.at()].iter().map(|at| &self.season.cares[*at])
    }

    /// All cares of a child; a chaperone's own.
    pub fn cares_of(&self, who: impl Into<Person>) -> impl Iterator<Item = &Care> {
        let at = self.people.cares_by_person.get(&who.into()).map_or(&[][..], Vec::as_slice);
        at.iter().map(|at| &self.season.cares[*at])
    }
}

/// The moments of an itinerary that notices are counted from: those who share them share every due time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
struct Moments {
    event: EventId,
    call_at: Timestamp,
    park_by: Option<DateTime>,
    starts: DateTime,
    over_at: Timestamp,
}

impl Moments {
    fn of(it: &Itinerary) -> Moments {
        let Itinerary { event, call_at, park_by, starts, over_at, .. } = it;
        Moments { event: *event, call_at: *call_at, park_by: *park_by, starts: *starts, over_at: *over_at }
    }
}

impl Tellings {
    /// Fingerprints are worked out once for all children who are told the same, due times once for all whose moments are.
    fn of(
        season: &Season,
        itineraries: &[Itinerary],
        looked_after: &BTreeSet<(EventId, NumberId)>,
    ) -> Tellings {
        let mut known: HashMap<Published<'_>, Fingerprint> = HashMap::new();
        let one = |it| match Published::of(it) {
            Some(published) => *known.entry(published).or_insert_with(|| Facts::of(season, it).fingerprint()),
            None => Facts::of(season, it).fingerprint(),
        };
        let fingerprints = itineraries.iter().map(one).collect();
        // Nobody can be introduced to the family of a child whose numbers have no chaperone yet.
        let to_say = |notice: &Notice, it: &Itinerary| {
            !notice.introduces() || it.numbers.iter().any(|n| looked_after.contains(&(it.event, *n)))
        };
        let (mut dues, mut due_of) = (Vec::new(), vec![NOT_DUE; season.notices.len() * itineraries.len()]);
        let mut placed: HashMap<(usize, Moments), u32> = HashMap::new();
        for (it, due_of) in itineraries.iter().zip(due_of.chunks_mut(season.notices.len().max(1))) {
            let moments = Moments::of(it);
            for (at, notice) in season.notices.iter().enumerate() {
                if !concerns(season, notice, it) || !to_say(notice, it) {
                    continue;
                }
                due_of[at] = *placed.entry((at, moments)).or_insert_with(|| {
                    let Some(due) = due::due(season, notice, Some(it)) else { return NOT_DUE };
                    dues.push(due);
                    dues.len() as u32 - 1
                });
            }
        }
        Tellings { fingerprints, dues, due_of }
    }
}

impl Directory {
    fn of(all: &People) -> Directory {
        let mut cares_by_household = vec![Vec::new(); all.households.len()];
        let mut cares_by_person: HashMap<Person, Vec<usize>> = HashMap::new();
        let mut cares_by_guardian = vec![Vec::new(); all.guardians.len()];
        for (at, care) in all.cares.iter().enumerate() {
            cares_by_household[care.household.at()].push(care.clone());
            cares_by_person.entry(care.who).or_default().push(at);
            cares_by_guardian[care.guardian.at()].push(at);
        }
        let mut people = index(all.children.iter().map(|c| &c.reference), |at| Person::Child(ChildId(at)));
        let chaperones = all.chaperones.iter().map(|c| &c.reference);
        people.extend(index(chaperones, |at| Person::Chaperone(ChaperoneId(at))));
        Directory {
            cares_by_household,
            cares_by_person,
            cares_by_guardian,
            people,
            guardians: index(all.guardians.iter().map(|g| &g.reference), GuardianId),
            households: index(all.households.iter().map(|h| &h.reference), HouseholdId),
        }
    }
}

fn index<'a, T>(refs: impl Iterator<Item = &'a String>, make: impl Fn(u32) -> T) -> HashMap<String, T> {
    refs.enumerate().map(|(at, reference)| (reference.clone(), make(at as u32))).collect()
}

fn concerns(season: &Season, notice: &Notice, it: &Itinerary) -> bool {
    if notice.to.of_chaperones() != it.who.is_chaperone() {
        return false;
    }
    notice.about.covers(it.event, season.events[it.event.at()].kind)
}
