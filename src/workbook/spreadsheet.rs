//! `.xlsx` and `.ods` by calamine, cell by cell.

use super::container::Kind;
use super::sheets::{Intake, Value};
use super::{CELLS_MAX, whole};
use crate::domain::book::{Book, MERGED, Problem, UNSAVED};
use calamine::{Data, DataRef, ExcelDateTime, Ods, Reader, SheetType, Xlsx, open_workbook_from_rs};
use std::collections::BTreeSet;
use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Merged regions of a sheet looked at, at most.
const MERGED_MAX: usize = 1_000;

/// Reads a file that [`super::container::look`] let through.
pub(super) fn read(octets: &[u8], kind: Kind) -> Result<(Book, Vec<Problem>), Problem> {
    // The parser is not ours: should a crafted file break it, the file is at fault and not the program.
    let result = catch_unwind(AssertUnwindSafe(|| match kind {
        Kind::Xlsx => xlsx(octets),
        Kind::Ods => ods(octets),
    }));
    result.unwrap_or_else(|_| Err(damaged(&"its parts do not fit together")))
}

fn damaged(fault: &dyn std::fmt::Display) -> Problem {
    whole(format!("the workbook is damaged: {fault}"), "Open it in a spreadsheet program and save it again.")
}

fn xlsx(octets: &[u8]) -> Result<(Book, Vec<Problem>), Problem> {
    let mut file: Xlsx<_> =
        open_workbook_from_rs(Cursor::new(octets)).map_err(|fault: calamine::XlsxError| damaged(&fault))?;
    let sheets: Vec<String> = file
        .sheets_metadata()
        .iter()
        .filter(|s| s.typ == SheetType::WorkSheet)
        .map(|s| s.name.clone())
        .collect();
    let mut intake = Intake::default();
    for name in sheets {
        if is_empty_default(&name)
            && file.worksheet_cells_reader(&name).is_ok_and(|mut cells| matches!(cells.next_cell(), Ok(None)))
        {
            continue;
        }
        let Some(mut open) = intake.begin(&name) else {
            continue;
        };
        let mut unsaved = formulas(&mut file, &name)?;
        let merged = file.merge_cells_by_sheet_name(&name).map_err(|fault| damaged(&fault))?;
        let mut cells = file.worksheet_cells_reader(&name).map_err(|fault| damaged(&fault))?;
        let shows_seconds: Vec<Option<bool>> = cells
            .styles()
            .iter()
            .map(|style| style.number_format.as_ref().map(|f| shows_seconds(&f.format_code)))
            .collect();
        while let Some((cell, style)) = cells.next_cell_with_style_id().map_err(|fault| damaged(&fault))? {
            let (row, column) = cell.get_position();
            let seconds = shows_seconds.get(style).copied().flatten();
            if let Some(value) = from_ref(cell.get_value(), seconds) {
                unsaved.remove(&(row, column));
                intake.cell(&mut open, row.saturating_add(1), column, value)?;
            }
        }
        for (row, column) in unsaved {
            open.empty(row.saturating_add(1)..=row.saturating_add(1), column..=column, UNSAVED);
        }
        for region in merged.iter().take(MERGED_MAX) {
            let rows = region.start.0.saturating_add(1)..=region.end.0.saturating_add(1);
            open.empty(rows, region.start.1..=region.end.1, MERGED);
        }
        intake.end(open);
    }
    intake.finish()
}

/// Where a sheet has formulas.
fn formulas(file: &mut Xlsx<Cursor<&[u8]>>, name: &str) -> Result<BTreeSet<(u32, u32)>, Problem> {
    let mut cells = file.worksheet_cells_reader(name).map_err(|fault| damaged(&fault))?;
    let mut found = BTreeSet::new();
    while let Some(cell) = cells.next_formula().map_err(|fault| damaged(&fault))? {
        if found.len() < CELLS_MAX && !cell.get_value().is_empty() {
            found.insert(cell.get_position());
        }
    }
    Ok(found)
}

/// The sheet a spreadsheet program puts into every new file.
fn is_empty_default(name: &str) -> bool {
    let name = name.to_lowercase();
    name.starts_with("sheet")
        || name.starts_with("hoja")
        || name.starts_with("feuil")
        || name.starts_with("tabelle")
}

