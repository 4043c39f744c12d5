//! The only SQL. Opens a database by URL, brings its tables up to date, and answers as a [`Store`].

mod absence;
mod changes;
mod course;
pub mod db;
mod deeds;
mod digests;
mod feeds;
mod history;
mod holding;
mod incoming;
mod ledger;
mod messages;
mod pace;
mod people;
mod placing;
mod seasons;
mod server;
mod sound;
pub mod sql;

use crate::domain::book::Book;
use crate::domain::facts::Fingerprint;
use crate::domain::graph::State;
use crate::domain::season::Channel;
use crate::service::ports::{
    Claimed, ClaimedReply, Course, CrashPoint, Decided, Delta, Doubt, Effects, Hand, History, LedgerLine,
    Lost, NewAbsence, NewAnswer, NewAttempt, NewDigest, NewFeed, NewIncoming, NewLink, NewReceipt, NewReply,
    NextOn, Offer, OpenLine, OpenLink, OpenReply, Random, Receipted, SendingHold, Settled, SettledReply,
    Store, StoreFault, StoredAttempt, StoredChange, StoredDeed, StoredDigest, StoredFeed, StoredIncoming,
    StoredLink, StoredMessage, StoredSeason, TendRules, Tended, Unsent,
};
use db::{Crashes, Db, Tx};
use jiff::Timestamp;
use std::collections::HashMap;
use std::sync::Mutex;

/// The store behind the whole program.
pub struct SqlStore {
    db: Db,
    upgraded: bool,
    random: Mutex<Box<dyn Random>>,
    /// Where tests ask for crashes; empty in ordinary life.
    pub crashes: Crashes,
}

impl SqlStore {
    /// Opens the database of a URL such as `sqlite://allheard.db`. Salts are drawn from `random`.
    pub async fn open(url: &str, random: Box<dyn Random>) -> Result<SqlStore, StoreFault> {
        let (db, upgraded) = Db::open_noting(url).await?;
        Ok(SqlStore { db, upgraded, random: Mutex::new(random), crashes: Crashes::default() })
    }

    /// Whether this is the first start of a newer program on tables that were in use before.
    pub fn upgraded(&self) -> bool {
        self.upgraded
    }

    /// Writes one consistent copy of a database file into an empty one, while others write.
    pub async fn copy_to(&self, file: &str) -> Result<(), StoreFault> {
        self.db.copy_to(file).await
    }

    /// What is wrong inside a database file, in the engine's words; nothing where it is sound.
    pub async fn faults_of(file: &str) -> Result<Vec<String>, StoreFault> {
        sound::faults_of(file).await
    }

    /// How many seasons are in a database file; one that has not our tables is refused.
    pub async fn seasons_in(file: &str) -> Result<i64, StoreFault> {
        sound::seasons_in(file).await
    }

    /// Closes all connections.
    pub async fn close(&self) {
        self.db.close().await;
    }

    /// The database, for tests that look inside.
    pub fn db(&self) -> &Db {
        &self.db
    }

    fn salt(&self) -> Result<Vec<u8>, StoreFault> {
        let mut salt = vec![0; ledger::SALT_OCTETS];
        let mut random = self
            .random
            .lock()
            .map_err(|_| StoreFault::Database("the source of randomness is gone".into()))?;
        random.fill(&mut salt);
        Ok(salt)
    }

    /// Commits, with a place to crash on either side.
    async fn commit(&self, tx: Tx, what: &'static str) -> Result<(), StoreFault> {
        self.crashes.pass(CrashPoint::BeforeCommit(what))?;
        tx.commit().await?;
        self.crashes.pass(CrashPoint::AfterCommit(what))
    }
}

/// An instant as stored.
fn ms(at: Timestamp) -> i64 {
    at.as_millisecond()
}

/// A set of rows as statements take it: one JSON text.
fn set(rows: &impl serde::Serialize) -> Result<db::Value, StoreFault> {
    serde_json::to_string(rows)
        .map(db::Value::Text)
        .map_err(|error| StoreFault::Database(format!("a set of rows cannot be written: {error}")))
}

