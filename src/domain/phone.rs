//! Telephone numbers as people type them, by the numbering-plan data of the `phonenumber` crate.
//!
//! Accepted is what the plan calls *possible*; *valid* is told beside it, because numbers reserved for drama and
//! tests, and new ranges, are possible long before they are valid.

use super::season::{Line, Phone};
use phonenumber::metadata::{DATABASE, Descriptor};
use phonenumber::{Metadata, country};
use std::collections::HashMap;

/// Digits in an international number at most (ITU-T E.164 s6).
const E164_MAX_DIGITS: usize = 15;
/// Digits after the country code at least (the smallest plans have four): fewer are emergency and service numbers.
const NATIONAL_MIN_DIGITS: usize = 4;
/// Digits of a number with letters, fewer than: seven and more are a number by themselves, and the letters a note.
const KEYPAD_DIGITS_MAX: usize = 7;
/// Digits and letters of such a number together, at least.
const KEYPAD_LENGTH_MIN: usize = 10;
/// Characters of a cell looked at, at most: the longest form people write, with room.
const RAW_MAX_CHARS: usize = 60;

/// Why a text is no telephone number that could be dialled.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PhoneFault {
    /// The default country is unknown.
    #[error("the season's country is not known")]
    Country,
    /// No number in it, or a country code that does not exist.
    #[error("it is not a telephone number")]
    NotANumber,
    /// Words stand beside it, and it is not plain which digits are the number.
    #[error("has words in it, and it is not clear which digits are the number")]
    Words,
    /// The digits have a length no number of that country has, as emergency and short numbers do.
    #[error("it has too few or too many digits for that country")]
    Impossible,
}

/// Whether the numbering plans know a country by this ISO 3166 code.
pub fn knows_country(code: &str) -> bool {
    code.len() == 2 && code.to_ascii_uppercase().parse::<country::Id>().is_ok()
}

/// The number in `raw`, read as dialled in `country` (ISO 3166 code) when it has no country of its own.
pub fn parse(raw: &str, country: &str) -> Result<Phone, PhoneFault> {
    let home: country::Id = country.to_ascii_uppercase().parse().map_err(|_| PhoneFault::Country)?;
    if raw.chars().nth(RAW_MAX_CHARS).is_some() {
        return Err(PhoneFault::NotANumber);
    }
    let plain = plain_digits(raw);
    let (number_text, extension) = split_extension(&plain);
    let number_text = match keypad(number_text) {
        Some(keyed) => keyed,
        None => alone(number_text)?.to_owned(),
    };
    match dialled(&number_text, home, extension) {
        // +44 (0)7700 …: the nought in brackets is for callers at home; where both cannot be meant it goes.
        Err(PhoneFault::Impossible) if number_text.contains("(0)") => {
            dialled(&number_text.replacen("(0)", "", 1), home, extension)
        }
        result => result,
    }
}

/// An E.164 number as people in `country` (ISO 3166 code) read it; itself if the plans do not know it.
pub fn shown(e164: &str, country: &str) -> String {
    let Ok(number) = phonenumber::parse(None, e164) else { return e164.to_owned() };
    let home = country.to_ascii_uppercase().parse::<country::Id>().ok();
    let at_home = home.is_some_and(|home| {
        DATABASE.by_id(home.as_ref()).is_some_and(|plan| plan.country_code() == number.code().value())
    });
    let mode = if at_home { phonenumber::Mode::National } else { phonenumber::Mode::International };
    number.format().mode(mode).to_string()
}

fn dialled(text: &str, home: country::Id, extension: bool) -> Result<Phone, PhoneFault> {
    let number = phonenumber::parse(Some(home), text).map_err(|fault| match fault {
        phonenumber::ParseError::TooShortNsn | phonenumber::ParseError::TooLong => PhoneFault::Impossible,
        _ => PhoneFault::NotANumber,
    })?;
    let code = number.code().value();
    let national = number.national().to_string();
    let e164 = format!("+{code}{national}");
    let length = u16::try_from(national.len()).map_err(|_| PhoneFault::Impossible)?;
    let mut countries: Vec<&Metadata> =
        DATABASE.region(&code).unwrap_or_default().iter().filter_map(|id| DATABASE.by_id(*id)).collect();
    countries.sort_by_key(|country| !country.is_main_country_for_code());
    countries.extend(
        DATABASE.by_code(&code).into_iter().flatten().filter(|_| countries.is_empty()).collect::<Vec<_>>(),
    );
    let main = *countries.first().ok_or(PhoneFault::NotANumber)?;
    let kinds = descriptors(main);
    let whole = kinds.iter().any(|kind| kind.possible_length().contains(&length));
    let local_only = !whole && kinds.iter().any(|kind| kind.possible_local_length().contains(&length));
    if !(whole || local_only) || national.len() < NATIONAL_MIN_DIGITS || e164.len() > E164_MAX_DIGITS + 1 {
        return Err(PhoneFault::Impossible);
    }
    let valid = number.is_valid();
    let textable = !local_only && !extension && may_be_mobile(&countries, &national);
    Ok(Phone { e164, valid, line: if textable { Line::Textable } else { Line::VoiceOnly } })
}

