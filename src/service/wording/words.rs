//! The small words of one language, and the filters templates use: days, clock times, plurals, lists of names.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use icu_locale_core::Locale;
use icu_plurals::{PluralCategory, PluralRules};
use jiff::civil::{Date, Time, Weekday};
use minijinja::value::{Kwargs, Value, ValueKind};
use minijinja::{AutoEscape, Environment, Error, ErrorKind, HtmlEscape, State};
use serde::{Deserialize, Serialize};

use crate::domain::segments;

/// The season's country, in a template's context.
pub const COUNTRY: &str = "country";
/// Whether times are said with am and pm, in a template's context.
pub const TWELVE: &str = "twelve";
/// Every whole number up to this one decides which plural forms a language's templates must give;
/// Spanish has a form of its own for millions, which no family has children of.
const PLURAL_PROBE: u64 = 200;

/// The file `words.toml` of a language.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Words {
    /// The language's own tag; set from the folder's name.
    #[serde(default)]
    pub tag: String,
    /// `ltr` or `rtl`, for the `dir` attribute of HTML mail.
    pub direction: String,
    /// Segments one text may have.
    pub segments: usize,
    /// Clock times, in strftime form.
    pub clock: String,
    /// The same where the season's country says times with am and pm.
    pub clock_twelve: String,
    /// Days, from `{weekday}`, `{day}` and `{month}`.
    pub day: String,
    /// Days in short texts where the weekday's name is outside the 7-bit alphabet, from `{day}` and `{month}`.
    pub plain_day: String,
    /// Weekdays in full, Monday first.
    pub weekdays: [String; 7],
    /// Weekdays for texts, Monday first.
    pub weekdays_short: [String; 7],
    /// The same in the alphabet of texts, where the short ones are not.
    #[serde(default)]
    pub weekdays_text: Option<[String; 7]>,
    /// Months in full, January first.
    pub months: [String; 12],
    /// Between the last two of a list.
    pub and: String,
    /// The same before a name that begins with the sound of `i`, where the language changes it.
    #[serde(default)]
    pub and_before_i: Option<String>,
    /// The word that acknowledges.
    pub yes: String,
    /// The same within the 7-bit alphabet of texts.
    pub yes_plain: String,
    /// A costume to hand in, from `{pieces}` and `{number}`.
    pub costume: String,
    /// The same where no pieces are written, from `{number}`.
    pub costume_alone: String,
    /// Names of a list that is cut short, from `{names}` and `{count}`.
    pub and_more: String,
    /// One child without a name, as within a sentence.
    pub your_child: String,
    /// Several children without names.
    pub your_children: String,
    /// The house rules, as within a sentence.
    pub house_rules: String,
    /// What each changed fact is called, by its name in templates.
    pub changes: BTreeMap<String, String>,
    /// Forms of days that some countries have of their own, by ISO 3166 code.
    #[serde(default)]
    pub country: BTreeMap<String, CountryForms>,
}

/// How a country writes days in a language, where that is not as others do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CountryForms {
    /// As `day` of the language: `{weekday}`, `{day}`, `{month}`.
    pub day: String,
    /// As `plain_day` of the language: `{day}`, `{month}`.
    pub plain_day: String,
}

impl Words {
    /// What is wrong with the words, if anything: one sentence.
    pub fn complaint(&self, facts: &[String]) -> Option<String> {
        if let Some(part) = ["{weekday}", "{day}", "{month}"].iter().find(|part| !self.day.contains(**part)) {
            return Some(format!("`day` lacks {part}, so a date would be incomplete"));
        }
        if let Some(part) = ["{day}", "{month}"].iter().find(|part| !self.plain_day.contains(**part)) {
            return Some(format!("`plain_day` lacks {part}, so a date would be incomplete"));
        }
        for country in self.country.values() {
            let lacks = ["{day}", "{month}"]
                .iter()
                .find(|part| !country.day.contains(**part) || !country.plain_day.contains(**part));
            if let Some(part) = lacks {
                return Some(format!(
                    "a form of days in `country` lacks {part}, so a date would be incomplete"
                ));
            }
        }
        for (name, form) in [("clock", &self.clock), ("clock_twelve", &self.clock_twelve)] {
            if jiff::fmt::strtime::format(form, Time::midnight()).is_err() {
                return Some(format!("`{name}` is {form:?}, which is no strftime form for a time"));
            }
        }
        for (name, form, part) in [
            ("costume", &self.costume, "{pieces}"),
            ("costume_alone", &self.costume_alone, "{number}"),
            ("and_more", &self.and_more, "{count}"),
        ] {
            if !form.contains(part) {
                return Some(format!("`{name}` lacks {part}"));
            }
        }
        if !segments::count(&self.yes_plain).causes.is_empty() {
            return Some("`yes_plain` has a letter outside the alphabet of texts".to_owned());
        }
        if !["ltr", "rtl"].contains(&self.direction.as_str()) {
            return Some(format!("`direction` is {:?}; it is either ltr or rtl", self.direction));
        }
        if self.segments == 0 {
            return Some("`segments` is 0, so no text could be sent".to_owned());
        }
        let missing = facts.iter().find(|fact| !self.changes.contains_key(*fact))?;
        Some(format!("`changes` has no word for {missing}"))
    }

