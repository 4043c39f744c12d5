//! Links that belong to no message: a chaperone's list and the coordinator's pages; and what a token opens.

use super::composing::token_hash;
use super::office::{Office, OfficeFault};
use super::ports::{Gateway, LinkKind, NewLink, OpenLink, Store, StoredLink};
use crate::domain::board::Board;
use jiff::{SignedDuration, Timestamp};
use std::sync::Arc;

/// How long the coordinator's link lives after the season's last event; afterwards a new one can be made.
pub const COORDINATOR_OUTLIVES: SignedDuration = SignedDuration::from_hours(24 * 30);

/// What was found behind a token.
#[derive(Debug)]
pub enum Found {
    /// A link in force.
    Open(StoredLink),
    /// A link that has died.
    Dead(StoredLink),
    /// Nothing.
    Nothing,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// What a token opens, or opened once. Before the first season it opens nothing.
    pub async fn find_link(&self, token: &str) -> Result<Found, OfficeFault> {
        let (season, board) = match self.desk().await {
            Ok(desk) => (desk.season, Arc::clone(&desk.board)),
            Err(OfficeFault::NoSeason) => return Ok(Found::Nothing),
            Err(fault) => return Err(fault),
        };
        let link = self.store.link(season, &token_hash(token)).await?;
        // Families are shown to a chaperone for her duties; when somebody else has them, hers is the past.
        let relieved = link.as_ref().is_some_and(|link| {
            link.kind == LinkKind::Chaperone.word() && !has_duties(&board, &link.chaperone)
        });
        Ok(match link {
            Some(link) if link.expires > self.now() && !relieved => Found::Open(link),
            Some(link) => Found::Dead(link),
            None => Found::Nothing,
        })
    }

    /// A new link to a chaperone's list, as its token; none if there is no such chaperone. It dies with the season.
    pub async fn chaperone_link(&self, chaperone: &str) -> Result<Option<String>, OfficeFault> {
        let desk = self.desk().await?;
        if !desk.board.season.chaperones.iter().any(|c| c.reference == chaperone) {
            return Ok(None);
        }
        let expires = self.season_links_end(&desk.board);
        let season = desk.season;
        drop(desk);
        self.new_link(season, LinkKind::Chaperone, (chaperone, ""), expires).await.map(Some)
    }

    /// A new link to the coordinator's pages, as its token.
    pub async fn coordinator_link(&self) -> Result<String, OfficeFault> {
        let desk = self.desk().await?;
        let from = ends_at(&desk.board).max(self.now());
        let season = desk.season;
        drop(desk);
        let expires = from.saturating_add(COORDINATOR_OUTLIVES).unwrap_or(from);
        self.new_link(season, LinkKind::Coordinator, ("", ""), expires).await
    }

    /// A session for a browser in which the coordinator's link was opened, as the secret of its cookie, and how long it lives.
    pub async fn new_session(&self, link: &StoredLink) -> Result<(String, SignedDuration), OfficeFault> {
        let now = self.now();
        let expires = now.saturating_add(self.ways.session_lives).unwrap_or(now).min(link.expires);
        let season = self.desk().await?.season;
        let token = self.new_link(season, LinkKind::Session, ("", &link.hash), expires).await?;
        Ok((token, expires.duration_since(now)))
    }

    /// Ends a session, or a link to the coordinator's pages with all that was opened with it; false if that was done before.
    pub async fn end_link(&self, hash: &str) -> Result<bool, OfficeFault> {
        let season = self.desk().await?.season;
        Ok(self.store.end_link(season, hash, self.now()).await?)
    }

    /// The coordinator's links in force, the newest first.
    pub async fn coordinator_links(&self) -> Result<Vec<OpenLink>, OfficeFault> {
        let season = self.desk().await?.season;
        Ok(self.store.coordinator_links(season, self.now()).await?)
    }

    /// Ends every link to the coordinator's pages; gives back how many.
    pub async fn end_coordinator_links(&self) -> Result<usize, OfficeFault> {
        let mut ended = 0;
        for link in self.coordinator_links().await? {
            ended += usize::from(self.end_link(&link.hash).await?);
        }
        Ok(ended)
    }

    /// When links that are about the whole season die.
    pub(super) fn season_links_end(&self, board: &Board) -> Timestamp {
        let ends = ends_at(board);
        ends.saturating_add(self.ways.links_outlive).unwrap_or(ends)
    }

    async fn new_link(
        &self,
        season: i64,
        kind: LinkKind,
        (chaperone, parent): (&str, &str),
        expires: Timestamp,
    ) -> Result<String, OfficeFault> {
        let token = self.token();
        let link = NewLink {
            hash: token_hash(&token),
            kind,
            message: 0,
            chaperone: chaperone.to_owned(),
            expires,
            made: self.now(),
            parent: parent.to_owned(),
        };
        self.store.put_link(season, &link).await?;
        Ok(token)
    }
}

/// Whether a chaperone of that ref has anything to do in the season.
fn has_duties(board: &Board, chaperone: &str) -> bool {
    let season = &board.season;
    let who = season.chaperones.iter().position(|one| one.reference == chaperone);
    season.duties.iter().any(|duty| Some(duty.chaperone.at()) == who)
}

/// When the last event of a season is over, also one that is called off.
fn ends_at(board: &Board) -> Timestamp {
    let itineraries = board.programme.itineraries().map(|it| it.over_at);
    let events = (0..board.season.events.len() as u32)
        .map(|at| board.season.curtain_up(crate::domain::season::EventId(at)));
    itineraries.chain(events).max().unwrap_or_default()
}
