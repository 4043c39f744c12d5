//! Rooms: an evening to follow with a pencil, and a twin that looks at every child and every adult at every minute.

use crate::common::{board, book as written, set as set_cell, with};
use crate::day::{SEASONS, random_season, set};
use allheard::demo::dice::Dice;
use allheard::domain::board::Board;
use allheard::domain::book::{Book, Problem, Row};
use allheard::domain::day::Day;
use allheard::domain::day::rooms::{Heads, Rooms, Whereabouts};
use allheard::domain::reading;
use allheard::domain::season::{ChaperoneId, ChildId, EventId, RoomId, Season, Slot};
use std::collections::BTreeMap;

const EVENING: &str = "
# season
setting | value
version | 1
name | The Brass Heron
school | Fenmouth Dance
zone | Europe/London
country | GB
ready numbers ahead | 2
quick change below | 2
walk off and on seconds | 30
shortest change seconds | 60
children per adult | 2
# places
ref | name | door
P001 | Corn Loft | side door
P002 | Tide Hall | river door
# rooms
place | name | children | quick change
Corn Loft | Net Store | 2 |
Corn Loft | Sail Loft | |
Corn Loft | Booth | 4 | yes
Tide Hall | Net Store | 9 |
# events
ref | name | kind | place | date | call | starts
E001 | Saturday | show | Corn Loft | 2027-03-20 | 18:00 | 19:00
# numbers
ref | name | length | changeover
N001 | Kelp | 4:00 | 1:00
N002 | Foghorn | 4:00 | 1:00
N003 | Gulls | 4:00 | 1:00
N004 | Ropewalk | 4:00 | 1:00
N005 | Lantern | 4:00 | 1:00
N006 | Finale | 4:00 | 1:00
# running order
event | place | number
Saturday | 1 | Kelp
Saturday | 2 | Foghorn
Saturday | 3 | Gulls
Saturday | 4 | Ropewalk
Saturday | 5 | Lantern
Saturday | 6 | Finale
# children
ref | given name | family name | ages | numbers | g1 ref | g1 name | g1 mobile | g1 texts
C001 | Ada | Reed | 5-6 | Kelp; Gulls | G001 | Rosa Reed | 07700 900001 | yes
C002 | Bo | Hill | 9-10 | Kelp; Finale | G002 | Nora Hill | 07700 900002 | yes
C003 | Cy | Vale | 7-8 | Foghorn | G003 | Omar Vale | 07700 900003 | yes
C004 | Di | Moss | 3-4 | Lantern | G004 | Pia Moss | 07700 900004 | yes
C005 | Ed | Lane | 9-10 | Finale | G005 | Quin Lane | 07700 900005 | yes
# chaperones
ref | name | mobile | vetted until
V001 | Uma Lock | 07700 900041 | 2028-01-01
V002 | Vic Shaw | 07700 900042 | 2028-01-01
V003 | Wyn Bell | 07700 900043 | 2028-01-01
V004 | Xan Frost | 07700 900044 | 2028-01-01
V005 | Yve Marsh | 07700 900045 | 2028-01-01
# duties
chaperone | event | number | room
Uma Lock | all | Kelp | Net Store
Vic Shaw | all | Foghorn | Net Store
Wyn Bell | all | Gulls | Sail Loft
Wyn Bell | all | Lantern | Sail Loft
Xan Frost | all | Finale |
Yve Marsh | all | | Booth
";

// Curtain up 19:00, call 18:00; every number takes four minutes and its changeover one. By hand, in minutes from curtain up:
//
//   number    ready  on  off        The last ends at 29, so children are collected from 19:30.
//   Kelp         -5   0    4        Ada changes quickly: one number lies between Kelp and Gulls.
//   Foghorn      -5   5    9        The finale has no room: Bo waits for it where he waited for Kelp,
//   Gulls         0  10   14        and for Ed no room is written.
//   Ropewalk      5  15   19
//   Lantern      10  20   24
//   Finale       15  25   29
pub fn evening() -> Book {
    written(EVENING)
}

fn rooms(board: &Board) -> Rooms {
    Day::of(&board.season, EventId(0)).rooms(&board.programme)
}

