//! Where each recipient is, and whether a child is settled.

use super::board::{Board, Item};
use super::record::{Answer, AnswerKind, Record};
use super::season::{Channel, GuardianId, SettledBy};

/// Where a recipient is with an item.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// Has acknowledged today's facts.
    Heard,
    /// Acknowledged facts that have changed since.
    HeardBefore,
    /// Was asked for an answer, has given none.
    Waiting,
    /// Said the child can't come.
    CantCome,
    /// The child is not coming this once: a person of the school has confirmed it.
    Away,
    /// No address that may be used and works.
    NoWay,
    /// Not asked yet, though perhaps told.
    NotAsked,
}

impl Standing {
    /// All of them, in the order they are shown.
    pub const ALL: [Standing; 7] = [
        Standing::Heard,
        Standing::HeardBefore,
        Standing::Waiting,
        Standing::CantCome,
        Standing::Away,
        Standing::NoWay,
        Standing::NotAsked,
    ];

    /// The word used in JSON.
    pub fn word(self) -> &'static str {
        match self {
            Standing::Heard => "heard",
            Standing::HeardBefore => "heard_before_change",
            Standing::Waiting => "waiting",
            Standing::CantCome => "cant_come",
            Standing::Away => "not_coming",
            Standing::NoWay => "no_way_to_reach",
            Standing::NotAsked => "not_asked",
        }
    }

    /// Whether nothing more is asked: somebody has answered, or need not.
    pub fn is_answered(self) -> bool {
        matches!(self, Standing::Heard | Standing::CantCome | Standing::Away)
    }
}

/// The address of a guardian on a channel that may be used and works so far.
pub fn address<'a>(
    board: &'a Board,
    record: &Record,
    guardian: GuardianId,
    channel: Channel,
) -> Option<&'a str> {
    let contact = &board.season.guardians[guardian.at()].contact;
    let address = match channel {
        Channel::Mail => contact.mail_to(),
        Channel::Text => contact.text_to(),
    }?;
    // A stranger lives behind a wrong number, whoever else in the season has it.
    let wrong = channel == Channel::Text && record.is_wrong(guardian, address);
    (!wrong && record.usable(channel, address)).then_some(address)
}

/// The number at which a guardian can be rung, unless it was found not to be hers.
pub fn telephone<'a>(board: &'a Board, record: &Record, guardian: GuardianId) -> Option<&'a str> {
    let phone = board.season.guardians[guardian.at()].contact.phone.as_ref()?;
    (!record.is_wrong(guardian, &phone.e164)).then_some(&phone.e164)
}

/// Whether any channel of a guardian may be used and works so far.
pub fn reachable(board: &Board, record: &Record, guardian: GuardianId) -> bool {
    [Channel::Mail, Channel::Text].into_iter().any(|c| address(board, record, guardian, c).is_some())
}

/// The acknowledgement of today's facts, if there is one.
///
/// It counts when its fingerprint equals today's and the guardian was told nothing else since: undoing a change
/// before anyone was told restores it, undoing it afterwards does not, however often today's facts are told again.
pub fn heard(board: &Board, record: &Record, guardian: GuardianId, item: Item) -> Option<Answer> {
    let answer = *record.answers.get(&(guardian, item))?;
    let today = board.fingerprint(item);
    let told_otherwise = record.told.get(&(guardian, item)).is_some_and(|told| {
        let last = told.fingerprint != today && told.at > answer.at;
        let before = told.before.is_some_and(|before| before != today) && told.before_at > answer.at;
        last || before
    });
    (answer.kind == AnswerKind::Heard && answer.fingerprint == today && !told_otherwise).then_some(answer)
}

/// Where a guardian is with an item.
pub fn standing(board: &Board, record: &Record, guardian: GuardianId, item: Item) -> Standing {
    if record.is_away(item) {
        return Standing::Away;
    }
    if heard(board, record, guardian, item).is_some() {
        return Standing::Heard;
    }
    let answer = record.answer_of(guardian, item);
    if answer.is_some_and(|a| a.kind == AnswerKind::CantCome) {
        return Standing::CantCome;
    }
    if !reachable(board, record, guardian) {
        return Standing::NoWay;
    }
    let asked = record.told.get(&(guardian, item)).is_some_and(|told| told.asked);
    match (answer, asked) {
        (Some(_), _) => Standing::HeardBefore,
        (None, true) => Standing::Waiting,
        (None, false) => Standing::NotAsked,
    }
}

/// Whether a child is settled for an item; one "can't come" leaves it open until a person has confirmed it.
pub fn settled(board: &Board, record: &Record, item: Item) -> bool {
    if record.is_away(item) {
        return true;
    }
    let cares: Vec<_> = board.cares_of(item.who).collect();
    let said = |guardian| heard(board, record, guardian, item);
    if cares.iter().any(|c| standing(board, record, c.guardian, item) == Standing::CantCome) {
        return false;
    }
    match board.season.settings.settled_by {
        SettledBy::AnyGuardian => cares.iter().any(|c| said(c.guardian).is_some()),
        SettledBy::EachHousehold => {
            !cares.is_empty()
                && cares.iter().all(|c| {
                    cares.iter().any(|other| other.household == c.household && said(other.guardian).is_some())
                })
        }
        SettledBy::BringsAndCollects => {
            let brings: Vec<Answer> =
                cares.iter().filter(|c| c.brings).filter_map(|c| said(c.guardian)).collect();
            let collects: Vec<Answer> =
                cares.iter().filter(|c| c.collects).filter_map(|c| said(c.guardian)).collect();
            let own = brings.iter().chain(&collects).any(|a| !a.one_phone);
            !brings.is_empty() && !collects.is_empty() && own
        }
    }
}
