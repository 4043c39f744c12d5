//! The daemon: one task plans and tends, and one for each road sends; none waits for another.

use super::House;
use super::wake::Wake;
use crate::domain::season::Channel;
use crate::service::office::OfficeFault;
use crate::service::ports::{Doubt, Store as _, StoreFault};
use jiff::{SignedDuration, Timestamp};
use std::sync::Arc;
use std::time::Duration;
use tokio::task::JoinSet;

/// The longest sleep: a jump of the host's clock is noticed within it.
const LONGEST_SLEEP: SignedDuration = SignedDuration::from_secs(30);
/// The shortest, so that a fault does not spin.
const SHORTEST_SLEEP: SignedDuration = SignedDuration::from_millis(50);
/// A task whose last round failed is tried again after so long.
const AFTER_A_FAULT: SignedDuration = SignedDuration::from_secs(2);
/// The whole plan is made again this often even if nothing is known to have changed.
const PLAN_EVERY: SignedDuration = SignedDuration::from_hours(1);

/// The database file is looked over again this often, and soon after the start where it was too large to look at before.
const LOOK_OVER_EVERY: SignedDuration = SignedDuration::from_hours(24);
/// After the start, so that what is due leaves first.
const LOOK_OVER_FIRST: SignedDuration = SignedDuration::from_mins(5);

/// Rounds that fail for so long end the program, so that the service manager starts it afresh.
const GIVE_UP_AFTER: Duration = Duration::from_mins(15);

/// Runs until the office is told to end. Faults of the store are told and waited out; false where they did not end.
pub async fn run(house: Arc<House>, wake: Arc<Wake>) -> bool {
    // Before anything leaves: a host whose clock is astray from its database server's claims nothing.
    if let Err(fault) = house.look_at_clocks().await {
        tracing::error!(%fault, "clocks could not be compared");
    }
    let mut tasks = JoinSet::new();
    let roads = [Channel::Text, Channel::Mail];
    let first = house.now().saturating_add(LOOK_OVER_FIRST).unwrap_or(Timestamp::MAX);
    let works = [Work::Plan(Ticking::default()), Work::LookOver(first)]
        .into_iter()
        .chain(roads.map(Work::Road))
        .chain(roads.map(Work::Replies));
    for work in works {
        tasks.spawn(rounds(house.clone(), wake.clone(), work));
    }
    let mut well = true;
    while let Some(ended) = tasks.join_next().await {
        if !ended.unwrap_or(false) {
            well = false;
            house.ending.cancel();
        }
    }
    well
}

/// What one task does again and again.
enum Work {
    Plan(Ticking),
    /// Looks at the database file itself, next at that moment.
    LookOver(Timestamp),
    Road(Channel),
    Replies(Channel),
}

impl Work {
    fn name(&self) -> &'static str {
        match self {
            Work::Plan(_) => "planning",
            Work::LookOver(_) => "looking over the database",
            Work::Road(Channel::Mail) => "mail",
            Work::Road(Channel::Text) => "texts",
            Work::Replies(Channel::Mail) => "replies by mail",
            Work::Replies(Channel::Text) => "replies by text",
        }
    }

    /// One round; gives back when the next is due.
    async fn round(&mut self, house: &House, wake: &Wake) -> Result<Option<Timestamp>, OfficeFault> {
        match self {
            Work::Plan(ticking) => ticking.tick(house, wake).await,
            Work::LookOver(next) => {
                if house.now() >= *next {
                    look_over(house).await?;
                    *next = house.now().saturating_add(LOOK_OVER_EVERY).unwrap_or(Timestamp::MAX);
                }
                Ok(Some(*next))
            }
            Work::Road(channel) => {
                let sent = house.send_road(*channel).await?;
                if sent.attempted > 0 {
                    tracing::info!(channel = channel.word(), sent.attempted, sent.accepted, "sent");
                    // What ended in doubt or was refused may change what else is to be done.
                    wake.wake();
                }
                if house.raise_alarm().await? {
                    wake.wake();
                }
                let now = house.now();
                let season = house.desk().await?.season;
                let next = house.store.next_on(season, *channel, now).await.map_err(fault)?.message;
                // What is due already waits for the road's rate or its rest.
                Ok(sent.again_at.map_or(next, |at| next.map(|next| next.max(at))))
            }
            Work::Replies(channel) => {
                house.send_replies(*channel).await?;
                let season = house.desk().await?.season;
                Ok(house.store.next_on(season, *channel, house.now()).await.map_err(fault)?.reply)
            }
        }
    }
}

