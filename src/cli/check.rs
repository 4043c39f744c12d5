//! `allheard check`: everything wrong with a workbook, at once.

use super::{Exit, configured, pretty, say, tell};
use crate::domain::book::{Problem, Weight};
use crate::domain::reading::translations::unworded;
use crate::domain::season::{Event, EventId, Season, Series};
use crate::domain::summary;
use crate::workbook;
use serde_json::{Value, json};
use std::path::PathBuf;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The workbook: .xlsx, .ods, or a folder of .csv files.
    file: PathBuf,
    /// Configuration with the wordings, to know their languages.
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Exit {
    let mut checked = workbook::check(&options.file);
    let wording = match configured(options.config.as_deref()) {
        Ok((_, wording)) => wording,
        Err(exit) => return exit,
    };
    if let Some(season) = &checked.season {
        checked.problems.extend(unworded(season, &wording.languages()));
    }
    if options.json {
        let problems: Vec<Value> = checked.problems.iter().map(problem_json).collect();
        let repeats: Vec<Value> = checked.season.iter().flat_map(series_json).collect();
        let digests: Vec<Value> = checked
            .season
            .iter()
            .flat_map(rules)
            .map(|(who, rule)| json!({ "to": who, "reads": rule }))
            .collect();
        say(pretty(&json!({
            "usable": !checked.has_errors(), "problems": problems, "repeats": repeats, "digests": digests,
        })));
    } else {
        show(&checked.problems);
        if let Some(season) = &checked.season {
            series(season);
            for (who, rule) in rules(season) {
                tell(format!("digest to {who}: {rule}, when there is something to say"));
            }
            for line in summary::lines(season) {
                tell(line);
            }
        }
    }
    if checked.has_errors() { Exit::Wrong } else { Exit::Done }
}

/// Who is sent digests, and how the rule was read.
fn rules(season: &Season) -> Vec<(&'static str, String)> {
    let settings = &season.settings;
    let rules =
        [("each chaperone", &settings.chaperone_digest), ("the coordinator", &settings.coordinator_digest)];
    rules.into_iter().filter_map(|(who, rule)| Some((who, rule.as_ref()?.words()))).collect()
}

/// Says how each line that comes round again was read, and which days that makes.
pub(super) fn series(season: &Season) {
    for one in &season.series {
        let events: Vec<&Event> = one.events.iter().map(|id| &season.events[id.at()]).collect();
        let dates: Vec<String> = events.iter().map(|event| event.date.to_string()).collect();
        let off: Vec<String> =
            events.iter().filter(|event| event.cancelled).map(|event| event.date.to_string()).collect();
        let off = if off.is_empty() { String::new() } else { format!("; called off on {}", off.join(", ")) };
        tell(format!("{}: {}, {} times: {}{off}", one.name, one.words, dates.len(), dates.join(", ")));
    }
}

fn series_json(season: &Season) -> Vec<Value> {
    let event = |id: &EventId| {
        let event = &season.events[id.at()];
        json!({
            "ref": event.reference, "date": event.date.to_string(), "call": event.call.strftime("%H:%M").to_string(),
            "starts": event.starts.strftime("%H:%M").to_string(), "cancelled": event.cancelled,
        })
    };
    let one = |one: &Series| json!({ "name": one.name, "reads": one.words, "events": one.events.iter().map(event).collect::<Vec<_>>() });
    season.series.iter().map(one).collect()
}

/// Shows problems by weight, then by sheet and row, and counts them.
pub(super) fn show(problems: &[Problem]) {
    let mut sorted: Vec<&Problem> = problems.iter().collect();
    sorted.sort_by_key(|p| p.weight);
    for problem in &sorted {
        say(problem_line(problem));
    }
    let counted = |weight: Weight| {
        let count = sorted.iter().filter(|p| p.weight == weight).count();
        format!("{count} {}{}", weight.word(), if count == 1 { "" } else { "s" })
    };
    let all = [Weight::Error, Weight::Warning, Weight::Hint].map(counted);
    tell(all.join(", "));
}

fn problem_line(problem: &Problem) -> String {
    let weight = problem.weight.word();
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
        "weight": problem.weight.word(),
        "sheet": problem.sheet,
        "row": problem.row,
        "column": problem.column,
        "reason": problem.reason,
        "cure": problem.cure,
    })
}
