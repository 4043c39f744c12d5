//! Writing a workbook: `.xlsx` with guidance and drop-downs, or a folder of `.csv`.

use super::guard::csv_field;
use super::header::READ_ME;
use crate::domain::book::{Book, Cell, Row};
use crate::domain::layout::{Column, ColumnKind, Layout, SETTINGS, SHEETS};
use crate::domain::words::key;
use rust_xlsxwriter::{
    DataValidation, ExcelDateTime, Format, FormatAlign, FormatBorder, Note, Workbook, Worksheet, XlsxError,
};
use std::path::{Path, PathBuf};

/// Rows below the header that get drop-downs.
const DROP_DOWN_ROWS: u32 = 2_000;
/// Pixels of a note beside a header: wide enough for two lines of guidance.
const NOTE_PIXELS: (u32, u32) = (260, 90);

/// Why a workbook was not written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The name ends neither in `.xlsx` nor as a folder's.
    #[error(
        "'{0}' is neither an .xlsx file nor a folder: choose a name that ends in .xlsx, or one without an ending for a folder of .csv files"
    )]
    Kind(PathBuf),
    /// The file system refused.
    #[error("'{path}' cannot be written: {fault}; check the folder, its rights and the space left")]
    Files {
        /// Which file.
        path: PathBuf,
        /// What the system says.
        fault: std::io::Error,
    },
    /// The workbook does not fit the format.
    #[error("the workbook cannot be made: {0}")]
    Format(#[from] XlsxError),
}

/// Writes a book as `.xlsx`, or as a folder of `.csv` where the name has no ending. A file is replaced whole or not at all.
pub fn write(book: &Book, path: &Path) -> Result<(), WriteError> {
    match path.extension() {
        Some(ending) if ending.eq_ignore_ascii_case("xlsx") && !path.is_dir() => {
            replace(path, &to_xlsx(book)?)
        }
        None => write_folder(book, path),
        Some(_) if path.is_dir() => write_folder(book, path),
        Some(_) => Err(WriteError::Kind(path.to_owned())),
    }
}

/// Writes beside the file and then takes its place, so that a full disk leaves the old one whole.
fn replace(path: &Path, octets: &[u8]) -> Result<(), WriteError> {
    let refused = |fault| WriteError::Files { path: path.to_owned(), fault };
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    std::fs::write(&beside, octets).map_err(refused)?;
    std::fs::rename(&beside, path).map_err(refused)
}

fn write_folder(book: &Book, folder: &Path) -> Result<(), WriteError> {
    std::fs::create_dir_all(folder).map_err(|fault| WriteError::Files { path: folder.to_owned(), fault })?;
    for layout in SHEETS {
        let mut text = String::new();
        let mut line = |fields: Vec<String>| {
            text.push_str(&fields.join(","));
            text.push_str("\r\n");
        };
        line(layout.columns.iter().map(|c| csv_field(c.name)).collect());
        for row in book.rows(layout.name) {
            line(layout.columns.iter().map(|c| csv_field(cell_text(row, c.name))).collect());
        }
        replace(&folder.join(format!("{}.csv", layout.name)), text.as_bytes())?;
    }
    Ok(())
}

fn cell_text<'a>(row: &'a Row, column: &str) -> &'a str {
    match row.cells.get(column) {
        Some(Cell::Text(text) | Cell::Fault(text)) => text,
        None => "",
    }
}

/// The looks of cells.
struct Looks {
    header: Format,
    needed: Format,
    quiet: Format,
    wrapped: Format,
    date: Format,
    time: Format,
    text: Format,
}

impl Looks {
    fn new() -> Looks {
        let header = Format::new()
            .set_bold()
            .set_border_bottom(FormatBorder::Thin)
            .set_align(FormatAlign::Top)
            .set_text_wrap();
        Looks {
            needed: header.clone().set_background_color(0x00F3_E3C3),
            header,
            quiet: Format::new().set_font_color(0x0080_8080),
            wrapped: Format::new().set_text_wrap().set_align(FormatAlign::Top),
            date: Format::new().set_num_format("yyyy-mm-dd"),
            time: Format::new().set_num_format("hh:mm"),
            text: Format::new().set_num_format("@"),
        }
    }
}

