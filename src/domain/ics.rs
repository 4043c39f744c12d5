//! Calendar entries as RFC 5545 text: in UTC, folded at 75 octets, TEXT escaped, lines ended by CRLF.

use jiff::Timestamp;
use jiff::tz::TimeZone;

/// Octets in the longest line, its CRLF not counted (RFC 5545 section 3.1).
pub const LINE_OCTETS: usize = 75;

/// One event of a calendar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// UID, the same through every revision.
    pub uid: String,
    /// Value of X-ALLHEARD-ITEM: what the entry stands for, so that an answer to it can be matched.
    pub item: String,
    /// SEQUENCE: goes up when the times change and when the entry is cancelled (RFC 5546 section 2.1.4).
    pub sequence: u32,
    /// DTSTAMP: when this revision was made.
    pub stamp: Timestamp,
    /// DTSTART.
    pub start: Timestamp,
    /// DTEND, exclusive; left out unless it is after the start (RFC 5545 section 3.8.2.2).
    pub end: Timestamp,
    /// SUMMARY.
    pub summary: String,
    /// LOCATION.
    pub location: String,
    /// DESCRIPTION; several lines are allowed.
    pub description: String,
    /// Minutes before the start at which the calendar shows an alarm; never written into a cancelled entry or a
    /// calendar that cancels or replies (RFC 5546 sections 3.2.3 and 3.2.5).
    pub alarm_minutes: Option<u32>,
    /// STATUS: cancelled, else confirmed.
    pub cancelled: bool,
}

/// A whole calendar object with the given PRODID and METHOD; without a METHOD when it is empty.
pub fn calendar(product: &str, method: &str, entries: &[Entry]) -> String {
    let mut head = String::new();
    if !method.is_empty() {
        line(&mut head, &format!("METHOD:{}", plain(method)));
    }
    let silent = ["CANCEL", "REPLY"].iter().any(|m| m.eq_ignore_ascii_case(method));
    object(product, &head, entries, silent)
}

/// A whole calendar object that programs read again and again: its NAME, and its REFRESH-INTERVAL in minutes, which is
/// how often they are asked to (RFC 7986 sections 5.1 and 5.7).
pub fn feed(product: &str, name: &str, refresh_minutes: u32, entries: &[Entry]) -> String {
    let mut head = String::new();
    property(&mut head, "NAME", name);
    line(&mut head, &format!("REFRESH-INTERVAL;VALUE=DURATION:PT{refresh_minutes}M"));
    object(product, &head, entries, false)
}

fn object(product: &str, head: &str, entries: &[Entry], silent: bool) -> String {
    let mut out = String::new();
    line(&mut out, "BEGIN:VCALENDAR");
    property(&mut out, "PRODID", product);
    line(&mut out, "VERSION:2.0");
    line(&mut out, "CALSCALE:GREGORIAN");
    out.push_str(head);
    for entry in entries {
        event(&mut out, entry, silent);
    }
    line(&mut out, "END:VCALENDAR");
    out
}

fn event(out: &mut String, entry: &Entry, silent: bool) {
    line(out, "BEGIN:VEVENT");
    property(out, "UID", &entry.uid);
    line(out, &format!("DTSTAMP:{}", utc(entry.stamp)));
    line(out, &format!("SEQUENCE:{}", entry.sequence));
    line(out, &format!("DTSTART:{}", utc(entry.start)));
    // Times are written in whole seconds, so the end must be later by that measure.
    if entry.end.as_second() > entry.start.as_second() {
        line(out, &format!("DTEND:{}", utc(entry.end)));
    }
    property(out, "SUMMARY", &entry.summary);
    for (name, value) in
        [("LOCATION", &entry.location), ("DESCRIPTION", &entry.description), ("X-ALLHEARD-ITEM", &entry.item)]
    {
        if !value.is_empty() {
            property(out, name, value);
        }
    }
    let status = if entry.cancelled { "CANCELLED" } else { "CONFIRMED" };
    line(out, &format!("STATUS:{status}"));
    if let Some(minutes) = entry.alarm_minutes
        && !silent
        && !entry.cancelled
    {
        alarm(out, minutes, &entry.summary);
    }
    line(out, "END:VEVENT");
}

