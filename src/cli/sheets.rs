//! `allheard sheets`: the sheets of a day, for printing.

use super::{Exit, check, instant, say, tell};
use crate::app::clock::HostClock;
use crate::app::sheets;
use crate::domain::board::Board;
use crate::domain::season::{Event, EventId};
use crate::domain::sheets::version;
use crate::domain::words::{did_you_mean, key};
use crate::service::ports::Clock as _;
use crate::workbook;
use std::path::PathBuf;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The workbook: .xlsx, .ods, or a folder of .csv files.
    file: PathBuf,
    /// The folder to write to; made if it is not there.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Only this event, by its name; with the date after it where there are several.
    #[arg(long, value_name = "NAME")]
    event: Option<String>,
    /// Time to print on the sheets, if not now: 2027-06-03T12:00 in the season's time zone.
    #[arg(long, value_name = "INSTANT")]
    at: Option<String>,
    /// Print each sheet to PDF too; needs Chromium or Chrome.
    #[arg(long)]
    pdf: bool,
}

pub(super) fn run(options: &Options) -> Exit {
    let checked = workbook::check(&options.file);
    let Some(season) = checked.season else {
        check::show(&checked.problems);
        return Exit::Wrong;
    };
    let now = match &options.at {
        None => HostClock.now(),
        Some(text) => match instant(&season, text) {
            Some(at) => at,
            None => return Exit::Wrong,
        },
    };
    let called = (0_u32..).zip(&season.events).filter(|(_, event)| !event.cancelled);
    let events: Vec<EventId> = match &options.event {
        None => called.map(|(at, _)| EventId(at)).collect(),
        Some(name) => {
            let dated = |event: &Event| key(&format!("{} {}", event.name, event.date));
            called
                .filter(|(_, event)| [key(&event.name), dated(event)].contains(&key(name)))
                .map(|(at, _)| EventId(at))
                .collect()
        }
    };
    if events.is_empty() {
        let names = season.events.iter().map(|event| event.name.as_str());
        let wanted = options.event.as_deref().unwrap_or_default();
        let cure = did_you_mean(wanted, names, "The sheet 'events' of the workbook names them.");
        tell(format!("no event has the name '{wanted}'. {cure}"));
        return Exit::Wrong;
    }
    let version = version(&checked.book);
    let board = Board::of(season);
    let written = match sheets::write(&board, &events, &version, now, &options.out) {
        Ok(written) => written,
        Err(fault) => {
            tell(fault);
            return Exit::Wrong;
        }
    };
    written.iter().for_each(|page| say(page.display()));
    if options.pdf {
        let printed = sheets::browser().and_then(|browser| {
            written.iter().try_for_each(|page| sheets::print(&browser, page).map(|pdf| say(pdf.display())))
        });
        if let Err(fault) = printed {
            tell(fault);
            return Exit::Unreachable;
        }
    }
    tell(format!(
        "{} sheets of workbook {version}, without answers; print from the coordinator's pages to have them",
        written.len()
    ));
    Exit::Done
}