/// The octets of an `.xlsx` with a sheet of guidance, drop-downs, and every value as text, date or number: never a formula.
pub fn to_xlsx(book: &Book) -> Result<Vec<u8>, WriteError> {
    let mut file = Workbook::new();
    let looks = Looks::new();
    guidance(file.add_worksheet(), &looks)?;
    for layout in SHEETS {
        let sheet = file.add_worksheet();
        sheet.set_name(layout.name)?;
        header(sheet, layout, &looks)?;
        for (at, row) in book.rows(layout.name).iter().enumerate() {
            let at = u32::try_from(at + 1).unwrap_or(u32::MAX);
            for (column, number) in layout.columns.iter().zip(0_u16..) {
                put(sheet, at, number, column, row, &looks)?;
            }
            if layout.name == "season" {
                setting_note(sheet, at, row)?;
            }
        }
    }
    Ok(file.save_to_buffer()?)
}

/// One cell. Dates, times and counts in their canonical form become what a spreadsheet sorts; all else stays text.
fn put(
    sheet: &mut Worksheet,
    at: u32,
    number: u16,
    column: &Column,
    row: &Row,
    looks: &Looks,
) -> Result<(), WriteError> {
    let text = cell_text(row, column.name);
    if text.is_empty() {
        return Ok(());
    }
    match column.kind {
        ColumnKind::Date => {
            if let Some(date) = canonical_date(text) {
                sheet.write_datetime_with_format(at, number, &date, &looks.date)?;
                return Ok(());
            }
        }
        ColumnKind::Time => {
            if let Some(time) = canonical_time(text) {
                sheet.write_datetime_with_format(at, number, &time, &looks.time)?;
                return Ok(());
            }
        }
        ColumnKind::Count => {
            if let Some(count) = text.parse::<u32>().ok().filter(|n| n.to_string() == text) {
                sheet.write_number(at, number, count)?;
                return Ok(());
            }
        }
        _ => {}
    }
    let look = if column.name.ends_with("ref") { &looks.quiet } else { &looks.text };
    sheet.write_string_with_format(at, number, text, look)?;
    Ok(())
}

fn canonical_date(text: &str) -> Option<ExcelDateTime> {
    let date: jiff::civil::Date = text.parse().ok()?;
    if date.to_string() != text || !(1900..=9999).contains(&date.year()) {
        return None;
    }
    ExcelDateTime::from_ymd(
        date.year().unsigned_abs(),
        date.month().unsigned_abs(),
        date.day().unsigned_abs(),
    )
    .ok()
}

fn canonical_time(text: &str) -> Option<ExcelDateTime> {
    let (hours, minutes) = text.split_once(':').filter(|(h, m)| h.len() == 2 && m.len() == 2)?;
    let hours = hours.parse().ok().filter(|h| *h < 24)?;
    ExcelDateTime::from_hms(hours, minutes.parse().ok().filter(|m| *m < 60)?, 0.0).ok()
}

fn header(sheet: &mut Worksheet, layout: &Layout, looks: &Looks) -> Result<(), WriteError> {
    for (column, at) in layout.columns.iter().zip(0_u16..) {
        let look = if column.required { &looks.needed } else { &looks.header };
        sheet.write_string_with_format(0, at, column.name, look)?;
        sheet.insert_note(
            0,
            at,
            &note(&format!("{}{}", column.help, if column.required { " Must be filled in." } else { "" })),
        )?;
        sheet.set_column_width(at, width(column))?;
        let words: &[&str] = match column.kind {
            ColumnKind::YesNo => &["yes", "no"],
            ColumnKind::Choice(words) => words,
            _ => &[],
        };
        if !words.is_empty() {
            let list = DataValidation::new()
                .allow_list_strings(words)?
                .ignore_blank(true)
                .set_error_message("Pick one of the words in the list.")?;
            sheet.add_data_validation(1, at, DROP_DOWN_ROWS, at, &list)?;
        }
        // A column of text keeps what is typed: 5-6 stays an age band and does not become a date.
        if matches!(column.kind, ColumnKind::Text | ColumnKind::Phone | ColumnKind::Mail | ColumnKind::Length)
        {
            sheet.set_column_format(at, &looks.text)?;
        }
    }
    let fixed = if layout.name == "children" { 3 } else { 0 };
    sheet.set_freeze_panes(1, fixed)?;
    Ok(())
}

