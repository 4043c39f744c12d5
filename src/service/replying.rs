//! Sending replies, and word to the coordinator when a gateway cannot be used.

use super::office::{Office, OfficeFault};
use super::ports::{
    ClaimedReply, Content, Gateway, MailContent, NewReply, Outcome, Parcel, SettledReply, Store,
};
use super::sending::{RENEW_SECONDS, Sent};
use crate::domain::graph::State;
use crate::domain::retry;
use crate::domain::season::Channel;
use jiff::{SignedDuration, Timestamp};
use std::pin::pin;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Replies taken at once.
const REPLIES_AT_ONCE: u32 = 50;
/// The same trouble is told to the coordinator again after so long.
const TOLD_AGAIN_AFTER: SignedDuration = SignedDuration::from_hours(6);
/// That nothing can be written is told again after so long.
const STORE_TOLD_AGAIN_AFTER: SignedDuration = SignedDuration::from_hours(1);
/// Word of a trouble that has not left by then is not sent.
const ALARM_LIVES: SignedDuration = SignedDuration::from_hours(6);

impl<S: Store, G: Gateway> Office<S, G> {
    /// Sends replies of a channel that are due, as many at once as it has sessions. Each was written down as under way when it
    /// was claimed; one that is found so after a crash is never sent again.
    pub async fn send_replies(&self, channel: Channel) -> Result<Sent, OfficeFault> {
        let mut sent = Sent::default();
        let sessions = u32::try_from(self.gateway.sessions(channel)).unwrap_or(1).clamp(1, REPLIES_AT_ONCE);
        let per_second = self.gateway.per_second(channel);
        let season = self.desk().await?.season;
        while !self.ending.is_cancelled() && !self.astray.load(Ordering::Relaxed) {
            let Some(now) = self.sure_now().await? else { break };
            let lease = self.lease_until(now);
            let claimed = self.store.claim_replies(season, channel, sessions, per_second, now, lease).await?;
            if claimed.is_empty() {
                break;
            }
            let hand = |reply: ClaimedReply| async move {
                let outcome = self.gateway.send(&self.parcel_of(&reply)).await.outcome;
                (outcome == Outcome::Accepted, self.settled_reply(&reply, outcome))
            };
            let held: Vec<(i64, i64)> = claimed.iter().map(|reply| (reply.id, reply.number)).collect();
            let mut all = pin!(futures_util::future::join_all(claimed.into_iter().map(hand)));
            // One that takes long is held on to; what nobody holds on to is in doubt within 90 seconds.
            let ended = loop {
                tokio::select! {
                    ended = &mut all => break ended,
                    () = tokio::time::sleep(Duration::from_secs(RENEW_SECONDS)) => {
                        if let Err(fault) = self.store.renew_replies(&held, self.lease_until(self.now())).await {
                            tracing::warn!(%fault, channel = channel.word(), "replies could not be held on to");
                        }
                    }
                }
            };
            sent.attempted += ended.len();
            sent.accepted += ended.iter().filter(|(accepted, _)| *accepted).count();
            let settled: Vec<SettledReply> = ended.into_iter().map(|(_, settled)| settled).collect();
            self.store.settle_replies(&settled).await?;
        }
        Ok(sent)
    }

    fn parcel_of(&self, reply: &ClaimedReply) -> Parcel {
        let content = match reply.channel {
            Channel::Text => Content::Text(reply.words.clone()),
            Channel::Mail => Content::Mail(Box::new(MailContent {
                subject: reply.subject.clone(),
                text: reply.words.clone(),
                html: String::new(),
                calendar: String::new(),
                stop_link: String::new(),
                in_reply_to: reply.in_reply_to.clone(),
                reply_token: String::new(),
                language: String::new(),
            })),
        };
        Parcel {
            message: 0,
            to: reply.address.clone(),
            reference: if reply.reference.is_empty() {
                format!("reply{}", reply.id)
            } else {
                reply.reference.clone()
            },
            at: self.now(),
            content,
        }
    }

