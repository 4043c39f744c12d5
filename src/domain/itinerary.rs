//! What one child, or one chaperone, must do at one event, worked out from the season.

use super::release::{Ends, Release};
use super::running_order::{placed, quick_changes};
use super::season::{
    ChaperoneId, Child, ChildId, Event, EventId, EventKind, NumberId, Person, Place, Season, Slot,
};
use super::shift::{self, Shift};
use super::{wall, way};
use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Span, Timestamp};
use std::collections::HashMap;

/// Published ends are rounded up to whole steps of this many minutes, so that nobody waits for a stopwatch.
const COLLECT_STEP_MINUTES: u32 = 5;

/// One child's day at one event, or a chaperone's. Local times are the season's wall time.
#[derive(Debug, Clone)]
pub struct Itinerary {
    /// Whose.
    pub who: Person,
    /// At what.
    pub event: EventId,
    /// The child's numbers there, in order; those a chaperone looks after.
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

/// Every itinerary of a season, computed once for each version of it.
#[derive(Debug, Default)]
pub struct Programme {
    /// By event, then child; after the children of an event its chaperones.
    pub itineraries: Vec<Itinerary>,
    by_pair: HashMap<(Person, EventId), usize>,
    by_person: HashMap<Person, Vec<usize>>,
}

impl Programme {
    /// Works out every itinerary of events that are not called off.
    pub fn of(season: &Season) -> Programme {
        let mut programme = Programme::default();
        let signers = Signers::of(season);
        let handed_in = handed_in(season);
        for (at, event) in season.events.iter().enumerate().filter(|(_, e)| !e.cancelled) {
            let id = EventId(at as u32);
            let frame = Frame::of(season, event);
            for (child_at, child) in season.children.iter().enumerate() {
                if let Some(it) =
                    frame.itinerary(season, id, ChildId(child_at as u32), child, &signers, &handed_in)
                {
                    programme.push(it);
                }
            }
            for chaperone in (0..season.chaperones.len()).map(|at| ChaperoneId(at as u32)) {
                if let Some(it) = frame.shift(season, id, chaperone) {
                    programme.push(it);
                }
            }
        }
        programme
    }

    fn push(&mut self, it: Itinerary) {
        let at = self.itineraries.len();
        self.by_pair.insert((it.who, it.event), at);
        self.by_person.entry(it.who).or_default().push(at);
        self.itineraries.push(it);
    }

    /// The itinerary of a person at an event, if that person is called there.
    pub fn get(&self, who: impl Into<Person>, event: EventId) -> Option<&Itinerary> {
        self.by_pair.get(&(who.into(), event)).map(|&at| &self.itineraries[at])
    }

    /// Position in [`Programme::itineraries`] of a person at an event.
    pub fn position(&self, who: impl Into<Person>, event: EventId) -> Option<usize> {
        self.by_pair.get(&(who.into(), event)).copied()
    }

    /// Positions in [`Programme::itineraries`] of a person's itineraries, soonest event first.
    pub fn of_person(&self, who: Person) -> &[usize] {
        self.by_person.get(&who).map_or(&[], Vec::as_slice)
    }

    /// The children's itineraries at an event, with the children.
    pub fn children_at(&self, event: EventId) -> impl Iterator<Item = (ChildId, &Itinerary)> {
        let at_event = self.itineraries.iter().filter(move |it| it.event == event);
        at_event.filter_map(|it| Some((it.who.child()?, it)))
    }
}

/// What all children of one event share.
struct Frame<'a> {
    event: &'a Event,
    zone: &'a TimeZone,
    place: &'a Place,
    starts: DateTime,
    calls: HashMap<NumberId, Option<Time>>,
    ends_by_number: HashMap<NumberId, u32>,
    last: Option<DateTime>,
}

impl<'a> Frame<'a> {
    fn of(season: &'a Season, event: &'a Event) -> Frame<'a> {
        let starts = event.date.to_datetime(event.starts);
        let order = placed(season, event);
        let calls = event
            .order
            .iter()
            .filter_map(|slot| match slot {
                Slot::Number { number, call } => Some((*number, *call)),
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
            // Nobody leaves before the last number, whatever end was announced.
            last: event.ends.map(|end| not_before(starts, event, end)).max(computed),
        }
    }

