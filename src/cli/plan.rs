//! `allheard plan`: who would be told what, when and by which channel.

use super::{Exit, check, instant, pretty, say, tell};
use crate::app::config::Config;
use crate::app::{preview, ways};
use crate::domain::wall;
use crate::service::office::Ways;
use crate::service::wording::Wording;
use crate::workbook;
use serde_json::json;
use std::path::PathBuf;

/// Stands for the page address in previews: about as long as a real one.
const SPECIMEN_ADDRESS: &str = "https://show.example.org";

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The workbook: .xlsx, .ods, or a folder of .csv files.
    file: PathBuf,
    /// Plan as of this instant: 2027-02-01T09:00 in the season's zone, or 2027-02-01T09:00:00Z.
    #[arg(long, value_name = "INSTANT")]
    at: String,
    /// Configuration with the text gateways, for what the texts will cost and how families can answer.
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Exit {
    let checked = workbook::check(&options.file);
    let Some(season) = checked.season else {
        check::show(&checked.problems);
        return Exit::Wrong;
    };
    let Some(at) = instant(&season, &options.at) else {
        tell(format!("--at '{}' is no instant; write 2027-02-01T09:00 or 2027-02-01T09:00:00Z", options.at));
        return Exit::Wrong;
    };
    let wording = match Wording::load(None) {
        Ok(wording) => wording,
        Err(faults) => {
            faults.iter().for_each(tell);
            return Exit::Config;
        }
    };
    let specimen = Ways { base_url: SPECIMEN_ADDRESS.to_owned(), ..Ways::default() };
    let (ways, tariffs) = match &options.config {
        None => (specimen, Vec::new()),
        Some(path) => match Config::read(path) {
            Ok(config) => (ways(&config), config.texts.tariffs()),
            Err(fault) => {
                tell(fault);
                return Exit::Config;
            }
        },
    };
    let (board, lines) = preview::lines(season, &wording, &ways, &tariffs, at);
    let costs = preview::costs(&lines);
    if options.json {
        let messages: Vec<_> = lines.iter().map(|line| line.json(&board)).collect();
        say(pretty(&json!({ "at": at.to_string(), "zone": board.season.zone_name, "messages": messages,
            "costs": costs.iter().map(|cost| json!({
                "gateway": cost.gateway, "texts": cost.texts, "segments": cost.segments, "price": cost.price
            })).collect::<Vec<_>>() })));
        return Exit::Done;
    }
    check::series(&board.season);
    for line in &lines {
        let due = wall::local(&board.season.zone, line.wanted.due);
        let names: Vec<&str> =
            line.wanted.guardians.iter().map(|g| board.season.guardians[g.at()].name.as_str()).collect();
        let segments = match line.segments.len() {
            0 => String::new(),
            1 => " (1 segment)".to_owned(),
            n => {
                let causes: String = line.causes.iter().map(|c| format!(" {c}")).collect();
                format!(" ({n} segments{}{causes})", if causes.is_empty() { "" } else { ":" })
            }
        };
        let channel = line.wanted.channel.word();
        say(format!(
            "{}  {channel}  {}{segments}  {}",
            due.strftime("%a %d %b %H:%M"),
            names.join(" and "),
            line.words
        ));
    }
    for cost in &costs {
        let by = if cost.gateway.is_empty() { String::new() } else { format!(" by {}", cost.gateway) };
        let price = if cost.price > 0.0 { format!(", {:.2}", cost.price) } else { String::new() };
        tell(format!("{} texts{by} in {} segments{price}", cost.texts, cost.segments));
    }
    tell(format!("{} messages; nothing was sent", lines.len()));
    Exit::Done
}
