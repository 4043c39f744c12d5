//! Why a family is rung, each reason by itself and in the order in which they press.

use crate::domain::board::{Board, Item};
use crate::domain::record::Record;
use crate::domain::running_order::quick_changes;
use crate::domain::season::GuardianId;
use crate::domain::standing::{Standing, reachable, standing};
use crate::domain::wall;
use jiff::Timestamp;

/// Messages that wanted an answer and had none after which a guardian is rung, as the trade does after two rounds. Common
/// practice, no source.
pub const SILENT_TIMES: usize = 2;

/// Why a family is rung. They press in this order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// The event is so many days off.
    Near(i32),
    /// No channel is left by which she can be written to.
    NoChannel,
    /// She has heard times that hold no more.
    OldTimes,
    /// So many messages wanted an answer and had none.
    SilentTwice(usize),
    /// A child of hers has a quick change there.
    QuickChange,
    /// A child of hers is new to the school.
    NewToSchool,
}

impl Reason {
    /// Whether it alone puts a family on the list; the others only move it up.
    pub fn is_ground(&self) -> bool {
        matches!(self, Reason::Near(_) | Reason::NoChannel | Reason::SilentTwice(_))
    }

    /// Its place among the reasons.
    fn place(&self) -> usize {
        match self {
            Reason::Near(_) => 0,
            Reason::NoChannel => 1,
            Reason::OldTimes => 2,
            Reason::SilentTwice(_) => 3,
            Reason::QuickChange => 4,
            Reason::NewToSchool => 5,
        }
    }
}

/// Kinds of reasons.
const KINDS: usize = 6;

/// Compares as lines do: reason by reason in their order, the fewer days the sooner, and who has a reason before who has not.
pub(super) fn rank(reasons: &[Reason]) -> [i32; KINDS] {
    let mut rank = [i32::MAX; KINDS];
    for reason in reasons {
        rank[reason.place()] = match reason {
            Reason::Near(days) => *days,
            _ => 0,
        };
    }
    rank
}

/// The reasons that hold for a guardian, most pressing first. `silent`: messages about one thing she did not answer.
pub(super) fn of(
    board: &Board,
    record: &Record,
    guardian: GuardianId,
    items: &[Item],
    (needed_by, silent): (Timestamp, usize),
    now: Timestamp,
) -> Vec<Reason> {
    let season = &board.season;
    let day = |at| wall::local(&season.zone, at).date();
    let days = day(now).until(day(needed_by)).map_or(i32::MAX, |span| span.get_days());
    let old = |item: &Item| standing(board, record, guardian, *item) == Standing::HeardBefore;
    let child = |item: &Item| item.who.child().map(|child| &season.children[child.at()]);
    let quick = |item: &Item| {
        let event = item.event.map(|event| &season.events[event.at()]);
        event.zip(child(item)).is_some_and(|(event, child)| !quick_changes(season, event, child).is_empty())
    };
    let held = [
        (days <= i32::try_from(season.settings.calls_days).unwrap_or(i32::MAX), Reason::Near(days)),
        (!reachable(board, record, guardian), Reason::NoChannel),
        (items.iter().any(old), Reason::OldTimes),
        (silent >= SILENT_TIMES, Reason::SilentTwice(silent)),
        (items.iter().any(quick), Reason::QuickChange),
        (items.iter().filter_map(child).any(|child| child.new), Reason::NewToSchool),
    ];
    held.into_iter().filter(|(holds, _)| *holds).map(|(_, reason)| reason).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each line presses more than the one after it.
    #[test]
    fn lines_press_in_the_order_of_their_reasons() {
        use Reason::*;
        let lines: [&[Reason]; 10] = [
            &[Near(0)],
            &[Near(1), NoChannel],
            &[Near(1), OldTimes, SilentTwice(2), QuickChange, NewToSchool],
            &[Near(1), SilentTwice(3), QuickChange],
            &[Near(1), SilentTwice(2)],
            &[Near(1), QuickChange],
            &[Near(1), NewToSchool],
            &[NoChannel, NewToSchool],
            &[NoChannel],
            &[SilentTwice(2), QuickChange, NewToSchool],
        ];
        for pair in lines.windows(2) {
            assert!(rank(pair[0]) < rank(pair[1]), "{:?} before {:?}", pair[0], pair[1]);
        }
        assert_eq!(rank(&[SilentTwice(2)]), rank(&[SilentTwice(4)]), "silence is silence");
    }
}
