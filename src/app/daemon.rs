//! The daemon: pages, and a loop of ticks that sleeps until something is due.

use super::House;
use crate::service::office::OfficeFault;
use crate::service::ports::{Store as _, StoreFault};
use jiff::{SignedDuration, Timestamp};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

/// The longest sleep: a jump of the host's clock is noticed within it.
const LONGEST_SLEEP: SignedDuration = SignedDuration::from_secs(30);
/// The shortest, so that a fault does not spin.
const SHORTEST_SLEEP: SignedDuration = SignedDuration::from_millis(50);
/// A wall clock that moved so much more than the machine's own has been set; nothing is sent until it has settled.
const CLOCK_JUMP: SignedDuration = SignedDuration::from_mins(10);
/// Ticks without sending after the clock jumped.
const HOLD_TICKS: u32 = 2;
/// The whole plan is made again this often even if nothing is known to have changed.
const PLAN_EVERY: SignedDuration = SignedDuration::from_hours(1);

/// Ticks that fail for so long end the program, so that the service manager starts it afresh.
const GIVE_UP_AFTER: Duration = Duration::from_mins(15);

/// Runs ticks until told to stop. Faults of the store are told and waited out; false where they did not end.
pub async fn run(house: Arc<House>, acted: Arc<Notify>, stop: CancellationToken) -> bool {
    let mut ticking = Ticking::default();
    let mut failing: Option<std::time::Instant> = None;
    while !stop.is_cancelled() {
        let result = ticking.tick(&house).await;
        house.note_tick(matches!(&result, Err(fault) if !matches!(fault, OfficeFault::NoSeason)));
        let wake = match result {
            Ok(wake) => {
                failing = None;
                wake
            }
            Err(OfficeFault::NoSeason) => {
                failing = None;
                None
            }
            Err(fault) => {
                tracing::error!(%fault, "tick failed");
                // The driver's words name no person, but belong into the log and not into a message.
                if matches!(fault, OfficeFault::Store(_)) {
                    house.raise_store_alarm("see the log").await;
                }
                let since = *failing.get_or_insert_with(std::time::Instant::now);
                if since.elapsed() >= GIVE_UP_AFTER {
                    tracing::error!(
                        "every round has failed for 15 minutes; the program ends to be started afresh"
                    );
                    return false;
                }
                None
            }
        };
        let now = house.now();
        let sleep =
            wake.map_or(LONGEST_SLEEP, |at| at.duration_since(now)).clamp(SHORTEST_SLEEP, LONGEST_SLEEP);
        let sleep = Duration::try_from(sleep).unwrap_or(Duration::from_secs(1));
        tokio::select! {
            () = tokio::time::sleep(sleep) => {}
            () = acted.notified() => {}
            () = stop.cancelled() => {}
        }
    }
    true
}

/// What ticks remember between them.
#[derive(Default)]
struct Ticking {
    planned: Option<(i64, Timestamp)>,
    /// The revision for which digests were last looked for, and when one may next be due.
    digests: Option<(i64, Option<Timestamp>)>,
    seen: Option<(Timestamp, std::time::Instant)>,
    hold: u32,
}

impl Ticking {
    /// One tick: tend, plan if the season moved on, send. Gives back when to wake.
    async fn tick(&mut self, house: &House) -> Result<Option<Timestamp>, OfficeFault> {
        self.watch_clock(house.now());
        let (season, revision) = {
            let desk = house.desk().await?;
            (desk.season, desk.revision)
        };
        let tended = house.tend_tick().await?;
        let stale =
            self.planned.is_none_or(|(r, at)| r != revision || house.now().duration_since(at) > PLAN_EVERY);
        if stale || tended.expired + tended.doubted + tended.quarantined > 0 {
            let planned = house.plan_tick().await?;
            tracing::info!(planned.added, planned.withdrawn, planned.moved, "planned");
            self.planned = Some((revision, house.now()));
        }
        if self.hold > 0 {
            self.hold -= 1;
            return Ok(None);
        }
        let fresh =
            |(seen, at): (i64, Option<Timestamp>)| seen == revision && at.is_none_or(|at| at > house.now());
        if !self.digests.is_some_and(fresh) {
            let digested = house.digest_tick().await?;
            if digested.put > 0 {
                tracing::info!(digested.put, "digests put down");
            }
            self.digests = Some((revision, digested.next));
        }
        let sent = house.send_tick().await?;
        if sent.attempted > 0 {
            tracing::info!(sent.attempted, sent.accepted, "sent");
        }
        let due = house.store.next_due(season).await.map_err(fault)?;
        // What is due already waits for a carrier's rate or rest, and `again_at` says until when.
        let due = due.filter(|at| sent.again_at.is_none() || *at > house.now());
        Ok([due, sent.again_at, self.digests.and_then(|(_, at)| at)].into_iter().flatten().min())
    }

    fn watch_clock(&mut self, now: Timestamp) {
        let instant = std::time::Instant::now();
        if let Some((then, since)) = self.seen {
            let passed = SignedDuration::try_from(instant.duration_since(since)).unwrap_or_default();
            let off = now.duration_since(then) - passed;
            if off.abs() > CLOCK_JUMP {
                tracing::warn!(
                    seconds = off.as_secs(),
                    "the clock jumped; nothing is sent until it has settled"
                );
                self.hold = HOLD_TICKS;
                self.digests = None;
            }
        }
        self.seen = Some((now, instant));
    }
}

fn fault(fault: StoreFault) -> OfficeFault {
    OfficeFault::Store(fault)
}