fn alarm(out: &mut String, minutes: u32, words: &str) {
    line(out, "BEGIN:VALARM");
    line(out, "ACTION:DISPLAY");
    line(out, &format!("TRIGGER:-PT{minutes}M"));
    // A DISPLAY alarm must have a description (RFC 5545 section 3.6.6).
    property(out, "DESCRIPTION", words);
    line(out, "END:VALARM");
}

/// One TEXT property as a folded line.
fn property(out: &mut String, name: &str, value: &str) {
    line(out, &format!("{name}:{}", escape(value)));
}

fn line(out: &mut String, logical: &str) {
    out.push_str(&fold(logical));
    out.push_str("\r\n");
}

/// An instant as a UTC DATE-TIME, such as `20261205T183000Z` (RFC 5545 section 3.3.5, form 2).
fn utc(at: Timestamp) -> String {
    let c = TimeZone::UTC.to_datetime(at);
    // The format has four digits for the year and none for a sign.
    let year = c.year().max(0);
    format!("{year:04}{:02}{:02}T{:02}{:02}{:02}Z", c.month(), c.day(), c.hour(), c.minute(), c.second())
}

/// A logical line folded so that no line has more than [`LINE_OCTETS`] octets and none breaks inside a character
/// (RFC 5545 section 3.1). The end of the last line is not written.
pub fn fold(logical: &str) -> String {
    let mut out = String::with_capacity(logical.len() + logical.len() / LINE_OCTETS * 3);
    let mut used = 0;
    for c in logical.chars() {
        if used + c.len_utf8() > LINE_OCTETS {
            out.push_str("\r\n ");
            used = 1;
        }
        out.push(c);
        used += c.len_utf8();
    }
    out
}

/// A TEXT value with backslash, semicolon, comma and line break escaped (RFC 5545 section 3.3.11); other control
/// characters except the tab are not allowed in TEXT and are dropped.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\r' if chars.peek() == Some(&'\n') => {}
            '\r' | '\n' => out.push_str("\\n"),
            c if c.is_control() && c != '\t' => {}
            c => out.push(c),
        }
    }
    out
}

/// The words that a TEXT value stands for: `\\n` and `\\N` are line breaks, any other escaped character is itself.
pub fn unescape(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    let mut chars = value.chars();
    while let Some(c) = chars.next() {
        if c != '\\' {
            out.push(c);
            continue;
        }
        out.push(match chars.next() {
            Some('n' | 'N') => '\n',
            Some(escaped) => escaped,
            None => c,
        });
    }
    out
}

/// The logical lines of a calendar as it came in. Octets are unfolded before they are decoded, because a sender may have
/// folded inside a character (RFC 5545 section 3.1); a bare line feed is read as a line end too, and octets that are no
/// UTF-8 become the replacement character.
pub fn unfold(octets: &[u8]) -> Vec<String> {
    let mut lines: Vec<Vec<u8>> = Vec::new();
    for physical in octets.split(|octet| *octet == b'\n') {
        let physical = physical.strip_suffix(b"\r").unwrap_or(physical);
        match (physical, lines.last_mut()) {
            ([b' ' | b'\t', rest @ ..], Some(line)) => line.extend_from_slice(rest),
            _ => lines.push(physical.to_vec()),
        }
    }
    lines.retain(|line| !line.is_empty());
    let decode = |line: Vec<u8>| String::from_utf8_lossy(&line).into_owned();
    lines.into_iter().map(decode).collect()
}

