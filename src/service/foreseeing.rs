//! What a change would do to messages and to paper, worked out without writing anything.

use super::office::{Office, OfficeFault, rebuild};
use super::planning::difference;
use super::ports::{Gateway, Store, StoredMessage};
use crate::domain::board::{Board, NO_EVENT};
use crate::domain::plan;
use crate::domain::season::{Channel, EventId, HouseholdId, Ref};
use crate::domain::sheets::{self, Sheet};
use crate::domain::touched::Touched;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// A message that a change adds, withdraws or moves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Foretold {
    /// By which channel.
    pub channel: Channel,
    /// Full names of those it goes to.
    pub to: Vec<String>,
    /// Names of the events it is about, or of the house rules.
    pub about: Vec<String>,
    /// How it is worded: a folder of message-templates.
    pub wording: String,
    /// When it leaves, or would have left.
    pub at: Timestamp,
}

/// What happens to messages.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Foreseen {
    /// Messages that come of it, soonest first.
    pub added: Vec<Foretold>,
    /// Messages that no longer go.
    pub withdrawn: Vec<Foretold>,
    /// Messages that go at another time, with the new one.
    pub moved: Vec<Foretold>,
}

/// Sheets of one event that are to be printed again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Papers {
    /// Name of the event.
    pub event: String,
    /// Titles of its sheets.
    pub sheets: Vec<String>,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// What planning would do if `new` were in force, as far as the households touched go.
    pub(super) async fn foresee(
        &self,
        season: i64,
        old: &Board,
        new: &Board,
        touched: &Touched,
    ) -> Result<Foreseen, OfficeFault> {
        let now = self.now();
        let history = self.store.history(season).await?;
        let record = rebuild(new, &history, now);
        // An announcement that has not left yet is counted from the latest change, whatever that is about.
        let announced = self.store.announced(season).await?;
        let concerned: BTreeSet<&str> =
            touched.households.iter().chain(&announced).map(String::as_str).collect();
        let concerns = |household: &Ref| touched.all_messages || concerned.contains(household.as_str());
        let households = (0_u32..).map(HouseholdId).zip(&new.season.households);
        let wanted = households
            .filter(|(_, household)| concerns(&household.reference))
            .flat_map(|(id, _)| plan::plan_household(new, &record, id, now))
            .collect();
        let concerned: Vec<&str> = concerned.into_iter().collect();
        let some = (!touched.all_messages).then_some(concerned.as_slice());
        let open = self.store.open_messages(season, some).await?;
        let delta = difference(new, &record, wanted, &open);
        let by_id: HashMap<i64, &StoredMessage> = open.iter().map(|message| (message.id, message)).collect();
        let told = |message: &StoredMessage, at| foretold([new, old], message, at);
        let mut foreseen = Foreseen {
            added: delta.add.iter().map(|message| told(message, message.due)).collect(),
            withdrawn: delta
                .withdraw
                .iter()
                .filter_map(|(id, _)| by_id.get(id).map(|message| told(message, message.due)))
                .collect(),
            moved: delta
                .retime
                .iter()
                .filter_map(|(id, due, _, _)| by_id.get(id).map(|message| told(message, *due)))
                .collect(),
        };
        for list in [&mut foreseen.added, &mut foreseen.withdrawn, &mut foreseen.moved] {
            list.sort_by(|a, b| (a.at, &a.to, a.channel).cmp(&(b.at, &b.to, b.channel)));
        }
        Ok(foreseen)
    }
}

/// A message in words; what is gone from one season is named as the other knows it.
fn foretold(boards: [&Board; 2], message: &StoredMessage, at: Timestamp) -> Foretold {
    let guardian = |reference: &String| {
        let mut found = boards.iter().filter_map(|board| {
            board.guardian(reference).map(|id| board.season.guardians[id.at()].name.clone())
        });
        found.next()
    };
    let event = |reference: &str| {
        let mut found = boards
            .iter()
            .filter_map(|board| board.event(reference).map(|id| board.season.events[id.at()].name.clone()));
        found.next()
    };
    let mut about: Vec<String> = Vec::new();
    for part in &message.parts {
        let rules = part.event == NO_EVENT;
        let name = if rules { Some("house rules".to_owned()) } else { event(&part.event) };
        about.extend(name.filter(|name| !about.contains(name)));
    }
    Foretold {
        channel: message.channel,
        to: message.guardians.iter().filter_map(guardian).collect(),
        about,
        wording: message.wording.clone(),
        at,
    }
}

/// The sheets that differ, of events to come, by event.
pub(super) fn papers(old: &Board, new: &Board, events: &BTreeSet<Ref>, now: Timestamp) -> Vec<Papers> {
    let mut out: Vec<(Timestamp, Papers)> = Vec::new();
    for reference in events {
        let [was, is] = [old, new].map(|board| board.event(reference).map(|id| (board, id)));
        let Some((board, id)) = is.or(was) else { continue };
        let begins = |(board, id): (&Board, EventId)| board.season.curtain_up(id);
        if ![was, is].into_iter().flatten().any(|one| begins(one) > now) {
            continue;
        }
        let mut before = by_name(was);
        let mut sheets = Vec::new();
        for (name, sheet) in by_name(is) {
            if before.remove(&name).as_ref() != Some(&sheet) {
                sheets.push(sheet.short);
            }
        }
        sheets.extend(before.into_values().map(|sheet| sheet.short));
        if !sheets.is_empty() {
            let event = board.season.events[id.at()].name.clone();
            out.push((board.season.curtain_up(id), Papers { event, sheets }));
        }
    }
    out.sort_by(|a, b| (a.0, &a.1.event).cmp(&(b.0, &b.1.event)));
    out.into_iter().map(|(_, papers)| papers).collect()
}

fn by_name(of: Option<(&Board, EventId)>) -> BTreeMap<String, Sheet> {
    let sheets = of.map(|(board, event)| sheets::of_event(board, event, &|_| None)).unwrap_or_default();
    sheets.into_iter().map(|sheet| (sheet.name(), sheet)).collect()
}
