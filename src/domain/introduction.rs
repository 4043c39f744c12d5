//! First contact: which chaperones are introduced to a child's family, and which families each is to greet.

use super::board::Board;
use super::due::Due;
use super::in_charge::InCharge;
use super::itinerary::Itinerary;
use super::season::{ChaperoneId, ChildId, Duty, EventId, NumberId, Season};
use std::collections::{BTreeMap, BTreeSet};

/// Event and number pairs that some chaperone looks after.
pub fn looked_after(duties: &[Duty]) -> BTreeSet<(EventId, NumberId)> {
    duties.iter().filter_map(|duty| Some((duty.event, duty.number?))).collect()
}

/// Everybody who has a child at an event at some time, each once: who signs the child in, then the others in the order of
/// the child's numbers.
pub fn chaperones_of(season: &Season, it: &Itinerary) -> Vec<ChaperoneId> {
    chaperones_among(&InCharge::of(season, it.event), it)
}

/// The same, of who is in charge at the itinerary's event.
fn chaperones_among(in_charge: &InCharge, it: &Itinerary) -> Vec<ChaperoneId> {
    let mut all: Vec<ChaperoneId> = it.signs_in.into_iter().collect();
    for chaperone in in_charge.having(&it.numbers) {
        if !all.contains(&chaperone) {
            all.push(chaperone);
        }
    }
    all
}

/// The families one chaperone is introduced to by one notice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Greeting {
    /// The chaperone.
    pub chaperone: ChaperoneId,
    /// Position of the notice in the season.
    pub notice: usize,
    /// From when the first of them is told of her, until nobody need be told any more.
    pub due: Due,
    /// The children, each once, in order of name.
    pub children: Vec<ChildId>,
}

/// Everyone who is introduced, to whom and when; by chaperone, then by notice.
pub fn greetings(board: &Board) -> Vec<Greeting> {
    let season = &board.season;
    let notices: Vec<usize> =
        (0..season.notices.len()).filter(|at| season.notices[*at].introduces()).collect();
    let mut found: BTreeMap<(ChaperoneId, usize), (Due, BTreeSet<ChildId>)> = BTreeMap::new();
    let mut charges: BTreeMap<EventId, InCharge> = BTreeMap::new();
    for position in board.programme.ids() {
        let it = &board.programme[position];
        let Some(child) = it.who.child() else { continue };
        let dues: Vec<(usize, Due)> =
            notices.iter().filter_map(|notice| Some((*notice, board.due(position, *notice)?))).collect();
        if dues.is_empty() {
            continue;
        }
        let in_charge = charges.entry(it.event).or_insert_with(|| InCharge::of(season, it.event));
        for chaperone in chaperones_among(in_charge, it) {
            for (notice, due) in &dues {
                let (first, children) =
                    found.entry((chaperone, *notice)).or_insert_with(|| (*due, BTreeSet::new()));
                first.at = first.at.min(due.at);
                first.until = first.until.max(due.until);
                children.insert(child);
            }
        }
    }
    found
        .into_iter()
        .map(|((chaperone, notice), (due, children))| {
            let mut children: Vec<ChildId> = children.into_iter().collect();
            children.sort_by_key(|child| {
                let child = &season.children[child.at()];
                (&child.given, &child.family)
            });
            Greeting { chaperone, notice, due, children }
        })
        .collect()
}
