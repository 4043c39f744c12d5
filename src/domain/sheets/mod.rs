//! The sheets of a day on paper, as plain tables: what stands on each is decided here, how it looks elsewhere.
//!
//! Each role gets the least it needs: a given name and an initial, and names of adults only where a child is signed out.
//! Nothing here can print a pick-up before dismissal: the one time a sheet shows for it is the itinerary's.

mod clipboard;
mod families;
mod labels;
mod rooms;
mod staff;
mod waiting;

pub use labels::labels;

use super::board::Board;
use super::book::Book;
use super::day::rooms::Rooms;
use super::day::turns::Turn;
use super::day::{Day, Part, Timed};
use super::digest;
use super::season::{ChaperoneId, ChildId, EventId, Person, RoomId, Season, Side};
use jiff::civil::DateTime;
use std::collections::HashMap;

/// What every sheet says at its foot.
pub const CAUTION: &str = "A planning aid. It is no emergency service, and settles no question of custody, medicine or \
release: ask the school's named lead. Local law and the venue's own rules come first.";

/// What a sheet is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A chaperone's own children.
    Clipboard,
    /// The quick-change room.
    QuickChanges,
    /// The children's door.
    Door,
    /// The running order, without any child's name.
    Wall,
    /// The roll at the assembly point.
    Assembly,
    /// Who is photographed when.
    Photographs,
    /// The chaperones' own roll.
    Staff,
    /// Where each number's children wait, and how many heads each room has; without any child's name.
    Rooms,
    /// Tags for costume bags.
    Tags,
    /// Who has not acknowledged, with a line to sign.
    Slips,
}

impl Kind {
    /// The word in file names.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Clipboard => "clipboard",
            Kind::QuickChanges => "quick-changes",
            Kind::Door => "door",
            Kind::Wall => "wall",
            Kind::Assembly => "assembly",
            Kind::Photographs => "photographs",
            Kind::Staff => "chaperones",
            Kind::Rooms => "rooms",
            Kind::Tags => "tags",
            Kind::Slips => "slips",
        }
    }
}

/// One table of a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Table {
    /// Above it.
    pub heading: String,
    /// Below the heading, small; may be empty.
    pub note: String,
    /// Heads of its columns.
    pub columns: Vec<&'static str>,
    /// Its rows, as many cells each as there are columns. An empty cell is room to write.
    pub rows: Vec<Vec<String>>,
    /// Kept on one page.
    pub together: bool,
}

/// One sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// What it is for.
    pub kind: Kind,
    /// What tells it from others of its kind, for file names: a lasting name, or nothing.
    pub whose: String,
    /// Its title.
    pub title: String,
    /// The title without the event.
    pub short: String,
    /// Lines below the title.
    pub under: Vec<String>,
    /// Its tables.
    pub tables: Vec<Table>,
}

impl Sheet {
    /// What files and addresses call it.
    pub fn name(&self) -> String {
        let dash = if self.whose.is_empty() { "" } else { "-" };
        format!("{}{dash}{}", self.kind.word(), self.whose)
    }
}

/// How the moment of printing is written.
pub const PRINTED: &str = "%-d %B %Y, %H:%M";
/// Characters of a workbook's digest that stand on a sheet.
const VERSION_CHARACTERS: usize = 8;

/// The short name of a workbook's content: the same rows, the same name.
pub fn version(book: &Book) -> String {
    let mut form = String::new();
    for sheet in &book.sheets {
        for row in &sheet.rows {
            form.push_str(&format!("{}\u{1f}{:?}\u{1e}", sheet.name, row.cells));
        }
    }
    digest::hex(&digest::sha256(form.as_bytes())).chars().take(VERSION_CHARACTERS).collect()
}

/// The word of an answer after which nobody needs to sign.
pub const HEARD: &str = "heard";
/// The same of somebody who was not asked yet, and so is not silent.
pub const NOT_ASKED: &str = "not asked";
/// The same, for a child who will not be there.
pub const CANT_COME: &str = "can't come";

/// How the answer for a child, or of a chaperone, stands at an event, in a word; none where that is not known.
pub type Standings<'a> = &'a dyn Fn(Person) -> Option<&'static str>;

/// Every sheet of an event: one of each kind that has something to say, a clipboard for each chaperone with children.
pub fn of_event(board: &Board, event: EventId, standings: Standings<'_>) -> Vec<Sheet> {
    let day = Day::of(&board.season, event);
    let paper = Paper::of(board, &day, standings);
    let mut sheets = vec![
        staff::roll(&paper),
        waiting::rooms(&paper),
        families::door(&paper),
        rooms::quick_changes(&paper),
        rooms::wall(&paper),
        rooms::assembly(&paper),
        rooms::photographs(&paper),
        families::tags(&paper),
        families::slips(&paper),
    ];
    let chaperones = (0_u32..).zip(&board.season.chaperones).map(|(at, _)| ChaperoneId(at));
    sheets.extend(chaperones.filter_map(|chaperone| clipboard::sheet(&paper, chaperone)));
    sheets.retain(|sheet| sheet.tables.iter().any(|table| !table.rows.is_empty()));
    sheets
}

