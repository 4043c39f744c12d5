//! The sheet `season`: names, zone and figures.

use super::super::book::{Book, Row};
use super::super::cron_rule::CronRule;
use super::super::layout::SETTINGS;
use super::super::published::{hours, ratios};
use super::super::season::{CallNames, Declared, Language, Lead, Leads, Settings, SettledBy, SignedOutBy};
use super::super::words::{did_you_mean, key};
use super::super::{phone, typed};
use super::desk::{Desk, Spot};
use jiff::civil::Time;
use jiff::tz::TimeZone;
use std::collections::HashMap;

/// Walking paces that can be meant, in feet per second.
const PACES: std::ops::RangeInclusive<f64> = 1.0..=6.0;
/// Minutes a setting may hold at most: a day.
const MINUTES_MAX: u32 = 24 * 60;
/// Messages a day that somebody may be allowed to get, at most.
const MESSAGES_A_DAY_MAX: u32 = 24;
/// Days before an event or the first show that something may begin, at most: a year.
const DAYS_BEFORE_MAX: u32 = 366;
/// Seconds a setting may hold at most: an hour.
const SECONDS_MAX: u32 = 3_600;
/// Digests that may be meant for one day, at most.
const DIGESTS_A_DAY_MAX: usize = 4;
/// What a setting says that names no table, or no time.
const NONE: &str = "none";
/// What a setting says that is not set.
const UNSET: &str = "-";
/// Characters of the name that texts begin with, at most.
const SHORT_NAME_MAX_CHARS: usize = 12;
/// Characters of the season's ref at most.
const REF_MAX_CHARS: usize = 12;

/// What the sheet `season` says.
pub(super) struct Head {
    pub(super) reference: String,
    pub(super) name: String,
    pub(super) school: String,
    pub(super) short_name: String,
    pub(super) zone_name: String,
    pub(super) zone: Option<TimeZone>,
    pub(super) country: String,
    pub(super) language: Language,
    pub(super) telephone: String,
    pub(super) lead: Option<Lead>,
    pub(super) settings: Settings,
}

struct Page<'a> {
    lines: HashMap<String, &'a Row>,
    desk: &'a mut Desk,
}

impl Page<'_> {
    fn text(&self, name: &str) -> String {
        let default = SETTINGS.iter().find(|s| s.name == name).map_or("", |s| s.default);
        let set = self.lines.get(name).map_or("", |row| row.text("value"));
        if set.is_empty() { default.to_owned() } else { set.to_owned() }
    }

    fn fault(&mut self, name: &str, reason: String, cure: &str) {
        let spot = match self.lines.get(name) {
            Some(row) => Spot::named("season", row.number, "value"),
            None => Spot::sheet("season"),
        };
        self.desk.error(spot, format!("{name}: {reason}"), cure);
    }

    fn doubt(&mut self, name: &str, reason: String, cure: &str) {
        let spot = match self.lines.get(name) {
            Some(row) => Spot::named("season", row.number, "value"),
            None => Spot::sheet("season"),
        };
        self.desk.warn(spot, format!("{name}: {reason}"), cure);
    }

    /// A value by one of the readers of [`typed`]; a stand-in after a fault keeps the reading going.
    fn read<T>(
        &mut self,
        name: &str,
        stand_in: T,
        cure: &str,
        reader: impl Fn(&str) -> Result<T, String>,
    ) -> T {
        reader(&self.text(name)).unwrap_or_else(|reason| {
            self.fault(name, reason, cure);
            stand_in
        })
    }

    fn count(&mut self, name: &str, range: std::ops::RangeInclusive<u32>) -> u32 {
        let cure = format!("Write a whole number from {} to {}.", range.start(), range.end());
        let stand_in = *range.start();
        self.read(name, stand_in, &cure, |text| {
            typed::count(text)
                .and_then(|n| if range.contains(&n) { Ok(n) } else { Err(format!("{n} is out of range")) })
        })
    }
}

