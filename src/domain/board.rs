//! A season with everything that follows from it alone, worked out once for each version of it.

use super::due::{self, Due};
use super::facts::{Facts, Fingerprint, Published};
use super::introduction;
use super::itinerary::{Itinerary, Programme};
use super::season::{
    About, Care, ChaperoneId, ChildId, EventId, GuardianId, HouseholdId, Notice, Person, Season,
};
use jiff::Timestamp;
use jiff::civil::DateTime;
use std::collections::HashMap;

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

/// A season, its itineraries, their fingerprints and the due times of its notices.
#[derive(Debug)]
pub struct Board {
    /// The season.
    pub season: Season,
    /// Its itineraries.
    pub programme: Programme,
    fingerprints: Vec<Fingerprint>,
    rules: Fingerprint,
    over: Timestamp,
    /// Every due time there is, each once.
    dues: Vec<Due>,
    /// Position in `dues`, for each itinerary and notice; [`NOT_DUE`] where there is none.
    due_of: Vec<u32>,
    season_dues: HashMap<usize, Due>,
    cares_by_household: Vec<Vec<Care>>,
    /// Positions in the season's cares, by person.
    cares_by_person: HashMap<Person, Vec<usize>>,
    people: HashMap<String, Person>,
    events: HashMap<String, EventId>,
    guardians: HashMap<String, GuardianId>,
    households: HashMap<String, HouseholdId>,
    notices: HashMap<String, usize>,
}

impl Board {
    /// Works everything out. Pure; about a millisecond for 350 children.
    pub fn of(season: Season) -> Board {
        let programme = Programme::of(&season);
        let fingerprints = fingerprints(&season, &programme);
        let mut cares_by_household = vec![Vec::new(); season.households.len()];
        let mut cares_by_person: HashMap<Person, Vec<usize>> = HashMap::new();
        for (at, care) in season.cares.iter().enumerate() {
            cares_by_household[care.household.at()].push(care.clone());
            cares_by_person.entry(care.who).or_default().push(at);
        }
        let mut board = Board {
            fingerprints,
            rules: Facts::of_rules(&season).fingerprint(),
            over: programme.itineraries.iter().map(|it| it.over_at).max().unwrap_or(Timestamp::MAX),
            dues: Vec::new(),
            due_of: Vec::new(),
            season_dues: HashMap::new(),
            cares_by_household,
            cares_by_person,
            people: people(&season),
            events: index(season.events.iter().map(|e| &e.reference), EventId),
            guardians: index(season.guardians.iter().map(|g| &g.reference), GuardianId),
            households: index(season.households.iter().map(|h| &h.reference), HouseholdId),
            notices: season.notices.iter().enumerate().map(|(at, n)| (n.reference.clone(), at)).collect(),
            programme,
            season,
        };
        board.place_notices();
        board
    }

    fn place_notices(&mut self) {
        let looked_after = introduction::looked_after(&self.season.duties);
        // Nobody can be introduced to the family of a child whose numbers have no chaperone yet.
        let to_say = |notice: &Notice, it: &Itinerary| {
            !notice.introduces() || it.numbers.iter().any(|n| looked_after.contains(&(it.event, *n)))
        };
        for (at, notice) in self.season.notices.iter().enumerate() {
            if notice.about == About::Season
                && let Some(due) = due::due(&self.season, notice, None)
            {
                self.season_dues.insert(at, due);
            }
        }
        let notices = self.season.notices.len();
        let mut known: HashMap<(usize, Moments), u32> = HashMap::new();
        self.due_of = vec![NOT_DUE; notices * self.programme.itineraries.len()];
        for (it_at, it) in self.programme.itineraries.iter().enumerate() {
            let moments = Moments::of(it);
            for (at, notice) in self.season.notices.iter().enumerate() {
                if !concerns(&self.season, notice, it) || !to_say(notice, it) {
                    continue;
                }
                let place = known.entry((at, moments)).or_insert_with(|| {
                    let Some(due) = due::due(&self.season, notice, Some(it)) else { return NOT_DUE };
                    self.dues.push(due);
                    self.dues.len() as u32 - 1
                });
                self.due_of[it_at * notices + at] = *place;
            }
        }
    }

