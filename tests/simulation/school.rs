//! A season of twelve families with the awkward cases in it, and what may change in its course.

use crate::common::{self, at, set, with};
use allheard::demo::dice::Dice;
use allheard::domain::book::{Book, Row};
use jiff::{SignedDuration, Timestamp};

/// Families of a small season.
const FAMILIES: usize = 12;
/// When a small season's simulation begins.
pub const BEGINS: &str = "2027-03-13T09:00:00Z";
/// When everything of it is long over.
pub const ENDS: &str = "2027-03-31T12:00:00Z";
/// Hours from the beginning within which the season changes.
const CHANGES_WITHIN_HOURS: i64 = 15 * 24;

const FIXED: &str = "
# season
setting | value
version | 1
name | The Salt Lantern
school | Tidewell Dance
zone | Europe/London
country | GB
telephone | 01632 960200
merge minutes | 60
chaperone digest | 0 9,18 * * *
coordinator digest | daily at 18:00
# places
ref | name | door | collect at | sign-in minutes
P001 | Corn Loft | side door | yard gate | 5
P002 | Pump Room | glass door | | 5
# ways
place | from | walk minutes
Corn Loft | Brewery car park | 12-18
Pump Room | Bridge Street | 4
# events
ref | name | kind | place | date | call | starts | ends | dismissal | cast | numbers | arrive ready | bring | turn-in
E001 | Studio run | rehearsal | Pump Room | 2027-03-21 | 13:45 | 14:00 | 16:00 | after own last number | | Kelp; Foghorn; Finale | practice clothes | water | no
E002 | Dress | dress rehearsal | Corn Loft | 2027-03-25 | 17:00 | 18:00 | | after the last number | | | costume on | water | yes
E003 | Saturday show | show | Corn Loft | 2027-03-27 | 18:00 | 19:00 | 21:30 | after the last number | | | costume on | water | no
E004 | Sunday show | show | Corn Loft | 2027-03-28 | 13:20 | 14:30 | | after the last number | | | costume on | water | no
# numbers
ref | name | length | changeover
N001 | Kelp | 2:05 | 0:20
N002 | Foghorn | 3:00 | 0:20
N003 | Gulls | 2:30 | 0:20
N004 | Ropewalk | 2:10 | 0:45
N005 | Finale | 4:00 | 0:20
# running order
event | place | number | call
Dress | 1 | Kelp |
Dress | 2 | Foghorn |
Dress | 3 | interval |
Dress | 4 | Gulls | 17:45
Dress | 5 | Ropewalk | 17:45
Dress | 6 | Finale |
Saturday show | 1 | Kelp |
Saturday show | 2 | Foghorn |
Saturday show | 3 | interval |
Saturday show | 4 | Gulls |
Saturday show | 5 | Ropewalk |
Saturday show | 6 | Finale |
Sunday show | 1 | Kelp |
Sunday show | 2 | Gulls |
Sunday show | 3 | Finale |
# chaperones
ref | name | mobile | texts
V001 | Odile Marsh | 07700 900900 | yes
# duties
chaperone | event | number | signs in | signs out
Odile Marsh | all | Kelp | yes | yes
# house rules
ref | name | event | language | text | acknowledge
R001 | Stay with the chaperone | | en | Children stay with the chaperone. | yes
R001 | Stay with the chaperone | | es | Los niños se quedan con la persona a cargo. | yes
R002 | Closed rehearsal | Dress | en | The rehearsal is closed. | yes
# notices
ref | name | about | to | counted from | days before | at | minutes before | by | answer owed | wording | other channel after | other guardian after
T001 | Rules | season | everyone | first show | 12 | 18:00 | | mail | yes | rules
T002 | Rules again | season | not heard from | first show | 9 | 18:00 | | text | yes | reminder
T003 | Studio sheet | rehearsal | everyone | call | 4 | 18:00 | | mail | yes | call-sheet
T004 | Dress sheet | dress rehearsal | everyone | first show | 9 | 10:00 | | mail and text | yes | call-sheet
T005 | Show sheets | show | everyone | first show | 9 | 10:30 | | mail and text | yes | call-sheet
T006 | Dress again | dress rehearsal | not heard from | call | 3 | 18:00 | | text | yes | reminder
T007 | Costumes | dress rehearsal | turn-in | call | 2 | 18:00 | | text | yes | turn-in
T008 | Shows again | show | not heard from | call | 2 | 17:00 | | text | yes | reminder
T009 | Dress eve | dress rehearsal | everyone | call | 1 | 17:00 | | text | no | eve
T010 | Show night before | show | everyone | curtain up | | | 1320 | text | no | eve
T011 | On the day | show | everyone | park by | | | 120 | text | no | eve
T014 | Studio once more | rehearsal | one guardian | call | 3 | 12:00 | | mail | yes | reminder | 20 | 30
T012 | First contact | show | everyone | first show | 10 | 10:00 | | mail | no | introduction
T013 | First contact again | show | everyone | first show | 4 | 10:00 | | mail | no | introduction
";

