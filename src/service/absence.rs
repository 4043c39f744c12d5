//! A child who is not coming to an event, this once: confirmed by a person, told to those who look after it, taken back as
//! easily. A family's own "can't come" is a question until then. No reason is asked or kept.

use super::answering::Noted;
use super::chasing::Noter;
use super::lists::children_of;
use super::office::{Desk, Office, OfficeFault};
use super::ports::{Gateway, NewAbsence, NewReply, Store};
use super::reply::{Reply, ReplyKind};
use crate::domain::board::{Board, Item};
use crate::domain::due::window;
use crate::domain::in_charge::InCharge;
use crate::domain::published::clocks;
use crate::domain::record::{AnswerKind, Away};
use crate::domain::season::{Channel, ChaperoneId, GuardianId, Language, MailAddress, Person};
use crate::domain::standing::address;
use jiff::Timestamp;
use std::collections::{BTreeSet, HashSet};

/// What begins the reference of word to those who look after a child.
const REFERENCE: &str = "absence";

/// One act about one child at one event.
pub(super) struct Absence {
    pub item: Item,
    /// Not coming; false takes it back.
    pub away: bool,
    /// Who of the family said it; none where nobody did.
    pub said_by: Option<GuardianId>,
    pub by: Noter,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Notes that a child is not coming to an event, or is after all; refs. A chaperone may do so for the children they
    /// have there.
    pub async fn set_away(
        &self,
        by: Noter,
        said_by: &str,
        (child, event): (&str, &str),
        away: bool,
    ) -> Result<Noted, OfficeFault> {
        let mut desk = self.desk().await?;
        let board = desk.board.clone();
        let found = board.item(child, event).and_then(|item| Some((item, item.who.child()?, item.event?)));
        let Some((item, child, event)) = found else { return Ok(Noted::NotCovered) };
        let may = match by {
            Noter::Coordinator => true,
            Noter::Chaperone(chaperone) => children_of(&board, chaperone, event).contains(&child),
        };
        let beside = |guardian: &GuardianId| board.cares_of(child).any(|care| care.guardian == *guardian);
        let said_by = board.guardian(said_by).filter(beside);
        if !may || board.itinerary(item).is_none() || board.over_at(item) <= self.now() {
            return Ok(Noted::NotCovered);
        }
        let fresh = self.note_absence(&mut desk, &Absence { item, away, said_by, by }).await?;
        Ok(if fresh { Noted::Recorded } else { Noted::Known })
    }

    /// Records the act with what follows from it; false if it was so already.
    pub(super) async fn note_absence(&self, desk: &mut Desk, act: &Absence) -> Result<bool, OfficeFault> {
        let now = self.now();
        let board = desk.board.clone();
        let was_away = desk.record.is_away(act.item);
        // What a family said is dealt with by taking it back, too.
        let said = |guardian| {
            desk.record.answer_of(guardian, act.item).is_some_and(|a| a.kind == AnswerKind::CantCome)
        };
        let open = !act.away && board.cares_of(act.item.who).any(|care| said(care.guardian));
        if was_away == act.away && !open {
            return Ok(false);
        }
        let (child, event) = board.item_refs(act.item);
        let said_by = act.said_by.map(|guardian| board.season.guardians[guardian.at()].reference.clone());
        let new = NewAbsence {
            child: child.to_owned(),
            event: event.to_owned(),
            away: act.away,
            said_by: said_by.unwrap_or_default(),
            noted_by: act.by.name(&board).to_owned(),
        };
        let told = if was_away == act.away { Vec::new() } else { self.word_of(desk, act, now) };
        // Until the store has agreed, what is in memory is ahead of it and must be read again after a fault.
        let pulse = std::mem::replace(&mut desk.pulse, -1);
        if act.away {
            let away = Away { at: now, said_by: act.said_by, noted_by: new.noted_by.clone() };
            desk.record.away.insert(act.item, away);
        } else {
            desk.record.away.remove(&act.item);
            desk.record.taken_back.insert(act.item, now);
        }
        let households: HashSet<_> = board.cares_of(act.item.who).map(|care| care.household).collect();
        let delta = self.difference_for(desk, &households, now).await?;
        let fresh = self.store.set_away(desk.season, &new, &told, &delta, now).await?;
        if fresh {
            desk.pulse = pulse + 1;
        }
        Ok(fresh)
    }

