//! The configuration file, read once into valid values. Every key has a default; an unknown key is an error.

use super::texts::{GatewayConfig, HookConfig, InboxConfig};
use crate::domain::season::Channel;
use crate::gateway::smtp::Protection;
use serde::Deserialize;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// A sample with every key and its default, also printed by `allheard config`.
pub const SAMPLE: &str = include_str!("../../deploy/allheard.toml");

/// What is wrong with a configuration.
#[derive(Debug, thiserror::Error)]
pub enum ConfigFault {
    /// The file cannot be read.
    #[error("{path} cannot be read: {reason}")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// It is not valid; the reason names line and key.
    #[error("{path}: {reason}")]
    Invalid {
        /// The file.
        path: PathBuf,
        /// What, where, and what to do.
        reason: String,
    },
}

/// The whole configuration.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Pages.
    pub pages: PagesConfig,
    /// Data.
    pub data: Data,
    /// Mail.
    pub mail: MailConfig,
    /// Texts.
    pub texts: TextsConfig,
    /// The coordinator.
    pub coordinator: Coordinator,
    /// Files that hold secrets.
    #[serde(skip)]
    pub secrets_in: Vec<PathBuf>,
}

/// Where the coordinator is told of troubles.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Coordinator {
    /// Mail address; empty for none.
    pub mail: String,
    /// Telephone in international form; empty for none.
    pub phone: String,
}

impl Coordinator {
    /// Her addresses by channel.
    pub fn addresses(&self) -> Vec<(Channel, String)> {
        [(Channel::Mail, &self.mail), (Channel::Text, &self.phone)]
            .into_iter()
            .filter(|(_, address)| !address.is_empty())
            .map(|(channel, address)| (channel, address.clone()))
            .collect()
    }
}

/// Where pages are served.
#[derive(Debug, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PagesConfig {
    /// Address and port to listen on.
    pub listen: SocketAddr,
    /// What families see in front of their links.
    pub address: String,
    /// Whether families can open pages there; if not, messages ask for an answer by text or mail.
    pub public: bool,
    /// Reverse proxies in front of the pages, through which everybody comes.
    pub proxies: Vec<std::net::IpAddr>,
}

impl Default for PagesConfig {
    fn default() -> Self {
        PagesConfig {
            listen: SocketAddr::from(([127, 0, 0, 1], 8420)),
            address: "http://127.0.0.1:8420".to_owned(),
            public: true,
            proxies: Vec::new(),
        }
    }
}

/// Where data lives.
#[derive(Debug, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Data {
    /// Folder of the database and the outbox.
    pub folder: PathBuf,
    /// Database address; empty means a file in the folder.
    pub database: String,
    /// Folder laid over the built-in message templates; empty for none.
    pub templates: PathBuf,
}

impl Default for Data {
    fn default() -> Self {
        Data { folder: PathBuf::from("allheard-data"), database: String::new(), templates: PathBuf::new() }
    }
}

impl Data {
    /// The database address.
    pub fn database(&self) -> String {
        if self.database.is_empty() {
            format!("sqlite://{}", self.folder.join("allheard.db").display())
        } else {
            self.database.clone()
        }
    }
}

/// How something leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Means {
    /// Into a folder.
    Folder,
    /// To a mail server.
    Smtp,
    /// To text gateways over HTTP.
    Http,
}

/// Mail.
#[derive(Debug, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct MailConfig {
    /// How it leaves.
    pub by: Means,
    /// Mail server.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// `starttls`, `tls` or `none`.
    pub protection: String,
    /// User name; empty for no login.
    pub user: String,
    /// Password; better in a file.
    pub password: String,
    /// File that holds the password and nothing else.
    pub password_file: PathBuf,
    /// Certificates (PEM) trusted besides the system's.
    pub trusted: PathBuf,
    /// Sender, such as `Show chaperones <chaperones@example.org>`.
    pub from: String,
    /// Where answers go; empty for the sender.
    pub reply_to: String,
    /// Where bounces go; empty for the sender.
    pub bounces: String,
    /// What a mail costs, such as `0.001 GBP`; empty where that is not known.
    pub cost: String,
    /// Mails a second.
    pub per_second: f64,
    /// Sessions at once.
    pub sessions: usize,
    /// How answers come in.
    pub answers: Answers,
}

