//! Who has how many children in care at any moment, held against the season's planning figure.
//!
//! A child is in the care of the chaperones of its first number until it comes off, then of those of the next, and at
//! last of those of its last number until it is signed out; see [`crate::domain::in_charge`] for numbers that nobody takes
//! over. Where an event goes by slots a child is there from its own call only, and, where it leaves after its own last
//! number, no longer than that. Only adults whose vetting is not known to have lapsed count.

use super::{Day, Part};
use crate::domain::season::{ChaperoneId, Dismissal};
use std::collections::{BTreeMap, HashMap};

/// The most children that one group of chaperones has at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Watch {
    /// The chaperones, together in charge; empty where nobody is named.
    pub chaperones: Vec<ChaperoneId>,
    /// How many of them count.
    pub adults: usize,
    /// Children at the fullest moment.
    pub children: usize,
    /// When that begins, seconds from curtain up; none before the first number has ended.
    pub from: Option<i64>,
}

impl Watch {
    /// Whether there are more children than `per_adult` allows. No adult who counts is too few for any child.
    pub fn too_many(&self, per_adult: u32) -> bool {
        self.children > self.adults * per_adult as usize
    }
}

impl Day<'_> {
    /// Whether a chaperone counts as a supervising adult that day.
    pub fn counts(&self, chaperone: ChaperoneId) -> bool {
        let chaperone = &self.season.chaperones[chaperone.at()];
        chaperone.adult && chaperone.vetted_until.is_none_or(|until| until >= self.event().date)
    }

    /// When a child is called, by its parts; none where it has none.
    fn called(&self, of_child: &[Part]) -> Option<i64> {
        let event = self.event().seconds_from_start(self.event().call);
        of_child.iter().map(|part| self.numbers[part.at].call.unwrap_or(event)).min()
    }

    /// The fullest moment of each group of chaperones, by group.
    pub fn watches(&self) -> Vec<Watch> {
        // Numbers with the same chaperones are one group.
        let groups: Vec<Vec<ChaperoneId>> = self
            .numbers
            .iter()
            .map(|number| {
                let mut group = self.leads(number.number).to_vec();
                group.sort();
                group
            })
            // The last is of children for whom nobody is named at all.
            .chain([Vec::new()])
            .collect();
        let first = |at: usize| groups.iter().position(|group| *group == groups[at]).unwrap_or(at);
        let group_of: Vec<usize> = (0..groups.len()).map(first).collect();
        let mut changes: HashMap<(usize, Option<i64>), i64> = HashMap::new();
        let by_slots = self.event().by_slots();
        let leaves_after_own = by_slots && self.event().dismissal == Dismissal::AfterOwnLastNumber;
        for of_child in self.coming() {
            let mut held: Option<usize> = None;
            let mut since: Option<i64> = if by_slots { self.called(of_child) } else { None };
            for part in of_child {
                let group = group_of[part.with.unwrap_or(self.numbers.len())];
                if held != Some(group) {
                    if let Some(before) = held.replace(group) {
                        *changes.entry((before, since)).or_default() -= 1;
                    }
                    *changes.entry((group, since)).or_default() += 1;
                }
                since = Some(self.numbers[part.at].ends);
            }
            if let Some(group) = held.filter(|_| leaves_after_own) {
                *changes.entry((group, since)).or_default() -= 1;
            }
        }
        let mut by_group: BTreeMap<&[ChaperoneId], BTreeMap<Option<i64>, i64>> = BTreeMap::new();
        for ((group, at), change) in changes {
            by_group.entry(&groups[group]).or_default().insert(at, change);
        }
        by_group
            .into_iter()
            .map(|(chaperones, changes)| {
                let (mut now, mut most, mut from) = (0, 0, None);
                for (at, change) in changes {
                    now += change;
                    if now > most {
                        (most, from) = (now, at);
                    }
                }
                let adults = chaperones.iter().filter(|chaperone| self.counts(**chaperone)).count();
                Watch {
                    chaperones: chaperones.to_vec(),
                    adults,
                    children: usize::try_from(most).unwrap_or(0),
                    from,
                }
            })
            .collect()
    }
}
