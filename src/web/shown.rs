//! From the season's data to what pages show of them.

use jiff::Timestamp;
use jiff::civil::Time;
use jiff::tz::TimeZone;

use super::labels::{Labels, fill, labels_for};
use super::views::{AsOf, StandingMark, Telephone};
use crate::domain::board::{Board, Item};
use crate::domain::phone;
use crate::domain::published::clocks;
use crate::domain::season::{Child, Contact, Dismissal, Language, Person, Season};
use crate::domain::shift;
use crate::domain::standing::Standing;
use crate::domain::wall;

/// Characters of a name that may stand for it where space or privacy asks for less.
const INITIALS: usize = 1;
/// Digits at the end of a telephone number by which its owner knows it.
const LAST_DIGITS: usize = 4;

/// An instant as the season's wall clocks show it.
pub(super) fn as_of(zone: &TimeZone, at: Timestamp) -> AsOf {
    let local = wall::local(zone, at);
    AsOf { date: local.date(), time: local.time() }
}

/// The box of a standing.
pub(super) fn mark(standing: Standing) -> StandingMark {
    match standing {
        Standing::Heard => StandingMark::Heard,
        Standing::HeardBefore => StandingMark::HeardBefore,
        Standing::Waiting => StandingMark::Waiting,
        Standing::CantCome => StandingMark::CantCome,
        Standing::Away => StandingMark::Away,
        Standing::NoWay => StandingMark::NoWay,
        Standing::NotAsked => StandingMark::NotAsked,
    }
}

/// A person's number to ring; none if there is none.
pub(super) fn telephone(season: &Season, contact: &Contact) -> Option<Telephone> {
    let e164 = &contact.phone.as_ref()?.e164;
    Some(Telephone { e164: e164.clone(), shown: phone::shown(e164, &season.country) })
}

/// The number families may ring, as the season writes it.
pub(super) fn school_telephone(season: &Season) -> Option<Telephone> {
    let number = phone::parse(&season.telephone, &season.country).ok()?;
    Some(Telephone { e164: number.e164, shown: season.telephone.clone() })
}

/// Where a chaperone's group waits at an event; empty where no room is written, and for a child.
pub(super) fn rooms(season: &Season, item: Item) -> String {
    let (Person::Chaperone(chaperone), Some(event)) = (item.who, item.event) else { return String::new() };
    let mut names: Vec<&str> = shift::duties_of(season, chaperone, event)
        .filter_map(|duty| duty.room)
        .map(|room| season.rooms[room.at()].name.as_str())
        .collect();
    names.dedup();
    names.join(", ")
}

/// The first part of a full name.
pub(super) fn given(name: &str) -> String {
    name.split_whitespace().next().unwrap_or(name).to_owned()
}

/// A child's given name with the initial of the family name, such as "Ines A."
pub(super) fn short_name(child: &Child) -> String {
    child.short_name()
}

/// A language in English words, as far as they are known here; else its tag.
pub(super) fn language_name(language: &Language) -> String {
    const NAMES: [(&str, &str); 16] = [
        ("ar", "Arabic"),
        ("bn", "Bengali"),
        ("de", "German"),
        ("en", "English"),
        ("es", "Spanish"),
        ("fr", "French"),
        ("he", "Hebrew"),
        ("it", "Italian"),
        ("pl", "Polish"),
        ("pt", "Portuguese"),
        ("ro", "Romanian"),
        ("ru", "Russian"),
        ("tr", "Turkish"),
        ("uk", "Ukrainian"),
        ("vi", "Vietnamese"),
        ("zh", "Chinese"),
    ];
    let primary = language.0.split('-').next().unwrap_or_default();
    let name = NAMES.iter().find(|(tag, _)| *tag == primary);
    name.map_or_else(|| language.0.clone(), |(_, name)| (*name).to_owned())
}

/// The words of a guardian's page: the language asked for, else her own, else the season's, else the browser's.
pub(super) fn labels(
    asked: &str,
    own: &Language,
    season: &Language,
    browser: &'static Labels,
) -> &'static Labels {
    [asked, &own.0, &season.0].into_iter().find_map(labels_for).unwrap_or(browser)
}

/// An address so far as somebody may see it who was passed the link: enough for its owner to know it by.
pub(super) fn veiled(address: &str) -> String {
    match address.rsplit_once('@') {
        Some((local, host)) => {
            let first: String = local.chars().take(INITIALS).collect();
            format!("{first}…@{host}")
        }
        None => {
            let digits = address.chars().count().saturating_sub(LAST_DIGITS);
            format!("…{}", address.chars().skip(digits).collect::<String>())
        }
    }
}

/// From when a child may be picked up at an event, and that nobody leaves before, in a sentence; empty where that is not known.
pub(super) fn release_rule(board: &Board, item: Item, labels: &Labels) -> String {
    let Some(it) = board.itinerary(item) else { return String::new() };
    let Some(from) = it.collect_from else { return String::new() };
    let season = &board.season;
    let event = &season.events[it.event.at()];
    let all_stay = event.dismissal == Dismissal::AfterLastNumber;
    let words = if all_stay { labels.stay_to_the_end } else { labels.own_pick_up };
    let name = said(season, &event.name, labels);
    fill(words, &[&name, season.given_name(item.who), &time(season, labels, &from.at().time())])
}

/// A local time as the season's country says times, in the reader's language.
pub(super) fn time(season: &Season, labels: &Labels, at: &Time) -> String {
    labels.clock(at, clocks::is_twelve(&season.country, labels.lang))
}

/// What the coordinator wrote, in the reader's language where a translation was given.
pub(super) fn said(season: &Season, text: &str, labels: &Labels) -> String {
    season.phrases.said(text, &Language(labels.lang.to_owned())).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_veiled_but_known_to_its_owner() {
        assert_eq!(veiled("marisol@example.org"), "m…@example.org");
        assert_eq!(veiled("+442079460018"), "…0018");
    }

    #[test]
    fn her_own_language_comes_before_the_seasons_unless_she_asks() {
        let tag = |text: &str| Language(text.to_owned());
        let english = &super::super::labels::ENGLISH;
        let of = |asked: &str, own: &str, season: &str| labels(asked, &tag(own), &tag(season), english).lang;
        assert_eq!(of("", "es-mx", "en"), "es");
        assert_eq!(of("en", "es", "es"), "en");
        assert_eq!(of("xx", "pl", "es"), "es");
        assert_eq!(of("", "pl", "pl"), "en");
    }
}
