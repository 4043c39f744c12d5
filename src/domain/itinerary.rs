//! What one child, or one chaperone, must do at one event, worked out from the season.

use super::in_charge::{InCharge, Signers};
use super::release::{Ends, Release};
use super::running_order::{placed, quick_changes_in};
use super::season::{
    ChaperoneId, Child, ChildId, Dismissal, Event, EventId, NumberId, Person, Place, Season, SignedOutBy,
    Slot,
};
use super::shift::{self, Shift};
use super::unchanged::Unchanged;
use super::{wall, way};
use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Span, Timestamp};
use std::collections::HashMap;
use std::ops::Index;
use std::sync::Arc;

/// Published ends are rounded up to whole steps of this many minutes, so that nobody waits for a stopwatch.
const COLLECT_STEP_MINUTES: u32 = 5;

/// One child's day at one event, or a chaperone's. Local times are the season's wall time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Itinerary {
    /// Whose.
    pub who: Person,
    /// At what.
    pub event: EventId,
    /// The child's numbers there, in the order of the event; those a chaperone looks after.
    pub numbers: Vec<NumberId>,
    /// Earliest call among the child's numbers; for a chaperone so much earlier as the season's lead.
    pub call: DateTime,
    /// The same as an instant.
    pub call_at: Timestamp,
    /// When to have parked; none where the place has no ways.
    pub park_by: Option<DateTime>,
    /// Curtain up.
    pub starts: DateTime,
    /// Not before when to collect; none where the season does not say.
    pub collect_from: Option<Release>,
    /// The instant after which nothing about this event is useful any more.
    pub over_at: Timestamp,
    /// Numbers whose costume is handed in at the end.
    pub turn_in: Vec<NumberId>,
    /// Who signs the child in.
    pub signs_in: Option<ChaperoneId>,
    /// Who signs the child out.
    pub signs_out: Option<ChaperoneId>,
    /// What a chaperone does there; none for a child.
    pub shift: Option<Shift>,
}

impl Itinerary {
    /// When it begins, as far as it concerns this person: none for who is called only after that.
    pub fn begins(&self) -> Option<DateTime> {
        (self.starts >= self.call).then_some(self.starts)
    }
}

/// Where an itinerary stands in its [`Programme`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ItineraryId {
    /// At which event.
    pub event: EventId,
    nth: u32,
}

impl ItineraryId {
    /// Which of its event's it is.
    pub fn nth(self) -> usize {
        self.nth as usize
    }
}

/// Everybody's itineraries at one event: the children's, then the chaperones'.
#[derive(Debug, Default)]
struct Attendance {
    itineraries: Vec<Itinerary>,
    /// Position in `itineraries`, by child; [`ABSENT`] for one who is not called.
    of_child: Vec<u32>,
    /// The same by chaperone.
    of_chaperone: Vec<u32>,
}

/// Not called.
const ABSENT: u32 = u32::MAX;

impl Attendance {
    fn position(&self, who: Person) -> Option<u32> {
        let at = match who {
            Person::Child(child) => self.of_child.get(child.at()),
            Person::Chaperone(chaperone) => self.of_chaperone.get(chaperone.at()),
        };
        at.copied().filter(|at| *at != ABSENT)
    }

    fn put(&mut self, it: Itinerary) {
        let at = self.itineraries.len() as u32;
        let (list, who) = match it.who {
            Person::Child(child) => (&mut self.of_child, child.at()),
            Person::Chaperone(chaperone) => (&mut self.of_chaperone, chaperone.at()),
        };
        if list.len() <= who {
            list.resize(who + 1, ABSENT);
        }
        list[who] = at;
        self.itineraries.push(it);
    }
}

/// Every itinerary of a season, computed once for each version of it.
#[derive(Debug, Clone, Default)]
pub struct Programme {
    /// By event.
    events: Vec<Arc<Attendance>>,
    handed_in: Arc<HandedIn>,
}

/// For each child with a quick change at a show, the numbers changed into: those costumes wait at the theatre.
type HandedIn = HashMap<ChildId, Vec<NumberId>>;

impl Programme {
    /// Works out every itinerary of events that are not called off.
    pub fn of(season: &Season) -> Programme {
        Programme::again(season, None)
    }

