//! What has happened so far, as far as planning and standing need to know it.

use super::board::Item;
use super::facts::Fingerprint;
use super::season::{Channel, GuardianId};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, HashMap, HashSet};

/// How far back of the last sending others are remembered: as long as a message may be put off, and a day.
const LAST_WITHIN: SignedDuration = SignedDuration::from_hours(15 * 24);

/// What a guardian was last told about an item.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Told {
    /// Which facts.
    pub fingerprint: Fingerprint,
    /// When they were last told.
    pub at: Timestamp,
    /// Whether an answer about the item was ever asked for; a date that was only told is not waited for.
    pub asked: bool,
    /// Whether these facts first came as a change.
    pub by_change: bool,
    /// The facts told before these, where they were others.
    pub before: Option<Fingerprint>,
    /// When those were last told; as `at` where there are none.
    pub before_at: Timestamp,
    /// How often what is told has changed, there and back counted each.
    pub turns: u32,
    /// How many messages have told anything about the item.
    pub times: u32,
}

/// What a guardian said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AnswerKind {
    /// Has read it.
    Heard,
    /// The child can't come.
    CantCome,
    /// Asks something; settles nothing.
    Question,
}

impl AnswerKind {
    /// The word used in the store and the ledger.
    pub fn word(self) -> &'static str {
        match self {
            AnswerKind::Heard => "heard",
            AnswerKind::CantCome => "cant_come",
            AnswerKind::Question => "question",
        }
    }

    /// The kind of a word.
    pub fn from_word(word: &str) -> Option<AnswerKind> {
        [AnswerKind::Heard, AnswerKind::CantCome, AnswerKind::Question].into_iter().find(|k| k.word() == word)
    }
}

/// A guardian's last deliberate answer about an item; questions are kept apart, they change nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Answer {
    /// What.
    pub kind: AnswerKind,
    /// About which facts.
    pub fingerprint: Fingerprint,
    /// When the person acted.
    pub at: Timestamp,
    /// Whether it came from an address shared by several guardians of one household.
    pub one_phone: bool,
}

/// How a call ended in which nobody heard the times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CallEnd {
    /// Nobody answered.
    NoAnswer,
    /// The number is not hers.
    WrongNumber,
    /// She will call back.
    WillCallBack,
}

impl CallEnd {
    /// The word used in forms, the store and the ledger.
    pub fn word(self) -> &'static str {
        match self {
            CallEnd::NoAnswer => "no_answer",
            CallEnd::WrongNumber => "wrong_number",
            CallEnd::WillCallBack => "will_call_back",
        }
    }

    /// The end of a word.
    pub fn from_word(word: &str) -> Option<CallEnd> {
        [CallEnd::NoAnswer, CallEnd::WrongNumber, CallEnd::WillCallBack]
            .into_iter()
            .find(|k| k.word() == word)
    }
}

/// A call in which nobody heard the times.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rung {
    /// When.
    pub at: Timestamp,
    /// How it ended.
    pub end: CallEnd,
    /// Lasting name of whoever rang.
    pub by: String,
}

/// That a child will not be at an event, this once: a person of the school has confirmed it. No reason is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Away {
    /// Since when it is known.
    pub at: Timestamp,
    /// Which guardian said so; none where nobody of the family did.
    pub said_by: Option<GuardianId>,
    /// Lasting name of whoever noted it.
    pub noted_by: String,
}

/// Which notice: a rule of the season by position, or the announcement of a change to certain facts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NoticeKey {
    /// Position in the season's notices.
    Rule(usize),
    /// The facts announced.
    Change(Fingerprint),
}

/// One notice for one guardian about one item by one channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ask {
    /// To whom.
    pub guardian: GuardianId,
    /// About what.
    pub item: Item,
    /// Which notice.
    pub notice: NoticeKey,
    /// By which channel.
    pub channel: Channel,
}

/// How an ask that was attempted stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cover {
    /// Sent, or may have been, at an instant.
    Done(Timestamp),
    /// Refused or bounced: that address does not work.
    Failed,
}

/// Some addresses, by channel.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Addresses {
    mail: HashSet<String>,
    text: HashSet<String>,
}

impl Addresses {
    fn of(&self, channel: Channel) -> &HashSet<String> {
        match channel {
            Channel::Mail => &self.mail,
            Channel::Text => &self.text,
        }
    }

    fn of_mut(&mut self, channel: Channel) -> &mut HashSet<String> {
        match channel {
            Channel::Mail => &mut self.mail,
            Channel::Text => &mut self.text,
        }
    }

    /// Adds one.
    pub fn insert(&mut self, channel: Channel, address: impl Into<String>) {
        self.of_mut(channel).insert(address.into());
    }

    /// Takes one away.
    pub fn remove(&mut self, channel: Channel, address: &str) {
        self.of_mut(channel).remove(address);
    }

    /// Whether one is among them.
    pub fn contains(&self, channel: Channel, address: &str) -> bool {
        self.of(channel).contains(address)
    }

    /// Those of whom something holds.
    pub fn filtered(&self, holds: impl Fn(Channel, &str) -> bool) -> Addresses {
        let of = |channel| self.of(channel).iter().filter(|one| holds(channel, one)).cloned().collect();
        Addresses { mail: of(Channel::Mail), text: of(Channel::Text) }
    }
}

