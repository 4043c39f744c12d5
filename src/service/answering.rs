//! What people answer, by whatever road, becomes a standing: recorded with what follows from it, in one transaction.

use super::composing::token_hash;
use super::hearing::is_answered_by;
use super::office::{Desk, Office, OfficeFault, note_answer};
use super::ports::{Decided, Gateway, LinkKind, NewAnswer, Store, StoredLink};
use super::reply::ReplyKind;
use crate::domain::board::{Board, Item};
use crate::domain::facts::{Facts, Fingerprint};
use crate::domain::graph::State;
use crate::domain::record::{AnswerKind, Record};
use crate::domain::season::{Channel, ChaperoneId, ChildId, GuardianId, HouseholdId, Person};
use crate::domain::standing::{Standing, standing};
use jiff::{SignedDuration, Timestamp};
use std::collections::HashSet;
use std::sync::Arc;

/// Characters of a question that are kept.
pub const QUESTION_CHARACTERS_MAX: usize = 1_000;

/// What became of an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noted {
    /// Recorded.
    Recorded,
    /// Said before; nothing changed.
    Known,
    /// The facts have changed since the page was opened; nothing recorded, show today's and ask again.
    Changed,
    /// The link does not cover that child and event, or is dead.
    NotCovered,
}

/// One item of a guardian's page.
#[derive(Debug, Clone)]
pub struct SheetData {
    /// The item.
    pub item: Item,
    /// Today's facts.
    pub facts: Facts,
    /// Their fingerprint.
    pub fingerprint: Fingerprint,
    /// What she knew before, where it differs.
    pub before: Option<Facts>,
    /// Where she is.
    pub standing: Standing,
    /// When she last answered about it.
    pub answered: Option<Timestamp>,
    /// Whether the message whose link was opened asks about it.
    pub by_this: bool,
}

/// Everything a guardian's page shows.
pub struct GuardianData {
    /// The kind of link it was opened by.
    pub opened_by: String,
    /// The season.
    pub board: Arc<Board>,
    /// Who the page is for; several for one shared address.
    pub guardians: Vec<GuardianId>,
    /// The channel her message came by.
    pub channel: Channel,
    /// The address it went to.
    pub address: String,
    /// Whether messages to that address are stopped.
    pub stopped: bool,
    /// The items her message was about.
    pub sheets: Vec<SheetData>,
}

/// Messages decided about in one act at most.
const DECIDED_AT_ONCE: u32 = 100_000;
/// An answer sent once more is of use for so long.
const SENT_AGAIN_LIVES: SignedDuration = SignedDuration::from_hours(24);

/// The links by which messages to an address are stopped; mails of earlier versions have the first.
pub(super) const STOPS: [LinkKind; 2] = [LinkKind::Guardian, LinkKind::Stop];

/// A link that opens a guardian's page.
pub(super) struct Opened {
    pub link: StoredLink,
    pub guardians: Vec<GuardianId>,
    /// Everything they have been told that is still to come: what the message asks first.
    items: Vec<Item>,
    /// What the message is about.
    asked: Vec<Item>,
    pub channel: Channel,
    household: Option<HouseholdId>,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Looks a token up; none if it opens nothing or has died.
    pub async fn open_link(&self, token: &str) -> Result<Option<StoredLink>, OfficeFault> {
        let season = self.desk().await?.season;
        let link = self.store.link(season, &token_hash(token)).await?;
        Ok(link.filter(|link| link.expires > self.now()))
    }

    async fn opened(&self, desk: &Desk, token: &str) -> Result<Option<Opened>, OfficeFault> {
        self.opened_as(desk, token, &[LinkKind::Guardian]).await
    }

