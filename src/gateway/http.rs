//! A text gateway that is spoken to over HTTP and described wholly by configuration.
//!
//! An answer is sorted by its status and, where the configuration says how, by its body. What cannot be understood after
//! the request went out is uncertain, never a success and never a reason to send again blindly.

use crate::domain::segments::{self, Encoding};
use crate::service::ports::{Content, Handed, Outcome, Parcel, Witness};
use jiff::{SignedDuration, Timestamp};
use regex::Regex;
use reqwest::header::{HeaderName, HeaderValue, RETRY_AFTER};
use reqwest::{Client, Method, Response};
use std::time::Duration;

/// Octets of a gateway's answer that are read; a longer one is not understood.
const ANSWER_MAX_OCTETS: usize = 64 * 1024;
/// A gateway that cannot be reached is tried again after so many seconds; no message is to blame.
const UNREACHED_SECONDS: u32 = 30;
/// How long a connection may take, seconds.
const CONNECT_SECONDS: u64 = 10;
/// How long to wait where a gateway says "slow down" and not for how long, seconds.
const SLOW_SECONDS: u32 = 30;
/// The longest wait a gateway may ask for, seconds.
const SLOW_SECONDS_MAX: u32 = 3_600;

/// How a request is filled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Body {
    /// Fields in the address.
    Query,
    /// Fields of a form.
    Form,
    /// A JSON text whose placeholders are put in as JSON strings.
    Json(String),
}

/// Where a gateway's own name for the message stands in its answer.
#[derive(Debug, Clone)]
pub enum Named {
    /// Nowhere.
    No,
    /// At a JSON pointer (RFC 6901).
    Pointer(String),
    /// In the first group of a pattern.
    Pattern(Regex),
}

/// Which statuses mean what; a status in none of them is uncertain.
#[derive(Debug, Clone, Default)]
pub struct Statuses {
    /// Taken.
    pub accepted: Vec<(u16, u16)>,
    /// Not now.
    pub slow: Vec<(u16, u16)>,
    /// Not this message.
    pub refused: Vec<(u16, u16)>,
    /// Not this account or these settings.
    pub unusable: Vec<(u16, u16)>,
}

/// What a gateway is like.
#[derive(Debug, Clone)]
pub struct Spec {
    /// Name, for the record and for people.
    pub name: String,
    /// Method.
    pub method: Method,
    /// Address; may hold placeholders.
    pub url: String,
    /// Header fields; values may hold placeholders.
    pub headers: Vec<(HeaderName, String)>,
    /// User and password, for Basic authentication (RFC 7617).
    pub login: Option<(String, String)>,
    /// What `{secret}` stands for.
    pub secret: String,
    /// What `{callback}` stands for: where the gateway may tell what became of a message.
    pub callback: String,
    /// How the request is filled.
    pub body: Body,
    /// Fields and their values, with placeholders.
    pub fields: Vec<(String, String)>,
    /// Meaning of statuses.
    pub statuses: Statuses,
    /// An accepting answer must match this; none for any.
    pub accepted_body: Option<Regex>,
    /// An answer that matches says that the account or the settings do not work, whatever its status.
    pub unusable_body: Option<Regex>,
    /// An answer that matches refuses the message, whatever its status.
    pub refused_body: Option<Regex>,
    /// Where the gateway's own name for the message stands.
    pub named: Named,
    /// Whether the gateway documents that it sends a message with the same reference once only.
    pub honours_reference: bool,
    /// Numbers it serves, by their beginning such as `+44`; empty for all.
    pub prefixes: Vec<String>,
    /// How long an answer may take.
    pub patience: Duration,
}

impl Spec {
    /// Whether it serves a number.
    pub fn serves(&self, number: &str) -> bool {
        self.prefixes.is_empty() || self.prefixes.iter().any(|prefix| number.starts_with(prefix.as_str()))
    }
}

/// A gateway, ready to be used.
pub struct Http {
    /// What it is like.
    pub spec: Spec,
    client: Client,
    /// What its clock said last.
    clock: std::sync::Mutex<Option<Witness>>,
}

impl Http {
    /// Makes it ready; `tls` says whom to trust.
    ///
    /// # Errors
    /// The client cannot be set up, in words.
    pub fn new(spec: Spec, tls: rustls::ClientConfig) -> Result<Http, String> {
        let client = Client::builder()
            .tls_backend_preconfigured(tls)
            .connect_timeout(Duration::from_secs(CONNECT_SECONDS))
            .timeout(spec.patience)
            .tcp_nodelay(true)
            .redirect(reqwest::redirect::Policy::none())
            .no_proxy()
            .build()
            .map_err(|error| error.to_string())?;
        Ok(Http { spec, client, clock: std::sync::Mutex::new(None) })
    }

