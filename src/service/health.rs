//! How a road fares: whether an outcome is the message's fault or the road's, when the road rests, and when it is tried again.

use super::office::{Office, Rest};
use super::ports::{Gateway, Outcome, Settled, Store};
use crate::domain::graph::State;
use crate::domain::retry;
use crate::domain::season::Channel;
use jiff::{SignedDuration, Timestamp};

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

/// How a channel has fared lately.
#[derive(Debug, Clone, Default)]
pub(super) struct Health {
    /// Rests in a row without a message taken: while it is not 0, one message at a time is tried.
    failures: u32,
    /// Refusals in a row that may be meant for us.
    suspects: u32,
    /// Outcomes in a row of which nobody knows whether they arrived.
    doubts: u32,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Until when a road is left alone; none if it may be used.
    pub(super) fn rests_until(&self, channel: Channel) -> Option<Timestamp> {
        let now = self.now();
        let until = self.rests.lock().ok().and_then(|rests| rests.get(&channel).and_then(|rest| rest.until));
        until.filter(|until| *until > now)
    }

    /// Whether a road was found out and is tried with one message: nothing of a batch is spent on finding out again.
    pub(super) fn probes(&self, channel: Channel) -> bool {
        self.health.lock().is_ok_and(|all| all.get(&channel).is_some_and(|one| one.failures > 0))
    }

    /// What becomes of an attempt by how it ended. `own` is the number of the message's attempts that count against it, this
    /// one included; `until` is when it becomes useless.
    pub(super) fn judge(
        &self,
        channel: Channel,
        outcome: &Outcome,
        own: i64,
        until: Timestamp,
        settled: &mut Settled,
    ) {
        let now = self.now();
        let Ok(mut healths) = self.health.lock() else { return };
        let health = healths.entry(channel).or_default();
        let again = |attempts: i64| {
            let attempt = u32::try_from(attempts).unwrap_or(u32::MAX);
            retry::next_try(now, attempt, until, self.fraction()).unwrap_or(until)
        };
        match outcome {
            Outcome::Accepted => {
                (health.failures, health.suspects, health.doubts) = (0, 0, 0);
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
                settled.spared = true;
                settled.to = State::WaitingToRetry;
                settled.why.clone_from(why);
                settled.ready = self.out(channel, health, None, why, now);
            }
            Outcome::Temporary { why, after_seconds: Some(seconds) } => {
                settled.spared = true;
                settled.to = State::WaitingToRetry;
                settled.why.clone_from(why);
                settled.ready = self.out(channel, health, Some(*seconds), why, now);
            }
        }
        drop(healths);
        // Nothing waits beyond its moment, so that what is due is also all that can have expired.
        settled.ready = settled.ready.min(until.max(now));
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
