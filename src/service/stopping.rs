//! Stopping messages to an address by the link that came with one, and having them back; who hears of it.

use super::absence::blank_reply;
use super::answering::{Opened, STOPS};
use super::office::{Desk, Office, OfficeFault};
use super::ports::{Delta, Gateway, NewReply, Store};
use super::reply::{Reply, ReplyKind};
use crate::domain::season::Channel;
use jiff::{SignedDuration, Timestamp};

/// Word of it by mail is of use for so long.
const WORD_LIVES: SignedDuration = SignedDuration::from_hours(24);
/// By text it is a direct answer, which quiet hours do not bind.
const TEXT_LIVES: SignedDuration = SignedDuration::from_mins(5);

impl<S: Store, G: Gateway> Office<S, G> {
    /// Stops or starts messages to the address a guardian's link was sent to, for every child.
    pub async fn set_stopped_by_link(&self, token: &str, stopped: bool) -> Result<bool, OfficeFault> {
        let now = self.now();
        let mut desk = self.desk().await?;
        let Some(opened) = self.opened_as(&desk, token, &STOPS).await? else { return Ok(false) };
        let (channel, address) = (opened.channel, opened.link.address.clone());
        if desk.record.stopped.contains(channel, &address) == stopped {
            return Ok(true);
        }
        if stopped {
            desk.record.stopped.insert(channel, &address);
        } else {
            desk.record.stopped.remove(channel, &address);
        }
        let households = self.households_at(&desk, channel, &address);
        // Until the store has agreed, what is in memory is ahead of it.
        let pulse = std::mem::replace(&mut desk.pulse, -1);
        let delta: Delta = self.difference_for(&desk, &households, now).await?;
        let guardians: Vec<String> =
            opened.guardians.iter().map(|g| desk.board.season.guardians[g.at()].reference.clone()).collect();
        self.store.set_stopped(desk.season, channel, &address, &guardians, stopped, &delta, now).await?;
        desk.pulse = pulse + 1;
        let season = desk.season;
        let told = self.stop_letters(&desk, &opened, stopped, token, now);
        drop(desk);
        for (letter, guardians) in told {
            self.store.put_reply(season, &letter, &guardians, now).await?;
        }
        Ok(true)
    }

    /// Word of a stop, or of its end: to the address itself, with a way back, and to the coordinator.
    fn stop_letters(
        &self,
        desk: &Desk,
        opened: &Opened,
        stopped: bool,
        token: &str,
        now: Timestamp,
    ) -> Vec<(NewReply, Vec<String>)> {
        let board = &*desk.board;
        let season = &board.season;
        let letter = |channel: Channel, address: &str, subject: &str, words: String| {
            let lives = if channel == Channel::Mail { WORD_LIVES } else { TEXT_LIVES };
            NewReply {
                channel,
                address: address.to_owned(),
                subject: if channel == Channel::Mail { subject.to_owned() } else { String::new() },
                words,
                in_reply_to: String::new(),
                ready: now,
                until: now.saturating_add(lives).unwrap_or(now),
                reference: String::new(),
                by_person: false,
            }
        };
        let mut out = Vec::new();
        let own = opened.guardians.first().map(|g| &season.guardians[g.at()]);
        let language = own.map_or(&season.language, |guardian| &guardian.contact.language);
        let reply = Reply {
            back: format!("{}/stop/{token}", self.ways.base_url),
            ..blank_reply(board, language, Vec::new())
        };
        let kind = if stopped { ReplyKind::StopNoted } else { ReplyKind::StartNoted };
        match self.wording.reply(kind, &reply) {
            Ok(words) => {
                let theirs =
                    opened.guardians.iter().map(|g| season.guardians[g.at()].reference.clone()).collect();
                out.push((letter(opened.channel, &opened.link.address, &season.school, words), theirs));
            }
            Err(fault) => tracing::error!(%fault, "word of a stop could not be put into words"),
        }
        if let (Some((channel, address)), Some(guardian)) = (self.ways.coordinator.first(), own) {
            let (subject, what) = if stopped {
                ("A family stopped messages", "stopped messages to one of their addresses")
            } else {
                ("A family has messages again", "has messages to their address again")
            };
            let words = format!("Allheard: {} {what}. See your page.", guardian.name);
            out.push((letter(*channel, address, subject, words), Vec::new()));
        }
        out
    }
}
