//! A running order turned into minutes: when each number starts, and which children have a quick change.
//!
//! Where an event goes by slots (see [`Event::by_slots`]) a number with a call of its own begins no earlier than that
//! call and the time that lies between the event's own call and its beginning; it takes the minutes of its slot.

use super::season::{Child, Event, Number, NumberId, Season, Slot};

/// One number of a running order, placed in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    /// Which number.
    pub number: NumberId,
    /// Its own call at an event by slots, seconds from curtain up.
    pub call: Option<i64>,
    /// Seconds from curtain up to its first step.
    pub start: u32,
    /// Seconds from curtain up to its last.
    pub end: u32,
    /// Seconds from its end to the start of the next.
    pub changeover: u32,
    /// Intervals before it.
    pub act: u32,
    /// Numbers of one stretch follow each other without an interval and without a call of their own.
    pub stretch: u32,
}

/// Places every number of an event: its start is curtain up plus everything before it (lengths, changeovers, intervals),
/// at an event by slots no earlier than its own slot.
pub fn placed(season: &Season, event: &Event) -> Vec<Placed> {
    placed_in(&season.numbers, event, &event.order)
}

/// The same for an order of one's own, with the season's numbers.
pub fn placed_in(numbers: &[Number], event: &Event, order: &[Slot]) -> Vec<Placed> {
    let mut out: Vec<Placed> = Vec::with_capacity(order.len());
    let (mut clock, mut act, mut stretch) = (0u32, 0u32, 0u32);
    let by_slots = event.by_slots();
    for slot in order {
        match slot {
            Slot::Interval(minutes) => {
                clock += minutes * 60;
                act += 1;
                stretch += 1;
            }
            Slot::Number { number, call, minutes } => {
                let (seconds, changeover) = taken(&numbers[number.at()], minutes.filter(|_| by_slots));
                let call = call.filter(|_| by_slots).map(|call| event.seconds_from_start(call));
                let start = call.map_or(clock, |call| clock.max(begins(event, call)));
                stretch += u32::from(call.is_some() && !out.is_empty());
                let end = start + seconds;
                out.push(Placed { number: *number, call, start, end, changeover, act, stretch });
                clock = end + changeover;
            }
        }
    }
    out
}

/// Seconds that a number takes, and seconds to the next: the minutes of its slot hold both.
pub fn taken(number: &Number, slot_minutes: Option<u32>) -> (u32, u32) {
    slot_minutes.map_or((number.seconds, number.changeover_seconds), |minutes| (minutes * 60, 0))
}

/// Seconds from curtain up at which a number begins at the earliest that is called `call` seconds from it, at an event by
/// slots: as long after its call as the event begins after the event's.
pub fn begins(event: &Event, call: i64) -> u32 {
    u32::try_from(call - event.seconds_from_start(event.call)).unwrap_or(0)
}

/// Whether so many numbers between two of a child's are a quick change. An interval always breaks one, and so does a
/// slot with a call of its own.
pub fn is_quick(season: &Season, same_stretch: bool, between: usize) -> bool {
    same_stretch && (between as u64) < u64::from(season.settings.quick_change_numbers)
}

/// The child's quick changes at an event: pairs of numbers with fewer than the season's threshold between them. Nobody
/// changes for a number that is danced in what the children have on.
///
/// Without a running order nothing is known and nothing is returned.
pub fn quick_changes(season: &Season, event: &Event, child: &Child) -> Vec<(NumberId, NumberId)> {
    if event.ordered { quick_changes_in(season, &placed(season, event), child) } else { Vec::new() }
}

/// As [`quick_changes`], in a running order that is placed already.
pub fn quick_changes_in(season: &Season, order: &[Placed], child: &Child) -> Vec<(NumberId, NumberId)> {
    let mine: Vec<(usize, &Placed)> = order
        .iter()
        .enumerate()
        .filter(|(_, p)| child.castings.iter().any(|c| c.number == p.number))
        .collect();
    mine.windows(2)
        .filter(|pair| !season.numbers[pair[1].1.number.at()].worn)
        .filter(|pair| is_quick(season, pair[0].1.stretch == pair[1].1.stretch, pair[1].0 - pair[0].0 - 1))
        .map(|pair| (pair[0].1.number, pair[1].1.number))
        .collect()
}
