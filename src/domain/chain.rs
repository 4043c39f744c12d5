//! The hash chain of a season's ledger.
//!
//! An entry holds an instant, a kind, refs, and a salted digest of the words that go with it. The words and the salt
//! stand beside the chain; deleting both erases a person while the chain still verifies.

use super::hash;
use jiff::Timestamp;

/// What one entry says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LedgerEntry {
    /// When.
    pub at: Timestamp,
    /// What happened, one word.
    pub kind: String,
    /// Refs, as `name=value` separated by single spaces, names in order; holds nothing personal.
    pub about: String,
    /// Salted digest of the words beside it, in hexadecimal; empty if there are none.
    pub digest: String,
}

/// The hash an empty ledger starts from, 64 hexadecimal digits.
pub fn seed(season: &str) -> String {
    hash::hex(&hash::sha256(format!("allheard ledger 1\n{season}").as_bytes()))
}

/// The hash of an entry after the one before it.
pub fn link(before: &str, seq: i64, entry: &LedgerEntry) -> String {
    let text = format!(
        "{before}\n{seq}\n{}\n{}\n{}\n{}",
        entry.at.as_millisecond(),
        entry.kind,
        entry.about,
        entry.digest
    );
    hash::hex(&hash::sha256(text.as_bytes()))
}

/// The salted digest of words.
pub fn salted(salt: &[u8], words: &str) -> String {
    hash::hex(&hash::hmac_sha256(salt, words.as_bytes()))
}
