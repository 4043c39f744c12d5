//! What people send us by text or mail, and what gateways tell afterwards: words become an intent, and an intent an act,
//! in one transaction with everything that follows from it.
//!
//! A bare word of consent is taken when exactly one question is open at its address; when more are open the reply asks
//! back with numbered choices. Nothing is guessed and nothing is dropped: what no rule understands waits for a person.

mod early;
mod open;
mod together;

pub(super) use together::Waiting;

use self::early::EARLY_RELEASE;
pub use self::early::{asked_about, asks_early};
pub(super) use self::open::is_answered_by;
use self::open::{OpenQuestion, items_of, open_questions, owners, spellings};
use super::absence::blank_reply;
use super::composing::token_hash;
use super::office::{Desk, Office, OfficeFault, note_answer};
use super::ports::{
    Effects, Gateway, NewAnswer, NewIncoming, NewReceipt, NewReply, Offer, Receipted, Store, StoredMessage,
};
use super::reply::{Choice, Reply, ReplyKind, ReplyMatter};
use crate::domain::answer::{Intent, understand};
use crate::domain::board::{Board, Item};
use crate::domain::due::window;
use crate::domain::facts::Fingerprint;
use crate::domain::quiet::is_direct_answer;
use crate::domain::record::{AnswerKind, Record};
use crate::domain::season::{Channel, Dismissal, GuardianId, HouseholdId, Language};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use std::collections::HashSet;

/// Characters of what a person wrote that are kept.
pub const INCOMING_CHARACTERS_MAX: usize = 2_000;
/// Messages looked through for open questions at one address.
const QUESTIONS_LOOKED_AT: u32 = 50;
/// How long a numbered choice stays good.
const OFFER_LIVES: SignedDuration = SignedDuration::from_hours(72);
/// A reply to a person's own message that has not left by then is not sent: she has moved on.
pub(super) const REPLY_LIVES: SignedDuration = SignedDuration::from_mins(5);
/// How long a person's reply may wait for a permitted hour or a gateway.
const ANSWER_LIVES: SignedDuration = SignedDuration::from_hours(48);
/// What is written by an address of nobody in the season gets no reply: it may be a machine.
const UNKNOWN: &str = "unknown sender";

/// What arrived by a road, before anybody knows what it means.
#[derive(Debug, Clone)]
pub struct Incoming {
    /// The channel it came by.
    pub channel: Channel,
    /// The address it comes from: E.164, or a mail address in lower case.
    pub from: String,
    /// The person's own words, without what they quote.
    pub words: String,
    /// When it was written, or else arrived.
    pub at: Timestamp,
    /// Its identifier on that road.
    pub external: String,
    /// The token of a link of ours that came along: proof that the sender had our message.
    pub token: Option<String>,
    /// Key of a message of ours that it refers to: a hint, no proof.
    pub about: Option<String>,
    /// A machine wrote it: noted, never counted, never answered.
    pub automatic: bool,
}

/// One thing told by a gateway.
#[derive(Debug, Clone)]
pub enum CarrierNews {
    /// A text from a person.
    Answer(Incoming),
    /// What became of a message.
    Receipt(NewReceipt),
    /// Something that needs nothing, such as a status on the way.
    Nothing,
}

/// What became of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Became {
    /// An answer was recorded.
    Recorded,
    /// The same act was known already.
    Known,
    /// More than one thing may be meant; the reply asks which.
    AskedBack,
    /// Messages to that address have ended.
    Stopped,
    /// They go on.
    Started,
    /// The reply says who writes and what may be answered.
    Helped,
    /// It waits for a person.
    Question,
    /// A machine wrote it.
    Ignored,
}

impl Became {
    fn word(self) -> &'static str {
        match self {
            Became::Recorded => "recorded",
            Became::Known => "known",
            Became::AskedBack => "asked_back",
            Became::Stopped => "stopped",
            Became::Started => "started",
            Became::Helped => "helped",
            Became::Question => "question",
            Became::Ignored => "ignored",
        }
    }
}