    pub(super) async fn opened_as(
        &self,
        desk: &Desk,
        token: &str,
        kinds: &[LinkKind],
    ) -> Result<Option<Opened>, OfficeFault> {
        let link = self.store.link(desk.season, &token_hash(token)).await?;
        let is_one = |link: &StoredLink| kinds.iter().any(|kind| kind.word() == link.kind);
        let Some(link) = link.filter(|link| link.expires > self.now() && is_one(link)) else {
            return Ok(None);
        };
        let Some(message) = &link.message else { return Ok(None) };
        let in_time = |items: &mut Vec<Item>| {
            items.sort_by_key(|item| (desk.board.needed_by(*item), item.who));
            items.dedup();
        };
        let guardians: Vec<GuardianId> =
            message.guardians.iter().filter_map(|g| desk.board.guardian(g)).collect();
        let answered = message.parts.iter().filter(|part| is_answered_by(&desk.board, part));
        let mut asked: Vec<Item> = answered.filter_map(|p| desk.board.item(&p.child, &p.event)).collect();
        if asked.is_empty() {
            let parts = message.parts.iter();
            asked = parts.filter_map(|part| desk.board.item(&part.child, &part.event)).collect();
        }
        in_time(&mut asked);
        let told = told_to(desk, &guardians, self.now());
        let mut others: Vec<Item> = told.into_iter().filter(|item| !asked.contains(item)).collect();
        in_time(&mut others);
        Ok(Some(Opened {
            guardians,
            items: asked.iter().copied().chain(others).collect(),
            asked,
            channel: message.channel,
            household: desk.board.household(&message.household),
            link,
        }))
    }

    /// What a guardian's link shows. Changes nothing.
    pub async fn guardian_data(&self, token: &str) -> Result<Option<GuardianData>, OfficeFault> {
        self.data_as(token, &[LinkKind::Guardian]).await
    }

    /// The same behind a link by which messages are stopped.
    pub async fn stop_data(&self, token: &str) -> Result<Option<GuardianData>, OfficeFault> {
        self.data_as(token, &STOPS).await
    }

    async fn data_as(&self, token: &str, kinds: &[LinkKind]) -> Result<Option<GuardianData>, OfficeFault> {
        let desk = self.desk().await?;
        let Some(opened) = self.opened_as(&desk, token, kinds).await? else { return Ok(None) };
        let Some(first) = opened.guardians.first().copied() else { return Ok(None) };
        let mut sheets = Vec::with_capacity(opened.items.len());
        for item in &opened.items {
            let fingerprint = desk.board.fingerprint(*item);
            let known =
                desk.record.answer_of(first, *item).map(|a| a.fingerprint).filter(|f| *f != fingerprint);
            let known =
                known.or_else(|| super::drafting::told_before(&desk.board, &desk.record, first, *item));
            let form = match known.filter(|f| *f != fingerprint) {
                Some(known) => self.store.facts(desk.season, known).await?,
                None => None,
            };
            sheets.push(SheetData {
                item: *item,
                facts: desk.board.facts(*item),
                fingerprint,
                before: form.map(|form| Facts::parse(&form)),
                standing: standing(&desk.board, &desk.record, first, *item),
                answered: desk.record.answer_of(first, *item).map(|a| a.at),
                by_this: opened.asked.contains(item),
            });
        }
        let stopped = desk.record.stopped.contains(opened.channel, &opened.link.address);
        Ok(Some(GuardianData {
            opened_by: opened.link.kind.clone(),
            board: desk.board.clone(),
            guardians: opened.guardians,
            channel: opened.channel,
            address: opened.link.address,
            stopped,
            sheets,
        }))
    }

    /// An answer given on a guardian's page, for one item as she saw it. The same act again changes nothing.
    pub async fn answer_by_link(
        &self,
        token: &str,
        child: &str,
        event: &str,
        seen: Fingerprint,
        kind: AnswerKind,
        words: &str,
    ) -> Result<Noted, OfficeFault> {
        let one = [(child, event, seen)];
        let noted = self.answer_all_by_link(token, &one, kind, words).await?;
        Ok(noted.first().copied().unwrap_or(Noted::NotCovered))
    }