fn place(season: &Season, place: Whereabouts) -> String {
    match place {
        Whereabouts::Room(room) => season.rooms[room.at()].name.clone(),
        Whereabouts::Unwritten => "?".to_owned(),
        Whereabouts::Away => "away".to_owned(),
    }
}

fn check_child(child: &str, expect: &[(i64, i64, &str)]) {
    let board = board(&evening());
    let found: Vec<(i64, i64, String)> = rooms(&board)
        .stretches
        .iter()
        .filter(|stretch| board.season.children[stretch.child.at()].reference == child)
        .map(|s| (s.from / 60, s.until / 60, place(&board.season, s.place)))
        .collect();
    let expect: Vec<_> = expect.iter().map(|(from, until, at)| (*from, *until, (*at).to_owned())).collect();
    assert_eq!(found, expect, "{child}");
}

#[test]
fn every_child_is_somewhere_from_sign_in_to_sign_out() {
    check_child(
        "C001",
        &[(-60, -5, "Net Store"), (-5, 4, "away"), (4, 10, "Booth"), (10, 14, "away"), (14, 30, "Sail Loft")],
    );
    check_child(
        "C002",
        &[
            (-60, -5, "Net Store"),
            (-5, 4, "away"),
            (4, 15, "Net Store"),
            (15, 29, "away"),
            (29, 30, "Net Store"),
        ],
    );
    check_child("C003", &[(-60, -5, "Net Store"), (-5, 9, "away"), (9, 30, "Net Store")]);
    check_child("C004", &[(-60, 10, "Sail Loft"), (10, 24, "away"), (24, 30, "Sail Loft")]);
    check_child("C005", &[(-60, 15, "?"), (15, 29, "away"), (29, 30, "?")]);
}

/// Room, from, until (minutes from curtain up), children, adults, youngest.
fn check_heads(book: &Book, room: &str, expect: &[(i64, i64, usize, usize, u8)]) {
    let board = board(book);
    let found: Vec<_> = rooms(&board)
        .heads
        .iter()
        .filter(|heads| board.season.rooms[heads.room.at()].name == room)
        .map(|h| (h.from, h.until, h.children, h.adults, h.youngest.unwrap()))
        .collect();
    assert_eq!(found, expect, "{room}");
}

#[test]
fn heads_are_counted_by_room_and_minute() {
    // Uma is away with Kelp until 4, Vic with Foghorn until 9; Wyn from Gulls' ready call at 0 until Lantern is off at 24.
    check_heads(
        &evening(),
        "Net Store",
        &[(-60, -5, 3, 2, 5), (4, 9, 1, 1, 9), (9, 15, 2, 2, 7), (15, 29, 1, 2, 7), (29, 30, 2, 2, 7)],
    );
    check_heads(
        &evening(),
        "Sail Loft",
        &[(-60, 0, 1, 1, 3), (0, 10, 1, 0, 3), (14, 24, 1, 0, 5), (24, 30, 2, 1, 3)],
    );
    check_heads(&evening(), "Booth", &[(4, 10, 1, 1, 5)]);
}

#[test]
fn only_an_adult_who_qualifies_and_is_there_counts() {
    let booth = |column: &str, value: &str, expect: &[(i64, i64, usize, usize, u8)]| {
        check_heads(&with(&evening(), "chaperones", "V005", column, value), "Booth", expect);
    };
    booth("adult", "no", &[(4, 10, 1, 0, 5)]);
    booth("vetted until", "2027-03-19", &[(4, 10, 1, 0, 5)]);
    booth("vetted until", "2027-03-20", &[(4, 10, 1, 1, 5)]);
    // The mobile of Cy's guardian: she watches Foghorn from 5 to 9.
    booth("mobile", "07700 900003", &[(4, 5, 1, 1, 5), (5, 9, 1, 0, 5), (9, 10, 1, 1, 5)]);
    // She dances Foghorn herself: from its ready call at -5 until it is off at 9.
    let mut dances = evening();
    set_cell(&mut dances, "chaperones", "V005", "name", "CY  Vale");
    set_cell(&mut dances, "duties", "Yve Marsh", "chaperone", "Cy Vale");
    check_heads(&dances, "Booth", &[(4, 9, 1, 0, 5), (9, 10, 1, 1, 5)]);
    // Her own guardian in the workbook, under another spelling than the chaperone's.
    let mut own = evening();
    set_cell(&mut own, "children", "C003", "g1 name", "Cy Vale");
    let own = with(&own, "chaperones", "V005", "mobile", "07700 900003");
    check_heads(&own, "Booth", &[(4, 9, 1, 0, 5), (9, 10, 1, 1, 5)]);
}

