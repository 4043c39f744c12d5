//! One road at a time: claim, write the attempt, talk with nothing open, record. Each of these commits by itself, and while
//! one of them is under way hand-overs go on.
//!
//! No more is written down as begun than the road's sessions begin at once, so that a stop, a change of the facts or the end of
//! the program finds at most one message a session on its way.

use super::composing::Composed;
use super::drafting::told_before;
use super::office::{Desk, Office, OfficeFault, note_state};
use super::ports::{
    CrashPoint, Gateway, Handed, Lost, Settled, Store, StoredMessage, TendRules, Tended, Unsent,
};
use crate::domain::facts::{Facts, Fingerprint};
use crate::domain::graph::State;
use crate::domain::plan::CHANGE;
use crate::domain::season::{Channel, HouseholdId};
use futures_util::stream::FuturesUnordered;
use futures_util::{FutureExt as _, StreamExt as _};
use jiff::Timestamp;
use std::collections::{HashMap, HashSet, VecDeque};
use std::future::Future;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Messages claimed ahead for each session, so that one is at hand when the one before is done.
const AHEAD: usize = 4;
/// Claims in a row of which nothing could be attempted, after which a road leaves it until it is next looked at.
const BARREN_MAX: usize = 20;
/// How often what is claimed or under way is held on to, seconds: a third of the time after which it is given up.
pub(super) const RENEW_SECONDS: u64 = 20;
/// At the end of the program, hand-overs under way get so long, seconds; of what is open then nobody knows.
pub const LEAVING_SECONDS: u64 = 15;

/// What a sending tick did.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Sent {
    /// Messages claimed.
    pub claimed: usize,
    /// Messages attempted.
    pub attempted: usize,
    /// Messages accepted.
    pub accepted: usize,
    /// When a channel that has used up its rate may go on.
    pub again_at: Option<Timestamp>,
}

impl Sent {
    /// Adds what another road did.
    pub fn add(&mut self, other: &Sent) {
        self.claimed += other.claimed;
        self.attempted += other.attempted;
        self.accepted += other.accepted;
        self.again_at = [self.again_at, other.again_at].into_iter().flatten().min();
    }
}

/// A message composed and written down as an attempt.
struct Going {
    composed: Composed,
    until: Timestamp,
    /// Attempts before this one that were the road's fault.
    spared: i64,
}

/// How an attempt ended, and where it went.
#[derive(Debug, Clone)]
pub(super) struct Ended {
    pub settled: Settled,
    pub address: String,
}

/// One road's work under way.
struct Round {
    channel: Channel,
    /// Claimed and not yet written down as attempts.
    queue: VecDeque<StoredMessage>,
    /// Handed over and not yet answered for: message, fence, number, address.
    flying: HashMap<i64, (i64, i64, String)>,
    /// Answered for and not yet recorded.
    ended: Vec<Ended>,
    /// Nothing more is due.
    dry: bool,
    barren: usize,
    sent: Sent,
    fault: Option<OfficeFault>,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Frees what was left behind, expires what is useless, settles what rules settle.
    pub async fn tend_tick(&self) -> Result<Tended, OfficeFault> {
        // What is known of an attempt is written down before it is taken for lost, as after a disk was full for long.
        for channel in [Channel::Text, Channel::Mail] {
            let ended = self.take_unrecorded(channel);
            if !ended.is_empty()
                && let Err(fault) = self.record(channel, &ended).await
            {
                self.keep_unrecorded(channel, ended);
                return Err(fault);
            }
        }
        let season = self.desk().await?.season;
        let ms = |wait: jiff::SignedDuration| i64::try_from(wait.as_millis()).unwrap_or(i64::MAX);
        let rules = TendRules {
            claims_max: self.ways.claims_max,
            mail_wait_ms: ms(self.ways.mail_wait),
            text_wait_ms: ms(self.ways.text_wait),
            text_known_again: self.gateway.knows_again(Channel::Text),
        };
        Ok(self.store.tend(season, self.now(), rules).await?)
    }

