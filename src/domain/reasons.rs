//! Why a planned message leaves when it does, in words for the coordinator.

use super::board::{Board, Item};
use super::due::{Due, first_show};
use super::plan::Wanted;
use super::published::reminders::ReminderStep;
use super::record::{NoticeKey, Record};
use super::season::{Anchor, Offset, Season};
use super::wall;
use jiff::civil::{Date, Time};
use jiff::{Timestamp, ToSpan};
use std::collections::BTreeSet;

/// Minutes from which a distance in whole hours is said in hours.
const SAID_IN_HOURS: i64 = 120;

/// The rule a message follows, what moved it, and what goes with it, in one line.
pub fn why(board: &Board, record: &Record, wanted: &Wanted, now: Timestamp) -> String {
    let dues: Vec<(NoticeKey, Option<Due>)> =
        wanted.parts.iter().map(|(item, notice)| (*notice, due_of(board, *item, *notice))).collect();
    // The part that is due first takes the others along.
    let first = dues.iter().min_by_key(|(notice, due)| {
        (due.map_or(record.revised_at, |due| due.at), matches!(notice, NoticeKey::Change(_)))
    });
    let mut words = match first {
        Some((NoticeKey::Rule(at), Some(due))) => by_rule(board, *at, *due),
        _ => by_change(board, record, wanted),
    };
    let others = others(board, &dues, first.map(|(notice, _)| *notice));
    if !others.is_empty() {
        words.push_str(&format!("; with it goes {}", others.join(", ")));
    }
    if wanted.due < now {
        words.push_str("; that moment is past, so it leaves as soon as it may");
    }
    words
}

/// What a person calls the notice of a part.
pub fn notice_name(board: &Board, notice: NoticeKey) -> &str {
    match notice {
        NoticeKey::Rule(at) => &board.season.notices[at].name,
        NoticeKey::Change(_) => "A change",
    }
}

/// What the notices of messages rest on, as the workbook says: the names of those that rest on the same, and the words.
pub fn rests_on<'a>(
    board: &'a Board,
    messages: impl IntoIterator<Item = &'a Wanted>,
) -> Vec<(Vec<&'a str>, &'a str)> {
    let parts = messages.into_iter().flat_map(|message| &message.parts);
    let wanted: BTreeSet<usize> = parts
        .filter_map(|(_, notice)| match notice {
            NoticeKey::Rule(at) => Some(*at),
            NoticeKey::Change(_) => None,
        })
        .collect();
    let mut all: Vec<(Vec<&str>, &str)> = Vec::new();
    for notice in wanted.into_iter().map(|at| &board.season.notices[at]) {
        match all.iter_mut().find(|(_, why)| *why == notice.why) {
            _ if notice.why.is_empty() => {}
            Some((names, _)) => names.push(notice.name.as_str()),
            None => all.push((vec![notice.name.as_str()], notice.why.as_str())),
        }
    }
    all
}

/// What people do beside the messages, each with the local day it begins; nothing while there is no show to count from.
pub fn beside(season: &Season) -> Vec<(Date, ReminderStep)> {
    let Some(first) = first_show(season).map(|at| wall::local(&season.zone, at).date()) else {
        return Vec::new();
    };
    let begins = |step: ReminderStep| {
        let days = match step {
            ReminderStep::ClassDoor => season.settings.class_door_days,
            ReminderStep::Calls => season.settings.calls_days,
            ReminderStep::OnlyChanges => 0,
        };
        (first.saturating_sub(i64::from(days).days()), step)
    };
    let mut all: Vec<(Date, ReminderStep)> = ReminderStep::ALL.into_iter().map(begins).collect();
    all.sort_by_key(|(day, _)| *day);
    all
}

fn due_of(board: &Board, item: Item, notice: NoticeKey) -> Option<Due> {
    let NoticeKey::Rule(at) = notice else { return None };
    match item.event {
        Some(event) => board.due(board.programme.position(item.who, event)?, at),
        None => board.season_due(at),
    }
}

fn by_rule(board: &Board, at: usize, due: Due) -> String {
    let notice = &board.season.notices[at];
    let moved = moved(board, due.meant, due.at);
    format!("{}: {}{moved}", notice.name, distance(notice.offset, notice.anchor))
}

fn by_change(board: &Board, record: &Record, wanted: &Wanted) -> String {
    if wanted.at_once {
        return "A change that no permitted hour is left for: by mail at once".to_owned();
    }
    let moved = moved(board, record.revised_at, wanted.due);
    format!("A change of what was told: at once{moved}")
}

/// The names of the other notices of a message, each once.
fn others(board: &Board, dues: &[(NoticeKey, Option<Due>)], first: Option<NoticeKey>) -> Vec<String> {
    let said = first.map(|notice| notice_name(board, notice));
    let mut names: Vec<String> = Vec::new();
    for (notice, _) in dues {
        let name = notice_name(board, *notice);
        if said != Some(name) && !names.iter().any(|other| other == name) {
            names.push(name.to_owned());
        }
    }
    names
}

/// How far before what a notice leaves.
pub fn distance(offset: Offset, anchor: Anchor) -> String {
    let from = match anchor {
        Anchor::Call => "the call".to_owned(),
        Anchor::ParkBy => "the time to park by".to_owned(),
        Anchor::CurtainUp => "curtain up".to_owned(),
        Anchor::Dismissal => "dismissal".to_owned(),
        Anchor::FirstShow => "the first show".to_owned(),
        Anchor::Date(date) => day(date),
    };
    match offset {
        Offset::DaysBefore { days: 0, at } if matches!(anchor, Anchor::Date(_)) => {
            format!("on {from} at {}", clock(at))
        }
        Offset::DaysBefore { days: 0, at } => format!("the day of {from} at {}", clock(at)),
        Offset::DaysBefore { days: 1, at } => format!("the day before {from} at {}", clock(at)),
        Offset::DaysBefore { days, at } => format!("{days} days before {from} at {}", clock(at)),
        Offset::MinutesBefore(0) => format!("at {from}"),
        Offset::MinutesBefore(minutes) if minutes >= SAID_IN_HOURS && minutes % 60 == 0 => {
            format!("{} hours before {from}", minutes / 60)
        }
        Offset::MinutesBefore(minutes) => format!("{minutes} minutes before {from}"),
    }
}

/// How quiet hours moved a message; empty if they did not.
fn moved(board: &Board, meant: Timestamp, at: Timestamp) -> String {
    if meant == at {
        return String::new();
    }
    let (meant, at) = (wall::local(&board.season.zone, meant), wall::local(&board.season.zone, at));
    let both = if meant.date() == at.date() {
        format!("from {} to {}", clock(meant.time()), clock(at.time()))
    } else {
        format!(
            "from {}, {}, to {}, {}",
            day(meant.date()),
            clock(meant.time()),
            day(at.date()),
            clock(at.time())
        )
    };
    format!(", moved {both} by the quiet hours")
}

fn clock(time: Time) -> String {
    time.strftime("%H:%M").to_string()
}

fn day(date: Date) -> String {
    date.strftime("%-d %B %Y").to_string()
}
