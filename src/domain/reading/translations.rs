//! The sheet `translations`, and what of it is missing for families who read another language.

use super::desk::{Alike, CASES, Desk, Spot, counted};
use crate::domain::book::{Book, Problem, Weight};
use crate::domain::itinerary::Programme;
use crate::domain::phrases::{Phrases, lineage, reads};
use crate::domain::season::{EventId, HouseholdId, Language, Person, Season};
use crate::domain::typed::{self, shown};
use std::collections::{BTreeMap, BTreeSet};

/// Texts named in one sentence at most.
const TEXTS_TOLD: usize = 6;

/// What helps where a translation is missing.
const CURE: &str =
    "Add each text once to the sheet 'translations', and each rule in that language to 'house rules'.";

/// The sheet.
pub(super) fn read(book: &Book, desk: &mut Desk) -> Phrases {
    let mut phrases = Phrases::default();
    for row in book.rows("translations") {
        let (text, translation) = (row.text("text"), row.text("translation"));
        let language = match typed::language(row.text("language")) {
            _ if row.text("language").is_empty() || text.is_empty() || translation.is_empty() => continue,
            Ok(language) => language,
            Err(reason) => {
                let cure = "Write a code such as es or pl.";
                desk.error(Spot::cell("translations", row, "language"), reason, cure);
                continue;
            }
        };
        if !phrases.add(language, text, translation) {
            desk.error(
                Spot::cell("translations", row, "text"),
                "this text is listed twice in this language",
                "Keep one of the two lines.",
            );
        }
    }
    phrases
}

/// What families are written in a language, and how many read it.
#[derive(Default)]
struct Readers<'a> {
    households: BTreeSet<HouseholdId>,
    /// Texts they are sent, translated or not.
    texts: BTreeSet<&'a str>,
    /// Texts without a translation, as they stand in the workbook.
    untranslated: BTreeSet<&'a str>,
}

/// Tells, language by language, which texts that families are sent stand in the season's language only.
pub(super) fn missing(season: &Season, programme: &Programme, desk: &mut Desk) {
    let mut readers: BTreeMap<&Language, Readers<'_>> = BTreeMap::new();
    for care in &season.cares {
        let language = &season.guardians[care.guardian.at()].contact.language;
        let Some(child) = care.who.child().filter(|_| !reads(language, &season.language)) else { continue };
        let of_language = readers.entry(language).or_default();
        of_language.households.insert(care.household);
        let mut texts: BTreeSet<&str> = BTreeSet::new();
        for at in programme.of_person(Person::Child(child)) {
            texts.extend(texts_of(season, at.event));
            let it = &programme[at];
            texts.extend(it.turn_in.iter().flat_map(|n| &season.numbers[n.at()].pieces).map(String::as_str));
        }
        texts.extend(rule_names(season, None));
        texts.remove("");
        of_language.texts.extend(&texts);
        of_language
            .untranslated
            .extend(texts.into_iter().filter(|text| season.phrases.translation(text, language).is_none()));
    }
    for (language, Readers { households, texts, untranslated }) in readers {
        let rules = season.house_rules.iter().filter(|rule| {
            !rule.texts.keys().any(|written| *written != season.language && reads(language, written))
        });
        let rules = rules.count();
        if untranslated.is_empty() && rules == 0 {
            continue;
        }
        let families = counted(households.len(), "family reads", "families read");
        if untranslated.len() == texts.len() && rules == season.house_rules.len() {
            let many = format!(
                "nothing you wrote is in the languages of some families, who get it in '{}': {CASES}",
                season.language.0
            );
            let reason = format!("{families} '{}', and nothing you wrote is in it", language.0);
            let alike = Alike { many, case: format!("{} ({})", language.0, households.len()) };
            desk.warn_alike(Spot::sheet("translations"), reason, alike, CURE);
            continue;
        }
        let mut what = Vec::new();
        if !untranslated.is_empty() {
            let named: Vec<String> =
                untranslated.iter().take(TEXTS_TOLD).map(|text| format!("'{}'", shown(text))).collect();
            let more = untranslated.len().saturating_sub(TEXTS_TOLD);
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            let texts = counted(untranslated.len(), "text", "texts");
            what.push(format!("{texts} they are sent ({}{more})", named.join(", ")));
        }
        if rules > 0 {
            what.push(counted(rules, "house rule", "house rules"));
        }
        let reason = format!(
            "{families} '{}', and {} stand in '{}' only",
            language.0,
            what.join(" and "),
            season.language.0
        );
        desk.warn(Spot::sheet("translations"), reason, CURE);
    }
}

/// Families who read a language in which there are no messages: `known` are the languages there are.
pub fn unworded(season: &Season, known: &[&str]) -> Option<Problem> {
    let worded = |language: &Language| lineage(language).any(|tag| known.contains(&tag.0.as_str()));
    let mut readers: BTreeMap<&str, BTreeSet<HouseholdId>> = BTreeMap::new();
    for care in season.cares.iter().filter(|care| care.who.child().is_some()) {
        let language = &season.guardians[care.guardian.at()].contact.language;
        if !worded(language) {
            readers.entry(&language.0).or_default().insert(care.household);
        }
    }
    let families: usize = readers.values().map(BTreeSet::len).sum();
    let named: Vec<String> =
        readers.iter().map(|(language, homes)| format!("{language} ({})", homes.len())).collect();
    let written = if worded(&season.language) { season.language.0.as_str() } else { "en" };
    (families > 0).then(|| Problem {
        weight: Weight::Warning,
        sheet: "children".to_owned(),
        row: None,
        column: None,
        reason: format!(
            "{} messages in '{written}' because there are none in their language: {}",
            counted(families, "family is sent", "families are sent"),
            named.join(", ")
        ),
        cure: "Write the messages in it, ask somebody who speaks it to ring, or ask the family whether the other language will do."
            .to_owned(),
    })
}

/// What is written of an event that families read.
fn texts_of(season: &Season, id: EventId) -> impl Iterator<Item = &str> {
    let event = &season.events[id.at()];
    let place = &season.places[event.place.at()];
    let of_event = [&event.name, &event.arrive_ready, &event.bring, &event.leave_home];
    let of_place = [&place.door, &place.collect_at];
    of_event.into_iter().chain(of_place).map(String::as_str).chain(rule_names(season, Some(id)))
}

fn rule_names(season: &Season, event: Option<EventId>) -> impl Iterator<Item = &str> {
    season.house_rules.iter().filter(move |rule| rule.event == event).map(|rule| rule.name.as_str())
}
