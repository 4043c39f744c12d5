//! What was told and answered, as stored.

use super::StoredPart;
use crate::domain::facts::Fingerprint;
use crate::domain::graph::State;
use crate::domain::record::AnswerKind;
use crate::domain::season::Channel;
use jiff::Timestamp;

/// One person's answer, for one guardian and item.
#[derive(Debug, Clone)]
pub struct NewAnswer {
    /// When the person acted.
    pub at: Timestamp,
    /// The road: page, call, person, door, text, mail.
    pub road: String,
    /// Identifier of the act on that road; the same one twice has no effect.
    pub external: String,
    /// Guardian ref.
    pub guardian: String,
    /// Child ref.
    pub child: String,
    /// Event ref or `-`.
    pub event: String,
    /// What was said; none for a call that reached nobody.
    pub kind: Option<AnswerKind>,
    /// About which facts.
    pub fingerprint: Fingerprint,
    /// Came from an address several guardians share.
    pub one_phone: bool,
    /// The person's own words, if any; of a call that found a wrong number, the number.
    pub words: String,
    /// Who noted it: a chaperone's ref, `coordinator`, or empty for the guardian herself.
    pub noted_by: String,
    /// How a call ended that reached nobody: `no_answer`, `wrong_number`, `will_call_back`.
    pub outcome: String,
}

/// A stored answer or call note.
#[derive(Debug, Clone)]
pub struct StoredAnswer {
    /// Row id, rising.
    pub id: i64,
    /// The answer.
    pub answer: NewAnswer,
}

/// A telling, for rebuilding the record.
#[derive(Debug, Clone)]
pub struct StoredTelling {
    /// Guardian refs of the message.
    pub guardians: Vec<String>,
    /// Channel.
    pub channel: Channel,
    /// The part.
    pub part: StoredPart,
    /// When it was attempted.
    pub at: Timestamp,
    /// State of its message.
    pub state: State,
    /// The address at which it failed for good; empty where it did not.
    pub failed_at: String,
}

/// That a child is not coming to an event, or is after all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewAbsence {
    /// Child ref.
    pub child: String,
    /// Event ref.
    pub event: String,
    /// Not coming; false takes it back.
    pub away: bool,
    /// Guardian ref of who said it; empty where nobody of the family did.
    pub said_by: String,
    /// Who noted it: a chaperone's ref, or `coordinator`.
    pub noted_by: String,
}

/// The last word on whether a child is coming to an event, where it was ever said that it is not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredAbsence {
    /// Not coming; false where that was taken back.
    pub away: bool,
    /// Child ref.
    pub child: String,
    /// Event ref.
    pub event: String,
    /// When it was said.
    pub at: Timestamp,
    /// Guardian ref of who said it; empty where nobody of the family did.
    pub said_by: String,
    /// Who noted it: a chaperone's ref, or `coordinator`.
    pub noted_by: String,
}

/// An address with a history.
#[derive(Debug, Clone)]
pub struct StoredAddress {
    /// Channel.
    pub channel: Channel,
    /// Address.
    pub address: String,
    /// Its owner said stop.
    pub stopped: bool,
    /// It does not work.
    pub bad: bool,
}

/// Everything needed to rebuild the record.
#[derive(Debug, Default)]
pub struct History {
    /// Tellings by time.
    pub tellings: Vec<StoredTelling>,
    /// Answers by arrival.
    pub answers: Vec<StoredAnswer>,
    /// Children who are not coming, and to what, and those of whom that was taken back.
    pub absences: Vec<StoredAbsence>,
    /// Addresses.
    pub addresses: Vec<StoredAddress>,
    /// Numbers to which a text was attempted.
    pub texted: Vec<String>,
    /// Rises with every change of the above and of the workbook.
    pub pulse: i64,
    /// Revision of the workbook at that pulse.
    pub revision: i64,
    /// When it last changed.
    pub revised_at: Timestamp,
}
