//! From rows of text to a season: every problem at once, and a season only when none of them is an error.

pub mod causes;
mod checks;
mod crowding;
mod days;
mod desk;
mod duties;
mod hours;
mod households;
mod introductions;
mod people;
mod places;
mod programme;
mod repeats;
mod rooms;
mod rules;
mod settings;
pub mod translations;

use super::book::{Book, Cell, LAYOUT_VERSION, MERGED, Problem, Row, UNSAVED};
use super::itinerary::Programme;
use super::layout::{self, Column, ColumnKind, Layout, SHEETS};
use super::phone::{self, PhoneFault, Phones};
use super::refs;
use super::season::Season;
use super::typed::{self, shown};
use super::words::{did_you_mean, key};
use days::{Days, Rows};
use desk::{Desk, Spot};
use people::Known;
use programme::Programme as Lines;
pub use repeats::OCCURRENCES_MAX;
use repeats::Repeat;
use settings::Head;
use std::sync::Arc;

/// Characters of one cell at most; longer text is not a name, a rule or a note but a document.
pub const CELL_MAX_CHARS: usize = 4_000;

/// Sheets that say who people are. They are most of a workbook, and most changes are of something else.
const OF_PEOPLE: [&str; 2] = ["children", "chaperones"];
/// Sheets that reading those depends on.
const BESIDE_PEOPLE: [&str; 2] = ["season", "numbers"];

/// A workbook as read.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The season; there only when no problem is an error.
    pub season: Option<Season>,
    /// Its itineraries.
    pub programme: Programme,
    /// Problems in the order of the sheets.
    pub problems: Vec<Problem>,
    /// What was found out, for a workbook that says much the same.
    pub kept: Kept,
}

/// What one workbook says that another may say as well.
#[derive(Debug, Clone, Default)]
pub struct Kept {
    people: Option<Arc<(Known, desk::Found)>>,
    days: Option<Arc<Days>>,
}

impl Kept {
    /// Whether nothing about people was read anew between the two.
    pub fn is_same(&self, other: &Kept) -> bool {
        matches!((&self.people, &other.people), (Some(one), Some(other)) if Arc::ptr_eq(one, other))
    }
}

/// A workbook that was read before.
#[derive(Debug, Clone, Copy)]
pub struct Earlier<'a> {
    /// What it said.
    pub book: &'a Book,
    /// What was found out.
    pub kept: &'a Kept,
    /// The season it made, with its itineraries.
    pub season: Option<(&'a Season, &'a Programme)>,
}

/// Reads a whole workbook. Problems come back in the order of the sheets; the season is there only when no problem is an error.
pub fn season(book: &Book) -> (Option<Season>, Vec<Problem>) {
    let Reading { season, problems, .. } = read(book, None);
    (season, problems)
}

/// As [`season`]. Where a workbook read before says the same about people, or about an event and all that belongs to it,
/// they are not looked at again.
pub fn read(book: &Book, before: Option<Earlier<'_>>) -> Reading {
    let mut desk = Desk::default();
    let version = layout::setting_text(book, "version");
    if typed::count(version).ok() != Some(LAYOUT_VERSION) {
        let reason = format!(
            "the workbook says it has layout version '{}', and this program reads version {LAYOUT_VERSION}",
            shown(version)
        );
        desk.error(
            Spot::sheet("season"),
            reason,
            "Use the program that wrote the workbook, or copy its lines into a blank one.",
        );
        let (programme, kept) = (Programme::default(), Kept::default());
        return Reading { season: None, programme, problems: desk.finish(), kept };
    }
    let same = before.filter(|before| same_people(before.book, book));
    let known = same.and_then(|before| before.kept.people.as_ref());
    let of_people = |sheet: &str| OF_PEOPLE.contains(&sheet);
    let mut own = Book::default();
    let copied = book.sheets.iter().filter(|sheet| known.is_none() || !of_people(&sheet.name));
    own.sheets.extend(copied.cloned());
    let mut phones = Phones::new(layout::setting_text(book, "country"));
    for question in refs::adopt_with(&mut own, None, &refs::Given::new(), &mut phones) {
        desk.error(
            Spot::named(&question.sheet, question.row, &question.column),
            question.reason,
            &question.cure,
        );
    }
    let mut about_people = Desk::default();
    for sheet in SHEETS {
        match (of_people(sheet.name), known) {
            (false, _) => sheet_kinds(&own, sheet, &mut phones, &mut desk),
            (true, None) => sheet_kinds(&own, sheet, &mut phones, &mut about_people),
            (true, Some(_)) => {}
        }
    }
    let repeats = repeats::spread(&mut own, &mut desk);
    let head = settings::read(&own, &mut desk);
    let lines = programme::read(&own, &head, &mut desk);
    let people = known.cloned().unwrap_or_else(|| {
        let known = people::known(&own, &head, &lines, &mut phones, &mut about_people);
        checks::of_people(&known, &mut about_people);
        Arc::new((known, about_people.found()))
    });
    desk.again(&people.1);
    let built = build(&own, &repeats, head, lines, people.0.clone(), &mut desk);
    let (season, programme, days) = match built {
        Some((season, rows)) => {
            let known = before.and_then(|before| Some((before.season?, before.kept.days.as_deref()?)));
            let (programme, days) = days::run(&season, rows, known, &mut desk);
            translations::missing(&season, &programme, &mut desk);
            (Some(season), programme, Some(Arc::new(days)))
        }
        None => (None, Programme::default(), None),
    };
    let season = season.filter(|_| !desk.has_errors());
    Reading { season, programme, problems: desk.finish(), kept: Kept { people: Some(people), days } }
}

