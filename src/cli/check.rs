//! `allheard check`: everything wrong with a workbook, at once.

use super::{Exit, pretty, say, tell};
use crate::domain::book::{Problem, Weight};
use crate::workbook;
use serde_json::{Value, json};
use std::path::PathBuf;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The workbook: .xlsx, .ods, or a folder of .csv files.
    file: PathBuf,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Exit {
    let checked = workbook::check(&options.file);
    if options.json {
        let problems: Vec<Value> = checked.problems.iter().map(problem_json).collect();
        say(pretty(&json!({ "usable": !checked.has_errors(), "problems": problems })));
    } else {
        show(&checked.problems);
        if let Some(season) = &checked.season {
            tell(format!(
                "{}: {} children, {} guardians, {} numbers, {} events, {} chaperones",
                season.name,
                season.children.len(),
                season.families().len(),
                season.numbers.len(),
                season.events.len(),
                season.chaperones.len()
            ));
        }
    }
    if checked.has_errors() { Exit::Wrong } else { Exit::Done }
}

/// Shows problems, errors first, then by sheet and row.
pub(super) fn show(problems: &[Problem]) {
    let mut sorted: Vec<&Problem> = problems.iter().collect();
    sorted.sort_by_key(|p| (p.weight, &p.sheet, p.row));
    for problem in &sorted {
        say(problem_line(problem));
    }
    let errors = sorted.iter().filter(|p| p.weight == Weight::Error).count();
    tell(format!("{errors} errors, {} warnings", sorted.len() - errors));
}

fn problem_line(problem: &Problem) -> String {
    let weight = match problem.weight {
        Weight::Error => "error",
        Weight::Warning => "warning",
    };
    let mut place = problem.sheet.clone();
    if let Some(row) = problem.row {
        place.push_str(&format!(", row {row}"));
    }
    if let Some(column) = &problem.column {
        place.push_str(&format!(", {column}"));
    }
    let colon = if place.is_empty() { "" } else { ": " };
    let stop = if problem.reason.ends_with(['.', '?', '!']) { "" } else { "." };
    format!("{weight}: {place}{colon}{}{stop} {}", problem.reason, problem.cure)
}

fn problem_json(problem: &Problem) -> Value {
    json!({
        "weight": match problem.weight { Weight::Error => "error", Weight::Warning => "warning" },
        "sheet": problem.sheet,
        "row": problem.row,
        "column": problem.column,
        "reason": problem.reason,
        "cure": problem.cure,
    })
}