    /// As [`Self::answer_by_link`], for several items of one page at once: (child, event, facts seen) each.
    pub async fn answer_all_by_link(
        &self,
        token: &str,
        seen: &[(&str, &str, Fingerprint)],
        kind: AnswerKind,
        words: &str,
    ) -> Result<Vec<Noted>, OfficeFault> {
        let mut desk = self.desk().await?;
        let Some(opened) = self.opened(&desk, token).await? else {
            return Ok(vec![Noted::NotCovered; seen.len()]);
        };
        let words: String = words.chars().take(QUESTION_CHARACTERS_MAX).collect();
        let mut noted = Vec::with_capacity(seen.len());
        let mut said = Vec::new();
        for (child, event, seen) in seen {
            let item = desk.board.item(child, event).filter(|item| opened.items.contains(item));
            noted.push(match item {
                None => Noted::NotCovered,
                Some(item) if kind == AnswerKind::Heard && desk.board.fingerprint(item) != *seen => {
                    Noted::Changed
                }
                Some(item) => {
                    let (act, words) = (opened.link.hash.as_str(), words.clone());
                    said.push(Said { kind: Some(kind), road: "page", act, words, ..Said::default_for(item) });
                    Noted::Known
                }
            });
        }
        if noted.contains(&Noted::NotCovered) {
            // A form is taken whole or not at all.
            return Ok(vec![Noted::NotCovered; seen.len()]);
        }
        let households = opened.household.into_iter().collect();
        let mut became = self.note(&mut desk, &opened.guardians, &said, &households).await?.into_iter();
        for one in noted.iter_mut().filter(|n| **n == Noted::Known) {
            *one = became.next().unwrap_or(Noted::Known);
        }
        if kind == AnswerKind::CantCome {
            let new = seen.iter().zip(&noted).filter(|(_, noted)| **noted == Noted::Recorded);
            let about: Vec<Item> = new.filter_map(|((c, e, _), _)| desk.board.item(c, e)).collect();
            self.confirm_to_all(&desk, &opened.guardians, &about).await?;
        }
        Ok(noted)
    }

    /// Confirms to every address of some guardians that they said on their page that a child can't come.
    async fn confirm_to_all(
        &self,
        desk: &Desk,
        guardians: &[GuardianId],
        about: &[Item],
    ) -> Result<(), OfficeFault> {
        let of_children = about.iter().all(|item| item.who.child().is_some() && item.event.is_some());
        if about.is_empty() || !of_children {
            return Ok(());
        }
        let now = self.now();
        let references: Vec<String> =
            guardians.iter().map(|g| desk.board.season.guardians[g.at()].reference.clone()).collect();
        for reply in self.word_to_all(desk, guardians, ReplyKind::CantCome, about, now) {
            self.store.put_reply(desk.season, &reply, &references, now).await?;
        }
        Ok(())
    }

    /// What a chaperone says of her own duties on her page. `seen` are the facts that the page showed.
    pub async fn answer_duty(
        &self,
        chaperone: ChaperoneId,
        event: &str,
        seen: Fingerprint,
        kind: AnswerKind,
    ) -> Result<Noted, OfficeFault> {
        let mut desk = self.desk().await?;
        let who = Person::Chaperone(chaperone);
        let item = desk.board.event(event).map(|event| Item { who, event: Some(event) });
        let item = item.filter(|item| desk.board.itinerary(*item).is_some());
        let own = desk.board.cares_of(who).next().map(|care| (care.guardian, care.household));
        let Some((item, (own, household))) = item.zip(own) else { return Ok(Noted::NotCovered) };
        if kind == AnswerKind::Heard && seen != desk.board.fingerprint(item) {
            return Ok(Noted::Changed);
        }
        let reference = desk.board.season.chaperones[chaperone.at()].reference.clone();
        let said = Said { kind: Some(kind), road: "page", act: &reference, ..Said::default_for(item) };
        let noted = self.note(&mut desk, &[own], &[said], &HashSet::from([household])).await?;
        Ok(noted.first().copied().unwrap_or(Noted::Known))
    }

