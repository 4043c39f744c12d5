//! The part of the configuration that is about text gateways, and what it makes of it.

use super::StartFault;
use super::config::secret;
use crate::gateway::Carrier;
use crate::gateway::Road;
use crate::gateway::http::{Body, Http, Named, Spec, Statuses};
use crate::gateway::tls::client_config;
use crate::inbound::fields::Places;
use crate::inbound::hook::{Form, Hook, Proof};
use crate::inbound::poll::Inbox;
use crate::service::ports::is_this_host;
use jiff::SignedDuration;
use regex::Regex;
use reqwest::Method;
use reqwest::header::HeaderName;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// One text gateway.
#[derive(Debug, Clone, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct GatewayConfig {
    /// Name, for the record and for people.
    pub name: String,
    /// Address; may hold placeholders.
    pub url: String,
    /// `get`, `post` or `put`.
    pub method: String,
    /// `form`, `query` or `json`.
    pub send_as: String,
    /// Fields of a form or an address, with placeholders.
    pub fields: BTreeMap<String, String>,
    /// The JSON text, with placeholders.
    pub json: String,
    /// Header fields, with placeholders.
    pub headers: BTreeMap<String, String>,
    /// User for Basic authentication; empty for none.
    pub user: String,
    /// What `{secret}` stands for, and the password of the user.
    pub secret: String,
    /// File that holds it and nothing else.
    pub secret_file: PathBuf,
    /// Statuses that mean taken.
    pub accepted: Vec<String>,
    /// Statuses that mean not now.
    pub slow: Vec<String>,
    /// Statuses that mean not this message.
    pub refused: Vec<String>,
    /// Statuses that mean not this account.
    pub unusable: Vec<String>,
    /// Pattern that an accepting answer matches; empty for any that is no HTML page.
    pub accepted_body: String,
    /// Pattern of an answer that refuses the message.
    pub refused_body: String,
    /// Pattern of an answer that says the account does not work.
    pub unusable_body: String,
    /// Where the gateway's own name for the message stands: a JSON pointer, or `pattern:` and a pattern with one group.
    pub id_at: String,
    /// Whether it documents that it sends a message with the same reference once only.
    pub honours_reference: bool,
    /// Numbers it serves, by their beginning; empty for all.
    pub prefixes: Vec<String>,
    /// What a segment costs, such as `0.042 GBP`; empty where that is not known.
    pub cost: String,
    /// Texts a second.
    pub per_second: f64,
    /// Requests at once.
    pub sessions: usize,
    /// How long an answer may take, seconds.
    pub patience_seconds: u64,
    /// Certificates (PEM) trusted besides the system's.
    pub trusted: PathBuf,
    /// Name of the hook by which it tells what became of a message; empty for none.
    pub receipts: String,
}

impl Default for GatewayConfig {
    fn default() -> Self {
        let list = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
        GatewayConfig {
            name: String::new(),
            url: String::new(),
            method: "post".to_owned(),
            send_as: "form".to_owned(),
            fields: BTreeMap::new(),
            json: String::new(),
            headers: BTreeMap::new(),
            user: String::new(),
            secret: String::new(),
            secret_file: PathBuf::new(),
            accepted: list(&["200-299"]),
            slow: list(&["429", "503"]),
            refused: list(&["400", "404", "422"]),
            unusable: list(&["401-403"]),
            accepted_body: String::new(),
            refused_body: String::new(),
            unusable_body: String::new(),
            id_at: String::new(),
            honours_reference: false,
            prefixes: Vec::new(),
            cost: String::new(),
            per_second: 1.0,
            sessions: 1,
            patience_seconds: 30,
            trusted: PathBuf::new(),
            receipts: String::new(),
        }
    }
}

