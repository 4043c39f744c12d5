//! The office: everything a use case needs at hand, and the record kept in memory in step with the store.

use super::health::Health;
use super::hearing::Waiting;
use super::holding::Jump;
use super::outlook::Tariffs;
use super::ports::{
    Clock, Gateway, History, Journal, NewAnswer, Random, Store, StoreFault, StoredSeason, StoredTelling,
    Witness,
};
use super::sending::Ended;
use super::wording::Wording;
use crate::domain::board::{Board, Item};
use crate::domain::book::Problem;
use crate::domain::facts::Fingerprint;
use crate::domain::graph::State;
use crate::domain::plan::{self, CHANGE};
use crate::domain::reading::{self, Earlier, Kept, Reading};
use crate::domain::record::{Answer, Ask, Away, CallEnd, Cover, NoticeKey, Record, Rung};
use crate::domain::season::{Channel, GuardianId, Season};
use crate::domain::touched::Touched;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeSet, HashMap, VecDeque};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, OnceLock};
use tokio_util::sync::CancellationToken;

/// How the office works; every figure has a default.
#[derive(Debug, Clone)]
pub struct Ways {
    /// Where guardians' links begin, without a slash at the end.
    pub base_url: String,
    /// Messages claimed at once.
    pub batch: u32,
    /// After how long a claim or an open attempt that nobody holds on to is given up for lost.
    pub lease: SignedDuration,
    /// Claims without an attempt after which a message is quarantined.
    pub claims_max: i64,
    /// Attempts after which a channel is given up.
    pub attempts_max: i64,
    /// How long after it began a mail in doubt is tried once more. Silence after the dot was waited out before it came into
    /// doubt (10 minutes, RFC 5321 4.5.3.2.6); a broken connection says nothing more, however long one waits.
    pub mail_wait: SignedDuration,
    /// The same of a text, whose receipt is waited for.
    pub text_wait: SignedDuration,
    /// How long a gateway that cannot be used is left alone.
    pub rest: SignedDuration,
    /// How long links live after what they are about is over.
    pub links_outlive: SignedDuration,
    /// How long a browser stays in after the coordinator's link was opened in it.
    pub session_lives: SignedDuration,
    /// Whether families can open pages at that address.
    pub pages_public: bool,
    /// Whether words sent back by text come in.
    pub reply_by_text: bool,
    /// Whether words sent back by mail come in.
    pub reply_by_mail: bool,
    /// Where the coordinator is told of troubles: an address a channel, as far as there is one.
    pub coordinator: Vec<(Channel, String)>,
    /// What mails and texts cost, as far as that is known.
    pub tariffs: Tariffs,
}

impl Default for Ways {
    fn default() -> Self {
        Ways {
            base_url: "http://127.0.0.1:8420".to_owned(),
            batch: 500,
            lease: SignedDuration::from_secs(60),
            claims_max: 5,
            attempts_max: 12,
            mail_wait: SignedDuration::from_mins(1),
            text_wait: SignedDuration::from_mins(15),
            rest: SignedDuration::from_secs(60),
            links_outlive: SignedDuration::from_hours(48),
            session_lives: SignedDuration::from_hours(24 * 7),
            pages_public: true,
            reply_by_text: false,
            reply_by_mail: false,
            coordinator: Vec::new(),
            tariffs: Tariffs::default(),
        }
    }
}

/// What went wrong in a use case.
#[derive(Debug, thiserror::Error)]
pub enum OfficeFault {
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// No season has been brought yet.
    #[error("no season has been brought yet; run `allheard bring FILE` first")]
    NoSeason,
    /// The stored workbook cannot be read any more.
    #[error("the stored workbook has {} errors; bring a corrected one", .0.len())]
    Workbook(Vec<Problem>),
}

