//! The wiring: the one place where the edges meet.

pub mod backup;
pub mod chance;
pub mod clock;
pub mod config;
pub mod daemon;
pub mod demo;
pub mod inbox;
pub mod journal;
pub mod ledger;
pub mod letters;
mod listener;
pub mod pages;
pub mod preview;
pub mod rehearse;
pub mod sheets;
pub mod tariffs;
pub mod texts;
pub mod wake;

use crate::gateway::folder::Folder;
use crate::gateway::mail::Identity;
use crate::gateway::smtp::{Server, Smtp};
use crate::gateway::{Carrier, Gateways, Road, Texts};
use crate::service::office::{Office, OfficeFault, Ways};
use crate::service::ports::{Doubt, Hand, Random as _, Store as _, StoreFault};
use crate::service::wording::{Fault as WordingFault, Wording};
use crate::store::SqlStore;
use chance::HostRandom;
use clock::HostClock;
use config::{Config, Means};
use lettre::Address;
use lettre::message::Mailbox;
use std::path::Path;
use std::sync::Arc;

/// Files written into the outbox folder between two commits.
const FOLDER_SESSIONS: usize = 64;

/// A database file of at most so many octets is looked over each time it is opened; it takes about 12 ms a million.
const LOOKED_OVER_MAX_OCTETS: u64 = 64 * 1024 * 1024;

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
    keep_private(&config.data.folder).map_err(|source| StartFault::Io {
        what: format!("the data folder {} cannot be made", config.data.folder.display()),
        source,
    })?;
    look_over(&config.data.database()).await?;
    let store = SqlStore::open(&config.data.database(), Box::new(HostRandom)).await?;
    let gateways = gateways(config)?;
    let house =
        Office::new(store, gateways, Arc::new(HostClock), Box::new(HostRandom), wording, ways(config));
    hold_after_upgrade(&house).await;
    Ok(house)
}

/// Refuses a database file that is damaged, in one line, before anything is done with it.
async fn look_over(database: &str) -> Result<(), StartFault> {
    let Some(file) = database.strip_prefix("sqlite://") else { return Ok(()) };
    if !std::fs::metadata(file).is_ok_and(|meta| meta.len() > 0 && meta.len() <= LOOKED_OVER_MAX_OCTETS) {
        return Ok(());
    }
    match SqlStore::faults_of(file).await?.first() {
        None => Ok(()),
        Some(first) => Err(StartFault::Store(StoreFault::Refused(format!(
            "the database {file} is damaged ({first}); put a copy back with `allheard restore`"
        )))),
    }
}

/// Makes what only its owner may read just that: families' names and numbers are in it.
pub fn private(file: &std::fs::File) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let mode = if file.metadata()?.is_dir() { 0o700 } else { 0o600 };
        file.set_permissions(std::fs::Permissions::from_mode(mode))?;
    }
    #[cfg(not(unix))]
    let _ = file;
    Ok(())
}

/// Whatever this program writes from here on only its owner can read; the data folder itself too.
fn keep_private(folder: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    rustix::process::umask(rustix::fs::Mode::from_raw_mode(0o077));
    std::fs::create_dir_all(folder)?;
    private(&std::fs::File::open(folder)?)?;
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_file() {
            private(&std::fs::File::open(path)?)?;
        }
    }
    Ok(())
}

/// Opens the journal beside the database, after holding what it knows against the database.
pub async fn keep_journal(house: &House, config: &Config) -> Result<(), StartFault> {
    let folder = &config.data.folder;
    let failed = |source| StartFault::Io {
        what: format!("the journal in {} cannot be used", folder.display()),
        source,
    };
    let found = journal::found(folder).map_err(failed)?;
    let registered = house.store.journals().await?;
    for (id, attempts) in &found {
        house.compare_journal(id, attempts).await.map_err(of_office)?;
    }
    // A server's journals lie with their daemons; a file's lie beside it.
    let beside = config.data.database.is_empty();
    if beside && registered.iter().any(|id| !found.iter().any(|(one, _)| one == id)) {
        let why = "the journal of what was sent is gone from the data folder";
        house.hold(Doubt::Restored, why).await.map_err(of_office)?;
    }
    let id = match found.first() {
        Some((id, _)) => id.clone(),
        None => {
            let mut octets = [0; 8];
            HostRandom.fill(&mut octets);
            octets.iter().map(|octet| format!("{octet:02x}")).collect()
        }
    };
    let journal = journal::FolderJournal::open(folder, &id).map_err(failed)?;
    house.store.register_journal(&id, house.now()).await?;
    house.keep_journal(Arc::new(journal));
    Ok(())
}

fn of_office(fault: OfficeFault) -> StartFault {
    match fault {
        OfficeFault::Store(fault) => StartFault::Store(fault),
        other => StartFault::Setting(other.to_string()),
    }
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
        Means::Folder | Means::Http => Road::Folder(folder(&outbox, identity.clone())?),
        Means::Smtp => Road::Smtp(Box::new(smtp(config, identity.clone())?)),
    };
    let texts = match config.texts.by {
        Means::Http => config
            .texts
            .gateways
            .iter()
            .map(|gateway| gateway.carrier(&config.pages.address))
            .collect::<Result<Vec<_>, _>>()?,
        Means::Folder | Means::Smtp => {
            let road = Road::Folder(folder(&outbox, identity)?);
            vec![Carrier { road, per_second: config.texts.per_second, sessions: FOLDER_SESSIONS }]
        }
    };
    Ok(Gateways {
        mail: Carrier {
            sessions: if matches!(mail, Road::Folder(_)) { FOLDER_SESSIONS } else { config.mail.sessions },
            road: mail,
            per_second: config.mail.per_second,
        },
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
