//! One performance worked out to the second: when each number gets ready and starts, every child's turnarounds, who has
//! which children in care, and how long the door takes.
//!
//! Times are whole seconds from curtain up, negative before it; [`Day::clock`] turns them into what a clock on the wall
//! shows then, after a clock change too.
//! What depends on a running order is empty for an event without one.

pub mod care;
pub mod difference;
pub mod door;
pub mod next;
pub mod order;
pub mod own;
pub mod rooms;
pub mod running;
pub mod turns;

use super::in_charge::InCharge;
use super::itinerary::in_cast;
use super::running_order::placed_in;
use super::season::{
    CallNames, ChaperoneId, Child, ChildId, Event, EventId, EventKind, NumberId, Season, Side, Slot,
};
use super::wall;
use jiff::civil::DateTime;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeSet, HashMap};
use turns::Turn;

/// Beginners stand ready so long before an act starts, seconds (5 minutes: British use; common practice elsewhere).
pub const BEGINNERS_SECONDS: i64 = 5 * 60;

/// The British calls before curtain up and how many minutes before it each is given.
const BRITISH: &[(&str, i64)] = &[("the half", 35), ("the quarter", 20), ("the five", 10), ("beginners", 5)];
/// The North American ones.
const NORTH_AMERICAN: &[(&str, i64)] =
    &[("half hour", 30), ("fifteen minutes", 15), ("five minutes", 5), ("places", 0)];

/// One number in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timed {
    /// Which number.
    pub number: NumberId,
    /// Its own call, at an event by slots.
    pub call: Option<i64>,
    /// Seconds from curtain up to its first step.
    pub starts: i64,
    /// Seconds from curtain up to its last.
    pub ends: i64,
    /// Intervals before it.
    pub act: u32,
    /// Numbers of one stretch follow each other without an interval and without a call of their own.
    pub stretch: u32,
    /// When it is called to get ready.
    pub ready: i64,
    /// It is called with the beginners of its act.
    pub beginner: bool,
}

impl Timed {
    /// Seconds from its ready call to its start: the lead in time, beside the one in numbers.
    pub fn lead(&self) -> i64 {
        self.starts - self.ready
    }
}

/// A child's part in one number of the day.
#[derive(Debug, Clone, Copy)]
pub struct Part {
    /// Who.
    pub child: ChildId,
    /// Position of the number in [`Day::numbers`].
    pub at: usize,
    /// Position of the number whose chaperones have the child until this one is over; none where nobody is named.
    pub with: Option<usize>,
    /// Place in the line-up.
    pub line: Option<u16>,
    /// Side of entrance.
    pub entrance: Option<Side>,
    /// Side of exit.
    pub exit: Option<Side>,
}

/// A performance.
#[derive(Debug)]
pub struct Day<'a> {
    /// The season.
    pub season: &'a Season,
    /// Which event.
    pub id: EventId,
    /// The numbers in running order.
    pub numbers: Vec<Timed>,
    /// Every child's parts, by child and then in running order.
    pub parts: Vec<Part>,
    /// Turnarounds in the order in which children come off, of those who come.
    pub turns: Vec<Turn>,
    /// Children who stand on the lists and are not coming: nobody waits for them or takes them over.
    pub absent: BTreeSet<ChildId>,
    curtain: Timestamp,
    in_charge: InCharge,
}