#[test]
fn a_place_without_a_quick_change_room_keeps_the_ready_call() {
    let mut book = evening();
    set_cell(&mut book, "rooms", "Booth", "quick change", "no");
    let board = board(&book);
    // Gulls was called at 0, so Ada stays away from Kelp's end on.
    let ada: Vec<_> = rooms(&board)
        .stretches
        .iter()
        .filter(|s| s.child == ChildId(0))
        .map(|s| (s.from / 60, s.until / 60, place(&board.season, s.place)))
        .collect();
    let expect = [(-60, -5, "Net Store"), (-5, 4, "away"), (4, 14, "away"), (14, 30, "Sail Loft")];
    assert_eq!(ada, expect.map(|(from, until, at)| (from, until, at.to_owned())));
}

#[test]
fn nothing_is_reckoned_without_rooms_or_without_an_order() {
    let mut bare = evening();
    bare.sheet_mut("rooms").rows.clear();
    bare.sheet_mut("duties").rows.iter_mut().for_each(|row| row.set("room", ""));
    let mut unordered = evening();
    unordered.sheet_mut("running order").rows.clear();
    let unordered = with(&unordered, "events", "E001", "ends", "20:00");
    let mut elsewhere = bare.clone();
    elsewhere.sheet_mut("rooms").rows.push(evening().rows("rooms")[3].clone());
    for book in [bare, unordered, elsewhere] {
        let rooms = rooms(&board(&book));
        assert!(rooms.heads.is_empty() && rooms.stretches.is_empty());
    }
}

#[track_caller]
fn told<'a>(problems: &'a [Problem], sheet: &str, row: Option<u32>, words: &str) -> &'a Problem {
    let found = problems.iter().find(|p| p.sheet == sheet && p.row == row && p.reason.contains(words));
    found.unwrap_or_else(|| panic!("no '{words}' on {sheet} {row:?}: {problems:#?}"))
}

#[test]
fn the_check_names_room_time_children_and_adults() {
    let (_, problems) = reading::season(&evening());
    told(
        &problems,
        "rooms",
        Some(2),
        "'Net Store' may hold 2 and is too full: 3 children at 'Saturday' from 18:00 for 55 minutes",
    );
    let few = told(
        &problems,
        "rooms",
        Some(3),
        "'Sail Loft' has too few adults (2 children to an adult: the setting 'children per adult'): 1 child with 0 adults counted at 'Saturday' from 19:00 for 20 minutes, where 1 would be needed",
    );
    assert!(few.cure.contains("'duties'") && few.cure.contains("local law decide"), "{}", few.cure);
    told(&problems, "events", Some(2), "the workbook has no room for 1 child before Finale");
    assert!(!problems.iter().any(|p| p.reason.contains("Booth")), "nothing is wrong there: {problems:#?}");
    let mut helped = evening();
    let mut row = Row { number: 8, ..Row::default() };
    for (column, text) in
        [("chaperone", "Xan Frost"), ("event", "all"), ("number", ""), ("room", "Sail Loft")]
    {
        row.set(column, text);
    }
    helped.sheet_mut("duties").rows[4] = row;
    let (_, problems) = reading::season(&helped);
    assert!(!problems.iter().any(|p| p.reason.contains("Sail Loft")), "{problems:#?}");
}

