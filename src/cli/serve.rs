//! `allheard serve`: the daemon.

use super::start::state;
use super::{ConfigFile, Exit, block_on_exit, tell};
use crate::app::config::Config;
use crate::app::pages::{Pages, ended};
use crate::app::{StartFault, daemon, inbox, letters, open};
use crate::domain::wall;
use crate::telemetry;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

/// After the signal to end, exchanges under way get so long; what is still open then counts as uncertain.
const DRAIN_SECONDS: u64 = 18;

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
    let pages = Pages::bind(config.pages.listen).await?;
    let address = pages.address;
    let hooks = config.texts.hooks.iter().map(|hook| hook.hook()).collect::<Result<Vec<_>, _>>()?;
    let inboxes = config.texts.inboxes.iter().map(|inbox| inbox.inbox()).collect::<Result<Vec<_>, _>>()?;
    let (mailbox, own) = (letters::mailbox(config)?, letters::own(config)?);
    let (stop, acted) = (CancellationToken::new(), Arc::new(Notify::new()));
    match house.coordinator_link().await {
        Ok(token) => tell(format!("coordinator: {}/enter/{token}", config.pages.address)),
        Err(fault) => tell(fault),
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
    let mut ticks = tokio::spawn(daemon::run(house.clone(), acted.clone(), stop.clone()));
    let serving = tokio::spawn(pages.serve(house.clone(), hooks, acted.clone(), stop.clone()));
    for (inbox, client) in inboxes {
        tokio::spawn(inbox::watch(house.clone(), inbox, client, acted.clone(), stop.clone()));
    }
    if let Some(mailbox) = mailbox {
        tokio::spawn(letters::watch(house.clone(), mailbox, own, acted.clone(), stop.clone()));
    }
    let mut went_well = true;
    let ticking = tokio::select! {
        () = ended() => true,
        how = &mut ticks => {
            went_well = how.unwrap_or(false);
            false
        }
    };
    tracing::info!("ending: nothing new is sent");
    stop.cancel();
    let drained = tokio::time::timeout(Duration::from_secs(DRAIN_SECONDS), async {
        if ticking {
            let _ = ticks.await;
        }
        let _ = serving.await;
    });
    if drained.await.is_err() {
        tracing::warn!("some exchanges did not end in time");
    }
    house.store.close().await;
    Ok(went_well)
}
