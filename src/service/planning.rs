//! One planning tick: what the plan wants against what is stored.

use super::office::{Desk, Office, OfficeFault};
use super::ports::{Delta, Gateway, Store, StoredMessage, StoredPart};
use crate::domain::board::{Board, Item};
use crate::domain::graph::State;
use crate::domain::plan::{self, Wanted};
use crate::domain::record::{NoticeKey, Record};
use crate::domain::season::HouseholdId;
use crate::domain::standing::{Standing, standing};
use jiff::Timestamp;
use std::collections::{BTreeSet, HashMap, HashSet};

/// What a planning tick did.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Planned {
    /// Messages added.
    pub added: usize,
    /// Messages withdrawn.
    pub withdrawn: usize,
    /// Messages moved to another time.
    pub moved: usize,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Plans the whole season again and stores the difference; harmless if nothing has changed.
    pub async fn plan_tick(&self) -> Result<Planned, OfficeFault> {
        let now = self.now();
        let desk = self.desk().await?;
        let wanted = plan::plan(&desk.board, &desk.record, now);
        let open = self.store.open_messages(desk.season, None).await?;
        let delta = difference(&desk.board, &desk.record, wanted, &open);
        if !delta.is_empty() {
            self.store.reconcile(desk.season, &delta, now).await?;
        }
        Ok(Planned { added: delta.add.len(), withdrawn: delta.withdraw.len(), moved: delta.retime.len() })
    }

    /// The difference for some households only, against what is stored for them.
    pub(super) async fn difference_for(
        &self,
        desk: &Desk,
        households: &HashSet<HouseholdId>,
        now: Timestamp,
    ) -> Result<Delta, OfficeFault> {
        let mut delta = Delta::default();
        for household in &touched(&desk.board, households) {
            let wanted = plan::plan_household(&desk.board, &desk.record, *household, now);
            let reference = &desk.board.season.households[household.at()].reference;
            let open = self.store.open_messages(desk.season, Some(reference)).await?;
            let one = difference(&desk.board, &desk.record, wanted, &open);
            delta.add.extend(one.add);
            delta.withdraw.extend(one.withdraw);
            delta.retime.extend(one.retime);
        }
        Ok(delta)
    }
}

/// These households, and those whose turn depends on what is heard from them.
fn touched(board: &Board, households: &HashSet<HouseholdId>) -> BTreeSet<HouseholdId> {
    let mut touched: BTreeSet<HouseholdId> = households.iter().copied().collect();
    if board.season.notices.iter().any(plan::spans_households) {
        for care in households.iter().flat_map(|household| board.cares(*household)) {
            touched.extend(board.cares_of(care.who).map(|other| other.household));
        }
    }
    touched
}

/// Wanted against stored: what to add, withdraw, move. What is under way or uncertain is left alone.
pub fn difference(board: &Board, record: &Record, wanted: Vec<Wanted>, open: &[StoredMessage]) -> Delta {
    let mut stored: HashMap<&str, &StoredMessage> = open.iter().map(|m| (m.key.as_str(), m)).collect();
    let mut delta = Delta::default();
    for want in wanted {
        match stored.remove(want.key.as_str()) {
            None => delta.add.push(stored_form(board, &want)),
            Some(message) => {
                let movable =
                    matches!(message.state, State::Planned | State::Claimed | State::WaitingToRetry);
                let same =
                    (message.due, message.until, message.at_once) == (want.due, want.until, want.at_once);
                if movable && !same {
                    delta.retime.push((message.id, want.due, want.until, want.at_once));
                }
            }
        }
    }
    for message in stored.into_values() {
        if matches!(message.state, State::Planned | State::Claimed | State::WaitingToRetry) {
            delta.withdraw.push((message.id, reason(board, record, message)));
        }
    }
    delta.withdraw.sort();
    delta
}

/// Why a stored message is no longer wanted, in words for the record.
fn reason(board: &Board, record: &Record, message: &StoredMessage) -> String {
    let answered = message.parts.iter().all(|part| {
        let item = board.item(&part.child, &part.event);
        item.is_some_and(|item| {
            message.guardians.iter().filter_map(|g| board.guardian(g)).all(|guardian| {
                matches!(standing(board, record, guardian, item), Standing::Heard | Standing::CantCome)
            })
        })
    });
    if answered { "answered".to_owned() } else { "the plan changed".to_owned() }
}

pub(super) fn stored_form(board: &Board, want: &Wanted) -> StoredMessage {
    let season = &board.season;
    StoredMessage {
        id: 0,
        key: want.key.clone(),
        household: season.households[want.household.at()].reference.clone(),
        guardians: want.guardians.iter().map(|g| season.guardians[g.at()].reference.clone()).collect(),
        channel: want.channel,
        wording: want.wording.clone(),
        owes: want.owes,
        at_once: want.at_once,
        due: want.due,
        until: want.until,
        state: State::Planned,
        fence: 0,
        claims: 0,
        attempts: 0,
        why: String::new(),
        parts: want.parts.iter().map(|(item, notice)| stored_part(board, *item, *notice)).collect(),
    }
}

fn stored_part(board: &Board, item: Item, notice: NoticeKey) -> StoredPart {
    let (child, event) = board.item_refs(item);
    StoredPart {
        child: child.to_owned(),
        event: event.to_owned(),
        notice: plan::notice_word(board, notice).to_owned(),
        fingerprint: match notice {
            NoticeKey::Change(to) => Some(to),
            NoticeKey::Rule(_) => None,
        },
    }
}