/// Whether a number format shows seconds; text in quotes and brackets other than `[s]` does not count.
fn shows_seconds(format: &str) -> bool {
    let mut quoted = false;
    format.to_lowercase().chars().any(|c| {
        if c == '"' {
            quoted = !quoted;
        }
        !quoted && c == 's'
    })
}

fn from_ref(value: &DataRef<'_>, seconds: Option<bool>) -> Option<Value> {
    Some(match value {
        DataRef::Int(number) => Value::Text(number.to_string()),
        DataRef::Float(number) => Value::Number(*number),
        DataRef::String(text) => Value::Text(text.clone()),
        DataRef::SharedString(text) => Value::Text((*text).to_owned()),
        DataRef::Bool(truth) => Value::Truth(*truth),
        DataRef::DateTime(moment) => moment_value(moment, seconds),
        DataRef::DateTimeIso(text) => iso(text),
        DataRef::DurationIso(text) => Value::from_iso_length(text),
        DataRef::Error(fault) => Value::Fault(fault.to_string()),
        DataRef::Empty => return None,
    })
}

/// A date or time held as days since the start of 1900 or 1904.
fn moment_value(moment: &ExcelDateTime, shows_seconds: Option<bool>) -> Value {
    let serial = moment.as_f64();
    if !(0.0..3_000_000.0).contains(&serial) {
        return Value::Text(serial.to_string());
    }
    if serial < 1.0 || moment.is_duration() {
        let seconds = (serial * 86_400.0).round() as u32;
        let (minute, second) = ((seconds / 60 % 60) as u8, (seconds % 60) as u8);
        return Value::Moment { date: None, time: (seconds / 3600, minute, second), shows_seconds };
    }
    let (year, month, day, hour, minute, second, milli) = moment.to_ymd_hms_milli();
    let second = if milli >= 500 && second < 59 { second + 1 } else { second };
    Value::Moment { date: Some((year, month, day)), time: (u32::from(hour), minute, second), shows_seconds }
}

/// A date, a time or both in ISO 8601; anything else stays text and is judged as such.
fn iso(text: &str) -> Value {
    let (date, time) = text.split_once('T').unwrap_or((text, "00:00:00"));
    let whole_minute = time.split('.').next().unwrap_or(time);
    match (date.parse::<jiff::civil::Date>(), whole_minute.parse::<jiff::civil::Time>()) {
        (Ok(date), Ok(time)) if date.year() > 0 => Value::Moment {
            date: Some((date.year().unsigned_abs(), date.month().unsigned_abs(), date.day().unsigned_abs())),
            time: (
                u32::from(time.hour().unsigned_abs()),
                time.minute().unsigned_abs(),
                time.second().unsigned_abs(),
            ),
            shows_seconds: None,
        },
        _ => Value::Text(text.to_owned()),
    }
}

fn ods(octets: &[u8]) -> Result<(Book, Vec<Problem>), Problem> {
    let mut file: Ods<_> =
        open_workbook_from_rs(Cursor::new(octets)).map_err(|fault: calamine::OdsError| damaged(&fault))?;
    let mut intake = Intake::default();
    for name in file.sheet_names() {
        let range = file.worksheet_range(&name).map_err(|fault| damaged(&fault))?;
        if is_empty_default(&name) && range.is_empty() {
            continue;
        }
        let Some(mut open) = intake.begin(&name) else {
            continue;
        };
        let (top, left) = range.start().unwrap_or_default();
        for (row, column, value) in range.used_cells() {
            let (Ok(row), Ok(column)) = (u32::try_from(row), u32::try_from(column)) else {
                continue;
            };
            if let Some(value) = from_data(value) {
                intake.cell(&mut open, (top + row).saturating_add(1), left + column, value)?;
            }
        }
        intake.end(open);
    }
    intake.finish()
}

fn from_data(value: &Data) -> Option<Value> {
    Some(match value {
        Data::Int(number) => Value::Text(number.to_string()),
        Data::Float(number) => Value::Number(*number),
        Data::String(text) => Value::Text(text.clone()),
        Data::Bool(truth) => Value::Truth(*truth),
        Data::DateTime(moment) => moment_value(moment, None),
        Data::DateTimeIso(text) => iso(text),
        Data::DurationIso(text) => Value::from_iso_length(text),
        Data::Error(fault) => Value::Fault(fault.to_string()),
        Data::Empty => return None,
    })
}