/// What is kept in memory of the season in force.
pub struct Desk {
    /// Row id of the season.
    pub season: i64,
    /// Revision of the workbook.
    pub revision: i64,
    /// The workbook in force.
    pub stored: Arc<StoredSeason>,
    /// Who people are by it, for one that differs in something else.
    pub kept: Kept,
    /// The season and all that follows from it.
    pub board: Arc<Board>,
    /// What was found wrong with the workbook and did not keep it out.
    pub warnings: Arc<Vec<Problem>>,
    /// What has happened.
    pub record: Record,
    /// The store's pulse this was read at, or that of our own last write.
    pub pulse: i64,
}

impl Desk {
    /// The workbook in force, and what follows from it.
    pub(super) fn in_force(&self) -> InForce {
        let board = Some(Arc::clone(&self.board));
        InForce { stored: Arc::clone(&self.stored), kept: self.kept.clone(), board }
    }

    /// Whether another season has the same people, events and notices in the same places, so that indices mean the same
    /// there. What failed at an address counts only while that is the address, so people have to be quite the same.
    pub(super) fn has_same_names(&self, other: &Board, kept: &Kept) -> bool {
        fn names(season: &Season) -> impl Iterator<Item = &str> {
            let events = season.events.iter().map(|event| event.reference.as_str());
            events.chain(season.notices.iter().map(|notice| notice.reference.as_str()))
        }
        let (own, other) = (&self.board.season, &other.season);
        self.kept.is_same(kept) && own.events.len() == other.events.len() && names(own).eq(names(other))
    }
}

/// The workbook in force, and what follows from it as far as it can be read.
pub(super) struct InForce {
    pub(super) stored: Arc<StoredSeason>,
    kept: Kept,
    pub(super) board: Option<Arc<Board>>,
}

impl InForce {
    /// As a new workbook is held against it.
    pub(super) fn before(&self) -> Earlier<'_> {
        let season = self.board.as_ref().map(|board| (&board.season, &board.programme));
        Earlier { book: &self.stored.book, kept: &self.kept, season }
    }
}

/// A season made ready to be laid on the desk.
#[derive(Debug, Clone)]
pub(super) struct Ready {
    pub(super) board: Arc<Board>,
    pub(super) kept: Kept,
    pub(super) warnings: Arc<Vec<Problem>>,
    /// What of the season in force it touches.
    pub(super) touched: Touched,
}

/// A gateway's state as the office sees it.
#[derive(Debug, Clone, Default)]
pub struct Rest {
    /// Left alone until then.
    pub until: Option<Timestamp>,
    /// Why.
    pub why: String,
}

