//! What a family asks for on its page and only a person can grant: that somebody else collects, that an address is wrong.
//! It is told at once to every address the guardian has, and counts when the coordinator has accepted it.

use super::absence::blank_reply;
use super::hearing::{INCOMING_CHARACTERS_MAX, REPLY_LIVES, named};
use super::office::{Desk, Office, OfficeFault};
use super::ports::{Effects, Gateway, NewIncoming, NewReply, Store};
use super::reply::ReplyKind;
use crate::domain::board::Item;
use crate::domain::edit::Edit;
use crate::domain::hash;
use crate::domain::season::{Channel, GuardianId};
use crate::domain::standing::address;
use jiff::{SignedDuration, Timestamp};

/// How long word of a request may wait for the mail server.
const WORD_LIVES: SignedDuration = SignedDuration::from_hours(48);
/// The same request within so long is a double tap.
const DOUBLE_TAP: i64 = 60;

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Request {
    /// Somebody else collects the child.
    Collector,
    /// A number or address is wrong.
    Address,
}

impl Request {
    /// The word in forms and in the store.
    pub fn word(self) -> &'static str {
        match self {
            Request::Collector => "collector",
            Request::Address => "address",
        }
    }

    /// The request of a word.
    pub fn from_word(word: &str) -> Option<Request> {
        [Request::Collector, Request::Address].into_iter().find(|one| one.word() == word)
    }
}

/// What became of a request that was to be granted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Granted {
    /// It is in the workbook.
    Done,
    /// It was dealt with before, or is not there.
    Gone,
    /// It cannot be done, for this reason.
    Refused(String),
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Takes a request in from the page of a link's guardians; false where the link does not cover it, or nothing is said.
    pub async fn request_by_link(
        &self,
        token: &str,
        (child, event): (&str, &str),
        request: Request,
        words: &str,
    ) -> Result<bool, OfficeFault> {
        let now = self.now();
        let Some(data) = self.guardian_data(token).await? else { return Ok(false) };
        let item = data.board.item(child, event);
        let item = item.filter(|item| data.sheets.iter().any(|sheet| sheet.item == *item));
        let words: String = words.trim().chars().take(INCOMING_CHARACTERS_MAX).collect();
        let Some(item) = item.filter(|_| !words.is_empty()) else { return Ok(false) };
        let desk = self.desk().await?;
        let references: Vec<String> =
            data.guardians.iter().map(|g| desk.board.season.guardians[g.at()].reference.clone()).collect();
        let minute = now.as_second() / DOUBLE_TAP;
        let new = NewIncoming {
            road: "page".to_owned(),
            // The same words again are a double tap; other words are another request.
            external: format!(
                "{} {} {child} {event} {minute} {}",
                request.word(),
                references.join("+"),
                hash::hex(&hash::sha256(words.as_bytes()))
            ),
            channel: None,
            address: String::new(),
            at: now,
            words,
            became: request.word().to_owned(),
            guardians: references,
            items: vec![(child.to_owned(), event.to_owned())],
            waits: true,
        };
        let replies = self.word_to_all(&desk, &data.guardians, ReplyKind::Requested, &[item], now);
        let effects = Effects { replies, ..Effects::default() };
        self.store.take_in(desk.season, &[(&new, &effects)], now).await?;
        Ok(true)
    }

    /// Word to every address that some guardians have, so that whoever has found a link cannot act unseen.
    pub(super) fn word_to_all(
        &self,
        desk: &Desk,
        guardians: &[GuardianId],
        kind: ReplyKind,
        about: &[Item],
        now: Timestamp,
    ) -> Vec<NewReply> {
        let board = &*desk.board;
        let season = &board.season;
        let mut out: Vec<NewReply> = Vec::new();
        for guardian in guardians {
            let language = &season.guardians[guardian.at()].contact.language;
            let about = about.iter().map(|item| named(board, *item, language)).collect();
            let reply = blank_reply(board, language, about);
            let words = match self.wording.reply(kind, &reply) {
                Ok(words) => words,
                Err(fault) => {
                    tracing::error!(%fault, "word of a request could not be put into words");
                    continue;
                }
            };
            for channel in [Channel::Mail, Channel::Text] {
                let Some(to) = address(board, &desk.record, *guardian, channel) else { continue };
                if out.iter().any(|known| known.channel == channel && known.address == to) {
                    continue;
                }
                // A direct answer to their own act, as to a text of theirs.
                let lives = match channel {
                    Channel::Mail => WORD_LIVES,
                    Channel::Text => REPLY_LIVES,
                };
                out.push(NewReply {
                    channel,
                    address: to.to_owned(),
                    subject: if channel == Channel::Mail { season.school.clone() } else { String::new() },
                    words: words.clone(),
                    in_reply_to: String::new(),
                    ready: now,
                    until: now.saturating_add(lives).unwrap_or(now),
                    reference: String::new(),
                    by_person: false,
                });
            }
        }
        out
    }

    /// The coordinator accepts that somebody else collects: it is written into the workbook, and so on the sheets.
    pub async fn grant_collector(&self, question: i64) -> Result<Granted, OfficeFault> {
        let season = self.desk().await?.season;
        let Some(stored) = self.store.incoming(season, question).await? else { return Ok(Granted::Gone) };
        let child = stored.incoming.items.first().map(|(child, _)| child.clone());
        let Some(child) =
            child.filter(|_| stored.waits && stored.incoming.became == Request::Collector.word())
        else {
            return Ok(Granted::Gone);
        };
        let edit = Edit::AlsoCollects { child, who: stored.incoming.words.clone() };
        let bringing = match self.preview_edit(&edit).await? {
            Ok(bringing) => bringing,
            Err(fault) => return Ok(Granted::Refused(fault.to_string())),
        };
        if let Err(fault) = self.bring(&bringing).await {
            return Ok(Granted::Refused(fault.to_string()));
        }
        self.answer_question(question, "").await?;
        Ok(Granted::Done)
    }

    /// Ends every link and private calendar address of a household; new messages bring new ones. Says how many there were.
    pub async fn end_links(&self, household: &str) -> Result<u64, OfficeFault> {
        let season = self.desk().await?.season;
        Ok(self.store.end_links(season, household, self.now()).await?)
    }
}
