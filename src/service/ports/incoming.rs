//! What people send us, what follows from it, and what gateways tell of messages afterwards.

use super::{Delta, NewAnswer};
use crate::domain::graph::State;
use crate::domain::season::Channel;
use jiff::Timestamp;

/// Something a person sent us, as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewIncoming {
    /// The road: text, mail, page.
    pub road: String,
    /// Identifier of the act on that road; the same one twice has no effect.
    pub external: String,
    /// The channel it came by; none for what was written on a page.
    pub channel: Option<Channel>,
    /// The address it came from; empty for a page.
    pub address: String,
    /// When the person acted.
    pub at: Timestamp,
    /// The person's own words.
    pub words: String,
    /// What became of it, in a word.
    pub became: String,
    /// Whose address it is: guardian refs; empty if nobody's.
    pub guardians: Vec<String>,
    /// What it is about: child and event refs.
    pub items: Vec<(String, String)>,
    /// Whether it waits for a person.
    pub waits: bool,
}

/// Something a person sent us, with its row.
#[derive(Debug, Clone)]
pub struct StoredIncoming {
    /// Row id, rising.
    pub id: i64,
    /// Whether it still waits for a person.
    pub waits: bool,
    /// What it is.
    pub incoming: NewIncoming,
}

/// Everything that follows from what a person sent.
#[derive(Debug, Default)]
pub struct Effects {
    /// Answers it gives.
    pub answers: Vec<NewAnswer>,
    /// Whether messages stop (or start), and to which addresses.
    pub stop: Option<(bool, Vec<String>)>,
    /// What is offered to choose from; answers put an earlier offer away.
    pub offer: Option<Offer>,
    /// What is sent back.
    pub replies: Vec<NewReply>,
    /// What it changes in the plan.
    pub delta: Delta,
}

/// Choices offered at an address.
#[derive(Debug, Clone)]
pub struct Offer {
    /// When.
    pub at: Timestamp,
    /// The answer that a choice gives.
    pub kind: String,
    /// The choices as JSON.
    pub choices: String,
}

/// A reply to be sent.
#[derive(Debug, Clone)]
pub struct NewReply {
    /// Channel.
    pub channel: Channel,
    /// Address.
    pub address: String,
    /// Subject; empty for a text.
    pub subject: String,
    /// The words.
    pub words: String,
    /// Message-ID of the mail it answers, without brackets; empty for none.
    pub in_reply_to: String,
    /// Not before.
    pub ready: Timestamp,
    /// Useless from then on.
    pub until: Timestamp,
    /// The key of a digest, which nobody's own message asked for; else empty.
    pub reference: String,
    /// Whether a person wrote it, who has to know if it does not arrive.
    pub by_person: bool,
}

/// A person's own answer in doubt, or one that did not arrive.
#[derive(Debug, Clone)]
pub struct OpenReply {
    /// Row id.
    pub id: i64,
    /// By which channel.
    pub channel: Channel,
    /// To which address.
    pub address: String,
    /// The words.
    pub words: String,
    /// Whether it may have arrived.
    pub is_uncertain: bool,
    /// A few words.
    pub why: String,
    /// When it was last to leave.
    pub at: Timestamp,
}

/// A reply under way.
#[derive(Debug, Clone)]
pub struct ClaimedReply {
    /// Row id.
    pub id: i64,
    /// Channel.
    pub channel: Channel,
    /// Address.
    pub address: String,
    /// Subject; empty for a text.
    pub subject: String,
    /// The words.
    pub words: String,
    /// Message-ID of the mail it answers, without brackets; empty for none.
    pub in_reply_to: String,
    /// Useless from then on.
    pub until: Timestamp,
    /// Number of the attempt, from 1.
    pub number: i64,
    /// The key of a digest, which nobody's own message asked for; else empty.
    pub reference: String,
}

/// How a reply ended.
#[derive(Debug, Clone)]
pub struct SettledReply {
    /// Row id.
    pub id: i64,
    /// Number of the attempt.
    pub number: i64,
    /// Where it goes.
    pub to: State,
    /// When it may be tried again.
    pub ready: Timestamp,
    /// A few words.
    pub why: String,
}

/// What a gateway tells of a message afterwards.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum News {
    /// It reached the handset; nobody has been heard from by that.
    Delivered,
    /// It did not.
    Failed,
    /// It did not, and the address will not work later either.
    FailedForGood,
}

impl News {
    /// The word in the store.
    pub fn word(self) -> &'static str {
        match self {
            News::Delivered => "delivered",
            News::Failed => "failed",
            News::FailedForGood => "failed_for_good",
        }
    }

    /// The news of a word.
    pub fn from_word(word: &str) -> Option<News> {
        [News::Delivered, News::Failed, News::FailedForGood].into_iter().find(|news| news.word() == word)
    }
}

/// One piece of such news.
#[derive(Debug, Clone)]
pub struct NewReceipt {
    /// Name of the gateway.
    pub gateway: String,
    /// Identifier of the piece; the same one twice has no effect.
    pub external: String,
    /// Our reference, or what the gateway calls the message.
    pub reference: String,
    /// What it says.
    pub news: News,
}

/// What became of a receipt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Receipted {
    /// Known, or overtaken: nothing changed.
    Known,
    /// Its message is not known yet; kept until it is.
    Parked,
    /// Its message moved.
    Moved {
        /// Channel of the message.
        channel: Channel,
        /// Address it went to.
        address: String,
        /// Where it is now.
        to: State,
    },
}
