//! Places with their ways in, and numbers.

use super::desk::{Desk, Names, Spot, counted, row_list};
use super::people::index;
use super::programme::{MINUTES_MAX, number_or, too_long};
use super::settings::Head;
use crate::domain::book::{Book, Row};
use crate::domain::season::{Child, Number, NumberId, Place, PlaceId, Way};
use crate::domain::typed;
use crate::domain::way::walk_range;
use crate::domain::words::{key, list};
use std::collections::{HashMap, HashSet};

/// Seconds of a number whose length is not written, where no other of its class has one (trade figure: most numbers take
/// about two minutes).
const NUMBER_SECONDS: u32 = 125;
/// Seconds from one number to the next where nothing is written (common practice, no source).
const CHANGEOVER_SECONDS: u32 = 20;
/// Minutes signing in takes where nothing is written.
const SIGN_IN_MINUTES: u32 = 5;
/// A number is a finale that all but one child in so many dance (assumption, no source).
const FINALE_PARTS: usize = 10;
/// Of fewer children than this nobody can say what a finale is (assumption, no source).
const FINALE_CHILDREN_MIN: usize = 10;
/// A number longer than this many seconds is asked about: hours may have been typed for minutes.
const LONG_NUMBER_SECONDS: u32 = 30 * 60;

/// The sheets `places` and `ways`, and the names events use.
pub(super) fn places(book: &Book, head: &Head, desk: &mut Desk) -> (Vec<Place>, Names<PlaceId>) {
    let mut places = Vec::new();
    let mut names = Names::new("places");
    for row in book.rows("places") {
        let name = row.text("name");
        if !name.is_empty() && !names.add(name, PlaceId(index(places.len()))) {
            desk.error(
                Spot::cell("places", row, "name"),
                "another place has this name",
                "Give each place a name of its own.",
            );
        }
        let sign_in_minutes = number_or(row, "sign-in minutes", SIGN_IN_MINUTES);
        too_long(sign_in_minutes, Spot::cell("places", row, "sign-in minutes"), desk);
        places.push(Place {
            reference: row.text("ref").to_owned(),
            name: name.to_owned(),
            door: row.text("door").to_owned(),
            collect_at: collect_at(row, desk),
            sign_in_minutes: sign_in_minutes.min(MINUTES_MAX),
            ways: Vec::new(),
        });
    }
    for row in book.rows("ways") {
        let place = names.find(row.text("place"), Spot::cell("ways", row, "place"), desk);
        if let (Some(place), Some(walk)) = (place, way_walk(row, head, desk)) {
            let ways: &mut Vec<Way> = &mut places[place.at()].ways;
            if ways.iter().any(|w| key(&w.name) == key(row.text("from"))) {
                desk.error(
                    Spot::cell("ways", row, "from"),
                    "this way in is listed twice for the place",
                    "Keep one of the two lines.",
                );
            }
            ways.push(Way { name: row.text("from").to_owned(), walk });
        }
    }
    (places, names)
}

fn way_walk(row: &Row, head: &Head, desk: &mut Desk) -> Option<(u32, u32)> {
    let (minutes, metres) = (row.text("walk minutes"), row.text("metres"));
    let spot = Spot::cell("ways", row, "walk minutes");
    let metres_walk =
        typed::count(metres).ok().map(|m| walk_range(f64::from(m), head.settings.walk_feet_per_second));
    if metres_walk.is_some_and(|(_, long)| long > typed::WALK_MAX_MINUTES) {
        desk.error(
            Spot::cell("ways", row, "metres"),
            "the distance is too far to walk",
            "Write the distance in metres from there to the door.",
        );
    }
    match (minutes.is_empty(), metres_walk) {
        (true, None) => {
            desk.error(
                spot,
                "neither the walk nor the distance is filled in, so families get no time to park by",
                "Write the minutes, such as 15-20, or the metres.",
            );
            None
        }
        (true, walk) => walk,
        (false, _) => typed::walk(minutes)
            .map_err(|reason| {
                desk.error(spot, reason, "Write minutes, such as 8, or a range, such as 15-20.")
            })
            .ok(),
    }
}

