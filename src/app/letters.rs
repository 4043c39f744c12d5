//! Answers by mail: from the mailbox or the pipe to the office.

use super::config::{Config, secret};
use super::texts::tls;
use super::wake::Wake;
use super::{House, StartFault};
use crate::inbound::letter::{self, IncomingMail, OwnMail};
use crate::inbound::mailbox::{self, Mailbox, Protection};
use crate::service::hearing::Became;
use crate::service::office::OfficeFault;
use crate::service::ports::is_this_host;
use lettre::message::Mailbox as Sender;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// What our own mails look like, as configured.
pub fn own(config: &Config) -> Result<OwnMail, StartFault> {
    let from: Sender = config.mail.from.parse().map_err(|_| {
        StartFault::Setting(format!("mail.from is '{}'; write a name and an address", config.mail.from))
    })?;
    Ok(OwnMail { domain: from.email.domain().to_owned(), base_url: config.pages.address.clone() })
}

/// The mailbox as configured; none if answers do not come in by one.
pub fn mailbox(config: &Config) -> Result<Option<Mailbox>, StartFault> {
    let answers = &config.mail.answers;
    if answers.by != "imap" {
        return Ok(None);
    }
    let named = |fault: String| StartFault::Setting(format!("mail.answers: {fault}"));
    let protection = Protection::from_word(&answers.protection).ok_or_else(|| {
        named(format!("protection is '{}'; write starttls, tls or none", answers.protection))
    })?;
    if protection == Protection::None && !is_this_host(&answers.host) {
        return Err(named("protection 'none' is only for a server on this host".to_owned()));
    }
    if answers.host.is_empty() || answers.user.is_empty() {
        return Err(named("host and user are needed".to_owned()));
    }
    let password = secret(&answers.password, &answers.password_file).map_err(named)?;
    Ok(Some(Mailbox {
        host: answers.host.clone(),
        port: answers.port,
        protection,
        login: (answers.user.clone(), password),
        tls: Arc::new(tls(&answers.trusted).map_err(named)?),
        folder: answers.folder.clone(),
        processed: answers.processed.clone(),
        poll: Duration::from_secs(answers.poll_seconds.max(1)),
    }))
}

/// Takes one mail in; an error means that it must be kept and brought again.
pub async fn take(house: &House, octets: &[u8], own: &OwnMail) -> Result<bool, OfficeFault> {
    match letter::read(octets, own) {
        IncomingMail::Returned(keys) => {
            let mut moved = false;
            for key in keys {
                moved |= house.bounced(&key).await?;
            }
            Ok(moved)
        }
        IncomingMail::Report | IncomingMail::ReadReceipt => Ok(false),
        note @ IncomingMail::Note { .. } => match note.incoming(house.now()) {
            Some(incoming) => Ok(!matches!(house.hear(&incoming).await?, Became::Known | Became::Ignored)),
            None => Ok(false),
        },
    }
}

/// Looks into the mailbox until told to stop.
pub async fn watch(
    house: Arc<House>,
    mailbox: Mailbox,
    own: OwnMail,
    acted: Arc<Wake>,
    stop: CancellationToken,
) {
    let take = |octets: Vec<u8>| {
        let (house, own, acted) = (house.clone(), own.clone(), acted.clone());
        async move {
            if let Some(at) = letter::received(&octets) {
                house.note_received(at);
            }
            match take(&house, &octets, &own).await {
                Ok(moved) => {
                    if moved {
                        acted.wake();
                    }
                    true
                }
                Err(fault) => {
                    tracing::error!(%fault, "a mail could not be taken in");
                    false
                }
            }
        }
    };
    mailbox::watch(&mailbox, take, &stop).await;
}