    pub(super) async fn send(&self, parcel: &Parcel) -> Handed {
        let Content::Text(text) = &parcel.content else {
            return Outcome::Refused { why: "it takes texts only".to_owned(), address: false }.into();
        };
        let began = std::time::Instant::now();
        let (outcome, id) = match self.request(parcel, text) {
            Err(why) => (Outcome::Unusable { why }, String::new()),
            Ok(request) => match request.send().await {
                // No connection, no request: nothing can have been taken.
                Err(error) if error.is_connect() => (
                    Outcome::Temporary {
                        why: "no connection".to_owned(),
                        after_seconds: Some(UNREACHED_SECONDS),
                    },
                    String::new(),
                ),
                Err(error) if error.is_builder() => {
                    (Outcome::Unusable { why: "the request cannot be written".to_owned() }, String::new())
                }
                Err(error) => {
                    let why =
                        if error.is_timeout() { "no answer in time" } else { "the answer was cut short" };
                    (Outcome::Uncertain { why: why.to_owned() }, String::new())
                }
                Ok(response) => {
                    self.note_clock(&response, parcel.at, began);
                    self.understood(response).await
                }
            },
        };
        Handed { outcome, gateway: self.spec.name.clone(), id }
    }

    /// Keeps what the other side says the time is (RFC 9110 section 6.6.1).
    fn note_clock(&self, response: &Response, at: Timestamp, began: std::time::Instant) {
        let date = response.headers().get(reqwest::header::DATE).and_then(|value| value.to_str().ok());
        let theirs = date.and_then(|date| httpdate::parse_http_date(date).ok());
        let theirs = theirs.and_then(|theirs| Timestamp::try_from(theirs).ok());
        let passed = SignedDuration::try_from(began.elapsed()).unwrap_or_default();
        if let (Some(theirs), Ok(mut clock)) = (theirs, self.clock.lock()) {
            let ours = at.saturating_add(passed).unwrap_or(at);
            let who = format!("the text gateway {}", self.spec.name);
            *clock = Some(Witness { who, at: ours, ahead: ours.duration_since(theirs) });
        }
    }

    /// What its clock said last.
    pub(super) fn clock(&self) -> Option<Witness> {
        self.clock.lock().ok().and_then(|clock| clock.clone())
    }

    fn request(&self, parcel: &Parcel, text: &str) -> Result<reqwest::RequestBuilder, String> {
        let spec = &self.spec;
        let text = segments::composed(text);
        let ucs2 = segments::count(&text).encoding == Encoding::Ucs2;
        let values: [(&str, &str); 8] = [
            ("to", &parcel.to),
            ("to_digits", parcel.to.trim_start_matches('+')),
            ("text", &text),
            ("reference", &parcel.reference),
            ("secret", &spec.secret),
            ("callback", &spec.callback),
            ("encoding", if ucs2 { "ucs-2" } else { "gsm-7" }),
            ("coding", if ucs2 { "2" } else { "0" }),
        ];
        let plain = |template: &str| fill(template, &values, |value| value.to_owned());
        let mut request = self.client.request(spec.method.clone(), plain(&spec.url));
        for (name, template) in &spec.headers {
            let value = HeaderValue::from_str(&plain(template))
                .map_err(|_| format!("the header {name} holds a character that no header may hold"))?;
            request = request.header(name, value);
        }
        if let Some((user, password)) = &spec.login {
            request = request.basic_auth(user, Some(password));
        }
        let fields: Vec<(&str, String)> =
            spec.fields.iter().map(|(name, template)| (name.as_str(), plain(template))).collect();
        Ok(match &spec.body {
            Body::Query => request.query(&fields),
            Body::Form => request.form(&fields),
            Body::Json(template) => request
                .header(reqwest::header::CONTENT_TYPE, "application/json")
                .body(fill(template, &values, |value| serde_json::json!(value).to_string())),
        })
    }

