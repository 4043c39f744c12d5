//! Cells of any file format become rows of canonical text.

use super::header::{self, Columns};
use super::{CELLS_MAX, COLUMNS_MAX, ROWS_MAX, TEXT_MAX_OCTETS, whole};
use crate::domain::book::{Book, Cell, Problem, Row, Weight};
use crate::domain::layout::{Column, ColumnKind, Layout, SHEETS};
use crate::domain::reading::CELL_MAX_CHARS;
use std::collections::{BTreeMap, BTreeSet};
use unicode_normalization::UnicodeNormalization;

/// The column in which a line of its own is an entry of its own.
const NUMBERS: &str = "numbers";
/// What people write where there is no number and no address.
const NOTHING: [&str; 7] = ["-", "–", "—", "none", "n/a", "na", "no"];
/// Lines of titles above the headings of a sheet at most.
const TITLES_MAX: u32 = 5;
/// Columns whose text may be written on several lines in a cell; it is read as one.
const PROSE: [&str; 10] = [
    "door",
    "collect at",
    "arrive ready",
    "bring",
    "leave at home",
    "text",
    "task",
    "agreed",
    "pieces",
    "numbers",
];
/// Error values as they look when a format holds them as text (ISO/IEC 29500-1 18.17.3).
const FAULTS: [&str; 8] = ["#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#SPILL!"];
/// Days from 1899-12-30, day 0 of a spreadsheet, that a date without its format is taken for: 2000 to 2099.
const SERIAL_DAYS: std::ops::Range<f64> = 36_526.0..73_050.0;

/// A cell's value as a file holds it.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    /// Text.
    Text(String),
    /// True or false.
    Truth(bool),
    /// A number with no date format.
    Number(f64),
    /// A date, a time, or both; whether its format shows seconds, where that is known.
    Moment { date: Option<(u16, u8, u8)>, time: (u32, u8, u8), shows_seconds: Option<bool> },
    /// An error value.
    Fault(String),
}

impl Value {
    /// Hours, minutes and seconds of an ISO 8601 duration such as `PT17H30M00S`.
    pub(super) fn from_iso_length(text: &str) -> Value {
        let read = || {
            let mut rest = text.strip_prefix("PT")?;
            let mut parts = [0_u32; 3];
            for (at, unit) in ['H', 'M', 'S'].into_iter().enumerate() {
                if let Some((number, after)) = rest.split_once(unit) {
                    parts[at] = number.split(['.', ',']).next()?.parse().ok()?;
                    rest = after;
                }
            }
            let minutes = u8::try_from(parts[1]).ok().filter(|m| *m < 60)?;
            let seconds = u8::try_from(parts[2]).ok().filter(|s| *s < 60)?;
            rest.is_empty().then_some(Value::Moment {
                date: None,
                time: (parts[0], minutes, seconds),
                shows_seconds: None,
            })
        };
        read().unwrap_or_else(|| Value::Text(text.to_owned()))
    }

    /// The canonical text for a column; none for an empty cell.
    fn cell(self, column: &Column) -> Option<Cell> {
        let text = match self {
            Value::Fault(fault) => return Some(Cell::Fault(fault)),
            Value::Text(text) => tidy(&text, column),
            Value::Truth(truth) => if truth { "yes" } else { "no" }.to_owned(),
            Value::Number(number) => number_text(number, column.kind),
            Value::Moment { date, time, shows_seconds } => {
                moment_text(date, time, shows_seconds, column.kind)
            }
        };
        if FAULTS.contains(&text.as_str()) {
            return Some(Cell::Fault(text));
        }
        (!text.is_empty()).then_some(Cell::Text(text))
    }
}

/// Trimmed, in normal form C, one line where prose is meant, and cut where the reading will refuse it anyway.
fn tidy(text: &str, column: &Column) -> String {
    let is_contact = column.name.ends_with("mobile") || column.name.ends_with("e-mail");
    if is_contact && NOTHING.contains(&text.trim().to_lowercase().as_str()) {
        return String::new();
    }
    let cut: String = text.trim().trim_start_matches('\u{FEFF}').nfc().take(CELL_MAX_CHARS + 1).collect();
    if column.name == NUMBERS && cut.contains(['\r', '\n']) {
        let lines: Vec<&str> = cut.split(['\r', '\n']).map(str::trim).filter(|l| !l.is_empty()).collect();
        return lines.join("; ");
    }
    if PROSE.contains(&column.name) && cut.chars().any(|c| matches!(c, '\r' | '\n' | '\t')) {
        let lines: Vec<&str> =
            cut.split(['\r', '\n', '\t']).map(str::trim).filter(|l| !l.is_empty()).collect();
        return lines.join(" ");
    }
    cut
}

