//! A performance as it runs: from what was told of it so far, what has really happened, and everything after it anew.
//!
//! A deed is accepted or refused by what the ones before it have made of the show; a refused one changes nothing, and
//! so does one that was told before. Nothing here is ever a published fact: a child's release stays what the
//! itinerary says, however early the curtain comes down.

use super::order::{OrderShift, Piece, Unmoved, shifted};
use super::{Day, Timed, call_ready};
use crate::domain::running_order::{begins, taken};
use crate::domain::season::{ChildId, Event, EventId, NumberId, Season, Slot};
use std::collections::{BTreeSet, HashMap};

/// The longest hold that can be told at once, minutes (assumption, no source).
pub const HOLD_MINUTES_MAX: u32 = 120;

/// What the house is held before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Before {
    /// An act, counted from 0: the first is curtain up, the others end an interval.
    Act(u32),
    /// A number.
    Number(NumberId),
}

/// Something that was told of the show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShowReport {
    /// A number has begun.
    Begun(NumberId),
    /// A number is over.
    Ended(NumberId),
    /// The house is held for so many minutes.
    Held(Before, u32),
    /// A number is left out.
    Cut(NumberId),
    /// The running order changes; numbers only, none of which has begun.
    Shifted(OrderShift),
    /// A deed, by its id, is taken back as if it had never been told.
    TakenBack(String),
}

/// One thing told, at its moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deed {
    /// What tells it from others; the same again changes nothing.
    pub id: String,
    /// Seconds from the planned curtain up.
    pub at: i64,
    /// What.
    pub act: ShowReport,
}

/// Why a deed was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// The event has no running order.
    NoOrder,
    /// The running order has no such line.
    Missing,
    /// The number has begun.
    Begun(NumberId),
    /// The number is over.
    Over(NumberId),
    /// The number is cut.
    Cut(NumberId),
    /// Another number comes first and has not begun.
    First {
        /// The one that comes first.
        first: NumberId,
        /// The one that was told.
        told: NumberId,
    },
    /// The act has begun, or has no number left.
    NoAct,
    /// Not a length that a hold may have.
    Minutes,
    /// The running order would stay as it is.
    Same,
    /// No deed has that id.
    NoDeed,
    /// The deed was taken back before.
    TakenBack,
    /// What was told later hangs on it.
    HangsOn,
}

impl Refusal {
    /// The reason in plain words, with what to do instead.
    pub fn words(self, season: &Season) -> String {
        let name = |number: NumberId| season.numbers[number.at()].name.as_str();
        match self {
            Refusal::NoOrder => "This event has no running order.".to_owned(),
            Refusal::Missing => "That is not in the running order.".to_owned(),
            Refusal::Begun(number) => format!("{} has begun already.", name(number)),
            Refusal::Over(number) => format!("{} is over already.", name(number)),
            Refusal::Cut(number) => format!("{} is cut. Take the cut back first.", name(number)),
            Refusal::First { first, told } => format!(
                "{} comes before {} and has not been ticked off. Tick it off, cut it or move it first.",
                name(first),
                name(told)
            ),
            Refusal::NoAct => "That part of the show has begun already, or has no number left.".to_owned(),
            Refusal::Minutes => format!("A hold is from 1 to {HOLD_MINUTES_MAX} minutes."),
            Refusal::Same => "It stands there already.".to_owned(),
            Refusal::NoDeed => "There is nothing like that to take back.".to_owned(),
            Refusal::TakenBack => "That was taken back before.".to_owned(),
            Refusal::HangsOn => "Something told later hangs on it. Take that back first.".to_owned(),
        }
    }
}

/// What became of a deed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It counts.
    Done,
    /// It was told before; nothing changed.
    Known,
    /// It does not count.
    Refused(Refusal),
}

/// Where a number is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum StageNow {
    /// Danced.
    Over,
    /// On the stage now.
    On,
    /// Still to come.
    ToCome,
}

/// How far one number is, with what was planned for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Where it is.
    pub stage: StageNow,
    /// Numbers still to begin before it; 0 once it has begun.
    pub ahead: usize,
    /// Its planned start, seconds from curtain up.
    pub planned: i64,
    /// Seconds from its ready call to its start as planned; what is left of them now is [`Timed::lead`].
    pub planned_lead: i64,
}

/// An event as it runs.
#[derive(Debug)]
pub struct Running<'a> {
    /// As the workbook plans it.
    pub planned: Day<'a>,
    /// As it goes: without what is cut, with what really happened, and what is expected of the rest.
    pub day: Day<'a>,
    /// How far each number of [`Running::day`] is.
    pub progress: Vec<Progress>,
    /// Numbers that are cut, in the order in which they were.
    pub cut: Vec<NumberId>,
    /// What became of each deed, in order.
    pub verdicts: Vec<Verdict>,
    /// The moment that was looked at, seconds from the planned curtain up.
    pub now: i64,
    /// The running order as it stands, with what is cut.
    pub order: Vec<Slot>,
}

