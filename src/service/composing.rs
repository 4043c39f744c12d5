//! From a claimed message and today's facts to a letter, a parcel and the attempt that is written down first.

use super::calendars;
use super::drafting::{Draft, Links, To, told_with};
use super::letter::{Letter, LetterKind};
use super::office::{Desk, Office, Ways, facts_told, notice_key};
use super::ports::{
    Content, Gateway, LinkKind, MailContent, NewAttempt, NewLink, Parcel, Store, StoredMessage, Unsent,
};
use super::wording::Wording;
use crate::domain::board::{Board, Item};
use crate::domain::due::window;
use crate::domain::facts::{Facts, Fingerprint};
use crate::domain::graph::State;
use crate::domain::hash;
use crate::domain::ics;
use crate::domain::introduction::chaperones_of;
use crate::domain::itinerary::Itinerary;
use crate::domain::plan::Wanted;
use crate::domain::record::{Ask, NoticeKey, Record};
use crate::domain::season::{Channel, GuardianId, Language};
use crate::domain::segments;
use crate::domain::standing;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use jiff::Timestamp;
use std::collections::HashMap;

/// Octets of a link's token (128 bits).
const TOKEN_OCTETS: usize = 16;
/// Stands where a token will stand, for previews: as long as a real one.
const SPECIMEN_TOKEN: &str = "SPECIMEN-opens-nothing";
/// Messages that one thread composes before another is asked to help.
const COMPOSED_ALONE: usize = 64;
/// Threads that compose at once, at most: the store and the gateways want some too.
const COMPOSING_THREADS: usize = 4;

/// Ready to be attempted.
pub struct Composed {
    /// What the gateway gets.
    pub parcel: Parcel,
    /// What is written down first.
    pub attempt: NewAttempt,
    /// What is told by it.
    pub asks: Vec<(Ask, Option<Fingerprint>)>,
}

/// The token of the link that stops messages, by that of the link that came with it: whoever has the one cannot find the other.
pub fn stop_token(token: &str) -> String {
    let digest = hash::sha256(format!("stop {token}").as_bytes());
    URL_SAFE_NO_PAD.encode(&digest[..TOKEN_OCTETS])
}

/// The hash of a token as stored.
pub fn token_hash(token: &str) -> String {
    hash::hex(&hash::sha256(token.as_bytes()))
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// A new token for a link, 22 characters.
    pub fn token(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.random::<TOKEN_OCTETS>())
    }

    /// Composes claimed messages from today's facts, or says why one does not go; in the order they came.
    pub(super) fn compose_all(
        &self,
        desk: &Desk,
        old: &HashMap<Fingerprint, Facts>,
        claimed: &[StoredMessage],
        now: Timestamp,
    ) -> Vec<Result<Composed, Unsent>> {
        // Drawn beforehand, so that the same bytes go to the same message whoever composes it.
        let messages: Vec<(&StoredMessage, String)> = claimed.iter().map(|m| (m, self.token())).collect();
        let composing = Composing { desk, old, wording: &self.wording, ways: &self.ways, now };
        let all = |share: &[(&StoredMessage, String)]| -> Vec<_> {
            share.iter().map(|(message, token)| composing.compose(message, token)).collect()
        };
        let hands = std::thread::available_parallelism().map_or(1, usize::from).min(COMPOSING_THREADS);
        if hands < 2 || messages.len() < COMPOSED_ALONE {
            return all(&messages);
        }
        let share = messages.len().div_ceil(hands);
        std::thread::scope(|scope| {
            let all = &all;
            let shares: Vec<_> =
                messages.chunks(share).map(|share| scope.spawn(move || all(share))).collect();
            shares
                .into_iter()
                .flat_map(|share| share.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
                .collect()
        })
    }
}

/// What composing needs at hand.
struct Composing<'a> {
    desk: &'a Desk,
    old: &'a HashMap<Fingerprint, Facts>,
    wording: &'a Wording,
    ways: &'a Ways,
    now: Timestamp,
}

