//! Which acknowledgements a change withdraws, and by which facts.

use crate::domain::board::{Board, Item, NO_EVENT};
use crate::domain::facts::{Difference, Field};
use crate::domain::record::Record;
use crate::domain::standing::heard;
use std::collections::BTreeMap;

/// Acknowledgements of one event that fall for one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fall {
    /// Ref of the event, or [`NO_EVENT`] for the season's house rules.
    pub event: String,
    /// Name of the event; empty for the season's house rules.
    pub name: String,
    /// Which published facts change, in words.
    pub what: String,
    /// Full names of the children.
    pub children: Vec<String>,
    /// How many acknowledgements: guardians and children.
    pub count: usize,
}

/// The acknowledgements in force that the facts of another season withdraw, by event and by what changes.
pub(super) fn falls(old: &Board, record: &Record, new: &Board) -> Vec<Fall> {
    let mut groups: BTreeMap<(usize, String, String), (Vec<String>, usize)> = BTreeMap::new();
    // Nothing falls at an event about which nothing differs.
    let may_fall = |item: &Item| item.event.is_none_or(|event| !new.programme.shares(&old.programme, event));
    let mut answered: Vec<_> = record.answers.keys().filter(|(_, item)| may_fall(item)).copied().collect();
    answered.sort();
    for (guardian, item) in answered {
        if heard(old, record, guardian, item).is_none() {
            continue;
        }
        let (child, event) = old.item_refs(item);
        // A child or an event that is gone is not asked about again.
        let Some(then) = new.item(child, event) else { continue };
        if new.fingerprint(then) == old.fingerprint(item) {
            continue;
        }
        let what = difference_words(&old.facts(item).changes_to(&new.facts(then)));
        let order = item.event.map_or(usize::MAX, |e| e.at());
        let (names, count) = groups.entry((order, event.to_owned(), what)).or_default();
        let name = old.season.full_name(item.who);
        if !names.contains(&name) {
            names.push(name);
        }
        *count += 1;
    }
    groups
        .into_iter()
        .map(|((_, event, what), (children, count))| Fall {
            name: old.event(&event).map(|e| old.season.events[e.at()].name.clone()).unwrap_or_default(),
            event: if event.is_empty() { NO_EVENT.to_owned() } else { event },
            what,
            children,
            count,
        })
        .collect()
}

fn difference_words(differences: &[Difference]) -> String {
    let words: Vec<String> = differences
        .iter()
        .map(|d| {
            let name = match d.field {
                Field::Cancelled => return "called off, or back on".to_owned(),
                Field::Rules => return "house rules".to_owned(),
                Field::Date => "date",
                Field::Place => "place",
                Field::Door => "door",
                Field::Call => "call",
                Field::ParkBy => "park by",
                Field::Ready => "how to arrive",
                Field::Bring => "what to bring",
                Field::TurnIn => "turn-in",
                Field::CollectAt => "where to collect",
                Field::CollectFrom => "pick up from",
                Field::Briefing => "briefing",
                Field::Station => "in position",
                Field::Until => "over",
                Field::Numbers => "numbers",
                Field::Task => "task",
                Field::SignsIn => "signs in",
                Field::SignsOut => "signs out",
            };
            match (d.old.as_str(), d.new.as_str()) {
                ("", new) => format!("{name} {new}"),
                (_, "") => format!("no {name} any more"),
                (old, new) => format!("{name} {old} becomes {new}"),
            }
        })
        .collect();
    // Everything else goes when an event is called off; saying so once is enough.
    match words.iter().find(|w| w.starts_with("called off")) {
        Some(off) => off.clone(),
        None => words.join(", "),
    }
}
