//! Which events of a season are exactly as they were in an earlier version of it, with everything that is worked out of
//! them: their itineraries, what is told of them, when it is told, what is to be looked at on their day.

use super::due;
use super::season::{EventId, HouseRule, Season};

/// Whether each event, by position, is as it was.
#[derive(Debug, Clone, Default)]
pub struct Unchanged(Vec<bool>);

impl Unchanged {
    /// Holds two versions against each other. What all events rest on, such as who dances in what, is one for all.
    pub fn of(old: &Season, new: &Season) -> Unchanged {
        if !same_ground(old, new) {
            return Unchanged::default();
        }
        let ids = (0_u32..).map(EventId).zip(&old.events).zip(&new.events);
        Unchanged(ids.map(|((id, was), is)| was == is && same_beside(old, new, id)).collect())
    }

    /// Whether an event is as it was.
    pub fn event(&self, id: EventId) -> bool {
        self.0.get(id.at()).copied().unwrap_or(false)
    }
}

/// Whether everything that is not one event's own is the same, so that indices mean the same too.
fn same_ground(old: &Season, new: &Season) -> bool {
    let refs = old.events.iter().map(|event| &event.reference);
    old.zone_name == new.zone_name
        && old.zone == new.zone
        && old.language == new.language
        && old.settings == new.settings
        && old.places == new.places
        && old.rooms == new.rooms
        && old.numbers == new.numbers
        && old.notices == new.notices
        && old.people == new.people
        && refs.eq(new.events.iter().map(|event| &event.reference))
        // Notices of any event may be counted from it.
        && due::first_show(old) == due::first_show(new)
}

/// Whether the duties and the house rules of an event are the same, in the same order.
fn same_beside(old: &Season, new: &Season, id: EventId) -> bool {
    fn rules(season: &Season, id: EventId) -> impl Iterator<Item = &HouseRule> {
        season.house_rules.iter().filter(move |rule| rule.event == Some(id))
    }
    old.duties_at(id).eq(new.duties_at(id)) && rules(old, id).eq(rules(new, id))
}