/// What sheets are made from.
struct Paper<'a> {
    board: &'a Board,
    day: &'a Day<'a>,
    rooms: Rooms,
    standings: Standings<'a>,
    labels: HashMap<ChildId, String>,
    /// By position.
    numbers: Vec<Numbered>,
    turns: Turns<'a>,
}

/// Turnarounds by child, in running order.
struct Turns<'a> {
    all: Vec<&'a Turn>,
    /// Where those of each child begin in `all`, and one place more.
    begin: Vec<usize>,
}

impl<'a> Turns<'a> {
    fn of(day: &'a Day<'a>) -> Turns<'a> {
        let mut all: Vec<&Turn> = day.turns.iter().collect();
        all.sort_by_key(|turn| (turn.child, turn.from));
        let mut begin = vec![0; day.season.children.len() + 1];
        for turn in &all {
            begin[turn.child.at() + 1] += 1;
        }
        for child in 1..begin.len() {
            begin[child] += begin[child - 1];
        }
        Turns { all, begin }
    }

    fn of_child(&self, child: ChildId) -> &[&'a Turn] {
        &self.all[self.begin[child.at()]..self.begin[child.at() + 1]]
    }
}

/// What most sheets say of a number.
struct Numbered {
    /// Its name, with its place in a running order.
    name: String,
    /// When it is on.
    on: String,
    /// Its chaperones.
    with: String,
    /// Who dances, as they line up.
    line_up: Vec<Part>,
}

impl<'a> Paper<'a> {
    fn of(board: &'a Board, day: &'a Day<'a>, standings: Standings<'a>) -> Paper<'a> {
        let season = &board.season;
        let numbered = |((at, number), line_up): ((usize, &Timed), Vec<Part>)| {
            let name = &season.numbers[number.number.at()].name;
            Numbered {
                name: if day.event().ordered { format!("{} {name}", at + 1) } else { name.clone() },
                on: minute(day.clock(number.starts)),
                with: names(season, day.chaperones(number.number)),
                line_up,
            }
        };
        let numbers = day.numbers.iter().enumerate().zip(day.line_ups()).map(numbered).collect();
        let turns = Turns::of(day);
        let (rooms, labels) = (day.rooms(&board.programme), labels(season, &day.children()));
        Paper { board, day, rooms, standings, labels, numbers, turns }
    }

    fn sheet(&self, kind: Kind, title: &str, tables: Vec<Table>) -> Sheet {
        let event = self.day.event();
        let place = &self.board.season.places[event.place.at()];
        let under = vec![format!(
            "{}, {} at {} · call {} · {} {}",
            self.board.season.name,
            event.date.strftime("%A %-d %B %Y"),
            place.name,
            event.call.strftime("%H:%M"),
            if event.ordered { "curtain up" } else { "begins" },
            event.starts.strftime("%H:%M")
        )];
        Sheet {
            kind,
            whose: String::new(),
            title: format!("{title}: {}", event.name),
            short: title.to_owned(),
            under,
            tables,
        }
    }

    /// A child as staff sheets name it: given name and initial, or as much of the family name as tells it from others.
    fn child(&self, child: ChildId) -> &str {
        self.labels.get(&child).map_or("", String::as_str)
    }

    /// A number by position.
    fn number(&self, at: usize) -> &str {
        &self.numbers[at].name
    }

    /// The chaperones of a number by position.
    fn with(&self, at: usize) -> &str {
        &self.numbers[at].with
    }

    fn names(&self, chaperones: &[ChaperoneId]) -> String {
        names(&self.board.season, chaperones)
    }

    fn room(&self, room: RoomId) -> &str {
        &self.board.season.rooms[room.at()].name
    }

    fn at(&self, seconds: i64) -> String {
        minute(self.day.clock(seconds))
    }
}

fn names(season: &Season, chaperones: &[ChaperoneId]) -> String {
    if chaperones.is_empty() {
        return "nobody named".to_owned();
    }
    let names = chaperones.iter().map(|c| season.chaperones[c.at()].name.as_str());
    names.collect::<Vec<_>>().join(", ")
}

fn minute(at: DateTime) -> String {
    format!("{:02}:{:02}", at.hour(), at.minute())
}

/// Minutes and seconds.
fn length(seconds: i64) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

fn side(side: Option<Side>) -> &'static str {
    match side {
        Some(Side::Left) => "left",
        Some(Side::Right) => "right",
        None => "",
    }
}

/// A row of text cells.
macro_rules! row {
    ($($cell:expr),* $(,)?) => { vec![$(String::from($cell)),*] };
}
use row;
