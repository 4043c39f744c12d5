//! Turnarounds: what lies between a child's coming off and going on again.

use super::{Day, Part, Timed};
use crate::domain::running_order::is_quick;
use crate::domain::season::{ChaperoneId, ChildId, Season};

/// A child up to this age changes with a dresser, whatever the time (planning assumption, no source).
pub const DRESSED_UP_TO_AGE: u8 = 7;

/// How a turnaround looks on paper. Rehearsing it decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ease {
    /// There is time to go back to the room.
    Easy,
    /// Fewer numbers lie between than the season's threshold: the quick-change room.
    Quick,
    /// Less time than the season's shortest change is left.
    Impossible,
}

/// One child between two of its numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Turn {
    /// Who.
    pub child: ChildId,
    /// Position of the number the child comes from.
    pub from: usize,
    /// Position of the number the child goes to.
    pub into: usize,
    /// Numbers between the two.
    pub between: usize,
    /// Seconds from the last step of the one to the first of the other.
    pub gap: i64,
    /// What is left of them after the walks off and on; none is less than nothing.
    pub left: i64,
    /// How it looks.
    pub ease: Ease,
    /// The child changes with a dresser.
    pub dresser: bool,
}

/// A child passed from one chaperone to another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandOver {
    /// The turnaround it belongs to, by position.
    pub turn: usize,
    /// From whom: the chaperones of the number the child comes from.
    pub from: Vec<ChaperoneId>,
    /// To whom: whoever takes the child over helps with the next costume.
    pub to: Vec<ChaperoneId>,
    /// By way of the quick-change room.
    pub by_quick_change: bool,
}

pub(super) fn turns(season: &Season, numbers: &[Timed], parts: &[Part]) -> Vec<Turn> {
    let mut turns: Vec<Turn> = parts
        .windows(2)
        .filter(|pair| pair[0].child == pair[1].child)
        .map(|pair| turn(season, numbers, &pair[0], &pair[1]))
        .collect();
    turns.sort_by_key(|turn| (turn.from, turn.into, turn.child));
    turns
}

fn turn(season: &Season, numbers: &[Timed], from: &Part, into: &Part) -> Turn {
    let settings = &season.settings;
    let (off, on) = (&numbers[from.at], &numbers[into.at]);
    let between = into.at - from.at - 1;
    let gap = on.starts - off.ends;
    let left = (gap - i64::from(settings.walks_seconds)).max(0);
    let same_act = off.act == on.act;
    let ease = if same_act && left < i64::from(settings.change_seconds) {
        Ease::Impossible
    } else if is_quick(season, same_act, between) {
        Ease::Quick
    } else {
        Ease::Easy
    };
    let young =
        season.children[from.child.at()].ages.is_some_and(|(youngest, _)| youngest <= DRESSED_UP_TO_AGE);
    Turn {
        child: from.child,
        from: from.at,
        into: into.at,
        between,
        gap,
        left,
        ease,
        dresser: young || ease != Ease::Easy,
    }
}

impl Day<'_> {
    /// Every turnaround at which a child changes hands; an adult who has both numbers keeps the child.
    pub fn hand_overs(&self) -> Vec<HandOver> {
        self.turns
            .iter()
            .enumerate()
            .filter_map(|(at, turn)| {
                let from = self.chaperones(self.numbers[turn.from].number);
                let to = self.chaperones(self.numbers[turn.into].number);
                let kept = from.iter().any(|chaperone| to.contains(chaperone));
                let nobody = from.is_empty() && to.is_empty();
                (!kept && !nobody).then(|| HandOver {
                    turn: at,
                    from: from.to_vec(),
                    to: to.to_vec(),
                    by_quick_change: turn.ease != Ease::Easy,
                })
            })
            .collect()
    }

    /// The children for whom a number (by position) is held: those who may still be in the quick-change room.
    pub fn held_for(&self, at: usize) -> Vec<ChildId> {
        self.turns.iter().filter(|t| t.into == at && t.ease != Ease::Easy).map(|t| t.child).collect()
    }
}
