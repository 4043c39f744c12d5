//! Sending is held when it is not sure what time it is, or what was sent before: until a witness or a person agrees, never by
//! time passing.

use super::drafting::told_with;
use super::office::{Office, OfficeFault, notice_key};
use super::ports::{Doubt, Gateway, Journal, Lost, SendingHold, Store, Witness};
use crate::domain::graph::State;
use crate::domain::plan::notice_word;
use crate::domain::season::GuardianId;
use jiff::{SignedDuration, Timestamp};
use std::collections::HashSet;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// From how much on our clock and another's count as different.
pub const CLOCKS_DIFFER: SignedDuration = SignedDuration::from_mins(2);
/// From how much on a host whose clock differs from the database server's claims nothing: several go by one database, and
/// each judges by its own clock whether another's claim has lapsed.
const ASTRAY: SignedDuration = SignedDuration::from_secs(5);
/// An answer that took longer says too little about the time.
const ASKED_WITHIN: SignedDuration = SignedDuration::from_secs(2);
/// What monitoring is told of a clock that is astray.
const CLOCK_TASK: &str = "the clock of this host differs from the database server's";
/// Messages in doubt that are looked through when a person says that some of them arrived.
const RECALLED_AT_ONCE: u32 = 100_000;
/// A wall clock that moved so much more than the machine's own has been set: nothing is sent until a witness or a person says
/// that it is right.
const CLOCK_JUMP: SignedDuration = SignedDuration::from_mins(3);
/// Attempts compared in one statement.
const COMPARED_AT_ONCE: usize = 2_000;

/// Both clocks of this host, as they were seen last.
#[derive(Default)]
pub(super) struct Jump {
    seen: Option<(Timestamp, Duration)>,
    /// Why sending has to be held, until it is.
    why: Option<String>,
}

impl Jump {
    fn look(&mut self, now: Timestamp, since_boot: Duration) {
        let Some((then, before)) = self.seen.replace((now, since_boot)) else { return };
        let passed = SignedDuration::try_from(since_boot.saturating_sub(before)).unwrap_or_default();
        let off = now.duration_since(then) - passed;
        if off.abs() > CLOCK_JUMP {
            let which = if off.is_positive() { "forward" } else { "back" };
            self.why =
                Some(format!("the clock of this host was set {} minutes {which}", off.abs().as_mins()));
        }
    }
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// The present instant, to judge by; none where our clock has not gone on as the machine's own has, and then sending is held.
    ///
    /// Both clocks are read together: an instant read before another task's would otherwise look like a step back.
    pub async fn sure_now(&self) -> Result<Option<Timestamp>, OfficeFault> {
        let (now, why) = match self.jump.lock() {
            Ok(mut jump) => {
                let now = self.now();
                if let Some(since_boot) = self.clock.since_boot() {
                    jump.look(now, since_boot);
                }
                (now, jump.why.clone())
            }
            Err(_) => (self.now(), None),
        };
        let Some(why) = why else { return Ok(Some(now)) };
        self.hold(Doubt::Clock, &why).await?;
        if let Ok(mut jump) = self.jump.lock() {
            jump.why = None;
        }
        Ok(None)
    }

    /// Why nothing is sent.
    pub async fn holds(&self) -> Result<Vec<SendingHold>, OfficeFault> {
        Ok(self.store.holds().await?)
    }

    /// Sends nothing until somebody agrees, and tells the coordinator by every road, though sending is held.
    pub async fn hold(&self, doubt: Doubt, why: &str) -> Result<(), OfficeFault> {
        let begun = self.store.hold(doubt, why, self.now()).await?;
        if doubt == Doubt::Clock {
            self.clock_held.store(true, Ordering::Relaxed);
        }
        if begun {
            tracing::warn!(doubt = doubt.word(), why, "sending is held");
            self.tell_directly(
                "Allheard holds all messages",
                &format!(
                    "Allheard: nothing is sent, because {why}. Please look at your page and decide there."
                ),
            )
            .await;
        }
        Ok(())
    }

    /// A person settles it: the clock is right as it is, or what was sent before is known well enough.
    pub async fn settle_doubt(&self, doubt: Doubt) -> Result<bool, OfficeFault> {
        if doubt == Doubt::Clock {
            self.overrule_who_differs();
        }
        let lifted = self.store.lift(doubt).await?;
        if doubt == Doubt::Clock {
            self.clock_held.store(false, Ordering::Relaxed);
        }
        if lifted {
            tracing::info!(doubt = doubt.word(), "sending goes on by a person's word");
        }
        Ok(lifted)
    }