    /// Records acts of one person in one transaction, with what follows from them; what was said before is left out.
    pub(super) async fn note(
        &self,
        desk: &mut Desk,
        guardians: &[GuardianId],
        said: &[Said<'_>],
        households: &HashSet<HouseholdId>,
    ) -> Result<Vec<Noted>, OfficeFault> {
        let now = self.now();
        let new: Vec<bool> = said
            .iter()
            .map(|said| guardians.iter().any(|g| !said.is_known(&desk.board, &desk.record, *g)))
            .collect();
        let answers: Vec<(GuardianId, Item, NewAnswer)> = said
            .iter()
            .zip(&new)
            .filter(|(_, new)| **new)
            .flat_map(|(said, _)| guardians.iter().map(move |g| (*g, said)))
            .map(|(g, said)| {
                (g, said.item, said.answer(&desk.board, &desk.record, g, guardians.len() > 1, now))
            })
            .collect();
        if answers.is_empty() {
            return Ok(vec![Noted::Known; said.len()]);
        }
        let fresh = self.take_down(desk, answers, households).await?;
        Ok(new.iter().map(|new| if *new && fresh { Noted::Recorded } else { Noted::Known }).collect())
    }

    /// Records answers in one transaction, with what follows from them; false if all of them were known to the store.
    pub(super) async fn take_down(
        &self,
        desk: &mut Desk,
        answers: Vec<(GuardianId, Item, NewAnswer)>,
        households: &HashSet<HouseholdId>,
    ) -> Result<bool, OfficeFault> {
        let now = self.now();
        // Until the store has agreed, what is in memory is ahead of it and must be read again after a fault.
        let pulse = std::mem::replace(&mut desk.pulse, -1);
        for (guardian, item, answer) in &answers {
            note_answer(&mut desk.record, *guardian, *item, answer);
        }
        let delta = self.difference_for(desk, households, now).await?;
        let answers: Vec<NewAnswer> = answers.into_iter().map(|(.., answer)| answer).collect();
        let fresh = self.store.answer(desk.season, &answers, &delta, now).await?;
        if fresh {
            desk.pulse = pulse + 1;
        }
        Ok(fresh)
    }

    /// A message came back: its address does not work, and what it said goes another way.
    pub async fn bounced(&self, key: &str) -> Result<bool, OfficeFault> {
        let now = self.now();
        let season = self.desk().await?.season;
        let Some((channel, address)) = self.store.bounce(season, key, now).await? else { return Ok(false) };
        let desk = self.desk().await?;
        let households = self.households_at(&desk, channel, &address);
        let delta = self.difference_for(&desk, &households, now).await?;
        if !delta.is_empty() {
            self.store.reconcile(season, &delta, now).await?;
        }
        Ok(true)
    }

    /// A person decides about one message in doubt, refused, come back or set aside; gives back for how many it held.
    pub async fn decide(&self, message: i64, what: Decided) -> Result<u64, OfficeFault> {
        self.decide_some(&[message], what).await
    }

    /// A person decides about all messages at once that such a decision can be about.
    pub async fn decide_all(&self, what: Decided) -> Result<u64, OfficeFault> {
        let states: &[State] = match what {
            Decided::Arrived | Decided::AgainInDoubt => &[State::Uncertain],
            Decided::TakeUp | Decided::LetBe => &[State::Refused, State::Bounced, State::Quarantined],
        };
        let season = self.desk().await?.season;
        let all = self.store.messages_to_see(season, states, DECIDED_AT_ONCE).await?;
        self.decide_some(&all.iter().map(|message| message.id).collect::<Vec<_>>(), what).await
    }

    async fn decide_some(&self, messages: &[i64], what: Decided) -> Result<u64, OfficeFault> {
        if what == Decided::Arrived {
            self.tell_recalled(messages).await?;
        }
        let mut desk = self.desk().await?;
        let done = self.store.decide(desk.season, messages, what, self.now()).await?;
        if done > 0 {
            desk.pulse = -1;
        }
        Ok(done)
    }

    /// A person sends their own answer once more, or lets it be; false if that was decided before.
    pub async fn decide_reply(&self, reply: i64, again: bool) -> Result<bool, OfficeFault> {
        let now = self.now();
        let season = self.desk().await?.season;
        let until = again.then(|| now.saturating_add(SENT_AGAIN_LIVES).unwrap_or(now));
        Ok(self.store.decide_reply(season, reply, until, now).await?)
    }
}

/// What any of some guardians has been told that is not over yet.
fn told_to(desk: &Desk, guardians: &[GuardianId], now: Timestamp) -> Vec<Item> {
    let board = &desk.board;
    let of = |guardian: &GuardianId| {
        let first = (*guardian, Item { who: Person::Child(ChildId(0)), event: None });
        let guardian = *guardian;
        desk.record.told.range(first..).take_while(move |((g, _), _)| *g == guardian)
    };
    let hers =
        |guardian: &GuardianId, item: &Item| board.cares_of(item.who).any(|care| care.guardian == *guardian);
    let told = guardians.iter().flat_map(of).map(|((guardian, item), _)| (*guardian, *item));
    told.filter(|(guardian, item)| hers(guardian, item))
        .map(|(_, item)| item)
        .filter(|item| board.over_at(*item) > now)
        .collect()
}

/// One person's act, before it is spelled out for each guardian.
pub(super) struct Said<'a> {
    pub item: Item,
    pub kind: Option<AnswerKind>,
    pub road: &'a str,
    pub act: &'a str,
    pub words: String,
    pub noted_by: &'a str,
    pub outcome: &'a str,
}

