//! The commands: one file each. Data goes to standard output, talk to standard error.

mod backup;
mod bring;
mod check;
mod config;
mod demo;
mod inbound_mail;
mod ledger;
mod links;
mod pause;
mod plan;
mod rehearse;
mod serve;
mod sheets;
mod start;
mod text;
mod workbook;

use crate::app;
use crate::app::config::Config;
use crate::domain::season::Season;
use crate::domain::wall;
use crate::service::wording::Wording;
use clap::{Parser, Subcommand};
use jiff::Timestamp;
use jiff::civil::DateTime;
use std::fmt::Display;
use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};

/// How a command ended, as an exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done,
    /// Done, and something is wrong with what it was given.
    Wrong,
    /// The configuration is wrong.
    Config,
    /// Something it needs could not be reached.
    Unreachable,
    /// Nothing was taken in; whoever brought it should try again.
    TryAgain,
}

impl Exit {
    /// 0 done, 1 wrong, 3 configuration, 4 not reachable, 75 try again (EX_TEMPFAIL of sysexits.h); 2 is for a wrong
    /// command line.
    pub fn code(self) -> u8 {
        match self {
            Exit::Done => 0,
            Exit::Wrong => 1,
            Exit::Config => 3,
            Exit::Unreachable => 4,
            Exit::TryAgain => 75,
        }
    }
}

/// Tells every guardian in a children's show their child's times, and shows who has answered and whom to ring.
#[derive(Debug, Parser)]
#[command(name = "allheard", version)]
struct Line {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Try it with an invented season and families who answer. Needs no setup and sends nothing.
    Demo(demo::Options),
    /// Write a workbook: a blank one, or the demonstration's.
    Workbook {
        #[command(subcommand)]
        which: workbook::Which,
    },
    /// Check a workbook and list every problem in it.
    Check(check::Options),
    /// Show who would get which message, when, and by mail or text. Sends nothing.
    Plan(plan::Options),
    /// Simulate the season many times with invented families: when answers would come, how many families would be left
    /// to ring, and which change of plan would help. Sends nothing.
    Rehearse(rehearse::Options),
    /// Write the day's sheets for printing: clipboards, the quick-change room, the door, the wall and more.
    Sheets(sheets::Options),
    /// Load the workbook, the first or a corrected one. Shows what would change, then asks.
    Bring(bring::Options),
    /// Start sending: from then on messages are sent when they are due. First says what will be sent, and asks.
    Start(start::Options),
    /// Pause sending: nothing planned is sent until you start again. Replies to people's own messages still go out.
    Pause(pause::Options),
    /// Run the service: send messages, take in answers and show the pages.
    Serve(serve::Options),
    /// Take in one mail from standard input, for mail servers that hand mail to a program.
    InboundMail(inbound_mail::Options),
    /// Print a new link to the coordinator's pages, which ends the earlier ones, and links to the chaperones' lists.
    Links(links::Options),
    /// Copy the database into a file, while the service runs.
    Backup(backup::Backup),
    /// Put such a copy back, while the service does not run. The database before is kept.
    Restore(backup::Restore),
    /// Count the parts (segments) of a text, and name the characters that make it longer.
    Text(text::Options),
    /// The record of who was told what and what they answered.
    Ledger {
        #[command(subcommand)]
        what: ledger::What,
    },
    /// Print a configuration file with every key and its default.
    Config,
}

/// Where the configuration is.
#[derive(Debug, clap::Args)]
struct ConfigFile {
    /// The configuration file.
    #[arg(long, value_name = "FILE", env = "ALLHEARD_CONFIG")]
    config: PathBuf,
}

impl ConfigFile {
    /// Reads it; what is wrong has been told.
    fn read(&self) -> Option<Config> {
        Config::read(&self.config).map_err(tell).ok()
    }
}

/// Runs the command line; gives back the exit code.
pub fn run() -> u8 {
    let line = Line::parse();
    let exit = match line.command {
        Command::Demo(options) => demo::run(options),
        Command::Workbook { which } => workbook::run(&which),
        Command::Check(options) => check::run(&options),
        Command::Plan(options) => plan::run(&options),
        Command::Rehearse(options) => rehearse::run(&options),
        Command::Sheets(options) => sheets::run(&options),
        Command::Bring(options) => bring::run(&options),
        Command::Start(options) => start::run(&options),
        Command::Pause(options) => pause::run(&options),
        Command::Serve(options) => serve::run(&options),
        Command::InboundMail(options) => inbound_mail::run(&options),
        Command::Links(options) => links::run(&options),
        Command::Backup(options) => backup::back(&options),
        Command::Restore(options) => backup::restore(&options),
        Command::Text(options) => text::run(&options),
        Command::Ledger { what } => ledger::run(&what),
        Command::Config => config::run(),
    };
    exit.code()
}

/// Writes a line of data to standard output; a reader who has gone away ends the program quietly.
fn say(line: impl Display) {
    let mut out = std::io::stdout().lock();
    if writeln!(out, "{line}").and_then(|()| out.flush()).is_err() {
        std::process::exit(0);
    }
}

/// Writes a line of talk to standard error.
fn tell(line: impl Display) {
    let _ = writeln!(std::io::stderr().lock(), "allheard: {line}");
}

/// The configuration of a file, where one is given, and the words it leads to; what is wrong with either is told.
fn configured(file: Option<&Path>) -> Result<(Option<Config>, Wording), Exit> {
    let config = file.map(Config::read).transpose().map_err(|fault| {
        tell(fault);
        Exit::Config
    })?;
    let words = config.as_ref().map_or_else(|| Wording::load(None), app::wording).map_err(|faults| {
        faults.iter().for_each(tell);
        Exit::Config
    })?;
    Ok((config, words))
}

/// Whether whoever sits at the terminal types yes; without a terminal, what to write instead is told.
fn agreed(question: &str, instead: &str) -> bool {
    if !std::io::stdin().is_terminal() {
        tell(instead);
        return false;
    }
    tell(format!("{question} Type yes:"));
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line).is_ok() && line.trim().eq_ignore_ascii_case("yes")
}

/// JSON as people read it.
fn pretty(value: &serde_json::Value) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default()
}

/// A runtime for commands that talk to the store or the network.
fn block_on<T>(work: impl Future<Output = T>) -> Result<T, std::io::Error> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().worker_threads(2).build()?;
    Ok(runtime.block_on(work))
}

/// As [`block_on_exit`], on this thread alone: each thread keeps memory of its own that the others cannot use again.
fn block_on_here(work: impl Future<Output = Exit>) -> Exit {
    match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(runtime) => runtime.block_on(work),
        Err(error) => {
            tell(format!("the program cannot start its runtime: {error}"));
            Exit::Unreachable
        }
    }
}

/// As [`block_on`], for work that ends in an exit.
fn block_on_exit(work: impl Future<Output = Exit>) -> Exit {
    block_on(work).unwrap_or_else(|error| {
        tell(format!("the program cannot start its threads: {error}"));
        Exit::Unreachable
    })
}

/// An instant as typed after `--at`: local time of the season, or with its offset. What is none has been told.
fn instant(season: &Season, text: &str) -> Option<Timestamp> {
    let local = || text.parse::<DateTime>().ok().map(|local| wall::instant(&season.zone, local));
    let at = if text.ends_with(['Z', 'z']) || text.contains('+') { text.parse().ok() } else { local() };
    if at.is_none() {
        tell(format!("--at '{text}' is not a time; write 2027-02-01T09:00 or 2027-02-01T09:00:00Z"));
    }
    at
}