/// One thing offered to choose: refs, so that it outlives a change of the workbook.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Offered {
    guardians: Vec<String>,
    child: String,
    event: String,
    fingerprint: String,
}

/// What is to be done about something that arrived.
struct Decision {
    became: Became,
    kind: Option<AnswerKind>,
    /// What is answered, for whom.
    said: Vec<(Vec<GuardianId>, Item, Fingerprint)>,
    offer: Option<Offer>,
    reply: Option<(ReplyKind, Vec<Item>)>,
    about: Vec<Item>,
    /// Who had the message whose link came along.
    proven: Vec<GuardianId>,
    /// It asks that a child leaves early, and the rule of that event is known to be told.
    early: bool,
}

impl Decision {
    fn plain(became: Became, reply: Option<ReplyKind>) -> Decision {
        Decision {
            became,
            kind: None,
            said: Vec::new(),
            offer: None,
            reply: reply.map(|kind| (kind, Vec::new())),
            about: Vec::new(),
            proven: Vec::new(),
            early: false,
        }
    }
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// What taking something in would do; the memory is ahead of the store by it.
    async fn prepared(
        &self,
        desk: &mut Desk,
        incoming: &Incoming,
        now: Timestamp,
    ) -> Result<(Became, NewIncoming, Effects), OfficeFault> {
        let words: String = incoming.words.chars().take(INCOMING_CHARACTERS_MAX).collect();
        let owners = owners(&desk.board, incoming.channel, &incoming.from);
        let mut decision = self.decided(desk, incoming, &words, &owners, now).await?;
        let mut effects = Effects { offer: decision.offer.take(), ..Effects::default() };
        if let Some((kind, about)) = &decision.reply {
            let offer = effects.offer.as_ref();
            effects.replies.extend(self.reply_to(desk, incoming, &owners, *kind, about, offer, now));
        }
        if matches!(decision.became, Became::AskedBack | Became::Helped) && effects.replies.is_empty() {
            // What nobody can be asked back about, such as a mail or a text that comes late at night, is for a person.
            decision.became = Became::Question;
            effects.offer = None;
        }
        let refs = |guardians: &[GuardianId], board: &Board| -> Vec<String> {
            guardians.iter().map(|g| board.season.guardians[g.at()].reference.clone()).collect()
        };
        // With a link of ours the sender is known by what she was sent, whatever address she writes from.
        let guardians = refs(if owners.is_empty() { &decision.proven } else { &owners }, &desk.board);
        let items: Vec<Item> = if decision.about.is_empty() {
            decision.said.iter().map(|(_, item, _)| *item).collect()
        } else {
            decision.about.clone()
        };
        let new = NewIncoming {
            road: incoming.channel.word().to_owned(),
            external: incoming.external.clone(),
            channel: Some(incoming.channel),
            address: incoming.from.clone(),
            at: incoming.at,
            words,
            became: if decision.early { EARLY_RELEASE } else { decision.became.word() }.to_owned(),
            guardians,
            items: items
                .iter()
                .map(|item| desk.board.item_refs(*item))
                .map(|(child, event)| (child.to_owned(), event.to_owned()))
                .collect(),
            waits: decision.became == Became::Question,
        };
        let mut households: HashSet<HouseholdId> = HashSet::new();
        if let Some(kind) = decision.kind {
            for (who, item, fingerprint) in &decision.said {
                for guardian in who {
                    let answer =
                        answer(&desk.board, incoming, *guardian, *item, *fingerprint, kind, who.len() > 1);
                    note_answer(&mut desk.record, *guardian, *item, &answer);
                    effects.answers.push(answer);
                }
                households.extend(
                    desk.board.cares_of(item.who).filter(|c| who.contains(&c.guardian)).map(|c| c.household),
                );
            }
        }
        let stop = match decision.became {
            Became::Stopped => Some(true),
            Became::Started => Some(false),
            _ => None,
        };
        if let Some(stopped) = stop {
            let addresses = spellings(&desk.board, incoming, &owners);
            for address in &addresses {
                if stopped {
                    desk.record.stopped.insert(incoming.channel, address);
                } else {
                    desk.record.stopped.remove(incoming.channel, address);
                }
                households.extend(self.households_at(desk, incoming.channel, address));
            }
            effects.stop = Some((stopped, addresses));
        }
        effects.delta = self.difference_for(desk, &households, now).await?;
        Ok((decision.became, new, effects))
    }

