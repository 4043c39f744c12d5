//! Who has a child at an event: the chaperones of the number that the child dances next, from sign-in to sign-out.
//!
//! A number has the chaperones whose duties name it. One without any, and one in which children stay with their own
//! chaperone (such as a finale), leaves a child with whoever has it; before its first number with a chaperone a child is
//! with those of that number, and a child who has no other is with those whose duties name a finale. Several chaperones of
//! one number are in charge together.

use super::season::{ChaperoneId, EventId, NumberId, Season};
use std::collections::HashMap;

/// The chaperones of one number.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Group {
    /// In workbook order, at least one.
    chaperones: Vec<ChaperoneId>,
    /// Which of them sign in: the first who is marked, else the first of all.
    signs_in: ChaperoneId,
    /// Which of them signs out, by the same rule.
    signs_out: ChaperoneId,
    /// Whether they take the children over; in some numbers children stay with their own chaperone.
    takes_over: bool,
}

/// Who looks after which number at an event.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct InCharge {
    groups: HashMap<NumberId, Group>,
}

/// Who signs a child in and out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Signers {
    /// In.
    pub signs_in: Option<ChaperoneId>,
    /// Out.
    pub signs_out: Option<ChaperoneId>,
}

impl InCharge {
    /// Reads the duties at an event.
    pub fn of(season: &Season, event: EventId) -> InCharge {
        #[derive(Default)]
        struct Found {
            chaperones: Vec<ChaperoneId>,
            signs_in: Option<ChaperoneId>,
            signs_out: Option<ChaperoneId>,
        }
        let mut found: HashMap<NumberId, Found> = HashMap::new();
        for duty in season.duties_at(event) {
            let Some(number) = duty.number else { continue };
            let Found { chaperones, signs_in, signs_out } = found.entry(number).or_default();
            if !chaperones.contains(&duty.chaperone) {
                chaperones.push(duty.chaperone);
            }
            *signs_in = signs_in.or(duty.signs_in.then_some(duty.chaperone));
            *signs_out = signs_out.or(duty.signs_out.then_some(duty.chaperone));
        }
        let group = |(number, found): (NumberId, Found)| {
            let first = *found.chaperones.first()?;
            let (signs_in, signs_out) = (found.signs_in.unwrap_or(first), found.signs_out.unwrap_or(first));
            let takes_over = !season.numbers[number.at()].own_chaperone;
            Some((number, Group { chaperones: found.chaperones, signs_in, signs_out, takes_over }))
        };
        InCharge { groups: found.into_iter().filter_map(group).collect() }
    }

    /// Everybody whose duties name a number, in workbook order: those who take its children over, or those who lead one in
    /// which children stay with their own chaperone.
    pub fn leads(&self, number: NumberId) -> &[ChaperoneId] {
        self.groups.get(&number).map_or(&[], |group| &group.chaperones)
    }

    /// Those who take the children of a number over, in workbook order; nobody where they stay with whoever has them.
    pub fn chaperones(&self, number: NumberId) -> &[ChaperoneId] {
        self.taking(number).map_or(&[], |group| &group.chaperones)
    }

    fn taking(&self, number: NumberId) -> Option<&Group> {
        self.groups.get(&number).filter(|group| group.takes_over)
    }

    /// Who signs in those whose first number it is, and out those whose last.
    pub fn signers_of(&self, number: NumberId) -> Signers {
        let group = self.taking(number);
        Signers { signs_in: group.map(|group| group.signs_in), signs_out: group.map(|group| group.signs_out) }
    }

    /// For each of a child's numbers, in running order, the position among them of the one whose chaperones have the child
    /// until it is over; none where nobody is named for any of them.
    pub fn with(&self, numbers: &[NumberId]) -> Vec<Option<usize>> {
        let takes = |at: &usize| self.taking(numbers[*at]).is_some();
        let led = |at: &usize| self.groups.contains_key(&numbers[*at]);
        let mut with = (0..numbers.len()).find(takes).or_else(|| (0..numbers.len()).find(led));
        (0..numbers.len())
            .map(|at| {
                if takes(&at) {
                    with = Some(at);
                }
                with
            })
            .collect()
    }

    /// Everybody who has a child with these numbers, in running order, at some time of the day, each once.
    pub fn having(&self, numbers: &[NumberId]) -> Vec<ChaperoneId> {
        let mut all: Vec<ChaperoneId> = Vec::new();
        for at in self.with(numbers).into_iter().flatten() {
            let group = self.groups.get(&numbers[at]);
            let new = group.into_iter().flat_map(|group| &group.chaperones);
            for chaperone in new {
                if !all.contains(chaperone) {
                    all.push(*chaperone);
                }
            }
        }
        all
    }

    /// Who signs in and out a child with these numbers, in running order; the last is `back` where the child is taken back
    /// to the chaperones of its first.
    pub fn signers(&self, numbers: &[NumberId], back: bool) -> Signers {
        let with = self.with(numbers);
        let group = |at: Option<&Option<usize>>| self.groups.get(&numbers[(*at?)?]);
        let (first, last) = (group(with.first()), group(with.last()));
        Signers {
            signs_in: first.map(|group| group.signs_in),
            signs_out: if back { first } else { last }.map(|group| group.signs_out),
        }
    }
}
