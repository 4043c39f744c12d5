//! One planning tick: what the plan wants against what is stored.

use super::office::{Desk, Office, OfficeFault};
use super::ports::{Delta, Gateway, OpenLine, Store, StoredMessage, StoredPart};
use crate::domain::board::{Board, Item};
use crate::domain::graph::State;
use crate::domain::plan::{self, Wanted};
use crate::domain::record::{NoticeKey, Record};
use crate::domain::season::HouseholdId;
use crate::domain::standing::standing;
use jiff::Timestamp;
use std::collections::{BTreeSet, HashMap, HashSet};
use std::ops::Range;

/// Households planned at once, so that memory does not grow with the season.
const HOUSEHOLDS_AT_ONCE: usize = 256;

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
        let delta = self.difference_of_all(&desk, now).await?;
        self.reconcile(&desk, &delta, now).await
    }

    /// Stores a difference.
    pub(super) async fn reconcile(
        &self,
        desk: &Desk,
        delta: &Delta,
        now: Timestamp,
    ) -> Result<Planned, OfficeFault> {
        if !delta.is_empty() {
            self.store.reconcile(desk.season, delta, now).await?;
        }
        Ok(Planned { added: delta.add.len(), withdrawn: delta.withdraw.len(), moved: delta.retime.len() })
    }

    /// The difference for every household. Of those whose stored plan is as it should be nothing more is read than that,
    /// and nothing is kept.
    async fn difference_of_all(&self, desk: &Desk, now: Timestamp) -> Result<Delta, OfficeFault> {
        let (stored, delta) =
            tokio::join!(self.store.open_households(desk.season), self.difference_by_household(desk, now));
        let (stored, mut delta) = (stored?, delta?);
        let gone: Vec<&str> =
            stored.iter().map(String::as_str).filter(|h| desk.board.household(h).is_none()).collect();
        if !gone.is_empty() {
            self.add_gone(desk, &mut delta, &gone).await?;
        }
        delta.withdraw.sort();
        Ok(delta)
    }

    /// The difference for every household there is, a handful at a time.
    async fn difference_by_household(&self, desk: &Desk, now: Timestamp) -> Result<Delta, OfficeFault> {
        let board = &desk.board;
        let mut delta = Delta::default();
        let refs: Vec<&str> = board.season.households.iter().map(|h| h.reference.as_str()).collect();
        let mut some = refs.chunks(HOUSEHOLDS_AT_ONCE);
        let first = some.next().unwrap_or_default();
        let mut lines = self.store.open_lines(desk.season, first).await?;
        let mut from = 0;
        for next in some.map(Some).chain([None]) {
            // The next are read while these are planned.
            let read = async {
                match next {
                    Some(refs) => self.store.open_lines(desk.season, refs).await,
                    None => Ok(HashMap::new()),
                }
            };
            let until = (from + HOUSEHOLDS_AT_ONCE).min(refs.len());
            let plan = async { plan_some(desk, from..until, &mut lines, now) };
            let (read, unlike) = tokio::join!(read, plan);
            self.extend(desk, &mut delta, unlike).await?;
            lines = read?;
            from = until;
        }
        Ok(delta)
    }

    /// Adds what is stored for households that are gone.
    pub(super) async fn add_gone(
        &self,
        desk: &Desk,
        delta: &mut Delta,
        gone: &[&str],
    ) -> Result<(), OfficeFault> {
        let open = self.store.open_messages(desk.season, Some(gone)).await?;
        delta.withdraw.extend(difference(&desk.board, &desk.record, Vec::new(), &open).withdraw);
        Ok(())
    }

    /// Adds what the plans of some households differ in from what is stored for them.
    async fn extend(&self, desk: &Desk, delta: &mut Delta, unlike: Unlike) -> Result<(), OfficeFault> {
        let open = if unlike.stored.is_empty() {
            Vec::new()
        } else {
            let refs: Vec<&str> = unlike
                .stored
                .iter()
                .map(|household| desk.board.season.households[household.at()].reference.as_str())
                .collect();
            self.store.open_messages(desk.season, Some(&refs)).await?
        };
        let one = difference(&desk.board, &desk.record, unlike.wanted, &open);
        delta.add.extend(one.add);
        delta.withdraw.extend(one.withdraw);
        delta.retime.extend(one.retime);
        Ok(())
    }

    /// The difference for some households only, against what is stored for them.
    pub(super) async fn difference_for(
        &self,
        desk: &Desk,
        households: &HashSet<HouseholdId>,
        now: Timestamp,
    ) -> Result<Delta, OfficeFault> {
        let mut delta = Delta::default();
        let stored: Vec<HouseholdId> = touched(&desk.board, households).into_iter().collect();
        if stored.is_empty() {
            return Ok(delta);
        }
        let plan = |household: &HouseholdId| plan::plan_household(&desk.board, &desk.record, *household, now);
        let wanted = stored.iter().flat_map(plan).collect();
        self.extend(desk, &mut delta, Unlike { wanted, stored }).await?;
        Ok(delta)
    }
}

/// Households whose stored plan is not what is wanted.
#[derive(Default)]
struct Unlike {
    /// Everything wanted for them.
    wanted: Vec<Wanted>,
    /// Those of them for whom something is stored.
    stored: Vec<HouseholdId>,
}

/// Plans households by position, and gives back those whose stored messages are others.
fn plan_some(
    desk: &Desk,
    some: Range<usize>,
    lines: &mut HashMap<String, Vec<OpenLine>>,
    now: Timestamp,
) -> Unlike {
    let mut unlike = Unlike::default();
    for at in some {
        let household = HouseholdId(at as u32);
        let wanted = plan::plan_household(&desk.board, &desk.record, household, now);
        let stored = lines.get_mut(desk.board.season.households[at].reference.as_str());
        let is_stored = stored.is_some();
        if agrees(&wanted, stored.map_or(&mut [][..], Vec::as_mut_slice)) {
            continue;
        }
        unlike.wanted.extend(wanted);
        unlike.stored.extend(is_stored.then_some(household));
    }
    unlike
}

/// Whether [`difference`] would find nothing to do.
fn agrees(wanted: &[Wanted], stored: &mut [OpenLine]) -> bool {
    let line = |want: &Wanted| {
        let key = u128::from_str_radix(&want.key, 16).ok()?;
        Some((key, want.due.as_millisecond(), want.until.as_millisecond(), want.at_once))
    };
    let Some(mut wanted) = wanted.iter().map(line).collect::<Option<Vec<_>>>() else { return false };
    wanted.sort_unstable();
    stored.sort_unstable();
    let mut rest = stored.iter();
    for want in wanted {
        // What is under way or uncertain may be there besides.
        let Some(found) = rest.find(|line| line.key >= want.0 || line.movable) else { return false };
        let same = (found.key, found.due, found.until, found.at_once) == want;
        if found.key != want.0 || found.movable && !same {
            return false;
        }
    }
    rest.all(|line| !line.movable)
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
            message
                .guardians
                .iter()
                .filter_map(|g| board.guardian(g))
                .all(|guardian| standing(board, record, guardian, item).is_answered())
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
        spared: 0,
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
