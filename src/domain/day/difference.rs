//! What differs between two ways in which one event may go.

use super::Day;
use super::order::{OrderShift, Unmoved, shifted};
use super::turns::Ease;
use crate::domain::season::{ChaperoneId, ChildId, EventId, NumberId, Season};

/// What there is no longer, and what there was not before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderChange<T> {
    /// In the first way only.
    pub goes: Vec<T>,
    /// In the second way only.
    pub comes: Vec<T>,
}

/// A child between two numbers with little time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Passage {
    /// Who.
    pub child: ChildId,
    /// Out of which number.
    pub from: NumberId,
    /// Into which number.
    pub into: NumberId,
    /// Seconds left after the walks, in the way in which it occurs.
    pub left: i64,
}

/// A child who changes hands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandOverChange {
    /// Who.
    pub child: ChildId,
    /// After which number.
    pub from: NumberId,
    /// For which number.
    pub into: NumberId,
    /// By whom.
    pub by: Vec<ChaperoneId>,
    /// To whom.
    pub to: Vec<ChaperoneId>,
}

/// A number held for a child.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Held {
    /// Which number.
    pub number: NumberId,
    /// For whom.
    pub child: ChildId,
}

/// A number that starts at another moment; none where it does not occur. Seconds from curtain up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MovedNumber {
    /// Which number.
    pub number: NumberId,
    /// Its start in the first way.
    pub was: Option<i64>,
    /// Its start in the second.
    pub now: Option<i64>,
}

/// Everything that differs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayDifference {
    /// Quick changes.
    pub quick: OrderChange<Passage>,
    /// Turnarounds without the time for a change.
    pub impossible: OrderChange<Passage>,
    /// Hand-overs.
    pub hand_overs: OrderChange<HandOverChange>,
    /// Numbers held.
    pub holds: OrderChange<Held>,
    /// Starts, those of the second way first and in its order.
    pub starts: Vec<MovedNumber>,
}

impl DayDifference {
    /// From one way to another.
    pub fn between(before: &Day<'_>, after: &Day<'_>) -> DayDifference {
        let of = |ease| {
            change(passages(before, ease), passages(after, ease), |p: &Passage| (p.child, p.from, p.into))
        };
        DayDifference {
            quick: of(Ease::Quick),
            impossible: of(Ease::Impossible),
            hand_overs: change(handed(before), handed(after), |h: &HandOverChange| (h.child, h.from, h.into)),
            holds: change(held(before), held(after), |h: &Held| (h.number, h.child)),
            starts: starts(before, after),
        }
    }
}

fn change<T: Clone, K: PartialEq>(before: Vec<T>, after: Vec<T>, key: impl Fn(&T) -> K) -> OrderChange<T> {
    let missing = |from: &[T], other: &[T]| -> Vec<T> {
        from.iter().filter(|one| !other.iter().any(|two| key(one) == key(two))).cloned().collect()
    };
    OrderChange { goes: missing(&before, &after), comes: missing(&after, &before) }
}

fn passages(day: &Day<'_>, ease: Ease) -> Vec<Passage> {
    let of = day.turns.iter().filter(|turn| turn.ease == ease);
    of.map(|turn| Passage {
        child: turn.child,
        from: day.numbers[turn.from].number,
        into: day.numbers[turn.into].number,
        left: turn.left,
    })
    .collect()
}

fn handed(day: &Day<'_>) -> Vec<HandOverChange> {
    let of = day.hand_overs().into_iter();
    of.map(|hand_over| {
        let turn = &day.turns[hand_over.turn];
        HandOverChange {
            child: turn.child,
            from: day.numbers[turn.from].number,
            into: day.numbers[turn.into].number,
            by: hand_over.from,
            to: hand_over.to,
        }
    })
    .collect()
}

fn held(day: &Day<'_>) -> Vec<Held> {
    let numbers = day.numbers.iter().enumerate();
    numbers
        .flat_map(|(at, timed)| {
            day.held_for(at).into_iter().map(|child| Held { number: timed.number, child })
        })
        .collect()
}

fn starts(before: &Day<'_>, after: &Day<'_>) -> Vec<MovedNumber> {
    let start = |day: &Day<'_>, number| day.numbers.iter().find(|n| n.number == number).map(|n| n.starts);
    let gone = before.numbers.iter().filter(|n| start(after, n.number).is_none());
    after
        .numbers
        .iter()
        .chain(gone)
        .map(|n| MovedNumber { number: n.number, was: start(before, n.number), now: start(after, n.number) })
        .filter(|moved| moved.was != moved.now)
        .collect()
}

/// An event with one change of its running order, on paper only, and what that would change.
pub fn tried(season: &Season, id: EventId, shift: OrderShift) -> Result<(Day<'_>, DayDifference), Unmoved> {
    let order = shifted(&season.events[id.at()].order, shift)?;
    let day = Day::in_order(season, id, &order);
    let difference = DayDifference::between(&Day::of(season, id), &day);
    Ok((day, difference))
}
