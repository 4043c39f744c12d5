//! A mail that came in, read for what a person wrote in it. Pure: octets in, a [`IncomingMail`] out, never a panic.
//!
//! Standards: RFC 5322 (mail), RFC 3834 (automatic mail is never answered), RFC 3464 and 6522 (delivery reports), RFC 8098
//! (read receipts), RFC 5233 (the detail of an address).

use crate::domain::hash;
use crate::domain::season::Channel;
use crate::service::hearing::{INCOMING_CHARACTERS_MAX, Incoming};
use jiff::Timestamp;
use mail_parser::{Address, HeaderName, HeaderValue, Message, MessageParser, MimeHeaders as _, PartType};

/// Octets of a mail that are read; of a longer one only these, which hold its header.
pub const MAIL_MAX_OCTETS: usize = 1024 * 1024;
/// Characters of a link's token.
const TOKEN_CHARACTERS: usize = 22;
/// What stands for the words of a mail that is too long.
const TOO_LONG: &str = "(This mail is too long to read here; it lies in the mailbox.)";
/// Local parts that no person writes from (RFC 3834 section 2).
const MACHINES: [&str; 6] = ["mailer-daemon", "postmaster", "noreply", "no-reply", "donotreply", "bounces"];
/// Openings of the line above a quotation, folded to lower case, and what they end with.
const QUOTATION_LINES: [(&str, &str); 5] =
    [("on ", "wrote:"), ("el ", "escribió:"), ("el ", "escribio:"), ("am ", "schrieb:"), ("le ", "écrit :")];
/// Lines that begin a quoted mail by themselves.
const QUOTED_FROM_HERE: [&str; 5] = [
    "-----original message-----",
    "-----mensaje original-----",
    "________________________________",
    "-- ",
    "begin forwarded message:",
];

/// A mail as far as it matters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum IncomingMail {
    /// Somebody wrote it, or a machine did that says so.
    Note {
        /// What to hear.
        from: String,
        /// The person's own words.
        words: String,
        /// Its identifier.
        external: String,
        /// When it was written, if it says.
        at: Option<Timestamp>,
        /// A token of ours in it.
        token: Option<String>,
        /// Key of a message of ours that it refers to.
        about: Option<String>,
        /// A machine wrote it.
        automatic: bool,
    },
    /// One of our mails came back for good: their keys.
    Returned(Vec<String>),
    /// A delivery report that settles nothing: delayed, delivered, or given up for the moment.
    Report,
    /// A read receipt; nobody has been heard from by that.
    ReadReceipt,
}

/// What our own mails look like, to know answers to them.
#[derive(Debug, Clone)]
pub struct OwnMail {
    /// Right side of our Message-IDs.
    pub domain: String,
    /// Where links begin.
    pub base_url: String,
}

/// Reads a mail.
pub fn read(octets: &[u8], own: &OwnMail) -> IncomingMail {
    let whole = octets.len() <= MAIL_MAX_OCTETS;
    let octets = &octets[..octets.len().min(MAIL_MAX_OCTETS)];
    let fallback = || format!("sha256:{}", hash::hex(&hash::sha256(octets)));
    let Some(mail) = MessageParser::default().parse(octets) else {
        return IncomingMail::Note {
            from: String::new(),
            words: String::from_utf8_lossy(octets).chars().take(INCOMING_CHARACTERS_MAX).collect(),
            external: fallback(),
            at: None,
            token: None,
            about: None,
            automatic: false,
        };
    };
    if let Some(report) = report_type(&mail) {
        return match report.as_str() {
            "delivery-status" => delivery_report(&mail, own),
            "disposition-notification" => IncomingMail::ReadReceipt,
            _ => IncomingMail::Report,
        };
    }
    let text = plain_text(&mail);
    let from = sender(&mail);
    IncomingMail::Note {
        words: if whole { own_words(&text) } else { TOO_LONG.to_owned() },
        external: mail.message_id().map_or_else(fallback, str::to_owned),
        at: mail.date().and_then(|date| Timestamp::from_second(date.to_timestamp()).ok()),
        token: token_in_addresses(&mail).or_else(|| token_in_text(&text, own)),
        about: referred(&mail, own),
        automatic: is_automatic(&mail, &from),
        from,
    }
}