pub(super) fn read(book: &Book, desk: &mut Desk) -> Head {
    let mut page = Page { lines: HashMap::new(), desk };
    for row in book.rows("season") {
        let name = key(row.text("setting"));
        let spot = Spot::named("season", row.number, "setting");
        if name.is_empty() {
            continue;
        }
        if !SETTINGS.iter().any(|s| s.name == name) {
            let cure = did_you_mean(
                &name,
                SETTINGS.iter().map(|s| s.name),
                "The sheet 'read me' of a blank workbook lists the settings.",
            );
            page.desk.error(spot, format!("'{}' is not a setting", typed::shown(row.text("setting"))), &cure);
        } else if page.lines.insert(name.clone(), row).is_some() {
            page.desk.error(
                spot,
                format!("the setting '{name}' is listed twice"),
                "Keep one of the two lines.",
            );
        }
    }
    for setting in SETTINGS.iter().filter(|s| s.default.is_empty()) {
        if page.text(setting.name).is_empty() {
            page.fault(setting.name, "it must be filled in".to_owned(), setting.help);
        }
    }
    let zone_name = page.text("zone");
    let zone = zone(&mut page, &zone_name);
    let country = page.text("country").to_uppercase();
    if !country.is_empty() && !phone::knows_country(&country) {
        page.fault(
            "country",
            format!("'{}' is not a country code", typed::shown(&country)),
            "Write the two-letter code of ISO 3166, such as GB or US.",
        );
    }
    let telephone = page.text("telephone");
    if telephone.chars().any(char::is_alphabetic) {
        page.doubt(
            "telephone",
            format!("families read it as it stands: 'ring {}'", typed::shown(&telephone)),
            "Write the number alone.",
        );
    }
    let reference = page.text("ref").to_uppercase();
    if reference.len() > REF_MAX_CHARS || !reference.bytes().all(|b| b.is_ascii_alphanumeric()) {
        page.fault(
            "ref",
            format!("'{}' is not a short word of letters and digits", typed::shown(&reference)),
            "Write something like S1, with no name in it.",
        );
    }
    let school = page.text("school");
    Head {
        reference,
        name: page.text("name"),
        short_name: short_name(&mut page, &school),
        lead: lead(&mut page),
        school,
        zone: zone.as_ref().map(|(zone, _)| zone.clone()),
        zone_name: zone.map_or(zone_name, |(_, name)| name),
        country,
        language: page.read(
            "language",
            Language("en".to_owned()),
            "Write a code such as en or es.",
            typed::language,
        ),
        telephone: if telephone == "-" { String::new() } else { telephone },
        settings: figures(&mut page),
    }
}

/// Letters of the longest abbreviation of a zone, such as BST: one may stand for several, and is never guessed.
const ABBREVIATION_MAX: usize = 4;

fn zone(page: &mut Page<'_>, name: &str) -> Option<(TimeZone, String)> {
    if name.is_empty() {
        return None;
    }
    if let Ok(zone) = TimeZone::get(name) {
        let name = zone.iana_name().unwrap_or(name).to_owned();
        if !name.contains('/') && name != "UTC" {
            let reason = format!("'{name}' does not say whether and when the clocks change");
            page.doubt("zone", reason, "Write the place, such as Europe/London.");
        }
        return Some((zone, name));
    }
    if name.len() <= ABBREVIATION_MAX && name.bytes().all(|b| b.is_ascii_alphabetic()) {
        let reason = format!("'{}' is not a time zone", typed::shown(name));
        page.fault("zone", reason, "Write the place, such as Europe/London or America/New_York.");
        return None;
    }
    let known: Vec<String> = jiff::tz::db().available().map(|n| n.to_string()).collect();
    let spaced = name.replace(' ', "_");
    let by_city = known
        .iter()
        .find(|zone| zone.rsplit('/').next().is_some_and(|city| city.eq_ignore_ascii_case(&spaced)));
    let cure = match by_city {
        Some(zone) => format!("Did you mean '{zone}'?"),
        None => did_you_mean(
            &spaced,
            known.iter().map(String::as_str),
            "Write an IANA name such as Europe/London or America/New_York.",
        ),
    };
    page.fault("zone", format!("'{}' is not a time zone", typed::shown(name)), &cure);
    None
}

