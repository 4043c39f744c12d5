//! Digests, as stored: what each holder was last considered for, and what she was last told.

use super::{NewLink, NewReply};
use jiff::Timestamp;

/// The holder that stands for the coordinator, who has no row in the workbook.
pub const COORDINATOR: &str = "coordinator";

/// The last digest of one kind for one holder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredDigest {
    /// A chaperone's ref, or [`COORDINATOR`].
    pub holder: String,
    /// Which of hers.
    pub kind: String,
    /// The moment it was for, whether or not there was anything to say.
    pub of: Timestamp,
    /// What the last one that was sent had seen; empty for none.
    pub form: String,
}

/// A digest whose moment has come.
#[derive(Debug, Clone)]
pub struct NewDigest {
    /// A chaperone's ref, or [`COORDINATOR`].
    pub holder: String,
    /// Which of hers.
    pub kind: String,
    /// The moment it is for.
    pub of: Timestamp,
    /// What is sent; none if there is nothing to say.
    pub said: Option<SaidDigest>,
}

/// What a digest says.
#[derive(Debug, Clone)]
pub struct SaidDigest {
    /// What it saw, by refs; never empty.
    pub form: String,
    /// The letter; its reference is the digest's key.
    pub letter: NewReply,
    /// The link in it.
    pub link: Option<NewLink>,
}
