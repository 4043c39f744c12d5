//! Why nothing is sent at all until a witness or a person agrees.

use jiff::{SignedDuration, Timestamp};

/// What is in doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Doubt {
    /// What time it is.
    Clock,
    /// Whether the database knows all that was sent: it is older than its journal, or the journal is gone.
    Restored,
}

impl Doubt {
    /// Both.
    pub const ALL: [Doubt; 2] = [Doubt::Clock, Doubt::Restored];

    /// The word in the store and in forms.
    pub fn word(self) -> &'static str {
        match self {
            Doubt::Clock => "clock",
            Doubt::Restored => "restored",
        }
    }

    /// The doubt of that word.
    pub fn from_word(word: &str) -> Option<Doubt> {
        Doubt::ALL.into_iter().find(|doubt| doubt.word() == word)
    }
}

/// A hold in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SendingHold {
    /// What is in doubt.
    pub doubt: Doubt,
    /// Since when, by our clock.
    pub since: Timestamp,
    /// A few words without personal data.
    pub why: String,
}

/// What somebody else's clock said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Witness {
    /// Whose clock: a gateway, the database server.
    pub who: String,
    /// Our clock then.
    pub at: Timestamp,
    /// By how much ours was ahead.
    pub ahead: SignedDuration,
}

/// An attempt that the journal knows and the database does not.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Lost {
    /// Key of the message.
    pub key: String,
    /// Number of the attempt.
    pub number: i64,
}

/// A record of attempts beside the store, which no copy of the store takes with it.
pub trait Journal: Send + Sync {
    /// Writes attempts down, durably, before they leave.
    fn begun(&self, attempts: &[Lost], at: Timestamp) -> Result<(), String>;
}
