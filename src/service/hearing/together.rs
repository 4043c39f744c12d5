//! What arrives at the same time is taken in together: one commit for all of it.

use super::{Became, Incoming, owners};
use crate::domain::phone;
use crate::domain::season::{Channel, HouseholdId};
use crate::service::office::{Desk, Office, OfficeFault};
use crate::service::ports::{Gateway, Store, StoreFault};
use std::collections::HashSet;
use tokio::sync::oneshot;

/// Something that arrived, and where whoever brought it waits to hear what became of it.
pub(in crate::service) type Waiting = (Incoming, oneshot::Sender<Result<Became, OfficeFault>>);

/// What arrives together is taken in together, at most so many in one commit.
const HEARD_AT_ONCE: usize = 64;

/// Nobody has said what became of it.
fn lost() -> OfficeFault {
    OfficeFault::Store(StoreFault::Database("what came in was not taken in".to_owned()))
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Takes in what arrived by text or mail. What arrives at the same time is taken in together, in one commit: whoever gets
    /// to the desk first does it for all who wait, and each is told when it is durable.
    pub async fn hear(&self, incoming: &Incoming) -> Result<Became, OfficeFault> {
        let (tell, mut told) = oneshot::channel();
        if let Ok(mut waiting) = self.waiting.lock() {
            waiting.push_back((incoming.clone(), tell));
        }
        loop {
            if let Ok(done) = told.try_recv() {
                return done;
            }
            let mut desk = self.desk().await?;
            if let Ok(done) = told.try_recv() {
                return done;
            }
            let group = self.gathered(&desk);
            if group.is_empty() {
                // Somebody else has taken it up; they answer.
                drop(desk);
                return told.await.unwrap_or_else(|_| Err(lost()));
            }
            self.hear_group(&mut desk, group).await;
        }
    }

    /// What waits, as far as no two of it concern the same people: what one of them does the other has to see.
    fn gathered(&self, desk: &Desk) -> Vec<Waiting> {
        let Ok(mut waiting) = self.waiting.lock() else { return Vec::new() };
        let mut group: Vec<Waiting> = Vec::new();
        let mut concerned: HashSet<(Channel, String)> = HashSet::new();
        let mut households: HashSet<HouseholdId> = HashSet::new();
        while group.len() < HEARD_AT_ONCE
            && let Some((mut incoming, tell)) = waiting.pop_front()
        {
            if tell.is_closed() {
                continue;
            }
            if incoming.channel == Channel::Text {
                // Gateways write numbers in forms of their own; what is no number, such as a short code, stays as it is.
                if let Ok(phone) = phone::parse(&incoming.from, &desk.board.season.country) {
                    incoming.from = phone.e164;
                }
            }
            let mut theirs = self.households_at(desk, incoming.channel, &incoming.from);
            let owners = owners(&desk.board, incoming.channel, &incoming.from);
            theirs.extend(
                desk.board.season.cares.iter().filter(|c| owners.contains(&c.guardian)).map(|c| c.household),
            );
            // With a link of ours the sender is whoever had it, which only the store knows.
            let alone = incoming.token.is_some() || incoming.about.is_some();
            let address = (incoming.channel, incoming.from.clone());
            let meets = concerned.contains(&address) || !households.is_disjoint(&theirs);
            if !group.is_empty() && (meets || alone) {
                waiting.push_front((incoming, tell));
                break;
            }
            concerned.insert(address);
            households.extend(theirs);
            group.push((incoming, tell));
            if alone {
                break;
            }
        }
        group
    }

    /// Takes in a group in one commit, and tells each what became of it. Where that fails, each is tried by itself, so that
    /// one that cannot be taken in does not keep the others out.
    async fn hear_group(&self, desk: &mut Desk, group: Vec<Waiting>) {
        let now = self.now();
        // Until the store has agreed, what is in memory is ahead of it and must be read again after a fault.
        let pulse = std::mem::replace(&mut desk.pulse, -1);
        let mut prepared = Vec::with_capacity(group.len());
        let mut fault = None;
        for (incoming, _) in &group {
            match self.prepared(desk, incoming, now).await {
                Ok(one) => prepared.push(one),
                Err(why) => {
                    fault = Some(why);
                    break;
                }
            }
        }
        let taken = match fault {
            Some(fault) => Err(fault),
            None => {
                let rows: Vec<_> = prepared.iter().map(|(_, new, effects)| (new, effects)).collect();
                self.store.take_in(desk.season, &rows, now).await.map_err(OfficeFault::from)
            }
        };
        match taken {
            Ok(taken) => {
                let changing = prepared.iter().zip(&taken).filter(|((_, _, effects), taken)| {
                    **taken && (effects.stop.is_some() || !effects.answers.is_empty())
                });
                // What was known already was noted in memory a second time.
                if taken.iter().all(|taken| *taken) {
                    desk.pulse = pulse + i64::from(changing.count() > 0);
                }
                for (((became, ..), taken), (_, tell)) in prepared.iter().zip(taken).zip(group) {
                    let _ = tell.send(Ok(if taken { *became } else { Became::Known }));
                }
            }
            Err(fault) if group.len() == 1 => {
                for (_, tell) in group {
                    let _ = tell.send(Err(match &fault {
                        OfficeFault::Store(fault) => {
                            OfficeFault::Store(StoreFault::Database(fault.to_string()))
                        }
                        OfficeFault::NoSeason => OfficeFault::NoSeason,
                        OfficeFault::Workbook(problems) => OfficeFault::Workbook(problems.clone()),
                    }));
                }
            }
            Err(fault) => {
                tracing::warn!(%fault, together = group.len(), "what came together is tried one by one");
                for one in group {
                    // The memory is read afresh: what the group noted there was not taken in.
                    if let Err(fault) = self.refresh(desk).await {
                        let _ = one.1.send(Err(fault));
                        continue;
                    }
                    Box::pin(self.hear_group(desk, vec![one])).await;
                }
            }
        }
    }
}