    fn settled_reply(&self, reply: &ClaimedReply, outcome: Outcome) -> SettledReply {
        let now = self.now();
        let (to, ready, why) = match outcome {
            Outcome::Accepted => (State::Accepted, now, String::new()),
            Outcome::Refused { why, .. } => (State::Refused, now, why),
            Outcome::Uncertain { why } => (State::Uncertain, now, why),
            Outcome::Temporary { why, .. } | Outcome::Suspect { why } | Outcome::Unusable { why } => {
                let attempt = u32::try_from(reply.number).unwrap_or(u32::MAX);
                match retry::next_try(now, attempt, reply.until, self.fraction()) {
                    Some(ready) => (State::WaitingToRetry, ready, why),
                    None => (State::Refused, now, why),
                }
            }
        };
        SettledReply { id: reply.id, number: reply.number, to, ready, why }
    }

    /// Tells the coordinator, by the other channel, of gateways that cannot be used; the same trouble once in a while.
    pub async fn raise_alarm(&self) -> Result<bool, OfficeFault> {
        let now = self.now();
        let mut troubles: Vec<(Channel, String)> =
            self.resting().into_iter().map(|(channel, rest)| (channel, rest.why)).collect();
        troubles.extend(self.gateway.troubles(now));
        let mut told = false;
        for (channel, why) in troubles {
            if !self.is_news(channel, now) {
                continue;
            }
            let other = match channel {
                Channel::Text => Channel::Mail,
                Channel::Mail => Channel::Text,
            };
            let Some((_, address)) = self.ways.coordinator.iter().find(|(by, _)| *by == other) else {
                continue;
            };
            let (what, still) = match channel {
                Channel::Text => ("Texts", "mail"),
                Channel::Mail => ("Mail", "texts"),
            };
            let reply = NewReply {
                channel: other,
                address: address.clone(),
                subject: format!("{what} cannot leave"),
                words: format!(
                    "Allheard: {what} cannot leave ({why}). What is due waits; {still} still leave. See your page."
                ),
                in_reply_to: String::new(),
                ready: now,
                until: now.saturating_add(ALARM_LIVES).unwrap_or(now),
                reference: String::new(),
                by_person: false,
            };
            let season = self.desk().await?.season;
            self.store.put_reply(season, &reply, &[], now).await?;
            told = true;
        }
        Ok(told)
    }

    /// Tells the coordinator by every channel there is that nothing can be written down, and so nothing is sent: at most once
    /// an hour by each.
    pub async fn raise_store_alarm(&self, why: &str) -> usize {
        let now = self.now();
        let fresh = self.told_of_store.lock().is_ok_and(|mut told| {
            let fresh = told.is_none_or(|at| now.duration_since(at) >= STORE_TOLD_AGAIN_AFTER);
            if fresh {
                *told = Some(now);
            }
            fresh
        });
        if !fresh {
            return 0;
        }
        self.tell_directly(
            "Allheard cannot write: nothing is sent",
            &format!(
                "Allheard: the database takes no write ({why}). No message leaves and no answer is noted until it does. \
                 Look at the disk of the host."
            ),
        )
        .await
    }

    /// Tells the coordinator by every channel there is, straight through the gateways, where nothing can be put down first or
    /// everything else is held; gives back how many took it.
    pub(super) async fn tell_directly(&self, subject: &str, words: &str) -> usize {
        let now = self.now();
        let mut told = 0;
        for (channel, address) in &self.ways.coordinator {
            let reply = ClaimedReply {
                id: 0,
                channel: *channel,
                address: address.clone(),
                subject: subject.to_owned(),
                words: words.to_owned(),
                in_reply_to: String::new(),
                until: now.saturating_add(ALARM_LIVES).unwrap_or(now),
                number: 1,
                reference: format!("alarm-{}", now.as_millisecond()),
            };
            let outcome = self.gateway.send(&self.parcel_of(&reply)).await.outcome;
            told += usize::from(outcome == Outcome::Accepted);
        }
        told
    }

    /// Whether a trouble of a channel has not been told lately; notes that it is told now.
    fn is_news(&self, channel: Channel, now: Timestamp) -> bool {
        let Ok(mut told) = self.alarms.lock() else { return false };
        let fresh = told.get(&channel).is_none_or(|at| now.duration_since(*at) >= TOLD_AGAIN_AFTER);
        if fresh {
            told.insert(channel, now);
        }
        fresh
    }
}
