//! The wiring: the one place where the edges meet.

pub mod chance;
pub mod clock;
pub mod config;
pub mod daemon;
pub mod demo;
pub mod inbox;
pub mod ledger;
pub mod letters;
pub mod pages;
pub mod preview;
pub mod rehearse;
pub mod sheets;
pub mod tariffs;
pub mod texts;

use crate::gateway::folder::Folder;
use crate::gateway::mail::Identity;
use crate::gateway::smtp::{Server, Smtp};
use crate::gateway::{Carrier, Gateways, Road, Texts};
use crate::service::office::{Office, Ways};
use crate::service::ports::{Hand, StoreFault};
use crate::service::wording::{Fault as WordingFault, Wording};
use crate::store::SqlStore;
use chance::HostRandom;
use clock::HostClock;
use config::{By, Config};
use lettre::Address;
use lettre::message::Mailbox;
use std::path::Path;
use std::sync::Arc;

/// The office of the real program.
pub type House = Office<SqlStore, Gateways>;

/// Why the program cannot start.
#[derive(Debug, thiserror::Error)]
pub enum StartFault {
    /// The configuration.
    #[error(transparent)]
    Config(#[from] config::ConfigFault),
    /// A value of the configuration that only shows when it is used.
    #[error("{0}")]
    Setting(String),
    /// The message templates.
    #[error("{} of the message templates cannot be used:\n{}", .0.len(), .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Templates(Vec<WordingFault>),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// A folder or an address.
    #[error("{what}: {source}")]
    Io {
        /// What was tried.
        what: String,
        /// What the system said.
        source: std::io::Error,
    },
}

/// The words, with those of the configured folder laid over the built-in ones.
pub fn wording(config: &Config) -> Result<Wording, Vec<WordingFault>> {
    let templates = &config.data.templates;
    Wording::load((!templates.as_os_str().is_empty()).then_some(templates.as_path()))
}

/// Opens the office as configured.
pub async fn open(config: &Config) -> Result<House, StartFault> {
    let wording = wording(config).map_err(StartFault::Templates)?;
    std::fs::create_dir_all(&config.data.folder).map_err(|source| StartFault::Io {
        what: format!("the data folder {} cannot be made", config.data.folder.display()),
        source,
    })?;
    let store = SqlStore::open(&config.data.database(), Box::new(HostRandom)).await?;
    let gateways = gateways(config)?;
    let house =
        Office::new(store, gateways, Arc::new(HostClock), Box::new(HostRandom), wording, ways(config));
    hold_after_upgrade(&house).await;
    Ok(house)
}

/// What an earlier version told wrongly is announced as a change; whom it concerns is looked at by a person first.
async fn hold_after_upgrade(house: &House) {
    if house.store.upgraded() && house.course().await.is_ok_and(|course| course.is_going()) {
        match house.pause(Hand::Command).await {
            Ok(_) => tracing::warn!(
                "the tables were brought up to date: the season is paused until a person resumes it"
            ),
            Err(fault) => tracing::error!(%fault, "the season could not be paused after the upgrade"),
        }
    }
}

/// How the office works, as configured.
pub fn ways(config: &Config) -> Ways {
    Ways {
        base_url: config.pages.address.clone(),
        pages_public: config.pages.public,
        reply_by_text: config.texts.answers_come_in(),
        reply_by_mail: config.mail.answers_come_in(),
        coordinator: config.coordinator.addresses(),
        tariffs: config.tariffs(),
        ..Ways::default()
    }
}

fn gateways(config: &Config) -> Result<Gateways, StartFault> {
    let identity = identity(config)?;
    let outbox = config.data.folder.join("outbox");
    let mail = match config.mail.by {
        By::Folder | By::Http => Road::Folder(folder(&outbox, identity.clone())?),
        By::Smtp => Road::Smtp(Box::new(smtp(config, identity.clone())?)),
    };
    let texts = match config.texts.by {
        By::Http => config
            .texts
            .gateways
            .iter()
            .map(|gateway| gateway.carrier(&config.pages.address))
            .collect::<Result<Vec<_>, _>>()?,
        By::Folder | By::Smtp => {
            let road = Road::Folder(folder(&outbox, identity)?);
            vec![Carrier { road, per_second: config.texts.per_second, sessions: 1 }]
        }
    };
    Ok(Gateways {
        mail: Carrier { road: mail, per_second: config.mail.per_second, sessions: config.mail.sessions },
        text: Texts::new(texts),
    })
}

fn folder(root: &Path, identity: Identity) -> Result<Folder, StartFault> {
    Folder::open(root, identity)
        .map_err(|source| StartFault::Io { what: "the outbox folder cannot be made".to_owned(), source })
}

fn identity(config: &Config) -> Result<Identity, StartFault> {
    let mailbox = |name: &str, text: &str| {
        text.parse::<Mailbox>().map_err(|_| {
            StartFault::Setting(format!(
                "{name} is '{text}'; write a name and an address, such as Chaperones <us@example.org>"
            ))
        })
    };
    let from = mailbox("mail.from", &config.mail.from)?;
    let optional =
        |name: &str, text: &str| if text.is_empty() { Ok(None) } else { mailbox(name, text).map(Some) };
    let reply_to = optional("mail.reply_to", &config.mail.reply_to)?;
    let bounces: Address = optional("mail.bounces", &config.mail.bounces)?
        .map_or_else(|| from.email.clone(), |mailbox| mailbox.email);
    Ok(Identity {
        plus: config.mail.answers.plus,
        domain: from.email.domain().to_owned(),
        reply_to: reply_to.or(Some(from.clone())),
        from,
        bounces,
    })
}

fn smtp(config: &Config, identity: Identity) -> Result<Smtp, StartFault> {
    let mail = &config.mail;
    let trusted = if mail.trusted.as_os_str().is_empty() {
        None
    } else {
        Some(std::fs::read(&mail.trusted).map_err(|source| StartFault::Io {
            what: format!("mail.trusted {} cannot be read", mail.trusted.display()),
            source,
        })?)
    };
    let server = Server {
        host: mail.host.clone(),
        port: mail.port,
        protection: mail.protection().map_err(StartFault::Setting)?,
        login: (!mail.user.is_empty()).then(|| (mail.user.clone(), mail.password.clone())),
        trusted,
        hello: identity.domain.clone(),
    };
    Smtp::new(server, identity).map_err(|fault| StartFault::Setting(fault.to_string()))
}
