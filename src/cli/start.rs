//! `allheard start`: sets the season going, after saying what will leave.

use super::{ConfigFile, Exit, agreed, block_on_exit, say, tell};
use crate::app::config::Config;
use crate::app::{House, open};
use crate::domain::wall;
use crate::service::office::OfficeFault;
use crate::service::ports::{Course, Doubt, Hand};
use jiff::Timestamp;

/// Days whose messages are named before the season is set going.
const DAYS_NAMED: i64 = 7;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    #[command(flatten)]
    file: ConfigFile,
    /// Start without asking.
    #[arg(long)]
    yes: bool,
    /// Sending is held because of the clock: it is right as it is now.
    #[arg(long)]
    clock_is_right: bool,
    /// Sending is held after a copy was put back: what is in doubt has been looked at.
    #[arg(long)]
    after_restore: bool,
}

pub(super) fn run(options: &Options) -> Exit {
    at_work(&options.file, async |house, _| {
        let words = [(options.clock_is_right, Doubt::Clock), (options.after_restore, Doubt::Restored)];
        for (_, doubt) in words.into_iter().filter(|(said, _)| *said) {
            let lifted = house.settle_doubt(doubt).await?;
            tell(if lifted { "noted: sending goes on" } else { "sending was not held for that" });
        }
        if house.course().await?.is_going() {
            tell(state(house).await?);
            return Ok(Exit::Done);
        }
        let outlook = house.outlook().await?;
        let (soon, bill) = outlook.within(DAYS_NAMED);
        let cost = if bill.is_unknown() { "a cost that is not known".to_owned() } else { bill.to_string() };
        say(format!(
            "{} messages are planned; {soon} of them in the next {DAYS_NAMED} days, for {cost}",
            outlook.all.len()
        ));
        if !options.yes && !agreed("start sending?", "add --yes to start sending") {
            tell("nothing was started");
            return Ok(Exit::Wrong);
        }
        house.set_going(Hand::Command).await?;
        tell(
            "started: messages are sent when they are due, as long as `allheard serve` runs; `allheard pause` stops them",
        );
        Ok(Exit::Done)
    })
}

/// Opens the house, works in it and closes it; faults have been told.
pub(super) fn at_work(
    file: &ConfigFile,
    work: impl AsyncFnOnce(&House, &Config) -> Result<Exit, OfficeFault>,
) -> Exit {
    let Some(config) = file.read() else { return Exit::Config };
    block_on_exit(async {
        let house = match open(&config).await {
            Ok(house) => house,
            Err(fault) => {
                tell(fault);
                return Exit::Unreachable;
            }
        };
        let exit = work(&house, &config).await.unwrap_or_else(|fault| {
            tell(&fault);
            match fault {
                OfficeFault::Store(_) => Exit::Unreachable,
                OfficeFault::NoSeason | OfficeFault::Workbook(_) => Exit::Wrong,
            }
        });
        house.store.close().await;
        exit
    })
}

/// Whether planned messages leave, in words for whoever sits at the host.
pub(super) async fn state(house: &House) -> Result<String, OfficeFault> {
    let zone = house.desk().await?.board.season.zone.clone();
    let moment = |at: Timestamp| wall::local(&zone, at).strftime("%a %d %b %H:%M").to_string();
    let held = house.holds().await?;
    if let Some(hold) = held.first() {
        let flag = match hold.doubt {
            Doubt::Clock => "--clock-is-right",
            Doubt::Restored => "--after-restore",
        };
        return Ok(format!(
            "nothing is sent, because {}. Decide at /season, or with `allheard start {flag}`",
            hold.why
        ));
    }
    Ok(match house.course().await? {
        Course::NotYet => {
            "not started: nothing is sent. Look at /season/plan, then start there or with `allheard start`"
                .to_owned()
        }
        Course::Going { since, .. } => format!("started; sending since {}", moment(since)),
        Course::Paused { since, .. } => format!(
            "paused since {}: nothing planned is sent until `allheard start`, or Resume sending at /season/plan",
            moment(since)
        ),
    })
}
