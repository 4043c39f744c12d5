//! Private addresses of calendars, as they are stored.

use jiff::Timestamp;

/// Somebody whose days a calendar holds.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct FeedHolder {
    /// Ref of a guardian or a chaperone.
    pub person: String,
    /// Ref of the guardian's household; empty for a chaperone.
    pub household: String,
}

/// A private address to be stored.
#[derive(Debug, Clone)]
pub struct NewFeed {
    /// Hash of its token.
    pub hash: String,
    /// Whose; each has one address at a time.
    pub holders: Vec<FeedHolder>,
    /// When it dies.
    pub expires: Timestamp,
}

/// A private address as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredFeed {
    /// Whose it still is, in order.
    pub holders: Vec<FeedHolder>,
    /// When it dies.
    pub expires: Timestamp,
}
