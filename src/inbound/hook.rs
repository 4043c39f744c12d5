//! What gateways tell us by a request of their own: who may, and what it says.
//!
//! A request proves itself by a secret in a header or a field, or by a keyed hash (HMAC-SHA-256, RFC 2104) over a text
//! that the configuration spells out; comparison takes the same time whatever differs, and several secrets may be good at
//! once so that one can be changed for the next.

use super::fields::{self, FieldItem, Places};
use crate::domain::hash;
use crate::service::hearing::CarrierNews;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;

/// A request as it came.
#[derive(Debug, Clone)]
pub struct HookCall<'a> {
    /// Header fields, names in lower case.
    pub headers: BTreeMap<String, String>,
    /// What stands after the question mark.
    pub query: &'a str,
    /// The body.
    pub body: &'a [u8],
}

/// How fields are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// In the address.
    Query,
    /// As a form.
    Form,
    /// As JSON: one object, or a list of them.
    Json,
}

/// How a request proves itself.
#[derive(Debug, Clone)]
pub enum Proof {
    /// A secret in a header field.
    Header {
        /// Its name in lower case.
        name: String,
    },
    /// A secret in a field of the address or the body.
    Field {
        /// Its name.
        name: String,
    },
    /// A keyed hash.
    Hmac {
        /// Header field that holds the hash, lower case; several may stand in it with blanks or commas between.
        header: String,
        /// What stands before the hash, such as `sha256=`.
        prefix: String,
        /// What is hashed, of `{body}`, `{timestamp}`, `{id}` and `{query}`.
        over: String,
        /// Whether it is written in base64, else in hexadecimal.
        base64: bool,
        /// Header field of the timestamp, lower case; empty for none.
        timestamp: String,
        /// Header field of the identifier, lower case; empty for none.
        id: String,
        /// How far its timestamp may be off.
        window: SignedDuration,
    },
}

/// One address where a gateway may tell us something.
#[derive(Debug, Clone)]
pub struct Hook {
    /// Its name in the address.
    pub name: String,
    /// How requests prove themselves.
    pub proof: Proof,
    /// Secrets that are good.
    pub secrets: Vec<String>,
    /// How fields are written.
    pub form: Form,
    /// JSON pointer to a list of items; empty if the whole body is one.
    pub list: String,
    /// Where things stand.
    pub places: Places,
    /// What a good request is answered with.
    pub answer: String,
}

/// Why a request is not taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refused {
    /// It does not prove itself, or is too old.
    Unproven,
    /// It cannot be read, in words.
    Unreadable(String),
}

impl Hook {
    /// What a request tells.
    pub fn read(&self, request: &HookCall<'_>, now: Timestamp) -> Result<Vec<CarrierNews>, Refused> {
        let body = std::str::from_utf8(request.body);
        let flat = match self.form {
            Form::Query => fields::form(request.query),
            Form::Form => {
                let mut all = fields::form(request.query);
                let body = body.map_err(|_| Refused::Unreadable("the form is not UTF-8".to_owned()))?;
                all.extend(fields::form(body));
                all
            }
            Form::Json => fields::form(request.query),
        };
        if !self.proven(request, &flat, now) {
            return Err(Refused::Unproven);
        }
        if self.form != Form::Json {
            return Ok(vec![
                fields::read(&self.name, &self.places, &FieldItem::Flat(&flat), now)
                    .map_err(Refused::Unreadable)?,
            ]);
        }
        let whole: serde_json::Value = serde_json::from_slice(request.body).map_err(|error| {
            Refused::Unreadable(format!("the JSON ends at line {}, column {}", error.line(), error.column()))
        })?;
        fields::items(&whole, &self.list)
            .ok_or_else(|| Refused::Unreadable(format!("it has no list at '{}'", self.list)))?
            .iter()
            .map(|item| {
                fields::read(&self.name, &self.places, &FieldItem::Json(item), now)
                    .map_err(Refused::Unreadable)
            })
            .collect()
    }

    fn proven(&self, request: &HookCall<'_>, flat: &BTreeMap<String, String>, now: Timestamp) -> bool {
        let is_secret = |given: &str| {
            // Hashes are compared, so that neither length nor place of a difference shows in the time it takes.
            let given = hash::sha256(given.as_bytes());
            self.secrets
                .iter()
                .fold(false, |good, secret| good | hash::same(&given, &hash::sha256(secret.as_bytes())))
        };
        match &self.proof {
            Proof::Header { name } => request.headers.get(name).is_some_and(|value| is_secret(value)),
            Proof::Field { name } => flat.get(name).is_some_and(|value| is_secret(value)),
            Proof::Hmac { header, prefix, over, base64, timestamp, id, window } => {
                let stamp = request.headers.get(timestamp).map_or("", String::as_str);
                if !timestamp.is_empty() {
                    let in_time =
                        fields::instant(stamp).is_some_and(|at| now.duration_since(at).abs() <= *window);
                    if !in_time {
                        return false;
                    }
                }
                let named = request.headers.get(id).map_or("", String::as_str);
                let signed = signed(over, request, stamp, named);
                let Some(given) = request.headers.get(header) else { return false };
                let given: Vec<Vec<u8>> = given
                    .split([' ', ','])
                    .filter_map(|one| one.trim().strip_prefix(prefix.as_str()))
                    .filter_map(|one| if *base64 { STANDARD.decode(one).ok() } else { hash::unhex(one) })
                    .collect();
                self.secrets.iter().fold(false, |good, secret| {
                    let mac = hash::hmac_sha256(secret.as_bytes(), &signed);
                    given.iter().fold(good, |good, one| good | hash::same(one, &mac))
                })
            }
        }
    }
}

