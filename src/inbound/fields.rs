//! Where in a gateway's own form the things stand that we need, and what they say.

use crate::domain::hash;
use crate::domain::season::Channel;
use crate::service::hearing::{CarrierNews, Incoming};
use crate::service::ports::{NewReceipt, News};
use jiff::Timestamp;
use serde_json::Value;
use std::collections::BTreeMap;

/// Seconds since 1970 beyond which a whole number is taken for milliseconds: the year 5138.
const SECONDS_MAX: i64 = 100_000_000_000;

/// Where each thing stands: the name of a field, or a JSON pointer (RFC 6901) beginning with a slash.
#[derive(Debug, Clone)]
pub enum Places {
    /// Of a text from a person.
    Answer {
        /// The sender's number.
        from: String,
        /// The words.
        words: String,
        /// The gateway's identifier; empty if there is none, and then the whole text is its own.
        id: String,
        /// When it was written, as RFC 3339 or seconds or milliseconds since 1970; empty if it is not told.
        at: String,
    },
    /// Of news of a message.
    Receipt {
        /// Name of the gateway that was given the message.
        gateway: String,
        /// Our reference, or what the gateway called the message.
        reference: String,
        /// The status.
        status: String,
        /// Identifier of this piece of news; empty if there is none.
        id: String,
        /// Statuses that say it arrived.
        delivered: Vec<String>,
        /// Statuses that say it did not.
        failed: Vec<String>,
        /// Statuses that say it did not and never will at this number.
        failed_for_good: Vec<String>,
    },
}

/// The fields of one item: of a form, of an address, or of a JSON object.
#[derive(Debug, Clone)]
pub enum FieldItem<'a> {
    /// Names and values.
    Flat(&'a BTreeMap<String, String>),
    /// A JSON value.
    Json(&'a Value),
}

impl FieldItem<'_> {
    /// The value at a place; none if there is nothing.
    pub fn at(&self, place: &str) -> Option<String> {
        if place.is_empty() {
            return None;
        }
        let value = match self {
            FieldItem::Flat(fields) => return fields.get(place).cloned(),
            FieldItem::Json(value) if place.starts_with('/') => value.pointer(place),
            FieldItem::Json(value) => value.get(place),
        };
        match value? {
            Value::String(text) => Some(text.clone()),
            Value::Number(number) => Some(number.to_string()),
            Value::Bool(yes) => Some(yes.to_string()),
            Value::Null | Value::Array(_) | Value::Object(_) => None,
        }
    }
}

/// The items of a JSON text: those of the list at a pointer, or the one thing that stands there; none if nothing does.
pub fn items<'a>(whole: &'a Value, list: &str) -> Option<&'a [Value]> {
    let listed = if list.is_empty() { Some(whole) } else { whole.pointer(list) };
    listed.map(|found| found.as_array().map_or(std::slice::from_ref(found), Vec::as_slice))
}

/// What an item tells that came by the hook or inbox of a name; an error names what is missing.
pub fn read(by: &str, places: &Places, item: &FieldItem<'_>, now: Timestamp) -> Result<CarrierNews, String> {
    let need =
        |place: &str, what: &str| item.at(place).ok_or_else(|| format!("it has no {what} at '{place}'"));
    match places {
        Places::Answer { from, words, id, at } => {
            let (from, words) = (need(from, "sender")?, need(words, "words")?);
            let told_at = item.at(at);
            // Without an identifier the same words in the same second from the same number are one act.
            let external = item.at(id).unwrap_or_else(|| {
                let whole = format!("{from}\n{}\n{words}", told_at.as_deref().unwrap_or_default());
                format!("sha256:{}", hash::hex(&hash::sha256(whole.as_bytes())))
            });
            // A clock ahead of ours must not make an answer newer than the next.
            let at = told_at.as_deref().and_then(instant).map_or(now, |at| at.min(now));
            // Two gateways may number alike.
            let external = format!("{by} {external}");
            Ok(CarrierNews::Answer(Incoming {
                channel: Channel::Text,
                from,
                words,
                at,
                external,
                token: None,
                about: None,
                automatic: false,
            }))
        }
        Places::Receipt { gateway, reference, status, id, delivered, failed, failed_for_good } => {
            let (reference, status) = (need(reference, "reference")?, need(status, "status")?);
            let says = |list: &[String]| list.iter().any(|word| word.eq_ignore_ascii_case(status.trim()));
            let news = if says(delivered) {
                News::Delivered
            } else if says(failed_for_good) {
                News::FailedForGood
            } else if says(failed) {
                News::Failed
            } else {
                return Ok(CarrierNews::Nothing);
            };
            let external = item.at(id).unwrap_or_default();
            Ok(CarrierNews::Receipt(NewReceipt {
                gateway: gateway.clone(),
                external: format!("{reference} {} {external}", news.word()),
                reference,
                news,
            }))
        }
    }
}

/// An instant as gateways write it: RFC 3339, or seconds or milliseconds since 1970.
pub fn instant(text: &str) -> Option<Timestamp> {
    let text = text.trim();
    match text.parse::<i64>() {
        Ok(number) if number.abs() > SECONDS_MAX => Timestamp::from_millisecond(number).ok(),
        Ok(number) => Timestamp::from_second(number).ok(),
        Err(_) => text.parse().ok(),
    }
}

/// The fields of a form or of an address (WHATWG URL, application/x-www-form-urlencoded).
pub fn form(text: &str) -> BTreeMap<String, String> {
    let pairs = text.split('&').filter(|pair| !pair.is_empty());
    pairs
        .map(|pair| pair.split_once('=').unwrap_or((pair, "")))
        .map(|(name, value)| (unescaped(name), unescaped(value)))
        .collect()
}

fn unescaped(text: &str) -> String {
    let octets = text.as_bytes();
    let mut out = Vec::with_capacity(octets.len());
    let mut at = 0;
    while let Some(&octet) = octets.get(at) {
        let hex = |i: usize| octets.get(i).and_then(|o| char::from(*o).to_digit(16));
        match (octet, hex(at + 1), hex(at + 2)) {
            (b'%', Some(high), Some(low)) => {
                out.push(u8::try_from(high * 16 + low).unwrap_or_default());
                at += 3;
            }
            (b'+', ..) => {
                out.push(b' ');
                at += 1;
            }
            _ => {
                out.push(octet);
                at += 1;
            }
        }
    }
    String::from_utf8_lossy(&out).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_are_read_as_browsers_write_them() {
        let fields = form("from=%2B441632960001&text=S%C3%AD+gracias%21&empty=&odd=%zz");
        assert_eq!(fields["from"], "+441632960001");
        assert_eq!(fields["text"], "Sí gracias!");
        assert_eq!(fields["empty"], "");
        assert_eq!(fields["odd"], "%zz");
    }

    #[test]
    fn instants_are_read_in_three_forms() {
        let expected: Timestamp = "2027-06-03T17:30:00Z".parse().expect("an instant");
        let seconds = expected.as_second().to_string();
        let millis = expected.as_millisecond().to_string();
        for text in ["2027-06-03T17:30:00Z", seconds.as_str(), millis.as_str(), "2027-06-03T19:30:00+02:00"] {
            assert_eq!(instant(text), Some(expected), "{text}");
        }
        assert_eq!(instant("yesterday"), None);
    }
}
