//! Lengths, walks, addresses and ages as people type them. Every function says what is wrong in half a sentence.

pub use super::calendar::{date, time};

use super::words::{bare, key};

/// Seconds in the longest length a cell may hold: one hour.
pub const LENGTH_MAX_SECONDS: u32 = 60 * 60;
/// A bare number below this is not taken for seconds: two of them or two minutes may be meant.
const BARE_MIN_SECONDS: u32 = 60;
/// Minutes in the longest walk a cell may hold.
pub const WALK_MAX_MINUTES: u32 = 240;

/// `yes` and `no` in the forms people and spreadsheets write.
pub fn yes_no(text: &str) -> Result<bool, String> {
    match key(text).as_str() {
        "yes" | "y" | "true" | "x" | "1" | "✓" | "✔" | "sí" | "si" => Ok(true),
        "no" | "n" | "false" | "0" | "-" => Ok(false),
        _ => Err(format!("'{text}' is neither yes nor no")),
    }
}

/// A whole number, not negative; `8.0` is what some spreadsheets make of 8.
pub fn count(text: &str) -> Result<u32, String> {
    let text = text.trim();
    let whole = match text.split_once('.') {
        Some((whole, zeros)) if !zeros.is_empty() && zeros.bytes().all(|b| b == b'0') => whole,
        _ => text,
    };
    if whole.is_empty() || !whole.bytes().all(|b| b.is_ascii_digit()) {
        return Err(format!("'{text}' is not a whole number"));
    }
    whole.parse().map_err(|_| format!("'{text}' is too large a number"))
}

fn two_numbers(text: &str) -> Option<(u32, u32)> {
    let text = key(text).replace(" to ", "-");
    let (a, b) = match text.split_once('-') {
        Some((a, b)) => (count(a).ok()?, count(b).ok()?),
        None => {
            let one = count(&text).ok()?;
            (one, one)
        }
    };
    Some((a, b))
}

/// A walk in minutes: `8`, or a range with any dash, `15-20`; shortest and longest.
pub fn walk(text: &str) -> Result<(u32, u32), String> {
    let plain = key(text);
    let plain = plain
        .trim_end_matches("utes")
        .trim_end_matches('.')
        .trim_end_matches('s')
        .trim_end_matches("min")
        .trim();
    let (short, long) =
        two_numbers(plain).ok_or_else(|| format!("'{text}' is neither minutes nor a range of minutes"))?;
    if short > long {
        return Err(format!("'{text}' runs from the longer walk to the shorter"));
    }
    if long > WALK_MAX_MINUTES {
        return Err(format!("'{text}' is longer than {WALK_MAX_MINUTES} minutes"));
    }
    Ok((short, long))
}

/// An age band: `5-6`, or one age.
pub fn ages(text: &str) -> Result<(u8, u8), String> {
    two_numbers(text)
        .filter(|(young, old)| young <= old && *old < 100)
        .and_then(|(young, old)| Some((u8::try_from(young).ok()?, u8::try_from(old).ok()?)))
        .ok_or_else(|| format!("'{text}' is not an age band"))
}

/// A length in seconds: `2:05` and `125` and `0:02:05` are the same; units may be written, `2 min 5 s`. A bare number that
/// could as well be minutes is refused.
pub fn length(text: &str) -> Result<u32, String> {
    let bad = || format!("'{text}' is not a length in minutes and seconds");
    let plain = key(text);
    let seconds = if plain.contains(':') {
        let parts: Vec<u32> = plain.split(':').map(count).collect::<Result<_, _>>().map_err(|_| bad())?;
        let (hours, minutes, seconds) = match parts[..] {
            [m, s] => (0, m, s),
            [h, m, s] if m < 60 => (h, m, s),
            _ => return Err(bad()),
        };
        if seconds > 59 {
            return Err(format!("'{text}' has more than 59 seconds after the colon"));
        }
        hours
            .checked_mul(3600)
            .zip(minutes.checked_mul(60))
            .and_then(|(h, m)| h.checked_add(m)?.checked_add(seconds))
    } else if plain.bytes().any(|b| b.is_ascii_alphabetic()) || plain.contains(['\'', '"']) {
        let in_letters = plain.replace("''", "s").replace('\'', "m").replace('"', "s");
        Some(length_in_units(&in_letters).ok_or_else(bad)?)
    } else {
        let bare = count(&plain).map_err(|_| bad())?;
        if (1..BARE_MIN_SECONDS).contains(&bare) {
            return Err(format!("'{text}' may be minutes or seconds"));
        }
        Some(bare)
    };
    seconds.filter(|s| *s <= LENGTH_MAX_SECONDS).ok_or_else(|| format!("'{text}' is longer than an hour"))
}

