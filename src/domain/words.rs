//! Comparing names as people type them: without case, extra spaces or the shape of quotes and dashes.

use unicode_normalization::UnicodeNormalization as _;
use unicode_normalization::char::is_combining_mark;

/// The form two spellings of one name share: lower case, single spaces, plain quotes and dashes.
pub fn key(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !out.is_empty() {
            out.push(' ');
        }
        for c in word.chars() {
            match plain(c) {
                c if c.is_ascii() => out.push(c.to_ascii_lowercase()),
                c => out.extend(c.to_lowercase()),
            }
        }
    }
    out
}

/// The same without accents: what two hands make of one name.
pub fn bare(text: &str) -> String {
    let key = key(text);
    if key.is_ascii() { key } else { key.nfd().filter(|c| !is_combining_mark(*c)).collect() }
}

/// The letter that stands for a character in that form; the first, where one becomes several.
pub fn fold(c: char) -> char {
    let c = plain(c);
    c.to_lowercase().next().unwrap_or(c)
}

/// Quotes and dashes as a keyboard has them.
fn plain(c: char) -> char {
    match c {
        '\u{2018}' | '\u{2019}' | '\u{02BC}' | '`' => '\'',
        '\u{201C}' | '\u{201D}' => '"',
        '\u{2010}'..='\u{2015}' | '\u{2212}' => '-',
        c => c,
    }
}

/// The parts of a list with `;` between them, trimmed, empty ones left out.
pub fn list(text: &str) -> impl Iterator<Item = &str> {
    text.split(';').map(str::trim).filter(|part| !part.is_empty())
}

/// The longest word, in characters, for which a near match is looked for.
const NEAR_MAX_CHARS: usize = 80;

/// The candidate most like `wanted`, if one is alike enough to be a slip of the hand.
pub fn near<'a>(wanted: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted: Vec<char> = key(wanted).chars().collect();
    if wanted.is_empty() || wanted.len() > NEAR_MAX_CHARS {
        return None;
    }
    let most = (wanted.len() / 3).max(1);
    candidates
        .into_iter()
        .filter_map(|candidate| {
            let other: Vec<char> = key(candidate).chars().collect();
            if other.len().abs_diff(wanted.len()) > most {
                return None;
            }
            let steps = steps_apart(&wanted, &other);
            (steps <= most).then_some((steps, candidate))
        })
        .min_by_key(|(steps, _)| *steps)
        .map(|(_, candidate)| candidate)
}

/// Insertions, removals, replacements and swaps of neighbours that turn one word into the other.
fn steps_apart(a: &[char], b: &[char]) -> usize {
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, &x) in a.iter().enumerate() {
        let mut now = Vec::with_capacity(b.len() + 1);
        now.push(i + 1);
        for (j, &y) in b.iter().enumerate() {
            let mut best = (last[j + 1] + 1).min(now[j] + 1).min(last[j] + usize::from(x != y));
            if i > 0 && j > 0 && x == b[j - 1] && y == a[i - 1] {
                best = best.min(before[j - 1] + 1);
            }
            now.push(best);
        }
        before = std::mem::replace(&mut last, now);
    }
    last[b.len()]
}

/// `Did you mean 'x'?` when a near match exists, else the fallback sentence.
pub fn did_you_mean<'a>(
    wanted: &str,
    candidates: impl IntoIterator<Item = &'a str>,
    otherwise: &str,
) -> String {
    match near(wanted, candidates) {
        Some(found) => format!("Did you mean '{found}'?"),
        None => otherwise.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn accents_set_nobody_apart() {
        for (a, b) in [("María Núñez", "maria nunez"), ("Hélène", "HELENE"), ("Zoe", "Zoë")] {
            assert_eq!(bare(a), bare(b));
            assert_ne!(key(a), key(b));
        }
    }

    #[test]
    fn one_name_has_one_key() {
        for (a, b) in [
            ("  St  John\u{2019}s ", "st john's"),
            ("ÉCLAIR", "éclair"),
            ("A\u{2013}B", "a-b"),
            ("🎭 Finale", "🎭  finale"),
        ] {
            assert_eq!(key(a), key(b), "{a:?} {b:?}");
        }
    }

    #[test]
    fn near_finds_slips_only() {
        let names = ["children", "chaperones", "house rules"];
        for (typed, expect) in [
            ("childern", Some("children")),
            ("Chaperone", Some("chaperones")),
            ("houserules", Some("house rules")),
            ("budget", None),
            ("", None),
        ] {
            assert_eq!(near(typed, names), expect, "{typed:?}");
        }
    }
}
