//! Messages and their attempts, as stored.

use super::NewLink;
use crate::domain::facts::Fingerprint;
use crate::domain::graph::State;
use crate::domain::season::Channel;
use jiff::Timestamp;

/// A part of a stored message: refs of child, event and notice.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct StoredPart {
    /// Child.
    pub child: String,
    /// Event, or `-`.
    pub event: String,
    /// Notice, or `change`.
    pub notice: String,
    /// For a change: the facts it announces. For others: the facts last told; none before the first attempt.
    pub fingerprint: Option<Fingerprint>,
}

/// A message as stored, with what its life has been so far.
#[derive(Debug, Clone)]
pub struct StoredMessage {
    /// Row id; none before it is stored.
    pub id: i64,
    /// Its key.
    pub key: String,
    /// Household ref.
    pub household: String,
    /// Guardian refs.
    pub guardians: Vec<String>,
    /// Channel.
    pub channel: Channel,
    /// Wording.
    pub wording: String,
    /// Whether an answer is owed.
    pub owes: bool,
    /// May leave at any hour.
    pub at_once: bool,
    /// Due.
    pub due: Timestamp,
    /// Useless from then on.
    pub until: Timestamp,
    /// Where in its life.
    pub state: State,
    /// Rises with every claim; a write with an old one changes nothing.
    pub fence: i64,
    /// Times it was claimed.
    pub claims: i64,
    /// Times it was tried.
    pub attempts: i64,
    /// How many of them were the road's fault, and so count against nothing.
    pub spared: i64,
    /// Why it ended or waits, in a few words without personal data.
    pub why: String,
    /// What it says.
    pub parts: Vec<StoredPart>,
}

/// What planning wants done to the stored messages.
#[derive(Debug, Default)]
pub struct Delta {
    /// To be added; ids and state are ignored.
    pub add: Vec<StoredMessage>,
    /// To be withdrawn, with the reason.
    pub withdraw: Vec<(i64, String)>,
    /// To be moved: id, due, useless from, at once.
    pub retime: Vec<(i64, Timestamp, Timestamp, bool)>,
}

impl Delta {
    /// Whether there is nothing to do.
    pub fn is_empty(&self) -> bool {
        self.add.is_empty() && self.withdraw.is_empty() && self.retime.is_empty()
    }
}

/// As much of a message not at an end as planning again has to look at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct OpenLine {
    /// Its key, 32 hexadecimal digits.
    pub key: u128,
    /// When it leaves, in milliseconds since 1970.
    pub due: i64,
    /// From when on it is useless, in milliseconds since 1970.
    pub until: i64,
    /// By mail at once, whatever the hour.
    pub at_once: bool,
    /// Whether it may still be withdrawn or moved.
    pub movable: bool,
}

/// One attempt, written before the first byte leaves.
#[derive(Debug, Clone)]
pub struct NewAttempt {
    /// Message.
    pub message: i64,
    /// Fence of the claim.
    pub fence: i64,
    /// Number of the attempt, from 1.
    pub number: i64,
    /// Channel.
    pub channel: Channel,
    /// Address, frozen here.
    pub address: String,
    /// The reference the gateway is given.
    pub reference: String,
    /// The words sent; only their salted digest enters the chain.
    pub words: String,
    /// Hash of the link's token.
    pub link: NewLink,
    /// The same of the link that only stops messages; none where nobody can open it.
    pub stop: Option<NewLink>,
    /// Facts told with it: child, event, notice, fingerprint.
    pub told: Vec<(String, String, String, Fingerprint)>,
    /// Canonical forms of those facts.
    pub forms: Vec<(Fingerprint, String)>,
    /// For the ledger.
    pub household: String,
    /// For the ledger: guardian refs.
    pub guardians: Vec<String>,
}