/// Whether two workbooks say the same about people, each in the same row.
fn same_people(one: &Book, other: &Book) -> bool {
    OF_PEOPLE
        .iter()
        .chain(&BESIDE_PEOPLE)
        .all(|sheet| one.shares(other, sheet) || one.rows(sheet) == other.rows(sheet))
}

fn build(
    book: &Book,
    repeats: &[Repeat],
    head: Head,
    mut lines: Lines,
    known: Known,
    desk: &mut Desk,
) -> Option<(Season, Rows)> {
    places::finales(book, &mut lines.numbers, &known.who.children, desk);
    let people = people::with_duties(known, book, &lines, desk);
    let rules = rules::read(book, &head, &lines, desk);
    programme::told_of_classes(book, &mut lines, &rules.notices);
    checks::run(&head, &lines, &people, desk);
    checks::untold(&lines, &people, &rules.notices, desk);
    introductions::run(&lines, &people, &rules, desk);
    let series = lines.series(repeats);
    let rows = Rows {
        events: lines.event_rows,
        rooms: lines.room_rows,
        people: people.rows,
        duties: people.duty_rows,
    };
    let season = Season {
        reference: head.reference,
        name: head.name,
        school: head.school,
        short_name: head.short_name,
        zone_name: head.zone_name,
        zone: head.zone?,
        country: head.country,
        language: head.language,
        telephone: head.telephone,
        lead: head.lead,
        settings: head.settings,
        places: lines.places,
        series,
        rooms: lines.rooms,
        events: lines.events,
        numbers: lines.numbers,
        people: people.who,
        duties: people.duties,
        house_rules: rules.house_rules,
        phrases: translations::read(book, desk),
        notices: rules.notices,
    };
    Some((season, rows))
}

/// Whether each cell holds what its column is for; what the cells mean together is read later.
fn sheet_kinds(book: &Book, sheet: &'static Layout, phones: &mut Phones, desk: &mut Desk) {
    let rows = book.rows(sheet.name);
    if rows.is_empty() && sheet.required {
        let reason = format!(
            "the sheet '{}' is missing or has no lines, and there is no season without it",
            sheet.name
        );
        let cure = "Fill it in; a blank workbook with guidance shows how.";
        if sheet.name == "chaperones" {
            desk.warn(
                Spot::sheet(sheet.name),
                "no chaperones are listed, so nobody can be asked to ring families",
                cure,
            );
        } else {
            desk.error(Spot::sheet(sheet.name), reason, cure);
        }
    }
    let (mut noted, mut unlisted, mut voice_only) = (Vec::new(), Vec::new(), Vec::new());
    for row in rows {
        for column in sheet.columns {
            let spot = Spot::cell(sheet.name, row, column.name);
            match row.cells.get(column.name) {
                None if column.required => {
                    desk.error(
                        spot,
                        format!("'{}' is empty", column.name),
                        &format!("Fill it in: {}", column.help),
                    );
                }
                None => {}
                Some(Cell::Fault(fault)) => {
                    let (reason, cure) = match fault.as_str() {
                        UNSAVED => (
                            "the cell holds a formula, and its value was not saved".to_owned(),
                            "Open the workbook in a spreadsheet program and save it, or type the value itself.",
                        ),
                        MERGED => (
                            "the cell is merged with another, so only one of them holds the value".to_owned(),
                            "Unmerge the cells and write the value in each.",
                        ),
                        fault => (
                            format!("the cell holds the error {}", shown(fault)),
                            "Fix the formula, or type the value itself.",
                        ),
                    };
                    desk.error(spot, reason, cure);
                }
                Some(Cell::Text(text)) => match kind_fault(column, text, phones) {
                    Fit::Right => {}
                    Fit::Wrong(reason, cure) => desk.error(spot, reason, &cure),
                    Fit::Noted => noted.push((row, column)),
                    Fit::Unlisted => unlisted.push((row, column)),
                    Fit::VoiceOnly => voice_only.push((row, column)),
                },
            }
        }
    }
    summary(
        desk,
        sheet.name,
        &noted,
        "has words beside it, which are not dialled",
        "Check that the digits are the number; keep notes in a column of your own.",
    );
    summary(
        desk,
        sheet.name,
        &unlisted,
        "doesn't look like a working number",
        "Check the digits; messages are tried all the same.",
    );
    summary(
        desk,
        sheet.name,
        &voice_only,
        "is a land line or a service number: no texts go to it",
        "Write a mobile number if there is one.",
    );
}

