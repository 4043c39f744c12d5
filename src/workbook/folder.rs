//! A folder of `.csv` files, one a sheet, named as the sheets are.

use super::guard::unguarded;
use super::header;
use super::sheets::{Intake, Value};
use super::{FILE_MAX_OCTETS, UNPACKED_MAX_OCTETS, whole};
use crate::domain::book::{Book, Problem, Weight};
use crate::domain::typed::shown;
use std::borrow::Cow;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::str::Utf8Error;

/// Octets that no text of any alphabet holds: a workbook or a picture under another name.
const BINARY: std::ops::RangeInclusive<u8> = 0..=8;

/// Reads every `.csv` of a folder.
pub(super) fn read(folder: &Path) -> Result<(Book, Vec<Problem>), Problem> {
    let unreadable = |fault: std::io::Error| {
        whole(format!("the folder cannot be read: {fault}"), "Check the name and whether you may read it.")
    };
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv")) {
            files.push(path);
        }
    }
    if files.is_empty() {
        return Err(whole(
            "the folder holds no .csv files",
            "Choose the folder that holds season.csv, places.csv and so on.",
        ));
    }
    files.sort();
    let mut intake = Intake::default();
    let mut octets = 0;
    for path in files {
        let name = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        let mut bytes = Vec::new();
        let read = std::fs::File::open(&path)
            .and_then(|file| file.take(FILE_MAX_OCTETS + 1).read_to_end(&mut bytes));
        if let Err(fault) = read {
            intake.tell(header::problem(
                Weight::Error,
                &name,
                None,
                format!("the file cannot be read: {fault}"),
                "Check whether you may read it.".to_owned(),
            ));
            continue;
        }
        octets += bytes.len() as u64;
        if bytes.len() as u64 > FILE_MAX_OCTETS || octets > UNPACKED_MAX_OCTETS {
            return Err(whole(
                format!("the file '{name}.csv' makes the folder larger than any season"),
                "Delete copied rows and columns beyond your lists.",
            ));
        }
        sheet(&name, &bytes, &mut intake)?;
    }
    intake.finish()
}

fn sheet(name: &str, bytes: &[u8], intake: &mut Intake) -> Result<(), Problem> {
    let Some(mut open) = intake.begin(name) else {
        return Ok(());
    };
    let text = match decoded(bytes) {
        Ok(text) => text,
        Err(_) if bytes.iter().any(|octet| BINARY.contains(octet)) => {
            intake.tell(header::problem(
                Weight::Error,
                name,
                None,
                "the file holds no text".to_owned(),
                "Save the sheet as 'CSV UTF-8'.".to_owned(),
            ));
            return Ok(());
        }
        Err(fault) => {
            let line = bytes[..fault.valid_up_to()].iter().filter(|b| **b == b'\n').count() + 1;
            let (text, _) = encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes);
            let word = text.split([',', ';', '\t', '\r', '\n']).find(|field| !field.is_ascii()).unwrap_or("");
            let problem = header::problem(
                Weight::Warning,
                name,
                None,
                format!(
                    "the file is not in UTF-8; it was read as Windows-1252, and says '{}'",
                    shown(word.trim())
                ),
                "If that is spelt wrongly, save the file as 'CSV UTF-8'.".to_owned(),
            );
            intake.tell(Problem { row: u32::try_from(line).ok(), ..problem });
            text
        }
    };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator(&text))
        .from_reader(text.as_bytes());
    let mut record = csv::StringRecord::new();
    let (mut row, mut counted, mut inner_lines) = (1_u32, 0, 0);
    loop {
        match reader.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(fault) => {
                intake.tell(header::problem(
                    Weight::Error,
                    name,
                    None,
                    format!("the file is not well formed: {fault}"),
                    "Save it again from a spreadsheet program.".to_owned(),
                ));
                break;
            }
        }
        // Rows as a spreadsheet counts them: empty lines are rows, line ends inside a quoted field are not.
        let mut start =
            record.position().map_or(0, |p| usize::try_from(p.byte()).unwrap_or(usize::MAX)).min(text.len());
        start += text.as_bytes()[start..].iter().take_while(|b| matches!(b, b'\r' | b'\n')).count();
        row = row.saturating_add(line_ends(&text.as_bytes()[counted..start]).saturating_sub(inner_lines));
        (counted, inner_lines) = (start, 0);
        for (column, field) in record.iter().enumerate() {
            inner_lines += line_ends(field.as_bytes());
            let field = unguarded(field);
            if let (false, Ok(column)) = (field.trim().is_empty(), u32::try_from(column)) {
                intake.cell(&mut open, row, column, Value::Text(field.to_owned()))?;
            }
        }
    }
    intake.end(open);
    Ok(())
}

/// The text of a file in UTF-8, or in UTF-16 where its first two octets say so (RFC 2781 3.2).
fn decoded(bytes: &[u8]) -> Result<Cow<'_, str>, Utf8Error> {
    let unit: fn([u8; 2]) -> u16 = match bytes {
        [0xFF, 0xFE, ..] => u16::from_le_bytes,
        [0xFE, 0xFF, ..] => u16::from_be_bytes,
        _ => {
            let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
            return std::str::from_utf8(bytes).map(Cow::Borrowed);
        }
    };
    let units = bytes[2..].chunks_exact(2).map(|pair| unit([pair[0], pair[1]]));
    Ok(char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER)).collect())
}

/// Line ends of any of the three kinds: LF, CR LF, CR.
fn line_ends(text: &[u8]) -> u32 {
    let ends = text
        .iter()
        .enumerate()
        .filter(|(at, byte)| **byte == b'\n' || (**byte == b'\r' && text.get(at + 1) != Some(&b'\n')));
    u32::try_from(ends.count()).unwrap_or(u32::MAX)
}

/// A comma, or the semicolon or TAB that some spreadsheets write instead, by what stands in the header.
fn separator(text: &str) -> u8 {
    let header = text.lines().find(|l| !l.trim().is_empty()).unwrap_or("");
    let count = |sign: char| header.matches(sign).count();
    match (count(','), count(';'), count('\t')) {
        (commas, semicolons, tabs) if semicolons > commas && semicolons >= tabs => b';',
        (commas, _, tabs) if tabs > commas => b'\t',
        _ => b',',
    }
}
