//! Calendars that families and chaperones take with them: the entries of mails, of a file, and of a private address
//! that a calendar program reads again and again. Reading any of them is no answer.
//!
//! Entries are written as instants in UTC: every reader knows them without a table of time zones, and shows the right
//! hour on both sides of a clock change. The hours as the season's clocks show them stand in each entry's words.

use super::composing::token_hash;
use super::drafting::given_name;
use super::office::{Desk, Office, OfficeFault};
use super::ports::{FeedHolder, Gateway, NewFeed, Store, StoredFeed};
use crate::domain::board::{Board, Item};
use crate::domain::ics;
use crate::domain::itinerary::in_cast;
use crate::domain::season::{ChaperoneId, EventId, GuardianId, HouseholdId, Language, Person, Slot};
use jiff::Timestamp;
use std::collections::BTreeSet;
use std::sync::Arc;

/// How calendars know who made them.
pub const PRODUCT: &str = "-//Allheard//Allheard//EN";
/// How often a calendar program is asked to look again, minutes.
pub const REFRESH_MINUTES: u32 = 60;
/// How long before the children's call, or before a chaperone is due, a calendar reminds, minutes.
const ALARM_MINUTES: u32 = 120;
/// 2020-01-01T00:00:00Z in seconds since the epoch, from which SEQUENCE counts: it is a signed number of 32 bits
/// (RFC 5545 section 3.3.8).
const SEQUENCE_FROM: i64 = 1_577_836_800;

/// Whose days a calendar holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Whose {
    /// The children of guardians in one household.
    Family {
        /// The household.
        household: HouseholdId,
        /// The guardians.
        guardians: Vec<GuardianId>,
    },
    /// A chaperone's duties.
    Chaperone(ChaperoneId),
}

/// One line of a calendar.
#[derive(Debug, Clone)]
pub struct CalendarDay {
    /// At what.
    pub event: EventId,
    /// The item, for a child's day.
    pub item: Option<Item>,
    /// Everything but the description.
    pub entry: ics::Entry,
}

/// A calendar before its entries are put into words.
#[derive(Debug)]
pub struct CalendarData {
    /// The season.
    pub board: Arc<Board>,
    /// Whose.
    pub whose: Whose,
    /// The days, soonest first, those called off among them.
    pub days: Vec<CalendarDay>,
}

/// What was found behind a private address.
#[derive(Debug)]
pub enum FoundFeed {
    /// A calendar.
    Open(CalendarData),
    /// An address that has died with its season, or with those it was for.
    Dead,
    /// Nothing.
    Nothing,
}

/// SEQUENCE of every entry while a workbook is in force: the second it came into force, so that the same facts have the
/// same number in mails and feeds, and a change or a cancellation a higher one (RFC 5546 section 2.1.4).
fn sequence(revised_at: Timestamp) -> u32 {
    u32::try_from(revised_at.as_second() - SEQUENCE_FROM).unwrap_or(0)
}

/// The entry of a child, or of a chaperone, at an event, without a description; none for the season's house rules. What
/// no longer takes place for that person is cancelled.
pub fn entry(board: &Board, item: Item, revised_at: Timestamp, language: &Language) -> Option<ics::Entry> {
    let event = &board.season.events[item.event?.at()];
    let called = board.season.phrases.said(&event.name, language);
    let it = board.itinerary(item);
    let start = it.map_or_else(|| board.over_at(item), |it| it.call_at);
    // A chaperone's calendar is her own and needs no name.
    let name = given_name(board, item.who).filter(|_| !item.who.is_chaperone());
    Some(ics::Entry {
        summary: name.map_or_else(|| called.to_owned(), |name| format!("{name}: {called}")),
        start,
        end: board.over_at(item).max(start),
        alarm_minutes: it.map(|_| ALARM_MINUTES),
        cancelled: it.is_none(),
        ..outline(board, board.item_refs(item), item.event?, revised_at, language)
    })
}