/// A value for a property that is not TEXT: only letters, digits and hyphens are kept.
fn plain(value: &str) -> String {
    value.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn entry() -> Entry {
        let at = |text: &str| text.parse().unwrap();
        Entry {
            uid: "C017-E3@allheard.example".into(),
            item: "C017/E3".into(),
            sequence: 2,
            stamp: at("2026-11-20T10:00:00Z"),
            start: at("2026-12-05T17:00:00Z"),
            end: at("2026-12-05T21:00:00Z"),
            summary: "Dress rehearsal".into(),
            location: "Stage door, Mill Lane".into(),
            description: "Park by 16:35\nBring: water; no food".into(),
            alarm_minutes: Some(90),
            cancelled: false,
        }
    }

    #[test]
    fn a_whole_entry_is_written_in_order() {
        let expected = "\
BEGIN:VCALENDAR\r
PRODID:-//Allheard//EN\r
VERSION:2.0\r
CALSCALE:GREGORIAN\r
METHOD:REQUEST\r
BEGIN:VEVENT\r
UID:C017-E3@allheard.example\r
DTSTAMP:20261120T100000Z\r
SEQUENCE:2\r
DTSTART:20261205T170000Z\r
DTEND:20261205T210000Z\r
SUMMARY:Dress rehearsal\r
LOCATION:Stage door\\, Mill Lane\r
DESCRIPTION:Park by 16:35\\nBring: water\\; no food\r
X-ALLHEARD-ITEM:C017/E3\r
STATUS:CONFIRMED\r
BEGIN:VALARM\r
ACTION:DISPLAY\r
TRIGGER:-PT90M\r
DESCRIPTION:Dress rehearsal\r
END:VALARM\r
END:VEVENT\r
END:VCALENDAR\r
";
        assert_eq!(calendar("-//Allheard//EN", "REQUEST", &[entry()]), expected);
    }

    #[test]
    fn a_cancelled_entry_says_so_and_never_rings() {
        let cancelled = Entry { cancelled: true, ..entry() };
        let text = calendar("-//Allheard//EN", "PUBLISH", &[cancelled]);
        assert!(text.contains("STATUS:CANCELLED\r\n"));
        assert!(!text.contains("VALARM"));
        for method in ["CANCEL", "cancel", "REPLY"] {
            assert!(!calendar("-//Allheard//EN", method, &[entry()]).contains("VALARM"));
        }
    }

    #[test]
    fn an_end_that_is_not_after_the_start_is_left_out() {
        let instant = Entry { end: entry().start, ..entry() };
        assert!(!calendar("-//Allheard//EN", "", &[instant]).contains("DTEND"));
        assert!(!calendar("-//Allheard//EN", "", &[]).contains("METHOD"));
    }

    #[test]
    fn a_feed_says_its_name_and_how_often_to_look() {
        let text = feed("-//Allheard//EN", "Ines, at school", 60, &[entry()]);
        assert!(
            text.contains(
                "NAME:Ines\\, at school\r\nREFRESH-INTERVAL;VALUE=DURATION:PT60M\r\nBEGIN:VEVENT\r\n"
            )
        );
        assert!(text.contains("TRIGGER:-PT90M\r\n") && !text.contains("METHOD"));
    }

    proptest! {
        #[test]
        fn folding_can_be_undone_and_keeps_the_limit(logical in "[a-zé🎭 ;:]{0,400}") {
            let folded = fold(&logical);
            let back: Vec<String> = Some(logical).filter(|line| !line.is_empty()).into_iter().collect();
            prop_assert_eq!(unfold(folded.as_bytes()), back);
            prop_assert!(folded.split("\r\n").all(|part| part.len() <= LINE_OCTETS));
        }

        #[test]
        fn words_of_any_kind_stay_inside_their_property(words in any::<String>()) {
            let entry = Entry { summary: words.clone(), description: words.clone(), ..entry() };
            let text = calendar("-//Allheard//EN", "REQUEST", &[entry]);
            let rest = text.replace("\r\n", "");
            prop_assert!(!rest.contains('\n') && !rest.contains('\r'));
            let lines = unfold(text.as_bytes());
            let summaries: Vec<String> = lines
                .iter()
                .filter_map(|line| line.strip_prefix("SUMMARY:"))
                .map(unescape)
                .collect();
            let kept: String = words
                .replace("\r\n", "\n")
                .replace('\r', "\n")
                .chars()
                .filter(|c| !c.is_control() || matches!(c, '\n' | '\t'))
                .collect();
            prop_assert_eq!(summaries, vec![kept]);
            prop_assert_eq!(lines.iter().filter(|line| line.starts_with("BEGIN:")).count(), 3);
        }
    }
}
