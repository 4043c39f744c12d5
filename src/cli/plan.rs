//! `allheard plan`: who would be told what, when and by which channel.

use super::{Exit, check, configured, instant, pretty, say, tell};
use crate::app::config::Config;
use crate::app::{preview, ways};
use crate::domain::board::Board;
use crate::domain::published::reminders::sentence;
use crate::domain::reasons;
use crate::domain::season::Channel;
use crate::domain::summary;
use crate::domain::wall;
use crate::service::office::Ways;
use crate::service::outlook::{Burst, Leaving, totals};
use crate::workbook;
use jiff::SignedDuration;
use serde_json::json;
use std::path::PathBuf;

/// Seconds after its time from which it is said when a message leaves.
const NOTED_DELAY: SignedDuration = SignedDuration::from_secs(60);
/// Stands for the page address in previews: about as long as a real one.
const SPECIMEN_ADDRESS: &str = "https://show.example.org";

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The workbook: .xlsx, .ods, or a folder of .csv files.
    file: PathBuf,
    /// Plan as of this time: 2027-02-01T09:00 in the season's time zone, or 2027-02-01T09:00:00Z.
    #[arg(long, value_name = "INSTANT")]
    at: String,
    /// Configuration with the gateways and the wordings: what texts cost, how long they are and how families answer.
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
    let Some(at) = instant(&season, &options.at) else { return Exit::Wrong };
    let (config, wording) = match configured(options.config.as_deref()) {
        Ok(configured) => configured,
        Err(exit) => return exit,
    };
    let (ways, paces) = match &config {
        None => {
            (Ways { base_url: SPECIMEN_ADDRESS.to_owned(), ..Ways::default() }, Config::default().paces())
        }
        Some(config) => (ways(config), config.paces()),
    };
    let plan = preview::plan(season, &wording, &ways, paces, at);
    let weeks = totals(&plan.bursts);
    let late: usize = plan.bursts.iter().map(|burst| burst.late).sum();
    if options.json {
        let messages: Vec<_> = plan.lines.iter().map(|line| preview::line_json(line, &plan.board)).collect();
        let costs: Vec<_> = preview::costs(&plan.lines)
            .iter()
            .map(|cost| {
                json!({ "gateway": cost.gateway, "texts": cost.texts, "segments": cost.segments,
                    "price": cost.price, "cost": (!cost.bill.is_unknown()).then(|| cost.bill.to_string()) })
            })
            .collect();
        let grounds: Vec<_> = reasons::rests_on(&plan.board, plan.lines.iter().map(|line| &line.wanted))
            .into_iter()
            .map(|(notices, why)| json!({ "notices": notices, "why": why }))
            .collect();
        let beside: Vec<_> = reasons::beside(&plan.board.season)
            .into_iter()
            .map(|(day, step)| {
                json!({ "from": day.to_string(), "what": step.words(), "why": sentence(step.grounds()) })
            })
            .collect();
        say(pretty(
            &json!({ "at": at.to_string(), "zone": plan.board.season.zone_name, "messages": messages,
            "grounds": grounds, "beside": beside,
            "costs": costs, "weeks": weeks.iter().map(preview::week_json).collect::<Vec<_>>(), "late": late }),
        ));
        return Exit::Done;
    }
    for line in summary::lines(&plan.board.season) {
        say(line);
    }
    for burst in &plan.bursts {
        say(burst_line(burst));
    }
    say("");
    check::series(&plan.board.season);
    for line in &plan.lines {
        show(line, &plan.board);
    }
    for cost in preview::costs(&plan.lines) {
        let by = if cost.gateway.is_empty() { String::new() } else { format!(" by {}", cost.gateway) };
        tell(format!("{} texts{by} in {} segments: {}", cost.texts, cost.segments, cost.bill));
    }
    for week in &weeks {
        let channel = week.channel.word();
        let (messages, bill) = (week.messages, &week.bill);
        tell(format!("week of {}: {messages} by {channel}: {bill}", week.monday.strftime("%a %d %b %Y")));
    }
    for burst in plan.bursts.iter().filter(|burst| burst.late > 0) {
        tell(late_words(burst, &plan.board));
    }
    for (names, why) in reasons::rests_on(&plan.board, plan.lines.iter().map(|line| &line.wanted)) {
        tell(format!("{}: {why}", names.join("; ")));
    }
    for (day, step) in reasons::beside(&plan.board.season) {
        let (words, why) = (step.words(), sentence(step.grounds()));
        tell(format!("also to do from {}: {words}. {why}", day.strftime("%a %d %b %Y")));
    }
    if options.config.is_none() {
        tell(
            "add --config FILE for the costs and speeds of your gateways; without it costs are not known and speeds are \
             the defaults",
        );
    }
    tell(format!("{} messages; nothing was sent", plan.lines.len()));
    Exit::Done
}

/// One message in two lines: what, and why then.
fn show(line: &Leaving, board: &Board) {
    let season = &board.season;
    let local = |at| wall::local(&season.zone, at);
    let names: Vec<&str> =
        line.wanted.guardians.iter().map(|g| season.guardians[g.at()].name.as_str()).collect();
    let segments = match line.segments.len() {
        0 => String::new(),
        1 => " (1 segment)".to_owned(),
        n => {
            let causes: String = line.causes.iter().map(|c| format!(" {c}")).collect();
            format!(" ({n} segments{}{causes})", if causes.is_empty() { "" } else { ":" })
        }
    };
    say(format!(
        "{}  {}  {}{segments}  {}",
        local(line.wanted.due).strftime("%a %d %b %H:%M"),
        line.wanted.channel.word(),
        names.join(" and "),
        line.words
    ));
    let leaves = match line.leaves {
        Some(at) if at.duration_since(line.wanted.due) < NOTED_DELAY => String::new(),
        Some(at) => format!("; leaves {}", local(at).strftime("%a %d %b %H:%M:%S")),
        None => "; cannot leave in time".to_owned(),
    };
    let cost = line.cost.map_or_else(String::new, |cost| format!("; {cost}"));
    say(format!("    {}{leaves}{cost}", line.why));
}

/// The messages of one day, channel and set of notices in one line.
fn burst_line(burst: &Burst) -> String {
    let what = match burst.channel {
        Channel::Text if burst.messages == 1 => "text",
        Channel::Text => "texts",
        Channel::Mail if burst.messages == 1 => "mail",
        Channel::Mail => "mails",
    };
    format!("{}  {} {what}: {}", burst.day.strftime("%a %d %b %Y"), burst.messages, burst.notices)
}

/// That messages cannot leave in time, and what would help.
fn late_words(burst: &Burst, board: &Board) -> String {
    let start = match burst.start {
        Some(at) => {
            let at = wall::local(&board.season.zone, at);
            format!("they would have to begin by {}", at.strftime("%a %d %b %H:%M"))
        }
        None => "no start in the week before would do".to_owned(),
    };
    format!(
        "{} of {} by {} on {} cannot leave in time ({}): {start}, or the gateway would have to be faster",
        burst.late,
        burst.messages,
        burst.channel.word(),
        burst.day.strftime("%a %d %b"),
        burst.notices
    )
}
