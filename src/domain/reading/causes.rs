//! What was wrong with the file and what was found in it, told so that one cause is one finding.

use crate::domain::book::{Book, Problem, Weight};

/// The problems of a file and those of what it says, by weight. Nothing is told that follows from a sheet or a column that
/// is not there, or could not be read at all.
pub fn told(book: &Book, of_file: Vec<Problem>, of_season: Vec<Problem>) -> Vec<Problem> {
    let errors = || of_file.iter().filter(|problem| problem.weight == Weight::Error);
    let unread: Vec<&str> =
        errors().map(|problem| problem.sheet.as_str()).filter(|sheet| book.rows(sheet).is_empty()).collect();
    let follows = |problem: &Problem| {
        let of_sheet = |sheet: &&str| {
            *sheet == problem.sheet || problem.reason.ends_with(&format!("on the sheet '{sheet}'"))
        };
        // A season that was read in part may be right in everything else that looks odd.
        !unread.is_empty() && (problem.weight != Weight::Error || unread.iter().any(of_sheet))
    };
    // A column that is not there is empty in each line.
    let without_column = |problem: &Problem| {
        let same = |file: &Problem| {
            file.sheet == problem.sheet
                && file.row.is_none()
                && (file.column == problem.column || file.column.is_none())
        };
        problem.reason.ends_with("is empty") && errors().any(same)
    };
    let rest: Vec<Problem> = of_season.into_iter().filter(|p| !(without_column(p) || follows(p))).collect();
    let mut all = of_file;
    all.extend(rest);
    all.sort_by_key(|problem| problem.weight);
    all
}
