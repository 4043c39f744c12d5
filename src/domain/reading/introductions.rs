//! Children to whose families nobody can be introduced yet.

use super::super::introduction;
use super::super::season::{EventId, NumberId};
use super::checks::concerns;
use super::desk::{Desk, Spot, children_are};
use super::people::People;
use super::programme::{Programme, danced};
use super::rules::Rules;
use std::collections::{BTreeSet, HashSet};

pub(super) fn run(programme: &Programme, people: &People, rules: &Rules, desk: &mut Desk) {
    let looked_after = introduction::looked_after(&people.duties);
    let introduced: BTreeSet<EventId> = (0u32..)
        .zip(&programme.events)
        .map(|(at, event)| (EventId(at), event))
        .filter(|(id, event)| {
            event.for_families()
                && !event.cancelled
                && rules.notices.iter().any(|n| n.introduces() && n.about.covers(*id, event.kind))
        })
        .map(|(id, _)| id)
        .collect();
    for id in introduced {
        let event = &programme.events[id.at()];
        let all = danced(event);
        let covered: HashSet<NumberId> =
            all.iter().copied().filter(|number| looked_after.contains(&(id, *number))).collect();
        let rows: Vec<u32> = people
            .who
            .children
            .iter()
            .zip(&people.rows.children)
            .filter(|(child, _)| concerns(event, child, &all) && !concerns(event, child, &covered))
            .map(|(_, row)| *row)
            .collect();
        if let Some(first) = rows.first() {
            let reason = format!(
                "{} in no number with a chaperone at '{}': nobody is introduced to the family",
                children_are(&rows),
                event.name
            );
            desk.warn(
                Spot::row("children", *first),
                reason,
                "Give their numbers a chaperone on the sheet 'duties'.",
            );
        }
    }
}
