//! What was told of an event as it ran, as stored.

use jiff::Timestamp;

/// What kind of thing was told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeedKind {
    /// A number has begun.
    Begun,
    /// A number is over.
    Ended,
    /// The house is held.
    Held,
    /// A number is cut.
    Cut,
    /// Two numbers change places.
    Exchanged,
    /// A number moves.
    Moved,
    /// A deed is taken back.
    TakenBack,
}

impl DeedKind {
    /// Every kind.
    pub const ALL: [DeedKind; 7] = [
        DeedKind::Begun,
        DeedKind::Ended,
        DeedKind::Held,
        DeedKind::Cut,
        DeedKind::Exchanged,
        DeedKind::Moved,
        DeedKind::TakenBack,
    ];

    /// The word in the store and in forms.
    pub fn word(self) -> &'static str {
        match self {
            DeedKind::Begun => "begun",
            DeedKind::Ended => "ended",
            DeedKind::Held => "held",
            DeedKind::Cut => "cut",
            DeedKind::Exchanged => "exchanged",
            DeedKind::Moved => "moved",
            DeedKind::TakenBack => "taken_back",
        }
    }

    /// The kind of that word.
    pub fn from_word(word: &str) -> Option<DeedKind> {
        DeedKind::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// One thing told of an event, by refs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredDeed {
    /// Place among the event's, from 1.
    pub seq: i64,
    /// What tells it from others.
    pub external: String,
    /// When it was told.
    pub at: Timestamp,
    /// What kind.
    pub kind: DeedKind,
    /// Ref of the number; empty for a hold of an act and for a deed taken back.
    pub number: String,
    /// Of an exchange the other number's ref; of a move the number's ref, `interval N` or `first` that it goes behind; of a
    /// hold of an act its count from 0; of a deed taken back that one's `seq`. Else empty.
    pub other: String,
    /// Of a hold; else 0.
    pub minutes: u32,
}