/// Use cases meet here. `S` stores, `G` sends.
pub struct Office<S, G> {
    /// Where everything durable lives.
    pub store: S,
    /// Where messages go.
    pub gateway: G,
    /// The one clock.
    pub clock: Arc<dyn Clock>,
    /// The words.
    pub wording: Wording,
    /// How to work.
    pub ways: Ways,
    random: Mutex<Box<dyn Random>>,
    desk: tokio::sync::Mutex<Option<Desk>>,
    pub(super) rests: Mutex<HashMap<Channel, Rest>>,
    pub(super) health: Mutex<HashMap<Channel, Health>>,
    /// What ended and could not be recorded yet, by channel.
    pub(super) unrecorded: Mutex<HashMap<Channel, Vec<Ended>>>,
    /// Whether the memory still counts as told what waits to be tried again.
    pub(super) untold: AtomicBool,
    /// What arrived and waits to be taken in.
    pub(super) waiting: Mutex<VecDeque<Waiting>>,
    /// What other clocks said, by whose they are.
    pub(super) witnesses: Mutex<HashMap<String, Witness>>,
    /// Clocks that a person has overruled.
    pub(super) overruled: Mutex<BTreeSet<String>>,
    /// What both clocks of this host said last, and how far apart they have moved until that is written down as a hold.
    pub(super) jump: Mutex<Jump>,
    /// Whether this program holds sending for a clock, as far as it has seen.
    pub(super) clock_held: AtomicBool,
    /// Whether this host's clock differs from the database server's, which others on it go by.
    pub(super) astray: AtomicBool,
    /// Where attempts are written down beside the store.
    pub(super) journal: OnceLock<Arc<dyn Journal>>,
    /// Set when the program is to end: nothing more is begun.
    pub ending: CancellationToken,
    /// Tasks whose last round failed.
    failing: Mutex<BTreeSet<&'static str>>,
    /// When the coordinator was last told that nothing can be written.
    pub(super) told_of_store: Mutex<Option<Timestamp>>,
    /// When the coordinator was last told of a trouble of each channel.
    pub(super) alarms: Mutex<HashMap<Channel, Timestamp>>,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Opens the office.
    pub fn new(
        store: S,
        gateway: G,
        clock: Arc<dyn Clock>,
        random: Box<dyn Random>,
        wording: Wording,
        ways: Ways,
    ) -> Self {
        Office {
            store,
            gateway,
            clock,
            wording,
            ways,
            random: Mutex::new(random),
            desk: tokio::sync::Mutex::new(None),
            rests: Mutex::new(HashMap::new()),
            health: Mutex::new(HashMap::new()),
            unrecorded: Mutex::new(HashMap::new()),
            untold: AtomicBool::new(false),
            waiting: Mutex::new(VecDeque::new()),
            witnesses: Mutex::new(HashMap::new()),
            overruled: Mutex::new(BTreeSet::new()),
            jump: Mutex::new(Jump::default()),
            clock_held: AtomicBool::new(false),
            astray: AtomicBool::new(false),
            journal: OnceLock::new(),
            ending: CancellationToken::new(),
            failing: Mutex::new(BTreeSet::new()),
            told_of_store: Mutex::new(None),
            alarms: Mutex::new(HashMap::new()),
        }
    }

    /// Notes how the last round of a task, such as planning or sending on one road, ended.
    pub fn note_round(&self, task: &'static str, failed: bool) {
        if let Ok(mut failing) = self.failing.lock() {
            if failed {
                failing.insert(task)
            } else {
                failing.remove(task)
            };
        }
    }