fn length_in_units(plain: &str) -> Option<u32> {
    let mut rest = plain;
    let mut total: u32 = 0;
    let mut minutes = false;
    while !rest.is_empty() {
        let digits = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
        let number: u32 = rest[..digits].parse().ok()?;
        // What stands bare behind minutes is seconds: 2m30, 2 min 30.
        if digits == rest.len() {
            return total.checked_add(number).filter(|_| minutes && number < 60);
        }
        rest = rest[digits..].trim_start();
        let end = rest.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(rest.len());
        let unit = match &rest[..end] {
            "m" | "min" | "mins" | "minute" | "minutes" => 60,
            "s" | "sec" | "secs" | "second" | "seconds" => 1,
            _ => return None,
        };
        minutes = unit == 60;
        total = total.checked_add(number.checked_mul(unit)?)?;
        rest = rest[end..].trim_start_matches(['.', ',', ' ']);
    }
    Some(total)
}

/// A mail address as RFC 5321 4.5.3.1 bounds it: local part 64, domain 255, whole 254 octets; no spaces, no line breaks.
pub fn mail(text: &str) -> Result<super::season::MailAddress, String> {
    let text = text.trim();
    let text = text.strip_prefix("mailto:").unwrap_or(text);
    let bad = |why: &str| Err(format!("'{}' is not a mail address: {why}", shown(text)));
    if text
        .chars()
        .any(|c| c.is_whitespace() || c.is_control() || matches!(c, '<' | '>' | ',' | ';' | '"' | '(' | ')'))
    {
        return bad("it holds a space or a sign that no address has");
    }
    let Some((local, domain)) = text.rsplit_once('@') else {
        return bad("it has no @");
    };
    if local.is_empty()
        || local.contains('@')
        || local.starts_with('.')
        || local.ends_with('.')
        || local.contains("..")
    {
        return bad("the part before the @ is malformed");
    }
    let labels_fit = domain.split('.').all(|label| {
        !label.is_empty()
            && label.len() <= 63
            && !label.starts_with('-')
            && !label.ends_with('-')
            && label.chars().all(|c| c.is_alphanumeric() || c == '-')
    });
    if !labels_fit || !domain.contains('.') {
        return bad("the part after the @ is not the name of a host");
    }
    if local.len() > 64 || domain.len() > 255 || text.len() > 254 {
        return bad("it is longer than mail allows");
    }
    Ok(super::season::MailAddress(format!("{local}@{}", domain.to_lowercase())))
}

/// Languages as people write them, without accents, and their tags (ISO 639-1).
const LANGUAGES: [(&str, &str); 14] = [
    ("english", "en"),
    ("ingles", "en"),
    ("spanish", "es"),
    ("espanol", "es"),
    ("castellano", "es"),
    ("french", "fr"),
    ("german", "de"),
    ("italian", "it"),
    ("polish", "pl"),
    ("portuguese", "pt"),
    ("romanian", "ro"),
    ("welsh", "cy"),
    ("arabic", "ar"),
    ("chinese", "zh"),
];

/// A language tag such as `en`, `es` or `pt-BR`, given back in lower case.
pub fn language(text: &str) -> Result<super::season::Language, String> {
    let plain = text.trim().replace('_', "-").to_lowercase();
    let named = LANGUAGES.iter().find(|(name, _)| *name == bare(text));
    let plain = named.map_or(plain, |(_, tag)| (*tag).to_owned());
    let mut parts = plain.split('-');
    let first_fits =
        parts.next().is_some_and(|p| (2..=3).contains(&p.len()) && p.bytes().all(|b| b.is_ascii_lowercase()));
    let rest_fits = parts.all(|p| (2..=8).contains(&p.len()) && p.bytes().all(|b| b.is_ascii_alphanumeric()));
    if first_fits && rest_fits {
        Ok(super::season::Language(plain))
    } else {
        Err(format!("'{}' is not a language code", shown(text)))
    }
}

