//! Rooms, and which of them a duty names.

use super::desk::{Desk, Names, Spot};
use super::programme::Programme;
use crate::domain::book::{Book, Row};
use crate::domain::season::{PlaceId, Room, RoomId};
use crate::domain::typed;
use crate::domain::words::{did_you_mean, key};

/// The sheet `rooms`, with the row of each room.
pub(super) fn rooms(book: &Book, places: &Names<PlaceId>, desk: &mut Desk) -> (Vec<Room>, Vec<u32>) {
    let mut rooms: Vec<Room> = Vec::new();
    let mut rows = Vec::new();
    for row in book.rows("rooms") {
        let (name, place) = (row.text("name"), row.text("place"));
        if name.is_empty() || place.is_empty() {
            continue;
        }
        let Some(place) = places.find(place, Spot::cell("rooms", row, "place"), desk) else { continue };
        let quick_change = typed::yes_no(row.text("quick change")).unwrap_or(false);
        if rooms.iter().any(|room| room.place == place && key(&room.name) == key(name)) {
            desk.error(
                Spot::cell("rooms", row, "name"),
                "another room of this place has this name",
                "Give each room of a place a name of its own.",
            );
        }
        if quick_change && rooms.iter().any(|room| room.place == place && room.quick_change) {
            desk.error(
                Spot::cell("rooms", row, "quick change"),
                "this place has another quick-change room, and a child can be sent to one only",
                "Keep 'yes' beside one of them.",
            );
        }
        rows.push(row.number);
        rooms.push(Room {
            place,
            name: name.to_owned(),
            most: typed::count(row.text("children")).ok(),
            quick_change,
        });
    }
    (rooms, rows)
}

/// The rooms that one word may mean, one a place.
pub(super) struct Named(Vec<(PlaceId, RoomId)>);

impl Named {
    /// Whether no room is named, or none that is known.
    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The one at a place.
    pub(super) fn at(&self, place: PlaceId) -> Option<RoomId> {
        self.0.iter().find(|(at, _)| *at == place).map(|(_, room)| *room)
    }
}

/// The rooms a line of the sheet `duties` may mean.
pub(super) fn named(row: &Row, programme: &Programme, desk: &mut Desk) -> Named {
    let name = row.text("room");
    let alike = (0_u32..).zip(&programme.rooms).filter(|(_, room)| key(&room.name) == key(name));
    let found: Vec<_> = alike.map(|(at, room)| (room.place, RoomId(at))).collect();
    if found.is_empty() && !name.is_empty() && !programme.partly.contains("rooms") {
        let cure = did_you_mean(
            name,
            programme.rooms.iter().map(|room| room.name.as_str()),
            "Add it to the sheet 'rooms', or use a name that is there.",
        );
        desk.error(
            Spot::cell("duties", row, "room"),
            format!("'{}' is not on the sheet 'rooms'", typed::shown(name)),
            &cure,
        );
    }
    Named(found)
}