/// A stored instant.
fn instant(table: &'static str, row: &str, ms: i64) -> Result<Timestamp, StoreFault> {
    Timestamp::from_millisecond(ms).map_err(|_| StoreFault::BrokenRow {
        table,
        row: row.to_owned(),
        reason: format!("{ms} is no instant"),
    })
}

fn channel(table: &'static str, row: &str, word: &str) -> Result<Channel, StoreFault> {
    Channel::from_word(word).ok_or_else(|| StoreFault::BrokenRow {
        table,
        row: row.to_owned(),
        reason: format!("'{word}' is no channel"),
    })
}

fn state(table: &'static str, row: &str, word: &str) -> Result<State, StoreFault> {
    State::from_word(word).ok_or_else(|| StoreFault::BrokenRow {
        table,
        row: row.to_owned(),
        reason: format!("'{word}' is no state"),
    })
}

fn fingerprint(table: &'static str, row: &str, hex: &str) -> Result<Option<Fingerprint>, StoreFault> {
    if hex.is_empty() {
        return Ok(None);
    }
    hex.parse().map(Some).map_err(|_| StoreFault::BrokenRow {
        table,
        row: row.to_owned(),
        reason: "the fingerprint is not hexadecimal".to_owned(),
    })
}

impl Store for SqlStore {
    async fn probe(&self) -> Result<(), StoreFault> {
        self.db.try_write().await
    }
    async fn faults(&self) -> Result<Vec<String>, StoreFault> {
        match &self.db {
            Db::Sqlite { readers, .. } => {
                sound::faults_in(&mut *readers.acquire().await.map_err(db::database)?).await
            }
            Db::Postgres { .. } => Ok(Vec::new()),
        }
    }
    async fn season(&self) -> Result<Option<StoredSeason>, StoreFault> {
        seasons::read(self).await
    }
    async fn put_season(
        &self,
        reference: &str,
        book: &Book,
        expected: i64,
        at: Timestamp,
    ) -> Result<bool, StoreFault> {
        seasons::put(self, reference, book, None, expected, at, "").await
    }
    async fn put_change(
        &self,
        reference: &str,
        book: &Book,
        before: Option<&Book>,
        expected: i64,
        at: Timestamp,
        what: &str,
    ) -> Result<bool, StoreFault> {
        seasons::put(self, reference, book, before, expected, at, what).await
    }
    async fn changes(&self, season: i64, most: u32) -> Result<Vec<StoredChange>, StoreFault> {
        changes::list(self, season, most).await
    }
    async fn book_before(&self, season: i64, revision: i64) -> Result<Option<Book>, StoreFault> {
        changes::before(self, season, revision).await
    }
    async fn history(&self, season: i64) -> Result<History, StoreFault> {
        history::read(self, season).await
    }
    async fn pulse(&self, season: i64) -> Result<i64, StoreFault> {
        let rows = self.db.fetch(sql::SEASON_PULSE, vec![season.into()]).await?;
        rows.first().map_or(Ok(0), |row| row.int(0))
    }
    async fn open_messages(
        &self,
        season: i64,
        households: Option<&[&str]>,
    ) -> Result<Vec<StoredMessage>, StoreFault> {
        messages::open(self, season, households).await
    }
    async fn open_lines(
        &self,
        season: i64,
        households: &[&str],
    ) -> Result<HashMap<String, Vec<OpenLine>>, StoreFault> {
        messages::open_lines(self, season, households).await
    }
    async fn open_households(&self, season: i64) -> Result<Vec<String>, StoreFault> {
        messages::households(self, sql::OPEN_HOUSEHOLDS, season).await
    }
    async fn announced(&self, season: i64) -> Result<Vec<String>, StoreFault> {
        messages::households(self, sql::ANNOUNCED, season).await
    }
    async fn reconcile(&self, season: i64, delta: &Delta, at: Timestamp) -> Result<(), StoreFault> {
        let mut tx = self.db.begin().await?;
        messages::reconcile(self, &mut tx, season, delta, at).await?;
        self.commit(tx, "reconcile").await
    }
    async fn claim(
        &self,
        season: i64,
        channel: Channel,
        most: u32,
        per_second: f64,
        now: Timestamp,
        lease_until: Timestamp,
    ) -> Result<Claimed, StoreFault> {
        messages::claim(self, season, channel, (most, per_second), now, lease_until).await
    }
    async fn renew(&self, held: &[(i64, i64)], lease_until: Timestamp) -> Result<(), StoreFault> {
        messages::renew(self, held, lease_until).await
    }
    async fn attempt(
        &self,
        season: i64,
        revision: i64,
        attempts: &[&NewAttempt],
        now: Timestamp,
        lease_until: Timestamp,
    ) -> Result<Vec<i64>, StoreFault> {
        messages::attempt(self, season, revision, attempts, now, lease_until).await
    }
    async fn settle(&self, season: i64, outcomes: &[Settled], now: Timestamp) -> Result<(), StoreFault> {
        messages::settle(self, season, outcomes, now).await
    }
    async fn put_back(&self, season: i64, unsent: &[Unsent], now: Timestamp) -> Result<(), StoreFault> {
        messages::put_back(self, season, unsent, now).await
    }
    async fn tend(&self, season: i64, now: Timestamp, rules: TendRules) -> Result<Tended, StoreFault> {
        messages::tend(self, season, now, rules).await
    }
    async fn next_due(&self, season: i64) -> Result<Option<Timestamp>, StoreFault> {
        messages::next_due(self, season).await
    }
    async fn next_on(&self, season: i64, channel: Channel, now: Timestamp) -> Result<NextOn, StoreFault> {
        messages::next_on(self, season, channel, now).await
    }
    async fn decide(
        &self,
        season: i64,
        messages: &[i64],
        what: Decided,
        now: Timestamp,
    ) -> Result<u64, StoreFault> {
        messages::decide(self, season, messages, what, now).await
    }
    async fn messages_to_see(
        &self,
        season: i64,
        states: &[State],
        most: u32,
    ) -> Result<Vec<StoredMessage>, StoreFault> {
        messages::to_see(self, season, states, most).await
    }
    async fn replies_to_see(&self, season: i64, most: u32) -> Result<Vec<OpenReply>, StoreFault> {
        incoming::replies_to_see(self, season, most).await
    }
    async fn decide_reply(
        &self,
        season: i64,
        reply: i64,
        again_until: Option<Timestamp>,
        now: Timestamp,
    ) -> Result<bool, StoreFault> {
        incoming::decide_reply(self, season, reply, again_until, now).await
    }
    async fn coordinator_links(&self, season: i64, now: Timestamp) -> Result<Vec<OpenLink>, StoreFault> {
        people::coordinator_links(self, season, now).await
    }
    async fn end_link(&self, season: i64, hash: &str, now: Timestamp) -> Result<bool, StoreFault> {
        people::end_link(self, season, hash, now).await
    }
    async fn holds(&self) -> Result<Vec<SendingHold>, StoreFault> {
        holding::holds(self).await
    }
    async fn hold(&self, doubt: Doubt, why: &str, at: Timestamp) -> Result<bool, StoreFault> {
        holding::hold(self, doubt, why, at).await
    }
    async fn lift(&self, doubt: Doubt) -> Result<bool, StoreFault> {
        holding::lift(self, doubt).await
    }
    async fn journals(&self) -> Result<Vec<String>, StoreFault> {
        holding::journals(self).await
    }
    async fn register_journal(&self, journal: &str, at: Timestamp) -> Result<(), StoreFault> {
        holding::register(self, journal, at).await
    }
    async fn unknown_attempts(&self, attempts: &[Lost]) -> Result<Vec<Lost>, StoreFault> {
        holding::unknown(self, attempts).await
    }
    async fn doubt_lost(&self, keys: &[String], at: Timestamp) -> Result<u64, StoreFault> {
        holding::doubt(self, keys, at).await
    }
    async fn tell_recalled(
        &self,
        season: i64,
        told: &[(i64, String, String, String, Fingerprint)],
        forms: &[(Fingerprint, String)],
        at: Timestamp,
    ) -> Result<(), StoreFault> {
        holding::tell(self, season, told, forms, at).await
    }
    async fn newest_attempt(&self) -> Result<Option<Timestamp>, StoreFault> {
        holding::newest(self).await
    }
    async fn their_clock(&self) -> Result<Option<Timestamp>, StoreFault> {
        holding::their_clock(self).await
    }
    async fn bounce(
        &self,
        season: i64,
        key: &str,
        now: Timestamp,
    ) -> Result<Option<(Channel, String)>, StoreFault> {
        messages::bounce(self, season, key, now).await
    }
    async fn link(&self, season: i64, hash: &str) -> Result<Option<StoredLink>, StoreFault> {
        people::link(self, season, hash).await
    }
    async fn put_link(&self, season: i64, link: &NewLink) -> Result<(), StoreFault> {
        let mut tx = self.db.begin().await?;
        people::add_links(&mut tx, season, std::iter::once(link)).await?;
        self.commit(tx, "put_link").await
    }
    async fn feed(&self, season: i64, hash: &str) -> Result<Option<StoredFeed>, StoreFault> {
        feeds::feed(self, season, hash).await
    }
    async fn put_feed(&self, season: i64, feed: &NewFeed) -> Result<(), StoreFault> {
        feeds::put(self, season, feed).await
    }
    async fn answer(
        &self,
        season: i64,
        answers: &[NewAnswer],
        delta: &Delta,
        now: Timestamp,
    ) -> Result<bool, StoreFault> {
        people::answer(self, season, answers, delta, now).await
    }
    async fn message_of(&self, season: i64, key: &str) -> Result<Option<StoredMessage>, StoreFault> {
        messages::of_key(self, season, key).await
    }
    async fn take_in(
        &self,
        season: i64,
        all: &[(&NewIncoming, &Effects)],
        now: Timestamp,
    ) -> Result<Vec<bool>, StoreFault> {
        incoming::take_in(self, season, all, now).await
    }
    async fn waiting(&self, season: i64, most: u32) -> Result<Vec<StoredIncoming>, StoreFault> {
        incoming::waiting(self, season, most).await
    }
    async fn incoming(&self, season: i64, id: i64) -> Result<Option<StoredIncoming>, StoreFault> {
        incoming::one(self, season, id).await
    }
    async fn incoming_of(
        &self,
        season: i64,
        guardian: &str,
        most: u32,
    ) -> Result<Vec<StoredIncoming>, StoreFault> {
        incoming::of_guardian(self, season, guardian, most).await
    }
    async fn answer_question(
        &self,
        season: i64,
        id: i64,
        reply: Option<&NewReply>,
        guardians: &[String],
        now: Timestamp,
    ) -> Result<bool, StoreFault> {
        incoming::answer_question(self, season, id, reply, guardians, now).await
    }
    async fn offer(&self, season: i64, channel: Channel, address: &str) -> Result<Option<Offer>, StoreFault> {
        incoming::offer(self, season, channel, address).await
    }
    async fn asked_at(
        &self,
        season: i64,
        channel: Channel,
        address: &str,
        most: u32,
    ) -> Result<Vec<StoredMessage>, StoreFault> {
        messages::asked_at(self, season, channel, address, most).await
    }
    async fn claim_replies(
        &self,
        season: i64,
        channel: Channel,
        most: u32,
        per_second: f64,
        now: Timestamp,
        lease_until: Timestamp,
    ) -> Result<Vec<ClaimedReply>, StoreFault> {
        incoming::claim_replies(self, season, channel, (most, per_second), now, lease_until).await
    }
    async fn digests(&self, season: i64) -> Result<Vec<StoredDigest>, StoreFault> {
        digests::all(self, season).await
    }
    async fn put_digests(&self, season: i64, new: &[NewDigest], now: Timestamp) -> Result<usize, StoreFault> {
        digests::put(self, season, new, now).await
    }
    async fn put_reply(
        &self,
        season: i64,
        reply: &NewReply,
        guardians: &[String],
        now: Timestamp,
    ) -> Result<(), StoreFault> {
        incoming::put_reply(self, season, reply, guardians, now).await
    }
    async fn renew_replies(&self, held: &[(i64, i64)], lease_until: Timestamp) -> Result<(), StoreFault> {
        incoming::renew_replies(self, held, lease_until).await
    }

