//! `allheard rehearse`: the season many times over with invented families.

use super::{Exit, block_on, check, configured, instant, pretty, say, tell};
use crate::app::clock::HostClock;
use crate::app::rehearse::{Report, Wish, rehearse, so_far};
use crate::app::ways;
use crate::domain::board::Board;
use crate::domain::record::Record;
use crate::domain::rehearsal::outlook::{Gain, OutlookSpread, Paired};
use crate::domain::season::{ChaperoneId, EventId};
use crate::domain::wall;
use crate::service::office::Ways;
use crate::service::ports::Clock as _;
use crate::workbook;
use jiff::Timestamp;
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

/// Stands for the page address in texts whose segments are counted: about as long as a real one.
const SPECIMEN_ADDRESS: &str = "https://show.example.org";
/// Days before an event for what is settled early.
const EARLY_DAYS: i32 = 7;
/// Errors of a mean within which a difference does not show (95 of 100 means of nothing at all lie within 1.96).
const SHOWS_ERRORS: f64 = 2.0;
/// Characters of a chaperone's name and of a column beside it.
const NAME: usize = 28;
/// Characters of a column of counts.
const COLUMN: usize = 13;
/// Seasons at most.
const SEASONS_MAX: u32 = 100_000;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The workbook: .xlsx, .ods, or a folder of .csv files.
    file: PathBuf,
    /// How many seasons.
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u32).range(1..=i64::from(SEASONS_MAX)))]
    seasons: u32,
    /// On how many of them to try each change of plan; 0 for none.
    #[arg(long, value_name = "SEASONS", default_value_t = 10)]
    changes: u32,
    /// Which families.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Begin at this time, not with the first notice: 2027-02-01T09:00 in the season's time zone.
    #[arg(long, value_name = "INSTANT")]
    at: Option<String>,
    /// Days before an event when chaperones ring families who have not answered, at 18:00.
    #[arg(long, value_name = "DAYS", default_value_t = 5, value_parser = clap::value_parser!(i32).range(0..=365))]
    calls: i32,
    /// Price of a segment, a number.
    #[arg(long, value_name = "AMOUNT")]
    per_text: Option<f64>,
    /// Price of a mail, a number.
    #[arg(long, value_name = "AMOUNT")]
    per_mail: Option<f64>,
    /// Configuration of a running season: begin with its answers so far, and learn from them.
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
    let mut from = None;
    if let Some(text) = &options.at {
        from = instant(&season, text);
        if from.is_none() {
            return Exit::Wrong;
        }
    }
    for (name, price) in [("--per-text", options.per_text), ("--per-mail", options.per_mail)] {
        if price.is_some_and(|price| !price.is_finite() || price < 0.0) {
            tell(format!("{name} is a price; write a number such as 0.04"));
            return Exit::Wrong;
        }
    }
    let (config, wording) = match configured(options.config.as_deref()) {
        Ok(configured) => configured,
        Err(exit) => return exit,
    };
    let mut roads = Ways { base_url: SPECIMEN_ADDRESS.to_owned(), ..Ways::default() };
    let mut record: Option<Record> = None;
    if let Some(config) = &config {
        roads = ways(config);
        let now = *from.get_or_insert_with(|| HostClock.now());
        let board = Board::of(season.clone());
        record = match block_on(so_far(config, &board, &checked.book, now)) {
            Ok(Ok(Some(record))) => Some(record),
            Ok(Ok(None)) => {
                tell("no workbook has been loaded yet; leave out --config to simulate from the beginning");
                return Exit::Wrong;
            }
            Ok(Err(fault)) => {
                tell(fault);
                return Exit::Unreachable;
            }
            Err(fault) => {
                tell(fault);
                return Exit::Unreachable;
            }
        };
    }
    let wish = Wish {
        seasons: options.seasons,
        tried: options.changes.min(options.seasons),
        seed: options.seed,
        from,
        ring_days: options.calls,
        early_days: EARLY_DAYS,
        per_text: options.per_text,
        per_mail: options.per_mail,
    };
    let Some(report) = rehearse(&season, record.as_ref(), &wish, &wording, &roads) else {
        tell("no notice in this workbook ever falls due; there is nothing to simulate");
        return Exit::Wrong;
    };
    if options.json {
        say(pretty(&report.json()));
    } else {
        Told(&report).lines().iter().for_each(say);
        tell(format!("{} seasons simulated; nothing was sent", options.seasons));
    }
    Exit::Done
}

/// A report in lines for people.
struct Told<'a>(&'a Report);

