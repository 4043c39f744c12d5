//! One sending tick: claim and commit, write the attempt and commit, talk with nothing open, record. While one batch is
//! talked about with a gateway the next is claimed and written.

use super::composing::Composed;
use super::drafting::told_before;
use super::office::{Allowance, Desk, Health, Office, OfficeFault, Rest, note_state};
use super::ports::{
    CrashPoint, Gateway, Handed, Outcome, Settled, Store, StoredMessage, TendRules, Tended, Unsent,
};
use crate::domain::facts::{Facts, Fingerprint};
use crate::domain::graph::State;
use crate::domain::plan::CHANGE;
use crate::domain::retry;
use crate::domain::season::{Channel, HouseholdId};
use futures_util::StreamExt as _;
use jiff::{SignedDuration, Timestamp};
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

/// Batches of one channel in one tick, at most, so that a tick ends.
const BATCHES_PER_TICK: usize = 1_000;

/// Refusals in a row that may be meant for us, after which the channel counts as out (our own choice).
const SUSPECTS_MAX: u32 = 3;
/// Attempts after which such a refusal is believed, while other messages are taken (our own choice).
const SUSPECT_TRIES: i64 = 3;
/// Doubtful answers in a row, after which the channel rests (our own choice).
const DOUBTS_MAX: u32 = 5;
/// The longest rest between two probes of a channel that is out (our own choice).
const REST_MAX: SignedDuration = SignedDuration::from_mins(10);
/// How often a rest doubles.
const REST_DOUBLINGS: u32 = 6;
/// The part of a rest that is left to chance.
const REST_JITTER: f64 = 0.25;

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

/// Messages ready to be handed over.
struct Batch {
    claimed: Vec<StoredMessage>,
    composed: Vec<Composed>,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Frees what was left behind, expires what is useless, settles what rules settle.
    pub async fn tend_tick(&self) -> Result<Tended, OfficeFault> {
        let season = self.desk().await?.season;
        let rules = TendRules {
            claims_max: self.ways.claims_max,
            uncertain_wait_ms: i64::try_from(self.ways.uncertain_wait.as_millis()).unwrap_or(i64::MAX),
            text_known_again: self.gateway.knows_again(Channel::Text),
        };
        Ok(self.store.tend(season, self.now(), rules).await?)
    }

    /// Sends what is due, as far as rates allow.
    pub async fn send_tick(&self) -> Result<Sent, OfficeFault> {
        let mut sent = Sent::default();
        self.send_replies(&mut sent).await?;
        for channel in [Channel::Text, Channel::Mail] {
            let mut batch = self.prepare(channel, &mut sent).await?;
            for _ in 0..BATCHES_PER_TICK {
                let Some(Batch { claimed, composed }) = batch else { break };
                let (outcomes, next) =
                    tokio::join!(self.hand_over(channel, composed), self.prepare(channel, &mut sent));
                let accepted = outcomes.iter().filter(|(_, h)| h.outcome == Outcome::Accepted).count();
                if accepted > 0 {
                    self.store.pass(CrashPoint::AfterEffect)?;
                }
                self.record(channel, outcomes, &claimed).await?;
                sent.accepted += accepted;
                // What was prepared meanwhile is looked at only now: what became of this batch must not be lost to it.
                batch = next?;
            }
        }
        if self.raise_alarm().await? {
            self.send_replies(&mut sent).await?;
        }
        Ok(sent)
    }

    /// How many messages a channel may be given now, or when it may be given the next.
    fn room(&self, channel: Channel) -> Result<u32, Timestamp> {
        let now = self.now();
        if let Some(until) = self.rests.lock().ok().and_then(|r| r.get(&channel).and_then(|r| r.until))
            && until > now
        {
            return Err(until);
        }
        // A channel that was found out is tried with one message: nothing of a batch is spent on finding out again.
        let probes =
            self.health.lock().is_ok_and(|all| all.get(&channel).is_some_and(|one| one.failures > 0));
        let rate = self.gateway.per_second(channel).max(0.001);
        let burst = rate.max(1.0);
        let Ok(mut allowances) = self.allowances.lock() else { return Ok(1) };
        let allowance = allowances.entry(channel).or_insert(Allowance { tokens: burst, at: now });
        let passed = now.duration_since(allowance.at).as_secs_f64().max(0.0);
        *allowance = Allowance { tokens: (allowance.tokens + passed * rate).min(burst), at: now };
        if allowance.tokens < 1.0 {
            // Waiting for a whole burst keeps the number of transactions down without slowing the rate.
            let wait = SignedDuration::from_secs_f64(((burst - allowance.tokens) / rate).max(0.001));
            return Err(now.saturating_add(wait).unwrap_or(now));
        }
        Ok((allowance.tokens as u32).min(if probes { 1 } else { self.ways.batch }))
    }