    fn day(&self, date: Date, form: &str, weekdays: &[String; 7]) -> String {
        let weekday = match date.weekday() {
            Weekday::Monday => 0,
            Weekday::Tuesday => 1,
            Weekday::Wednesday => 2,
            Weekday::Thursday => 3,
            Weekday::Friday => 4,
            Weekday::Saturday => 5,
            Weekday::Sunday => 6,
        };
        let month = usize::from(date.month().unsigned_abs()).saturating_sub(1);
        form.replace("{weekday}", &weekdays[weekday])
            .replace("{month}", &self.months[month])
            .replace("{day}", &date.day().to_string())
    }

    /// The form of days in a country, with the weekday and without.
    fn forms(&self, country: &str) -> (&str, &str) {
        match self.country.get(country) {
            Some(own) => (&own.day, &own.plain_day),
            None => (&self.day, &self.plain_day),
        }
    }

    /// The day without its weekday where the weekday's name would make a text dear, as in "sáb".
    fn plain_day(&self, date: Date, (day, plain_day): (&str, &str)) -> String {
        let full = self.day(date, day, &self.weekdays_short);
        if segments::count(&full).causes.is_empty() {
            return full;
        }
        let plain = self.weekdays_text.as_ref().map(|weekdays| self.day(date, day, weekdays));
        match plain.filter(|plain| segments::count(plain).causes.is_empty()) {
            Some(plain) => plain,
            None => self.day(date, plain_day, &self.weekdays_short),
        }
    }

    fn clock(&self, time: Time, twelve: bool) -> Result<String, Error> {
        let form = if twelve { &self.clock_twelve } else { &self.clock };
        jiff::fmt::strtime::format(form, time)
            .map_err(|e| Error::new(ErrorKind::InvalidOperation, e.to_string()))
    }

    /// A changed fact as read: dates and times in the reader's form, anything else as it stands.
    fn fact(&self, text: &str, place: &Place) -> Result<String, Error> {
        if let Ok(date) = text.parse::<Date>() {
            return Ok(self.day(date, self.forms(&place.country).0, &self.weekdays_short));
        }
        // A bare number such as "20" also reads as an ISO 8601 hour, so a colon is asked for.
        match text.parse::<Time>() {
            Ok(time) if text.contains(':') => self.clock(time, place.twelve),
            _ => Ok(text.to_owned()),
        }
    }

    /// A costume in words.
    fn costume(&self, number: &str, pieces: &[String]) -> String {
        if pieces.is_empty() {
            return self.costume_alone.replace("{number}", number);
        }
        self.costume.replace("{number}", number).replace("{pieces}", &pieces.join(", "))
    }

    /// Names as the language lists them.
    pub(super) fn joined(&self, names: &[String]) -> String {
        match names {
            [] => String::new(),
            [one] => one.clone(),
            [first @ .., last] => {
                let and = match &self.and_before_i {
                    Some(and) if sounds_like_i(last) => and,
                    _ => &self.and,
                };
                format!("{} {and} {last}", first.join(", "))
            }
        }
    }
}

/// Whether a name begins with the Spanish sound of `i` alone, as Inés and Hilario do and Hierro does not.
/// Source: the Academy's rule for `y` and `e` before /i/, from memory.
fn sounds_like_i(name: &str) -> bool {
    let mut letters = name.trim_start_matches("\u{2068}").chars().flat_map(char::to_lowercase).peekable();
    if letters.peek() == Some(&'h') {
        letters.next();
    }
    let vowel = |c: Option<char>| c.is_some_and(|c| "aeiouáéó".contains(c));
    match letters.next() {
        Some('í') => true,
        Some('i') => !vowel(letters.next()),
        Some('y') => letters.peek().is_some() && !vowel(letters.next()),
        _ => false,
    }
}

