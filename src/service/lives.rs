//! What went out, and what one family was told and answered.

use super::office::{Office, OfficeFault};
use super::ports::{Gateway, Store, StoredAttempt, StoredIncoming, StoredMessage};
use crate::domain::board::{Board, Item};
use crate::domain::season::{ChildId, GuardianId, Person};
use crate::domain::standing::{Standing, standing};
use std::sync::Arc;

/// Messages of one family shown, and things each of its guardians sent.
const OF_A_FAMILY: u32 = 200;

/// A message and its attempts.
pub type Life = (StoredMessage, Vec<StoredAttempt>);

/// One guardian of a family.
pub struct PersonData {
    /// Who.
    pub guardian: GuardianId,
    /// What she was told of, soonest first, and where she stands.
    pub standings: Vec<(Item, Standing)>,
    /// What she sent, newest first.
    pub sent: Vec<StoredIncoming>,
}

/// One family.
pub struct FamilyData {
    /// The season.
    pub board: Arc<Board>,
    /// Its guardians.
    pub people: Vec<PersonData>,
    /// What went out to it, newest first.
    pub lives: Vec<Life>,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Messages that were tried, the latest first, without the first `skip`.
    pub async fn lives(&self, skip: u32, most: u32) -> Result<(Arc<Board>, Vec<Life>), OfficeFault> {
        let (season, board) = {
            let desk = self.desk().await?;
            (desk.season, desk.board.clone())
        };
        Ok((board, self.store.lives(season, None, skip, most).await?))
    }

    /// What a family was told and answered; none if there is no such household.
    pub async fn family(&self, household: &str) -> Result<Option<FamilyData>, OfficeFault> {
        let desk = self.desk().await?;
        let (board, season) = (desk.board.clone(), desk.season);
        let Some(id) = board.household(household) else { return Ok(None) };
        let mut guardians: Vec<GuardianId> = board.cares(id).iter().map(|care| care.guardian).collect();
        guardians.sort();
        guardians.dedup();
        let first = Item { who: Person::Child(ChildId(0)), event: None };
        let told = |guardian: GuardianId| {
            let mut items: Vec<Item> = desk
                .record
                .told
                .range((guardian, first)..)
                .take_while(|((who, _), _)| *who == guardian)
                .map(|((_, item), _)| *item)
                .collect();
            items.sort_by_key(|item| (board.needed_by(*item), item.who));
            items.into_iter().map(|item| (item, standing(&board, &desk.record, guardian, item))).collect()
        };
        let mut people: Vec<PersonData> = guardians
            .into_iter()
            .map(|guardian| PersonData { guardian, standings: told(guardian), sent: Vec::new() })
            .collect();
        drop(desk);
        for person in &mut people {
            let reference = &board.season.guardians[person.guardian.at()].reference;
            person.sent = self.store.incoming_of(season, reference, OF_A_FAMILY).await?;
        }
        let lives = self.store.lives(season, Some(household), 0, OF_A_FAMILY).await?;
        Ok(Some(FamilyData { board, people, lives }))
    }
}