/// One warning for a thing that may be true of hundreds of rows.
fn summary(desk: &mut Desk, sheet: &str, cells: &[(&Row, &Column)], what: &str, cure: &str) {
    let Some((row, column)) = cells.first() else {
        return;
    };
    let mut rows: Vec<u32> = cells.iter().map(|(row, _)| row.number).collect();
    rows.dedup();
    let reason = match cells.len() {
        1 => format!("the telephone number {what}"),
        _ => format!(
            "{} in {}: each {what}",
            desk::counted(cells.len(), "telephone number", "telephone numbers"),
            desk::row_list(&rows)
        ),
    };
    desk.warn(Spot::cell(sheet, row, column.name), reason, cure);
}

enum Fit {
    Right,
    Wrong(String, String),
    /// A telephone number with words beside it.
    Noted,
    Unlisted,
    VoiceOnly,
}

fn kind_fault(column: &Column, text: &str, phones: &mut Phones) -> Fit {
    if text.chars().any(char::is_control) {
        return Fit::Wrong(
            "the cell holds a line break or another control character".to_owned(),
            "Type the text again on one line.".to_owned(),
        );
    }
    if text.chars().nth(CELL_MAX_CHARS).is_some() {
        return Fit::Wrong(
            format!("the cell holds more than {CELL_MAX_CHARS} characters"),
            "Shorten the text.".to_owned(),
        );
    }
    let cured = |fault: Option<String>, cure: &str| match fault {
        Some(reason) => Fit::Wrong(reason, cure.to_owned()),
        None => Fit::Right,
    };
    match column.kind {
        ColumnKind::Text => Fit::Right,
        ColumnKind::Count => cured(typed::count(text).err(), "Write a whole number in digits, such as 8."),
        ColumnKind::Date => cured(typed::date(text).err(), "Write it as 2027-06-04 or 4 June 2027."),
        ColumnKind::Time => cured(typed::time(text).err(), "Write it as 17:30 or 5:30 pm."),
        ColumnKind::Length => cured(typed::length(text).err(), "Write minutes and seconds, such as 2:05."),
        ColumnKind::YesNo => cured(typed::yes_no(text).err(), "Write yes or no."),
        ColumnKind::Mail => cured(typed::mail(text).err(), "Write one address, such as name@example.com."),
        ColumnKind::Phone => match phones.read(text) {
            // The country itself is complained of; its numbers are not to blame.
            Err(PhoneFault::Country) => Fit::Right,
            Err(fault @ PhoneFault::Words) => Fit::Wrong(
                format!("'{}' {fault}", shown(text)),
                "Write one number and nothing else; keep notes in a column that is not read.".to_owned(),
            ),
            Err(fault) => Fit::Wrong(
                format!("'{}' cannot be rung: {fault}", shown(text)),
                "Write the whole number with its area code, or with + and the country code.".to_owned(),
            ),
            Ok(_) if phone::has_words(text) => Fit::Noted,
            Ok(phone) if !phone.valid => Fit::Unlisted,
            Ok(phone) if phone.line == super::season::Line::VoiceOnly => Fit::VoiceOnly,
            Ok(_) => Fit::Right,
        },
        ColumnKind::Choice(words) => {
            let known = words.contains(&key(text).as_str());
            let fault = (!known).then(|| format!("'{}' is not a word for this column", shown(text)));
            let all = format!("Pick one of: {}.", words.join(", "));
            let cure = format!("{} {all}", did_you_mean(text, words.iter().copied(), ""));
            cured(fault, cure.trim())
        }
    }
}
