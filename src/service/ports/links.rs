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
    /// The coordinator's pages.
    Coordinator,
}

impl LinkKind {
    /// The word in the store.
    pub fn word(self) -> &'static str {
        match self {
            LinkKind::Guardian => "guardian",
            LinkKind::Chaperone => "chaperone",
            LinkKind::Coordinator => "coordinator",
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
    /// When it dies.
    pub expires: Timestamp,
}