fn outline(
    board: &Board,
    (who, at): (&str, &str),
    event: EventId,
    revised_at: Timestamp,
    language: &Language,
) -> ics::Entry {
    let place = &board.season.places[board.season.events[event.at()].place.at()];
    ics::Entry {
        uid: format!("{who}.{at}@{}", board.season.reference),
        item: format!("{who}/{at}"),
        sequence: sequence(revised_at),
        // Without a METHOD, DTSTAMP is when the entry was last revised (RFC 5545 section 3.8.7.2).
        stamp: revised_at,
        start: revised_at,
        end: revised_at,
        summary: String::new(),
        location: format!("{}, {}", place.name, board.season.phrases.said(&place.door, language)),
        description: String::new(),
        alarm_minutes: None,
        cancelled: false,
    }
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// The calendar of whoever a guardian's link was sent to; none if it opens nothing.
    pub async fn calendar_by_link(&self, token: &str) -> Result<Option<CalendarData>, OfficeFault> {
        let desk = self.desk().await?;
        let whose = self.family_of(&desk, token).await?;
        Ok(whose.map(|whose| calendar(&desk, whose)))
    }

    /// A chaperone's calendar; none if there is no such chaperone.
    pub async fn chaperone_calendar(&self, chaperone: &str) -> Result<Option<CalendarData>, OfficeFault> {
        let desk = self.desk().await?;
        Ok(chaperone_named(&desk.board, chaperone).map(|id| calendar(&desk, Whose::Chaperone(id))))
    }

    /// The calendar behind a private address. Changes nothing.
    pub async fn calendar_by_feed(&self, token: &str) -> Result<FoundFeed, OfficeFault> {
        let desk = match self.desk().await {
            Err(OfficeFault::NoSeason) => return Ok(FoundFeed::Nothing),
            desk => desk?,
        };
        let Some(feed) = self.store.feed(desk.season, &token_hash(token)).await? else {
            return Ok(FoundFeed::Nothing);
        };
        let whose = if feed.expires > self.now() { holders(&desk.board, &feed) } else { None };
        Ok(whose.map_or(FoundFeed::Dead, |whose| FoundFeed::Open(calendar(&desk, whose))))
    }

    /// A new private address for whoever a guardian's link was sent to, as its token; the one made before is dead. None
    /// if the link opens nothing.
    pub async fn new_feed_by_link(&self, token: &str) -> Result<Option<String>, OfficeFault> {
        let desk = self.desk().await?;
        let season = &desk.board.season;
        let (household, guardians) = match self.family_of(&desk, token).await? {
            None => return Ok(None),
            Some(Whose::Family { household, guardians }) => (household, guardians),
            Some(Whose::Chaperone(chaperone)) => {
                let person = season.chaperones[chaperone.at()].reference.clone();
                let holder = FeedHolder { person, household: String::new() };
                return self.new_feed(&desk, vec![holder]).await.map(Some);
            }
        };
        let household = season.households[household.at()].reference.clone();
        let holders = guardians.iter().map(|guardian| FeedHolder {
            person: season.guardians[guardian.at()].reference.clone(),
            household: household.clone(),
        });
        self.new_feed(&desk, holders.collect()).await.map(Some)
    }

    /// A new private address for a chaperone, as its token; the one made before is dead. None if there is no such
    /// chaperone.
    pub async fn new_chaperone_feed(&self, chaperone: &str) -> Result<Option<String>, OfficeFault> {
        let desk = self.desk().await?;
        if chaperone_named(&desk.board, chaperone).is_none() {
            return Ok(None);
        }
        let holder = FeedHolder { person: chaperone.to_owned(), household: String::new() };
        self.new_feed(&desk, vec![holder]).await.map(Some)
    }

    async fn new_feed(&self, desk: &Desk, holders: Vec<FeedHolder>) -> Result<String, OfficeFault> {
        let token = self.token();
        let expires = self.season_links_end(&desk.board);
        self.store.put_feed(desk.season, &NewFeed { hash: token_hash(&token), holders, expires }).await?;
        Ok(token)
    }

    async fn family_of(&self, desk: &Desk, token: &str) -> Result<Option<Whose>, OfficeFault> {
        let link = self.store.link(desk.season, &token_hash(token)).await?;
        let message = link.filter(|l| l.expires > self.now() && l.kind == "guardian").and_then(|l| l.message);
        Ok(message.and_then(|message| {
            let household = desk.board.household(&message.household)?;
            let guardians: Vec<GuardianId> =
                message.guardians.iter().filter_map(|g| desk.board.guardian(g)).collect();
            // A chaperone's own message opens her own calendar.
            let own = desk.board.cares(household).iter().find_map(|care| match care.who {
                Person::Chaperone(chaperone) => Some(Whose::Chaperone(chaperone)),
                Person::Child(_) => None,
            });
            own.or((!guardians.is_empty()).then_some(Whose::Family { household, guardians }))
        }))
    }
}