/// Everything that has happened, indexed for planning.
#[derive(Debug, Clone, Default)]
pub struct Record {
    /// Last telling of each item to each guardian.
    pub told: BTreeMap<(GuardianId, Item), Told>,
    /// Last answer of each guardian about each item.
    pub answers: HashMap<(GuardianId, Item), Answer>,
    /// Calls in which nobody heard the times, about each item, in order.
    pub calls: HashMap<(GuardianId, Item), Vec<Rung>>,
    /// Children who are not coming to an event, this once.
    pub away: BTreeMap<Item, Away>,
    /// When it was taken back that a child is not coming: a "can't come" from before that no longer counts.
    pub taken_back: BTreeMap<Item, Timestamp>,
    /// Numbers found not to be a guardian's, in the last call that tells.
    pub wrong: HashMap<GuardianId, String>,
    /// Messages that told a guardian of an item by a channel: how many, and when the last went.
    pub sent: HashMap<(GuardianId, Item, Channel), (u32, Timestamp)>,
    /// Asks that need no further message.
    pub covered: HashMap<Ask, Cover>,
    /// What each guardian was sent lately: when, about what, by which notice.
    pub last: HashMap<GuardianId, Vec<(Timestamp, Item, NoticeKey)>>,
    /// When anybody was first told anything.
    pub since: Option<Timestamp>,
    /// Numbers to which a text has gone.
    pub texted: HashSet<String>,
    /// Addresses whose owner said stop.
    pub stopped: Addresses,
    /// Addresses that do not work.
    pub bad: Addresses,
    /// When the season last changed.
    pub revised_at: Timestamp,
}

impl Record {
    /// Notes that a message went, the facts that it told, if any, and whether it asked for an answer about them.
    pub fn went(&mut self, ask: Ask, told: Option<Fingerprint>, asked: bool, at: Timestamp) {
        self.covered.insert(ask, Cover::Done(at));
        match told {
            Some(fingerprint) => self.tell(ask, fingerprint, asked, at),
            // It is one of the messages of its day all the same.
            None => self.note_last(ask, at),
        }
    }

    /// Notes that a guardian was told facts at an instant, and whether an answer was asked for.
    pub fn tell(&mut self, ask: Ask, fingerprint: Fingerprint, asked: bool, at: Timestamp) {
        let by_change = matches!(ask.notice, NoticeKey::Change(_));
        self.note_last(ask, at);
        let key = (ask.guardian, ask.item);
        let sent = self.sent.entry((ask.guardian, ask.item, ask.channel)).or_insert((0, at));
        *sent = (sent.0 + 1, sent.1.max(at));
        let Some(told) = self.told.get_mut(&key) else {
            let first =
                Told { fingerprint, at, asked, by_change, before: None, before_at: at, turns: 0, times: 1 };
            self.told.insert(key, first);
            return;
        };
        told.asked |= asked;
        let old = told.fingerprint;
        if old != fingerprint {
            *told = Told {
                fingerprint,
                at,
                asked: told.asked,
                by_change,
                before: Some(old),
                before_at: told.at,
                turns: told.turns + 1,
                times: told.times,
            };
        }
        told.at = told.at.max(at);
        told.times += 1;
        if old != fingerprint {
            // Should the old facts come back they are news again, whatever was announced before.
            for channel in [Channel::Mail, Channel::Text] {
                self.covered.remove(&Ask { notice: NoticeKey::Change(old), channel, ..ask });
            }
        }
    }

    fn note_last(&mut self, ask: Ask, at: Timestamp) {
        self.since = Some(self.since.map_or(at, |since| since.min(at)));
        let last = self.last.entry(ask.guardian).or_default();
        last.push((at, ask.item, ask.notice));
        let newest = last.iter().map(|(at, ..)| *at).max().unwrap_or(at);
        last.retain(|(at, ..)| newest.duration_since(*at) <= LAST_WITHIN);
    }

    /// Notes an answer; the last by time of the person's act counts.
    pub fn answer(&mut self, guardian: GuardianId, item: Item, answer: Answer) {
        let last = self.answers.get(&(guardian, item));
        if answer.kind != AnswerKind::Question && last.is_none_or(|last| last.at <= answer.at) {
            self.answers.insert((guardian, item), answer);
        }
    }

    /// Notes a call in which nobody heard the times; `number` is the one that was rung.
    pub fn rung(&mut self, guardian: GuardianId, item: Item, rung: Rung, number: &str) {
        if rung.end == CallEnd::WrongNumber {
            self.wrong.insert(guardian, number.to_owned());
        } else {
            self.wrong.remove(&guardian);
        }
        self.calls.entry((guardian, item)).or_default().push(rung);
    }

    /// Whether a number was found not to be a guardian's.
    pub fn is_wrong(&self, guardian: GuardianId, number: &str) -> bool {
        self.wrong.get(&guardian).is_some_and(|wrong| wrong == number)
    }

    /// Whether a child is not coming to an event: nothing is asked about it, and nobody waits.
    pub fn is_away(&self, item: Item) -> bool {
        self.away.contains_key(&item)
    }

    /// The last answer of a guardian about an item, unless a person has taken it back.
    pub fn answer_of(&self, guardian: GuardianId, item: Item) -> Option<&Answer> {
        let answer = self.answers.get(&(guardian, item))?;
        let back = self.taken_back.get(&item).is_some_and(|back| *back >= answer.at);
        (answer.kind != AnswerKind::CantCome || !back).then_some(answer)
    }

    /// Whether an address may be used as far as its history goes.
    pub fn usable(&self, channel: Channel, address: &str) -> bool {
        !self.stopped.contains(channel, address) && !self.bad.contains(channel, address)
    }
}