    async fn settle_replies(&self, settled: &[SettledReply]) -> Result<(), StoreFault> {
        incoming::settle_replies(self, settled).await
    }
    async fn receipt(
        &self,
        season: i64,
        receipt: &NewReceipt,
        now: Timestamp,
    ) -> Result<Receipted, StoreFault> {
        incoming::receipt(self, season, receipt, now).await
    }
    async fn lives(
        &self,
        season: i64,
        household: Option<&str>,
        skip: u32,
        most: u32,
    ) -> Result<Vec<(StoredMessage, Vec<StoredAttempt>)>, StoreFault> {
        messages::lives(self, season, household, skip, most).await
    }
    async fn set_stopped(
        &self,
        season: i64,
        channel: Channel,
        address: &str,
        guardians: &[String],
        stopped: bool,
        delta: &Delta,
        now: Timestamp,
    ) -> Result<(), StoreFault> {
        people::set_stopped(self, season, (channel, address), guardians, stopped, delta, now).await
    }
    async fn facts(&self, season: i64, fingerprint: Fingerprint) -> Result<Option<String>, StoreFault> {
        let rows = self.db.fetch(sql::FACTS, vec![season.into(), fingerprint.to_string().into()]).await?;
        rows.first().map(|row| row.text(0)).transpose()
    }
    async fn counts(&self, season: i64) -> Result<Vec<(State, Channel, u64)>, StoreFault> {
        messages::counts(self, season).await
    }
    async fn messages_in(
        &self,
        season: i64,
        states: &[State],
        most: u32,
    ) -> Result<Vec<StoredMessage>, StoreFault> {
        messages::in_states(self, season, states, most).await
    }
    async fn deeds(&self, season: i64, event: &str) -> Result<Vec<StoredDeed>, StoreFault> {
        deeds::read(self, season, event).await
    }
    async fn end_links(&self, season: i64, household: &str, now: Timestamp) -> Result<u64, StoreFault> {
        people::end_links(self, season, household, now).await
    }
    async fn set_away(
        &self,
        season: i64,
        new: &NewAbsence,
        told: &[NewReply],
        delta: &Delta,
        now: Timestamp,
    ) -> Result<bool, StoreFault> {
        absence::add(self, season, new, told, delta, now).await
    }
    async fn add_deed(&self, season: i64, event: &str, deed: &StoredDeed) -> Result<bool, StoreFault> {
        deeds::add(self, season, event, deed).await
    }
    async fn course(&self, season: i64) -> Result<Course, StoreFault> {
        course::read(self, season).await
    }
    async fn set_course(
        &self,
        season: i64,
        going: bool,
        by: Hand,
        at: Timestamp,
    ) -> Result<bool, StoreFault> {
        course::set(self, season, going, by, at).await
    }
    async fn note_test(
        &self,
        season: i64,
        external: &str,
        channel: Channel,
        wording: &str,
        at: Timestamp,
    ) -> Result<bool, StoreFault> {
        course::note_test(self, season, external, channel, wording, at).await
    }
    fn pass(&self, point: CrashPoint) -> Result<(), StoreFault> {
        self.crashes.pass(point)
    }
    async fn ledger(&self, season: i64, after: i64, most: u32) -> Result<Vec<LedgerLine>, StoreFault> {
        ledger::read(self, season, after, most).await
    }
}