fn number_text(number: f64, kind: ColumnKind) -> String {
    if !number.is_finite() {
        return "#NUM!".to_owned();
    }
    if kind == ColumnKind::Date && SERIAL_DAYS.contains(&number) && number.fract() == 0.0 {
        let day = jiff::civil::date(1899, 12, 30).checked_add(jiff::Span::new().days(number as i64));
        return day.map_or_else(|_| number.to_string(), |d| d.to_string());
    }
    if kind == ColumnKind::Time && number > 0.0 && number < 1.0 {
        let minutes = (number * 24.0 * 60.0).round() as u32;
        return format!("{:02}:{:02}", minutes / 60 % 24, minutes % 60);
    }
    // Nine places are more than any column needs and hide the noise of binary fractions.
    let rounded = (number * 1e9).round() / 1e9;
    rounded.to_string()
}

fn moment_text(
    date: Option<(u16, u8, u8)>,
    (hours, minutes, seconds): (u32, u8, u8),
    shows_seconds: Option<bool>,
    kind: ColumnKind,
) -> String {
    if let Some((year, month, day)) = date {
        let date = format!("{year:04}-{month:02}-{day:02}");
        return if (hours, minutes, seconds) == (0, 0, 0) {
            date
        } else {
            format!("{date} {hours:02}:{minutes:02}:{seconds:02}")
        };
    }
    if kind == ColumnKind::Length {
        // What a person typed as 2:05 a spreadsheet keeps as five past two; what she sees is what she means.
        let typed_as_two_parts = seconds == 0 && shows_seconds.map_or(hours > 0, |shows| !shows);
        return match (typed_as_two_parts, hours) {
            (true, _) => format!("{hours}:{minutes:02}"),
            (false, 0) => format!("{minutes}:{seconds:02}"),
            (false, _) => format!("{hours}:{minutes:02}:{seconds:02}"),
        };
    }
    if seconds == 0 {
        format!("{hours:02}:{minutes:02}")
    } else {
        format!("{hours:02}:{minutes:02}:{seconds:02}")
    }
}

/// A book being filled, sheet by sheet, within bounds.
#[derive(Default)]
pub(super) struct Intake {
    book: Book,
    problems: Vec<Problem>,
    cells: usize,
    text_octets: usize,
}

/// One sheet being read.
pub(super) struct Open {
    layout: &'static Layout,
    header: BTreeMap<u32, String>,
    header_row: Option<u32>,
    columns: Option<Columns>,
    row: Row,
    rows: Vec<Row>,
    headless: BTreeSet<u32>,
    /// Lines of titles above the header.
    titles: u32,
    full: bool,
}

impl Intake {
    /// Starts a sheet; none when it is not one of ours, which is told as a problem.
    pub(super) fn begin(&mut self, name: &str) -> Option<Open> {
        let layout = match header::sheet(name) {
            Ok(found) => found?,
            Err(problem) => {
                self.problems.push(problem);
                return None;
            }
        };
        if self.book.sheets.iter().any(|s| s.name == layout.name) {
            let reason = format!("the sheet '{}' is there twice", layout.name);
            self.problems.push(header::problem(
                Weight::Error,
                layout.name,
                None,
                reason,
                "Keep one of the two.".to_owned(),
            ));
            return None;
        }
        // Taken at once, so that a second sheet of the name is seen even if this one is empty.
        self.book.sheet_mut(layout.name);
        Some(Open {
            layout,
            header: BTreeMap::new(),
            header_row: None,
            columns: None,
            row: Row::default(),
            rows: Vec::new(),
            headless: BTreeSet::new(),
            titles: 0,
            full: false,
        })
    }

