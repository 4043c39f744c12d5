//! A season in a few sentences, for whoever brings it or plans it: who, when, and how they are reached.

use super::season::{Contact, Season};
use std::collections::BTreeMap;

/// Languages and events named in one sentence at most.
const NAMED: usize = 8;

/// Said once where neither table is chosen, since which law applies is for people to find out.
const UNCHECKED: &str = "No ratio table and no table of working hours is chosen, so neither is checked. Local law may ask for \
a licence and for named, vetted chaperones: ask the school's named lead and the local authority";

/// The season in a few sentences.
pub fn lines(season: &Season) -> Vec<String> {
    let families = season.families();
    let mut out = vec![format!(
        "{}, {}: {} with {} in {}; {}; {}",
        season.name,
        season.school,
        counted(season.children.len(), "child", "children"),
        counted(families.len(), "guardian", "guardians"),
        counted(homes(season), "home", "homes"),
        counted(season.chaperones.len(), "chaperone", "chaperones"),
        counted(season.numbers.len(), "number", "numbers"),
    )];
    let by = |texts: bool, mails: bool| {
        let reached =
            |contact: &Contact| (contact.text_to().is_some(), contact.mail_to().is_some()) == (texts, mails);
        families.iter().filter(|guardian| reached(&guardian.contact)).count()
    };
    out.push(format!(
        "Guardians reached by text and mail: {}; by text only: {}; by mail only: {}; only by ringing: {}",
        by(true, true),
        by(true, false),
        by(false, true),
        by(false, false)
    ));
    let mut languages: BTreeMap<&str, usize> = BTreeMap::new();
    for guardian in families {
        *languages.entry(&guardian.contact.language.0).or_default() += 1;
    }
    if languages.len() > 1 {
        let mut languages: Vec<(&str, usize)> = languages.into_iter().collect();
        languages.sort_by_key(|(language, count)| (std::cmp::Reverse(*count), *language));
        let named = languages.iter().map(|(language, count)| format!("{language} {count}")).collect();
        out.push(format!("Languages: {}", some(named)));
    }
    let events: Vec<_> = season.events.iter().filter(|event| !event.cancelled).collect();
    if let (Some(first), Some(last)) = (events.first(), events.last()) {
        let named = events.iter().map(|event| event.name.clone()).collect();
        out.push(format!(
            "{} from {} to {}: {}",
            counted(events.len(), "event", "events"),
            first.date.strftime("%-d %B %Y"),
            last.date.strftime("%-d %B %Y"),
            some(named)
        ));
    }
    if season.settings.ratios.is_none() && season.settings.hours.is_none() {
        out.push(UNCHECKED.to_owned());
    }
    out
}

/// Households with a child.
fn homes(season: &Season) -> usize {
    let mut homes: Vec<_> =
        season.cares.iter().filter(|care| care.who.child().is_some()).map(|care| care.household).collect();
    homes.sort_unstable();
    homes.dedup();
    homes.len()
}

fn some(mut named: Vec<String>) -> String {
    named.dedup();
    let more = named.len().saturating_sub(NAMED);
    named.truncate(NAMED);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{}{more}", named.join(", "))
}

fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}
