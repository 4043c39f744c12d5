//! The seams: what the use cases need of the world, implemented outside.

use crate::domain::book::Book;
use crate::domain::facts::Fingerprint;
use crate::domain::graph::State;
use crate::domain::refs::Given;
use crate::domain::season::Channel;
use jiff::Timestamp;
use std::collections::HashMap;
use std::future::Future;
use std::time::Duration;

mod carrying;
mod changes;
mod course;
mod deeds;
mod digests;
mod feeds;
mod history;
mod holding;
mod incoming;
mod links;
mod messages;

pub use carrying::{Content, Gateway, Handed, MailContent, Parcel, Protection, is_this_host};
pub use changes::StoredChange;
pub use course::{Course, Hand};
pub use deeds::{DeedKind, StoredDeed};
pub use digests::{COORDINATOR, NewDigest, SaidDigest, StoredDigest};
pub use feeds::{FeedHolder, NewFeed, StoredFeed};
pub use history::{
    History, NewAbsence, NewAnswer, StoredAbsence, StoredAddress, StoredAnswer, StoredTelling,
};
pub use holding::{Doubt, Journal, Lost, SendingHold, Witness};
pub use incoming::{
    ClaimedReply, Effects, NewIncoming, NewReceipt, NewReply, News, Offer, OpenReply, Receipted,
    SettledReply, StoredIncoming,
};
pub use links::{LinkKind, NewLink, OpenLink, StoredLink};
pub use messages::{
    Claimed, Decided, Delta, NewAttempt, NextOn, OpenLine, Outcome, Settled, StoredAttempt, StoredMessage,
    StoredPart, TendRules, Tended, Unsent,
};

/// The one clock.
pub trait Clock: Send + Sync {
    /// The present instant.
    fn now(&self) -> Timestamp;
    /// How long the machine has been running, its sleep included, which nobody sets; none for a clock that is set by hand.
    fn since_boot(&self) -> Option<Duration> {
        None
    }
}

/// The one source of randomness.
pub trait Random: Send {
    /// Fills a buffer with unpredictable bytes.
    fn fill(&mut self, buffer: &mut [u8]);
}

/// A fault of the store. Nothing was changed unless it says otherwise.
#[derive(Debug, thiserror::Error)]
pub enum StoreFault {
    /// The database did not answer, or answered with an error of its own.
    #[error("the database failed: {0}")]
    Database(String),
    /// A stored row makes no sense.
    #[error("table {table}, row {row}: {reason}")]
    BrokenRow {
        /// Table.
        table: &'static str,
        /// Key of the row.
        row: String,
        /// What is wrong with it.
        reason: String,
    },
    /// The database file belongs to a newer program.
    #[error("{0}")]
    Refused(String),
    /// A test asked for a crash here.
    #[error("crash injected at {0:?}")]
    Crash(CrashPoint),
}