    /// The due time of a notice (by position) for an itinerary (by position), if it concerns it.
    pub fn due(&self, itinerary: usize, notice: usize) -> Option<Due> {
        let place = *self.due_of.get(itinerary * self.season.notices.len() + notice)?;
        self.dues.get(place as usize).copied()
    }

    /// The due time of a notice about the season's house rules.
    pub fn season_due(&self, notice: usize) -> Option<Due> {
        self.season_dues.get(&notice).copied()
    }

    /// The cares of one household.
    pub fn cares(&self, household: HouseholdId) -> &[Care] {
        &self.cares_by_household[household.at()]
    }

    /// The itinerary behind an item, if the child is called there.
    pub fn itinerary(&self, item: Item) -> Option<&Itinerary> {
        item.event.and_then(|event| self.programme.get(item.who, event))
    }

    /// The fingerprint of today's facts of an itinerary, by position.
    pub fn fingerprint_at(&self, itinerary: usize) -> Fingerprint {
        self.fingerprints[itinerary]
    }

    /// The fingerprint of today's facts of an item.
    pub fn fingerprint(&self, item: Item) -> Fingerprint {
        match item.event {
            None => self.rules,
            Some(event) => self
                .programme
                .position(item.who, event)
                .map_or_else(|| Facts::cancelled().fingerprint(), |at| self.fingerprints[at]),
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
        let who = *self.people.get(person)?;
        let event = if event == NO_EVENT { None } else { Some(*self.events.get(event)?) };
        Some(Item { who, event })
    }

    /// The guardian of a ref.
    pub fn guardian(&self, reference: &str) -> Option<GuardianId> {
        self.guardians.get(reference).copied()
    }

    /// The household of a ref.
    pub fn household(&self, reference: &str) -> Option<HouseholdId> {
        self.households.get(reference).copied()
    }

    /// The position of a notice by its ref.
    pub fn notice(&self, reference: &str) -> Option<usize> {
        self.notices.get(reference).copied()
    }

    /// The event of a ref.
    pub fn event(&self, reference: &str) -> Option<EventId> {
        self.events.get(reference).copied()
    }

    /// All cares of a child; a chaperone's own.
    pub fn cares_of(&self, who: impl Into<Person>) -> impl Iterator<Item = &Care> {
        let at = self.cares_by_person.get(&who.into()).map_or(&[][..], Vec::as_slice);
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

/// The fingerprint of each itinerary, worked out once for all children who are told the same.
fn fingerprints(season: &Season, programme: &Programme) -> Vec<Fingerprint> {
    let mut known: HashMap<Published<'_>, Fingerprint> = HashMap::new();
    let one = |it| match Published::of(it) {
        Some(published) => *known.entry(published).or_insert_with(|| Facts::of(season, it).fingerprint()),
        None => Facts::of(season, it).fingerprint(),
    };
    programme.itineraries.iter().map(one).collect()
}

fn people(season: &Season) -> HashMap<String, Person> {
    let mut people = index(season.children.iter().map(|c| &c.reference), |at| Person::Child(ChildId(at)));
    let chaperones = season.chaperones.iter().map(|c| &c.reference);
    people.extend(index(chaperones, |at| Person::Chaperone(ChaperoneId(at))));
    people
}

fn index<'a, T>(refs: impl Iterator<Item = &'a String>, make: impl Fn(u32) -> T) -> HashMap<String, T> {
    refs.enumerate().map(|(at, reference)| (reference.clone(), make(at as u32))).collect()
}

fn concerns(season: &Season, notice: &Notice, it: &Itinerary) -> bool {
    if notice.to.of_chaperones() != it.who.is_chaperone() {
        return false;
    }
    match &notice.about {
        About::Season => false,
        About::Kind(kind) => season.events[it.event.at()].kind == *kind,
        About::Events(events) => events.contains(&it.event),
    }
}