    async fn decided(
        &self,
        desk: &Desk,
        incoming: &Incoming,
        words: &str,
        owners: &[GuardianId],
        now: Timestamp,
    ) -> Result<Decision, OfficeFault> {
        if incoming.automatic {
            return Ok(Decision::plain(Became::Ignored, None));
        }
        let intent = understand(words);
        let text = incoming.channel == Channel::Text;
        let proven = self.proven(desk, incoming).await?;
        let had: Vec<GuardianId> = proven
            .iter()
            .flat_map(|message| &message.guardians)
            .filter_map(|g| desk.board.guardian(g))
            .collect();
        // A mail's sender is what anybody may write there; a text's number is the network's word.
        let trusted = text && !owners.is_empty() || proven.is_some();
        match intent {
            Intent::Automatic => return Ok(Decision::plain(Became::Ignored, None)),
            // Stopping needs no proof: it harms nobody, and must never be hard.
            Intent::Stop if text || !owners.is_empty() => {
                return Ok(Decision::plain(Became::Stopped, Some(ReplyKind::Stopped)));
            }
            Intent::Start if trusted && !owners.is_empty() => {
                return Ok(Decision::plain(Became::Started, Some(ReplyKind::Started)));
            }
            Intent::Help if trusted => {
                let help = Decision::plain(Became::Helped, Some(ReplyKind::Help));
                return Ok(Decision { proven: had, ..help });
            }
            _ => {}
        }
        let asked = match &proven {
            Some(message) => vec![message.clone()],
            None if text => {
                self.store
                    .asked_at(desk.season, incoming.channel, &incoming.from, QUESTIONS_LOOKED_AT)
                    .await?
            }
            None => Vec::new(),
        };
        let open = open_questions(&desk.board, &desk.record, &asked, now);
        let known = match intent {
            Intent::Heard if trusted => {
                Some(self.answered(desk, incoming, AnswerKind::Heard, &open, asked.is_empty(), now))
            }
            Intent::CantCome if trusted => {
                Some(self.answered(desk, incoming, AnswerKind::CantCome, &open, asked.is_empty(), now))
            }
            Intent::Choice(number) => self.chosen(desk, incoming, number, now).await?,
            _ => None,
        };
        let decision = match known {
            Some(known) => known,
            None => {
                let hint = self.hint(desk, incoming, owners).await?;
                for_a_person(if open.is_empty() { hint } else { items_of(&open) }, trusted)
            }
        };
        let decision = Decision { proven: had, ..decision };
        if decision.became == Became::Question {
            return self.with_the_rule(desk, words, owners, now, decision).await;
        }
        Ok(decision)
    }

    /// What a mail is about, by the message of ours that it answers: no proof, but of use to whoever reads it.
    async fn hint(
        &self,
        desk: &Desk,
        incoming: &Incoming,
        owners: &[GuardianId],
    ) -> Result<Vec<Item>, OfficeFault> {
        let Some(key) = &incoming.about else { return Ok(Vec::new()) };
        let Some(message) = self.store.message_of(desk.season, key).await? else { return Ok(Vec::new()) };
        let hers =
            message.guardians.iter().filter_map(|g| desk.board.guardian(g)).any(|g| owners.contains(&g));
        let items = message.parts.iter().filter_map(|part| desk.board.item(&part.child, &part.event));
        Ok(if hers { items.collect() } else { Vec::new() })
    }

