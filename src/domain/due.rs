//! When a notice falls due for a child at an event, and until when it is of use.

use super::itinerary::Itinerary;
use super::quiet::Window;
use super::season::{Anchor, EventId, EventKind, Notice, Offset, Season};
use super::wall;
use jiff::Timestamp;
use jiff::civil::Time;

/// The two instants of a notice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// When it leaves: the rule's moment, moved into permitted hours.
    pub at: Timestamp,
    /// When it would have left but for quiet hours.
    pub meant: Timestamp,
    /// From this instant on it is of no use.
    pub until: Timestamp,
}

/// The season's window of permitted hours.
pub fn window(season: &Season) -> Window {
    Window { from: season.settings.quiet_until, until: season.settings.quiet_from }
}

/// The due time of a notice, for an itinerary or (none) for the season as a whole.
///
/// None if the notice is counted from something that does not exist, or no permitted moment before its use ends exists.
pub fn due(season: &Season, notice: &Notice, it: Option<&Itinerary>) -> Option<Due> {
    let anchor = anchor(season, notice.anchor, it)?;
    let meant = match notice.offset {
        Offset::DaysBefore { days, at } => wall::days_before(&season.zone, anchor, days, at),
        Offset::MinutesBefore(minutes) => wall::minutes_before(anchor, minutes),
    };
    let until = useful_until(season, notice.anchor, anchor, it);
    let at = window(season).place(&season.zone, meant, until, None)?;
    Some(Due { at, meant, until })
}

/// Never after the anchor; what is counted from a date or the first show is of use until the event, or the first show, begins.
fn useful_until(season: &Season, kind: Anchor, anchor: Timestamp, it: Option<&Itinerary>) -> Timestamp {
    match (kind, it) {
        (Anchor::FirstShow | Anchor::Date(_), Some(it)) => it.call_at,
        (Anchor::FirstShow | Anchor::Date(_), None) => first_show(season).unwrap_or(anchor),
        _ => anchor,
    }
}

fn anchor(season: &Season, anchor: Anchor, it: Option<&Itinerary>) -> Option<Timestamp> {
    match anchor {
        Anchor::Call => it.map(|it| it.call_at),
        Anchor::ParkBy => it.map(|it| it.park_by.map_or(it.call_at, |at| wall::instant(&season.zone, at))),
        Anchor::CurtainUp => it.map(|it| wall::instant(&season.zone, it.starts)),
        Anchor::Dismissal => it.map(|it| it.over_at),
        Anchor::FirstShow => first_show(season),
        Anchor::Date(date) => {
            Some(wall::instant(&season.zone, date.to_datetime(Time::constant(12, 0, 0, 0))))
        }
    }
}

/// Curtain up of the first show that is not called off.
pub fn first_show(season: &Season) -> Option<Timestamp> {
    let shows = (0_u32..).zip(&season.events).filter(|(_, e)| e.kind == EventKind::Show && !e.cancelled);
    shows.map(|(at, _)| season.curtain_up(EventId(at))).min()
}