impl Composing<'_> {
    fn compose(&self, message: &StoredMessage, token: &str) -> Result<Composed, Unsent> {
        let (desk, now) = (self.desk, self.now);
        let unsent = |to, ready, why: &str| Unsent {
            message: message.id,
            fence: message.fence,
            to,
            ready,
            why: why.to_owned(),
        };
        let board = &*desk.board;
        if now >= message.until {
            return Err(unsent(State::Expired, now, "its moment passed"));
        }
        let hours = window(&board.season);
        if !message.at_once && !hours.permitted(&board.season.zone, now) {
            let next = hours.next_permitted(&board.season.zone, now);
            return Err(if next < message.until {
                unsent(State::Planned, next, "quiet hours")
            } else {
                unsent(State::Expired, now, "no permitted hour left")
            });
        }
        let (guardians, address) =
            recipients(desk, message).ok_or_else(|| unsent(State::Withdrawn, now, "no address"))?;
        let parts = still_true(desk, message, &guardians, now);
        if parts.is_empty() {
            return Err(unsent(State::Withdrawn, now, "nothing of it is wanted any more"));
        }
        let household = board
            .household(&message.household)
            .ok_or_else(|| unsent(State::Withdrawn, now, "the household is gone"))?;
        let parts = told_with(board, &desk.record, &guardians, &parts, now);
        let draft = Draft { board, record: &desk.record, old: self.old, now };
        let to = To { household, guardians: &guardians, channel: message.channel, due: message.due };
        let letter = draft.letter(&to, &parts, &Links { ways: self.ways, token });
        let content = words(self.wording, (board, &desk.record), &letter, message.channel, &parts, now)
            .map_err(|_| unsent(State::Quarantined, now, "its wording failed"))?;
        Ok(self.composed(message, guardians, address, parts, content, token))
    }

    fn composed(
        &self,
        message: &StoredMessage,
        guardians: Vec<GuardianId>,
        address: String,
        parts: Vec<(Item, NoticeKey)>,
        content: Content,
        token: &str,
    ) -> Composed {
        let (board, now) = (&*self.desk.board, self.now);
        let over = over_for(board, &guardians, &parts).unwrap_or(now);
        let told: Vec<_> = parts
            .iter()
            .map(|(item, notice)| {
                let (child, event) = board.item_refs(*item);
                let word = crate::domain::plan::notice_word(board, *notice);
                (child.to_owned(), event.to_owned(), word.to_owned(), board.fingerprint(*item))
            })
            .collect();
        let attempt = NewAttempt {
            message: message.id,
            fence: message.fence,
            number: message.attempts + 1,
            channel: message.channel,
            address: address.clone(),
            reference: message.key.clone(),
            words: match &content {
                Content::Text(text) => text.clone(),
                Content::Mail(mail) => format!("{}\n{}", mail.subject, mail.text),
            },
            link: NewLink {
                hash: token_hash(token),
                kind: LinkKind::Guardian,
                message: message.id,
                chaperone: String::new(),
                expires: over.saturating_add(self.ways.links_outlive).unwrap_or(over),
                made: now,
                parent: String::new(),
            },
            stop: self.ways.pages_public.then(|| NewLink {
                hash: token_hash(&stop_token(token)),
                kind: LinkKind::Stop,
                message: message.id,
                chaperone: String::new(),
                expires: over.saturating_add(self.ways.links_outlive).unwrap_or(over),
                made: now,
                parent: String::new(),
            }),
            forms: parts
                .iter()
                .map(|(item, _)| (board.fingerprint(*item), board.facts(*item).form()))
                .collect(),
            household: message.household.clone(),
            guardians: guardians.iter().map(|g| board.season.guardians[g.at()].reference.clone()).collect(),
            told,
        };
        let asks = parts
            .iter()
            .flat_map(|(item, notice)| {
                guardians.iter().map(move |guardian| Ask {
                    guardian: *guardian,
                    item: *item,
                    notice: *notice,
                    channel: message.channel,
                })
            })
            .map(|ask| (ask, facts_told(board, ask.notice, board.fingerprint(ask.item))))
            .collect();
        let parcel =
            Parcel { message: message.id, to: address, reference: message.key.clone(), at: now, content };
        Composed { parcel, attempt, asks }
    }
}

/// When the last event of some guardians' children, or of their own, is over: what they were sent opens their page until
/// then.
fn over_for(board: &Board, guardians: &[GuardianId], parts: &[(Item, NoticeKey)]) -> Option<Timestamp> {
    let cares = guardians.iter().flat_map(|guardian| board.cares_by(*guardian));
    let theirs = cares.flat_map(|care| board.programme.of_person(care.who));
    let events = theirs.map(|at| board.programme[at].over_at);
    events.chain(parts.iter().map(|(item, _)| board.over_at(*item))).max()
}