    /// The message whose link came along, if it is one of ours and alive.
    async fn proven(&self, desk: &Desk, incoming: &Incoming) -> Result<Option<StoredMessage>, OfficeFault> {
        let Some(token) = &incoming.token else { return Ok(None) };
        let link = self.store.link(desk.season, &token_hash(token)).await?;
        Ok(link.filter(|link| link.expires > self.now()).and_then(|link| link.message))
    }

    /// A consent or an absence, held against what is open at the address.
    fn answered(
        &self,
        desk: &Desk,
        incoming: &Incoming,
        kind: AnswerKind,
        open: &[OpenQuestion],
        nothing_asked: bool,
        now: Timestamp,
    ) -> Decision {
        let all: Vec<(Vec<GuardianId>, Item, Fingerprint)> = open
            .iter()
            .flat_map(|q| q.items.iter().map(|(item, seen)| (q.guardians.clone(), *item, *seen)))
            .collect();
        let plain = match kind {
            AnswerKind::Heard => open.len() == 1,
            AnswerKind::CantCome | AnswerKind::Question => all.len() == 1,
        };
        if plain {
            let items: Vec<Item> = all.iter().map(|(_, item, _)| *item).collect();
            let reply = if kind == AnswerKind::Heard { ReplyKind::Heard } else { ReplyKind::CantCome };
            return Decision {
                kind: Some(kind),
                said: all,
                reply: Some((reply, items)),
                ..Decision::plain(Became::Recorded, None)
            };
        }
        if all.is_empty() {
            // A second YES after the first is thanks; a word that answers nothing we asked is for a person.
            return if nothing_asked || kind == AnswerKind::CantCome {
                Decision::plain(Became::Question, Some(ReplyKind::PassedOn))
            } else {
                Decision::plain(Became::Known, None)
            };
        }
        let offered: Vec<Offered> = all
            .iter()
            .map(|(guardians, item, seen)| {
                let (child, event) = desk.board.item_refs(*item);
                Offered {
                    guardians: guardians
                        .iter()
                        .map(|g| desk.board.season.guardians[g.at()].reference.clone())
                        .collect(),
                    child: child.to_owned(),
                    event: event.to_owned(),
                    fingerprint: seen.to_string(),
                }
            })
            .collect();
        let items: Vec<Item> = all.iter().map(|(_, item, _)| *item).collect();
        Decision {
            offer: Some(Offer {
                at: incoming.at.min(now),
                kind: kind.word().to_owned(),
                choices: serde_json::json!(offered).to_string(),
            }),
            reply: Some((ReplyKind::AskBack, items.clone())),
            about: items,
            ..Decision::plain(Became::AskedBack, None)
        }
    }

    /// A number sent back for one of the choices that were offered; none if there is no such choice.
    async fn chosen(
        &self,
        desk: &Desk,
        incoming: &Incoming,
        number: u8,
        now: Timestamp,
    ) -> Result<Option<Decision>, OfficeFault> {
        let Some(offer) = self.store.offer(desk.season, incoming.channel, &incoming.from).await? else {
            return Ok(None);
        };
        let kind = AnswerKind::from_word(&offer.kind);
        let choices: Vec<Offered> = serde_json::from_str(&offer.choices).unwrap_or_default();
        let Some(kind) = kind.filter(|_| now.duration_since(offer.at) <= OFFER_LIVES) else {
            return Ok(None);
        };
        let number = usize::from(number);
        let chosen: &[Offered] = match number {
            n if n == choices.len() + 1 => &choices,
            n if (1..=choices.len()).contains(&n) => &choices[n - 1..n],
            _ => return Ok(None),
        };
        let said: Vec<_> = chosen
            .iter()
            .filter_map(|one| {
                let item = desk.board.item(&one.child, &one.event)?;
                let guardians: Vec<_> = one.guardians.iter().filter_map(|g| desk.board.guardian(g)).collect();
                Some((guardians, item, one.fingerprint.parse().ok()?))
            })
            .collect();
        if said.is_empty() {
            return Ok(None);
        }
        let items = said.iter().map(|(_, item, _): &(_, Item, _)| *item).collect();
        let reply = if kind == AnswerKind::Heard { ReplyKind::Heard } else { ReplyKind::CantCome };
        Ok(Some(Decision {
            kind: Some(kind),
            said,
            reply: Some((reply, items)),
            ..Decision::plain(Became::Recorded, None)
        }))
    }

