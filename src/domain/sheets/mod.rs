//! The sheets of a day on paper, as plain tables: what stands on each is decided here, how it looks elsewhere.
//!
//! Each role gets the least it needs: a given name and an initial, and names of adults only where a child is signed out.
//! Nothing here can print a pick-up before dismissal: the one time a sheet shows for it is the itinerary's.

mod cell;
mod clipboard;
mod families;
mod labels;
mod rooms;
mod staff;
mod waiting;

pub use cell::PaperCell;
pub use labels::labels;

use super::board::Board;
use super::book::Book;
use super::day::rooms::Rooms;
use super::day::turns::{Ease, Turn};
use super::day::{Day, Part, Timed};
use super::hash;
use super::season::{ChaperoneId, ChildId, EventId, EventKind, Lead, Number, Person, RoomId, Season, Side};
use jiff::civil::DateTime;
use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// What every sheet says at its foot.
pub const CAUTION: &str = "A planning aid. It is no emergency service, and settles no question of custody, medicine or \
release: ask the school's named lead. Local law and the venue's own rules come first.";

/// What a sheet is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SheetKind {
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

impl SheetKind {
    /// The word in file names.
    pub fn word(self) -> &'static str {
        match self {
            SheetKind::Clipboard => "clipboard",
            SheetKind::QuickChanges => "quick-changes",
            SheetKind::Door => "door",
            SheetKind::Wall => "wall",
            SheetKind::Assembly => "assembly",
            SheetKind::Photographs => "photographs",
            SheetKind::Staff => "chaperones",
            SheetKind::Rooms => "rooms",
            SheetKind::Tags => "tags",
            SheetKind::Slips => "slips",
        }
    }
}

/// One table of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Above it.
    pub heading: String,
    /// Below the heading, small; may be empty.
    pub note: String,
    /// Heads of its columns.
    pub columns: &'static [&'static str],
    /// Row by row, as many as there are columns each.
    cells: Vec<PaperCell>,
    /// Kept on one page.
    pub together: bool,
}

impl Table {
    /// A table without a heading. An empty cell is room to write.
    pub fn of<const N: usize>(
        columns: &'static [&'static str; N],
        rows: impl IntoIterator<Item = [PaperCell; N]>,
    ) -> Table {
        let cells = rows.into_iter().flatten().collect();
        Table { heading: String::new(), note: String::new(), columns, cells, together: false }
    }

    fn headed(self, heading: impl Into<String>) -> Table {
        Table { heading: heading.into(), ..self }
    }

    fn noted(self, note: impl Into<String>) -> Table {
        Table { note: note.into(), ..self }
    }

    fn together(self) -> Table {
        Table { together: true, ..self }
    }

    /// Its rows.
    pub fn rows(&self) -> impl ExactSizeIterator<Item = &[PaperCell]> {
        self.cells.chunks(self.columns.len().max(1))
    }

    /// Whether it has no rows.
    pub fn is_empty(&self) -> bool {
        self.cells.is_empty()
    }
}

/// One sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PaperSheet {
    /// What it is for.
    pub kind: SheetKind,
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

impl PaperSheet {
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
    hash::hex(&hash::sha256(form.as_bytes())).chars().take(VERSION_CHARACTERS).collect()
}

/// The word of an answer after which nobody needs to sign.
pub const HEARD: &str = "heard";
/// The same of somebody who was not asked yet, and so is not silent.
pub const NOT_ASKED: &str = "not asked";
/// The same, for a child who will not be there.
pub const CANT_COME: &str = "can't come";

/// The same, once a person has confirmed it.
pub const NOT_COMING: &str = "not coming";

/// How the answer for a child, or of a chaperone, stands at an event, in a word; none where that is not known.
pub type Standings<'a> = &'a dyn Fn(Person) -> Option<&'static str>;

/// Nobody who is not coming.
static NOBODY_AWAY: BTreeMap<ChildId, String> = BTreeMap::new();

/// What is known of the people on a sheet besides the season.
#[derive(Clone, Copy)]
pub struct Marks<'a> {
    /// How each answer stands.
    pub standings: Standings<'a>,
    /// Children who are not coming this once, with who said so and when.
    pub away: &'a BTreeMap<ChildId, String>,
}

