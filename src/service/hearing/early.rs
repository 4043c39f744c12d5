//! Who asks for a child to leave early is told the rule of that event at once; a person gets the question all the same.

use super::Decision;
use crate::domain::answer::{asks_before, asks_early_release, names_day, names_person};
use crate::domain::board::{Board, Item};
use crate::domain::season::GuardianId;
use crate::service::office::{Desk, Office, OfficeFault};
use crate::service::ports::{Gateway, Store};
use crate::service::reply::ReplyKind;
use jiff::Timestamp;

/// What such a question became, in the word of the store.
pub(super) const EARLY_RELEASE: &str = "early_release";
/// Messages of a guardian looked through for one that was answered with the rule before.
const LOOKED_AT: u32 = 100;

impl<S: Store, G: Gateway> Office<S, G> {
    /// Answers with the rule where words ask for early release: once for each event and family. Gives back the event's
    /// item, which is what the question is about.
    pub(super) async fn with_the_rule(
        &self,
        desk: &Desk,
        words: &str,
        owners: &[GuardianId],
        now: Timestamp,
        decision: Decision,
    ) -> Result<Decision, OfficeFault> {
        let who = if owners.is_empty() { &decision.proven } else { owners };
        let item = asked_about(&desk.board, who, &decision.about, words, now);
        let item = item.filter(|item| asks_early(&desk.board, *item, words));
        let Some(item) = item else { return Ok(decision) };
        let about = vec![item];
        let told = self.was_told(desk, who, item).await?;
        let reply = if told { decision.reply } else { Some((ReplyKind::PickUp, about.clone())) };
        Ok(Decision { about, reply, early: true, ..decision })
    }

    async fn was_told(&self, desk: &Desk, who: &[GuardianId], item: Item) -> Result<bool, OfficeFault> {
        let (_, event) = desk.board.item_refs(item);
        for guardian in who {
            let reference = &desk.board.season.guardians[guardian.at()].reference;
            let before = self.store.incoming_of(desk.season, reference, LOOKED_AT).await?;
            let told = before.iter().any(|one| {
                one.incoming.became == EARLY_RELEASE && one.incoming.items.iter().any(|(_, of)| of == event)
            });
            if told {
                return Ok(true);
            }
        }
        Ok(false)
    }
}

/// Whether words ask that a child leaves an event early.
pub fn asks_early(board: &Board, item: Item, words: &str) -> bool {
    let times = board.itinerary(item).and_then(|it| Some((it.call.time(), it.collect_from?.at().time())));
    asks_early_release(words) || times.is_some_and(|(call, pick_up)| asks_before(words, call, pick_up))
}

/// The child and event that words about an early release mean: of those they can be about the one whose child and day are
/// named, else the soonest.
pub fn asked_about(
    board: &Board,
    who: &[GuardianId],
    about: &[Item],
    words: &str,
    now: Timestamp,
) -> Option<Item> {
    let ahead = |item: &Item| {
        let released = board.itinerary(*item).is_some_and(|it| it.collect_from.is_some());
        released && item.who.child().is_some() && board.over_at(*item) > now
    };
    let season = &board.season;
    let hers = season.cares.iter().filter(|care| who.contains(&care.guardian));
    let all = hers.flat_map(|care| {
        let of_child = board.programme.of_person(care.who);
        of_child.map(move |at| Item { who: care.who, event: Some(at.event) })
    });
    let mut items: Vec<Item> = all.filter(ahead).collect();
    items.sort_by_key(|item| (board.needed_by(*item), item.who));
    items.dedup();
    let named = |item: &&Item| names_person(words, season.given_name(item.who));
    let dated =
        |item: &&Item| item.event.is_some_and(|event| names_day(words, season.events[event.at()].date));
    let first = |keep: &dyn Fn(&&Item) -> bool| items.iter().find(|item| keep(item)).copied();
    first(&|item| named(item) && dated(item))
        .or_else(|| first(&|item| dated(item)))
        .or_else(|| about.iter().find(|item| ahead(item)).copied().filter(|item| named(&item)))
        .or_else(|| first(&|item| named(item)))
        .or_else(|| about.iter().find(|item| ahead(item)).copied())
        .or_else(|| items.first().copied())
}