    /// The reply in the sender's language. Of mails only one that asks for early release gets one, to the address on file:
    /// a mail's sender is not proven, and a page shows its own answer.
    #[allow(clippy::too_many_arguments)]
    fn reply_to(
        &self,
        desk: &Desk,
        incoming: &Incoming,
        owners: &[GuardianId],
        kind: ReplyKind,
        about: &[Item],
        offer: Option<&Offer>,
        now: Timestamp,
    ) -> Option<NewReply> {
        let mail = incoming.channel == Channel::Mail;
        if mail && kind != ReplyKind::PickUp || owners.is_empty() && kind != ReplyKind::Stopped {
            return None;
        }
        let board = &*desk.board;
        let season = &board.season;
        let language =
            owners.first().map_or(&season.language, |g| &season.guardians[g.at()].contact.language);
        let about: Vec<ReplyMatter> = about.iter().map(|item| named(board, *item, language)).collect();
        let choices: Vec<Choice> = about
            .iter()
            .enumerate()
            .filter(|_| offer.is_some())
            .map(|(at, one)| Choice {
                number: at + 1,
                child: one.child.clone(),
                what: one.what.clone(),
                date: one.date,
            })
            .collect();
        let reply = Reply { all: choices.len() + 1, choices, ..blank_reply(board, language, about) };
        let words = match self.wording.reply(kind, &reply) {
            Ok(words) => words,
            Err(fault) => {
                tracing::error!(%fault, "a reply could not be worded");
                return None;
            }
        };
        // Within five minutes of her own message a reply is not bound by quiet hours; later it would be.
        let until = now.saturating_add(REPLY_LIVES).unwrap_or(now);
        let hours = window(season);
        let permitted = mail || is_direct_answer(incoming.at, now) || hours.permitted(&season.zone, now);
        let until = if mail { now.saturating_add(ANSWER_LIVES).unwrap_or(now) } else { until };
        permitted.then(|| NewReply {
            channel: incoming.channel,
            address: incoming.from.clone(),
            subject: if mail { season.school.clone() } else { String::new() },
            words,
            in_reply_to: if mail { incoming.external.clone() } else { String::new() },
            ready: now,
            until,
            reference: String::new(),
            by_person: false,
        })
    }

    /// What a gateway tells of a message.
    pub async fn told_by_gateway(&self, receipt: &NewReceipt) -> Result<Receipted, OfficeFault> {
        let now = self.now();
        let season = self.desk().await?.season;
        let became = self.store.receipt(season, receipt, now).await?;
        if let Receipted::Moved { channel, address, to: crate::domain::graph::State::Bounced } = &became {
            let desk = self.desk().await?;
            let households = self.households_at(&desk, *channel, address);
            let delta = self.difference_for(&desk, &households, now).await?;
            if !delta.is_empty() {
                self.store.reconcile(season, &delta, now).await?;
            }
        }
        Ok(became)
    }

    /// The coordinator answers a question by the road it came by, or closes it without words; false if it was closed before.
    pub async fn answer_question(&self, id: i64, words: &str) -> Result<bool, OfficeFault> {
        let now = self.now();
        let desk = self.desk().await?;
        let Some(stored) = self.store.incoming(desk.season, id).await? else { return Ok(false) };
        let incoming = &stored.incoming;
        let words: String = words.trim().chars().take(INCOMING_CHARACTERS_MAX).collect();
        let reply = if words.is_empty() { None } else { self.reply_of_a_person(&desk, incoming, words, now) };
        Ok(self.store.answer_question(desk.season, id, reply.as_ref(), &incoming.guardians, now).await?)
    }

