//! Links to pages, as stored.

use super::StoredMessage;
use jiff::Timestamp;

/// What a link opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LinkKind {
    /// A guardian's page, and stopping messages to the address it was sent to.
    Guardian,
    /// A chaperone's list.
    Chaperone,
    /// Stopping messages to the address it was sent to, and nothing else.
    Stop,
    /// The coordinator's pages, by opening a session.
    Coordinator,
    /// A browser in which the coordinator's link was opened.
    Session,
}

impl LinkKind {
    /// The word in the store.
    pub fn word(self) -> &'static str {
        match self {
            LinkKind::Guardian => "guardian",
            LinkKind::Chaperone => "chaperone",
            LinkKind::Stop => "stop",
            LinkKind::Coordinator => "coordinator",
            LinkKind::Session => "session",
        }
    }
}

/// A link to be stored; the token itself never is.
#[derive(Debug, Clone)]
pub struct NewLink {
    /// SHA-256 of the token, hexadecimal.
    pub hash: String,
    /// What it opens.
    pub kind: LinkKind,
    /// Message it belongs to; 0 for none.
    pub message: i64,
    /// Chaperone ref; empty for none.
    pub chaperone: String,
    /// When it dies.
    pub expires: Timestamp,
    /// When it was made; the epoch where nobody asks.
    pub made: Timestamp,
    /// Hash of the link a session was opened with; empty for other kinds.
    pub parent: String,
}

/// A link to the coordinator's pages that is in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenLink {
    /// SHA-256 of the token, hexadecimal.
    pub hash: String,
    /// When it was made; none where nobody noted it.
    pub made: Option<Timestamp>,
    /// When it dies.
    pub expires: Timestamp,
    /// Browsers it is open in.
    pub sessions: i64,
}

/// A stored link.
#[derive(Debug, Clone)]
pub struct StoredLink {
    /// SHA-256 of the token, hexadecimal.
    pub hash: String,
    /// What it opens.
    pub kind: String,
    /// The message it came with.
    pub message: Option<StoredMessage>,
    /// Address the message went to; empty if none.
    pub address: String,
    /// Chaperone ref; empty for none.
    pub chaperone: String,
    /// Hash of the link a session was opened with; empty for other kinds.
    pub parent: String,
    /// When it dies.
    pub expires: Timestamp,
}