    async fn understood(&self, response: Response) -> (Outcome, String) {
        let spec = &self.spec;
        let status = response.status().as_u16();
        let within = |ranges: &[(u16, u16)]| ranges.iter().any(|(from, to)| (*from..=*to).contains(&status));
        let after = response.headers().get(RETRY_AFTER).and_then(|value| value.to_str().ok()?.parse().ok());
        let html = response
            .headers()
            .get(reqwest::header::CONTENT_TYPE)
            .is_some_and(|kind| kind.to_str().is_ok_and(|kind| kind.starts_with("text/html")));
        let body = read(response).await;
        let says = |pattern: &Option<Regex>| {
            pattern.as_ref().is_some_and(|p| body.as_ref().is_some_and(|body| p.is_match(body)))
        };
        let why = format!("status {status}");
        let nameless = |outcome| (outcome, String::new());
        if within(&spec.statuses.unusable) || says(&spec.unusable_body) {
            return nameless(Outcome::Unusable { why });
        }
        if within(&spec.statuses.slow) {
            let seconds = after.unwrap_or(SLOW_SECONDS).min(SLOW_SECONDS_MAX);
            return nameless(Outcome::Temporary { why, after_seconds: Some(seconds) });
        }
        if within(&spec.statuses.refused) || says(&spec.refused_body) {
            return nameless(Outcome::Refused { why, address: true });
        }
        let doubt = |what: &str| (Outcome::Uncertain { why: format!("{why}, {what}") }, String::new());
        if !within(&spec.statuses.accepted) {
            return doubt("which says neither yes nor no");
        }
        let Some(body) = body else { return doubt("with an answer too long or cut short") };
        match &spec.accepted_body {
            Some(pattern) if !pattern.is_match(&body) => return doubt("but not the answer of a gateway"),
            None if html => return doubt("but a page instead of an answer"),
            _ => {}
        }
        match id(&spec.named, &body) {
            Some(id) => (Outcome::Accepted, id),
            None => doubt("without the identifier it should hold"),
        }
    }
}

/// Puts values in the place of `{name}`; a name that is none is left as it stands.
fn fill(template: &str, values: &[(&str, &str)], write: impl Fn(&str) -> String) -> String {
    let mut out = String::with_capacity(template.len());
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        out.push_str(&rest[..open]);
        rest = &rest[open..];
        let named = values
            .iter()
            .find(|(name, _)| rest[1..].strip_prefix(name).is_some_and(|after| after.starts_with('}')));
        match named {
            Some((name, value)) => {
                out.push_str(&write(value));
                rest = &rest[name.len() + 2..];
            }
            None => {
                out.push('{');
                rest = &rest[1..];
            }
        }
    }
    out + rest
}

/// The body as text; none if it is too long or ends early.
async fn read(mut response: Response) -> Option<String> {
    let mut octets = Vec::new();
    loop {
        match response.chunk().await {
            Ok(Some(chunk)) if octets.len() + chunk.len() <= ANSWER_MAX_OCTETS => {
                octets.extend_from_slice(&chunk)
            }
            Ok(None) => return Some(String::from_utf8_lossy(&octets).into_owned()),
            Ok(Some(_)) | Err(_) => return None,
        }
    }
}

/// What the gateway calls the message: empty where it does not say, none where it should and does not.
fn id(named: &Named, body: &str) -> Option<String> {
    match named {
        Named::No => Some(String::new()),
        Named::Pointer(pointer) => {
            let answer: serde_json::Value = serde_json::from_str(body).ok()?;
            match answer.pointer(pointer)? {
                serde_json::Value::String(id) => Some(id.clone()),
                serde_json::Value::Number(id) => Some(id.to_string()),
                _ => None,
            }
        }
        Named::Pattern(pattern) => Some(pattern.captures(body)?.get(1)?.as_str().to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn placeholders_are_filled_once_and_others_left() {
        let values = [("to", "+441632960001"), ("text", "{to} \"ok\"")];
        assert_eq!(fill("{to}/{text}/{x}/{", &values, str::to_owned), "+441632960001/{to} \"ok\"/{x}/{");
        let json = fill(r#"{"to": {to}, "text": {text}}"#, &values, |v| serde_json::json!(v).to_string());
        let read: serde_json::Value = serde_json::from_str(&json).expect("valid JSON");
        assert_eq!(read["text"], "{to} \"ok\"");
        assert_eq!(read["to"], "+441632960001");
    }

    #[test]
    fn a_name_is_found_by_pointer_and_by_pattern() {
        let pointer = Named::Pointer("/messages/0/id".to_owned());
        assert_eq!(id(&pointer, r#"{"messages":[{"id":"a1"}]}"#).as_deref(), Some("a1"));
        assert_eq!(id(&pointer, r#"{"messages":[{"id":17}]}"#).as_deref(), Some("17"));
        assert_eq!(id(&pointer, "<html>"), None);
        let pattern = Named::Pattern(Regex::new(r"ID: (\S+)").expect("a pattern"));
        assert_eq!(id(&pattern, "OK ID: b2 done").as_deref(), Some("b2"));
        assert_eq!(id(&Named::No, "anything").as_deref(), Some(""));
    }
}
