//! The class door: the silent ones of an event, and the signatures collected from them, entered in one go.

use super::answering::{Noted, Said};
use super::chasing::{Noter, households_of};
use super::lists::{EventList, event_list};
use super::office::{Desk, Office, OfficeFault};
use super::ports::{Gateway, NewAnswer, Store};
use crate::domain::board::{Board, Item, NO_EVENT};
use crate::domain::facts::Fingerprint;
use crate::domain::record::{AnswerKind, Record};
use crate::domain::season::{ChildId, EventId, EventKind, GuardianId};
use crate::domain::standing::{Standing, settled, standing};
use jiff::Timestamp;
use std::collections::HashSet;
use std::sync::Arc;

/// The road of a signature.
pub const DOOR: &str = "door";

/// One silent child with those who may sign.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SilentChild {
    /// Who.
    pub child: ChildId,
    /// Where the child is as a whole.
    pub standing: Standing,
    /// Guardians who have not signed or said so yet.
    pub guardians: Vec<GuardianId>,
}

/// What the page of the class door shows.
pub struct DoorData {
    /// The season.
    pub board: Arc<Board>,
    /// The event signed for; none if nobody is silent anywhere and none was chosen.
    pub event: Option<EventId>,
    /// Whether the house rules are signed for, and no event.
    pub at_rules: bool,
    /// Silent children of the event, or of the house rules, in order of name.
    pub silent: Vec<SilentChild>,
    /// Children for whom the house rules were asked and are not settled, in order of name.
    pub rules: Vec<SilentChild>,
    /// Events to come with silent children, soonest first, and how many.
    pub choices: Vec<(EventId, usize)>,
    /// Now.
    pub now: Timestamp,
}

/// A signature as entered: child, event, guardian, and the facts of the list it was entered from.
pub type Signature<'a> = (&'a str, &'a str, &'a str, Fingerprint);

impl<S: Store, G: Gateway> Office<S, G> {
    /// The silent ones of the event of a ref, or of the house rules ([`NO_EVENT`]); of the next class visit that has any
    /// where none is named, else of the next event that has, else of the rules.
    pub async fn class_door(&self, event: &str) -> Result<DoorData, OfficeFault> {
        let desk = self.desk().await?;
        let board = desk.board.clone();
        let now = self.now();
        let mut lists: Vec<EventList> = (0..board.season.events.len() as u32)
            .map(EventId)
            .filter(|event| board.season.curtain_up(*event) > now)
            .map(|event| event_list(&board, &desk.record, event))
            .collect();
        lists.sort_by_key(|list| (board.season.curtain_up(list.event), list.event));
        let choices: Vec<(EventId, usize)> = lists
            .iter()
            .map(|list| (list.event, silent(&board, list).len()))
            .filter(|(_, silent)| *silent > 0)
            .collect();
        let class = |event: EventId| board.season.events[event.at()].kind == EventKind::Class;
        let next = choices.iter().map(|(event, _)| *event);
        let next = next.clone().find(|event| class(*event)).or(next.clone().next());
        let rules = silent_about_rules(&board, &desk.record);
        let event = (event != NO_EVENT).then(|| board.event(event).or(next)).flatten();
        let list = event.map(|event| event_list(&board, &desk.record, event));
        let at_rules = list.is_none() && !rules.is_empty();
        let silent = match list {
            Some(list) => silent(&board, &list),
            None => rules.clone(),
        };
        Ok(DoorData { event, at_rules, silent, rules, choices, now, board })
    }