/// The octets that are hashed; the body goes in as it came.
fn signed(over: &str, request: &HookCall<'_>, timestamp: &str, id: &str) -> Vec<u8> {
    let mut out = Vec::new();
    let mut rest = over;
    while !rest.is_empty() {
        let parts: [(&str, &[u8]); 4] = [
            ("{body}", request.body),
            ("{timestamp}", timestamp.as_bytes()),
            ("{id}", id.as_bytes()),
            ("{query}", request.query.as_bytes()),
        ];
        if let Some((name, value)) = parts.iter().find(|(name, _)| rest.starts_with(name)) {
            out.extend_from_slice(value);
            rest = &rest[name.len()..];
        } else {
            let next = rest.chars().next().map_or(rest.len(), char::len_utf8);
            out.extend_from_slice(&rest.as_bytes()[..next]);
            rest = &rest[next..];
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hook(proof: Proof, secrets: &[&str]) -> Hook {
        Hook {
            name: "answers".to_owned(),
            proof,
            secrets: secrets.iter().map(|s| (*s).to_owned()).collect(),
            form: Form::Json,
            list: String::new(),
            places: Places::Answer {
                from: "from".to_owned(),
                words: "/message/text".to_owned(),
                id: "id".to_owned(),
                at: "at".to_owned(),
            },
            answer: String::new(),
        }
    }

    fn hmac() -> Proof {
        Proof::Hmac {
            header: "x-signature".to_owned(),
            prefix: "v1=".to_owned(),
            over: "{id}.{timestamp}.{body}".to_owned(),
            base64: false,
            timestamp: "x-timestamp".to_owned(),
            id: "x-id".to_owned(),
            window: SignedDuration::from_mins(5),
        }
    }

    const BODY: &[u8] = br#"{"from":"+441632960001","message":{"text":"YES"},"id":"m1","at":1812043800}"#;
    const NOW: &str = "2027-06-03T17:30:00Z";

    fn request(secret: &str, body: &'static [u8], timestamp: &str) -> HookCall<'static> {
        let mut whole = format!("e7.{timestamp}.").into_bytes();
        whole.extend_from_slice(body);
        let mac = hash::hex(&hash::hmac_sha256(secret.as_bytes(), &whole));
        let headers = [
            ("x-signature", format!("v1=00 v1={mac}")),
            ("x-timestamp", timestamp.to_owned()),
            ("x-id", "e7".to_owned()),
        ];
        HookCall { headers: headers.map(|(n, v)| (n.to_owned(), v)).into(), query: "", body }
    }

    #[test]
    fn a_signed_request_is_taken_and_a_forged_old_or_unsigned_one_is_not() {
        let now: Timestamp = NOW.parse().expect("an instant");
        let at = now.as_second().to_string();
        let hook = hook(hmac(), &["the next secret", "the old secret"]);
        for secret in ["the old secret", "the next secret"] {
            let told = hook.read(&request(secret, BODY, &at), now).expect("a good request");
            let Some(CarrierNews::Answer(incoming)) = told.first() else { panic!("no answer") };
            assert_eq!((incoming.from.as_str(), incoming.words.as_str()), ("+441632960001", "YES"));
            assert_eq!(incoming.external, "answers m1");
        }
        assert_eq!(hook.read(&request("another", BODY, &at), now).err(), Some(Refused::Unproven));
        let old = (now.as_second() - 301).to_string();
        assert_eq!(hook.read(&request("the old secret", BODY, &old), now).err(), Some(Refused::Unproven));
        let mut tampered = request("the old secret", BODY, &at);
        tampered.body = br#"{"from":"+441632960002","message":{"text":"YES"},"id":"m1"}"#;
        assert_eq!(hook.read(&tampered, now).err(), Some(Refused::Unproven));
        let bare = HookCall { headers: BTreeMap::new(), query: "", body: BODY };
        assert_eq!(hook.read(&bare, now).err(), Some(Refused::Unproven));
    }

    #[test]
    fn what_cannot_be_read_says_what_is_missing() {
        let now: Timestamp = NOW.parse().expect("an instant");
        let hook = hook(Proof::Header { name: "x-key".to_owned() }, &["k"]);
        let with = |body: &'static [u8]| HookCall {
            headers: [("x-key".to_owned(), "k".to_owned())].into(),
            query: "",
            body,
        };
        assert!(matches!(hook.read(&with(b"{"), now), Err(Refused::Unreadable(_))));
        assert_eq!(
            hook.read(&with(br#"{"from":"+441632960001"}"#), now).err(),
            Some(Refused::Unreadable("it has no words at '/message/text'".to_owned()))
        );
    }
}
