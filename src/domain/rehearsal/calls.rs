//! Whom chaperones ring.

use crate::domain::board::{Board, Item};
use crate::domain::record::Record;
use crate::domain::season::{Care, GuardianId, SettledBy};
use crate::domain::standing;

/// Who has to be rung so that a child is settled.
pub(super) fn rung(board: &Board, record: &Record, item: Item) -> Vec<GuardianId> {
    let cares: Vec<_> = board.cares_of(item.who).collect();
    let heard = |guardian: GuardianId| standing::heard(board, record, guardian, item).is_some();
    let mut out = Vec::new();
    match board.season.settings.settled_by {
        SettledBy::AnyGuardian => out.extend(cares.first().map(|care| care.guardian)),
        SettledBy::EachHousehold => {
            for care in &cares {
                let home = |other: &&&Care| other.household == care.household;
                let first = cares.iter().find(home).is_some_and(|first| first.guardian == care.guardian);
                if first && !cares.iter().filter(home).any(|other| heard(other.guardian)) {
                    out.push(care.guardian);
                }
            }
        }
        SettledBy::BringsAndCollects => {
            let brings: Vec<GuardianId> = cares.iter().filter(|c| c.brings).map(|c| c.guardian).collect();
            let collects: Vec<GuardianId> = cares.iter().filter(|c| c.collects).map(|c| c.guardian).collect();
            for side in [&brings, &collects] {
                if !side.iter().any(|guardian| heard(*guardian)) {
                    out.extend(side.first());
                }
            }
            // Both said yes on one phone: one of them has to say so herself.
            if out.is_empty() {
                out.extend(brings.first());
            }
        }
    }
    out.sort();
    out.dedup();
    out
}