/// Characters of a cell repeated in a message, at most.
const SHOWN_CHARS: usize = 60;

/// A cell's text fit for a message: one line, not endless.
pub fn shown(text: &str) -> String {
    let mut out: String =
        text.chars().take(SHOWN_CHARS).map(|c| if c.is_control() { '\u{FFFD}' } else { c }).collect();
    if text.chars().nth(SHOWN_CHARS).is_some() {
        out.push('…');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_as_typed() {
        let check = |input: &str, expect: Option<u32>| assert_eq!(length(input).ok(), expect, "{input:?}");
        for input in [
            "2:05",
            "125",
            "0:02:05",
            "2 min 5 s",
            "2m05s",
            "125 seconds",
            "02:05",
            "2 min 5",
            "2m05",
            "2’05",
            "2'05\"",
        ] {
            check(input, Some(125));
        }
        check("0:20", Some(20));
        check("1:00:00", Some(3600));
        check("0", Some(0));
        for input in [
            "2:60",
            "2:05:99",
            "1:60:00",
            "-5",
            "two",
            "2,5",
            "9:99",
            "",
            "1:00:01",
            "2:05:00",
            "2",
            "59",
            "99999999:00",
            "5 h",
            "2m75",
            "5 s 5",
        ] {
            check(input, None);
        }
    }

    #[test]
    fn walks_as_typed() {
        let check =
            |input: &str, expect: Option<(u32, u32)>| assert_eq!(walk(input).ok(), expect, "{input:?}");
        check("8", Some((8, 8)));
        for input in ["15-20", "15–20", "15 — 20", "15 to 20", "15-20 min", "15−20 minutes"] {
            check(input, Some((15, 20)));
        }
        for input in ["20-15", "-5", "far", "", "8-", "999", "1-2-3"] {
            check(input, None);
        }
    }

    #[test]
    fn mail_addresses() {
        // Length limits: RFC 5321 s4.5.3.1.1-3.
        let check = |input: &str, expect: Option<&str>| {
            assert_eq!(mail(input).ok().map(|m| m.0).as_deref(), expect, "{input:?}")
        };
        check("Ana.Lim@Example.COM", Some("Ana.Lim@example.com"));
        check("a+b@school.example", Some("a+b@school.example"));
        check(&format!("{}@example.com", "a".repeat(64)), Some(&format!("{}@example.com", "a".repeat(64))));
        for input in [
            "",
            "ana",
            "@example.com",
            "ana@",
            "ana@example",
            "a b@example.com",
            "a@b@example.com",
            "a@example.com\r\nBcc: b@example.com",
            "a@example..com",
            "a@-x.example",
            ".a@example.com",
        ] {
            check(input, None);
        }
        check(&format!("{}@example.com", "a".repeat(65)), None);
    }

    #[test]
    fn small_kinds() {
        for (input, expect) in
            [("Yes", Some(true)), ("n", Some(false)), ("TRUE", Some(true)), ("maybe", None)]
        {
            assert_eq!(yes_no(input).ok(), expect, "{input:?}");
        }
        for (input, expect) in
            [("8", Some(8)), ("8.0", Some(8)), ("8.5", None), ("-1", None), ("9999999999", None)]
        {
            assert_eq!(count(input).ok(), expect, "{input:?}");
        }
        for (input, expect) in
            [("5-6", Some((5, 6))), ("7", Some((7, 7))), ("6-5", None), ("2019-03-01", None)]
        {
            assert_eq!(ages(input).ok(), expect, "{input:?}");
        }
        for (input, expect) in [
            ("EN", Some("en")),
            ("pt_BR", Some("pt-br")),
            ("English", Some("en")),
            ("Español", Some("es")),
            ("elvish", None),
            ("", None),
        ] {
            assert_eq!(language(input).ok().map(|l| l.0).as_deref(), expect, "{input:?}");
        }
    }
}