/// Every kind of subscriber number a country has; short and emergency numbers are left out.
fn descriptors(country: &Metadata) -> Vec<&Descriptor> {
    let kinds = country.descriptors();
    [
        kinds.fixed_line(),
        kinds.mobile(),
        kinds.toll_free(),
        kinds.premium_rate(),
        kinds.shared_cost(),
        kinds.personal_number(),
        kinds.voip(),
        kinds.pager(),
        kinds.uan(),
        kinds.voicemail(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// A number of unknown kind may be a mobile; a known land line or service number is not.
fn may_be_mobile(countries: &[&Metadata], national: &str) -> bool {
    // The crate's own look-up of the kind drops leading noughts, which are part of the number in Italy.
    countries
        .iter()
        .find_map(|country| {
            let kinds = country.descriptors();
            let known = |kind: Option<&Descriptor>| kind.is_some_and(|kind| kind.is_match(national));
            let services = [
                kinds.fixed_line(),
                kinds.toll_free(),
                kinds.premium_rate(),
                kinds.shared_cost(),
                kinds.uan(),
                kinds.voip(),
                kinds.voicemail(),
                kinds.pager(),
            ];
            if known(kinds.mobile()) { Some(true) } else { services.into_iter().any(known).then_some(false) }
        })
        .unwrap_or(true)
}

/// Decimal digits of other scripts and full-width signs as ASCII, which the crate reads; odd spaces and dashes as plain ones.
fn plain_digits(raw: &str) -> String {
    const ZEROS: [u32; 6] = [0x0660, 0x06F0, 0x0966, 0x09E6, 0x0E50, 0xFF10];
    raw.trim()
        .chars()
        .filter(|c| !matches!(c, '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{2069}' | '\u{FEFF}'))
        .map(|c| {
            let digit = ZEROS.iter().find_map(|zero| (c as u32).checked_sub(*zero).filter(|d| *d < 10));
            match (digit.and_then(|d| char::from_digit(d, 10)), c) {
                (Some(digit), _) => digit,
                (None, '\u{FF0B}') => '+',
                (None, '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{FF0D}') => '-',
                (None, '\u{FF08}') => '(',
                (None, '\u{FF09}') => ')',
                (None, c) if c.is_whitespace() => ' ',
                (None, c) => c,
            }
        })
        .collect()
}

/// Parts an extension from the number: it can be rung through a switchboard, never texted.
fn split_extension(text: &str) -> (&str, bool) {
    let lower = text.to_ascii_lowercase();
    for mark in [";ext=", "extension", "ext.", "ext", "x", "#"] {
        if let Some(at) = lower.find(mark) {
            let tail = lower[at + mark.len()..].trim_matches([' ', '.', ':']);
            let head_has_digits = lower[..at].bytes().filter(u8::is_ascii_digit).count() >= 5;
            if head_has_digits && !tail.is_empty() && tail.bytes().all(|b| b.is_ascii_digit()) {
                return (text[..at].trim_end_matches([' ', ',', ';']), true);
            }
        }
    }
    (text, false)
}

/// Letters of a number such as 1-800-FLOWERS as the keys they stand on (ITU-T E.161); none unless they are plainly meant
/// so: capitals after a few digits that are no number by themselves.
fn keypad(text: &str) -> Option<String> {
    let starts_as_number =
        text.trim_start_matches(['(', ' ']).starts_with(|c: char| c == '+' || c.is_ascii_digit());
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    let letters = text.bytes().filter(u8::is_ascii_uppercase).count();
    let only_these =
        text.chars().all(|c| c.is_ascii_digit() || c.is_ascii_uppercase() || " +-().".contains(c));
    let whole = digits < KEYPAD_DIGITS_MAX && digits + letters >= KEYPAD_LENGTH_MIN;
    if !(starts_as_number && only_these && letters >= 3 && whole) {
        return None;
    }
    let key = |c: char| match c {
        'A'..='C' => '2',
        'D'..='F' => '3',
        'G'..='I' => '4',
        'J'..='L' => '5',
        'M'..='O' => '6',
        'P'..='S' => '7',
        'T'..='V' => '8',
        'W'..='Z' => '9',
        c => c,
    };
    Some(text.chars().map(key).collect())
}

/// The one stretch of a text that may be a number, without the words beside it: a note is never dialled.
fn alone(text: &str) -> Result<&str, PhoneFault> {
    let lower = text.to_ascii_lowercase();
    // A number in the form of RFC 3966.
    if lower.starts_with("tel:") {
        return Ok(text);
    }
    let mut found: Option<&str> = None;
    for part in text.split(|c: char| !(c.is_ascii_digit() || " +-().,/;:".contains(c))) {
        if part.bytes().any(|byte| byte.is_ascii_digit()) && found.replace(part).is_some() {
            return Err(PhoneFault::Words);
        }
    }
    let part = found.ok_or(PhoneFault::NotANumber)?;
    Ok(if part.len() == text.len() { part } else { part.trim_matches([' ', ',', ';', ':', '.', '-', '/']) })
}

/// Whether words stand beside the number that [`parse`] finds, and are left out of it.
pub fn has_words(raw: &str) -> bool {
    let plain = plain_digits(raw);
    let number = split_extension(&plain).0;
    keypad(number).is_none() && alone(number).is_ok_and(|part| part.len() < number.len())
}

/// Numbers already read in one country, so that a number typed beside several children is worked out once.
#[derive(Debug)]
pub struct Phones {
    country: String,
    seen: HashMap<String, Result<Phone, PhoneFault>>,
}

impl Phones {
    /// An empty memory for a country (ISO 3166 code).
    pub fn new(country: &str) -> Phones {
        Phones { country: country.to_owned(), seen: HashMap::new() }
    }

    /// As [`parse`].
    pub fn read(&mut self, raw: &str) -> &Result<Phone, PhoneFault> {
        if !self.seen.contains_key(raw) {
            self.seen.insert(raw.to_owned(), parse(raw, &self.country));
        }
        &self.seen[raw]
    }

    /// What two spellings of one number share: the international form, or the bare digits where there is none.
    pub fn key(&mut self, raw: &str) -> String {
        match self.read(raw) {
            Ok(phone) => phone.e164.clone(),
            Err(_) => raw.chars().filter(char::is_ascii_digit).collect(),
        }
    }
}