/// The sheet `numbers`, and the names the other sheets use.
pub(super) fn numbers(book: &Book, desk: &mut Desk) -> (Vec<Number>, Names<NumberId>) {
    let mut numbers = Vec::new();
    let mut names = Names::new("numbers");
    lengths_taken(book, desk);
    let usual = class_lengths(book);
    for row in book.rows("numbers") {
        let name = row.text("name");
        let spot = Spot::cell("numbers", row, "name");
        if key(name) == "interval" || key(name) == "all" {
            desk.error(
                spot,
                format!("'{name}' has a meaning of its own in the running order and the duties"),
                "Give the number another name.",
            );
        } else if !name.is_empty() && !names.add(name, NumberId(index(numbers.len()))) {
            desk.error(spot, "another number has this name", "Give each number a name of its own.");
        }
        let of_class = usual.get(&key(row.text("class"))).copied().unwrap_or(NUMBER_SECONDS);
        let seconds = typed::length(row.text("length")).unwrap_or(of_class);
        let changeover = typed::length(row.text("changeover")).unwrap_or(CHANGEOVER_SECONDS);
        for (column, seconds, most) in
            [("length", seconds, LONG_NUMBER_SECONDS), ("changeover", changeover, LONG_NUMBER_SECONDS / 3)]
        {
            if seconds > most {
                let reason = format!("a {column} of {} minutes is unusual", seconds / 60);
                desk.hint(
                    Spot::cell("numbers", row, column),
                    reason,
                    "Check that minutes and seconds are meant, such as 2:05.",
                );
            }
        }
        if seconds == 0 {
            desk.error(
                Spot::cell("numbers", row, "length"),
                "a number cannot be 0:00 long",
                "Write minutes and seconds, such as 2:05.",
            );
        }
        numbers.push(Number {
            reference: row.text("ref").to_owned(),
            name: name.to_owned(),
            seconds,
            changeover_seconds: changeover,
            class: row.text("class").to_owned(),
            pieces: list(row.text("pieces")).map(str::to_owned).collect(),
            teacher: row.text("teacher").to_owned(),
            teacher_mail: typed::mail(row.text("teacher e-mail")).ok(),
            worn: typed::yes_no(row.text("worn already")).unwrap_or(false),
            own_chaperone: typed::yes_no(row.text("own chaperone")).unwrap_or(false),
        });
    }
    (numbers, names)
}

/// What the two columns of a number mean that are empty: a number that nearly every child dances is a finale, danced in
/// what the children have on and with their own chaperones.
pub(super) fn finales(book: &Book, numbers: &mut [Number], children: &[Child], desk: &mut Desk) {
    if children.len() < FINALE_CHILDREN_MIN {
        return;
    }
    let mut danced = vec![0_usize; numbers.len()];
    for casting in children.iter().flat_map(|child| &child.castings) {
        danced[casting.number.at()] += 1;
    }
    for ((number, row), danced) in numbers.iter_mut().zip(book.rows("numbers")).zip(danced) {
        let open = |column: &str| row.text(column).is_empty();
        let nearly_all = danced * FINALE_PARTS >= children.len() * (FINALE_PARTS - 1);
        if !nearly_all || !(open("worn already") || open("own chaperone")) {
            continue;
        }
        number.worn |= open("worn already");
        number.own_chaperone |= open("own chaperone");
        let taken = match (open("worn already"), open("own chaperone")) {
            (true, true) => "nobody changes for it, and each stays with their own chaperone",
            (true, false) => "nobody changes for it",
            _ => "each stays with their own chaperone",
        };
        let reason =
            format!("{danced} of {} children dance it, so it is taken as a finale: {taken}", children.len());
        let cure = "Write yes or no in 'worn already' and 'own chaperone'.";
        desk.hint(Spot::named("numbers", row.number, "worn already"), reason, cure);
    }
}

/// The middle length of each class's numbers that have one, the longer of two middle ones, in seconds.
fn class_lengths(book: &Book) -> HashMap<String, u32> {
    let mut written: HashMap<String, Vec<u32>> = HashMap::new();
    for row in book.rows("numbers").iter().filter(|row| !row.text("class").is_empty()) {
        if let Ok(seconds) = typed::length(row.text("length")) {
            written.entry(key(row.text("class"))).or_default().push(seconds);
        }
    }
    let middle = |mut lengths: Vec<u32>| {
        lengths.sort_unstable();
        lengths[lengths.len() / 2]
    };
    written.into_iter().map(|(class, lengths)| (class, middle(lengths))).collect()
}

/// Told once for all: every later start of an order follows from a length nobody wrote.
fn lengths_taken(book: &Book, desk: &mut Desk) {
    let ordered: HashSet<String> =
        book.rows("running order").iter().map(|row| key(row.text("number"))).collect();
    let without = book
        .rows("numbers")
        .iter()
        .filter(|row| !row.cells.contains_key("length") && ordered.contains(&key(row.text("name"))));
    let rows: Vec<u32> = without.map(|row| row.number).collect();
    if let Some(first) = rows.first() {
        let reason = format!(
            "no length is written for {} of a running order ({}); each is taken for as long as the middle one of its class, {}:{:02} where \
             no other has a length, and later starts follow from it",
            counted(rows.len(), "number", "numbers"),
            row_list(&rows),
            NUMBER_SECONDS / 60,
            NUMBER_SECONDS % 60
        );
        desk.hint(
            Spot::named("numbers", *first, "length"),
            reason,
            "Take each with a watch and write minutes and seconds.",
        );
    }
}

/// Where children are collected. Families read it as it stands, so what only makes sense beside another cell is asked about.
fn collect_at(row: &Row, desk: &mut Desk) -> String {
    let text = row.text("collect at");
    if ["same", "as above", "see above", "see map", "tbc", "tba", "-"].contains(&key(text).as_str()) {
        desk.warn(
            Spot::cell("places", row, "collect at"),
            format!("families read it as it stands: 'Pick up: {text}'"),
            "Leave it empty where it is the same door, else say where.",
        );
    }
    text.to_owned()
}