impl<'a> Said<'a> {
    pub fn default_for(item: Item) -> Said<'a> {
        Said { item, kind: None, road: "", act: "", words: String::new(), noted_by: "", outcome: "" }
    }

    /// Whether a guardian has said so already, about the same facts.
    pub fn is_known(&self, board: &Board, record: &Record, guardian: GuardianId) -> bool {
        let last = record.answer_of(guardian, self.item);
        let same =
            |kind| last.is_some_and(|a| a.kind == kind && a.fingerprint == board.fingerprint(self.item));
        match self.kind {
            Some(AnswerKind::Heard) => {
                same(AnswerKind::Heard) && standing(board, record, guardian, self.item) == Standing::Heard
            }
            Some(AnswerKind::CantCome) => same(AnswerKind::CantCome),
            Some(AnswerKind::Question) | None => false,
        }
    }

    pub fn answer(
        &self,
        board: &Board,
        record: &Record,
        guardian: GuardianId,
        one_phone: bool,
        now: Timestamp,
    ) -> NewAnswer {
        let (child, event) = board.item_refs(self.item);
        let fingerprint = board.fingerprint(self.item);
        let last = record.answer_of(guardian, self.item).map_or(0, |a| a.at.as_millisecond());
        let word = self.kind.map_or(self.outcome, |kind| kind.word());
        // A call that reached nobody, or a question, may be noted again; within the same minute it is a double tap.
        let again = match self.kind {
            Some(AnswerKind::Heard | AnswerKind::CantCome) => last,
            _ => now.as_second() / 60,
        };
        NewAnswer {
            at: now,
            road: self.road.to_owned(),
            external: format!("{} {word} {fingerprint} {again}", self.act),
            guardian: board.season.guardians[guardian.at()].reference.clone(),
            child: child.to_owned(),
            event: event.to_owned(),
            kind: self.kind,
            fingerprint,
            one_phone,
            words: self.words.clone(),
            noted_by: self.noted_by.to_owned(),
            outcome: self.outcome.to_owned(),
        }
    }
}