/// One address where a gateway tells us something.
#[derive(Debug, Clone, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct HookConfig {
    /// Its name: requests go to `/hook/NAME`.
    pub name: String,
    /// `answers` or `receipts`.
    pub tells: String,
    /// For receipts: name of the gateway.
    pub gateway: String,
    /// `query`, `form` or `json`.
    pub written_as: String,
    /// JSON pointer to a list of items; empty if the whole body is one.
    pub list: String,
    /// Where the sender stands.
    pub from: String,
    /// Where the words stand.
    pub words: String,
    /// Where the identifier stands; empty for none.
    pub id: String,
    /// Where the time stands; empty for none.
    pub at: String,
    /// For receipts: where our reference, or the gateway's name for the message, stands.
    pub reference: String,
    /// For receipts: where the status stands.
    pub status: String,
    /// Statuses that say it arrived.
    pub delivered: Vec<String>,
    /// Statuses that say it did not.
    pub failed: Vec<String>,
    /// Statuses that say it never will.
    pub failed_for_good: Vec<String>,
    /// `header`, `field` or `hmac`.
    pub proof: String,
    /// The header or field that holds the secret, or the hash.
    pub proof_in: String,
    /// What stands before the hash.
    pub hash_prefix: String,
    /// What is hashed.
    pub hash_over: String,
    /// `hex` or `base64`.
    pub hash_written: String,
    /// Header of the timestamp.
    pub timestamp_in: String,
    /// Header of the identifier that is hashed.
    pub id_in: String,
    /// How far a timestamp may be off, seconds.
    pub window_seconds: u32,
    /// Secrets that are good, the newest first.
    pub secrets: Vec<String>,
    /// File of such secrets, one a line.
    pub secrets_file: PathBuf,
    /// What a good request is answered with.
    pub answer: String,
}

impl Default for HookConfig {
    fn default() -> Self {
        let text = str::to_owned;
        HookConfig {
            name: String::new(),
            tells: text("answers"),
            gateway: String::new(),
            written_as: text("form"),
            list: String::new(),
            from: text("from"),
            words: text("text"),
            id: text("id"),
            at: String::new(),
            reference: text("reference"),
            status: text("status"),
            delivered: Vec::new(),
            failed: Vec::new(),
            failed_for_good: Vec::new(),
            proof: text("header"),
            proof_in: text("x-secret"),
            hash_prefix: String::new(),
            hash_over: text("{timestamp}.{body}"),
            hash_written: text("hex"),
            timestamp_in: String::new(),
            id_in: String::new(),
            window_seconds: 300,
            secrets: Vec::new(),
            secrets_file: PathBuf::new(),
            answer: String::new(),
        }
    }
}

/// One inbox that is looked into.
#[derive(Debug, Clone, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct InboxConfig {
    /// Name, for people.
    pub name: String,
    /// Address of its newest texts.
    pub url: String,
    /// Header fields; `{secret}` stands for the secret.
    pub headers: BTreeMap<String, String>,
    /// User for Basic authentication; empty for none.
    pub user: String,
    /// The secret, and the password of the user.
    pub secret: String,
    /// File that holds it and nothing else.
    pub secret_file: PathBuf,
    /// How often, seconds.
    pub every_seconds: u64,
    /// JSON pointer to the list.
    pub list: String,
    /// Where the sender stands in an item.
    pub from: String,
    /// Where the words stand.
    pub words: String,
    /// Where the identifier stands.
    pub id: String,
    /// Where the time stands; empty for none.
    pub at: String,
    /// Certificates (PEM) trusted besides the system's.
    pub trusted: PathBuf,
}

impl Default for InboxConfig {
    fn default() -> Self {
        let text = str::to_owned;
        InboxConfig {
            name: String::new(),
            url: String::new(),
            headers: BTreeMap::new(),
            user: String::new(),
            secret: String::new(),
            secret_file: PathBuf::new(),
            every_seconds: 30,
            list: String::new(),
            from: text("from"),
            words: text("text"),
            id: text("id"),
            at: String::new(),
            trusted: PathBuf::new(),
        }
    }
}

fn pattern(name: &str, text: &str) -> Result<Option<Regex>, String> {
    if text.is_empty() {
        return Ok(None);
    }
    Regex::new(text).map(Some).map_err(|error| format!("{name} is no pattern: {error}"))
}

fn statuses(name: &str, words: &[String]) -> Result<Vec<(u16, u16)>, String> {
    words
        .iter()
        .map(|word| {
            let (from, to) = word.split_once('-').unwrap_or((word, word));
            match (from.trim().parse(), to.trim().parse()) {
                (Ok(from), Ok(to)) if from <= to => Ok((from, to)),
                _ => Err(format!("{name} holds '{word}'; write statuses such as 200 or 200-299")),
            }
        })
        .collect()
}

