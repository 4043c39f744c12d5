//! Whom chaperones ring, what comes of it, and who is open when an event begins.

use super::chance::Leaf;
use super::run::Life;
use crate::domain::board::{Board, Item};
use crate::domain::chase::is_asked;
use crate::domain::record::{AnswerKind, Record};
use crate::domain::season::{Care, Channel, ChildId, EventId, GuardianId, SettledBy};
use crate::domain::standing;
use jiff::Timestamp;

impl Life<'_> {
    /// Children of an event about whom somebody has to be rung; and how many can't come.
    fn to_ring(&self, event: EventId, now: Timestamp) -> (Vec<(ChildId, Item)>, u32) {
        let (board, mut out) = (&self.stage.board, 0);
        let asked = |child: &ChildId| {
            let at = board.programme.position(*child, event);
            at.is_some_and(|at| is_asked(board, &self.record, at, now))
        };
        let theirs = self.group.called.iter().filter(|(child, at)| *at == event && asked(child));
        let open = theirs
            .map(|(child, _)| (*child, Item { who: (*child).into(), event: Some(event) }))
            .filter(|(_, item)| !self.settled.contains(item))
            .filter(|(child, item)| {
                let mut said = board.cares_of(*child).map(|care| self.record.answer_of(care.guardian, *item));
                let cant = said.any(|answer| answer.is_some_and(|a| a.kind == AnswerKind::CantCome));
                out += u32::from(cant);
                !cant
            })
            .collect();
        (open, out)
    }

    /// Chaperones ring about whoever is open.
    pub(super) fn ring(&mut self, event: EventId, at: Timestamp) {
        let (open, _) = self.to_ring(event, at);
        for (child, item) in open {
            self.course.calls[event.at()] += 1;
            for list in self.stage.lists_of.get(&(child, event)).into_iter().flatten() {
                self.course.lists[*list].0 += 1;
            }
            for guardian in rung(&self.stage.board, &self.record, item) {
                if let Some(kind) = self.answers_call(guardian, item, event) {
                    self.say(&[guardian], &[item], kind, at);
                }
            }
        }
    }

    /// What a guardian says when she is rung about an item; none if the call reaches nobody.
    fn answers_call(&mut self, guardian: GuardianId, item: Item, event: EventId) -> Option<AnswerKind> {
        self.stage.board.season.guardians[guardian.at()].contact.phone.as_ref()?;
        let owner = self.stage.owner(guardian, Channel::Text);
        let nature = self.nature(owner);
        if nature.never || nature.wrong[1].is_some() {
            return None;
        }
        let draws = self.page(owner, Leaf::Ring(event));
        let rest = self.asked.get(&(owner, item)).map_or(1.0, |asked| asked.rest);
        let reached = draws[0] < self.habits.chance(self.habits.ring, rest);
        let cant = draws[1] < self.habits.cant_come;
        reached.then_some(if cant { AnswerKind::CantCome } else { AnswerKind::Heard })
    }

    /// An event begins: whoever is open now stays so.
    pub(super) fn begin(&mut self, event: EventId, at: Timestamp) {
        let (open, cant) = self.to_ring(event, at);
        self.course.cant_come[event.at()] += cant;
        self.course.left[event.at()] += open.len() as u32;
        for (child, _) in open {
            for list in self.stage.lists_of.get(&(child, event)).into_iter().flatten() {
                self.course.lists[*list].1 += 1;
            }
        }
    }
}

/// Who has to be rung so that a child is settled.
fn rung(board: &Board, record: &Record, item: Item) -> Vec<GuardianId> {
    let cares: Vec<_> = board.cares_of(item.who).collect();
    let heard = |guardian: GuardianId| standing::heard(board, record, guardian, item).is_some();
    let mut out = Vec::new();
    match board.season.settings.settled_by {
        SettledBy::AnyGuardian => out.extend(cares.first().map(|care| care.guardian)),
        SettledBy::EachHousehold => {
            for care in &cares {
                let home = |other: &&&Care| other.household == care.household;
                let first = cares.iter().find(home).is_some_and(|first| first.guardian == care.guardian);
                if first && !cares.iter().filter(home).any(|other| heard(other.guardian)) {
                    out.push(care.guardian);
                }
            }
        }
        SettledBy::BringsAndCollects => {
            let brings: Vec<GuardianId> = cares.iter().filter(|c| c.brings).map(|c| c.guardian).collect();
            let collects: Vec<GuardianId> = cares.iter().filter(|c| c.collects).map(|c| c.guardian).collect();
            for side in [&brings, &collects] {
                if !side.iter().any(|guardian| heard(*guardian)) {
                    out.extend(side.first());
                }
            }
            // Both said yes on one phone: one of them has to say so herself.
            if out.is_empty() {
                out.extend(brings.first());
            }
        }
    }
    out.sort();
    out.dedup();
    out
}
