//! What was changed in the workbook, as stored.

use jiff::Timestamp;

/// One change of the workbook in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredChange {
    /// The revision it made.
    pub revision: i64,
    /// When.
    pub at: Timestamp,
    /// By which action, in a few words.
    pub what: String,
    /// Whether what it changed is still known, so that it may be taken back while nothing came after it.
    pub known: bool,
}