fn headers(name: &str, given: &BTreeMap<String, String>) -> Result<Vec<(HeaderName, String)>, String> {
    given
        .iter()
        .map(|(field, value)| match field.parse::<HeaderName>() {
            Ok(field) => Ok((field, value.clone())),
            Err(_) => Err(format!("{name} holds '{field}', which is no header's name")),
        })
        .collect()
}

/// Whom to trust: the system's certificates and those of a file.
pub(super) fn tls(trusted: &Path) -> Result<rustls::ClientConfig, String> {
    let bad = |error: String| format!("{} cannot be used: {error}", trusted.display());
    let named = !trusted.as_os_str().is_empty();
    let pem = named.then(|| std::fs::read(trusted).map_err(|e| bad(e.to_string()))).transpose()?;
    client_config(pem.as_deref()).map_err(bad)
}

impl GatewayConfig {
    /// The carrier it describes; `base` is where families' links begin.
    pub fn carrier(&self, base: &str) -> Result<Carrier, StartFault> {
        let named = |fault: String| StartFault::Setting(format!("text gateway '{}': {fault}", self.name));
        let spec = self.spec(base).map_err(named)?;
        let http = Http::new(spec, tls(&self.trusted).map_err(named)?).map_err(named)?;
        if !(self.per_second.is_finite() && self.per_second > 0.0) || self.sessions == 0 {
            return Err(named("per_second and sessions must be above 0".to_owned()));
        }
        Ok(Carrier { road: Road::Http(Box::new(http)), per_second: self.per_second, sessions: self.sessions })
    }

    fn spec(&self, base: &str) -> Result<Spec, String> {
        if self.name.is_empty() {
            return Err("name is empty".to_owned());
        }
        must_be_private(&self.url)?;
        let method = match self.method.as_str() {
            "get" => Method::GET,
            "post" => Method::POST,
            "put" => Method::PUT,
            other => return Err(format!("method is '{other}'; write get, post or put")),
        };
        let body = match self.send_as.as_str() {
            "form" => Body::Form,
            "query" => Body::Query,
            "json" if self.json.contains("{text}") => Body::Json(self.json.clone()),
            "json" => return Err("json does not hold {text}".to_owned()),
            other => return Err(format!("send_as is '{other}'; write form, query or json")),
        };
        if matches!(body, Body::Form | Body::Query)
            && !self.fields.values().any(|value| value.contains("{text}"))
        {
            return Err("no field holds {text}, so nothing would be said".to_owned());
        }
        let named = match self.id_at.strip_prefix("pattern:") {
            Some(text) => match pattern("id_at", text)? {
                Some(pattern) if pattern.captures_len() > 1 => Named::Pattern(pattern),
                _ => return Err("id_at: the pattern needs a group that holds the identifier".to_owned()),
            },
            None if self.id_at.is_empty() => Named::No,
            None if self.id_at.starts_with('/') => Named::Pointer(self.id_at.clone()),
            None => {
                return Err("id_at must be a JSON pointer such as /id, or pattern: and a pattern".to_owned());
            }
        };
        let secret = secret(&self.secret, &self.secret_file)?;
        Ok(Spec {
            name: self.name.clone(),
            method,
            url: self.url.clone(),
            headers: headers("headers", &self.headers)?,
            login: (!self.user.is_empty()).then(|| (self.user.clone(), secret.clone())),
            secret,
            callback: if self.receipts.is_empty() {
                String::new()
            } else {
                format!("{base}/hook/{}", self.receipts)
            },
            body,
            fields: self.fields.iter().map(|(name, value)| (name.clone(), value.clone())).collect(),
            statuses: Statuses {
                accepted: statuses("accepted", &self.accepted)?,
                slow: statuses("slow", &self.slow)?,
                refused: statuses("refused", &self.refused)?,
                unusable: statuses("unusable", &self.unusable)?,
            },
            accepted_body: pattern("accepted_body", &self.accepted_body)?,
            unusable_body: pattern("unusable_body", &self.unusable_body)?,
            refused_body: pattern("refused_body", &self.refused_body)?,
            named,
            honours_reference: self.honours_reference,
            prefixes: self.prefixes.clone(),
            patience: Duration::from_secs(self.patience_seconds.max(1)),
        })
    }
}