    /// Enters signatures in one transaction: who collected them, and when they were given. One that may have been given
    /// before the times changed is not entered.
    pub async fn enter_signatures(
        &self,
        collector: Noter,
        signed: Timestamp,
        signatures: &[Signature<'_>],
    ) -> Result<Vec<Noted>, OfficeFault> {
        let mut desk = self.desk().await?;
        let board = desk.board.clone();
        let (signed, now) = (signed.min(self.now()), self.now());
        let mut noted = Vec::with_capacity(signatures.len());
        let mut answers: Vec<(GuardianId, Item, NewAnswer)> = Vec::new();
        let mut households = HashSet::new();
        for (child, event, guardian, seen) in signatures {
            let found = board.item(child, event).zip(board.guardian(guardian));
            let theirs = |(item, guardian): &(Item, GuardianId)| {
                item.who.child().is_some() && board.cares_of(item.who).any(|care| care.guardian == *guardian)
            };
            let Some((item, guardian)) = found.filter(theirs) else {
                noted.push(Noted::NotCovered);
                continue;
            };
            let name = collector.name(&board);
            let kind = Some(AnswerKind::Heard);
            let said = Said { kind, road: DOOR, act: name, noted_by: name, ..Said::default_for(item) };
            if said.is_known(&board, &desk.record, guardian) {
                noted.push(Noted::Known);
            } else if board.fingerprint(item) != *seen || may_be_old(&desk, guardian, item, signed) {
                noted.push(Noted::Changed);
            } else {
                let answer = said.answer(&board, &desk.record, guardian, false, now);
                answers.push((guardian, item, NewAnswer { at: signed, ..answer }));
                households.extend(households_of(&board, guardian));
                noted.push(Noted::Recorded);
            }
        }
        let fresh = answers.is_empty() || self.take_down(&mut desk, answers, &households).await?;
        if !fresh {
            noted.iter_mut().filter(|one| **one == Noted::Recorded).for_each(|one| *one = Noted::Known);
        }
        Ok(noted)
    }
}

/// Children of an event who were asked and have not answered; where nobody was asked yet, all of them. In order of name.
fn silent(board: &Board, list: &EventList) -> Vec<SilentChild> {
    let asked = list.children.iter().any(|line| line.standing != Standing::NotAsked);
    let is_silent = |standing| match standing {
        Standing::HeardBefore | Standing::Waiting | Standing::NoWay => true,
        Standing::NotAsked => !asked,
        Standing::Heard | Standing::CantCome | Standing::Away => false,
    };
    let mut out: Vec<SilentChild> = list
        .children
        .iter()
        .filter(|line| is_silent(line.standing))
        .map(|line| SilentChild {
            child: line.child,
            standing: line.standing,
            guardians: line
                .guardians
                .iter()
                .filter(|one| one.standing != Standing::Heard)
                .map(|one| one.guardian)
                .collect(),
        })
        .collect();
    by_name(board, &mut out);
    out
}

/// Children for whom somebody was asked to confirm the house rules and nobody who has to has, with those who have not.
fn silent_about_rules(board: &Board, record: &Record) -> Vec<SilentChild> {
    let silent = |child: ChildId| {
        let item = Item { who: child.into(), event: None };
        let asked = |guardian| record.told.get(&(guardian, item)).is_some_and(|told| told.asked);
        let guardians: Vec<GuardianId> = board
            .cares_of(item.who)
            .map(|care| care.guardian)
            .filter(|guardian| standing(board, record, *guardian, item) != Standing::Heard)
            .collect();
        let owed = board.cares_of(item.who).any(|care| asked(care.guardian)) && !settled(board, record, item);
        owed.then_some(SilentChild { child, standing: Standing::Waiting, guardians })
    };
    let mut out: Vec<SilentChild> =
        (0..board.season.children.len() as u32).map(ChildId).filter_map(silent).collect();
    by_name(board, &mut out);
    out
}

fn by_name(board: &Board, lines: &mut [SilentChild]) {
    lines.sort_by_key(|line| {
        let child = &board.season.children[line.child.at()];
        (child.given.clone(), child.family.clone(), line.child)
    });
}

/// Whether what was signed then may have been other times than today's: they have changed since, as far as is known.
fn may_be_old(desk: &Desk, guardian: GuardianId, item: Item, signed: Timestamp) -> bool {
    let today = desk.board.fingerprint(item);
    match desk.record.told.get(&(guardian, item)) {
        Some(told) if told.fingerprint == today => {
            told.before.is_some_and(|before| before != today) && signed < told.at
        }
        // She was told nothing, or other times: the last change of the workbook may have been theirs.
        _ => signed < desk.record.revised_at,
    }
}