/// Does one task's rounds until the office is told to end; false where they failed for too long.
async fn rounds(house: Arc<House>, wake: Arc<Wake>, mut work: Work) -> bool {
    let mut woken = wake.listen();
    let mut failing: Option<std::time::Instant> = None;
    while !house.ending.is_cancelled() {
        woken.mark_unchanged();
        let result = work.round(&house, &wake).await;
        house.note_round(
            work.name(),
            matches!(&result, Err(fault) if !matches!(fault, OfficeFault::NoSeason)),
        );
        let next = match result {
            Ok(next) => {
                failing = None;
                next
            }
            Err(OfficeFault::NoSeason) => {
                failing = None;
                None
            }
            Err(fault) => {
                tracing::error!(%fault, task = work.name(), "round failed");
                // The driver's words name no person, but belong into the log and not into a message.
                if matches!(fault, OfficeFault::Store(_)) {
                    house.raise_store_alarm("see the log").await;
                }
                if matches!(fault, OfficeFault::Store(StoreFault::Refused(_))) {
                    return false;
                }
                let since = *failing.get_or_insert_with(std::time::Instant::now);
                if since.elapsed() >= GIVE_UP_AFTER {
                    tracing::error!(
                        task = work.name(),
                        "every round has failed for 15 minutes; the program ends to be started afresh"
                    );
                    return false;
                }
                house.now().saturating_add(AFTER_A_FAULT).ok()
            }
        };
        let now = house.now();
        let sleep =
            next.map_or(LONGEST_SLEEP, |at| at.duration_since(now)).clamp(SHORTEST_SLEEP, LONGEST_SLEEP);
        let sleep = Duration::try_from(sleep).unwrap_or(Duration::from_secs(1));
        tokio::select! {
            () = tokio::time::sleep(sleep) => {}
            () = woken.changed() => {}
            () = house.ending.cancelled() => {}
        }
    }
    true
}

/// Looks at the database file itself, page by page; damage ends the program, so that nothing more is built upon it.
async fn look_over(house: &House) -> Result<(), OfficeFault> {
    match house.store.faults().await.map_err(fault)?.first() {
        None => Ok(()),
        Some(first) => Err(fault(StoreFault::Refused(format!(
            "the database is damaged ({first}); put a copy back with `allheard restore`"
        )))),
    }
}

/// What ticks remember between them.
#[derive(Default)]
struct Ticking {
    planned: Option<(i64, Timestamp)>,
    /// The revision for which digests were last looked for, and when one may next be due.
    digests: Option<(i64, Option<Timestamp>)>,
}

impl Ticking {
    /// One tick: tend, plan if the season moved on, put digests down. Gives back when to wake.
    async fn tick(&mut self, house: &House, wake: &Wake) -> Result<Option<Timestamp>, OfficeFault> {
        let sure = house.sure_now().await?.is_some();
        house.look_at_clocks().await?;
        if !sure || house.holds().await?.iter().any(|hold| hold.doubt == Doubt::Clock) {
            // Nothing is judged by a clock that is in doubt: nothing expires by it, and no list's moment passes.
            self.digests = None;
            return Ok(None);
        }
        let (season, revision) = {
            let desk = house.desk().await?;
            (desk.season, desk.revision)
        };
        let tended = house.tend_tick().await?;
        let changed = tended.expired + tended.doubted + tended.quarantined;
        let stale =
            self.planned.is_none_or(|(r, at)| r != revision || house.now().duration_since(at) > PLAN_EVERY);
        if stale || changed > 0 {
            let planned = house.plan_tick().await?;
            tracing::info!(planned.added, planned.withdrawn, planned.moved, "planned");
            self.planned = Some((revision, house.now()));
        }
        let mut news = stale || changed + tended.released + tended.tried_again > 0;
        let fresh =
            |(seen, at): (i64, Option<Timestamp>)| seen == revision && at.is_none_or(|at| at > house.now());
        if !self.digests.is_some_and(fresh) {
            let digested = house.digest_tick().await?;
            if digested.put > 0 {
                tracing::info!(digested.put, "digests put down");
                news = true;
            }
            self.digests = Some((revision, digested.next));
        }
        if news {
            wake.wake();
        }
        let due = house.store.next_due(season).await.map_err(fault)?;
        // What is due is the roads' work.
        let due = due.filter(|at| *at > house.now());
        Ok([due, self.digests.and_then(|(_, at)| at)].into_iter().flatten().min())
    }
}

fn fault(fault: StoreFault) -> OfficeFault {
    OfficeFault::Store(fault)
}