impl HookConfig {
    /// The hook it describes.
    pub fn hook(&self) -> Result<Hook, StartFault> {
        self.read().map_err(|fault| StartFault::Setting(format!("hook '{}': {fault}", self.name)))
    }

    fn read(&self) -> Result<Hook, String> {
        let shaped =
            !self.name.is_empty() && self.name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
        if !shaped {
            return Err("name must be letters, figures and hyphens".to_owned());
        }
        let mut secrets = self.secrets.clone();
        secrets.extend(secret("", &self.secrets_file)?.lines().map(str::to_owned));
        secrets.retain(|secret| !secret.is_empty());
        if secrets.is_empty() {
            return Err("it has no secret, so anybody could speak for a family".to_owned());
        }
        let lower = |text: &str| text.to_ascii_lowercase();
        let proof = match self.proof.as_str() {
            "header" => Proof::Header { name: lower(&self.proof_in) },
            "field" => Proof::Field { name: self.proof_in.clone() },
            "hmac" if !self.hash_over.contains("{body}") && !self.hash_over.contains("{query}") => {
                return Err(
                    "hash_over holds neither {body} nor {query}, so the words would not be proven".to_owned()
                );
            }
            "hmac" => Proof::Hmac {
                header: lower(&self.proof_in),
                prefix: self.hash_prefix.clone(),
                over: self.hash_over.clone(),
                base64: match self.hash_written.as_str() {
                    "hex" => false,
                    "base64" => true,
                    other => return Err(format!("hash_written is '{other}'; write hex or base64")),
                },
                timestamp: lower(&self.timestamp_in),
                id: lower(&self.id_in),
                window: SignedDuration::from_secs(i64::from(self.window_seconds)),
            },
            other => return Err(format!("proof is '{other}'; write header, field or hmac")),
        };
        let form = match self.written_as.as_str() {
            "query" => Form::Query,
            "form" => Form::Form,
            "json" => Form::Json,
            other => return Err(format!("written_as is '{other}'; write query, form or json")),
        };
        let places = match self.tells.as_str() {
            "answers" => Places::Answer {
                from: self.from.clone(),
                words: self.words.clone(),
                id: self.id.clone(),
                at: self.at.clone(),
            },
            "receipts" => Places::Receipt {
                gateway: self.gateway.clone(),
                reference: self.reference.clone(),
                status: self.status.clone(),
                id: self.id.clone(),
                delivered: self.delivered.clone(),
                failed: self.failed.clone(),
                failed_for_good: self.failed_for_good.clone(),
            },
            other => return Err(format!("tells is '{other}'; write answers or receipts")),
        };
        Ok(Hook {
            name: self.name.clone(),
            proof,
            secrets,
            form,
            list: self.list.clone(),
            places,
            answer: self.answer.clone(),
        })
    }
}

impl InboxConfig {
    /// The inbox it describes, with a client that trusts what it should.
    pub fn inbox(&self) -> Result<(Inbox, reqwest::Client), StartFault> {
        self.read().map_err(|fault| StartFault::Setting(format!("inbox '{}': {fault}", self.name)))
    }

    fn read(&self) -> Result<(Inbox, reqwest::Client), String> {
        let secret = secret(&self.secret, &self.secret_file)?;
        let headers = headers("headers", &self.headers)?;
        let inbox = Inbox {
            name: self.name.clone(),
            url: self.url.clone(),
            headers: headers
                .into_iter()
                .map(|(name, value)| (name, value.replace("{secret}", &secret)))
                .collect(),
            login: (!self.user.is_empty()).then(|| (self.user.clone(), secret)),
            list: self.list.clone(),
            places: Places::Answer {
                from: self.from.clone(),
                words: self.words.clone(),
                id: self.id.clone(),
                at: self.at.clone(),
            },
            every: Duration::from_secs(self.every_seconds.max(1)),
        };
        let client = reqwest::Client::builder()
            .tls_backend_preconfigured(tls(&self.trusted)?)
            .timeout(Duration::from_secs(30))
            .no_proxy()
            .build()
            .map_err(|error| error.to_string())?;
        Ok((inbox, client))
    }
}