    /// Whoever differs from our clock has been heard, and a person has said that ours is right.
    fn overrule_who_differs(&self) {
        let differing = self.witnesses().into_iter().filter(|witness| witness.ahead.abs() > ASTRAY);
        if let Ok(mut overruled) = self.overruled.lock() {
            overruled.extend(differing.map(|witness| witness.who));
        }
    }

    fn witnesses(&self) -> Vec<Witness> {
        self.witnesses.lock().map(|all| all.values().cloned().collect()).unwrap_or_default()
    }

    /// Notes what another clock said.
    pub fn note_witness(&self, witness: Witness) {
        if let Ok(mut all) = self.witnesses.lock() {
            all.insert(witness.who.clone(), witness);
        }
    }

    /// Holds our clock against the others that have been seen: one that differs holds sending, one that agrees since then
    /// ends that.
    pub async fn look_at_clocks(&self) -> Result<(), OfficeFault> {
        let asked = self.now();
        if let Some(theirs) = self.store.their_clock().await? {
            let now = self.now();
            let took = now.duration_since(asked);
            if !took.is_negative() && took < ASKED_WITHIN {
                let ours = asked.saturating_add(took / 2).unwrap_or(now);
                self.compare_to_server(Witness {
                    who: "the database server".to_owned(),
                    at: now,
                    ahead: ours.duration_since(theirs),
                })
                .await;
            }
        }
        self.gateway.witnesses().into_iter().for_each(|witness| self.note_witness(witness));
        let was_held = self.clock_held.load(Ordering::Relaxed);
        let held = self.store.holds().await?.into_iter().find(|hold| hold.doubt == Doubt::Clock);
        if was_held && held.is_none() {
            // Somebody has lifted it elsewhere, as by a command, whichever clock had raised it.
            self.overrule_who_differs();
            self.clock_held.store(false, Ordering::Relaxed);
        }
        let overruled = self.overruled.lock().map(|all| all.clone()).unwrap_or_default();
        let all: Vec<Witness> =
            self.witnesses().into_iter().filter(|witness| !overruled.contains(&witness.who)).collect();
        if let Some(other) = all.iter().find(|witness| witness.ahead.abs() > CLOCKS_DIFFER) {
            let (minutes, which) =
                (other.ahead.abs().as_mins(), if other.ahead.is_positive() { "ahead of" } else { "behind" });
            let why = format!("the clock of this host is {minutes} minutes {which} that of {}", other.who);
            return self.hold(Doubt::Clock, &why).await;
        }
        // One that spoke before says nothing about a clock that has been set since.
        if let Some(hold) = held
            && all.iter().any(|witness| witness.at > hold.since)
            && self.store.lift(Doubt::Clock).await?
        {
            self.clock_held.store(false, Ordering::Relaxed);
            tracing::info!("the clock agrees with another again: sending goes on");
        }
        Ok(())
    }

    /// Takes in what the database server's clock said: this host claims nothing while it is astray from it.
    async fn compare_to_server(&self, witness: Witness) {
        let overruled = self.overruled.lock().is_ok_and(|all| all.contains(&witness.who));
        let astray = witness.ahead.abs() > ASTRAY && !overruled;
        let seconds = witness.ahead.as_secs();
        self.note_witness(witness);
        self.note_round(CLOCK_TASK, astray);
        if self.astray.swap(astray, Ordering::Relaxed) == astray {
            return;
        }
        if astray {
            tracing::warn!(
                seconds,
                "this host's clock differs from the database server's: it claims nothing"
            );
            let words = format!(
                "Allheard: the clock of one host is {seconds} seconds off that of the database server, so it sends nothing. Set \
                 its clock right, and it goes on by itself."
            );
            self.tell_directly("Allheard: a host's clock is wrong", &words).await;
        } else {
            tracing::info!("this host's clock agrees with the database server's again");
        }
    }

    /// When a mail that was just fetched was taken in by the server that keeps it: nothing arrives before it is sent, so one
    /// of the future says that our clock is behind, and one of this moment that it is right. An older one may have lain
    /// there and says nothing.
    pub fn note_received(&self, at: Timestamp) {
        let now = self.now();
        let ahead = now.duration_since(at);
        if ahead < CLOCKS_DIFFER {
            self.note_witness(Witness { who: "the mail server of the answers".to_owned(), at: now, ahead });
        }
    }

