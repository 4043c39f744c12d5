//! The outbox folder as the checker sees it: one value a file.

use super::Violations;
use super::view::plain_address;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use mail_parser::{MessageParser, MimeHeaders};
use std::fs;
use std::path::{Path, PathBuf};

/// The property of a calendar entry that names child and event.
const ITEM: &str = "X-ALLHEARD-ITEM";

/// A calendar entry of a mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Entry {
    /// Child's ref.
    pub child: String,
    /// Event's ref.
    pub event: String,
    /// Begins.
    pub start: Option<Timestamp>,
    /// Ends.
    pub end: Option<Timestamp>,
    /// Calls the entry off.
    pub cancelled: bool,
}

/// One file of the outbox.
#[derive(Debug)]
pub(super) struct Sent {
    /// `mail` or `text`.
    pub channel: &'static str,
    /// Address in plain spelling.
    pub to: String,
    /// Its date.
    pub at: Timestamp,
    /// What may be the message's key, most telling first.
    pub keys: Vec<String>,
    /// Calendar entries.
    pub entries: Vec<Entry>,
    /// Words of a text, or of a mail as plain text.
    pub body: String,
}

/// Reads every file, in order of names; what cannot be read is counted.
pub(super) fn read(outbox: &Path, found: &mut Violations) -> Vec<Sent> {
    let mut sent = Vec::new();
    for (folder, ending, read) in
        [("mail/new", "eml", mail as fn(&[u8]) -> Option<Sent>), ("texts", "txt", text)]
    {
        for (nth, path) in files(&outbox.join(folder), ending).into_iter().enumerate() {
            match fs::read(&path).ok().and_then(|bytes| read(&bytes)) {
                Some(file) => sent.push(file),
                None => {
                    found.unaccounted += 1;
                    found.example(format!("unreadable: file {} of {folder}", nth + 1));
                }
            }
        }
    }
    sent
}

fn files(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut paths: Vec<PathBuf> =
        entries.map(|e| e.path()).filter(|p| p.extension().is_some_and(|e| e == ending)).collect();
    paths.sort();
    paths
}

fn text(bytes: &[u8]) -> Option<Sent> {
    let whole = std::str::from_utf8(bytes).ok()?.replace("\r\n", "\n");
    let (head, body) = whole.split_once("\n\n")?;
    let field = |name: &str| {
        let line = head
            .lines()
            .find_map(|line| line.split_once(':').filter(|(field, _)| field.eq_ignore_ascii_case(name)));
        line.map(|(_, value)| value.trim().to_owned())
    };
    Some(Sent {
        channel: "text",
        to: plain_address(&field("To")?),
        at: field("Date")?.parse().ok()?,
        keys: field("Reference").into_iter().collect(),
        entries: Vec::new(),
        body: body.to_owned(),
    })
}

fn mail(bytes: &[u8]) -> Option<Sent> {
    let message = MessageParser::default().parse(bytes)?;
    let to = message.to()?.first()?.address()?.to_owned();
    let at = Timestamp::from_second(message.date()?.to_timestamp()).ok()?;
    let mut keys = Vec::new();
    for name in ["X-Allheard-Message", "Reference"] {
        keys.extend(message.header_raw(name).map(|value| value.trim().to_owned()));
    }
    // Where no header of its own says so, the key is the left side of the Message-ID, alone or before its first dot.
    if let Some((left, _)) = message.message_id().and_then(|id| id.split_once('@')) {
        keys.push(left.to_owned());
        keys.extend(left.split_once('.').map(|(first, _)| first.to_owned()));
    }
    let calendars = message.parts.iter().filter(|part| {
        part.content_type().is_some_and(|t| {
            t.ctype().eq_ignore_ascii_case("text")
                && t.subtype().is_some_and(|s| s.eq_ignore_ascii_case("calendar"))
        })
    });
    let entries =
        calendars.filter_map(|part| std::str::from_utf8(part.contents()).ok()).flat_map(calendar).collect();
    let body = message.body_text(0).unwrap_or_default().into_owned();
    Some(Sent { channel: "mail", to: plain_address(&to), at, keys, entries, body })
}

/// The entries of an iCalendar text (RFC 5545): unfolded first, then property by property.
fn calendar(text: &str) -> Vec<Entry> {
    let text = text.replace("\r\n", "\n").replace("\n ", "").replace("\n\t", "");
    let mut entries = Vec::new();
    let mut open: Option<Entry> = None;
    let (mut all_cancelled, mut inner) = (false, 0);
    for line in text.lines() {
        let Some((name, value)) = line.split_once(':') else {
            continue;
        };
        let property = name.split(';').next().unwrap_or(name).to_ascii_uppercase();
        match (property.as_str(), &mut open) {
            ("METHOD", _) => all_cancelled = value.eq_ignore_ascii_case("CANCEL"),
            ("BEGIN", None) if value.eq_ignore_ascii_case("VEVENT") => {
                open = Some(Entry {
                    child: String::new(),
                    event: String::new(),
                    start: None,
                    end: None,
                    cancelled: all_cancelled,
                });
            }
            // Properties of an alarm inside the entry are not the entry's own.
            ("BEGIN", Some(_)) => inner += 1,
            ("END", Some(_)) if inner > 0 => inner -= 1,
            ("END", Some(_)) => entries.extend(open.take()),
            (_, Some(_)) if inner > 0 => {}
            ("DTSTART", Some(entry)) => entry.start = moment(name, value),
            ("DTEND", Some(entry)) => entry.end = moment(name, value),
            ("STATUS", Some(entry)) => entry.cancelled |= value.eq_ignore_ascii_case("CANCELLED"),
            (ITEM, Some(entry)) => {
                let (child, event) = value.trim().split_once('/').unwrap_or((value, ""));
                (entry.child, entry.event) = (child.to_owned(), event.to_owned());
            }
            _ => {}
        }
    }
    entries.retain(|entry| !entry.child.is_empty());
    entries
}

/// A date-time of iCalendar: with `Z` in UTC, else in the zone of its TZID.
fn moment(name: &str, value: &str) -> Option<Timestamp> {
    let value = value.trim();
    let (zone, digits) = match value.strip_suffix('Z') {
        Some(digits) => (TimeZone::UTC, digits),
        None => {
            let id = name
                .split(';')
                .find_map(|p| p.split_once('=').filter(|(key, _)| key.eq_ignore_ascii_case("TZID")))?
                .1;
            (TimeZone::get(id.trim_matches('"')).ok()?, value)
        }
    };
    let local = DateTime::strptime("%Y%m%dT%H%M%S", digits).ok()?;
    Some(local.to_zoned_datetime(zone).ok()?.timestamp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_are_read_folded_with_zone_and_without_their_alarms() {
        let text = "BEGIN:VCALENDAR\r\nMETHOD:PUBLISH\r\nBEGIN:VEVENT\r\nDTSTART;TZID=Europe/London:20270328T130000\r\nDTEND:20270328T15\r\n 2000Z\r\nBEGIN:VALARM\r\nDTSTART:19990101T000000Z\r\nEND:VALARM\r\nX-ALLHEARD-ITEM:C001/E006\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n";
        let [entry] = &calendar(text)[..] else { panic!("one entry") };
        assert_eq!((entry.child.as_str(), entry.event.as_str(), entry.cancelled), ("C001", "E006", false));
        assert_eq!(entry.start.unwrap().to_string(), "2027-03-28T12:00:00Z");
        assert_eq!(entry.end.unwrap().to_string(), "2027-03-28T15:20:00Z");
    }
}