#[test]
fn rooms_that_cannot_be_meant_are_refused() {
    let check = |sheet: &str, marked: &str, column: &str, value: &str, row: u32, words: &str, cure: &str| {
        let (season, problems) = reading::season(&with(&evening(), sheet, marked, column, value));
        assert!(season.is_none(), "{words}");
        let problem = told(&problems, sheet, Some(row), words);
        assert!(problem.cure.contains(cure), "{problem:?}");
    };
    check("rooms", "Sail Loft", "place", "Corn Lof", 3, "not on the sheet 'places'", "'Corn Loft'");
    check("rooms", "Sail Loft", "name", "NET  store", 3, "another room of this place", "name of its own");
    check("rooms", "Sail Loft", "quick change", "yes", 4, "another quick-change room", "one of them");
    check("rooms", "Sail Loft", "children", "many", 3, "not a whole number", "in digits");
    check("duties", "Uma Lock", "room", "Nett Store", 2, "not on the sheet 'rooms'", "'Net Store'");
    let mut away = evening();
    set_cell(&mut away, "rooms", "Sail Loft", "place", "Tide Hall");
    let (season, problems) = reading::season(&away);
    assert!(season.is_none());
    told(&problems, "duties", Some(4), "at another place than the event");
    // One name at two places is each event's own.
    let (season, _) = reading::season(&evening());
    assert_eq!(season.unwrap().duties[0].room, Some(RoomId(0)));
    let mut two = evening();
    set_cell(&mut two, "duties", "Vic Shaw", "number", "Kelp");
    let two = with(&two, "duties", "Vic Shaw", "room", "Sail Loft");
    told(
        &reading::season(&two).1,
        "duties",
        Some(3),
        "the chaperones of 'Kelp' have two rooms at 'Saturday'; its children wait in 'Net Store', the first",
    );
}

// Rooms are for staff: whatever stands in them, no family is told anything else.
#[test]
fn no_room_reaches_a_family() {
    let with_rooms = board(&evening());
    let mut bare = evening();
    bare.sheet_mut("rooms").rows.clear();
    bare.sheet_mut("duties").rows.iter_mut().for_each(|row| row.set("room", ""));
    let without = board(&bare);
    // Five children and five chaperones, whose own messages name no room either.
    assert_eq!(with_rooms.programme.itineraries().count(), 10);
    for (a, b) in with_rooms.programme.itineraries().zip(without.programme.itineraries()) {
        assert_eq!(format!("{a:?}"), format!("{b:?}"));
        let facts =
            |board: &Board, it| format!("{:?}", allheard::domain::facts::Facts::of(&board.season, it));
        let told = facts(&with_rooms, a);
        assert_eq!(told, facts(&without, b));
        for room in &with_rooms.season.rooms {
            assert!(!told.contains(&room.name), "{told}");
        }
    }
}

#[test]
fn staff_paper_names_rooms_and_families_paper_does_not() {
    let board = board(&evening());
    let sheets =
        allheard::domain::sheets::of_event(&board, EventId(0), allheard::domain::sheets::Marks::none());
    let sheet = |name: &str| sheets.iter().find(|sheet| sheet.name() == name).unwrap();
    let rooms = sheet("rooms");
    let rows = |at: usize| -> Vec<String> { rooms.tables[at].rows().map(|row| row.join(" | ")).collect() };
    assert_eq!(
        rows(0),
        [
            "Net Store | 2 | 3 | 2 | 18:00 | TOO FULL",
            "Sail Loft |  | 2 | 1 | 19:24 | ",
            "Booth | 4 | 1 | 1 | 19:04 | "
        ]
    );
    assert_eq!(
        (&rooms.tables[1].heading[..], &rooms.tables[1].note[..]),
        ("Net Store", "Waiting here: 1 Kelp, 2 Foghorn.")
    );
    assert_eq!(
        rows(1),
        [
            "18:00 | 3 children | 2 |  | TOO FULL",
            "18:55 | empty |  | 1 Kelp, 2 Foghorn | ",
            "19:04 | 1 child | 1 |  | ",
            "19:09 | 2 children | 2 |  | ",
            "19:15 | 1 child | 2 | 6 Finale | ",
            "19:29 | 2 children | 2 |  | ",
            "19:30 | empty |  |  | "
        ]
    );
    assert_eq!(rows(3), ["19:04 | 1 child | 1 |  | ", "19:10 | empty |  | 3 Gulls | "]);
    let uma = &sheet("clipboard-V001").tables[0];
    assert_eq!(uma.note, "Wait at Net Store.");
    assert_eq!(uma.rows().next().unwrap()[7], "QUICK CHANGE into 3 Gulls, with Wyn Bell, by way of Booth");
    assert_eq!(uma.rows().nth(1).unwrap()[7], "to 6 Finale, with Xan Frost, wait at Net Store");
    assert!(sheet("quick-changes").under.contains(&"Wait at Booth.".to_owned()));
    for name in ["door", "tags", "slips", "wall"] {
        let text = format!("{:?}", sheet(name));
        assert!(board.season.rooms.iter().all(|room| !text.contains(&room.name)), "{name}");
    }
}