/// How answers by mail come in.
#[derive(Debug, Clone, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Answers {
    /// `none`, `pipe` (by `allheard inbound-mail`) or `imap`.
    pub by: String,
    /// Whether `name+detail@…` reaches the mailbox of `name@…`.
    pub plus: bool,
    /// IMAP server.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// `starttls`, `tls` or `none`.
    pub protection: String,
    /// User name.
    pub user: String,
    /// Password; better in a file.
    pub password: String,
    /// File that holds the password and nothing else.
    pub password_file: PathBuf,
    /// Certificates (PEM) trusted besides the system's.
    pub trusted: PathBuf,
    /// Folder that is looked into.
    pub folder: String,
    /// Folder for what has been taken in.
    pub processed: String,
    /// How often to look where the server cannot tell by itself, seconds.
    pub poll_seconds: u64,
}

impl Default for Answers {
    fn default() -> Self {
        Answers {
            by: "none".to_owned(),
            plus: false,
            host: String::new(),
            port: 143,
            protection: "starttls".to_owned(),
            user: String::new(),
            password: String::new(),
            password_file: PathBuf::new(),
            trusted: PathBuf::new(),
            folder: "INBOX".to_owned(),
            processed: "Processed".to_owned(),
            poll_seconds: 60,
        }
    }
}

impl Default for MailConfig {
    fn default() -> Self {
        MailConfig {
            by: Means::Folder,
            host: String::new(),
            port: 587,
            protection: "starttls".to_owned(),
            user: String::new(),
            password: String::new(),
            password_file: PathBuf::new(),
            trusted: PathBuf::new(),
            from: "Chaperones <chaperones@example.org>".to_owned(),
            reply_to: String::new(),
            bounces: String::new(),
            cost: String::new(),
            per_second: 5.0,
            sessions: 2,
            answers: Answers::default(),
        }
    }
}

impl MailConfig {
    /// Whether words sent back by mail come in.
    pub fn answers_come_in(&self) -> bool {
        self.answers.by != "none"
    }

    /// The protection its word means.
    pub fn protection(&self) -> Result<Protection, String> {
        Protection::from_word(&self.protection)
            .ok_or_else(|| format!("mail.protection is '{}'; write starttls, tls or none", self.protection))
    }
}

/// Texts.
#[derive(Debug, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TextsConfig {
    /// How they leave.
    pub by: Means,
    /// Texts a second into the folder; gateways have rates of their own.
    pub per_second: f64,
    /// Whether whoever gets a text can answer its sender; no for a sender that is a name, such as ASHLARMERE.
    pub answerable: bool,
    /// Gateways, in order of preference.
    pub gateways: Vec<GatewayConfig>,
    /// Where gateways tell us something.
    pub hooks: Vec<HookConfig>,
    /// Inboxes that are looked into.
    pub inboxes: Vec<InboxConfig>,
}

impl Default for TextsConfig {
    fn default() -> Self {
        TextsConfig {
            by: Means::Folder,
            per_second: 1.0,
            answerable: true,
            gateways: Vec::new(),
            hooks: Vec::new(),
            inboxes: Vec::new(),
        }
    }
}

impl TextsConfig {
    /// Whether words sent back by text come in.
    pub fn answers_come_in(&self) -> bool {
        self.answerable && (!self.inboxes.is_empty() || self.hooks.iter().any(|hook| hook.tells == "answers"))
    }
}

/// A secret, from the file if one is named.
pub(super) fn secret(text: &str, file: &Path) -> Result<String, String> {
    if file.as_os_str().is_empty() {
        return Ok(text.to_owned());
    }
    let read =
        std::fs::read_to_string(file).map_err(|e| format!("{} cannot be read: {e}", file.display()))?;
    Ok(read.trim_end_matches(['\r', '\n']).to_owned())
}