    fn itinerary(
        &self,
        season: &Season,
        id: EventId,
        child_id: ChildId,
        child: &Child,
        signers: &Signers,
        handed_in: &HashMap<ChildId, Vec<NumberId>>,
    ) -> Option<Itinerary> {
        if !in_cast(self.event, child) {
            return None;
        }
        let numbers: Vec<NumberId> =
            child.castings.iter().map(|c| c.number).filter(|n| self.calls.contains_key(n)).collect();
        let call_time = numbers.iter().map(|n| self.calls[n].unwrap_or(self.event.call)).min()?;
        let call = self.event.date.to_datetime(call_time);
        let longest = self.place.ways.iter().map(|w| w.walk.1).max();
        let ends = Ends { event: self.last, own: self.own_last(&numbers) };
        let fixed = |time| not_before(self.starts, self.event, time);
        let collect_from = Release::by(self.event.dismissal, ends, fixed);
        let over = collect_from.map(Release::at).or(self.last).unwrap_or(self.starts).max(self.starts);
        Some(Itinerary {
            who: Person::Child(child_id),
            event: id,
            call,
            call_at: wall::instant(&season.zone, call),
            park_by: longest.map(|walk| way::park_by(call, walk, self.place.sign_in_minutes)),
            starts: self.starts,
            collect_from,
            over_at: wall::instant(&season.zone, over),
            turn_in: if self.event.turn_in {
                handed_in.get(&child_id).cloned().unwrap_or_default()
            } else {
                Vec::new()
            },
            signs_in: signers.find(&signers.ins, id, &numbers),
            signs_out: signers.find(&signers.outs, id, &numbers),
            shift: None,
            numbers,
        })
    }

    /// A chaperone's own itinerary; none where she has no duty.
    fn shift(&self, season: &Season, id: EventId, chaperone: ChaperoneId) -> Option<Itinerary> {
        shift::duties_of(season, chaperone, id).next()?;
        let numbers = shift::numbers_of(season, chaperone, id);
        let own_calls = numbers.iter().filter_map(|n| *self.calls.get(n)?).min();
        let children = self.event.date.to_datetime(own_calls.map_or(self.event.call, |own| {
            // A number without a call of its own has the event's.
            let all_own = numbers.iter().all(|n| self.calls.get(n).is_some_and(Option::is_some));
            if all_own { own } else { own.min(self.event.call) }
        }));
        let call = shift::arrives(season, self.event, children);
        let longest = self.place.ways.iter().map(|w| w.walk.1).max();
        Some(Itinerary {
            who: Person::Chaperone(chaperone),
            event: id,
            call,
            call_at: wall::instant(&season.zone, call),
            // Nobody signs her in, so only the walk is counted.
            park_by: longest.map(|walk| way::park_by(call, walk, 0)),
            starts: self.starts,
            collect_from: None,
            over_at: wall::instant(&season.zone, self.last.unwrap_or(self.starts).max(self.starts)),
            turn_in: Vec::new(),
            signs_in: None,
            signs_out: None,
            shift: Some(shift::shift(season, chaperone, id, children, self.last)),
            numbers,
        })
    }

    fn own_last(&self, numbers: &[NumberId]) -> Option<DateTime> {
        if !self.event.ordered {
            return None;
        }
        numbers
            .iter()
            .filter_map(|n| self.ends_by_number.get(n))
            .max()
            .map(|&end| after(self.zone, self.starts, end))
    }
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

/// Who signs children in and out, by event and number.
struct Signers {
    ins: HashMap<(EventId, NumberId), ChaperoneId>,
    outs: HashMap<(EventId, NumberId), ChaperoneId>,
}

impl Signers {
    fn of(season: &Season) -> Signers {
        let mut signers = Signers { ins: HashMap::new(), outs: HashMap::new() };
        for duty in &season.duties {
            let Some(number) = duty.number else { continue };
            if duty.signs_in {
                signers.ins.entry((duty.event, number)).or_insert(duty.chaperone);
            }
            if duty.signs_out {
                signers.outs.entry((duty.event, number)).or_insert(duty.chaperone);
            }
        }
        signers
    }

    /// The first of the child's numbers that has a signer decides.
    fn find(
        &self,
        map: &HashMap<(EventId, NumberId), ChaperoneId>,
        event: EventId,
        numbers: &[NumberId],
    ) -> Option<ChaperoneId> {
        numbers.iter().find_map(|n| map.get(&(event, *n)).copied())
    }
}

/// For each child with a quick change at a show, the numbers changed into: those costumes wait at the theatre.
fn handed_in(season: &Season) -> HashMap<ChildId, Vec<NumberId>> {
    let mut out: HashMap<ChildId, Vec<NumberId>> = HashMap::new();
    let shows: Vec<&Event> =
        season.events.iter().filter(|e| e.kind == EventKind::Show && !e.cancelled).collect();
    for (at, child) in season.children.iter().enumerate() {
        let mut numbers: Vec<NumberId> = shows
            .iter()
            .filter(|show| in_cast(show, child))
            .flat_map(|show| quick_changes(season, show, child))
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