/// Numbers, names and the secret go over the wire: in the clear only to this host itself.
fn must_be_private(url: &str) -> Result<(), String> {
    let host = reqwest::Url::parse(url).ok().filter(|url| url.scheme() == "http").and_then(|url| {
        url.host_str().map(|host| host.trim_start_matches('[').trim_end_matches(']').to_owned())
    });
    match host {
        _ if url.starts_with("https://") => Ok(()),
        Some(host) if is_this_host(&host) => Ok(()),
        Some(host) => {
            Err(format!("url goes to {host} by http://, which anybody on the way can read; write https://"))
        }
        None => Err("url must begin with https:// (http:// only on this host)".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::super::config::{Config, SAMPLE};

    /// The sample with its commented keys in force.
    fn sample() -> String {
        let key = regex::Regex::new(r"^# (\[\[|[a-z_]+ = )").expect("a pattern");
        let lines = SAMPLE.lines().map(|line| if key.is_match(line) { &line[2..] } else { line });
        lines.collect::<Vec<_>>().join("\n").replace("secret_file = \"/etc/allheard/gateway\"", "")
    }

    fn config(text: &str) -> Config {
        toml::from_str(text).unwrap_or_else(|error| panic!("{error}\n{text}"))
    }

    #[test]
    fn the_sample_describes_a_gateway_two_hooks_and_an_inbox_that_can_be_made() {
        let config = config(&sample());
        assert_eq!(
            (config.texts.gateways.len(), config.texts.hooks.len(), config.texts.inboxes.len()),
            (1, 2, 1)
        );
        for gateway in &config.texts.gateways {
            assert!(gateway.carrier("https://show.example").is_ok());
        }
        for hook in &config.texts.hooks {
            assert!(hook.hook().is_ok());
        }
        for inbox in &config.texts.inboxes {
            assert!(inbox.inbox().is_ok());
        }
        assert!(config.texts.answers_come_in());
    }

    #[test]
    fn what_would_not_work_is_said_at_start() {
        let gateway = |lines: &str| {
            let text = format!(
                "[[texts.gateways]]\nname = \"g\"\nurl = \"https://g.example\"\nfields = {{ text = \"{{text}}\" }}\n{lines}"
            );
            let config = config(&text);
            config.texts.gateways[0].carrier("https://show.example").err().map(|fault| fault.to_string())
        };
        assert_eq!(gateway(""), None);
        for (lines, says) in [
            ("method = \"put it\"", "write get, post or put"),
            ("send_as = \"json\"", "json does not hold {text}"),
            ("id_at = \"id\"", "a JSON pointer such as /id"),
            ("id_at = \"pattern:x\"", "needs a group"),
            ("accepted = [\"ok\"]", "write statuses such as 200"),
            ("refused_body = \"(\"", "refused_body is no pattern"),
            ("headers = { \"no header\" = \"x\" }", "no header's name"),
            ("sessions = 0", "above 0"),
            ("secret_file = \"/nowhere/at/all\"", "cannot be read"),
        ] {
            let fault = gateway(lines).unwrap_or_default();
            assert!(fault.contains("text gateway 'g'") && fault.contains(says), "{lines}: {fault}");
        }
        let hook = |lines: &str| {
            let config = config(&format!("[[texts.hooks]]\nname = \"h\"\n{lines}"));
            config.texts.hooks[0].hook().err().map(|fault| fault.to_string())
        };
        assert_eq!(hook("secrets = [\"s\"]"), None);
        for (lines, says) in [
            ("", "anybody could speak for a family"),
            ("secrets = [\"s\"]\nproof = \"hmac\"\nhash_over = \"{timestamp}\"", "would not be proven"),
            ("secrets = [\"s\"]\ntells = \"all\"", "write answers or receipts"),
        ] {
            let fault = hook(lines).unwrap_or_default();
            assert!(fault.contains(says), "{lines}: {fault}");
        }
    }
}