fn figures(page: &mut Page<'_>) -> Settings {
    let clock = "Write a time such as 08:00.";
    let quiet_until = page.read("messages from", Time::midnight(), clock, typed::time);
    let quiet_from = page.read("messages until", Time::MAX, clock, typed::time);
    if quiet_until >= quiet_from {
        page.fault(
            "messages from",
            "no time of day lies between it and 'messages until'".to_owned(),
            "Write a 'messages from' that is the earlier of the two.",
        );
    }
    let pace = page.read("walking feet per second", 3.0, "Write a pace such as 3.0.", |text| {
        text.replace(',', ".")
            .parse::<f64>()
            .ok()
            .filter(|pace| PACES.contains(pace))
            .ok_or_else(|| format!("'{}' is not a walking pace", typed::shown(text)))
    });
    Settings {
        quiet_until,
        quiet_from,
        merge_minutes: page.count("merge minutes", 0..=MINUTES_MAX),
        messages_a_day: page.count("messages a day", 0..=MESSAGES_A_DAY_MAX),
        class_door_days: page.count("class door days before", 0..=DAYS_BEFORE_MAX),
        calls_days: page.count("calls days before", 0..=DAYS_BEFORE_MAX),
        lead_minutes: Leads {
            class: page.count("chaperone lead at class visits", 0..=MINUTES_MAX),
            rehearsal: page.count("chaperone lead at rehearsals", 0..=MINUTES_MAX),
            photographs: page.count("chaperone lead at photographs", 0..=MINUTES_MAX),
            dress: page.count("chaperone lead at the dress rehearsal", 0..=MINUTES_MAX),
            show: page.count("chaperone lead on show days", 0..=MINUTES_MAX),
        },
        briefing_minutes: page.count("chaperone briefing before call", 0..=MINUTES_MAX),
        station_minutes: page.count("chaperones in place before call", 0..=MINUTES_MAX),
        chaperone_digest: digest(page, "chaperone digest"),
        coordinator_digest: digest(page, "coordinator digest"),
        kit: Some(page.text("chaperones bring")).filter(|kit| kit != "-").unwrap_or_default(),
        quick_change_numbers: page.count("quick change below", 0..=100),
        settled_by: page.read(
            "settled by",
            SettledBy::AnyGuardian,
            "Write 'any guardian', 'each household', or 'brings and collects'.",
            |text| match key(text).as_str() {
                "any guardian" => Ok(SettledBy::AnyGuardian),
                "each household" => Ok(SettledBy::EachHousehold),
                "brings and collects" => Ok(SettledBy::BringsAndCollects),
                _ => Err(format!("'{}' is not one of the three ways", typed::shown(text))),
            },
        ),
        signed_out_by: page.read(
            "signed out by",
            SignedOutBy::LastChaperone,
            "Write 'last chaperone' or 'first chaperone'.",
            |text| match key(text).as_str() {
                "last chaperone" => Ok(SignedOutBy::LastChaperone),
                "first chaperone" => Ok(SignedOutBy::FirstChaperone),
                _ => Err(format!("'{}' is not one of the two", typed::shown(text))),
            },
        ),
        given_names: page.read("given names in messages", true, "Write yes or no.", typed::yes_no),
        walk_feet_per_second: pace,
        children_per_adult: page.count("children per adult", 1..=100),
        ratios: declared(page, "ratio table", "ratio set by", ratios::TABLES, |table| table.name),
        hours: declared(page, "hours limits", "hours limits set by", hours::TABLES, |table| table.name),
        ready_numbers: page.count("ready numbers ahead", 0..=100),
        walks_seconds: page.count("walk off and on seconds", 0..=SECONDS_MAX),
        change_seconds: page.count("shortest change seconds", 0..=SECONDS_MAX),
        door_seconds: page.count("sign-out seconds", 1..=SECONDS_MAX),
        door_tables: page.count("sign-out tables", 1..=100),
        call_names: page.read(
            "call names",
            CallNames::British,
            "Write 'British' or 'North American'.",
            |text| match key(text).as_str() {
                "british" => Ok(CallNames::British),
                "north american" => Ok(CallNames::NorthAmerican),
                _ => Err(format!("'{}' is not one of the two", typed::shown(text))),
            },
        ),
    }
}

