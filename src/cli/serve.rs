//! `allheard serve`: the daemon.

use super::start::state;
use super::{ConfigFile, Exit, block_on_exit, tell};
use crate::app::config::{Config, is_open_to_others};
use crate::app::pages::{Pages, ended};
use crate::app::wake::Wake;
use crate::app::{StartFault, backup, daemon, inbox, keep_journal, letters, open};
use crate::domain::wall;
use crate::telemetry;
use std::io::IsTerminal as _;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// After the signal to end everything is over within so long: what roads have under way gets most of it
/// ([`LEAVING_SECONDS`](crate::service::sending::LEAVING_SECONDS)), and its outcome is written down.
const DRAIN_SECONDS: u64 = 18;
/// And closing the database so long.
const CLOSING_SECONDS: u64 = 1;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    #[command(flatten)]
    file: ConfigFile,
}

pub(super) fn run(options: &Options) -> Exit {
    telemetry::start();
    let Some(config) = options.file.read() else { return Exit::Config };
    for canary in wall::canaries(jiff::tz::db()) {
        tell(format!("time zone data are too old: {} is wrong; times there may be an hour off", canary.zone));
    }
    for file in config.secrets_in.iter().filter(|file| is_open_to_others(file)) {
        tell(format!("{} holds a secret and others on this host can read it: chmod 600 it", file.display()));
    }
    block_on_exit(async {
        match serve(&config).await {
            Ok(true) => Exit::Done,
            Ok(false) => Exit::Unreachable,
            Err(fault) => {
                tell(&fault);
                match fault {
                    StartFault::Store(_) | StartFault::Io { .. } => Exit::Unreachable,
                    StartFault::Config(_) | StartFault::Setting(_) | StartFault::Templates(_) => Exit::Config,
                }
            }
        }
    })
}

/// Serves until told to end; false where it ended because nothing could be written for a long time.
async fn serve(config: &Config) -> Result<bool, StartFault> {
    let house = Arc::new(open(config).await?);
    let _running = backup::mark(config, false).map_err(|fault| StartFault::Setting(fault.to_string()))?;
    keep_journal(&house, config).await?;
    house.look_back().await.map_err(|fault| StartFault::Setting(fault.to_string()))?;
    let pages = Pages::bind(config.pages.listen).await?.behind(&config.pages.proxies);
    let address = pages.address;
    let hooks = config.texts.hooks.iter().map(|hook| hook.hook()).collect::<Result<Vec<_>, _>>()?;
    let inboxes = config.texts.inboxes.iter().map(|inbox| inbox.inbox()).collect::<Result<Vec<_>, _>>()?;
    let (mailbox, own) = (letters::mailbox(config)?, letters::own(config)?);
    let (stop, acted) = (CancellationToken::new(), Arc::new(Wake::default()));
    // A link opens every child's data: it is shown to a person and never to a log.
    if std::io::stderr().is_terminal() {
        match house.coordinator_link().await {
            Ok(token) => tell(format!("coordinator: {}/enter/{token}", config.pages.address)),
            Err(fault) => tell(fault),
        }
    } else {
        tell("the coordinator's link is printed by `allheard links`");
    }
    if house.store.upgraded() {
        tell(
            "this is the first start of a newer version: what it reckons otherwise is announced as a change; see Planned \
             messages for whom it concerns, then resume sending there or by `allheard start`",
        );
    }
    if let Ok(state) = state(&house).await {
        tell(state);
    }
    tell(format!("pages at http://{address}"));
    let mut roads = tokio::spawn(daemon::run(house.clone(), acted.clone()));
    let serving = tokio::spawn(pages.serve(house.clone(), hooks, acted.clone(), stop.clone()));
    for (inbox, client) in inboxes {
        tokio::spawn(inbox::watch(house.clone(), inbox, client, acted.clone(), stop.clone()));
    }
    if let Some(mailbox) = mailbox {
        tokio::spawn(letters::watch(house.clone(), mailbox, own, acted.clone(), stop.clone()));
    }
    let mut went_well = true;
    let sending = tokio::select! {
        () = ended() => true,
        how = &mut roads => {
            went_well = how.unwrap_or(false);
            false
        }
    };
    tracing::info!("ending: nothing new is sent");
    house.ending.cancel();
    stop.cancel();
    let drained = tokio::time::timeout(Duration::from_secs(DRAIN_SECONDS), async {
        if sending {
            let _ = roads.await;
        }
        let _ = serving.await;
    });
    tokio::select! {
        over = drained => if over.is_err() {
            tracing::warn!("some exchanges did not end in time");
        },
        () = ended() => tracing::warn!("told to end a second time: what is under way is left"),
    }
    if tokio::time::timeout(Duration::from_secs(CLOSING_SECONDS), house.store.close()).await.is_err() {
        tracing::warn!("the database did not close in time");
    }
    Ok(went_well)
}