    /// As [`Programme::of`]; events about which nothing differs are taken over from an earlier version.
    pub fn again(season: &Season, before: Option<(&Season, &Programme)>) -> Programme {
        let unchanged = before.map(|(old, _)| Unchanged::of(old, season)).unwrap_or_default();
        let shows = season.shows().all(|show| unchanged.event(show));
        let handed_in = match before {
            Some((_, programme)) if shows => Arc::clone(&programme.handed_in),
            _ => Arc::new(handed_in(season)),
        };
        let earlier = before.map(|(_, programme)| programme);
        let as_handed_in = earlier.is_some_and(|earlier| earlier.handed_in == handed_in);
        let of_event = |(id, event): (EventId, &Event)| {
            let known = earlier.filter(|_| unchanged.event(id) && (as_handed_in || !event.turn_in));
            match known {
                Some(earlier) => Arc::clone(&earlier.events[id.at()]),
                None => Arc::new(attendance(season, id, &handed_in)),
            }
        };
        let events = (0_u32..).map(EventId).zip(&season.events).map(of_event).collect();
        Programme { events, handed_in }
    }

    /// Whether everything about an event is as in another version: itineraries and all that they are worked out of.
    pub fn shares(&self, other: &Programme, event: EventId) -> bool {
        match (self.events.get(event.at()), other.events.get(event.at())) {
            (Some(one), Some(other)) => Arc::ptr_eq(one, other),
            _ => false,
        }
    }

    /// How many events there are, called off or not.
    pub fn events(&self) -> usize {
        self.events.len()
    }

    /// Where every itinerary stands: by event, then child; after the children of an event its chaperones.
    pub fn ids(&self) -> impl Iterator<Item = ItineraryId> {
        (0..self.events.len() as u32).flat_map(|event| self.ids_at(EventId(event)))
    }

    /// Where the itineraries of one event stand.
    pub fn ids_at(&self, event: EventId) -> impl Iterator<Item = ItineraryId> + use<> {
        let many = self.events.get(event.at()).map_or(0, |one| one.itineraries.len() as u32);
        (0..many).map(move |nth| ItineraryId { event, nth })
    }

    /// Every itinerary, in that order.
    pub fn itineraries(&self) -> impl Iterator<Item = &Itinerary> {
        self.events.iter().flat_map(|one| &one.itineraries)
    }

    /// The itineraries at one event, in that order.
    pub fn at(&self, event: EventId) -> &[Itinerary] {
        self.events.get(event.at()).map_or(&[], |one| &one.itineraries)
    }

    /// The itinerary of a person at an event, if that person is called there.
    pub fn get(&self, who: impl Into<Person>, event: EventId) -> Option<&Itinerary> {
        self.position(who, event).map(|id| &self[id])
    }

    /// Where the itinerary of a person at an event stands.
    pub fn position(&self, who: impl Into<Person>, event: EventId) -> Option<ItineraryId> {
        let nth = self.events.get(event.at())?.position(who.into())?;
        Some(ItineraryId { event, nth })
    }

    /// Where a person's itineraries stand, in the order of the events.
    pub fn of_person(&self, who: Person) -> impl Iterator<Item = ItineraryId> {
        let places = (0_u32..).map(EventId).zip(&self.events);
        places.filter_map(move |(event, one)| Some(ItineraryId { event, nth: one.position(who)? }))
    }

    /// The children's itineraries at an event, with the children.
    pub fn children_at(&self, event: EventId) -> impl Iterator<Item = (ChildId, &Itinerary)> {
        self.at(event).iter().filter_map(|it| Some((it.who.child()?, it)))
    }
}

impl Index<ItineraryId> for Programme {
    type Output = Itinerary;

    fn index(&self, id: ItineraryId) -> &Itinerary {
        &self.events[id.event.at()].itineraries[id.nth()]
    }
}

/// Everybody's itineraries at an event, nobody's where it is called off.
fn attendance(season: &Season, id: EventId, handed_in: &HandedIn) -> Attendance {
    let event = &season.events[id.at()];
    let mut all = Attendance::default();
    if event.cancelled {
        return all;
    }
    let mut frame = Frame::of(season, id);
    for (child_at, child) in (0_u32..).zip(&season.children).filter(|_| event.for_families()) {
        if let Some(it) = frame.itinerary(id, ChildId(child_at), child, handed_in) {
            all.put(it);
        }
    }
    let mut signed_in: HashMap<ChaperoneId, DateTime> = HashMap::new();
    for it in &all.itineraries {
        if let Some(chaperone) = it.signs_in {
            let first = signed_in.entry(chaperone).or_insert(it.call);
            *first = it.call.min(*first);
        }
    }
    for chaperone in (0..season.chaperones.len()).map(|at| ChaperoneId(at as u32)) {
        if let Some(it) = frame.shift(season, id, chaperone, signed_in.get(&chaperone).copied()) {
            all.put(it);
        }
    }
    all
}