fn chaperone_named(board: &Board, reference: &str) -> Option<ChaperoneId> {
    let at = board.season.chaperones.iter().position(|c| c.reference == reference)?;
    u32::try_from(at).ok().map(ChaperoneId)
}

/// Who an address is for, as far as they are still of the season.
fn holders(board: &Board, feed: &StoredFeed) -> Option<Whose> {
    let first = feed.holders.first()?;
    if first.household.is_empty() {
        return chaperone_named(board, &first.person).map(Whose::Chaperone);
    }
    let household = board.household(&first.household)?;
    let guardians: Vec<GuardianId> = feed
        .holders
        .iter()
        .filter(|holder| holder.household == first.household)
        .filter_map(|holder| board.guardian(&holder.person))
        .collect();
    (!guardians.is_empty()).then_some(Whose::Family { household, guardians })
}

fn calendar(desk: &Desk, whose: Whose) -> CalendarData {
    let board = &desk.board;
    let at = desk.record.revised_at;
    let season = &board.season;
    let language: &Language = match &whose {
        Whose::Family { guardians, .. } => {
            guardians.first().map_or(&season.language, |g| &season.guardians[g.at()].contact.language)
        }
        Whose::Chaperone(chaperone) => &season.chaperones[chaperone.at()].contact.language,
    };
    let mut days: Vec<CalendarDay> = match &whose {
        Whose::Family { household, guardians } => family_items(desk, *household, guardians)
            .into_iter()
            .filter_map(|item| {
                Some(CalendarDay {
                    event: item.event?,
                    item: Some(item),
                    entry: entry(board, item, at, language)?,
                })
            })
            .collect(),
        Whose::Chaperone(chaperone) => {
            let duties = board.season.duties.iter().filter(|duty| duty.chaperone == *chaperone);
            let events: BTreeSet<EventId> = duties.map(|duty| duty.event).collect();
            let day = |event| {
                let item = Item { who: Person::Chaperone(*chaperone), event: Some(event) };
                Some(CalendarDay { event, item: None, entry: entry(board, item, at, language)? })
            };
            events.into_iter().filter_map(day).collect()
        }
    };
    days.sort_by(|a, b| (a.entry.start, &a.entry.uid).cmp(&(b.entry.start, &b.entry.uid)));
    CalendarData { board: board.clone(), whose, days }
}

/// Every event that children of a household are called to or were, as far as these guardians may know of it.
fn family_items(desk: &Desk, household: HouseholdId, guardians: &[GuardianId]) -> Vec<Item> {
    let board = &desk.board;
    let cares = board.cares(household).iter().filter(|care| guardians.contains(&care.guardian));
    let children: BTreeSet<_> = cares.map(|care| care.who).collect();
    let mut items = Vec::new();
    for who in children {
        for (at, event) in (0_u32..).zip(&board.season.events) {
            let item = Item { who, event: Some(EventId(at)) };
            let told = || guardians.iter().any(|g| desk.record.told.contains_key(&(*g, item)));
            if board.itinerary(item).is_some() || (event.cancelled && was_called(board, item)) || told() {
                items.push(item);
            }
        }
    }
    items
}

/// Whether a child would be called to an event if it were not called off.
fn was_called(board: &Board, item: Item) -> bool {
    let Some(event) = item.event.map(|event| &board.season.events[event.at()]) else { return false };
    let Some(child) = item.who.child() else { return false };
    let child = &board.season.children[child.at()];
    let danced = |slot: &Slot| match slot {
        Slot::Number { number, .. } => child.castings.iter().any(|casting| casting.number == *number),
        Slot::Interval(_) => false,
    };
    in_cast(event, child) && event.order.iter().any(danced)
}