/// When the last server on its way took a mail in: its topmost `Received` (RFC 5321 4.4); none where it says no such time.
pub fn received(octets: &[u8]) -> Option<Timestamp> {
    let head = &octets[..octets.len().min(MAIL_MAX_OCTETS)];
    let mail = MessageParser::default().parse_headers(head)?;
    let topmost = mail.headers().iter().find(|header| header.name == HeaderName::Received)?;
    let at = topmost.value.as_received()?.date()?.to_timestamp();
    Timestamp::from_second(at).ok()
}

impl IncomingMail {
    /// As something to be heard; none for reports.
    pub fn incoming(self, now: Timestamp) -> Option<Incoming> {
        let IncomingMail::Note { from, words, external, at, token, about, automatic } = self else {
            return None;
        };
        let at = at.map_or(now, |at| at.min(now));
        Some(Incoming { channel: Channel::Mail, from, words, at, external, token, about, automatic })
    }
}

fn raw<'a>(mail: &'a Message<'_>, name: &str) -> Option<&'a str> {
    mail.headers_raw().find(|(given, _)| given.eq_ignore_ascii_case(name)).map(|(_, value)| value.trim())
}

/// The report type of `multipart/report` (RFC 6522).
fn report_type(mail: &Message<'_>) -> Option<String> {
    let kind = mail.content_type()?;
    let report = kind.c_type.eq_ignore_ascii_case("multipart")
        && kind.c_subtype.as_ref().is_some_and(|sub| sub.eq_ignore_ascii_case("report"));
    report.then(|| kind.attribute("report-type").unwrap_or_default().to_ascii_lowercase())
}

/// Whether a machine wrote it, by its marks (RFC 3834 sections 2 and 5).
fn is_automatic(mail: &Message<'_>, from: &str) -> bool {
    let submitted = raw(mail, "Auto-Submitted").is_some_and(|value| {
        let word = value.split([';', '(', ' ', '\t', '\r']).next().unwrap_or_default();
        !word.eq_ignore_ascii_case("no")
    });
    let precedence = raw(mail, "Precedence").is_some_and(|value| {
        ["bulk", "list", "junk", "auto_reply"].iter().any(|word| value.eq_ignore_ascii_case(word))
    });
    let nobody = raw(mail, "Return-Path").is_some_and(|value| value.replace(' ', "") == "<>");
    let list = mail.headers_raw().any(|(name, _)| name.to_ascii_lowercase().starts_with("list-"));
    let local = from.split('@').next().unwrap_or_default();
    let machine = MACHINES.contains(&local) || local.starts_with("owner-") || local.ends_with("-request");
    submitted
        || precedence
        || nobody
        || list
        || machine
        || raw(mail, "X-Auto-Response-Suppress").is_some()
        || raw(mail, "X-Autoreply").is_some()
}

fn first_address(address: &Address<'_>) -> Option<String> {
    address.first().and_then(|one| one.address()).map(str::to_ascii_lowercase)
}

fn sender(mail: &Message<'_>) -> String {
    mail.from().and_then(first_address).unwrap_or_default()
}

fn is_token(text: &str) -> bool {
    text.len() == TOKEN_CHARACTERS
        && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}

/// The detail of an address it was sent to, as in `answers+TOKEN@…` (RFC 5233).
fn token_in_addresses(mail: &Message<'_>) -> Option<String> {
    let named = ["To", "Cc", "Delivered-To", "X-Original-To"];
    let values = mail.headers_raw().filter(|(name, _)| named.iter().any(|n| n.eq_ignore_ascii_case(name)));
    values.flat_map(|(_, value)| value.split([',', '<', '>', ' ', '\t', '\r', '\n', '"'])).find_map(|word| {
        let (local, _) = word.split_once('@')?;
        let (_, detail) = local.split_once('+')?;
        is_token(detail).then(|| detail.to_owned())
    })
}