fn note(text: &str) -> Note {
    Note::new(text).add_author_prefix(false).set_width(NOTE_PIXELS.0).set_height(NOTE_PIXELS.1)
}

/// Width of a column in characters.
fn width(column: &Column) -> f64 {
    match (column.kind, column.name) {
        (_, name) if name.ends_with("ref") => 7.0,
        (_, "setting") => 30.0,
        (_, "value" | "text" | "door" | "numbers" | "bring" | "arrive ready") => 36.0,
        (ColumnKind::YesNo | ColumnKind::Count | ColumnKind::Time | ColumnKind::Length, name) => {
            10.0_f64.max(name.len() as f64 * 0.6)
        }
        (ColumnKind::Phone, _) => 19.0,
        (ColumnKind::Mail, _) => 28.0,
        (ColumnKind::Date, _) => 12.0,
        (_, name) => 18.0_f64.max(name.len() as f64),
    }
}

fn setting_note(sheet: &mut Worksheet, at: u32, row: &Row) -> Result<(), WriteError> {
    let name = key(row.text("setting"));
    if let Some(setting) = SETTINGS.iter().find(|s| s.name == name) {
        sheet.insert_note(at, 0, &note(setting.help))?;
    }
    Ok(())
}

fn guidance(sheet: &mut Worksheet, looks: &Looks) -> Result<(), WriteError> {
    sheet.set_name(READ_ME)?;
    sheet.set_column_width(0, 30)?.set_column_width(1, 26)?.set_column_width(2, 90)?;
    let mut at = 0;
    let mut line = |cells: [&str; 3], look: &Format| -> Result<(), WriteError> {
        for (text, column) in cells.iter().zip(0_u16..) {
            if !text.is_empty() {
                sheet.write_string_with_format(at, column, *text, look)?;
            }
        }
        at += 1;
        Ok(())
    };
    line(["This workbook is one season.", "", ""], &looks.header)?;
    for text in [
        "Fill in the sheets from left to right. Replace the example lines. Shaded headers must be filled in; point at a header to read what it wants.",
        "Leave the columns named ref alone: the program fills them in and knows each line by its ref, so that names may be mended later.",
        "Dates may be typed as 2027-06-04 or 4 June 2027, times as 17:30 or 5:30 pm, lengths as 2:05. Lists have ; between their parts.",
        "This sheet is for you; the program does not read it.",
    ] {
        line(["", "", text], &looks.wrapped)?;
    }
    line(["", "", ""], &looks.wrapped)?;
    line(["Sheet", "Column", "What it holds"], &looks.header)?;
    for layout in SHEETS {
        line(
            [layout.name, if layout.required { "(needed)" } else { "(may be left out)" }, layout.help],
            &looks.wrapped,
        )?;
        for column in layout
            .columns
            .iter()
            .filter(|c| !c.name.starts_with("guardian ") || c.name.starts_with("guardian 1 "))
        {
            line(["", column.name, column.help], &looks.wrapped)?;
        }
    }
    line(["", "", ""], &looks.wrapped)?;
    line(["Setting", "Default", "What it means"], &looks.header)?;
    for setting in SETTINGS {
        line(
            [
                setting.name,
                if setting.default.is_empty() { "(must be filled in)" } else { setting.default },
                setting.help,
            ],
            &looks.wrapped,
        )?;
    }
    Ok(())
}