/// What texts begin with.
fn short_name(page: &mut Page<'_>, school: &str) -> String {
    let written = page.text("short name");
    if written != UNSET {
        if written.chars().nth(SHORT_NAME_MAX_CHARS).is_some() {
            page.fault(
                "short name",
                format!("'{}' is longer than {SHORT_NAME_MAX_CHARS} characters", typed::shown(&written)),
                "Every text begins with it, so shorten it.",
            );
        }
        return written;
    }
    let taken = first_words(school);
    if taken != school {
        let reason = format!("short name: there is none, so every text begins with '{taken}'");
        page.desk.hint(Spot::sheet("season"), reason, "Write what families call the school.");
    }
    taken
}

/// As many of the first words of a name as fit a short one; the letters that fit where the first word does not.
fn first_words(name: &str) -> String {
    let mut taken = String::new();
    for word in name.split_whitespace() {
        let longer = if taken.is_empty() { word.to_owned() } else { format!("{taken} {word}") };
        if longer.chars().count() > SHORT_NAME_MAX_CHARS {
            break;
        }
        taken = longer;
    }
    // "Ashlarmere School of" is no name to go by.
    let taken = taken.trim_end_matches(" of").trim_end_matches(" de").trim_end_matches([',', ' ']);
    if taken.is_empty() { name.chars().take(SHORT_NAME_MAX_CHARS).collect() } else { taken.to_owned() }
}

/// Whom staff fetch.
fn lead(page: &mut Page<'_>) -> Option<Lead> {
    let set = |text: String| Some(text).filter(|text| text != UNSET);
    let telephone = set(page.text("named lead telephone")).unwrap_or_default();
    let lead = set(page.text("named lead")).map(|name| Lead { name, telephone: telephone.clone() });
    let (reason, cure) = match &lead {
        None => (
            "named lead: nobody is named, so sheets that say \"fetch the named lead\" cannot say who that is",
            "Write who decides when somebody unknown comes to collect, with a telephone number.",
        ),
        Some(lead) if lead.telephone.is_empty() => {
            ("named lead telephone: there is no number", "Write where staff ring the named lead on the day.")
        }
        Some(_) => return lead,
    };
    page.desk.warn(Spot::sheet("season"), reason, cure);
    lead
}

/// When a digest goes; none for never.
fn digest(page: &mut Page<'_>, name: &str) -> Option<CronRule> {
    let cure = format!("Write days and a time, such as daily at 18:00, or {NONE}.");
    page.read(name, None, &cure, |text| {
        if key(text) == NONE {
            return Ok(None);
        }
        let rule = CronRule::read(text)?;
        match rule.times_a_day() {
            times if times > DIGESTS_A_DAY_MAX => Err(format!("that is {times} times a day")),
            _ => Ok(Some(rule)),
        }
    })
}

/// A published table by its name, with who chose it: nobody's law is applied without a person who answers for it.
fn declared<T>(
    page: &mut Page<'_>,
    setting: &str,
    set_by: &str,
    tables: &'static [T],
    name: impl Fn(&T) -> &'static str,
) -> Option<Declared<T>> {
    let wanted = page.text(setting);
    if key(&wanted) == NONE {
        return None;
    }
    let Some(table) = tables.iter().find(|table| key(name(table)) == key(&wanted)) else {
        let names: Vec<&str> = tables.iter().map(name).collect();
        let all = format!("Write {NONE}, or one of: {}.", names.join(", "));
        let cure = format!("{} {all}", did_you_mean(&wanted, names.iter().copied(), ""));
        let reason = format!("'{}' is not a table this program knows", typed::shown(&wanted));
        page.fault(setting, reason, cure.trim());
        return None;
    };
    let who = page.text(set_by);
    if who == "-" {
        let reason = format!("{} is named, but not who chose it", name(table));
        page.fault(
            set_by,
            reason,
            "Write who decided it and when, such as: the school's lead, 9 January 2027.",
        );
    }
    Some(Declared { table, set_by: who })
}
