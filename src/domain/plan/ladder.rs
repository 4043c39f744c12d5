//! The rungs of a notice: the first road, then the other one, then the other guardians, each only as long as nobody answers.

use super::super::board::{Board, Item};
use super::super::due::{self, Due};
use super::super::record::{Ask, Cover, NoticeKey, Record};
use super::super::season::{Audience, By, Channel, GuardianId, Notice};
use super::super::standing;
use jiff::{SignedDuration, Timestamp};

/// The channels and moments at which a guardian still has to be asked by a notice, as far as can be told now.
///
/// A rung is counted from when the one before it went, or is to go. While that is overdue and has not gone there is no
/// moment to count from, and the rung waits for it.
pub(super) fn rungs(
    board: &Board,
    record: &Record,
    guardian: GuardianId,
    item: Item,
    at: usize,
    due: Due,
    now: Timestamp,
) -> Vec<(Channel, Timestamp)> {
    let notice = &board.season.notices[at];
    let Some(first) = turn(board, record, guardian, item, at, due, now) else { return Vec::new() };
    let key = NoticeKey::Rule(at);
    let cover = |channel| record.covered.get(&Ask { guardian, item, notice: key, channel }).copied();
    let usable = |channel| standing::address(board, record, guardian, channel).is_some();
    let open = |channel| usable(channel) && cover(channel).is_none();
    let order = match notice.by {
        By::Mail => [Channel::Mail, Channel::Text],
        By::Text => [Channel::Text, Channel::Mail],
        By::MailAndText => {
            let both = [Channel::Mail, Channel::Text];
            return both.into_iter().filter(|c| open(*c)).map(|channel| (channel, first)).collect();
        }
    };
    // A channel that failed is replaced by the other; what was sent is done.
    let gone = order.into_iter().find_map(|channel| match cover(channel) {
        Some(Cover::Done(at)) => Some((channel, at)),
        _ => None,
    });
    let mut out = Vec::new();
    let before = match gone {
        Some((channel, at)) => Some((channel, at)),
        None => order.into_iter().find(|c| open(*c)).map(|channel| {
            out.push((channel, first));
            (channel, first)
        }),
    };
    if let (Some((channel, at)), Some(hours)) = (before, notice.other_channel_hours)
        && (gone.is_some() || at > now)
        && !is_answered(board, record, guardian, item)
        && let Some(other) = order.into_iter().find(|c| *c != channel && open(*c))
        && let Some(later) = after(board, at, hours, due)
    {
        out.push((other, later));
    }
    out
}

/// When a guardian's turn comes; none while it does not.
fn turn(
    board: &Board,
    record: &Record,
    guardian: GuardianId,
    item: Item,
    at: usize,
    due: Due,
    now: Timestamp,
) -> Option<Timestamp> {
    let notice = &board.season.notices[at];
    if notice.to != Audience::OneGuardian {
        return Some(due.at);
    }
    let lead = lead(board, record, item)?;
    if lead == guardian {
        return Some(due.at);
    }
    let hours = notice.other_guardian_hours?;
    if board.cares_of(item.who).any(|care| is_answered(board, record, care.guardian, item)) {
        return None;
    }
    let key = NoticeKey::Rule(at);
    let went = [Channel::Mail, Channel::Text].into_iter().filter_map(|channel| {
        match record.covered.get(&Ask { guardian: lead, item, notice: key, channel }) {
            Some(Cover::Done(at)) => Some(*at),
            _ => None,
        }
    });
    let asked = went.min().or((due.at > now).then_some(due.at))?;
    after(board, asked, hours, due)
}

/// The guardian who is asked first: of those beside the child in the workbook the first who can be reached.
pub(super) fn lead(board: &Board, record: &Record, item: Item) -> Option<GuardianId> {
    let mut beside = board.cares_of(item.who).map(|care| care.guardian);
    beside.find(|guardian| standing::reachable(board, record, *guardian))
}

/// Whether a guardian has answered, or need not any more since the child is settled.
fn is_answered(board: &Board, record: &Record, guardian: GuardianId, item: Item) -> bool {
    standing::standing(board, record, guardian, item).is_answered() || standing::settled(board, record, item)
}

fn after(board: &Board, at: Timestamp, hours: u32, due: Due) -> Option<Timestamp> {
    let later = at.checked_add(SignedDuration::from_hours(i64::from(hours))).ok()?;
    let season = &board.season;
    due::window(season).place(&season.zone, later, due.until, Some(at))
}

/// Whether a notice may concern more than one household at once: then all of them are planned again when one answers.
pub fn spans_households(notice: &Notice) -> bool {
    notice.to == Audience::OneGuardian || notice.other_channel_hours.is_some()
}
