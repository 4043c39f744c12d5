//! Turnarounds: what lies between a child's coming off and going on again.

use super::{Day, Part, Timed};
use crate::domain::running_order::is_quick;
use crate::domain::season::{ChaperoneId, ChildId, Season, SignedOutBy};

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

/// Children who go together from one number to another, with the same adults.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GroupTurn {
    /// The turnaround of the first of them.
    pub turn: Turn,
    /// Who.
    pub children: Vec<ChildId>,
}

/// A child passed from one chaperone to another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandOver {
    /// The turnaround it belongs to, by position.
    pub turn: usize,
    /// From whom: those who have had the child so far, at least one.
    pub from: Vec<ChaperoneId>,
    /// To whom: whoever takes the child over helps with the next costume; at least one.
    pub to: Vec<ChaperoneId>,
    /// By way of the quick-change room.
    pub by_quick_change: bool,
}

/// A child taken back, after its last number, to the chaperone who signs it out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandBack {
    /// Who.
    pub child: ChildId,
    /// Position of the child's last number.
    pub after: usize,
    /// From whom.
    pub from: Vec<ChaperoneId>,
    /// To whom.
    pub to: ChaperoneId,
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
    let together = off.stretch == on.stretch;
    let ease = if season.numbers[on.number.at()].worn {
        // Nobody changes for it.
        Ease::Easy
    } else if together && left < i64::from(settings.change_seconds) {
        Ease::Impossible
    } else if is_quick(season, together, between) {
        Ease::Quick
    } else {
        Ease::Easy
    };
    let young =
        season.children[from.child.at()].ages.is_some_and(|(youngest, _)| youngest <= DRESSED_UP_TO_AGE);
    let changes = !season.numbers[on.number.at()].worn;
    Turn {
        child: from.child,
        from: from.at,
        into: into.at,
        between,
        gap,
        left,
        ease,
        dresser: changes && (young || ease != Ease::Easy),
    }
}

impl Day<'_> {
    /// The turnarounds that are asked for, children of one passage together.
    pub fn passages(&self, wanted: impl Fn(&Turn) -> bool) -> Vec<GroupTurn> {
        let mut out: Vec<GroupTurn> = Vec::new();
        let adults =
            |turn: &Turn| (self.in_charge(turn.child, turn.from), self.in_charge(turn.child, turn.into));
        for turn in self.turns.iter().filter(|turn| wanted(turn)) {
            let same = |one: &&mut GroupTurn| {
                (one.turn.from, one.turn.into) == (turn.from, turn.into) && adults(&one.turn) == adults(turn)
            };
            match out.iter_mut().find(same) {
                Some(passage) => passage.children.push(turn.child),
                None => out.push(GroupTurn { turn: *turn, children: vec![turn.child] }),
            }
        }
        out
    }

    /// The chaperones from whom a child goes out by the door.
    pub fn out_with(&self, child: ChildId) -> Vec<ChaperoneId> {
        let parts = self.of_child(child);
        match self.hand_back(parts) {
            Some(back) => vec![back.to],
            None => parts.last().map_or(Vec::new(), |last| self.with_whom(last).to_vec()),
        }
    }

    /// Every turnaround at which a child changes hands; an adult who has both numbers keeps the child, and so does whoever
    /// has it where nobody takes it over.
    pub fn hand_overs(&self) -> Vec<HandOver> {
        let passed = |(at, turn): (usize, &Turn)| {
            let from = self.in_charge(turn.child, turn.from);
            let to = self.in_charge(turn.child, turn.into);
            let kept = from.iter().any(|chaperone| to.contains(chaperone));
            (!kept && !from.is_empty()).then(|| HandOver {
                turn: at,
                from: from.to_vec(),
                to: to.to_vec(),
                by_quick_change: turn.ease != Ease::Easy,
            })
        };
        self.turns.iter().enumerate().filter_map(passed).collect()
    }

    /// The children who are taken back after their last number, where the season wants whoever signed them in to sign them
    /// out; by child.
    pub fn hand_backs(&self) -> Vec<HandBack> {
        self.coming().filter_map(|parts| self.hand_back(parts)).collect()
    }

    fn hand_back(&self, parts: &[Part]) -> Option<HandBack> {
        let wanted = self.season.settings.signed_out_by == SignedOutBy::FirstChaperone;
        let (first, last) = (parts.first().filter(|_| wanted)?, parts.last()?);
        let to = self.in_charge.signers_of(self.numbers[first.with?].number).signs_out?;
        let from = self.with_whom(last);
        let back = HandBack { child: last.child, after: last.at, from: from.to_vec(), to };
        (!from.contains(&to)).then_some(back)
    }

    /// The children for whom a number (by position) is held: those who may still be in the quick-change room.
    pub fn held_for(&self, at: usize) -> Vec<ChildId> {
        self.turns.iter().filter(|t| t.into == at && t.ease != Ease::Easy).map(|t| t.child).collect()
    }
}