impl<'a> Running<'a> {
    /// Works an event out from the deeds told of it, in order; nothing that has not happened by `now` (seconds from the
    /// planned curtain up) is expected before it.
    pub fn of(season: &'a Season, id: EventId, deeds: &[Deed], now: i64) -> Running<'a> {
        let planned = Day::of(season, id);
        let (told, verdicts) = judged(&planned, deeds);
        let now = now.max(told.latest);
        let numbers = told.timed(season, &season.events[id.at()], now);
        let mut waiting = 0;
        let progress = numbers
            .iter()
            .map(|timed| {
                let stage = told.stage(timed.number);
                let ahead = if stage == StageNow::ToCome { waiting } else { 0 };
                waiting += usize::from(stage == StageNow::ToCome);
                let plan = planned.numbers.iter().find(|other| other.number == timed.number);
                let plan = plan.unwrap_or(timed);
                Progress { stage, ahead, planned: plan.starts, planned_lead: plan.lead() }
            })
            .collect();
        let day = Day::with(season, id, numbers);
        Running { planned, day, progress, cut: told.cut, verdicts, now, order: told.order }
    }

    /// The same without some children, who stay on the lists.
    pub fn without(mut self, absent: &BTreeSet<ChildId>) -> Running<'a> {
        self.planned = self.planned.without(absent);
        self.day = self.day.without(absent);
        self
    }

    /// What would become of one more deed.
    pub fn verdict(season: &Season, id: EventId, deeds: &[Deed], next: &Deed) -> Verdict {
        let mut deeds = deeds.to_vec();
        deeds.push(next.clone());
        let verdicts = judged(&Day::of(season, id), &deeds).1;
        verdicts.last().copied().unwrap_or(Verdict::Refused(Refusal::NoDeed))
    }

    /// Position of the number that is on now.
    pub fn on(&self) -> Option<usize> {
        self.progress.iter().position(|one| one.stage == StageNow::On)
    }

    /// Position of the number that begins next.
    pub fn next(&self) -> Option<usize> {
        self.progress.iter().position(|one| one.stage == StageNow::ToCome)
    }

    /// Whether the next number begins an act: curtain up, or the end of an interval.
    pub fn between_acts(&self) -> bool {
        let next = self.next();
        next.is_some_and(|next| next == 0 || self.day.numbers[next].act != self.day.numbers[next - 1].act)
            && self.on().is_none()
    }

    /// Whether every number is over.
    pub fn over(&self) -> bool {
        self.progress.iter().all(|one| one.stage == StageNow::Over)
    }

    /// Seconds by which the curtain comes down later than planned; less than nothing is earlier.
    pub fn late(&self) -> i64 {
        self.day.ends().zip(self.planned.ends()).map_or(0, |(live, planned)| live - planned)
    }

    /// The calls before curtain up, moved with it; none once the first number has begun.
    pub fn calls(&self) -> Vec<(&'static str, i64)> {
        match self.next() {
            Some(0) => {
                let up = self.day.numbers[0].starts;
                self.planned.calls().into_iter().map(|(name, at)| (name, at + up)).collect()
            }
            _ => Vec::new(),
        }
    }
}

/// Goes through the deeds: what they make of the show, and what became of each.
fn judged(planned: &Day<'_>, deeds: &[Deed]) -> (Told, Vec<Verdict>) {
    if !planned.event().ordered {
        let refused = vec![Verdict::Refused(Refusal::NoOrder); deeds.len()];
        return (Told::of(planned), refused);
    }
    let mut told = Told::of(planned);
    let mut counted: Vec<&Deed> = Vec::new();
    let mut taken_back: Vec<&str> = Vec::new();
    let mut known: BTreeSet<&str> = BTreeSet::new();
    let mut verdicts = Vec::with_capacity(deeds.len());
    for deed in deeds {
        if known.contains(deed.id.as_str()) {
            verdicts.push(Verdict::Known);
            continue;
        }
        let done = match &deed.act {
            ShowReport::TakenBack(id) => {
                let found = counted.iter().position(|other| other.id == *id);
                match found {
                    None if taken_back.contains(&id.as_str()) => Err(Refusal::TakenBack),
                    None => Err(Refusal::NoDeed),
                    Some(at) => {
                        let rest = counted.iter().filter(|deed| deed.id != *id).copied();
                        replayed(planned, rest).map(|anew| {
                            told = anew;
                            counted.remove(at);
                            taken_back.push(id);
                        })
                    }
                }
            }
            _ => told.take(deed).map(|()| counted.push(deed)),
        };
        verdicts.push(match done {
            Ok(()) => {
                known.insert(&deed.id);
                Verdict::Done
            }
            Err(refusal) => Verdict::Refused(refusal),
        });
    }
    (told, verdicts)
}