    /// Sends what is due on every road, one after the other, as far as rates allow: for whoever steps the office by hand.
    pub async fn send_tick(&self) -> Result<Sent, OfficeFault> {
        let mut sent = Sent::default();
        for channel in [Channel::Text, Channel::Mail] {
            sent.add(&self.send_replies(channel).await?);
        }
        for channel in [Channel::Text, Channel::Mail] {
            sent.add(&self.send_road(channel).await?);
        }
        if self.raise_alarm().await? {
            for channel in [Channel::Text, Channel::Mail] {
                sent.add(&self.send_replies(channel).await?);
            }
        }
        Ok(sent)
    }

    /// Sends what is due on one road, until nothing more is, the road rests, or the program ends.
    pub async fn send_road(&self, channel: Channel) -> Result<Sent, OfficeFault> {
        let sessions = self.gateway.sessions(channel).max(1);
        let mut under_way = FuturesUnordered::new();
        let mut round = Round {
            channel,
            queue: VecDeque::new(),
            flying: HashMap::new(),
            ended: self.take_unrecorded(channel),
            dry: false,
            barren: 0,
            sent: Sent::default(),
            fault: None,
        };
        let mut leaving = None;
        loop {
            if !round.ended.is_empty() && round.fault.is_none() {
                let ended = std::mem::take(&mut round.ended);
                let work = self.record(channel, &ended);
                let recorded = round.meanwhile(&mut under_way, work).await;
                match recorded {
                    Ok(accepted) => round.sent.accepted += accepted,
                    Err(fault) => {
                        round.fault = Some(fault);
                        round.ended.extend(ended);
                    }
                }
            }
            let ending = self.ending.is_cancelled();
            let astray = self.astray.load(Ordering::Relaxed);
            let open = round.fault.is_none() && !ending && !astray && self.rests_until(channel).is_none();
            if open {
                let most = if self.probes(channel) { 1 } else { sessions };
                let free = most.saturating_sub(under_way.len());
                if free > 0 && round.queue.is_empty() && !round.dry {
                    let work = self.claim_some(channel, (free * AHEAD).min(self.ways.batch as usize));
                    match round.meanwhile(&mut under_way, work).await {
                        Ok(claimed) => {
                            round.sent.claimed += claimed.messages.len();
                            round.dry = claimed.messages.is_empty() || round.barren >= BARREN_MAX;
                            round.sent.again_at = claimed.again_at;
                            round.queue.extend(claimed.messages);
                        }
                        Err(fault) => round.fault = Some(fault),
                    }
                }
                let slice: Vec<StoredMessage> = round.queue.drain(..free.min(round.queue.len())).collect();
                if !slice.is_empty() {
                    let work = self.write_attempts(&slice);
                    match round.meanwhile(&mut under_way, work).await {
                        Ok(going) => {
                            round.barren = if going.is_empty() { round.barren + 1 } else { 0 };
                            round.sent.attempted += going.len();
                            for one in going {
                                let attempt = &one.composed.attempt;
                                let held = (attempt.fence, attempt.number, attempt.address.clone());
                                round.flying.insert(attempt.message, held);
                                under_way.push(self.hand_over(channel, one));
                            }
                        }
                        Err(fault) => round.fault = Some(fault),
                    }
                    continue;
                }
            } else if !round.queue.is_empty() {
                let queue: Vec<StoredMessage> = round.queue.drain(..).collect();
                let work = self.give_back(&queue);
                if let Err(fault) = round.meanwhile(&mut under_way, work).await {
                    round.fault.get_or_insert(fault);
                }
            }
            if !round.ended.is_empty() && round.fault.is_none() {
                continue;
            }
            if under_way.is_empty() {
                break;
            }
            if ending && leaving.is_none() {
                leaving = Some(Box::pin(tokio::time::sleep(Duration::from_secs(LEAVING_SECONDS))));
            }
            let out_of_patience = async {
                match &mut leaving {
                    Some(patience) => patience.await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                Some(one) = under_way.next() => round.note(one),
                () = self.ending.cancelled(), if !ending => {}
                () = out_of_patience => {
                    round.give_up();
                    under_way.clear();
                }
                () = tokio::time::sleep(Duration::from_secs(RENEW_SECONDS)) => self.hold_on(&mut round).await,
            }
            while let Some(Some(one)) = under_way.next().now_or_never() {
                round.note(one);
            }
        }
        if self.untold.swap(false, Ordering::Relaxed) {
            self.desk().await?.pulse = -1;
        }
        // A road that rests may go on when its rest is over, as one whose rate is used up when that is free again.
        round.sent.again_at = [round.sent.again_at, self.rests_until(channel)].into_iter().flatten().max();
        match round.fault {
            None => Ok(round.sent),
            Some(fault) => {
                self.keep_unrecorded(channel, round.ended);
                Err(fault)
            }
        }
    }

    /// What ended and could not be recorded when it did.
    fn take_unrecorded(&self, channel: Channel) -> Vec<Ended> {
        self.unrecorded.lock().ok().and_then(|mut all| all.remove(&channel)).unwrap_or_default()
    }

    fn keep_unrecorded(&self, channel: Channel, ended: Vec<Ended>) {
        if let Ok(mut all) = self.unrecorded.lock() {
            all.entry(channel).or_default().extend(ended);
        }
    }

    async fn claim_some(&self, channel: Channel, most: usize) -> Result<super::ports::Claimed, OfficeFault> {
        let Some(now) = self.sure_now().await? else { return Ok(super::ports::Claimed::default()) };
        let lease_until = self.lease_until(now);
        let most = u32::try_from(most).unwrap_or(u32::MAX);
        let per_second = self.gateway.per_second(channel);
        let season = self.desk().await?.season;
        Ok(self.store.claim(season, channel, most, per_second, now, lease_until).await?)
    }

    pub(super) fn lease_until(&self, now: Timestamp) -> Timestamp {
        now.saturating_add(self.ways.lease).unwrap_or(now)
    }

    /// Puts claimed messages back as they were.
    async fn give_back(&self, claimed: &[StoredMessage]) -> Result<(), OfficeFault> {
        let now = self.now();
        let back = |m: &StoredMessage| Unsent {
            message: m.id,
            fence: m.fence,
            to: State::Planned,
            ready: now,
            why: "put back unsent".to_owned(),
        };
        let season = self.desk().await?.season;
        Ok(self.store.put_back(season, &claimed.iter().map(back).collect::<Vec<_>>(), now).await?)
    }

    /// Holds on to what is claimed or under way; a fault is met again at the next write.
    async fn hold_on(&self, round: &mut Round) {
        let flying = round.flying.iter().map(|(message, (fence, ..))| (*message, *fence));
        let held: Vec<(i64, i64)> = flying.chain(round.queue.iter().map(|m| (m.id, m.fence))).collect();
        let lease_until = self.lease_until(self.now());
        if let Err(fault) = self.store.renew(&held, lease_until).await {
            tracing::warn!(%fault, channel = round.channel.word(), "claims could not be prolonged");
        }
    }

    /// Composes from today's facts and commits the attempts; what may not go is put back.
    async fn write_attempts(&self, claimed: &[StoredMessage]) -> Result<Vec<Going>, OfficeFault> {
        let now = self.now();
        let lease_until = self.lease_until(now);
        let mut desk = self.desk().await?;
        let old = self.old_facts(&desk, claimed).await?;
        let (mut going, mut staying) = (Vec::new(), Vec::new());
        for composed in self.compose_all(&desk, &old, claimed, now) {
            match composed {
                Ok(composed) => going.push(composed),
                Err(unsent) => staying.push(unsent),
            }
        }
        if !going.is_empty() {
            let attempts: Vec<_> = going.iter().map(|c| &c.attempt).collect();
            let allowed: HashSet<i64> = self
                .store
                .attempt(desk.season, desk.revision, &attempts, now, lease_until)
                .await?
                .into_iter()
                .collect();
            if !allowed.is_empty() {
                desk.pulse += 1;
            }
            // From here on these asks are under way: an answer that comes meanwhile must not plan them again.
            let board = Arc::clone(&desk.board);
            for composed in going.iter().filter(|c| allowed.contains(&c.attempt.message)) {
                for (ask, fingerprint) in &composed.asks {
                    note_state(&mut desk.record, &board, *ask, State::Attempting, *fingerprint, now);
                }
                if composed.attempt.channel == Channel::Text {
                    desk.record.texted.insert(composed.attempt.address.clone());
                }
            }
            going.retain(|c| {
                let goes = allowed.contains(&c.attempt.message);
                if !goes {
                    staying.push(Unsent {
                        message: c.attempt.message,
                        fence: c.attempt.fence,
                        to: State::Planned,
                        ready: now,
                        why: "the plan moved on".to_owned(),
                    });
                }
                goes
            });
        }
        if !staying.is_empty() {
            self.store.put_back(desk.season, &staying, now).await?;
        }
        let begun = going.iter().map(|c| Lost { key: c.attempt.reference.clone(), number: c.attempt.number });
        if let Err(why) = self.journal_begun(begun.collect()).await {
            return self.not_begun(desk, &going, &why).await;
        }
        let claimed: HashMap<i64, (Timestamp, i64)> =
            claimed.iter().map(|m| (m.id, (m.until, m.spared))).collect();
        let going = going.into_iter().map(|composed| {
            let (until, spared) = claimed.get(&composed.attempt.message).copied().unwrap_or((now, 0));
            Going { composed, until, spared }
        });
        Ok(going.collect())
    }

    /// Attempts that could not be written into the journal: nothing of them leaves, and they wait.
    async fn not_begun(
        &self,
        mut desk: tokio::sync::MappedMutexGuard<'_, Desk>,
        going: &[Composed],
        why: &str,
    ) -> Result<Vec<Going>, OfficeFault> {
        tracing::error!(why, "the journal beside the database cannot be written");
        let now = self.now();
        let ready = now.saturating_add(self.ways.rest).unwrap_or(now);
        let settled: Vec<Settled> = going
            .iter()
            .map(|composed| Settled {
                message: composed.attempt.message,
                fence: composed.attempt.fence,
                number: composed.attempt.number,
                to: State::WaitingToRetry,
                ready,
                bad_address: false,
                gateway: String::new(),
                gateway_id: String::new(),
                why: "the journal cannot be written".to_owned(),
                spared: true,
            })
            .collect();
        self.store.settle(desk.season, &settled, now).await?;
        desk.pulse = -1;
        Ok(Vec::new())
    }

    /// The facts told before, for messages that announce a change.
    pub(super) async fn old_facts(
        &self,
        desk: &Desk,
        messages: &[StoredMessage],
    ) -> Result<HashMap<Fingerprint, Facts>, OfficeFault> {
        let mut old = HashMap::new();
        for message in messages.iter().filter(|m| m.parts.iter().any(|p| p.notice == CHANGE)) {
            for part in &message.parts {
                let Some(item) = desk.board.item(&part.child, &part.event) else { continue };
                for guardian in message.guardians.iter().filter_map(|g| desk.board.guardian(g)) {
                    let Some(before) = told_before(&desk.board, &desk.record, guardian, item) else {
                        continue;
                    };
                    if let std::collections::hash_map::Entry::Vacant(slot) = old.entry(before)
                        && let Some(form) = self.store.facts(desk.season, before).await?
                    {
                        slot.insert(Facts::parse(&form));
                    }
                }
            }
        }
        Ok(old)
    }

    async fn hand_over(&self, channel: Channel, going: Going) -> Ended {
        let Handed { outcome, gateway, id } = self.gateway.send(&going.composed.parcel).await;
        let attempt = &going.composed.attempt;
        let mut settled = Settled {
            message: attempt.message,
            fence: attempt.fence,
            number: attempt.number,
            to: State::Accepted,
            ready: self.now(),
            bad_address: false,
            gateway,
            gateway_id: id,
            why: String::new(),
            spared: false,
        };
        self.judge(channel, &outcome, attempt.number - going.spared, going.until, &mut settled);
        Ended { settled, address: going.composed.attempt.address }
    }

    /// Records how attempts ended, and plans anew what hangs on them; gives back how many were accepted.
    async fn record(&self, channel: Channel, ended: &[Ended]) -> Result<usize, OfficeFault> {
        let accepted = ended.iter().filter(|one| one.settled.to == State::Accepted).count();
        if accepted > 0 {
            self.store.pass(CrashPoint::AfterEffect)?;
        }
        let now = self.now();
        let settled: Vec<Settled> = ended.iter().map(|one| one.settled.clone()).collect();
        let mut desk = self.desk().await?;
        self.store.settle(desk.season, &settled, now).await?;
        desk.pulse += 1;
        let untold = settled.iter().any(|s| !matches!(s.to, State::Accepted | State::Uncertain));
        if settled.iter().any(|s| s.to == State::Refused) {
            // What was noted as told was not, so the record is read again before anything is planned anew.
            desk.pulse = -1;
            drop(desk);
            desk = self.desk().await?;
        } else if untold {
            // What only waits is read again when the road has done its round, and not for each message.
            self.untold.store(true, Ordering::Relaxed);
        }
        let mut moved: HashSet<HouseholdId> = HashSet::new();
        for one in ended.iter().filter(|one| one.settled.to == State::Refused) {
            moved.extend(self.households_at(&desk, channel, &one.address));
        }
        let delta = self.difference_for(&desk, &moved, now).await?;
        if !delta.is_empty() {
            self.store.reconcile(desk.season, &delta, now).await?;
        }
        Ok(accepted)
    }

    /// The households of all guardians with an address.
    pub(super) fn households_at(&self, desk: &Desk, channel: Channel, address: &str) -> HashSet<HouseholdId> {
        let season = &desk.board.season;
        season
            .cares
            .iter()
            .filter(|care| {
                let contact = &season.guardians[care.guardian.at()].contact;
                let theirs = match channel {
                    Channel::Mail => contact.mail.as_ref().map(|m| m.0.as_str()),
                    Channel::Text => contact.phone.as_ref().map(|p| p.e164.as_str()),
                };
                theirs == Some(address)
            })
            .map(|care| care.household)
            .collect()
    }
}

impl Round {
    fn note(&mut self, one: Ended) {
        self.flying.remove(&one.settled.message);
        self.ended.push(one);
    }

    /// Awaits work while hand-overs go on. The work is never left half done, whatever ends meanwhile.
    async fn meanwhile<T, F: Future<Output = Ended>>(
        &mut self,
        under_way: &mut FuturesUnordered<F>,
        work: impl Future<Output = T>,
    ) -> T {
        let mut work = pin!(work);
        loop {
            tokio::select! {
                biased;
                out = &mut work => return out,
                Some(one) = under_way.next() => self.note(one),
            }
        }
    }

    /// What is still under way when the program has to end: nobody knows what becomes of it.
    fn give_up(&mut self) {
        for (message, (fence, number, address)) in self.flying.drain() {
            let settled = Settled {
                message,
                fence,
                number,
                to: State::Uncertain,
                ready: Timestamp::UNIX_EPOCH,
                bad_address: false,
                gateway: String::new(),
                gateway_id: String::new(),
                why: "the program ended while it was handed over".to_owned(),
                spared: false,
            };
            self.ended.push(Ended { settled, address });
        }
    }
}