impl Told<'_> {
    fn local(&self, at: Timestamp) -> jiff::civil::DateTime {
        wall::local(&self.0.stage.board.season.zone, at)
    }

    fn lines(&self) -> Vec<String> {
        let (stage, outlook) = (&self.0.stage, &self.0.outlook);
        let season = &stage.board.season;
        let habits = match self.0.fitted.as_ref().map_or(0, |fitted| fitted.answers) {
            0 => "assumed habits".to_owned(),
            answers => format!("habits learnt from {answers} answers so far"),
        };
        let mut lines = vec![format!(
            "{}: {} seasons with invented families ({habits}), seed {}. Counts are means; in brackets what 8 seasons of 10 \
             lie between.",
            season.name, outlook.seasons, self.0.wish.seed
        )];
        for matter in self.0.matters() {
            lines.push(String::new());
            lines.push(format!("{}: {} children", self.0.matter_name(matter), stage.children(matter)));
            lines.push(format!("  {:<10}  {:>16}  {:>18}", "evening", "settled", "guardians heard"));
            for (day, date) in self.0.days(matter) {
                let [settled, heard] =
                    [&outlook.settled[matter][day], &outlook.heard[matter][day]].map(counted);
                lines.push(format!("  {}  {settled:>16}  {heard:>18}", date.strftime("%a %d %b")));
            }
            let event = EventId(matter as u32);
            if let Some(moments) = stage.moments.get(&event) {
                let open = [&outlook.left[matter], &outlook.cant_come[matter]].map(counted);
                let calls = moments.ring.map_or(String::new(), |ring| {
                    let (when, calls) =
                        (self.local(ring).strftime("%a %d %b %H:%M"), counted(&outlook.calls[matter]));
                    format!("to ring about on {when}: {calls} children; after one call each ")
                });
                lines.push(format!(
                    "  {calls}still open at the first call: {}; can't come: {}",
                    open[0], open[1]
                ));
            }
        }
        lines.extend(self.chaperone_lines());
        let [mails, texts, segments, refused] =
            [&outlook.mails, &outlook.texts, &outlook.segments, &outlook.refused].map(counted);
        lines.push(String::new());
        lines.push(format!(
            "Messages: {mails} mails, {texts} texts in {segments} segments; {refused} refused"
        ));
        if let Some(price) = self.0.price(outlook.mails.mean(), outlook.segments.mean()) {
            lines.push(format!("Cost: {price:.2}"));
        }
        lines.extend(self.gain_lines());
        lines
    }

    /// A line for each chaperone, a column for each event.
    fn chaperone_lines(&self) -> Vec<String> {
        let (stage, outlook) = (&self.0.stage, &self.0.outlook);
        let season = &stage.board.season;
        let mut rows: BTreeMap<ChaperoneId, BTreeMap<EventId, &OutlookSpread>> = BTreeMap::new();
        for ((event, chaperone), (ring, _)) in stage.lists.iter().zip(&outlook.lists) {
            rows.entry(*chaperone).or_default().insert(*event, ring);
        }
        let events: BTreeSet<EventId> = stage.lists.iter().map(|(event, _)| *event).collect();
        if rows.is_empty() {
            return Vec::new();
        }
        let column = |text: &str| format!("  {:>COLUMN$}", text.chars().take(COLUMN).collect::<String>());
        let heads: String = events.iter().map(|event| column(&season.events[event.at()].name)).collect();
        let mut lines = vec![
            String::new(),
            "Children to ring about, by chaperone; a child with two of them is on both lists".to_owned(),
            format!("  {:<NAME$}{heads}", ""),
        ];
        for (chaperone, lists) in rows {
            let cell = |event| column(&lists.get(event).map_or(String::new(), |ring| finely(ring)));
            let cells: String = events.iter().map(cell).collect();
            lines.push(format!("  {:<NAME$}{cells}", season.chaperones[chaperone.at()].name));
        }
        lines
    }

    /// The changes of plan that show: those that save calls, then those that save messages and cost no call.
    fn gain_lines(&self) -> Vec<String> {
        let gains = &self.0.gains;
        if gains.is_empty() {
            return Vec::new();
        }
        let (tried, calls) = (self.0.wish.tried, self.0.outlook.all_calls.mean());
        let mut lines = vec![
            String::new(),
            format!(
                "Changes of plan, tried on {tried} seasons with the same families: how much more or less in the mean, ± its \
                 standard error; of {calls:.0} calls in all"
            ),
        ];
        let saves: Vec<&Gain> = gains.iter().filter(|gain| beyond(&gain.calls) == Ordering::Less).collect();
        let spares = |gain: &&Gain| {
            beyond(&gain.calls) == Ordering::Equal
                && beyond(&gain.early) != Ordering::Less
                && gain.texts.mean() + gain.mails.mean() <= -1.0
        };
        let spares: Vec<&Gain> = gains.iter().filter(spares).collect();
        lines.extend(self.gain_table("These save calls, most for each text more first:", &saves));
        lines.extend(self.gain_table("These save messages and cost no call that shows:", &spares));
        lines.push(format!(
            "  {} others do neither (--json shows them)",
            gains.len() - saves.len() - spares.len()
        ));
        lines
    }

    fn gain_table(&self, title: &str, gains: &[&Gain]) -> Vec<String> {
        if gains.is_empty() {
            return Vec::new();
        }
        let early = format!("settled -{} d", self.0.wish.early_days);
        let heads = ["calls", &early, "texts", "mails"].map(|head| format!("{head:>13}")).join("  ");
        let mut lines = vec![format!("  {title}"), format!("  {heads}  change")];
        for gain in gains {
            let cells = [&gain.calls, &gain.early, &gain.texts, &gain.mails].map(signed);
            let cells = cells.map(|cell| format!("{cell:>13}")).join("  ");
            let price = self.0.price(gain.mails.mean(), gain.segments.mean());
            let price = price.map_or(String::new(), |price| format!(" ({price:+.2})"));
            let words = gain.change.words(&self.0.stage.board.season);
            lines.push(format!("  {cells}  {words}{price}"));
        }
        lines
    }
}

/// Whether a difference shows, and which way.
fn beyond(paired: &Paired) -> Ordering {
    let within = SHOWS_ERRORS * paired.error().unwrap_or(f64::INFINITY);
    if paired.mean().abs() > within { paired.mean().total_cmp(&0.0) } else { Ordering::Equal }
}

fn counted(spread: &OutlookSpread) -> String {
    let (low, high) = spread.range();
    format!("{:.0} ({low}-{high})", spread.mean())
}

/// As [`counted`], for small counts.
fn finely(spread: &OutlookSpread) -> String {
    let (low, high) = spread.range();
    format!("{:.1} ({low}-{high})", spread.mean())
}

fn signed(paired: &Paired) -> String {
    let error = paired.error().map_or(String::new(), |error| format!(" ±{error:.1}"));
    format!("{:+.1}{error}", paired.mean())
}