/// The same deeds without one of them, if all of the others still count.
fn replayed<'a>(planned: &Day<'_>, deeds: impl Iterator<Item = &'a Deed>) -> Result<Told, Refusal> {
    let mut told = Told::of(planned);
    for deed in deeds {
        told.take(deed).map_err(|_| Refusal::HangsOn)?;
    }
    Ok(told)
}

/// What was told of a show so far.
struct Told {
    order: Vec<Slot>,
    cut: Vec<NumberId>,
    began: HashMap<NumberId, i64>,
    ended: HashMap<NumberId, i64>,
    holds: Vec<(Before, i64, u32)>,
    /// The latest moment told; a clock that was set back does not turn the show round.
    latest: i64,
}

impl Told {
    fn of(planned: &Day<'_>) -> Told {
        let mut seen = BTreeSet::new();
        let order = planned.event().order.iter().filter(|slot| match slot {
            Slot::Number { number, .. } => seen.insert(*number),
            Slot::Interval(_) => true,
        });
        Told {
            order: order.cloned().collect(),
            cut: Vec::new(),
            began: HashMap::new(),
            ended: HashMap::new(),
            holds: Vec::new(),
            latest: i64::MIN,
        }
    }

    fn take(&mut self, deed: &Deed) -> Result<(), Refusal> {
        let at = deed.at.max(self.latest);
        match &deed.act {
            ShowReport::Begun(number) => {
                self.may_play(*number)?;
                self.waits(*number)?;
                self.began.insert(*number, at);
            }
            ShowReport::Ended(number) => {
                self.may_play(*number)?;
                if self.stage(*number) == StageNow::Over {
                    return Err(Refusal::Over(*number));
                }
                self.ended.insert(*number, at);
            }
            ShowReport::Held(before, minutes) => {
                if !(1..=HOLD_MINUTES_MAX).contains(minutes) {
                    return Err(Refusal::Minutes);
                }
                self.may_hold(*before)?;
                self.holds.push((*before, at, *minutes));
            }
            ShowReport::Cut(number) => {
                self.stands(*number)?;
                self.waits(*number)?;
                self.cut.push(*number);
            }
            ShowReport::Shifted(shift) => self.shift(*shift)?,
            // A deed taken back is never gone through; see `judged`.
            ShowReport::TakenBack(_) => return Err(Refusal::NoDeed),
        }
        self.latest = at;
        Ok(())
    }

    /// The numbers that are not cut, in order.
    fn numbers(&self) -> impl Iterator<Item = NumberId> {
        self.order.iter().filter_map(|slot| match slot {
            Slot::Number { number, .. } if !self.cut.contains(number) => Some(*number),
            Slot::Number { .. } | Slot::Interval(_) => None,
        })
    }

    fn done(&self, number: NumberId) -> bool {
        self.began.contains_key(&number) || self.ended.contains_key(&number)
    }

    fn stage(&self, number: NumberId) -> StageNow {
        let mut later = self.numbers().skip_while(|other| *other != number).skip(1);
        if self.ended.contains_key(&number) || later.any(|other| self.done(other)) {
            StageNow::Over
        } else if self.began.contains_key(&number) {
            StageNow::On
        } else {
            StageNow::ToCome
        }
    }

    fn stands(&self, number: NumberId) -> Result<(), Refusal> {
        if self.cut.contains(&number) {
            Err(Refusal::Cut(number))
        } else if self.numbers().any(|other| other == number) {
            Ok(())
        } else {
            Err(Refusal::Missing)
        }
    }

    fn waits(&self, number: NumberId) -> Result<(), Refusal> {
        match self.stage(number) {
            StageNow::Over => Err(Refusal::Over(number)),
            StageNow::On => Err(Refusal::Begun(number)),
            StageNow::ToCome => Ok(()),
        }
    }

    /// Whether it is a number's turn: what comes before it has begun at least, and is then taken to be over.
    fn may_play(&self, number: NumberId) -> Result<(), Refusal> {
        self.stands(number)?;
        let before = self.numbers().take_while(|other| *other != number).find(|other| !self.done(*other));
        before.map_or(Ok(()), |first| Err(Refusal::First { first, told: number }))
    }