    /// Word to everybody who has the child that day, and to the teachers of its numbers.
    fn word_of(&self, desk: &Desk, act: &Absence, now: Timestamp) -> Vec<NewReply> {
        let board = &*desk.board;
        let season = &board.season;
        let Some((it, event)) = board.itinerary(act.item).zip(act.item.event) else { return Vec::new() };
        let having = InCharge::of(season, event).having(&it.numbers);
        let own = |chaperone: &ChaperoneId| act.by == Noter::Chaperone(*chaperone);
        let mut told: Vec<NewReply> = having
            .into_iter()
            .filter(|chaperone| !own(chaperone))
            .filter_map(|chaperone| board.cares_of(Person::Chaperone(chaperone)).next())
            .filter_map(|care| {
                let mail = [Channel::Mail, Channel::Text]
                    .into_iter()
                    .find_map(|by| Some((by, address(board, &desk.record, care.guardian, by)?)));
                let (channel, to) = mail?;
                let language = &season.guardians[care.guardian.at()].contact.language;
                self.word(desk, act, (channel, to), language, now)
            })
            .collect();
        let teachers: BTreeSet<&str> = it
            .numbers
            .iter()
            .filter_map(|number| season.numbers[number.at()].teacher_mail.as_ref())
            .map(|MailAddress(mail)| mail.as_str())
            .filter(|mail| desk.record.usable(Channel::Mail, mail))
            .collect();
        let written = teachers
            .into_iter()
            .filter_map(|mail| self.word(desk, act, (Channel::Mail, mail), &season.language, now));
        told.extend(written);
        told
    }

    fn word(
        &self,
        desk: &Desk,
        act: &Absence,
        (channel, to): (Channel, &str),
        language: &Language,
        now: Timestamp,
    ) -> Option<NewReply> {
        let board = &*desk.board;
        let season = &board.season;
        let mut about = super::hearing::named(board, act.item, language);
        about.child = about.child.and(staff_name(board, act.item));
        let subject = match (&about.child, &about.what) {
            (Some(child), Some(what)) if channel == Channel::Mail => format!("{child}: {what}"),
            _ => season.school.clone(),
        };
        let reply = blank_reply(board, language, vec![about]);
        let kind = if act.away { ReplyKind::Away } else { ReplyKind::Back };
        let words = match self.wording.reply(kind, &reply) {
            Ok(words) => words,
            Err(fault) => {
                tracing::error!(%fault, "word of an absence could not be put into words");
                return None;
            }
        };
        let ready = match channel {
            Channel::Mail => now,
            Channel::Text => window(season).next_permitted(&season.zone, now),
        };
        let (child, event) = board.item_refs(act.item);
        Some(NewReply {
            channel,
            address: to.to_owned(),
            subject: if channel == Channel::Mail { subject } else { String::new() },
            words,
            in_reply_to: String::new(),
            ready,
            until: board.over_at(act.item),
            reference: format!("{REFERENCE}-{child}-{event}-{}", now.as_millisecond()),
            by_person: false,
        })
    }
}

/// What a child is called among staff, where many share a given name: given name and initial.
fn staff_name(board: &Board, item: Item) -> Option<String> {
    Some(board.season.children[item.who.child()?.at()].short_name())
}

/// A reply about some things, in a language.
pub(super) fn blank_reply(
    board: &Board,
    language: &Language,
    about: Vec<super::reply::ReplyMatter>,
) -> Reply {
    let season = &board.season;
    let mut children: Vec<Option<String>> = about.iter().map(|one| one.child.clone()).collect();
    children.sort();
    children.dedup();
    Reply {
        language: language.0.clone(),
        season_language: season.language.0.clone(),
        short: season.short_name.clone(),
        twelve: clocks::is_twelve(&season.country, &language.0),
        country: season.country.clone(),
        school: season.school.clone(),
        telephone: Some(season.telephone.clone()).filter(|t| !t.is_empty() && t != "-"),
        all: 1,
        children,
        about,
        choices: Vec::new(),
        back: String::new(),
    }
}