    pub(super) fn spend(&self, channel: Channel, messages: usize) {
        if let Ok(mut allowances) = self.allowances.lock()
            && let Some(allowance) = allowances.get_mut(&channel)
        {
            allowance.tokens -= messages as f64;
        }
    }

    /// The next batch, claimed and written down as attempts; none if nothing is due or the rate does not allow it yet.
    async fn prepare(&self, channel: Channel, sent: &mut Sent) -> Result<Option<Batch>, OfficeFault> {
        let most = match self.room(channel) {
            Ok(most) => most,
            Err(at) => {
                sent.again_at = Some(sent.again_at.map_or(at, |other: Timestamp| other.min(at)));
                return Ok(None);
            }
        };
        let now = self.now();
        let lease_until = now.saturating_add(self.ways.lease).unwrap_or(now);
        let season = self.desk().await?.season;
        let claimed = self.store.claim(season, channel, most, now, lease_until).await?;
        sent.claimed += claimed.len();
        if claimed.is_empty() {
            return Ok(None);
        }
        let composed = self.write_attempts(&claimed, now, lease_until).await?;
        sent.attempted += composed.len();
        self.spend(channel, composed.len());
        Ok(Some(Batch { claimed, composed }))
    }

    /// Composes from today's facts and commits the attempts; what may not go is put back.
    async fn write_attempts(
        &self,
        claimed: &[StoredMessage],
        now: Timestamp,
        lease_until: Timestamp,
    ) -> Result<Vec<Composed>, OfficeFault> {
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
        Ok(going)
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

    async fn hand_over(&self, channel: Channel, composed: Vec<Composed>) -> Vec<(Composed, Handed)> {
        let sessions = self.gateway.sessions(channel).max(1);
        futures_util::stream::iter(composed)
            .map(|composed| async move {
                let handed = self.gateway.send(&composed.parcel).await;
                (composed, handed)
            })
            .buffered(sessions)
            .collect()
            .await
    }

    async fn record(
        &self,
        channel: Channel,
        outcomes: Vec<(Composed, Handed)>,
        claimed: &[StoredMessage],
    ) -> Result<(), OfficeFault> {
        if outcomes.is_empty() {
            return Ok(());
        }
        let now = self.now();
        let until: HashMap<i64, Timestamp> = claimed.iter().map(|m| (m.id, m.until)).collect();
        let settled: Vec<Settled> = outcomes
            .iter()
            .map(|(composed, handed)| {
                let until = until.get(&composed.attempt.message).copied().unwrap_or(now);
                self.settled(channel, composed, handed, until, now)
            })
            .collect();
        let mut desk = self.desk().await?;
        self.store.settle(desk.season, &settled, now).await?;
        desk.pulse += 1;
        if settled.iter().any(|s| !matches!(s.to, State::Accepted | State::Uncertain)) {
            // What was noted as told was not, so the record is read again.
            desk.pulse = -1;
            drop(desk);
            desk = self.desk().await?;
        }
        let mut moved: HashSet<HouseholdId> = HashSet::new();
        for ((composed, _), settled) in outcomes.iter().zip(&settled) {
            if settled.to == State::Refused {
                moved.extend(self.households_at(&desk, channel, &composed.attempt.address));
            }
        }
        let delta = self.difference_for(&desk, &moved, now).await?;
        if !delta.is_empty() {
            self.store.reconcile(desk.season, &delta, now).await?;
        }
        Ok(())
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

    fn settled(
        &self,
        channel: Channel,
        composed: &Composed,
        handed: &Handed,
        until: Timestamp,
        now: Timestamp,
    ) -> Settled {
        let number = composed.attempt.number;
        let mut settled = Settled {
            message: composed.attempt.message,
            fence: composed.attempt.fence,
            number,
            to: State::Accepted,
            ready: now,
            bad_address: false,
            gateway: handed.gateway.clone(),
            gateway_id: handed.id.clone(),
            why: String::new(),
        };
        let Ok(mut healths) = self.health.lock() else { return settled };
        let health = healths.entry(channel).or_default();
        let message = composed.attempt.message;
        let own = number - i64::from(health.spared.get(&message).copied().unwrap_or(0));
        let again = |attempts: i64| {
            let attempt = u32::try_from(attempts).unwrap_or(u32::MAX);
            retry::next_try(now, attempt, until, self.fraction()).unwrap_or(until)
        };
        match &handed.outcome {
            Outcome::Accepted => {
                (health.failures, health.suspects, health.doubts) = (0, 0, 0);
                health.spared.remove(&message);
                self.clear_rest(channel);
            }
            Outcome::Temporary { why, after_seconds: None } if own >= self.ways.attempts_max => {
                settled.to = State::Refused;
                settled.why = format!("given up after {own} attempts: {why}");
            }
            Outcome::Temporary { why, after_seconds: None } => {
                // Not this one now: the channel itself answers.
                health.failures = 0;
                self.clear_rest(channel);
                settled.to = State::WaitingToRetry;
                settled.why.clone_from(why);
                settled.ready = again(own);
            }
            Outcome::Refused { why, address } => {
                health.failures = 0;
                health.spared.remove(&message);
                self.clear_rest(channel);
                settled.to = State::Refused;
                settled.why.clone_from(why);
                settled.bad_address = *address;
            }
            Outcome::Suspect { why } if health.suspects + 1 < SUSPECTS_MAX => {
                health.suspects += 1;
                settled.why.clone_from(why);
                // Others were taken meanwhile, for a run is counted anew by each of them: so it is this one.
                settled.to = if own >= SUSPECT_TRIES { State::Refused } else { State::WaitingToRetry };
                settled.ready = again(own);
            }
            Outcome::Uncertain { why } => {
                health.doubts += 1;
                settled.to = State::Uncertain;
                settled.why.clone_from(why);
                if health.doubts >= DOUBTS_MAX {
                    let words = format!("{} doubtful answers in a row: {why}", health.doubts);
                    self.out(channel, health, None, &words, now);
                }
            }
            // A channel that is out, or asks to wait, says nothing against the message, however often it does.
            Outcome::Suspect { why } | Outcome::Unusable { why } => {
                *health.spared.entry(message).or_default() += 1;
                settled.to = State::WaitingToRetry;
                settled.why.clone_from(why);
                settled.ready = self.out(channel, health, None, why, now);
            }
            Outcome::Temporary { why, after_seconds: Some(seconds) } => {
                *health.spared.entry(message).or_default() += 1;
                settled.to = State::WaitingToRetry;
                settled.why.clone_from(why);
                settled.ready = self.out(channel, health, Some(*seconds), why, now);
            }
        }
        drop(healths);
        // Nothing waits beyond its moment, so that what is due is also all that can have expired.
        settled.ready = settled.ready.min(until.max(now));
        settled
    }

    /// Lets a channel rest, longer each time it is found out again; gives back until when. `asked` is how many seconds the
    /// gateway asked for.
    fn out(
        &self,
        channel: Channel,
        health: &mut Health,
        asked: Option<u32>,
        why: &str,
        now: Timestamp,
    ) -> Timestamp {
        let Ok(mut rests) = self.rests.lock() else { return now };
        if let Some(until) = rests.get(&channel).and_then(|rest| rest.until).filter(|until| *until > now) {
            // The rest of the batch finds out what the first one did.
            return until;
        }
        health.failures = health.failures.saturating_add(1);
        let longer = 1_i32 << (health.failures - 1).min(REST_DOUBLINGS);
        let rest = (self.ways.rest * longer).min(REST_MAX);
        // Not all at the same second, where several schools share a server that has come back.
        let rest = SignedDuration::from_secs_f64(rest.as_secs_f64() * (1.0 - REST_JITTER * self.fraction()));
        let least = SignedDuration::from_secs(i64::from(asked.unwrap_or(0)));
        let rest = if asked.is_some() { least } else { rest };
        let until = now.saturating_add(rest).unwrap_or(now);
        rests.insert(channel, Rest { until: Some(until), why: why.to_owned() });
        tracing::warn!(channel = channel.word(), why, failures = health.failures, "channel out");
        until
    }

    fn clear_rest(&self, channel: Channel) {
        if let Ok(mut rests) = self.rests.lock() {
            rests.remove(&channel);
        }
    }

    /// A fraction from 0 up to 1.
    pub(super) fn fraction(&self) -> f64 {
        let bytes = self.random::<4>();
        f64::from(u32::from_le_bytes(bytes)) / (f64::from(u32::MAX) + 1.0)
    }
}