impl<'a> Day<'a> {
    /// Works an event out. A number twice in the running order counts where it stands first: the workbook refuses it.
    pub fn of(season: &'a Season, id: EventId) -> Day<'a> {
        Day::in_order(season, id, &season.events[id.at()].order)
    }

    /// The same event in another order than the workbook's.
    pub fn in_order(season: &'a Season, id: EventId, order: &[Slot]) -> Day<'a> {
        Day::with(season, id, timed(season, &season.events[id.at()], order))
    }

    /// The same event with numbers that are placed in time already, in running order.
    fn with(season: &'a Season, id: EventId, numbers: Vec<Timed>) -> Day<'a> {
        let event = &season.events[id.at()];
        let in_charge = InCharge::of(season, id);
        let parts = parts(season, event, &numbers, &in_charge);
        let turns = if event.ordered { turns::turns(season, &numbers, &parts) } else { Vec::new() };
        let absent = BTreeSet::new();
        Day { season, id, numbers, parts, turns, absent, curtain: season.curtain_up(id), in_charge }
    }

    /// The same day without some children, who stay on its lists.
    pub fn without(mut self, absent: &BTreeSet<ChildId>) -> Day<'a> {
        self.turns.retain(|turn| !absent.contains(&turn.child));
        self.absent.clone_from(absent);
        self
    }

    /// The parts of each child who comes, in running order.
    fn coming(&self) -> impl Iterator<Item = &[Part]> {
        let of_child = self.parts.chunk_by(|a, b| a.child == b.child);
        of_child.filter(|parts| !self.absent.contains(&parts[0].child))
    }

    /// The event.
    pub fn event(&self) -> &'a Event {
        &self.season.events[self.id.at()]
    }

    /// The chaperones who take the children of a number over, in workbook order; nobody where the children stay with
    /// whoever has them.
    pub fn chaperones(&self, number: NumberId) -> &[ChaperoneId] {
        self.in_charge.chaperones(number)
    }

    /// Everybody whose duties name a number, in workbook order, whether or not she takes its children over.
    pub fn leads(&self, number: NumberId) -> &[ChaperoneId] {
        self.in_charge.leads(number)
    }

    /// Whether a chaperone has anything to do with a number, by position: her duties name it, or children are with her.
    pub fn minds(&self, chaperone: ChaperoneId, at: usize) -> bool {
        let with_her = |part: &Part| part.at == at && self.with_whom(part).contains(&chaperone);
        self.leads(self.numbers[at].number).contains(&chaperone) || self.parts.iter().any(with_her)
    }

    /// The chaperones who have a child from the end of its number before until this one of its parts is over.
    pub fn with_whom(&self, part: &Part) -> &[ChaperoneId] {
        part.with.map_or(&[], |at| self.leads(self.numbers[at].number))
    }

    /// The same for a child and one of its numbers, by position.
    pub fn in_charge(&self, child: ChildId, at: usize) -> &[ChaperoneId] {
        let part = self.of_child(child).iter().find(|part| part.at == at);
        part.map_or(&[], |part| self.with_whom(part))
    }

    /// What a clock on the wall shows at a moment of the day: when the clocks change meanwhile, it has jumped too.
    pub fn clock(&self, seconds: i64) -> DateTime {
        let at = self.curtain.checked_add(SignedDuration::from_secs(seconds)).unwrap_or(self.curtain);
        wall::local(&self.season.zone, at)
    }

    /// The moment of the day of an instant, seconds from curtain up.
    pub fn moment(&self, at: Timestamp) -> i64 {
        at.duration_since(self.curtain).as_secs()
    }

    /// A child's parts, in running order.
    pub fn of_child(&self, child: ChildId) -> &[Part] {
        let from = self.parts.partition_point(|part| part.child < child);
        let to = self.parts.partition_point(|part| part.child <= child);
        &self.parts[from..to]
    }

    /// The parts in one number (by position), as they line up: by place in line, then by name.
    pub fn line_up(&self, at: usize) -> Vec<Part> {
        self.lined_up(self.parts.iter().filter(|part| part.at == at).copied().collect())
    }

    /// [`Day::line_up`] of every number, in running order.
    pub fn line_ups(&self) -> Vec<Vec<Part>> {
        let mut lines = vec![Vec::new(); self.numbers.len()];
        for part in &self.parts {
            lines[part.at].push(*part);
        }
        lines.into_iter().map(|line| self.lined_up(line)).collect()
    }

    fn lined_up(&self, mut line: Vec<Part>) -> Vec<Part> {
        line.sort_by_key(|part| {
            let child = &self.season.children[part.child.at()];
            (part.line.unwrap_or(u16::MAX), &child.given, &child.family, part.child)
        });
        line
    }

    /// Every child on the lists, in workbook order.
    pub fn children(&self) -> Vec<ChildId> {
        let mut children: Vec<ChildId> = self.parts.iter().map(|part| part.child).collect();
        children.dedup();
        children
    }

    /// The calls before curtain up by the season's names for them, with their moments; none where no curtain goes up.
    pub fn calls(&self) -> Vec<(&'static str, i64)> {
        if !matches!(self.event().kind, EventKind::Dress | EventKind::Show) {
            return Vec::new();
        }
        let names = match self.season.settings.call_names {
            CallNames::British => BRITISH,
            CallNames::NorthAmerican => NORTH_AMERICAN,
        };
        names.iter().map(|(name, minutes)| (*name, -minutes * 60)).collect()
    }

    /// Seconds from curtain up to the last step of the last number.
    pub fn ends(&self) -> Option<i64> {
        self.numbers.iter().map(|number| number.ends).max()
    }
}

fn timed(season: &Season, event: &Event, order: &[Slot]) -> Vec<Timed> {
    let mut numbers: Vec<Timed> = Vec::new();
    for place in placed_in(&season.numbers, event, order) {
        if numbers.iter().any(|other| other.number == place.number) {
            continue;
        }
        let (starts, ends) = (i64::from(place.start), i64::from(place.end));
        numbers.push(Timed {
            number: place.number,
            call: place.call,
            starts,
            ends,
            act: place.act,
            stretch: place.stretch,
            ready: starts,
            beginner: false,
        });
    }
    call_ready(season.settings.ready_numbers as usize, &mut numbers);
    numbers
}

/// Works out when each number is called to get ready: from the starts of the others of its act, or by its own call at an
/// event by slots.
fn call_ready(lead: usize, numbers: &mut [Timed]) {
    for act in numbers.chunk_by_mut(|a, b| a.act == b.act) {
        let starts: Vec<i64> = act.iter().map(|number| number.starts).collect();
        for (nth, number) in act.iter_mut().enumerate() {
            let called = nth.checked_sub(lead).map(|before| starts[before]);
            // A lead of no numbers at all means: called when it starts.
            number.ready = number.call.or(called).unwrap_or(starts[0] - BEGINNERS_SECONDS);
            number.beginner = number.call.or(called).is_none();
        }
    }
}

fn parts(season: &Season, event: &Event, numbers: &[Timed], in_charge: &InCharge) -> Vec<Part> {
    let places: HashMap<NumberId, usize> = numbers.iter().enumerate().map(|(at, n)| (n.number, at)).collect();
    let mut parts: Vec<Part> = Vec::new();
    let wanted = |child: &Child| event.for_families() && in_cast(event, child);
    for (nth, child) in (0_u32..).zip(&season.children).filter(|(_, child)| wanted(child)) {
        let begins = parts.len();
        parts.extend(child.castings.iter().filter_map(|casting| {
            Some(Part {
                child: ChildId(nth),
                at: *places.get(&casting.number)?,
                with: None,
                line: casting.line,
                entrance: casting.entrance,
                exit: casting.exit,
            })
        }));
        let own = &mut parts[begins..];
        own.sort_by_key(|part| part.at);
        let danced: Vec<NumberId> = own.iter().map(|part| numbers[part.at].number).collect();
        let with = in_charge.with(&danced);
        let places: Vec<usize> = own.iter().map(|part| part.at).collect();
        for (part, with) in own.iter_mut().zip(with) {
            part.with = with.map(|nth| places[nth]);
        }
    }
    parts
}