/// A token behind one of our links, or in the line with the code that our mails ask to be left in.
fn token_in_text(text: &str, own: &OwnMail) -> Option<String> {
    let after = |start: &str| {
        text.match_indices(start).find_map(|(at, _)| {
            let rest = &text[at + start.len()..];
            let end = rest
                .find(|c: char| !(c.is_ascii_alphanumeric() || c == '-' || c == '_'))
                .unwrap_or(rest.len());
            is_token(&rest[..end]).then(|| rest[..end].to_owned())
        })
    };
    after(&format!("{}/r/", own.base_url))
        .or_else(|| after(&format!("{}/stop/", own.base_url)))
        .or_else(|| after("Code: "))
        .or_else(|| after("Código: "))
}

/// Key of the first of our messages it refers to (RFC 5322 3.6.4).
fn referred(mail: &Message<'_>, own: &OwnMail) -> Option<String> {
    let ids = |value: &HeaderValue<'_>| -> Vec<String> {
        match value {
            HeaderValue::Text(id) => vec![id.to_string()],
            HeaderValue::TextList(ids) => ids.iter().map(ToString::to_string).collect(),
            _ => Vec::new(),
        }
    };
    let all = ids(mail.in_reply_to()).into_iter().chain(ids(mail.references()).into_iter().rev());
    all.filter_map(|id| key(&id, own)).next()
}

/// The key in a Message-ID of ours.
fn key(id: &str, own: &OwnMail) -> Option<String> {
    let (left, domain) = id.trim_matches(['<', '>', ' ']).rsplit_once('@')?;
    domain.eq_ignore_ascii_case(&own.domain).then(|| left.to_owned())
}

/// The text of a mail; HTML is turned into text.
fn plain_text(mail: &Message<'_>) -> String {
    mail.body_text(0).map(|text| text.replace("\r\n", "\n")).unwrap_or_default()
}

/// What the person wrote, without what she quotes and without a signature.
pub fn own_words(text: &str) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let mut kept: Vec<&str> = Vec::new();
    let mut at = 0;
    while at < lines.len() {
        let line = lines[at];
        let folded = line.trim().to_lowercase();
        let next = lines.get(at + 1).map_or("", |next| next.trim()).to_lowercase();
        // Mail programs break the line above a quotation in two.
        let joined = format!("{folded} {next}");
        let opens = |whole: &str| {
            QUOTATION_LINES
                .iter()
                .any(|(start, end)| whole.starts_with(start) && whole.trim_end().ends_with(end))
        };
        let ends_here = opens(&folded)
            || (opens(&joined)
                && lines.get(at + 2).is_none_or(|line| line.trim().is_empty() || line.starts_with('>')))
            || QUOTED_FROM_HERE
                .iter()
                .any(|mark| line.to_lowercase().starts_with(mark) || folded == mark.trim());
        if ends_here {
            break;
        }
        if !line.trim_start().starts_with('>') {
            kept.push(line);
        }
        at += 1;
    }
    let words = kept.join("\n");
    words.trim().chars().take(INCOMING_CHARACTERS_MAX).collect()
}

/// What a delivery report says of our mails (RFC 3464).
fn delivery_report(mail: &Message<'_>, own: &OwnMail) -> IncomingMail {
    let mut for_good = false;
    let mut keys: Vec<String> = Vec::new();
    for part in &mail.parts {
        match &part.body {
            PartType::Message(original) => keys.extend(original.message_id().and_then(|id| key(id, own))),
            PartType::Text(text) | PartType::Html(text) => {
                let kind = part.content_type().and_then(|kind| kind.c_subtype.as_deref()).unwrap_or_default();
                match kind.to_ascii_lowercase().as_str() {
                    "delivery-status" => for_good |= fails_for_good(text),
                    "rfc822-headers" => keys.extend(message_id_line(text).and_then(|id| key(&id, own))),
                    _ => {}
                }
            }
            PartType::Binary(octets) | PartType::InlineBinary(octets) => {
                let text = String::from_utf8_lossy(octets);
                for_good |= fails_for_good(&text);
                keys.extend(message_id_line(&text).and_then(|id| key(&id, own)));
            }
            PartType::Multipart(_) => {}
        }
    }
    keys.sort();
    keys.dedup();
    if for_good && !keys.is_empty() { IncomingMail::Returned(keys) } else { IncomingMail::Report }
}

