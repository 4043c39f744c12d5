//! Which sheet and which columns are meant, by their names.

use crate::domain::book::{Problem, Weight};
use crate::domain::layout::{Column, Layout, SHEETS};
use crate::domain::typed::shown;
use crate::domain::words::{did_you_mean, key};
use std::collections::BTreeMap;

/// Name of the sheet of guidance, which is not read.
pub(super) const READ_ME: &str = "read me";

const ABSENT: &str = "is missing";

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

/// Whether a problem tells of a sheet or column that is not there.
pub(super) fn is_absence(problem: &Problem) -> bool {
    problem.reason.ends_with(ABSENT)
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
    let cure = did_you_mean(
        &wanted,
        all.iter().copied(),
        &format!("Rename it or take it out; the sheets are: {}.", all.join(", ")),
    );
    Err(problem(
        Weight::Error,
        &shown(name),
        None,
        format!("'{}' is not a sheet of the workbook", shown(name)),
        cure,
    ))
}

/// Columns by their position in the file.
pub(super) type Columns = BTreeMap<u32, &'static Column>;

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
                "Rename it or take it out; a blank workbook shows the columns.".to_owned()
            } else {
                format!("Rename it or take it out; the columns are: {}.", all.join(", "))
            };
            let cure = did_you_mean(&wanted, all, &listed);
            problems.push(problem(
                Weight::Error,
                layout.name,
                Some(&shown(name)),
                format!("'{}' is not a column of this sheet", shown(name)),
                cure,
            ));
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