    fn may_hold(&self, before: Before) -> Result<(), Refusal> {
        match before {
            Before::Number(number) => {
                self.stands(number)?;
                self.waits(number)
            }
            Before::Act(act) => {
                let mut numbers =
                    self.order.split(|slot| matches!(slot, Slot::Interval(_))).skip(act as usize);
                let mut of_act = numbers.next().unwrap_or_default().iter().filter_map(|slot| match slot {
                    Slot::Number { number, .. } if !self.cut.contains(number) => Some(*number),
                    Slot::Number { .. } | Slot::Interval(_) => None,
                });
                let first = of_act.next().ok_or(Refusal::NoAct)?;
                if self.done(first) { Err(Refusal::NoAct) } else { Ok(()) }
            }
        }
    }

    fn shift(&mut self, shift: OrderShift) -> Result<(), Refusal> {
        let moved = match shift {
            OrderShift::Exchange(Piece::Number(one), Piece::Number(other)) => vec![one, other],
            OrderShift::Move(Piece::Number(one), _) => vec![one],
            OrderShift::Exchange(..) | OrderShift::Move(..) => return Err(Refusal::Missing),
        };
        for number in moved {
            self.stands(number)?;
            self.waits(number)?;
        }
        let order = shifted(&self.order, shift).map_err(|why| match why {
            Unmoved::Missing => Refusal::Missing,
            Unmoved::Same => Refusal::Same,
        })?;
        let before = std::mem::replace(&mut self.order, order);
        let passed = self.numbers().skip_while(|number| self.done(*number)).find(|number| self.done(*number));
        match passed {
            Some(begun) => {
                self.order = before;
                Err(Refusal::Begun(begun))
            }
            None => Ok(()),
        }
    }

    /// When an act or a number begins that is ready at a moment: holds told later count from when they were told.
    fn held(&self, mut ready: i64, act: Option<u32>, number: NumberId) -> i64 {
        for (before, at, minutes) in &self.holds {
            let hers = match before {
                Before::Act(held) => act == Some(*held),
                Before::Number(held) => *held == number,
            };
            if hers {
                ready = ready.max(*at) + i64::from(*minutes) * 60;
            }
        }
        ready
    }

    /// Every number that is not cut, with what really happened where that was told.
    fn timed(&self, season: &Season, event: &Event, now: i64) -> Vec<Timed> {
        let mut out: Vec<Timed> = Vec::new();
        let (mut clock, mut act, mut act_begins, mut stretch) = (0_i64, 0_u32, true, 0_u32);
        let by_slots = event.by_slots();
        for slot in &self.order {
            let (number, call, minutes) = match slot {
                Slot::Interval(minutes) => {
                    clock += i64::from(*minutes) * 60;
                    act += 1;
                    stretch += 1;
                    act_begins = true;
                    continue;
                }
                Slot::Number { number, .. } if self.cut.contains(number) => continue,
                Slot::Number { number, call, minutes } => (*number, *call, *minutes),
            };
            let call = call.filter(|_| by_slots).map(|call| event.seconds_from_start(call));
            let begins = call.map_or(clock, |call| clock.max(i64::from(begins(event, call))));
            stretch += u32::from(call.is_some() && !out.is_empty());
            let expected = self.held(begins, act_begins.then_some(act), number);
            act_begins = false;
            let before = out.last().map_or(i64::MIN, |last| last.ends);
            let (length, changeover) = taken(&season.numbers[number.at()], minutes.filter(|_| by_slots));
            let (starts, ends) = self.real(number, i64::from(length), expected, before, now);
            out.push(Timed { number, call, starts, ends, act, stretch, ready: starts, beginner: false });
            clock = ends + i64::from(changeover);
        }
        call_ready(season.settings.ready_numbers as usize, &mut out);
        out
    }

    /// A number's start and end: told, else deduced from what else was told, else expected.
    fn real(&self, number: NumberId, length: i64, expected: i64, before: i64, now: i64) -> (i64, i64) {
        let (began, ended) = (self.began.get(&number).copied(), self.ended.get(&number).copied());
        let starts = match (began, ended) {
            (Some(began), _) => began,
            // Ticked off only when it was over: it began as much earlier as it is long, but not before the last was over.
            (None, Some(ended)) => (ended - length).max(before).min(ended),
            (None, None) => expected.max(now),
        };
        let next = self.numbers().skip_while(|other| *other != number).nth(1);
        let next = next.and_then(|next| self.began.get(&next).or(self.ended.get(&next)).copied());
        let ends = match (ended, next) {
            (Some(ended), _) => ended,
            // Nobody ticked it off, but the next one has begun.
            (None, Some(next)) => (starts + length).min(next).max(starts),
            (None, None) if began.is_some() => (starts + length).max(now),
            (None, None) => starts + length,
        };
        (starts, ends)
    }
}
