//! Fields of a `.csv` that no spreadsheet takes for a formula.
//!
//! Triggers: OWASP ASVS 5.0 1.2.10 (`=` `+` `-` `@` TAB NUL) and the OWASP page on CSV injection (CR, LF, full-width
//! forms). Quoting: RFC 4180 s2 rules 5-7.

use std::borrow::Cow;

fn triggers(text: &str) -> bool {
    text.starts_with([
        '=', '+', '-', '@', '\t', '\r', '\n', '\0', '\u{FF1D}', '\u{FF0B}', '\u{FF0D}', '\u{FF20}',
    ])
}

/// The text with an apostrophe before a sign that would start a formula.
pub fn guarded(text: &str) -> Cow<'_, str> {
    if triggers(text) { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

/// Undoes [`guarded`]: one leading apostrophe goes when a formula sign follows it.
pub fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if triggers(rest) => rest,
        _ => text,
    }
}

/// One field as it stands in the file: guarded, and quoted where it must be.
pub fn csv_field(text: &str) -> String {
    let safe = guarded(text);
    if safe.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", safe.replace('"', "\"\""))
    } else {
        safe.into_owned()
    }
}