fn words(
    wording: &Wording,
    (board, record): (&Board, &Record),
    letter: &Letter,
    channel: Channel,
    parts: &[(Item, NoticeKey)],
    now: Timestamp,
) -> Result<Content, super::wording::Fault> {
    Ok(match channel {
        Channel::Text => Content::Text(segments::composed(&wording.text(letter)?.text)),
        Channel::Mail => {
            let mail = wording.mail(letter)?;
            Content::Mail(Box::new(MailContent {
                in_reply_to: String::new(),
                reply_token: letter.code.clone(),
                subject: mail.subject,
                text: mail.text,
                html: mail.html,
                calendar: calendar(board, record, letter, parts, now),
                stop_link: letter.stop_link.clone(),
                language: mail.language,
            }))
        }
    })
}

/// The words of a planned message as they would be if it left at `now`, with a link that opens nothing.
pub fn preview(
    (board, record): (&Board, &Record),
    old: &HashMap<Fingerprint, Facts>,
    wording: &Wording,
    wanted: &Wanted,
    ways: &Ways,
    now: Timestamp,
) -> Result<Content, super::wording::Fault> {
    let parts = told_with(board, record, &wanted.guardians, &wanted.parts, now);
    let draft = Draft { board, record, old, now };
    let to = To {
        household: wanted.household,
        guardians: &wanted.guardians,
        channel: wanted.channel,
        due: wanted.due,
    };
    let letter = draft.letter(&to, &parts, &Links { ways, token: SPECIMEN_TOKEN });
    words(wording, (board, record), &letter, wanted.channel, &parts, now)
}

/// The guardians of a message who still share its address, and that address.
fn recipients(desk: &Desk, message: &StoredMessage) -> Option<(Vec<GuardianId>, String)> {
    let guardians: Vec<GuardianId> =
        message.guardians.iter().filter_map(|g| desk.board.guardian(g)).collect();
    let address =
        |g: &GuardianId| standing::address(&desk.board, &desk.record, *g, message.channel).map(str::to_owned);
    let first = guardians.iter().find_map(address)?;
    let sharing = guardians.into_iter().filter(|g| address(g).as_deref() == Some(&first)).collect();
    Some((sharing, first))
}

/// The parts of a message that are still wanted and still true.
fn still_true(
    desk: &Desk,
    message: &StoredMessage,
    guardians: &[GuardianId],
    now: Timestamp,
) -> Vec<(Item, NoticeKey)> {
    let board = &*desk.board;
    message
        .parts
        .iter()
        .filter_map(|part| {
            let item = board.item(&part.child, &part.event)?;
            let notice = notice_key(board, &part.notice, part.fingerprint)?;
            Some((item, notice))
        })
        .filter(|(item, _)| !desk.record.is_away(*item))
        .filter(|(item, notice)| match notice {
            NoticeKey::Change(to) => *to == board.fingerprint(*item) && board.over_at(*item) > now,
            NoticeKey::Rule(at) => {
                let introduces = board.season.notices[*at].introduces();
                let to_say = |it: &Itinerary| !introduces || !chaperones_of(&board.season, it).is_empty();
                let called = item.event.is_none() || board.itinerary(*item).is_some_and(to_say);
                let open = !board.season.notices[*at].to.of_unheard()
                    || guardians
                        .iter()
                        .any(|g| !standing::standing(board, &desk.record, *g, *item).is_answered());
                called && open && board.over_at(*item) > now
            }
        })
        .collect()
}

fn calendar(
    board: &Board,
    record: &Record,
    letter: &Letter,
    parts: &[(Item, NoticeKey)],
    now: Timestamp,
) -> String {
    // An introduction says nothing of times.
    if letter.kind == LetterKind::Introduction {
        return String::new();
    }
    let mut items: Vec<Item> = parts.iter().map(|(item, _)| *item).filter(|i| i.event.is_some()).collect();
    items.dedup();
    let language = Language(letter.language.clone());
    let entries: Vec<ics::Entry> = items
        .iter()
        .filter_map(|item| calendars::entry(board, *item, record.revised_at, &language))
        .map(|entry| ics::Entry { stamp: now, description: letter.link.clone(), ..entry })
        .collect();
    if entries.is_empty() { String::new() } else { ics::calendar(calendars::PRODUCT, "PUBLISH", &entries) }
}
