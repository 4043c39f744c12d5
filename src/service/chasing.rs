//! The chase list as it stands, and what comes of speaking to a family: noted on one road like any other answer.

use super::absence::Absence;
use super::answering::{Noted, Said};
use super::lists::children_of;
use super::office::{Desk, Office, OfficeFault};
use super::ports::{Gateway, Store};
use crate::domain::board::{Board, Item};
use crate::domain::chase::{self, List};
use crate::domain::facts::Fingerprint;
use crate::domain::record::{AnswerKind, CallEnd};
use crate::domain::season::{ChaperoneId, GuardianId, HouseholdId};
use jiff::Timestamp;
use std::collections::HashSet;
use std::sync::Arc;

/// The road of what was said on the telephone.
pub const CALL: &str = "call";
/// The road of what was said face to face.
pub const IN_PERSON: &str = "person";
/// The name under which the coordinator notes.
pub const COORDINATOR: &str = "coordinator";

/// Who notes what a family said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noter {
    /// A chaperone, about her own children and the families on the chase list.
    Chaperone(ChaperoneId),
    /// The coordinator, about anybody.
    Coordinator,
}

impl Noter {
    /// The name that stands in the record.
    pub fn name(self, board: &Board) -> &str {
        match self {
            Noter::Chaperone(id) => &board.season.chaperones[id.at()].reference,
            Noter::Coordinator => COORDINATOR,
        }
    }
}

/// What came of speaking to a guardian, or of trying to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Came {
    /// She has heard it, on the telephone.
    HeardByPhone,
    /// She has heard it, face to face.
    HeardInPerson,
    /// The child is not coming, this once: said to a person, who confirms it by noting it.
    CantCome,
    /// She heard nothing.
    Nothing(CallEnd),
}

impl Came {
    /// What it is as an answer; none where she gave none.
    fn kind(self) -> Option<AnswerKind> {
        match self {
            Came::HeardByPhone | Came::HeardInPerson => Some(AnswerKind::Heard),
            Came::CantCome => Some(AnswerKind::CantCome),
            Came::Nothing(_) => None,
        }
    }
}

/// The chase list with the season it is about.
pub struct ChaseData {
    /// The season.
    pub board: Arc<Board>,
    /// The list.
    pub list: List,
    /// Now.
    pub now: Timestamp,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// The chase list as it stands.
    pub async fn chase(&self) -> Result<ChaseData, OfficeFault> {
        let desk = self.desk().await?;
        let now = self.now();
        Ok(ChaseData { board: desk.board.clone(), list: chase::list(&desk.board, &desk.record, now), now })
    }

    /// Notes what came of speaking to a guardian about several things (child, event, facts read out) at once: a yes to
    /// others than today's facts is not noted.
    pub async fn note_call(
        &self,
        noter: Noter,
        guardian: &str,
        about: &[(&str, &str, Fingerprint)],
        came: Came,
    ) -> Result<Vec<Noted>, OfficeFault> {
        let mut desk = self.desk().await?;
        let board = desk.board.clone();
        let Some(guardian) = board.guardian(guardian) else {
            return Ok(vec![Noted::NotCovered; about.len()]);
        };
        let covered = covered(&desk, noter, guardian, self.now());
        let contact = &board.season.guardians[guardian.at()].contact;
        let wrong = came == Came::Nothing(CallEnd::WrongNumber);
        let number = contact.phone.as_ref().filter(|_| wrong).map_or("", |phone| phone.e164.as_str());
        let mut noted = Vec::with_capacity(about.len());
        let mut said = Vec::new();
        for (child, event, seen) in about {
            let item = board.item(child, event).filter(|item| covered(*item));
            noted.push(match item {
                None => Noted::NotCovered,
                Some(item) if came.kind() == Some(AnswerKind::Heard) && board.fingerprint(item) != *seen => {
                    Noted::Changed
                }
                Some(item) => {
                    said.push(Said {
                        kind: came.kind(),
                        road: if came == Came::HeardInPerson { IN_PERSON } else { CALL },
                        act: noter.name(&board),
                        noted_by: noter.name(&board),
                        words: number.to_owned(),
                        outcome: match came {
                            Came::Nothing(end) => end.word(),
                            _ => "",
                        },
                        ..Said::default_for(item)
                    });
                    Noted::Known
                }
            });
        }
        let households = households_of(&board, guardian);
        let mut became = self.note(&mut desk, &[guardian], &said, &households).await?.into_iter();
        for (one, (child, event, _)) in noted.iter_mut().zip(about).filter(|(n, _)| **n == Noted::Known) {
            *one = became.next().unwrap_or(Noted::Known);
            if came == Came::CantCome
                && let Some(item) = board.item(child, event)
            {
                let away = Absence { item, away: true, said_by: Some(guardian), by: noter };
                if self.note_absence(&mut desk, &away).await? {
                    *one = Noted::Recorded;
                }
            }
        }
        Ok(noted)
    }
}

/// The households a guardian belongs to: what is found of her number concerns the messages of all of them.
pub(super) fn households_of(board: &Board, guardian: GuardianId) -> HashSet<HouseholdId> {
    let hers = board.season.cares.iter().filter(|care| care.guardian == guardian);
    hers.map(|care| care.household).collect()
}

/// Which items of a guardian somebody may note: children of that guardian, whom the chaperone looks after or whose call
/// is on the list while she is one of those who ring. Calls may be shared out anew while she is on the telephone, and
/// what a family has said is not lost for that.
fn covered(desk: &Desk, noter: Noter, guardian: GuardianId, now: Timestamp) -> impl Fn(Item) -> bool + use<> {
    let board = desk.board.clone();
    let list = match noter {
        Noter::Coordinator => List::default(),
        Noter::Chaperone(_) => chase::list(&board, &desk.record, now),
    };
    move |item| {
        let theirs = board.cares_of(item.who).any(|care| care.guardian == guardian);
        let may = match noter {
            Noter::Coordinator => true,
            Noter::Chaperone(chaperone) => {
                let hers = item
                    .event
                    .zip(item.who.child())
                    .is_some_and(|(event, child)| children_of(&board, chaperone, event).contains(&child));
                let mut calls = list.calls.iter().filter(|call| call.guardian == guardian);
                hers || (list.ringers.contains(&chaperone)
                    && calls.any(|call| call.items.contains(&item) || call.rules.contains(&item)))
            }
        };
        theirs && may && item.who.child().is_some()
    }
}
