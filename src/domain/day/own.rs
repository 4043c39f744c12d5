//! Chaperones with children of their own in the show, and chaperones who dance in it themselves.

use super::Day;
use crate::domain::season::{Chaperone, ChaperoneId, Child, ChildId, Guardian, Season};
use crate::domain::words::key;

/// Whether a chaperone and a guardian are one person: the same mobile or the same mail address.
fn is_guardian(chaperone: &Chaperone, guardian: &Guardian) -> bool {
    let (hers, theirs) = (&chaperone.contact, &guardian.contact);
    same_phone(chaperone, guardian) || hers.mail.is_some() && hers.mail == theirs.mail
}

fn same_phone(chaperone: &Chaperone, guardian: &Guardian) -> bool {
    let phones = chaperone.contact.phone.as_ref().zip(guardian.contact.phone.as_ref());
    phones.is_some_and(|(a, b)| a.e164 == b.e164)
}

fn full_name(child: &Child) -> String {
    key(&format!("{} {}", child.given, child.family))
}

/// Every chaperone who is herself among the children: one of the same name, or one who is her own guardian in the
/// workbook and has the chaperone's mobile. In the order of the chaperones.
pub fn dancers(season: &Season) -> Vec<(ChaperoneId, ChildId)> {
    let names: Vec<String> = season.children.iter().map(full_name).collect();
    let own: Vec<(&Guardian, ChildId)> = season
        .cares
        .iter()
        .filter_map(|care| Some((&season.guardians[care.guardian.at()], care.who.child()?)))
        .filter(|(guardian, child)| key(&guardian.name) == names[child.at()])
        .collect();
    let mut found = Vec::new();
    for (at, chaperone) in (0_u32..).zip(&season.chaperones) {
        let name = key(&chaperone.name);
        let named = (0_u32..).zip(&names).filter(|(_, child)| **child == name).map(|(at, _)| ChildId(at));
        let rung =
            own.iter().filter(|(guardian, _)| same_phone(chaperone, guardian)).map(|(_, child)| *child);
        let mut children: Vec<ChildId> = named.chain(rung).collect();
        children.sort_unstable();
        children.dedup();
        found.extend(children.into_iter().map(|child| (ChaperoneId(at), child)));
    }
    found
}

impl Day<'_> {
    /// The numbers (by position) in which a chaperone's own child dances.
    pub fn watched_by(&self, chaperone: ChaperoneId) -> Vec<usize> {
        let season = self.season;
        let chaperone = &season.chaperones[chaperone.at()];
        let cares =
            season.cares.iter().filter(|care| is_guardian(chaperone, &season.guardians[care.guardian.at()]));
        let mut places: Vec<usize> = cares
            .filter_map(|care| care.who.child())
            .flat_map(|child| self.of_child(child))
            .map(|part| part.at)
            .collect();
        places.sort_unstable();
        places.dedup();
        places
    }
}