impl Marks<'static> {
    /// Nothing is known.
    pub fn none() -> Marks<'static> {
        Marks { standings: &|_| None, away: &NOBODY_AWAY }
    }
}

/// Every sheet of an event: one of each kind that has something to say, a clipboard for each chaperone with children. What
/// is the chaperones' alone has none.
pub fn of_event(board: &Board, event: EventId, marks: Marks<'_>) -> Vec<PaperSheet> {
    if !board.season.events[event.at()].for_families() {
        return Vec::new();
    }
    let absent = marks.away.keys().copied().collect();
    let day = Day::of(&board.season, event).without(&absent);
    let paper = Paper::of(board, &day, marks);
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
    sheets.retain(|sheet| sheet.tables.iter().any(|table| !table.is_empty()));
    sheets
}

/// Texts worked out so far.
type Known<K> = RefCell<HashMap<K, Arc<str>>>;

/// What sheets are made from.
struct Paper<'a> {
    board: &'a Board,
    day: &'a Day<'a>,
    rooms: Rooms,
    marks: Marks<'a>,
    /// By child; none for one who is not there.
    labels: Vec<Option<Arc<str>>>,
    nobody: Arc<str>,
    /// Everybody who is there, by label.
    children: Vec<ChildId>,
    /// By position.
    numbers: Vec<Numbered>,
    turns: Turns<'a>,
    /// Places in a line, in figures.
    lines: Vec<Arc<str>>,
    /// How children go to a number, by how easily, where they wait before and the number whose chaperones take them over
    /// (none for those who have them), as far as it was asked.
    into: Known<(usize, Ease, Option<RoomId>, Option<usize>)>,
    /// Names of chaperones.
    chaperones: Vec<Arc<str>>,
    /// Parts during which each chaperone has a child, by number and then as they line up.
    held: HashMap<ChaperoneId, Vec<Part>>,
    /// What a clock shows, as far as it was asked.
    minutes: Known<DateTime>,
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
    name: Arc<str>,
    /// When it is on.
    on: Arc<str>,
    /// Those who take its children over.
    with: Arc<str>,
    /// The pieces of its costume.
    pieces: Arc<str>,
    /// How a child leaves it, easily or not.
    from: [Arc<str>; 2],
    /// Who dances, as they line up.
    line_up: Vec<Part>,
}