    /// Tasks whose last round failed.
    pub fn failing(&self) -> Vec<&'static str> {
        self.failing.lock().map(|failing| failing.iter().copied().collect()).unwrap_or_default()
    }

    /// The present instant.
    pub fn now(&self) -> Timestamp {
        self.clock.now()
    }

    /// Unpredictable bytes.
    pub(super) fn random<const N: usize>(&self) -> [u8; N] {
        let mut bytes = [0; N];
        if let Ok(mut random) = self.random.lock() {
            random.fill(&mut bytes);
        }
        bytes
    }

    /// The desk, read afresh if the store has moved on without us.
    pub async fn desk(&self) -> Result<tokio::sync::MappedMutexGuard<'_, Desk>, OfficeFault> {
        let mut held = self.desk.lock().await;
        let fresh = match held.as_ref() {
            Some(desk) => self.store.pulse(desk.season).await? == desk.pulse,
            None => false,
        };
        if !fresh {
            *held = Some(self.read_desk(held.take()).await?);
        }
        tokio::sync::MutexGuard::try_map(held, Option::as_mut).map_err(|_| OfficeFault::NoSeason)
    }

    /// Reads the desk again in its place.
    pub(super) async fn refresh(&self, desk: &mut Desk) -> Result<(), OfficeFault> {
        let history = self.store.history(desk.season).await?;
        if history.revision != desk.revision {
            // Another workbook has come into force: whoever asks next reads all of it.
            desk.pulse = -1;
            return Err(OfficeFault::Store(StoreFault::Database("the season has moved on".to_owned())));
        }
        desk.record = rebuild(&desk.board, &history, history.revised_at);
        desk.pulse = history.pulse;
        Ok(())
    }

    /// Reads what has happened, and the workbook too unless it is the one that lay there.
    async fn read_desk(&self, before: Option<Desk>) -> Result<Desk, OfficeFault> {
        if let Some(before) = before {
            let history = self.store.history(before.season).await?;
            if history.revision == before.revision {
                let record = rebuild(&before.board, &history, history.revised_at);
                return Ok(Desk { record, pulse: history.pulse, ..before });
            }
        }
        let stored = self.store.season().await?.ok_or(OfficeFault::NoSeason)?;
        let Reading { season, programme, problems, kept } = reading::read(&stored.book, None);
        let Some(season) = season else { return Err(OfficeFault::Workbook(problems)) };
        let (board, warnings) = (Arc::new(Board::with(season, programme, None)), Arc::new(problems));
        let history = self.store.history(stored.id).await?;
        let record = rebuild(&board, &history, stored.revised_at);
        // Read after the workbook, the pulse may be that of a newer one, which the next look must notice.
        let pulse = if history.revision == stored.revision { history.pulse } else { -1 };
        let (season, revision, stored) = (stored.id, stored.revision, Arc::new(stored));
        Ok(Desk { season, revision, stored, kept, board, warnings, record, pulse })
    }

    /// Clears the desk, which is read again when it is next needed: for work that needs the memory more.
    pub async fn clear_desk(&self) {
        *self.desk.lock().await = None;
    }

    /// The workbook in force, as far as there is one.
    pub(super) async fn in_force(&self) -> Result<Option<InForce>, OfficeFault> {
        match self.desk().await {
            Ok(desk) => Ok(Some(desk.in_force())),
            // A stored workbook that no longer reads is still the one that a new one is held against.
            Err(OfficeFault::NoSeason | OfficeFault::Workbook(_)) => {
                let stored = self.store.season().await?.map(Arc::new);
                Ok(stored.map(|stored| InForce { stored, kept: Kept::default(), board: None }))
            }
            Err(fault) => Err(fault),
        }
    }

    /// Lays a workbook just taken in on the desk, so that nothing of it is read back. Where it has the same people,
    /// events and notices as the one before, what has happened stays as it is.
    pub(super) async fn lay_out(&self, stored: StoredSeason, ready: &Ready) {
        let mut held = self.desk.lock().await;
        let Some(desk) = held.as_mut() else { return };
        if desk.revision + 1 != stored.revision || desk.season != stored.id {
            return;
        }
        if desk.has_same_names(&ready.board, &ready.kept) {
            desk.record.revised_at = stored.revised_at;
            desk.pulse += 1;
        } else {
            // What has happened is read again, against the new season.
            desk.pulse = -1;
        }
        desk.revision = stored.revision;
        desk.stored = Arc::new(stored);
        desk.kept = ready.kept.clone();
        desk.board = Arc::clone(&ready.board);
        desk.warnings = Arc::clone(&ready.warnings);
    }

    /// The rests of gateways that cannot be used at the moment.
    pub fn resting(&self) -> Vec<(Channel, Rest)> {
        let now = self.now();
        let rests = self.rests.lock().map(|r| r.clone()).unwrap_or_default();
        let mut list: Vec<_> =
            rests.into_iter().filter(|(_, rest)| rest.until.is_some_and(|t| t > now)).collect();
        list.sort_by_key(|(channel, _)| *channel);
        list
    }
}

