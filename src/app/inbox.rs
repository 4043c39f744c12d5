//! Looking into inboxes again and again, until told to stop.

use super::House;
use super::wake::Wake;
use crate::inbound::poll::Inbox;
use crate::service::hearing::{Became, CarrierNews};
use crate::service::office::OfficeFault;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// The longest wait after failures in a row, seconds.
const LONGEST_WAIT_SECONDS: u64 = 600;

/// Looks into an inbox until told to stop; after failures it waits longer and longer.
pub async fn watch(
    house: Arc<House>,
    inbox: Inbox,
    client: reqwest::Client,
    acted: Arc<Wake>,
    stop: CancellationToken,
) {
    let mut failures = 0_u32;
    loop {
        match inbox.fetch(&client, house.now()).await {
            Ok(told) => {
                failures = 0;
                match take(&house, told).await {
                    Ok(true) => acted.wake(),
                    Ok(false) => {}
                    Err(fault) => {
                        tracing::error!(%fault, inbox = inbox.name, "what an inbox held could not be taken in")
                    }
                }
            }
            Err(why) => {
                failures = failures.saturating_add(1);
                tracing::warn!(inbox = inbox.name, why, failures, "an inbox could not be looked into");
            }
        }
        let wait =
            inbox.every.saturating_mul(1 << failures.min(6)).min(Duration::from_secs(LONGEST_WAIT_SECONDS));
        tokio::select! {
            () = tokio::time::sleep(wait.max(inbox.every)) => {}
            () = stop.cancelled() => return,
        }
    }
}

/// Takes everything in; whether anything was new.
pub async fn take(house: &House, told: Vec<CarrierNews>) -> Result<bool, OfficeFault> {
    let mut new = false;
    for one in told {
        match one {
            CarrierNews::Answer(incoming) => new |= house.hear(&incoming).await? != Became::Known,
            CarrierNews::Receipt(receipt) => {
                house.told_by_gateway(&receipt).await?;
            }
            CarrierNews::Nothing => {}
        }
    }
    Ok(new)
}
