//! Where chance comes from: pages of draws that whoever calls keeps, each the same whenever it is opened.

use crate::domain::board::Item;
use crate::domain::record::NoticeKey;
use crate::domain::season::{Channel, EventId, GuardianId, Person};

/// Draws on one page.
pub const DRAWS: usize = 8;

/// What a page decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Leaf {
    /// What kind of person a guardian is.
    Habits,
    /// A call about an event.
    Ring(EventId),
    /// What becomes of a message, named by the first thing it says and its road.
    Message {
        /// The first item.
        item: Item,
        /// The notice about it.
        notice: NoticeKey,
        /// The road.
        channel: Channel,
    },
}

/// One page: a season, a guardian and what is decided.
///
/// A message is named by what it asks and not by how many went before it: a plan and a change of it then share the
/// draws of every message that they share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Page {
    /// Which season of the rehearsal, from 0.
    pub season: u32,
    /// Whose.
    pub guardian: GuardianId,
    /// What.
    pub leaf: Leaf,
}

impl Page {
    /// Season and guardian in one number, different for different ones.
    pub fn stream(&self) -> u64 {
        u64::from(self.season) << 32 | u64::from(self.guardian.0)
    }

    /// The leaf as a number; 16 bits for an event and 13 for a notice are more than a season can have.
    pub fn block(&self) -> u64 {
        let event = |event: EventId| (u64::from(event.0) + 1) & 0xffff;
        match self.leaf {
            Leaf::Habits => 0,
            Leaf::Ring(about) => 1 | event(about) << 16,
            Leaf::Message { item, notice, channel } => {
                let who = match item.who {
                    Person::Child(child) => u64::from(child.0) << 1,
                    Person::Chaperone(chaperone) => u64::from(chaperone.0) << 1 | 1,
                };
                let notice = match notice {
                    NoticeKey::Rule(at) => at as u64 & 0x0fff,
                    NoticeKey::Change(_) => 0x1000,
                };
                let channel = u64::from(channel == Channel::Text);
                2 | channel << 2 | notice << 3 | item.event.map_or(0, event) << 16 | (who & 0xffff_ffff) << 32
            }
        }
    }
}

/// A source of pages.
pub trait Chance: Sync {
    /// The draws of a page, each from 0 (included) to 1 (excluded); the same page holds the same ones.
    fn page(&self, page: Page) -> [f64; DRAWS];
}

/// A draw from the standard normal distribution out of two even ones (Box and Muller 1958).
pub fn normal(first: f64, second: f64) -> f64 {
    (-2.0 * (1.0 - first).ln()).sqrt() * (std::f64::consts::TAU * second).cos()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::season::{ChaperoneId, ChildId};

    #[test]
    fn no_two_leaves_share_a_block() {
        let mut leaves = vec![Leaf::Habits];
        leaves.extend((0..9).map(|at| Leaf::Ring(EventId(at))));
        for who in [Person::Child(ChildId(0)), Person::Child(ChildId(7)), Person::Chaperone(ChaperoneId(0))] {
            for event in [None, Some(EventId(0)), Some(EventId(8))] {
                for notice in [0, 1, 40] {
                    for channel in [Channel::Mail, Channel::Text] {
                        let (item, notice) = (Item { who, event }, NoticeKey::Rule(notice));
                        leaves.push(Leaf::Message { item, notice, channel });
                    }
                }
            }
        }
        let page = |leaf| Page { season: 3, guardian: GuardianId(5), leaf }.block();
        let blocks: std::collections::BTreeSet<u64> = leaves.iter().map(|leaf| page(*leaf)).collect();
        assert_eq!(blocks.len(), leaves.len());
    }

    #[test]
    fn an_even_pair_makes_a_normal_one() {
        assert!((normal(0.0, 0.3)).abs() < 1e-12, "no radius, no deviation");
        // 1 - e^(-1/2) is the share of radii up to one.
        let one = 1.0 - (-0.5_f64).exp();
        assert!((normal(one, 0.0) - 1.0).abs() < 1e-12);
        assert!((normal(one, 0.5) + 1.0).abs() < 1e-12);
    }
}