/// What all children of one event share.
struct Frame<'a> {
    event: &'a Event,
    zone: &'a TimeZone,
    place: &'a Place,
    starts: DateTime,
    /// Position in the order and own call of each number.
    calls: HashMap<NumberId, (usize, Option<Time>)>,
    ends_by_number: HashMap<NumberId, u32>,
    in_charge: InCharge,
    back: bool,
    last: Option<DateTime>,
    /// Worked out once for all children who are called at a time.
    arrivals: HashMap<Time, Arrival>,
    /// Worked out once for all children whose last number ends so many seconds from curtain up.
    leavings: HashMap<Option<u32>, (Option<Release>, Timestamp)>,
}

impl<'a> Frame<'a> {
    fn of(season: &'a Season, id: EventId) -> Frame<'a> {
        let event = &season.events[id.at()];
        let starts = event.date.to_datetime(event.starts);
        let order = placed(season, event);
        let calls = event
            .order
            .iter()
            .enumerate()
            .filter_map(|(at, slot)| match slot {
                Slot::Number { number, call, .. } => Some((*number, (at, *call))),
                Slot::Interval(_) => None,
            })
            .collect();
        let zone = &season.zone;
        let computed = order.last().filter(|_| event.ordered).map(|p| after(zone, starts, p.end));
        Frame {
            event,
            zone,
            place: &season.places[event.place.at()],
            starts,
            calls,
            ends_by_number: order.iter().map(|p| (p.number, p.end)).collect(),
            in_charge: InCharge::of(season, id),
            back: season.settings.signed_out_by == SignedOutBy::FirstChaperone,
            // Nobody leaves before the last number, whatever end was announced.
            last: event.ends.map(|end| not_before(starts, event, end)).max(computed),
            arrivals: HashMap::new(),
            leavings: HashMap::new(),
        }
    }

    fn itinerary(
        &mut self,
        id: EventId,
        child_id: ChildId,
        child: &Child,
        handed_in: &HandedIn,
    ) -> Option<Itinerary> {
        if !in_cast(self.event, child) {
            return None;
        }
        let mut numbers: Vec<NumberId> =
            child.castings.iter().map(|c| c.number).filter(|n| self.calls.contains_key(n)).collect();
        numbers.sort_by_key(|number| self.calls[number].0);
        let call_time = numbers.iter().map(|n| self.calls[n].1.unwrap_or(self.event.call)).min()?;
        let Signers { signs_in, signs_out } = self.in_charge.signers(&numbers, self.back);
        let Arrival { call, call_at, park_by } = self.arrival(call_time);
        let (collect_from, over_at) = self.leaving(&numbers);
        Some(Itinerary {
            who: Person::Child(child_id),
            event: id,
            call,
            call_at,
            park_by,
            starts: self.starts,
            collect_from,
            over_at,
            turn_in: if self.event.turn_in {
                handed_in.get(&child_id).cloned().unwrap_or_default()
            } else {
                Vec::new()
            },
            signs_in,
            signs_out,
            shift: None,
            numbers,
        })
    }

    /// A chaperone's own itinerary; none where she has no duty. She comes before her numbers' children and before the first
    /// child whom she signs in, which may dance a number before hers that nobody leads.
    fn shift(
        &self,
        season: &Season,
        id: EventId,
        chaperone: ChaperoneId,
        signs_in: Option<DateTime>,
    ) -> Option<Itinerary> {
        shift::duties_of(season, chaperone, id).next()?;
        let numbers = shift::numbers_of(season, chaperone, id);
        let own_calls = numbers.iter().filter_map(|n| self.calls.get(n)?.1).min();
        let children = self.event.date.to_datetime(own_calls.map_or(self.event.call, |own| {
            // A number without a call of its own has the event's.
            let all_own = numbers.iter().all(|n| self.calls.get(n).is_some_and(|(_, call)| call.is_some()));
            if all_own { own } else { own.min(self.event.call) }
        }));
        let children = signs_in.map_or(children, |first| first.min(children));
        let call = shift::arrives(season, self.event, children);
        let longest = self.place.ways.iter().map(|w| w.walk.1).max();
        let until = self.free_from(season, id, chaperone, &numbers);
        Some(Itinerary {
            who: Person::Chaperone(chaperone),
            event: id,
            call,
            call_at: wall::instant(&season.zone, call),
            // Nobody signs her in, so only the walk is counted.
            park_by: longest.map(|walk| way::park_by(call, walk, 0)),
            starts: self.starts,
            collect_from: None,
            over_at: wall::instant(&season.zone, until.unwrap_or(self.starts).max(self.starts)),
            turn_in: Vec::new(),
            signs_in: None,
            signs_out: None,
            shift: Some(shift::shift(season, chaperone, id, &self.in_charge, (children, until))),
            numbers,
        })
    }

    /// When a chaperone's part is over: with the event, or where children go after their slots with the last of hers.
    fn free_from(
        &self,
        season: &Season,
        id: EventId,
        chaperone: ChaperoneId,
        numbers: &[NumberId],
    ) -> Option<DateTime> {
        let after_slots = self.event.by_slots() && self.event.dismissal == Dismissal::AfterOwnLastNumber;
        let with_numbers = shift::duties_of(season, chaperone, id).all(|duty| duty.number.is_some());
        let own = numbers.iter().filter_map(|number| self.ends_by_number.get(number)).max();
        match own.filter(|_| after_slots && with_numbers) {
            Some(end) => Some(after(self.zone, self.starts, *end)),
            None => self.last,
        }
    }

    /// How children who are called at a time of the day arrive.
    fn arrival(&mut self, call: Time) -> Arrival {
        let Frame { event, zone, place, .. } = *self;
        *self.arrivals.entry(call).or_insert_with(|| {
            let call = event.date.to_datetime(call);
            let longest = place.ways.iter().map(|w| w.walk.1).max();
            Arrival {
                call,
                call_at: wall::instant(zone, call),
                park_by: longest.map(|walk| way::park_by(call, walk, place.sign_in_minutes)),
            }
        })
    }

    /// From when a child of some numbers may be collected, and from when on nothing about its day is useful.
    fn leaving(&mut self, numbers: &[NumberId]) -> (Option<Release>, Timestamp) {
        let Frame { event, zone, starts, last, .. } = *self;
        let own = numbers.iter().filter_map(|n| self.ends_by_number.get(n)).max().copied();
        let own = own.filter(|_| event.ordered);
        *self.leavings.entry(own).or_insert_with(|| {
            let ends = Ends { event: last, own: own.map(|end| after(zone, starts, end)) };
            let collect_from = Release::by(event.dismissal, ends, |time| not_before(starts, event, time));
            let over = collect_from.map(Release::at).or(last).unwrap_or(starts).max(starts);
            (collect_from, wall::instant(zone, over))
        })
    }
}

/// How a child arrives.
#[derive(Debug, Clone, Copy)]
struct Arrival {
    call: DateTime,
    call_at: Timestamp,
    park_by: Option<DateTime>,
}

/// Whether a child performs at an event as far as casts go.
pub fn in_cast(event: &Event, child: &Child) -> bool {
    match &event.cast {
        Some(cast) => child.casts.is_empty() || child.casts.contains(cast),
        None => true,
    }
}

/// A local time of the event that belongs after its start; earlier clock times are after midnight.
fn not_before(starts: DateTime, event: &Event, time: Time) -> DateTime {
    let at = event.date.to_datetime(time);
    if at < starts { at.saturating_add(Span::new().days(1)) } else { at }
}

/// Curtain up plus seconds, rounded up to the published step, as a clock on the wall shows it. Where the clocks went back
/// meanwhile it is the first wall time that means no earlier moment, since an hour that occurs twice means the first.
fn after(zone: &TimeZone, starts: DateTime, seconds: u32) -> DateTime {
    let step = COLLECT_STEP_MINUTES * 60;
    let past_hour = starts.minute() as u32 * 60 + starts.second() as u32;
    let rounded = (past_hour + seconds).div_ceil(step) * step - past_hour;
    let began = wall::instant(zone, starts);
    let end = began.checked_add(SignedDuration::from_secs(i64::from(rounded))).unwrap_or(began);
    let mut shown = wall::local(zone, end);
    while wall::instant(zone, shown) < end {
        shown = shown.saturating_add(Span::new().seconds(i64::from(step)));
    }
    shown
}

fn handed_in(season: &Season) -> HandedIn {
    let mut out = HandedIn::new();
    let shows = season.shows().map(|show| &season.events[show.at()]).filter(|show| show.ordered);
    let shows: Vec<_> = shows.map(|show| (show, placed(season, show))).collect();
    for (at, child) in season.children.iter().enumerate() {
        let mut numbers: Vec<NumberId> = shows
            .iter()
            .filter(|(show, _)| in_cast(show, child))
            .flat_map(|(_, order)| quick_changes_in(season, order, child))
            .map(|(_, into)| into)
            .collect();
        numbers.sort();
        numbers.dedup();
        if !numbers.is_empty() {
            out.insert(ChildId(at as u32), numbers);
        }
    }
    out
}