/// A random season with rooms, calls of their own, lapsed vettings, parents among the chaperones and dancers too.
fn random_rooms(seed: u64) -> Book {
    let mut dice = Dice::new(seed, "rooms");
    let mut book = set(&random_season(seed), "ready numbers ahead", &dice.below(5).to_string());
    let rooms = ["Net Store", "Sail Loft", "Tar Shed"];
    let quick = dice.below(4);
    for (at, name) in rooms.iter().enumerate() {
        let mut row = Row { number: at as u32 + 2, ..Row::default() };
        row.set("place", "Corn Loft");
        row.set("name", *name);
        row.set("quick change", if at == quick { "yes" } else { "" });
        book.sheet_mut("rooms").rows.push(row);
    }
    for row in &mut book.sheet_mut("running order").rows {
        if row.text("number") != "interval" && dice.below(3) == 0 {
            row.set("call", format!("18:{:02}", dice.below(60)));
        } else if row.text("number") == "interval" && dice.below(3) == 0 {
            row.set("minutes", dice.below(4).to_string());
        }
    }
    for row in &mut book.sheet_mut("duties").rows {
        row.set("room", *rooms.get(dice.below(5)).unwrap_or(&""));
    }
    let children = book.rows("children").len();
    let mut renamed = BTreeMap::new();
    for row in &mut book.sheet_mut("chaperones").rows {
        if dice.below(4) == 0 {
            row.set("vetted until", if dice.below(2) == 0 { "2027-03-26" } else { "2027-03-27" });
        }
        if dice.below(2) == 0 {
            row.set("mobile", format!("07700 9000{:02}", dice.below(children)));
        }
        if dice.below(4) == 0 {
            let name = format!("Ada{} Reed", char::from(b'A' + dice.below(children) as u8));
            if !renamed.values().any(|other| *other == name) {
                renamed.insert(row.text("name").to_owned(), name.clone());
                row.set("name", name);
            }
        }
    }
    for helper in 0..2 {
        let name = format!("Zoe{helper} Shaw");
        let mut row = Row { number: 20, ..Row::default() };
        row.set("name", name.clone());
        row.set("mobile", format!("07700 9000{:02}", dice.below(children)));
        book.sheet_mut("chaperones").rows.push(row);
        for _ in 0..2 {
            let mut row = Row { number: 90, ..Row::default() };
            row.set("chaperone", name.clone());
            row.set("event", "Show");
            row.set("task", format!("help {}", dice.below(100)));
            row.set("room", *rooms.get(dice.below(4)).unwrap_or(&""));
            book.sheet_mut("duties").rows.push(row);
        }
    }
    for row in &mut book.sheet_mut("duties").rows {
        if let Some(name) = renamed.get(row.text("chaperone")) {
            row.set("chaperone", name.clone());
        }
    }
    book
}

/// One number as the twin counts it: seconds from curtain up.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Slow {
    number: u32,
    nth: usize,
    act: u32,
    ready: i64,
    on: i64,
    off: i64,
}

fn slow_order(season: &Season) -> Vec<Slow> {
    let (mut clock, mut act) = (0_i64, 0);
    let mut order: Vec<Slow> = Vec::new();
    for slot in &season.events[0].order {
        match slot {
            Slot::Interval(minutes) => {
                clock += i64::from(*minutes) * 60;
                act += 1;
            }
            Slot::Number { number, .. } => {
                let dance = &season.numbers[number.at()];
                let off = clock + i64::from(dance.seconds);
                order.push(Slow { number: number.0, nth: order.len(), act, ready: 0, on: clock, off });
                clock = off + i64::from(dance.changeover_seconds);
            }
        }
    }
    let ahead = season.settings.ready_numbers as usize;
    for at in 0..order.len() {
        let of_act: Vec<Slow> = order.iter().filter(|n| n.act == order[at].act).copied().collect();
        let nth = of_act.iter().position(|n| n.number == order[at].number).unwrap();
        order[at].ready = match (ahead, nth >= ahead) {
            (0, _) => order[at].on,
            (_, true) => of_act[nth - ahead].on,
            (_, false) => of_act[0].on - 300,
        };
    }
    order
}