    /// Holds what a journal knows against the store. Attempts that the store does not know were made after the copy it was
    /// put back from: their messages are in doubt, and everything is held until a person has looked.
    pub async fn compare_journal(&self, journal: &str, attempts: &[Lost]) -> Result<(), OfficeFault> {
        let mut lost = Vec::new();
        for some in attempts.chunks(COMPARED_AT_ONCE) {
            lost.extend(self.store.unknown_attempts(some).await?);
        }
        if !lost.is_empty() {
            let mut keys: Vec<String> = lost.into_iter().map(|one| one.key).collect();
            keys.sort_unstable();
            keys.dedup();
            self.store.doubt_lost(&keys, self.now()).await?;
            let many = keys.len();
            let why = format!(
                "the database is older than what was sent since: {many} messages were sent of which it knows nothing"
            );
            self.hold(Doubt::Restored, &why).await?;
        }
        self.store.register_journal(journal, self.now()).await?;
        Ok(())
    }

    /// A person says that messages arrived whose attempts a restored database does not know: what they told is taken to be
    /// what holds in it, so that any later fact is told as a change.
    pub(super) async fn tell_recalled(&self, messages: &[i64]) -> Result<(), OfficeFault> {
        let now = self.now();
        let desk = self.desk().await?;
        let (board, record) = (&*desk.board, &desk.record);
        let in_doubt = self.store.messages_to_see(desk.season, &[State::Uncertain], RECALLED_AT_ONCE).await?;
        let meant: HashSet<i64> = messages.iter().copied().collect();
        let recalled = in_doubt.iter().filter(|one| one.attempts == 0 && meant.contains(&one.id));
        let (mut told, mut forms) = (Vec::new(), Vec::new());
        for message in recalled {
            let guardians: Vec<GuardianId> =
                message.guardians.iter().filter_map(|guardian| board.guardian(guardian)).collect();
            let parts: Vec<_> = message
                .parts
                .iter()
                .filter_map(|part| {
                    let item = board.item(&part.child, &part.event)?;
                    Some((item, notice_key(board, &part.notice, part.fingerprint)?))
                })
                .collect();
            for (item, notice) in told_with(board, record, &guardians, &parts, now) {
                let (child, event) = board.item_refs(item);
                let fingerprint = board.fingerprint(item);
                let word = notice_word(board, notice).to_owned();
                told.push((message.id, child.to_owned(), event.to_owned(), word, fingerprint));
                forms.push((fingerprint, board.facts(item).form()));
            }
        }
        if !told.is_empty() {
            self.store.tell_recalled(desk.season, &told, &forms, now).await?;
        }
        Ok(())
    }

    /// Writes down in the journal what is about to leave.
    pub(super) async fn journal_begun(&self, attempts: Vec<Lost>) -> Result<(), String> {
        let Some(journal) = self.journal.get().cloned() else { return Ok(()) };
        let now = self.now();
        tokio::task::spawn_blocking(move || journal.begun(&attempts, now))
            .await
            .unwrap_or_else(|fault| Err(fault.to_string()))
    }

    /// From now on attempts are written down beside the store too.
    pub fn keep_journal(&self, journal: std::sync::Arc<dyn Journal>) {
        let _ = self.journal.set(journal);
    }

    /// Whether our clock says an instant before what was written down last.
    pub async fn look_back(&self) -> Result<(), OfficeFault> {
        let now = self.now();
        match self.store.newest_attempt().await? {
            Some(newest) if now.saturating_add(CLOCKS_DIFFER).unwrap_or(now) < newest => {
                self.hold(
                    Doubt::Clock,
                    "the clock of this host says a time before the last thing written down",
                )
                .await
            }
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_was_set_is_told_from_time_that_passed() {
        let at = |seconds: i64| Timestamp::UNIX_EPOCH + SignedDuration::from_secs(seconds);
        let mut jump = Jump::default();
        for (wall, machine) in [(0, 100), (30, 130), (36_030, 36_130), (36_120, 36_130)] {
            jump.look(at(wall), Duration::from_secs(machine));
            assert_eq!(jump.why, None, "a pause, a sleep, and a minute and a half are none");
        }
        jump.look(at(43_400), Duration::from_secs(36_140));
        assert!(jump.why.as_deref().unwrap_or("").contains("set 121 minutes forward"), "{:?}", jump.why);
    }
}