/// What is wrong with a file, and where, without the line itself: a secret may stand in it.
fn unread(text: &str, error: &toml::de::Error) -> String {
    let line = error.span().map(|span| text[..span.start.min(text.len())].matches('\n').count() + 1);
    // The message names a value of a wrong kind; what stands between quotation marks may be a secret.
    let message = error.message();
    let message = match message.split_once(": string \"") {
        Some((before, after)) => match after.rsplit_once("\", ") {
            Some((_, expected)) => format!("{before}: a text, {expected}"),
            None => format!("{before}: a text"),
        },
        None => message.to_owned(),
    };
    line.map_or_else(|| message.clone(), |line| format!("line {line}: {message}"))
}

/// Whether others than its owner can read a file.
#[cfg(unix)]
pub fn is_open_to_others(path: &Path) -> bool {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::metadata(path).is_ok_and(|meta| meta.permissions().mode() & 0o077 != 0)
}

/// Whether others than its owner can read a file; not known here.
#[cfg(not(unix))]
pub fn is_open_to_others(_: &Path) -> bool {
    false
}

impl Config {
    /// Reads and checks a file, and the files it names.
    pub fn read(path: &Path) -> Result<Config, ConfigFault> {
        let text = std::fs::read_to_string(path)
            .map_err(|e| ConfigFault::Unreadable { path: path.to_owned(), reason: e.to_string() })?;
        let invalid = |reason: String| ConfigFault::Invalid { path: path.to_owned(), reason };
        let mut config: Config = toml::from_str(&text).map_err(|e| invalid(unread(&text, &e)))?;
        let faults = config.faults();
        if !faults.is_empty() {
            return Err(invalid(faults.join("; ")));
        }
        let texts = config.texts.gateways.iter().any(|gateway| !gateway.secret.is_empty());
        if !config.mail.password.is_empty() || texts {
            config.secrets_in.push(path.to_owned());
        }
        if !config.mail.password_file.as_os_str().is_empty() {
            config.secrets_in.push(config.mail.password_file.clone());
        }
        config.mail.password = secret(&config.mail.password, &config.mail.password_file).map_err(invalid)?;
        Ok(config)
    }

    /// Everything wrong with the values, at once.
    fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        let address = &self.pages.address;
        if !(address.starts_with("https://") || address.starts_with("http://")) || address.ends_with('/') {
            faults.push(format!(
                "pages.address is '{address}'; write what families see, such as https://show.example.org, without a slash at the end"
            ));
        }
        faults.extend(self.mail.protection().err());
        if self.mail.by == Means::Smtp && self.mail.host.is_empty() {
            faults.push("mail.host is empty; name the mail server, or set mail.by to folder".to_owned());
        }
        if self.texts.by == Means::Smtp {
            faults.push("texts.by is smtp; texts leave by folder or http".to_owned());
        }
        if self.mail.by == Means::Http {
            faults.push("mail.by is http; mail leaves by folder or smtp".to_owned());
        }
        if self.texts.by == Means::Http && self.texts.gateways.is_empty() {
            faults.push("texts.by is http and there is no [[texts.gateways]]; describe one".to_owned());
        }
        let by = self.mail.answers.by.as_str();
        if !["none", "pipe", "imap"].contains(&by) {
            faults.push(format!("mail.answers.by is '{by}'; write none, pipe or imap"));
        }
        for (name, rate) in [("mail", self.mail.per_second), ("texts", self.texts.per_second)] {
            if !(rate.is_finite() && rate > 0.0) {
                faults.push(format!("{name}.per_second is {rate}; write a number above 0"));
            }
        }
        faults.extend(self.tariff_faults());
        if !self.mail.password.is_empty() && !self.mail.password_file.as_os_str().is_empty() {
            faults.push("mail.password and mail.password_file are both set; keep one".to_owned());
        }
        faults
    }
}