struct Twin<'a> {
    season: &'a Season,
    order: Vec<Slow>,
}

impl Twin<'_> {
    fn numbers_of(&self, child: usize) -> Vec<Slow> {
        let castings = &self.season.children[child].castings;
        self.order.iter().filter(|n| castings.iter().any(|c| c.number.0 == n.number)).copied().collect()
    }

    fn room_of(&self, number: u32) -> Option<RoomId> {
        if self.season.numbers[number as usize].own_chaperone { None } else { self.written_beside(number) }
    }

    fn written_beside(&self, number: u32) -> Option<RoomId> {
        self.season.duties.iter().filter(|d| d.number.is_some_and(|n| n.0 == number)).find_map(|d| d.room)
    }

    fn call(&self, child: usize) -> i64 {
        let event = &self.season.events[0];
        let mine = self.numbers_of(child);
        let calls = event.order.iter().filter_map(|slot| match slot {
            Slot::Number { number, call, .. } if mine.iter().any(|n| n.number == number.0) => {
                Some(call.unwrap_or(event.call))
            }
            _ => None,
        });
        // Every event of the twin has curtain up at 19:00.
        calls.map(|call| (i64::from(call.hour()) - 19) * 3600 + i64::from(call.minute()) * 60).min().unwrap()
    }

    fn release(&self) -> i64 {
        let last = self.order.last().unwrap().off;
        (0..).map(|step| step * 300).find(|at| *at >= last).unwrap()
    }

    fn quick_change(&self) -> Option<RoomId> {
        self.season.rooms.iter().position(|room| room.quick_change).map(|at| RoomId(at as u32))
    }

    fn easy(&self, from: &Slow, into: &Slow) -> bool {
        let settings = &self.season.settings;
        let left = (into.on - from.off - i64::from(settings.walks_seconds)).max(0);
        let between = into.nth - from.nth - 1;
        from.act != into.act
            || self.season.numbers[into.number as usize].worn
            || left >= i64::from(settings.change_seconds) && between >= settings.quick_change_numbers as usize
    }

    /// Where a child is at a moment; none before its call and from its release on.
    fn place(&self, child: usize, now: i64) -> Option<Whereabouts> {
        if now < self.call(child) || now >= self.release() {
            return None;
        }
        let mine = self.numbers_of(child);
        let next = mine.iter().position(|n| n.off > now);
        let belongs = next.unwrap_or(mine.len() - 1);
        let written = (0..=belongs).rev().find_map(|at| self.room_of(mine[at].number));
        let written = written
            .or_else(|| mine.iter().find_map(|number| self.room_of(number.number)))
            .or_else(|| mine.iter().find_map(|number| self.written_beside(number.number)));
        let waits = written.map_or(Whereabouts::Unwritten, Whereabouts::Room);
        let Some(next) = next else { return Some(waits) };
        if let Some(booth) = self.quick_change()
            && next > 0
            && !self.easy(&mine[next - 1], &mine[next])
        {
            return Some(if now < mine[next].on { Whereabouts::Room(booth) } else { Whereabouts::Away });
        }
        Some(if now < mine[next].ready { waits } else { Whereabouts::Away })
    }

    /// In which room a chaperone counts at a moment.
    fn stands(&self, who: u32, now: i64) -> Option<RoomId> {
        let season = self.season;
        let chaperone = &season.chaperones[who as usize];
        let lapsed = chaperone.vetted_until.is_some_and(|until| until < season.events[0].date);
        if !chaperone.adult || lapsed {
            return None;
        }
        for (at, child) in season.children.iter().enumerate() {
            let full = format!("{} {}", child.given, child.family);
            let herself = full.to_lowercase() == chaperone.name.to_lowercase();
            let own = season.cares.iter().any(|care| {
                care.who.child().is_some_and(|child| child.at() == at)
                    && chaperone.contact.phone.is_some()
                    && season.guardians[care.guardian.at()].contact.phone == chaperone.contact.phone
            });
            for number in self.numbers_of(at) {
                let from = if herself { number.ready } else { number.on };
                if (herself || own) && from <= now && now < number.off {
                    return None;
                }
            }
        }
        let duties: Vec<_> = season.duties.iter().filter(|d| d.chaperone == ChaperoneId(who)).collect();
        let hers: Vec<Slow> = self
            .order
            .iter()
            .filter(|n| duties.iter().any(|d| d.number.is_some_and(|held| held.0 == n.number)))
            .copied()
            .collect();
        if hers.is_empty() {
            return duties.iter().find_map(|d| d.room);
        }
        if hers.iter().any(|n| n.ready <= now && now < n.off) {
            return None;
        }
        let next = hers.iter().position(|n| n.off > now).unwrap_or(hers.len() - 1);
        (0..=next).rev().find_map(|at| {
            let of_number = duties.iter().filter(|d| d.number.is_some_and(|n| n.0 == hers[at].number));
            of_number.clone().find_map(|d| d.room).or_else(|| self.room_of(hers[at].number))
        })
    }
}