/// The plural category of a whole number in a language, by the Unicode CLDR rules.
pub fn plural_category(tag: &str, number: u64) -> Option<&'static str> {
    let locale: Locale = tag.parse().ok()?;
    let rules = PluralRules::try_new_cardinal(locale.into()).ok()?;
    Some(category_word(rules.category_for(number)))
}

fn category_word(category: PluralCategory) -> &'static str {
    match category {
        PluralCategory::Zero => "zero",
        PluralCategory::One => "one",
        PluralCategory::Two => "two",
        PluralCategory::Few => "few",
        PluralCategory::Many => "many",
        PluralCategory::Other => "other",
    }
}

/// The plural forms every use of the filter must give in a language, in CLDR order.
pub fn plural_forms(tag: &str) -> Vec<&'static str> {
    ["zero", "one", "two", "few", "many", "other"]
        .into_iter()
        .filter(|form| (0..=PLURAL_PROBE).any(|n| plural_category(tag, n) == Some(form)))
        .collect()
}

fn plural(tag: &str, forms: &[&'static str], number: u64, given: &Kwargs) -> Result<String, Error> {
    let category = plural_category(tag, number).unwrap_or("other");
    let mut chosen = None;
    for form in forms {
        // Asking for every form, not only the one needed now, brings a gap to light at load.
        let text: String = given.get(form).map_err(|_| {
            Error::new(ErrorKind::MissingArgument, format!("plural needs {form}=\"…\" in this language"))
        })?;
        if *form == category {
            chosen = Some(text);
        }
    }
    let other: Option<String> = given.get("other").ok();
    given.assert_all_used()?;
    chosen.or(other).ok_or_else(|| {
        Error::new(ErrorKind::MissingArgument, format!("plural of {number} needs {category}=\"…\""))
    })
}

/// Where a message is read, as its context says: the form of days and times depends on it.
struct Place {
    country: String,
    twelve: bool,
}

impl Place {
    fn of(state: &State<'_, '_>) -> Place {
        let country = state.lookup(COUNTRY).and_then(|country| country.as_str().map(str::to_owned));
        Place {
            country: country.unwrap_or_default(),
            twelve: state.lookup(TWELVE).is_some_and(|twelve| twelve.is_true()),
        }
    }
}

/// Puts the filters of one language into its engine.
pub fn add_filters(env: &mut Environment<'static>, words: &Arc<Words>) {
    let w = Arc::clone(words);
    env.add_filter("day", move |state: &State<'_, '_>, date: &str| {
        let place = Place::of(state);
        Ok::<_, Error>(w.day(parse_date(date)?, w.forms(&place.country).0, &w.weekdays_short))
    });
    let w = Arc::clone(words);
    env.add_filter("long_day", move |state: &State<'_, '_>, date: &str| {
        let place = Place::of(state);
        Ok::<_, Error>(w.day(parse_date(date)?, w.forms(&place.country).0, &w.weekdays))
    });
    let w = Arc::clone(words);
    env.add_filter("plain_day", move |state: &State<'_, '_>, date: &str| {
        let place = Place::of(state);
        Ok::<_, Error>(w.plain_day(parse_date(date)?, w.forms(&place.country)))
    });
    let w = Arc::clone(words);
    env.add_filter("clock", move |state: &State<'_, '_>, time: &str| {
        let time = time
            .parse()
            .map_err(|_| Error::new(ErrorKind::InvalidOperation, format!("{time:?} is no time")))?;
        w.clock(time, Place::of(state).twelve)
    });
    let w = Arc::clone(words);
    env.add_filter("fact", move |state: &State<'_, '_>, text: &str| w.fact(text, &Place::of(state)));
    let w = Arc::clone(words);
    env.add_filter("costume", move |costume: Value| {
        let pieces: Vec<String> =
            costume.get_attr("pieces")?.try_iter()?.map(|piece| plain(&piece)).collect();
        Ok::<_, Error>(w.costume(&plain(&costume.get_attr("number")?), &pieces))
    });
    env.add_filter("dates", dates);
    env.add_filter("days", days);
    env.add_filter("soonest", soonest);
    let w = Arc::clone(words);
    env.add_filter("calls", move |state: &State<'_, '_>, items: Vec<Value>| calls(&w, state, &items));
    let w = Arc::clone(words);
    env.add_filter("few", move |state: &State<'_, '_>, children: Vec<Value>| {
        let more = children.len().saturating_sub(1);
        let first = names(&w, state, &children[..children.len().min(1)]);
        if more == 0 || children.iter().any(Value::is_none) {
            return names(&w, state, &children);
        }
        Value::from(w.and_more.replace("{names}", &plain(&first)).replace("{count}", &more.to_string()))
    });
    let w = Arc::clone(words);
    env.add_filter(
        "who",
        move |child: Value| {
            if child.is_none() { w.your_child.clone() } else { plain(&child) }
        },
    );
    let w = Arc::clone(words);
    env.add_filter(
        "matter",
        move |event: Value| {
            if event.is_none() { w.house_rules.clone() } else { plain(&event) }
        },
    );
    let w = Arc::clone(words);
    env.add_filter("names", move |state: &State<'_, '_>, children: Vec<Value>| names(&w, state, &children));
    let w = Arc::clone(words);
    env.add_filter("list", move |state: &State<'_, '_>, parts: Vec<Value>| names(&w, state, &parts));
    let tag = words.tag.clone();
    let forms = plural_forms(&tag);
    env.add_filter("plural", move |number: u64, given: Kwargs| plural(&tag, &forms, number, &given));
    env.add_filter("upfirst", upfirst);
    env.add_filter("sentence", sentence);
}

/// One item a date and event: brothers and sisters at one event have one.
fn dates(items: Vec<Value>) -> Result<Vec<Value>, Error> {
    let mut seen = BTreeSet::new();
    let mut first = Vec::new();
    for item in items {
        if seen.insert((plain(&item.get_attr("event")?), plain(&item.get_attr("date")?))) {
            first.push(item);
        }
    }
    Ok(first)
}

/// One item a day, however many events there are on it.
fn days(items: Vec<Value>) -> Result<Vec<Value>, Error> {
    let mut seen = BTreeSet::new();
    let mut first = Vec::new();
    for item in items {
        if seen.insert(plain(&item.get_attr("date")?)) {
            first.push(item);
        }
    }
    Ok(first)
}

/// The items of the first day, in order.
fn soonest(items: Vec<Value>) -> Result<Vec<Value>, Error> {
    let Some(first) = items.first() else { return Ok(items) };
    let day = plain(&first.get_attr("date")?);
    let mut of_that_day = Vec::new();
    for item in items {
        if plain(&item.get_attr("date")?) == day {
            of_that_day.push(item);
        }
    }
    Ok(of_that_day)
}

/// Every time to be there on the first day, in order: brothers and sisters may have two, and so may a day with two shows.
fn calls(words: &Words, state: &State<'_, '_>, items: &[Value]) -> Result<String, Error> {
    let Some(first) = items.first() else { return Ok(String::new()) };
    let day = plain(&first.get_attr("date")?);
    let mut times = BTreeSet::new();
    for item in items {
        if plain(&item.get_attr("date")?) == day {
            times.insert(plain(&item.get_attr("call")?));
        }
    }
    let twelve = Place::of(state).twelve;
    let clock = |time: &String| {
        let time = time
            .parse()
            .map_err(|_| Error::new(ErrorKind::InvalidOperation, format!("{time:?} is no time")))?;
        words.clock(time, twelve)
    };
    let shown: Vec<String> = times.iter().map(clock).collect::<Result<_, _>>()?;
    Ok(words.joined(&shown))
}

fn parse_date(date: &str) -> Result<Date, Error> {
    date.parse().map_err(|_| Error::new(ErrorKind::InvalidOperation, format!("{date:?} is no date")))
}

fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

/// A list of names in one phrase; in HTML each stands in an isolate of its own, so that a name written
/// from right to left cannot carry its neighbours along.
fn names(words: &Words, state: &State<'_, '_>, children: &[Value]) -> Value {
    if children.iter().any(|child| child.kind() == ValueKind::None) {
        let phrase = if children.len() == 1 { &words.your_child } else { &words.your_children };
        return Value::from(phrase.clone());
    }
    let names: Vec<String> = children.iter().map(plain).collect();
    if !matches!(state.auto_escape(), AutoEscape::Html) {
        return Value::from(words.joined(&names));
    }
    // The joining word is chosen by the bare name, so the isolates are put in afterwards.
    let marked: Vec<String> = names.iter().map(|name| format!("\u{2068}{name}\u{2069}")).collect();
    let phrase = HtmlEscape(&words.joined(&marked)).to_string();
    Value::from_safe_string(phrase.replace('\u{2068}', "<bdi>").replace('\u{2069}', "</bdi>"))
}

fn upfirst(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// The text with a full stop, unless it already ends like a sentence.
fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.is_empty() || text.ends_with(['.', '!', '?', '…']) {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}