    fn reply_of_a_person(
        &self,
        desk: &Desk,
        incoming: &NewIncoming,
        words: String,
        now: Timestamp,
    ) -> Option<NewReply> {
        let board = &*desk.board;
        let (channel, address) = answer_road(board, &desk.record, incoming)?;
        let hours = window(&board.season);
        let ready = match channel {
            Channel::Text => hours.next_permitted(&board.season.zone, now),
            Channel::Mail => now,
        };
        Some(NewReply {
            channel,
            address,
            subject: if channel == Channel::Mail { board.season.school.clone() } else { String::new() },
            // Both say who writes, whoever wrote it; a mail also what it answers.
            words: match channel {
                Channel::Text => format!("{}: {words}", board.season.short_name),
                Channel::Mail => signed_answer(board, &words, &incoming.words),
            },
            in_reply_to: if channel == Channel::Mail && incoming.channel == Some(Channel::Mail) {
                incoming.external.clone()
            } else {
                String::new()
            },
            ready,
            until: ready.saturating_add(ANSWER_LIVES).unwrap_or(ready),
            reference: String::new(),
            by_person: true,
        })
    }
}

/// The coordinator's words in a mail: who writes, where to ring, and the question they answer.
fn signed_answer(board: &Board, words: &str, question: &str) -> String {
    let season = &board.season;
    let telephone = &season.telephone;
    let mut mail = format!("{words}\n\n{}", season.school);
    if !telephone.is_empty() {
        mail.push_str(&format!("\n{telephone}"));
    }
    let asked = question.trim();
    if !asked.is_empty() {
        mail.push_str("\n\n");
        asked.lines().for_each(|line| mail.push_str(&format!("> {line}\n")));
    }
    mail
}

/// By which channel and to which address a person's question can be answered; none if there is no way.
pub fn answer_road(board: &Board, record: &Record, incoming: &NewIncoming) -> Option<(Channel, String)> {
    if let Some(channel) = incoming.channel {
        return Some((channel, incoming.address.clone()));
    }
    let guardians = || incoming.guardians.iter().filter_map(|g| board.guardian(g));
    [Channel::Mail, Channel::Text].into_iter().find_map(|channel| {
        guardians()
            .find_map(|g| crate::domain::standing::address(board, record, g, channel).map(str::to_owned))
            .map(|address| (channel, address))
    })
}

/// What goes to a person; the sender is told so if we know her.
fn for_a_person(about: Vec<Item>, trusted: bool) -> Decision {
    let reply = trusted.then_some(ReplyKind::PassedOn);
    if !trusted {
        tracing::info!(why = UNKNOWN, "a message waits for a person");
    }
    Decision { about, ..Decision::plain(Became::Question, reply) }
}

fn answer(
    board: &Board,
    incoming: &Incoming,
    guardian: GuardianId,
    item: Item,
    fingerprint: Fingerprint,
    kind: AnswerKind,
    one_phone: bool,
) -> NewAnswer {
    let (child, event) = board.item_refs(item);
    NewAnswer {
        at: incoming.at,
        road: incoming.channel.word().to_owned(),
        external: incoming.external.clone(),
        guardian: board.season.guardians[guardian.at()].reference.clone(),
        child: child.to_owned(),
        event: event.to_owned(),
        kind: Some(kind),
        fingerprint,
        one_phone,
        words: incoming.words.chars().take(INCOMING_CHARACTERS_MAX).collect(),
        noted_by: String::new(),
        outcome: String::new(),
    }
}

pub(super) fn named(board: &Board, item: Item, language: &Language) -> ReplyMatter {
    let season = &board.season;
    let event = item.event.map(|event| &season.events[event.at()]);
    let released = board.itinerary(item).and_then(|it| it.collect_from);
    ReplyMatter {
        child: super::drafting::given_name(board, item.who),
        what: event.map(|event| season.phrases.said(&event.name, language).to_owned()),
        date: event.map(|event| event.date),
        pick_up: released.map(|from| from.at().time()),
        no_early_release: event.is_some_and(|event| event.dismissal == Dismissal::AfterLastNumber),
    }
}