#[test]
fn a_slow_twin_agrees_on_every_child_and_room_at_every_minute() {
    let (mut counted, mut hurried, mut alone, mut unwritten, mut absent) = (0, 0, 0, 0, 0);
    for seed in 0..SEASONS {
        let board = board(&random_rooms(seed));
        let season = &board.season;
        let day = Day::of(season, EventId(0));
        let rooms = day.rooms(&board.programme);
        let twin = Twin { season, order: slow_order(season) };
        let mut fast: BTreeMap<(RoomId, i64), (usize, usize, Option<u8>)> = BTreeMap::new();
        for heads in &rooms.heads {
            for minute in heads.from..heads.until {
                let told = fast.insert((heads.room, minute), (heads.children, heads.adults, heads.youngest));
                assert_eq!(told, None, "seed {seed}");
            }
        }
        let mut slow = BTreeMap::new();
        for minute in -60..=twin.release() / 60 + 1 {
            let now = minute * 60;
            let places: Vec<_> = (0..season.children.len()).map(|child| twin.place(child, now)).collect();
            for (child, place) in places.iter().enumerate() {
                let found: Vec<Whereabouts> = rooms
                    .stretches
                    .iter()
                    .filter(|s| s.child.at() == child && s.from <= now && now < s.until)
                    .map(|s| s.place)
                    .collect();
                assert_eq!(found, place.iter().copied().collect::<Vec<_>>(), "seed {seed} {child} {minute}");
                unwritten += usize::from(*place == Some(Whereabouts::Unwritten));
            }
            for room in (0..3).map(RoomId) {
                let in_it: Vec<usize> =
                    (0..places.len()).filter(|at| places[*at] == Some(Whereabouts::Room(room))).collect();
                if in_it.is_empty() {
                    continue;
                }
                let adults =
                    (0..season.chaperones.len() as u32).filter(|who| twin.stands(*who, now) == Some(room));
                let ages = in_it.iter().filter_map(|at| season.children[*at].ages.map(|ages| ages.0));
                let told = (in_it.len(), adults.count(), ages.min());
                alone += usize::from(told.1 == 0);
                hurried += usize::from(twin.quick_change() == Some(room));
                slow.insert((room, minute), told);
            }
            absent +=
                (0..season.chaperones.len() as u32).filter(|who| twin.stands(*who, now).is_none()).count();
        }
        assert_eq!(fast, slow, "seed {seed}");
        counted += slow.len();
    }
    println!(
        "{counted} room minutes, {hurried} in quick-change rooms, {alone} without an adult, {unwritten} unwritten, {absent} adults away"
    );
    assert!(counted > 10_000 && hurried > 500 && alone > 500 && unwritten > 500 && absent > 1_000);
}

#[test]
fn heads_of_a_room_are_whole_and_in_order() {
    for seed in 0..20 {
        let board = board(&random_rooms(seed));
        let heads: Vec<Heads> = rooms(&board).heads;
        assert!(heads.iter().all(|now| now.children > 0 && now.from < now.until));
        let ordered = heads.windows(2).all(|pair| {
            (pair[0].room, pair[0].until) <= (pair[1].room, pair[1].from) || pair[0].room < pair[1].room
        });
        assert!(ordered, "seed {seed}");
    }
}
