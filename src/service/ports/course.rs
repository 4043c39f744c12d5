//! Whether a season is going: planned messages leave only after a person's word, and stop leaving at another.

use jiff::Timestamp;

/// Who set a season going or paused it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hand {
    /// The coordinator, on her page.
    Coordinator,
    /// Somebody at the host, by a command.
    Command,
    /// The demonstration, which begins by itself.
    Demonstration,
}

impl Hand {
    /// Every hand.
    pub const ALL: [Hand; 3] = [Hand::Coordinator, Hand::Command, Hand::Demonstration];

    /// The word in the store and the ledger.
    pub fn word(self) -> &'static str {
        match self {
            Hand::Coordinator => "coordinator",
            Hand::Command => "command",
            Hand::Demonstration => "demonstration",
        }
    }

    /// The hand of that word.
    pub fn from_word(word: &str) -> Option<Hand> {
        Hand::ALL.into_iter().find(|hand| hand.word() == word)
    }
}

/// Whether planned messages may leave. Replies to a person's own message are bound by none of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Course {
    /// The season was brought and never set going.
    NotYet,
    /// It is going.
    Going {
        /// Since when.
        since: Timestamp,
        /// By whose word.
        by: Hand,
    },
    /// It is paused.
    Paused {
        /// Since when.
        since: Timestamp,
        /// By whose word.
        by: Hand,
    },
}

impl Course {
    /// Whether planned messages may leave.
    pub fn is_going(&self) -> bool {
        matches!(self, Course::Going { .. })
    }
}