    /// Takes one cell, rows counted from 1 and columns from 0, row by row. `Err` when the whole file is too large.
    pub(super) fn cell(
        &mut self,
        open: &mut Open,
        row: u32,
        column: u32,
        value: Value,
    ) -> Result<(), Problem> {
        if column >= COLUMNS_MAX || open.full {
            return Ok(());
        }
        self.cells += 1;
        if let Value::Text(text) = &value {
            self.text_octets += text.len().min(CELL_MAX_CHARS * 4);
        }
        if self.cells > CELLS_MAX || self.text_octets > TEXT_MAX_OCTETS {
            return Err(whole(
                "the workbook holds more than any season does",
                "Delete copied rows, columns and texts beyond your lists.",
            ));
        }
        let first = *open.header_row.get_or_insert(row);
        let titled = row > first
            && open.columns.is_none()
            && open.titles < TITLES_MAX
            && header::is_title(open.layout, &open.header);
        if titled {
            // A title above the headings is no header.
            open.titles += 1;
            open.header.clear();
            open.header_row = Some(row);
        }
        if open.header_row == Some(row) {
            if let Value::Text(text) = value
                && !text.trim().is_empty()
            {
                open.header.insert(column, text.nfc().collect());
            }
            return Ok(());
        }
        if open.row.number != row {
            open.finish_row();
            open.row.number = row;
        }
        if open.rows.len() >= ROWS_MAX as usize {
            open.full = true;
            let reason = format!("the sheet has more than {ROWS_MAX} lines");
            self.problems.push(Problem {
                row: Some(row),
                ..header::problem(
                    Weight::Error,
                    open.layout.name,
                    None,
                    reason,
                    "Delete copied or filled-down lines below your list.".to_owned(),
                )
            });
            return Ok(());
        }
        let columns = open
            .columns
            .get_or_insert_with(|| header::columns(open.layout, &open.header, &mut self.problems));
        match columns.get(&column) {
            Some(known) => {
                if let Some(cell) = value.cell(known) {
                    open.row.cells.insert(known.name.to_owned(), cell);
                }
            }
            None if !open.header.contains_key(&column) && open.headless.insert(column) => {
                let reason =
                    format!("column {} holds something but has no name, so it is not read", column + 1);
                self.problems.push(Problem {
                    row: Some(row),
                    ..header::problem(
                        Weight::Warning,
                        open.layout.name,
                        None,
                        reason,
                        "Name it in the first row, or take it out.".to_owned(),
                    )
                });
            }
            None => {}
        }
        Ok(())
    }

    /// Ends a sheet.
    pub(super) fn end(&mut self, mut open: Open) {
        open.finish_row();
        if open.columns.is_none() && open.header_row.is_some() {
            header::columns(open.layout, &open.header, &mut self.problems);
        }
        self.book.sheet_mut(open.layout.name).rows = open.rows;
    }

    /// A problem of the files.
    pub(super) fn tell(&mut self, problem: Problem) {
        self.problems.push(problem);
    }

    /// The book in layout order, and what was wrong; `Err` when no sheet of ours was found.
    pub(super) fn finish(mut self) -> Result<(Book, Vec<Problem>), Problem> {
        if self.book.sheets.is_empty() {
            let names = SHEETS.iter().map(|s| s.name).collect::<Vec<_>>().join(", ");
            let first = self.problems.first().map(|p| format!(" ({})", p.reason)).unwrap_or_default();
            return Err(whole(
                format!("none of the sheets of a season is there{first}"),
                &format!("Start from a blank workbook; its sheets are: {names}."),
            ));
        }
        let there = |name: &str| {
            self.book.sheets.iter().any(|sheet| sheet.name == name)
                || self.problems.iter().any(|problem| problem.sheet == name && header::is_misnamed(problem))
        };
        let absent: Vec<&Layout> = SHEETS.iter().filter(|l| l.required && !there(l.name)).collect();
        for layout in absent {
            self.problems.push(header::problem(
                Weight::Error,
                layout.name,
                None,
                format!("the sheet '{}' is missing", layout.name),
                format!("Add it: {}", layout.help),
            ));
        }
        self.book.sheets.sort_by_key(|s| SHEETS.iter().position(|l| l.name == s.name));
        Ok((self.book, self.problems))
    }
}

impl Open {
    /// Marks the cells of a region that hold nothing, in the lines that hold something, with why they are empty.
    pub(super) fn empty(
        &mut self,
        rows: std::ops::RangeInclusive<u32>,
        columns: std::ops::RangeInclusive<u32>,
        why: &str,
    ) {
        self.finish_row();
        let Some(known) = self.columns.as_ref().filter(|_| !rows.is_empty() && !columns.is_empty()) else {
            return;
        };
        let first = self.rows.partition_point(|row| row.number < *rows.start());
        for row in self.rows[first..].iter_mut().take_while(|row| row.number <= *rows.end()) {
            for (_, column) in known.range(columns.clone()) {
                row.cells.entry(column.name.to_owned()).or_insert_with(|| Cell::Fault(why.to_owned()));
            }
        }
    }

    fn finish_row(&mut self) {
        let row = std::mem::take(&mut self.row);
        if !row.cells.is_empty() {
            self.rows.push(row);
        }
    }
}
