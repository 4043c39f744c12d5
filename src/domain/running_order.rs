//! A running order turned into minutes: when each number starts, and which children have a quick change.

use super::season::{Child, Event, NumberId, Season, Slot};

/// One number of a running order, placed in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    /// Which number.
    pub number: NumberId,
    /// Seconds from curtain up to its first step.
    pub start: u32,
    /// Seconds from curtain up to its last.
    pub end: u32,
    /// Intervals before it.
    pub act: u32,
}

/// Places every number of an event: its start is curtain up plus everything before it (lengths, changeovers, intervals).
pub fn placed(season: &Season, event: &Event) -> Vec<Placed> {
    placed_in(season, &event.order)
}

/// The same for an order of one's own.
pub fn placed_in(season: &Season, order: &[Slot]) -> Vec<Placed> {
    let mut out: Vec<Placed> = Vec::with_capacity(order.len());
    let (mut clock, mut act) = (0u32, 0u32);
    for slot in order {
        match slot {
            Slot::Interval(minutes) => {
                clock += minutes * 60;
                act += 1;
            }
            Slot::Number { number, .. } => {
                let dance = &season.numbers[number.at()];
                out.push(Placed { number: *number, start: clock, end: clock + dance.seconds, act });
                clock += dance.seconds + dance.changeover_seconds;
            }
        }
    }
    out
}

/// Whether so many numbers between two of a child's are a quick change. An interval always breaks one.
pub fn is_quick(season: &Season, same_act: bool, between: usize) -> bool {
    same_act && (between as u64) < u64::from(season.settings.quick_change_numbers)
}

/// The child's quick changes at an event: pairs of numbers with fewer than the season's threshold between them.
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
        .filter(|pair| is_quick(season, pair[0].1.act == pair[1].1.act, pair[1].0 - pair[0].0 - 1))
        .map(|pair| (pair[0].1.number, pair[1].1.number))
        .collect()
}
