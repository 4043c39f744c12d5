//! What is open at an address: whose it is, and what of our messages nobody there has answered.

use super::Incoming;
use crate::domain::board::{Board, Item};
use crate::domain::facts::Fingerprint;
use crate::domain::plan;
use crate::domain::record::Record;
use crate::domain::season::{Channel, GuardianId, HouseholdId};
use crate::domain::standing::{Standing, standing};
use crate::service::office::notice_key;
use crate::service::ports::{StoredMessage, StoredPart};
use jiff::Timestamp;
use std::collections::{BTreeSet, HashSet};

/// One question open at an address: a message of ours and what of it nobody there has answered.
pub(super) struct OpenQuestion {
    pub(super) guardians: Vec<GuardianId>,
    pub(super) household: Option<HouseholdId>,
    pub(super) items: Vec<(Item, Fingerprint)>,
}

pub(super) fn items_of(open: &[OpenQuestion]) -> Vec<Item> {
    open.iter().flat_map(|q| q.items.iter().map(|(item, _)| *item)).collect()
}

/// An address as each of its owners has it in the workbook: mail addresses are one in any case, but written in several.
pub(super) fn spellings(board: &Board, incoming: &Incoming, owners: &[GuardianId]) -> Vec<String> {
    let written = owners.iter().filter_map(|g| {
        let contact = &board.season.guardians[g.at()].contact;
        match incoming.channel {
            Channel::Mail => contact.mail.as_ref().map(|mail| mail.0.clone()),
            Channel::Text => contact.phone.as_ref().map(|phone| phone.e164.clone()),
        }
    });
    let all: BTreeSet<String> = written.chain([incoming.from.clone()]).collect();
    all.into_iter().collect()
}

/// All guardians whose address this is.
pub(super) fn owners(board: &Board, channel: Channel, address: &str) -> Vec<GuardianId> {
    let season = &board.season;
    (0..season.guardians.len() as u32)
        .map(GuardianId)
        .filter(|g| {
            let contact = &season.guardians[g.at()].contact;
            match channel {
                Channel::Mail => contact.mail.as_ref().is_some_and(|m| m.0.eq_ignore_ascii_case(address)),
                Channel::Text => contact.phone.as_ref().is_some_and(|p| p.e164 == address),
            }
        })
        .collect()
}

/// The questions open in messages, newest first: what each asks that none of its guardians has answered, and that no
/// newer one asks too.
pub(super) fn open_questions(
    board: &Board,
    record: &Record,
    messages: &[StoredMessage],
    now: Timestamp,
) -> Vec<OpenQuestion> {
    let mut asked: HashSet<(Item, Option<HouseholdId>)> = HashSet::new();
    let mut open = Vec::new();
    for message in messages {
        let guardians: Vec<GuardianId> = message.guardians.iter().filter_map(|g| board.guardian(g)).collect();
        let household = board.household(&message.household);
        let items: Vec<(Item, Fingerprint)> = message
            .parts
            .iter()
            .filter(|part| is_answered_by(board, part))
            .filter_map(|part| Some((board.item(&part.child, &part.event)?, part.fingerprint?)))
            .filter(|(item, _)| board.over_at(*item) > now)
            .filter(|(item, _)| {
                guardians.iter().any(|g| {
                    matches!(
                        standing(board, record, *g, *item),
                        Standing::Waiting | Standing::HeardBefore | Standing::NotAsked
                    )
                })
            })
            .filter(|(item, _)| asked.insert((*item, household)))
            .collect();
        if !items.is_empty() && !guardians.is_empty() {
            open.push(OpenQuestion { guardians, household, items });
        }
    }
    // The house rules and the times of one household come in one message or in several: one consent covers them all only
    // where one message named them all.
    open.sort_by_key(|q| (q.household, q.items.iter().map(|(item, _)| board.needed_by(*item)).min()));
    open
}

/// Whether an answer to a message counts for one of its parts; the dates that a first letter tells are told, not asked.
pub fn is_answered_by(board: &Board, part: &StoredPart) -> bool {
    let item = board.item(&part.child, &part.event);
    let notice = notice_key(board, &part.notice, part.fingerprint);
    item.zip(notice).is_some_and(|(item, notice)| plan::covers(board, item, notice))
}
