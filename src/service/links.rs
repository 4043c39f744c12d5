//! Links that belong to no message: a chaperone's list and the coordinator's pages; and what a token opens.

use super::composing::token_hash;
use super::office::{Office, OfficeFault};
use super::ports::{Gateway, LinkKind, NewLink, Store, StoredLink};
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
        self.new_link(season, LinkKind::Chaperone, chaperone, expires).await.map(Some)
    }

    /// A new link to the coordinator's pages, as its token.
    pub async fn coordinator_link(&self) -> Result<String, OfficeFault> {
        let desk = self.desk().await?;
        let from = ends_at(&desk.board).max(self.now());
        let season = desk.season;
        drop(desk);
        let expires = from.saturating_add(COORDINATOR_OUTLIVES).unwrap_or(from);
        self.new_link(season, LinkKind::Coordinator, "", expires).await
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
        chaperone: &str,
        expires: Timestamp,
    ) -> Result<String, OfficeFault> {
        let token = self.token();
        let link =
            NewLink { hash: token_hash(&token), kind, message: 0, chaperone: chaperone.to_owned(), expires };
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
