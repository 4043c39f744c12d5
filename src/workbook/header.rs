//! Which sheet and which columns are meant, by their names.

use crate::domain::book::{Problem, Weight};
use crate::domain::layout::{Column, Layout, SHEETS};
use crate::domain::typed::shown;
use crate::domain::words::{key, near};
use std::collections::BTreeMap;

/// Name of the sheet of guidance, which is not read.
pub(super) const READ_ME: &str = "read me";

const ABSENT: &str = "is missing";
const MISNAMED: &str = "is not a sheet of the workbook";

/// A problem of a sheet or a column.
pub(super) fn problem(
    weight: Weight,
    sheet: &str,
    column: Option<&str>,
    reason: String,
    cure: String,
) -> Problem {
    Problem { weight, sheet: sheet.to_owned(), row: None, column: column.map(str::to_owned), reason, cure }
}

/// The sheet of that name; `Ok(None)` for the sheet of guidance.
pub(super) fn sheet(name: &str) -> Result<Option<&'static Layout>, Problem> {
    let wanted = key(name).replace('_', " ");
    if wanted == READ_ME || wanted == "readme" {
        return Ok(None);
    }
    if let Some(layout) = SHEETS.iter().find(|s| s.name == wanted) {
        return Ok(Some(layout));
    }
    let all: Vec<&str> = SHEETS.iter().map(|s| s.name).collect();
    let reason = format!("'{}' {MISNAMED}", shown(name));
    Err(match near(&wanted, all.iter().copied()) {
        Some(meant) => {
            problem(Weight::Error, meant, None, reason, format!("Did you mean '{meant}'? Rename it."))
        }
        None => {
            let cure = format!("Leave it, or rename it if it is one of these: {}.", all.join(", "));
            problem(Weight::Hint, &shown(name), None, format!("{reason}, so it is not read"), cure)
        }
    })
}

/// Whether a problem tells of a sheet whose name is one of ours but for a slip of the hand; it bears the right one.
pub(super) fn is_misnamed(problem: &Problem) -> bool {
    problem.weight == Weight::Error && problem.reason.ends_with(MISNAMED)
}

/// Columns by their position in the file.
pub(super) type Columns = BTreeMap<u32, &'static Column>;

/// What lists of other origin call some of ours, in the last word of a heading.
const OTHER_WORDS: [(&str, &str); 8] = [
    ("phone", "mobile"),
    ("telephone", "mobile"),
    ("tel", "mobile"),
    ("cell", "mobile"),
    ("mob", "mobile"),
    ("number", "mobile"),
    ("mail", "e-mail"),
    ("email", "e-mail"),
];

/// The column that a heading most likely means.
fn meant<'a>(wanted: &str, all: &[&'a str]) -> Option<&'a str> {
    let (before, last) = wanted.rsplit_once(' ').unwrap_or(("", wanted));
    let other = OTHER_WORDS.iter().find(|(word, _)| *word == last.trim_end_matches('.'));
    let by_word = other.and_then(|(_, ours)| {
        let named = format!("{before} {ours}");
        all.iter().copied().find(|name| *name == named.trim())
    });
    by_word.or_else(|| near(wanted, all.iter().copied()))
}

/// Whether a heading is that of a column, as it should be written.
fn is_column(layout: &Layout, name: &str) -> bool {
    let wanted = key(name);
    let wanted = wanted.trim_end_matches([':', '*', ' ']);
    layout.columns.iter().any(|c| c.name == wanted || c.name == wanted.replace("email", "e-mail"))
}

/// Whether a first line is a title and no header: a cell or two, none of which is the heading of a column or nearly so.
pub(super) fn is_title(layout: &Layout, header: &BTreeMap<u32, String>) -> bool {
    let all: Vec<&str> = layout.columns.iter().map(|column| column.name).collect();
    let heads = |name: &String| is_column(layout, name) || meant(&key(name), &all).is_some();
    header.len() <= TITLE_MAX_CELLS && !header.values().any(heads)
}

/// Cells of a title above a header at most.
const TITLE_MAX_CELLS: usize = 2;

/// Reads a header: which column stands where, and what is wrong with it.
pub(super) fn columns(
    layout: &'static Layout,
    header: &BTreeMap<u32, String>,
    problems: &mut Vec<Problem>,
) -> Columns {
    let mut found = Columns::new();
    for (at, name) in header {
        let wanted = key(name).trim_end_matches([':', '*', ' ']).to_owned();
        let Some(column) =
            layout.columns.iter().find(|c| c.name == wanted || c.name == wanted.replace("email", "e-mail"))
        else {
            let all: Vec<&str> = layout.columns.iter().map(|c| c.name).collect();
            let listed = if all.len() > 20 {
                "Leave it, or rename it if it is one of those that a blank workbook shows.".to_owned()
            } else {
                format!("Leave it, or rename it if it is one of these: {}.", all.join(", "))
            };
            let reason = format!("'{}' is not a column of this sheet", shown(name));
            let (weight, reason, cure) = match meant(&wanted, &all) {
                Some(meant) => (Weight::Error, reason, format!("Did you mean '{meant}'?")),
                None => (Weight::Warning, format!("{reason}, so it is not read"), listed),
            };
            problems.push(problem(weight, layout.name, Some(&shown(name)), reason, cure));
            continue;
        };
        if found.values().any(|c| c.name == column.name) {
            problems.push(problem(
                Weight::Error,
                layout.name,
                Some(column.name),
                format!("the column '{}' stands here twice", column.name),
                "Keep one of the two.".to_owned(),
            ));
        } else {
            found.insert(*at, column);
        }
    }
    for column in layout.columns.iter().filter(|c| c.required && !found.values().any(|f| f.name == c.name)) {
        problems.push(problem(
            Weight::Error,
            layout.name,
            Some(column.name),
            format!("the column '{}' {ABSENT}", column.name),
            format!("Add it to the first row: {}", column.help),
        ));
    }
    found
}
