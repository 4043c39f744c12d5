//! What a message has to say beside its times: who signs, who sends it, what is asked, when one has to be there tomorrow.

use super::Violations;
use super::faults::printed_times;
use super::record::{CHANGE, Item, Linked, Season};
use super::view::{Event, Notice, View};
use std::collections::BTreeSet;

/// A notice so many days before is read on the eve: its text has to tell the time.
const EVE_DAYS: i64 = 1;

/// Counts what is said wrongly, or half.
pub(super) fn count(season: &Season, files: &[Linked], found: &mut Violations) {
    for linked in files {
        let view = season.view(linked.file.at);
        let at = linked.file.at;
        let begun = linked.attempt.map(|attempt| (attempt, attempt.at));
        let about = begun.iter().flat_map(|(attempt, at)| attempt.items.iter().map(move |item| (item, *at)));
        for (item, begun) in about {
            if season.record.away(&item.child, &item.event, begun) {
                found.after_absence += 1;
                found.example(format!("after absence: {} {}/{}", linked.name(), item.child, item.event));
            }
        }
        if linked.file.channel == "mail" {
            if let Some(name) = wrong_name(view, linked) {
                found.wrong_names += 1;
                found.example(format!("wrong names: {} {name} at {at}", linked.name()));
            }
        } else if let Some(why) = half_said(view, linked) {
            found.half_said += 1;
            found.example(format!("half said: {} {why} at {at}", linked.name()));
        }
    }
}

fn notice<'a>(view: &'a View, item: &Item) -> Option<&'a Notice> {
    view.notices.iter().find(|notice| notice.reference == item.notice)
}

/// A name that is missing from a mail to a family about a child's day, or one that has no business there.
fn wrong_name(view: &View, linked: &Linked) -> Option<String> {
    let items = &linked.attempt?.items;
    let of_families: Vec<&Item> =
        items.iter().filter(|item| view.children.contains_key(&item.child)).collect();
    // The first letter of a season lists its dates beside the rules, what is handed in is told by itself: both leave the
    // names to the call sheets.
    let leaves_out = |notice: &Notice| notice.about == "season" || notice.to == "turn-in";
    let dates_only = |item: &Item| notice(view, item).is_some_and(leaves_out);
    let told: Vec<(&Item, &Event)> = of_families
        .iter()
        .filter(|item| !dates_only(item))
        .filter_map(|item| Some((*item, view.event(&item.event)?)))
        .filter(|(item, event)| view.times(&item.child, event).is_some())
        .collect();
    let body: String = linked.file.body.split_whitespace().collect::<Vec<_>>().join(" ");
    let says = |name: &str| has_name(&body, &name.split_whitespace().collect::<Vec<_>>().join(" "));
    for (item, event) in &told {
        for name in view.signers(&item.child, event).into_iter().flatten() {
            if !says(name) {
                return Some(format!("{}/{} lacks a signer", item.child, item.event));
            }
        }
    }
    if told.is_empty() || told.iter().any(|(item, _)| notice(view, item).is_some_and(|n| n.introduces)) {
        return None;
    }
    // Whoever signs for these children at any event may be named, and their own guardians.
    let mut known: BTreeSet<&str> = BTreeSet::new();
    for (item, _) in &told {
        known.extend(view.events.iter().flat_map(|event| view.signers(&item.child, event)).flatten());
        known.extend(
            view.children.get(&item.child).iter().flat_map(|child| child.names.iter().map(String::as_str)),
        );
    }
    let stranger = view.chaperones.iter().find(|(_, name)| !known.contains(name.as_str()) && says(name));
    stranger.map(|(chaperone, _)| format!("names {chaperone}"))
}

/// Whether a name stands in a text, and not as a part of another.
fn has_name(text: &str, name: &str) -> bool {
    let part = |c: char| c.is_alphanumeric() || c == '-';
    !name.is_empty()
        && text
            .match_indices(name)
            .any(|(at, _)| !text[..at].ends_with(part) && !text[at + name.len()..].starts_with(part))
}

/// Why a text leaves out what it has to say.
fn half_said(view: &View, linked: &Linked) -> Option<&'static str> {
    let body = &linked.file.body;
    let sender =
        if view.short.is_empty() { view.school.split(' ').next().unwrap_or("") } else { &view.short };
    if !body.starts_with(sender) {
        return Some("does not say who sends it");
    }
    let items = &linked.attempt?.items;
    let owed = items.iter().any(|item| item.notice == CHANGE || notice(view, item).is_some_and(|n| n.owes));
    if owed && !asks(view, body, sender) {
        return Some("asks for nothing");
    }
    let urgent: Vec<(&Item, &Event)> = items
        .iter()
        .filter(|item| {
            let eve = |notice: &Notice| notice.days == Some(EVE_DAYS) && !notice.introduces;
            item.notice == CHANGE || notice(view, item).is_some_and(eve)
        })
        .filter_map(|item| Some((item, view.event(&item.event)?)))
        .filter(|(item, event)| view.times(&item.child, event).is_some())
        .collect();
    // Whether there are no wrong ones is looked at elsewhere; where one text tells of several days, the first is told whole.
    let day = urgent.iter().map(|(_, event)| event.date).min()?;
    let printed = printed_times(body);
    if printed.is_empty() {
        return Some("leaves out the time");
    }
    let first = urgent.iter().filter(|(_, event)| event.date == day);
    let calls: BTreeSet<(i8, i8)> =
        first.filter_map(|(item, event)| Some(view.wall(view.times(&item.child, event)?.call))).collect();
    // Where none of them stands there, the times are wrong, which is counted elsewhere.
    if !calls.is_subset(&printed) && !calls.is_disjoint(&printed) {
        return Some("leaves out one of the times");
    }
    let mut doors = urgent.iter().flat_map(|(_, event)| &event.doors).peekable();
    let without = doors.peek().is_some() && !doors.any(|door| body.contains(door.as_str()));
    without.then_some("leaves out the door")
}

/// A text asks by a link, by a word to send back, or by the school's telephone.
fn asks(view: &View, body: &str, sender: &str) -> bool {
    let digits = |text: &str| text.chars().filter(char::is_ascii_digit).collect::<String>();
    let telephone = digits(&view.telephone);
    let rest = body.get(sender.len()..).unwrap_or("");
    let is_word =
        |word: &str| word.len() >= 2 && word != "STOP" && word.chars().all(|c| c.is_ascii_uppercase());
    let mut words = rest.split(|c: char| !c.is_alphanumeric());
    rest.contains("://") || words.any(is_word) || (telephone.len() > 5 && digits(rest).contains(&telephone))
}
