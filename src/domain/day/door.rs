//! The arithmetic of the door: how long it takes until every child is signed out, the youngest first.

use super::Day;
use crate::domain::season::ChildId;

/// One age band at the door.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Batch {
    /// Youngest and oldest age; none where it is not written.
    pub ages: Option<(u8, u8)>,
    /// Its children, in workbook order.
    pub children: Vec<ChildId>,
    /// Seconds from the opening of the door to its turn.
    pub from: u32,
    /// Seconds until the last of it has left.
    pub until: u32,
}

/// Seconds that `children` take at so many tables with so many seconds each. No table counts as one.
pub fn seconds(children: usize, each: u32, tables: u32) -> u32 {
    let rounds = children.div_ceil(tables.max(1) as usize);
    u32::try_from(rounds).unwrap_or(u32::MAX).saturating_mul(each)
}

impl Day<'_> {
    /// The age bands in the order in which they leave: the youngest first, those without a band last.
    pub fn leaving(&self) -> Vec<Batch> {
        let settings = &self.season.settings;
        let mut children: Vec<ChildId> = self.coming().map(|parts| parts[0].child).collect();
        let ages = |child: &ChildId| self.season.children[child.at()].ages;
        children.sort_by_key(|child| (ages(child).is_none(), ages(child), *child));
        let mut gone = 0;
        let time = |children| seconds(children, settings.door_seconds, settings.door_tables);
        children
            .chunk_by(|a, b| ages(a) == ages(b))
            .map(|batch| {
                let from = time(gone);
                gone += batch.len();
                Batch { ages: ages(&batch[0]), children: batch.to_vec(), from, until: time(gone) }
            })
            .collect()
    }
}