/// Rebuilds the record from everything that happened; rows that are gone from the season are left out.
pub fn rebuild(board: &Board, history: &History, revised_at: Timestamp) -> Record {
    let mut record = Record { revised_at, ..Record::default() };
    for telling in &history.tellings {
        let Some((ask_of, item, notice)) = parts_of(board, telling) else { continue };
        for guardian in ask_of {
            // What failed at an address that is no longer hers has not failed at the new one.
            let contact = &board.season.guardians[guardian.at()].contact;
            let address = match telling.channel {
                Channel::Mail => contact.mail_to(),
                Channel::Text => contact.text_to(),
            };
            if !telling.failed_at.is_empty() && address != Some(telling.failed_at.as_str()) {
                continue;
            }
            let ask = Ask { guardian, item, notice, channel: telling.channel };
            let told = telling.part.fingerprint.and_then(|facts| facts_told(board, notice, facts));
            note_state(&mut record, board, ask, telling.state, told, telling.at);
        }
    }
    for stored in &history.answers {
        let answer = &stored.answer;
        let item = board.item(&answer.child, &answer.event);
        if let (Some(guardian), Some(item)) = (board.guardian(&answer.guardian), item) {
            note_answer(&mut record, guardian, item, answer);
        }
    }
    for stored in &history.absences {
        let Some(item) = board.item(&stored.child, &stored.event) else { continue };
        if stored.away {
            let said_by = board.guardian(&stored.said_by);
            record.away.insert(item, Away { at: stored.at, said_by, noted_by: stored.noted_by.clone() });
        } else {
            record.taken_back.insert(item, stored.at);
        }
    }
    record.texted.extend(history.texted.iter().cloned());
    for address in &history.addresses {
        if address.stopped {
            record.stopped.insert(address.channel, &address.address);
        }
        if address.bad {
            record.bad.insert(address.channel, &address.address);
        }
    }
    record
}

/// Notes an answer, or a call in which nobody heard the times.
pub(super) fn note_answer(record: &mut Record, guardian: GuardianId, item: Item, said: &NewAnswer) {
    match said.kind {
        Some(kind) => {
            let answer =
                Answer { kind, fingerprint: said.fingerprint, at: said.at, one_phone: said.one_phone };
            record.answer(guardian, item, answer);
            if said.road == super::chasing::CALL {
                record.wrong.remove(&guardian);
            }
        }
        None => {
            let end = CallEnd::from_word(&said.outcome).unwrap_or(CallEnd::NoAnswer);
            let rung = Rung { at: said.at, end, by: said.noted_by.clone() };
            record.rung(guardian, item, rung, &said.words);
        }
    }
}

pub(super) fn parts_of(board: &Board, telling: &StoredTelling) -> Option<(Vec<GuardianId>, Item, NoticeKey)> {
    let item = board.item(&telling.part.child, &telling.part.event)?;
    let notice = notice_key(board, &telling.part.notice, telling.part.fingerprint)?;
    Some((telling.guardians.iter().filter_map(|g| board.guardian(g)).collect(), item, notice))
}

/// The notice behind a stored word.
pub(super) fn notice_key(board: &Board, word: &str, announced: Option<Fingerprint>) -> Option<NoticeKey> {
    if word == CHANGE { announced.map(NoticeKey::Change) } else { board.notice(word).map(NoticeKey::Rule) }
}

/// The facts that a notice tells: none where it only introduces somebody.
pub(super) fn facts_told(board: &Board, notice: NoticeKey, facts: Fingerprint) -> Option<Fingerprint> {
    plan::tells(board, notice).then_some(facts)
}

/// Notes what a message's state means for one ask.
pub(super) fn note_state(
    record: &mut Record,
    board: &Board,
    ask: Ask,
    state: State,
    told: Option<Fingerprint>,
    at: Timestamp,
) {
    match state {
        State::Accepted | State::Delivered | State::Uncertain | State::Attempting => {
            record.went(ask, told, plan::asks(board, ask.item, ask.notice), at);
        }
        State::Refused | State::Bounced => {
            record.covered.insert(ask, Cover::Failed);
        }
        // Set aside for a person: neither told nor worth composing again.
        State::Quarantined => {
            record.covered.insert(ask, Cover::Done(at));
        }
        State::Planned | State::Claimed | State::WaitingToRetry | State::Withdrawn | State::Expired => {}
    }
}
