//! Changes of plan that are worth trying: each a function from a season to a season.
//!
//! A notice keeps its place among the season's notices whatever is changed, since the record names it by that.

use crate::domain::season::{About, Audience, By, EventId, Notice, Offset, Season};

/// A first asking is tried so many days earlier.
pub const EARLIER_ASKING_DAYS: i32 = 7;
/// A second or later one so many.
pub const EARLIER_CHASER_DAYS: i32 = 2;

/// One change of plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VariantChange {
    /// A notice so many days earlier.
    Earlier {
        /// Which.
        notice: usize,
        /// How much.
        days: i32,
    },
    /// A notice by other channels.
    By {
        /// Which.
        notice: usize,
        /// How.
        by: By,
    },
    /// A notice left out.
    Without {
        /// Which.
        notice: usize,
    },
    /// One more text to those not heard from about what a notice is about, so many days before what that is counted from.
    OneMoreText {
        /// The first asking.
        after: usize,
        /// When.
        days: i32,
    },
}

/// The changes worth trying: of everything that asks families for an answer. `ring_days` before an event calls begin, so
/// that a text after them would come too late to save one.
pub fn worth_trying(season: &Season, ring_days: i32) -> Vec<VariantChange> {
    let mut changes = Vec::new();
    for (notice, rule) in season.notices.iter().enumerate().filter(|(_, rule)| asks(rule)) {
        if matches!(rule.offset, Offset::DaysBefore { .. }) {
            let days = if rule.to.of_unheard() { EARLIER_CHASER_DAYS } else { EARLIER_ASKING_DAYS };
            changes.push(VariantChange::Earlier { notice, days });
        }
        let others: &[By] = match rule.by {
            By::Mail => &[By::Text, By::MailAndText],
            By::Text => &[By::Mail],
            By::MailAndText => &[By::Text],
        };
        changes.extend(others.iter().map(|by| VariantChange::By { notice, by: *by }));
        if asked_otherwise(season, notice) {
            changes.push(VariantChange::Without { notice });
        }
        if let Some(days) = gap(season, notice, ring_days) {
            changes.push(VariantChange::OneMoreText { after: notice, days });
        }
    }
    changes
}

fn asks(notice: &Notice) -> bool {
    let concerns = !matches!(&notice.about, About::Events(events) if events.is_empty());
    notice.owes && concerns && !notice.to.of_chaperones()
}

/// Whether other notices ask about every event that one asks about. Whom nobody asks is not rung either, so that leaving
/// out the only one would look like calls saved.
fn asked_otherwise(season: &Season, notice: usize) -> bool {
    let rule = &season.notices[notice];
    let others = || season.notices.iter().enumerate().filter(|(at, other)| *at != notice && asks(other));
    (0_u32..).map(EventId).zip(&season.events).filter(|(_, event)| event.for_families()).all(|(id, event)| {
        let covers = |other: &Notice| other.to != Audience::TurnIn && other.about.covers(id, event.kind);
        !rule.about.covers(id, event.kind) || others().any(|(_, other)| covers(other))
    })
}

/// The middle of the longest time in which nothing asks about what a first asking is about, in days before what that
/// is counted from; none if there is no such time, or the notice is no first asking.
fn gap(season: &Season, first: usize, ring_days: i32) -> Option<i32> {
    let rule = &season.notices[first];
    if rule.to != Audience::Everyone {
        return None;
    }
    let same = season.notices.iter().filter(|n| asks(n) && n.about == rule.about && n.anchor == rule.anchor);
    let mut days: Vec<i32> = same
        .filter_map(|notice| match notice.offset {
            Offset::DaysBefore { days, .. } => Some(days),
            Offset::MinutesBefore(_) => None,
        })
        .filter(|days| *days > ring_days)
        .collect();
    days.push(if rule.about == About::Season { 0 } else { ring_days });
    days.sort_unstable();
    let (near, far) = days.windows(2).map(|pair| (pair[0], pair[1])).max_by_key(|(near, far)| far - near)?;
    let middle = near + (far - near) / 2;
    (near < middle && middle < far).then_some(middle)
}

impl VariantChange {
    /// The season with the change; none if it does not fit that season.
    pub fn apply(&self, season: &Season) -> Option<Season> {
        let mut changed = season.clone();
        match *self {
            VariantChange::Earlier { notice, days: earlier } => {
                match &mut changed.notices.get_mut(notice)?.offset {
                    Offset::DaysBefore { days, .. } => *days = days.checked_add(earlier)?,
                    Offset::MinutesBefore(_) => return None,
                }
            }
            VariantChange::By { notice, by } => changed.notices.get_mut(notice)?.by = by,
            // Left where it is, about nothing.
            VariantChange::Without { notice } => {
                changed.notices.get_mut(notice)?.about = About::Events(Vec::new());
            }
            VariantChange::OneMoreText { after, days: before } => {
                let first = season.notices.get(after)?;
                let Offset::DaysBefore { at, .. } = first.offset else { return None };
                let chaser =
                    season.notices.iter().find(|n| n.to == Audience::NotHeard && n.about == first.about);
                let (at, wording) = match chaser.map(|n| (n.offset, &n.wording)) {
                    Some((Offset::DaysBefore { at, .. }, wording)) => (at, wording.clone()),
                    _ => (at, "reminder".to_owned()),
                };
                changed.notices.push(Notice {
                    reference: free_reference(season),
                    name: format!("{}, one more text", first.name),
                    to: Audience::NotHeard,
                    offset: Offset::DaysBefore { days: before, at },
                    by: By::Text,
                    wording,
                    ..first.clone()
                });
            }
        }
        Some(changed)
    }

    /// The change in words.
    pub fn words(&self, season: &Season) -> String {
        let name = |at: usize| season.notices.get(at).map_or("", |notice| notice.name.as_str());
        match *self {
            VariantChange::Earlier { notice, days } => format!("{}: {days} days earlier", name(notice)),
            VariantChange::By { notice, by: By::Mail } => format!("{}: by mail instead", name(notice)),
            VariantChange::By { notice, by: By::MailAndText } => format!("{}: by text as well", name(notice)),
            VariantChange::By { notice, by: By::Text } => {
                let both = season.notices.get(notice).is_some_and(|n| n.by == By::MailAndText);
                format!("{}: by text {}", name(notice), if both { "only" } else { "instead" })
            }
            VariantChange::Without { notice } => format!("{}: left out", name(notice)),
            VariantChange::OneMoreText { after, days } => {
                format!("{}: one more text to those not heard from, at {days} days", name(after))
            }
        }
    }
}

/// A name that no notice has.
fn free_reference(season: &Season) -> String {
    let mut at = season.notices.len() + 1;
    while season.notices.iter().any(|notice| notice.reference == format!("T{at:03}")) {
        at += 1;
    }
    format!("T{at:03}")
}