/// How an attempt ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// The gateway took it.
    Accepted,
    /// Not this time.
    Temporary {
        /// In a few words.
        why: String,
        /// Seconds the gateway asked us to wait.
        after_seconds: Option<u32>,
    },
    /// The address or the message was refused for good.
    Refused {
        /// In a few words.
        why: String,
        /// Whether it is the address that does not work, and not this message.
        address: bool,
    },
    /// Refused, though nothing says that this message or its address is to blame: it may be us who are.
    Suspect {
        /// In a few words.
        why: String,
    },
    /// It may have gone.
    Uncertain {
        /// In a few words.
        why: String,
    },
    /// The gateway itself cannot be used (login, certificate, settings); no message's fault.
    Unusable {
        /// In a few words.
        why: String,
    },
}

/// What is recorded about one attempt.
#[derive(Debug, Clone)]
pub struct Settled {
    /// Message.
    pub message: i64,
    /// Fence of the claim.
    pub fence: i64,
    /// Number of the attempt.
    pub number: i64,
    /// The state it goes to.
    pub to: State,
    /// When it may be claimed again, for those that wait.
    pub ready: Timestamp,
    /// Whether the address is to be marked as not working.
    pub bad_address: bool,
    /// Which gateway it was.
    pub gateway: String,
    /// What the gateway calls the message; empty where it does not say.
    pub gateway_id: String,
    /// A few words.
    pub why: String,
    /// Whether the road was at fault, so that the attempt counts against nothing.
    pub spared: bool,
}

/// Messages taken, and when the road may be given the next where its rate is used up.
#[derive(Debug, Default)]
pub struct Claimed {
    /// Nearest deadline first.
    pub messages: Vec<StoredMessage>,
    /// None where the rate left room.
    pub again_at: Option<Timestamp>,
}

/// What a person decides about a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decided {
    /// One in doubt did arrive.
    Arrived,
    /// One in doubt is sent again.
    AgainInDoubt,
    /// One refused, come back or set aside is tried once more, its address too.
    TakeUp,
    /// One refused, come back or set aside is let be.
    LetBe,
}

/// When something of a channel may be claimed next.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct NextOn {
    /// A planned message.
    pub message: Option<Timestamp>,
    /// A reply.
    pub reply: Option<Timestamp>,
}

/// What becomes of a claimed message that is not attempted.
#[derive(Debug, Clone)]
pub struct Unsent {
    /// Message.
    pub message: i64,
    /// Fence of the claim.
    pub fence: i64,
    /// The state it goes to: planned, withdrawn, expired, refused.
    pub to: State,
    /// When it may be claimed again, for those that go back.
    pub ready: Timestamp,
    /// A few words.
    pub why: String,
}

/// What tending the store found.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Tended {
    /// Attempts found open, now uncertain.
    pub doubted: u64,
    /// Claims whose lease ended.
    pub released: u64,
    /// Messages whose moment passed.
    pub expired: u64,
    /// Messages that broke the sender too often.
    pub quarantined: u64,
    /// Uncertain mails taken up once more.
    pub tried_again: u64,
}

/// One attempt, as pages show it.
#[derive(Debug, Clone)]
pub struct StoredAttempt {
    /// When it began.
    pub at: Timestamp,
    /// How it ended; empty while it is open.
    pub outcome: String,
    /// When it ended.
    pub ended: Option<Timestamp>,
    /// A few words.
    pub why: String,
    /// Which gateway; empty where there is one only.
    pub gateway: String,
}

/// Rules for tending.
#[derive(Debug, Clone, Copy)]
pub struct TendRules {
    /// Claims after which a message is quarantined.
    pub claims_max: i64,
    /// After how long an uncertain mail is tried once more, milliseconds.
    pub mail_wait_ms: i64,
    /// The same of a text, for which a receipt is waited for.
    pub text_wait_ms: i64,
    /// Whether the text gateways know a second copy by our reference, so that an uncertain text may be tried once more.
    pub text_known_again: bool,
}