/// Places where a test may end the program, around every commit and every effect.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CrashPoint {
    /// Before a transaction commits.
    BeforeCommit(&'static str),
    /// After a transaction has committed.
    AfterCommit(&'static str),
    /// After a gateway took a message and before that is recorded.
    AfterEffect,
}

/// A season as stored.
#[derive(Debug, Clone)]
pub struct StoredSeason {
    /// Row id.
    pub id: i64,
    /// Lasting name.
    pub reference: String,
    /// Rises by one with each change of the workbook.
    pub revision: i64,
    /// When it last changed.
    pub revised_at: Timestamp,
    /// The workbook in force.
    pub book: Book,
    /// The highest number given out under each letter of refs.
    pub given: Given,
}

/// A line of the ledger as read back.
#[derive(Debug, Clone)]
pub struct LedgerLine {
    /// Position from 1.
    pub seq: i64,
    /// The entry.
    pub entry: crate::domain::chain::LedgerEntry,
    /// Its hash.
    pub hash: String,
    /// Words with the salt of their person, as far as they have not been erased.
    pub words: Option<(Vec<u8>, String)>,
}

/// Where everything durable lives. Every method is one transaction and idempotent by its keys.
pub trait Store: Send + Sync {
    /// Whether a write is taken at this moment; nothing is changed.
    fn probe(&self) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// What is wrong inside the database file, in the engine's words; nothing where it is sound or a server looks after it.
    fn faults(&self) -> impl Future<Output = Result<Vec<String>, StoreFault>> + Send;
    /// The season, if one has been brought.
    fn season(&self) -> impl Future<Output = Result<Option<StoredSeason>, StoreFault>> + Send;
    /// Puts a workbook in force if the revision is still `expected` (0 for none yet); false if it is not.
    fn put_season(
        &self,
        reference: &str,
        book: &Book,
        expected: i64,
        at: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// As [`Store::put_season`], keeping by which action and what it replaces. `before` is the workbook in force at
    /// `expected`, where it is at hand: then it is not read again.
    fn put_change(
        &self,
        reference: &str,
        book: &Book,
        before: Option<&Book>,
        expected: i64,
        at: Timestamp,
        what: &str,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// What was changed, the latest first, at most `most`.
    fn changes(
        &self,
        season: i64,
        most: u32,
    ) -> impl Future<Output = Result<Vec<StoredChange>, StoreFault>> + Send;
    /// The workbook before a revision, as long as that is the latest and what it replaced is known.
    fn book_before(
        &self,
        season: i64,
        revision: i64,
    ) -> impl Future<Output = Result<Option<Book>, StoreFault>> + Send;
    /// Everything needed to rebuild the record.
    fn history(&self, season: i64) -> impl Future<Output = Result<History, StoreFault>> + Send;
    /// The present pulse, to notice changes by others.
    fn pulse(&self, season: i64) -> impl Future<Output = Result<i64, StoreFault>> + Send;
    /// Messages not at an end: of some households, or of all.
    fn open_messages(
        &self,
        season: i64,
        households: Option<&[&str]>,
    ) -> impl Future<Output = Result<Vec<StoredMessage>, StoreFault>> + Send;
    /// The same of some households in short, by household.
    fn open_lines(
        &self,
        season: i64,
        households: &[&str],
    ) -> impl Future<Output = Result<HashMap<String, Vec<OpenLine>>, StoreFault>> + Send;
    /// Households with messages not at an end.
    fn open_households(&self, season: i64) -> impl Future<Output = Result<Vec<String>, StoreFault>> + Send;
    /// Households to whom an announcement of a change has still to go.
    fn announced(&self, season: i64) -> impl Future<Output = Result<Vec<String>, StoreFault>> + Send;
    /// Carries out a plan's delta; withdrawals and moves touch only messages that may still be withdrawn or moved.
    fn reconcile(
        &self,
        season: i64,
        delta: &Delta,
        at: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Claims messages that are due and useful, nearest deadline first, as far as `per_second` leaves room: one rate for all
    /// who share the store. Nothing is claimed while there is a hold.
    fn claim(
        &self,
        season: i64,
        channel: Channel,
        most: u32,
        per_second: f64,
        now: Timestamp,
        lease_until: Timestamp,
    ) -> impl Future<Output = Result<Claimed, StoreFault>> + Send;
    /// Prolongs claims and attempts under their fences.
    fn renew(
        &self,
        held: &[(i64, i64)],
        lease_until: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Writes attempts; gives back the messages that may now be sent: still claimed under that fence, the season
    /// still at `revision`, the address neither stopped nor known not to work.
    fn attempt(
        &self,
        season: i64,
        revision: i64,
        attempts: &[&NewAttempt],
        now: Timestamp,
        lease_until: Timestamp,
    ) -> impl Future<Output = Result<Vec<i64>, StoreFault>> + Send;
    /// Records outcomes, many in one transaction; those with an old fence change nothing.
    fn settle(
        &self,
        season: i64,
        outcomes: &[Settled],
        now: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Records what becomes of claimed messages that are not attempted.
    fn put_back(
        &self,
        season: i64,
        unsent: &[Unsent],
        now: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Frees ended leases, expires the useless, settles the uncertain as far as rules allow.
    fn tend(
        &self,
        season: i64,
        now: Timestamp,
        rules: TendRules,
    ) -> impl Future<Output = Result<Tended, StoreFault>> + Send;
    /// The next instant at which something could be claimed or tended; what is planned counts only while the season goes.
    fn next_due(&self, season: i64) -> impl Future<Output = Result<Option<Timestamp>, StoreFault>> + Send;
    /// The next instants at which a message and a reply of a channel could be claimed; none while there is a hold.
    fn next_on(
        &self,
        season: i64,
        channel: Channel,
        now: Timestamp,
    ) -> impl Future<Output = Result<NextOn, StoreFault>> + Send;
    /// What a person decides about messages in doubt, refused, come back or set aside; gives back for how many it held.
    fn decide(
        &self,
        season: i64,
        messages: &[i64],
        what: Decided,
        now: Timestamp,
    ) -> impl Future<Output = Result<u64, StoreFault>> + Send;
    /// Messages in some states that a person has not looked at and let be, newest first.
    fn messages_to_see(
        &self,
        season: i64,
        states: &[State],
        most: u32,
    ) -> impl Future<Output = Result<Vec<StoredMessage>, StoreFault>> + Send;
    /// A person's own answers in doubt or not arrived, oldest first, until somebody decides.
    fn replies_to_see(
        &self,
        season: i64,
        most: u32,
    ) -> impl Future<Output = Result<Vec<OpenReply>, StoreFault>> + Send;
    /// Lets such an answer be, or sends it once more while it is of use.
    fn decide_reply(
        &self,
        season: i64,
        reply: i64,
        again_until: Option<Timestamp>,
        now: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// The coordinator's links in force, the newest first.
    fn coordinator_links(
        &self,
        season: i64,
        now: Timestamp,
    ) -> impl Future<Output = Result<Vec<OpenLink>, StoreFault>> + Send;
    /// Ends a link and the sessions opened with it; false if it was ended before.
    fn end_link(
        &self,
        season: i64,
        hash: &str,
        now: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// Why nothing is sent.
    fn holds(&self) -> impl Future<Output = Result<Vec<SendingHold>, StoreFault>> + Send;
    /// Sends nothing until a witness or a person agrees; false where that is so already.
    fn hold(
        &self,
        doubt: Doubt,
        why: &str,
        at: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// Lifts a hold; false if there was none.
    fn lift(&self, doubt: Doubt) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// The journals that belong to this store.
    fn journals(&self) -> impl Future<Output = Result<Vec<String>, StoreFault>> + Send;
    /// A journal belongs to this store from now on.
    fn register_journal(
        &self,
        journal: &str,
        at: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Those of some attempts that the store does not know.
    fn unknown_attempts(
        &self,
        attempts: &[Lost],
    ) -> impl Future<Output = Result<Vec<Lost>, StoreFault>> + Send;
    /// Messages of these keys are in doubt, those already planned and those that will be; gives back how many were moved.
    fn doubt_lost(
        &self,
        keys: &[String],
        at: Timestamp,
    ) -> impl Future<Output = Result<u64, StoreFault>> + Send;
    /// Notes what messages told of which the record of their attempts is lost: message, child, event, notice, fingerprint; and
    /// the facts of each fingerprint.
    fn tell_recalled(
        &self,
        season: i64,
        told: &[(i64, String, String, String, Fingerprint)],
        forms: &[(Fingerprint, String)],
        at: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// When the latest attempt began; none before the first.
    fn newest_attempt(&self) -> impl Future<Output = Result<Option<Timestamp>, StoreFault>> + Send;
    /// The clock of the store's own host; none where that is ours.
    fn their_clock(&self) -> impl Future<Output = Result<Option<Timestamp>, StoreFault>> + Send;
    /// Notes that an accepted message came back, and that its address does not work; gives back that address.
    fn bounce(
        &self,
        season: i64,
        key: &str,
        now: Timestamp,
    ) -> impl Future<Output = Result<Option<(Channel, String)>, StoreFault>> + Send;
    /// Looks a link up by the hash of its token.
    fn link(
        &self,
        season: i64,
        hash: &str,
    ) -> impl Future<Output = Result<Option<StoredLink>, StoreFault>> + Send;
    /// Stores a link that belongs to no attempt.
    fn put_link(&self, season: i64, link: &NewLink) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Ends the links and private calendar addresses of a household; says how many.
    fn end_links(
        &self,
        season: i64,
        household: &str,
        now: Timestamp,
    ) -> impl Future<Output = Result<u64, StoreFault>> + Send;
    /// Looks a calendar's private address up by the hash of its token.
    fn feed(
        &self,
        season: i64,
        hash: &str,
    ) -> impl Future<Output = Result<Option<StoredFeed>, StoreFault>> + Send;
    /// Stores a calendar's private address; those its holders had before open nothing of theirs any more.
    fn put_feed(&self, season: i64, feed: &NewFeed) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Records answers and carries out what follows from them, together; false if all of them were known already.
    fn answer(
        &self,
        season: i64,
        answers: &[NewAnswer],
        delta: &Delta,
        now: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// The latest message of a key.
    fn message_of(
        &self,
        season: i64,
        key: &str,
    ) -> impl Future<Output = Result<Option<StoredMessage>, StoreFault>> + Send;
    /// Takes in what people sent with all that follows from it, in one transaction; says of each whether it was new. No two
    /// of them may concern the same people.
    fn take_in(
        &self,
        season: i64,
        all: &[(&NewIncoming, &Effects)],
        now: Timestamp,
    ) -> impl Future<Output = Result<Vec<bool>, StoreFault>> + Send;
    /// What waits for a person, oldest first.
    fn waiting(
        &self,
        season: i64,
        most: u32,
    ) -> impl Future<Output = Result<Vec<StoredIncoming>, StoreFault>> + Send;
    /// One thing that a person sent.
    fn incoming(
        &self,
        season: i64,
        id: i64,
    ) -> impl Future<Output = Result<Option<StoredIncoming>, StoreFault>> + Send;
    /// What one guardian sent, newest first.
    fn incoming_of(
        &self,
        season: i64,
        guardian: &str,
        most: u32,
    ) -> impl Future<Output = Result<Vec<StoredIncoming>, StoreFault>> + Send;
    /// Closes a question, with a reply or without one; false if it was closed before.
    fn answer_question(
        &self,
        season: i64,
        id: i64,
        reply: Option<&NewReply>,
        guardians: &[String],
        now: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// What was last offered to choose from at an address.
    fn offer(
        &self,
        season: i64,
        channel: Channel,
        address: &str,
    ) -> impl Future<Output = Result<Option<Offer>, StoreFault>> + Send;
    /// Messages that asked an address for an answer and went, newest first.
    fn asked_at(
        &self,
        season: i64,
        channel: Channel,
        address: &str,
        most: u32,
    ) -> impl Future<Output = Result<Vec<StoredMessage>, StoreFault>> + Send;
    /// Takes replies that are due on a channel; each is written down as under way before it is given out, and uses up rate
    /// without waiting for it.
    fn claim_replies(
        &self,
        season: i64,
        channel: Channel,
        most: u32,
        per_second: f64,
        now: Timestamp,
        lease_until: Timestamp,
    ) -> impl Future<Output = Result<Vec<ClaimedReply>, StoreFault>> + Send;
    /// Puts a reply down to be sent, such as word to the coordinator; it answers nothing in particular. `guardians` are
    /// those whose address it goes to, if it is theirs.
    fn put_reply(
        &self,
        season: i64,
        reply: &NewReply,
        guardians: &[String],
        now: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// The last digest of each kind for each holder.
    fn digests(&self, season: i64) -> impl Future<Output = Result<Vec<StoredDigest>, StoreFault>> + Send;
    /// Takes the moments of digests and puts down what they say, together; a moment that is not later than the last of its
    /// holder and kind changes nothing. Gives back how many letters were put down.
    fn put_digests(
        &self,
        season: i64,
        new: &[NewDigest],
        now: Timestamp,
    ) -> impl Future<Output = Result<usize, StoreFault>> + Send;
    /// Holds on to replies that are still under way: their identifiers and the number of their attempt.
    fn renew_replies(
        &self,
        held: &[(i64, i64)],
        lease_until: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Records how replies ended; one that was in doubt meanwhile is settled too.
    fn settle_replies(&self, settled: &[SettledReply])
    -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// Takes in what a gateway tells of a message; states only move forward.
    fn receipt(
        &self,
        season: i64,
        receipt: &NewReceipt,
        now: Timestamp,
    ) -> impl Future<Output = Result<Receipted, StoreFault>> + Send;
    /// Messages with their attempts, newest first: of one household, or those tried of all but the first `skip`.
    fn lives(
        &self,
        season: i64,
        household: Option<&str>,
        skip: u32,
        most: u32,
    ) -> impl Future<Output = Result<Vec<(StoredMessage, Vec<StoredAttempt>)>, StoreFault>> + Send;
    /// Stops or starts an address and carries out what follows, together.
    #[allow(clippy::too_many_arguments)]
    fn set_stopped(
        &self,
        season: i64,
        channel: Channel,
        address: &str,
        guardians: &[String],
        stopped: bool,
        delta: &Delta,
        now: Timestamp,
    ) -> impl Future<Output = Result<(), StoreFault>> + Send;
    /// A canonical form by its fingerprint.
    fn facts(
        &self,
        season: i64,
        fingerprint: Fingerprint,
    ) -> impl Future<Output = Result<Option<String>, StoreFault>> + Send;
    /// Number of messages by state and channel, and of attempts.
    fn counts(
        &self,
        season: i64,
    ) -> impl Future<Output = Result<Vec<(State, Channel, u64)>, StoreFault>> + Send;
    /// Messages in one of the given states, newest due first, at most `most`.
    fn messages_in(
        &self,
        season: i64,
        states: &[State],
        most: u32,
    ) -> impl Future<Output = Result<Vec<StoredMessage>, StoreFault>> + Send;
    /// What was told of an event as it ran, in order.
    fn deeds(
        &self,
        season: i64,
        event: &str,
    ) -> impl Future<Output = Result<Vec<StoredDeed>, StoreFault>> + Send;
    /// Adds one thing told of an event; false if its place is taken, or the same was told before.
    fn add_deed(
        &self,
        season: i64,
        event: &str,
        deed: &StoredDeed,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// Notes that a child is not coming to an event, or is after all, with word to those who look after it and what
    /// follows in the plan, together; false if it was so already.
    fn set_away(
        &self,
        season: i64,
        new: &NewAbsence,
        told: &[NewReply],
        delta: &Delta,
        now: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// Whether planned messages may leave, and since when.
    fn course(&self, season: i64) -> impl Future<Output = Result<Course, StoreFault>> + Send;
    /// Sets a season going or pauses it; false if it was so already, or was never set going and is to be paused. From the
    /// commit of a pause on no message is claimed, and no claimed one begins an attempt.
    fn set_course(
        &self,
        season: i64,
        going: bool,
        by: Hand,
        at: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// Notes a test to the coordinator, before it leaves; false if the same act was noted before. Nobody is told by it.
    fn note_test(
        &self,
        season: i64,
        external: &str,
        channel: Channel,
        wording: &str,
        at: Timestamp,
    ) -> impl Future<Output = Result<bool, StoreFault>> + Send;
    /// A place where a test may end the program; nothing happens there in ordinary life.
    fn pass(&self, _point: CrashPoint) -> Result<(), StoreFault> {
        Ok(())
    }
    /// Ledger lines after a position, at most `most`, in order.
    fn ledger(
        &self,
        season: i64,
        after: i64,
        most: u32,
    ) -> impl Future<Output = Result<Vec<LedgerLine>, StoreFault>> + Send;
}