impl<'a> Paper<'a> {
    fn of(board: &'a Board, day: &'a Day<'a>, marks: Marks<'a>) -> Paper<'a> {
        let season = &board.season;
        let numbered = |((at, number), line_up): ((usize, &Timed), Vec<Part>)| {
            let Number { name, pieces, .. } = &season.numbers[number.number.at()];
            let name = if day.event().ordered { format!("{} {name}", at + 1) } else { name.clone() };
            let with = names(season, day.chaperones(number.number));
            Numbered {
                on: minute(day.clock(number.starts)).into(),
                pieces: pieces.join(", ").into(),
                from: clipboard::from(&name).map(Arc::from),
                name: name.into(),
                with: with.into(),
                line_up,
            }
        };
        let numbers: Vec<Numbered> =
            day.numbers.iter().enumerate().zip(day.line_ups()).map(numbered).collect();
        let mut held: HashMap<ChaperoneId, Vec<Part>> = HashMap::new();
        for part in numbers.iter().flat_map(|number| &number.line_up) {
            for chaperone in day.with_whom(part) {
                held.entry(*chaperone).or_default().push(*part);
            }
        }
        let mut by_child: Vec<Option<Arc<str>>> = vec![None; season.children.len()];
        for (child, label) in labels(season, &day.children()) {
            by_child[child.at()] = Some(label.into());
        }
        let last = day.parts.iter().filter_map(|part| part.line).max().unwrap_or(0);
        let lines = (0..=last).map(|line| line.to_string().into()).collect();
        let mut children = day.children();
        children.sort_by(|a, b| by_child[a.at()].cmp(&by_child[b.at()]));
        Paper {
            board,
            day,
            rooms: day.rooms(&board.programme),
            marks,
            labels: by_child,
            nobody: "".into(),
            children,
            numbers,
            turns: Turns::of(day),
            lines,
            into: RefCell::default(),
            chaperones: season.chaperones.iter().map(|chaperone| chaperone.name.as_str().into()).collect(),
            held,
            minutes: RefCell::default(),
        }
    }

    fn sheet(&self, kind: SheetKind, title: &str, tables: Vec<Table>) -> PaperSheet {
        let event = self.day.event();
        let place = &self.board.season.places[event.place.at()];
        let under = vec![format!(
            "{}, {} at {} · call {} · {} {}",
            self.board.season.name,
            event.date.strftime("%A %-d %B %Y"),
            place.name,
            event.call.strftime("%H:%M"),
            if matches!(event.kind, EventKind::Dress | EventKind::Show) { "curtain up" } else { "begins" },
            event.starts.strftime("%H:%M")
        )];
        PaperSheet {
            kind,
            whose: String::new(),
            title: format!("{title}: {}", event.name),
            short: title.to_owned(),
            under,
            tables,
        }
    }

    /// A child as staff sheets name it: given name and initial, or as much of the family name as tells it from others.
    fn child(&self, child: ChildId) -> &Arc<str> {
        self.labels[child.at()].as_ref().unwrap_or(&self.nobody)
    }

    /// A number by position.
    fn number(&self, at: usize) -> &Arc<str> {
        &self.numbers[at].name
    }

    /// Those who take the children of a number over, by position.
    fn with(&self, at: usize) -> &Arc<str> {
        &self.numbers[at].with
    }

    /// Those who have a child until one of its parts is over.
    fn with_whom(&self, part: Option<&Part>) -> PaperCell {
        part.and_then(|part| part.with).map_or(PaperCell::Word(NOBODY), |at| PaperCell::from(self.with(at)))
    }

    /// A child's name, struck through where it is not coming.
    fn name(&self, child: ChildId) -> PaperCell {
        let name = Arc::clone(self.child(child));
        if self.day.absent.contains(&child) { PaperCell::Struck(name) } else { PaperCell::Shared(name) }
    }

    /// How the answer for a child stands, or who said that it is not coming.
    fn answer(&self, child: ChildId) -> PaperCell {
        match self.marks.away.get(&child) {
            Some(said) => PaperCell::Own(format!("NOT COMING: {said}")),
            None => PaperCell::Word((self.marks.standings)(child.into()).unwrap_or_default()),
        }
    }

    /// The named lead, as one would look for them.
    fn lead(&self) -> String {
        match &self.board.season.lead {
            Some(Lead { name, telephone }) if telephone.is_empty() => format!("the named lead, {name}"),
            Some(Lead { name, telephone }) => format!("the named lead, {name}, {telephone}"),
            None => "the school's named lead".to_owned(),
        }
    }

    /// What to do about a child who is expected and does not come (common practice, no source).
    fn no_show(&self) -> String {
        "Not here five minutes after the call: ring the guardians in turn, then tell whoever runs the stage. Nothing waits \
         for one child."
            .to_owned()
    }

    /// What to do where anybody else comes to collect.
    fn stranger(&self) -> String {
        format!(
            "An adult who is not named here, or \"{FETCH_LEAD}\": keep the child and fetch {}.",
            self.lead()
        )
    }

    fn names(&self, chaperones: &[ChaperoneId]) -> String {
        names(&self.board.season, chaperones)
    }

    fn room(&self, room: RoomId) -> &str {
        &self.board.season.rooms[room.at()].name
    }

    /// What a clock shows at a moment, for what many sheets or lines say.
    fn minute(&self, at: DateTime) -> Arc<str> {
        let mut known = self.minutes.borrow_mut();
        Arc::clone(known.entry(at).or_insert_with(|| minute(at).into()))
    }

    fn at(&self, seconds: i64) -> String {
        minute(self.day.clock(seconds))
    }
}

/// Where no chaperone is written.
const NOBODY: &str = "nobody named";
/// Stands for the adults who collect a child whom only the named lead may hand out.
const FETCH_LEAD: &str = "FETCH THE LEAD FIRST";

fn names(season: &Season, chaperones: &[ChaperoneId]) -> String {
    if chaperones.is_empty() {
        return NOBODY.to_owned();
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
    ($($cell:expr),* $(,)?) => { [$(PaperCell::from($cell)),*] };
}
use row;