fn message_id_line(text: &str) -> Option<String> {
    let line = text.lines().find(|line| line.to_ascii_lowercase().starts_with("message-id:"))?;
    line.split_once(':').map(|(_, id)| id.trim().to_owned())
}

/// Whether any recipient's block says failed with a permanent status (RFC 3464 2.3.3, RFC 3463 2).
pub fn fails_for_good(report: &str) -> bool {
    recipients(report).iter().any(|(action, status)| action == "failed" && status.starts_with('5'))
}

/// Action and status of each recipient's block; names and actions compare without case, comments are left out.
pub fn recipients(report: &str) -> Vec<(String, String)> {
    let report = report.replace("\r\n", "\n");
    let field = |block: &str, name: &str| {
        block.lines().find_map(|line| {
            let (given, value) = line.split_once(':')?;
            let value = value.split('(').next().unwrap_or_default();
            given.trim().eq_ignore_ascii_case(name).then(|| value.trim().to_owned())
        })
    };
    report
        .split("\n\n")
        .filter_map(|block| {
            Some((field(block, "Action")?.to_ascii_lowercase(), field(block, "Status").unwrap_or_default()))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn own() -> OwnMail {
        OwnMail { domain: "show.example".to_owned(), base_url: "https://show.example".to_owned() }
    }

    #[test]
    fn a_persons_own_words_come_out() {
        for mail in [
            "Yes, thanks\n\nOn Fri, 28 May 2027 at 10:31, Chaperones <c@show.example> wrote:\n> Call 17:30\n> Reply\n",
            "Yes, thanks\n\nOn Fri, 28 May 2027 at 10:31, Chaperones\n<c@show.example> wrote:\n\n> Call 17:30\n",
            "Yes, thanks\n-- \nMay Finch\n",
            "Yes, thanks\n\n-----Original Message-----\nFrom: Chaperones\nCall 17:30\n",
            "Yes, thanks\n\nEl vie, 28 may 2027 a las 10:31, Ana (<c@show.example>) escribió:\n> hola\n",
            "> Call 17:30\n\nYes, thanks\n",
        ] {
            assert_eq!(own_words(mail), "Yes, thanks", "{mail}");
        }
        assert_eq!(
            own_words("On Friday we come.\nWho wrote: nobody\n"),
            "On Friday we come.\nWho wrote: nobody"
        );
    }

    #[test]
    fn a_token_is_found_in_the_address_the_link_and_the_code() {
        let token = "b7Qm2Xw9Zk4cVh1TnR5sYp";
        let mail = |to: &str, body: &str| {
            let text = format!(
                "From: May <May@Example.org>\r\nTo: {to}\r\nMessage-ID: <a1@example.org>\r\nIn-Reply-To: <k77@show.example>\r\n\r\nYES\r\n{body}\r\n"
            );
            read(text.as_bytes(), &own())
        };
        for letter in [
            mail(&format!("<answers+{token}@show.example>"), ""),
            mail(
                "answers@show.example",
                &format!("\r\nOn Monday C wrote:\r\n> https://show.example/r/{token} here"),
            ),
            mail("answers@show.example", &format!("> Code: {token}")),
        ] {
            let IncomingMail::Note { from, words, external, token: found, about, automatic, .. } = letter
            else {
                panic!("a note")
            };
            assert_eq!(
                (from.as_str(), words.as_str(), external.as_str()),
                ("may@example.org", "YES", "a1@example.org")
            );
            assert_eq!((found.as_deref(), about.as_deref(), automatic), (Some(token), Some("k77"), false));
        }
        let IncomingMail::Note { token, .. } =
            mail("answers+other@show.example", "https://elsewhere.example/r/b7Qm2Xw9Zk4cVh1TnR5sYp")
        else {
            panic!("a note")
        };
        assert_eq!(token, None);
    }

    proptest! {
        #[test]
        fn no_octets_are_too_odd(octets in proptest::collection::vec(any::<u8>(), 0..600), head in "(Content-Type: multipart/[a-z]{0,8}; boundary=a\r\n)?") {
            let mut mail = head.into_bytes();
            mail.extend(octets);
            read(&mail, &own());
        }
    }
}
