//! Faults to be seen in the files that were sent: twice, at a wrong hour, to one who had opted out, with stale facts.

use super::Violations;
use super::outbox::Entry;
use super::record::{CHANGE, Item, Linked, Season};
use super::view::{Times, View};
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// The digests that come round by a rule; others come once for each notice.
const LIST: &str = "list";

/// Counts them all.
pub(super) fn count(season: &Season, files: &[Linked], found: &mut Violations) {
    let mut order: Vec<&Linked> = files.iter().collect();
    order.sort_by_key(|linked| linked.file.at);
    unaccounted(&order, found);
    duplicates(season, &order, found);
    repeated_digests(season, &order, found);
    for linked in order.into_iter().filter(|linked| !linked.direct) {
        let at = linked.file.at;
        if out_of_hours(season, linked) {
            found.out_of_hours += 1;
            found.example(format!("out of hours: {} at {at}", linked.name()));
        }
        if let Some(guardian) = opted_out(season, linked) {
            found.after_opt_out += 1;
            found.example(format!("after opt-out: {} to {guardian} at {at}", linked.name()));
        }
        if let Some(what) = stale(season, linked) {
            found.stale_facts += 1;
            found.example(format!("stale facts: {} {what} at {at}", linked.name()));
        }
    }
}

fn unaccounted(files: &[&Linked], found: &mut Violations) {
    for linked in files.iter().filter(|l| l.attempt.is_none() && l.digest.is_none() && !l.direct) {
        found.unaccounted += 1;
        found.example(format!("unaccounted: a {} at {}", linked.file.channel, linked.file.at));
    }
}

/// A later file that says an item again is a duplicate unless an uncertain outcome of either message stood between. A
/// change may be told as often as there are changes, each with its own message.
fn duplicates(season: &Season, files: &[&Linked], found: &mut Violations) {
    let mut told: BTreeMap<(&str, &str, Item), &str> = BTreeMap::new();
    for linked in files {
        let (Some(attempt), Some(message)) = (linked.attempt, linked.message.as_deref()) else {
            continue;
        };
        let mut again = None;
        for guardian in &attempt.guardians {
            for item in &attempt.items {
                let mut item = item.clone();
                if item.notice == CHANGE {
                    item.notice = format!("{CHANGE} {message}");
                }
                let shown = format!("{guardian} {}/{}/{}", item.child, item.event, item.notice);
                let earlier = told.insert((guardian, linked.file.channel, item), message);
                let excused = |message: &str| season.record.uncertain(message, linked.file.at);
                if earlier.is_some_and(|earlier| !excused(earlier) && !excused(message)) {
                    again = Some(shown);
                }
            }
        }
        if let Some(shown) = again {
            found.duplicate += 1;
            found.example(format!("duplicate: {message} {shown} at {}", linked.file.at));
        }
    }
}

/// A digest leaves once, whatever became of it; and nobody gets more lists on one local day than the workbook's rule has
/// times.
fn repeated_digests(season: &Season, files: &[&Linked], found: &mut Violations) {
    let mut left: BTreeSet<&str> = BTreeSet::new();
    let mut lists: BTreeMap<(&str, Date), usize> = BTreeMap::new();
    for linked in files {
        let (Some(digest), Some(message)) = (linked.digest, linked.message.as_deref()) else { continue };
        let at = linked.file.at;
        let view = season.view(at);
        let mut again = !left.insert(message);
        if digest.kind == LIST {
            let count = lists.entry((&digest.holder, view.day(at))).or_default();
            *count += 1;
            again |= *count > view.digests_a_day(&digest.holder);
        }
        if again {
            found.duplicate += 1;
            found.example(format!("duplicate: digest {message} to {} at {at}", digest.holder));
        }
    }
}

/// Only a mail that tells of nothing but a change may leave at any hour.
fn out_of_hours(season: &Season, linked: &Linked) -> bool {
    let changes_only = linked
        .attempt
        .is_some_and(|a| !a.items.is_empty() && a.items.iter().all(|item| item.notice == CHANGE));
    let excused = linked.file.channel == "mail" && changes_only;
    !excused && !season.view(linked.file.at).permitted(linked.file.at)
}

