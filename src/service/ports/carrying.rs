//! What carriers are given, and the seam they stand behind.

use super::Outcome;
use crate::domain::season::Channel;
use jiff::Timestamp;
use std::future::Future;

/// A mail ready to go.
#[derive(Debug, Clone)]
pub struct Parcel {
    /// Message row, for logs.
    pub message: i64,
    /// Address: E.164, or a mail address.
    pub to: String,
    /// The reference we ask the gateway to keep; the Message-ID of a mail is made from it.
    pub reference: String,
    /// When it is handed over.
    pub at: Timestamp,
    /// What it says.
    pub content: Content,
}

/// The words of a parcel.
#[derive(Debug, Clone)]
pub enum Content {
    /// A text message.
    Text(String),
    /// A mail.
    Mail(Box<MailContent>),
}

/// The parts of a mail.
#[derive(Debug, Clone)]
pub struct MailContent {
    /// Subject.
    pub subject: String,
    /// Plain text.
    pub text: String,
    /// HTML.
    pub html: String,
    /// A calendar (RFC 5545); empty for none.
    pub calendar: String,
    /// Where a mail client may post to stop mail (RFC 8058); empty for none.
    pub stop_link: String,
    /// What answers must hold as proof that their sender had this mail; empty for none.
    pub reply_token: String,
    /// Message-ID of the mail this answers, without brackets; empty for none.
    pub in_reply_to: String,
    /// Language tag.
    pub language: String,
}

/// How a parcel fared, and with whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Handed {
    /// How it ended.
    pub outcome: Outcome,
    /// Name of the gateway; empty where a channel has one only.
    pub gateway: String,
    /// What the gateway calls the message; empty where it does not say.
    pub id: String,
}

impl From<Outcome> for Handed {
    fn from(outcome: Outcome) -> Self {
        Handed { outcome, gateway: String::new(), id: String::new() }
    }
}

/// Something that takes messages.
pub trait Gateway: Send + Sync {
    /// Hands one parcel over. Never panics; every end is an [`Outcome`].
    fn send(&self, parcel: &Parcel) -> impl Future<Output = Handed> + Send;
    /// Whether the other side of a channel knows a second copy of a message by its reference.
    fn knows_again(&self, channel: Channel) -> bool {
        channel == Channel::Mail
    }
    /// Gateways of a channel that are passed over for the moment, while others do their work: a few words each.
    fn troubles(&self, _now: Timestamp) -> Vec<(Channel, String)> {
        Vec::new()
    }
    /// What the other sides' clocks said lately.
    fn witnesses(&self) -> Vec<super::Witness> {
        Vec::new()
    }
    /// Messages a second it may be given.
    fn per_second(&self, channel: Channel) -> f64;
    /// Sessions at once.
    fn sessions(&self, channel: Channel) -> usize;
}

/// How a connection to a mail server is protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Protection {
    /// STARTTLS after connecting; without it nothing is said.
    StartTls,
    /// TLS from the first byte.
    Tls,
    /// None: for a mail server on the same host only.
    None,
}

impl Protection {
    /// The protection of a word of the configuration.
    pub fn from_word(word: &str) -> Option<Protection> {
        match word {
            "starttls" => Some(Protection::StartTls),
            "tls" => Some(Protection::Tls),
            "none" => Some(Protection::None),
            _ => None,
        }
    }
}

/// Whether a host's name means the host that the program runs on.
pub fn is_this_host(name: &str) -> bool {
    ["localhost", "127.0.0.1", "::1"].contains(&name)
}
