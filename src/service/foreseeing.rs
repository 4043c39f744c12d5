//! What a change would do to messages and to paper, worked out without writing anything.

use super::office::{Desk, Office, OfficeFault, rebuild};
use super::ports::{Gateway, OpenLine, Store, StoredMessage};
use crate::domain::board::{Board, NO_EVENT};
use crate::domain::plan::{self, Wanted};
use crate::domain::reading::Kept;
use crate::domain::record::Record;
use crate::domain::season::{Channel, EventId, HouseholdId, Ref};
use crate::domain::sheets::{self, Marks, PaperSheet};
use crate::domain::touched::Touched;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};

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
        desk: &mut Desk,
        new: &Board,
        kept: &Kept,
        touched: &Touched,
    ) -> Result<Foreseen, OfficeFault> {
        let (now, season) = (self.now(), desk.season);
        // An announcement that has not left yet is counted from the latest change, whatever that is about.
        let announced = self.store.announced(season).await?;
        let concerned: BTreeSet<&str> =
            touched.households.iter().chain(&announced).map(String::as_str).collect();
        let mut other;
        let record = if desk.has_same_names(new, kept) {
            &mut desk.record
        } else {
            other = rebuild(new, &self.store.history(season).await?, now);
            &mut other
        };
        let households: Vec<HouseholdId> = if touched.all_messages {
            (0..new.season.households.len() as u32).map(HouseholdId).collect()
        } else {
            concerned.iter().filter_map(|household| new.household(household)).collect()
        };
        let wanted = planned(new, record, &households, now);
        let boards = [new, &desk.board];
        let refs: Vec<&str> = if touched.all_messages {
            let gone = desk.board.season.households.iter().chain(&new.season.households);
            gone.map(|household| household.reference.as_str()).collect::<BTreeSet<_>>().into_iter().collect()
        } else {
            concerned.into_iter().collect()
        };
        let mut stored = self.store.open_lines(season, &refs).await?;
        let mut foreseen = Foreseen::default();
        for want in &wanted {
            let household = &new.season.households[want.household.at()].reference;
            let lines = stored.get_mut(household);
            match lines.and_then(|lines| take(lines, want)) {
                None => foreseen.added.push(wanted_told(boards, want)),
                Some(line) if line.movable && !is_timed_as(&line, want) => {
                    foreseen.moved.push(wanted_told(boards, want));
                }
                Some(_) => {}
            }
        }
        // Only of what no longer goes is more to be read than when it would have gone.
        stored.values_mut().for_each(|lines| lines.retain(|line| line.movable));
        stored.retain(|_, lines| !lines.is_empty());
        let refs: Vec<&str> = stored.keys().map(String::as_str).collect();
        for message in self.store.open_messages(season, Some(&refs)).await? {
            let left = stored.get(&message.household).into_iter().flatten();
            if left.map(|line| line.key).any(|key| Some(key) == number(&message.key)) {
                foreseen.withdrawn.push(foretold(boards, &message));
            }
        }
        for list in [&mut foreseen.added, &mut foreseen.withdrawn, &mut foreseen.moved] {
            list.sort_by(|a, b| (a.at, &a.to, a.channel).cmp(&(b.at, &b.to, b.channel)));
        }
        Ok(foreseen)
    }
}

/// Plans households as if the season had changed just now.
fn planned(board: &Board, record: &mut Record, households: &[HouseholdId], now: Timestamp) -> Vec<Wanted> {
    let revised_at = std::mem::replace(&mut record.revised_at, now);
    let plan = |household: &HouseholdId| plan::plan_household(board, record, *household, now);
    let wanted = households.iter().flat_map(plan).collect();
    record.revised_at = revised_at;
    wanted
}

/// The stored line of a message, taken from those of its household.
fn take(lines: &mut Vec<OpenLine>, want: &Wanted) -> Option<OpenLine> {
    let key = number(&want.key)?;
    let at = lines.iter().position(|line| line.key == key)?;
    Some(lines.swap_remove(at))
}

fn is_timed_as(line: &OpenLine, want: &Wanted) -> bool {
    (line.due, line.until, line.at_once)
        == (want.due.as_millisecond(), want.until.as_millisecond(), want.at_once)
}

fn number(key: &str) -> Option<u128> {
    u128::from_str_radix(key, 16).ok()
}

/// A stored message in words.
fn foretold(boards: [&Board; 2], message: &StoredMessage) -> Foretold {
    let events = message.parts.iter().map(|part| part.event.as_str());
    let (to, about) = (message.guardians.iter().map(String::as_str), events);
    in_words(boards, message.channel, to, about, &message.wording, message.due)
}

/// A message that is wanted, in words.
fn wanted_told(boards: [&Board; 2], want: &Wanted) -> Foretold {
    let season = &boards[0].season;
    let to = want.guardians.iter().map(|guardian| season.guardians[guardian.at()].reference.as_str());
    let about = want.parts.iter().map(|(item, _)| boards[0].item_refs(*item).1);
    in_words(boards, want.channel, to, about, &want.wording, want.due)
}

/// A message in words, by refs; what is gone from one season is named as the other knows it.
fn in_words<'a>(
    boards: [&Board; 2],
    channel: Channel,
    to: impl Iterator<Item = &'a str>,
    events: impl Iterator<Item = &'a str>,
    wording: &str,
    at: Timestamp,
) -> Foretold {
    let guardian = |reference: &str| {
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
    for reference in events {
        let name = if reference == NO_EVENT { Some("house rules".to_owned()) } else { event(reference) };
        about.extend(name.filter(|name| !about.contains(name)));
    }
    Foretold { channel, to: to.filter_map(guardian).collect(), about, wording: wording.to_owned(), at }
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
        // The two are worked out side by side: they are most of a look at a change.
        let (mut before, now) = std::thread::scope(|scope| {
            let before = scope.spawn(move || by_name(was));
            let now = by_name(is);
            (before.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)), now)
        });
        let mut sheets = Vec::new();
        for (name, sheet) in now {
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

fn by_name(of: Option<(&Board, EventId)>) -> BTreeMap<String, PaperSheet> {
    let sheets = of.map(|(board, event)| sheets::of_event(board, event, Marks::none())).unwrap_or_default();
    sheets.into_iter().map(|sheet| (sheet.name(), sheet)).collect()
}