fn opted_out(season: &Season, linked: &Linked) -> Option<String> {
    let (channel, at) = (linked.file.channel, linked.file.at);
    let guardians: Vec<String> = match (linked.attempt, linked.digest) {
        (Some(attempt), _) => attempt.guardians.clone(),
        (None, Some(digest)) => vec![digest.holder.clone()],
        (None, None) => season.holders(channel, &linked.file.to).into_iter().map(str::to_owned).collect(),
    };
    guardians.into_iter().find(|guardian| season.record.stopped(guardian, channel, at))
}

fn stale(season: &Season, linked: &Linked) -> Option<String> {
    let view = season.view(linked.file.at);
    let entries = linked.file.entries.iter().filter(|entry| !entry.cancelled);
    let wrong = entries
        .filter(|entry| !agrees(view, entry))
        .map(|entry| format!("{}/{}", entry.child, entry.event))
        .next();
    wrong.or_else(|| stale_words(season, linked))
}

/// Whether a calendar entry has the call and the dismissal of the workbook.
fn agrees(view: &View, entry: &Entry) -> bool {
    let Some(times) = view.event(&entry.event).and_then(|event| view.times(&entry.child, event)) else {
        return false;
    };
    entry.start == Some(times.call) && (times.dismissal.is_none() || entry.end == times.dismissal)
}

/// A text may print only the calls, park-bys, curtain-ups and dismissals of what it is about. One that tells of a change
/// may print the former times too, beside at least one that holds.
fn stale_words(season: &Season, linked: &Linked) -> Option<String> {
    let attempt = linked.attempt.filter(|_| linked.file.channel == "text")?;
    let printed = printed_times(&linked.file.body);
    let at = linked.file.at;
    let now = allowed(season.view(at), &attempt.items);
    if printed.is_empty() || attempt.items.iter().all(|item| item.event == "-") {
        return None;
    }
    let changes: Vec<Item> = attempt.items.iter().filter(|item| item.notice == CHANGE).cloned().collect();
    let mut all = now.clone();
    if !changes.is_empty() {
        let former = season.views.iter().filter(|view| view.from <= at);
        all.extend(former.flat_map(|view| allowed(view, &changes)));
    }
    let wrong = printed.iter().find(|time| !all.contains(time));
    let none_holds = !now.is_empty() && printed.is_disjoint(&now);
    let shown = wrong.or(printed.first().filter(|_| none_holds))?;
    Some(format!("prints {:02}:{:02}", shown.0, shown.1))
}

fn allowed(view: &View, items: &[Item]) -> BTreeSet<(i8, i8)> {
    let events = items.iter().filter_map(|item| view.times(&item.child, view.event(&item.event)?));
    let instants = events.flat_map(|Times { call, park_by, curtain_up, dismissal, before }| {
        // That it begins before one is there is said to nobody.
        let begins = Some(curtain_up).filter(|begins| *begins >= call);
        [Some(call), Some(park_by), begins, dismissal, before[0], before[1]]
    });
    instants.flatten().map(|instant| view.wall(instant)).collect()
}

/// Every time of day in the words: one or two digits, a colon, two digits, and perhaps `am` or `pm`.
pub(super) fn printed_times(words: &str) -> BTreeSet<(i8, i8)> {
    let mut times = BTreeSet::new();
    for (colon, _) in words.match_indices(':') {
        let (before, after) = (&words[..colon], &words[colon + 1..]);
        let digits = before.len() - before.trim_end_matches(|c: char| c.is_ascii_digit()).len();
        let minute = after.len() - after.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        if !(1..=2).contains(&digits) || minute != 2 {
            continue;
        }
        let (Ok(hour), Ok(minute)) = (before[colon - digits..].parse::<i8>(), after[..2].parse::<i8>())
        else {
            continue;
        };
        let half = after[2..].trim_start().to_ascii_lowercase();
        let hour = match hour {
            12 if half.starts_with("am") => 0,
            1..=11 if half.starts_with("pm") => hour + 12,
            _ => hour,
        };
        if hour < 24 && minute < 60 {
            times.insert((hour, minute));
        }
    }
    times
}