const GIVEN: [&str; 14] = [
    "Ada", "Bruno", "Chidi", "Dafne", "Emre", "Farah", "Goran", "Hana", "Iria", "Jomo", "Kaia", "Luca",
    "Mina", "Nils",
];
const NUMBERS: [&str; 4] = ["Kelp", "Foghorn", "Gulls", "Ropewalk"];

/// The workbook of a seed.
pub fn book(seed: u64) -> Book {
    let mut dice = Dice::new(seed, "school");
    let mut book = common::book(FIXED);
    let mut children: Vec<Row> = Vec::new();
    for family in 0..FAMILIES {
        let siblings = if family % 5 == 0 { 2 } else { 1 };
        for _ in 0..siblings {
            let at = children.len();
            let mut row = Row { number: at as u32 + 2, ..Row::default() };
            row.set("ref", format!("C{:03}", at + 1));
            row.set("given name", GIVEN[at % GIVEN.len()]);
            row.set("family name", format!("Wharf{at}"));
            let mut numbers: Vec<&str> = NUMBERS.into_iter().filter(|_| dice.chance(0.5)).collect();
            numbers.push("Finale");
            row.set("numbers", numbers.join("; "));
            guardians(&mut row, family, at);
            children.push(row);
        }
    }
    book.sheet_mut("children").rows = children;
    book
}

/// The adults of a family; families 1 to 6 are the awkward ones.
fn guardians(row: &mut Row, family: usize, child: usize) {
    let mut adult =
        |nth: usize, id: usize, household: &str, phone: Option<usize>, mail: bool, texts: &str| {
            let mut set = |part: &str, value: String| row.set(&format!("guardian {nth} {part}"), value);
            set("ref", format!("G{id:03}"));
            set("name", format!("Adult Wharf{id}"));
            set("household", household.to_owned());
            set("brings", if nth == 1 { "yes" } else { "no" }.to_owned());
            set("collects", if nth == 1 { "no" } else { "yes" }.to_owned());
            set("texts", texts.to_owned());
            set("language", if id % 4 == 3 { "es" } else { "" }.to_owned());
            set("agreed", "form, January".to_owned());
            if let Some(phone) = phone {
                set("mobile", format!("07700 900{phone:03}"));
            }
            if mail {
                set("e-mail", format!("g{id}@example.com"));
                set("mails", "yes".to_owned());
            }
        };
    let id = family * 10 + 1;
    match family {
        // Two households.
        1 => {
            adult(1, id, "a", Some(id), true, "yes");
            adult(2, id + 1, "b", Some(id + 1), true, "yes");
        }
        // One phone for both.
        2 => {
            adult(1, id, "", Some(id), true, "yes");
            adult(2, id + 1, "", Some(id), false, "yes");
        }
        // Never asked whether texts are welcome.
        3 => adult(1, id, "", Some(id), true, ""),
        // No mail at all.
        4 => adult(1, id, "", Some(id), false, "yes"),
        // No way to reach.
        6 => adult(1, id, "", None, false, "no"),
        // A mother whose children live in two households of hers.
        5 => {
            adult(1, id, if child.is_multiple_of(2) { "x" } else { "y" }, Some(id), true, "yes");
            adult(
                2,
                id + 1 + child,
                if child.is_multiple_of(2) { "x" } else { "y" },
                Some(id + 1 + child % 7),
                true,
                "yes",
            );
        }
        _ => {
            adult(1, id, "", Some(id), true, "yes");
            if family.is_multiple_of(2) {
                adult(2, id + 1, "", Some(id + 1), true, "yes");
            }
        }
    }
}

/// Two or three changes of a season, each a whole workbook in force from an instant on.
pub fn changes(seed: u64, first: &Book) -> Vec<(Timestamp, Book)> {
    let mut dice = Dice::new(seed, "changes");
    let mut hours: Vec<i64> =
        (0..2 + dice.below(2)).map(|_| dice.below(CHANGES_WITHIN_HOURS as usize * 60) as i64).collect();
    hours.sort_unstable();
    let mut now = first.clone();
    let mut before = first.clone();
    hours
        .into_iter()
        .map(|minutes| {
            let next = if dice.chance(0.25) { before.clone() } else { change(&mut dice, &now) };
            before = std::mem::replace(&mut now, next);
            (at(BEGINS) + SignedDuration::from_mins(minutes), now.clone())
        })
        .collect()
}

fn change(dice: &mut Dice, book: &Book) -> Book {
    match dice.below(9) {
        0 => with(book, "events", "E002", "call", "16:30"),
        1 => with(book, "events", "E004", "cancelled", "yes"),
        2 => with(book, "events", "E003", "bring", "water, a warm layer"),
        3 => with(book, "children", "C001", "numbers", "Finale"),
        4 => with(book, "children", "C009", "g1 mobile", "07700 900777"),
        // A day later: what was due on the evening before is not due yet.
        5 => {
            let later = with(book, "events", "E004", "date", "2027-03-29");
            with(&later, "events", "E003", "date", "2027-03-28")
        }
        6 => with(book, "places", "P001", "door", "river door"),
        7 => {
            let mut book = book.clone();
            book.sheet_mut("children").rows.retain(|row| row.text("ref") != "C004");
            book
        }
        _ => {
            let mut book = book.clone();
            set(&mut book, "running order", "Gulls", "call", "17:15");
            book
        }
    }
}
