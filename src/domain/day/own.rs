//! Chaperones with children of their own in the show, and chaperones who dance in it themselves.

use super::Day;
use crate::domain::season::{ChaperoneId, Child, ChildId, Guardian, People};
use crate::domain::words::key;
use std::collections::{BTreeSet, HashMap};

/// Which chaperones dance, and which have children among the dancers.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Own {
    /// Every chaperone who is herself among the children: one of the same name, or one who is her own guardian in the
    /// workbook and has the chaperone's mobile. In the order of the chaperones.
    pub dancers: Vec<(ChaperoneId, ChildId)>,
    /// The children of each chaperone: of whom a guardian has her mobile or her mail address.
    pub children: HashMap<ChaperoneId, BTreeSet<ChildId>>,
}

impl Own {
    /// Finds out who is who.
    pub fn of(people: &People) -> Own {
        Own { dancers: dancers(people), children: children(people) }
    }
}

/// Chaperones by what tells who somebody is, so that a season's guardians and children are gone through once.
struct Known<'a> {
    by_phone: HashMap<&'a str, Vec<ChaperoneId>>,
    by_mail: HashMap<&'a str, Vec<ChaperoneId>>,
}

impl<'a> Known<'a> {
    fn of(people: &'a People) -> Known<'a> {
        let mut known = Known { by_phone: HashMap::new(), by_mail: HashMap::new() };
        for (at, chaperone) in (0_u32..).zip(&people.chaperones) {
            let contact = &chaperone.contact;
            if let Some(phone) = &contact.phone {
                known.by_phone.entry(&phone.e164).or_default().push(ChaperoneId(at));
            }
            if let Some(mail) = &contact.mail {
                known.by_mail.entry(&mail.0).or_default().push(ChaperoneId(at));
            }
        }
        known
    }

    /// The chaperones with the mobile of a guardian.
    fn with_phone(&self, guardian: &Guardian) -> &[ChaperoneId] {
        let phone = guardian.contact.phone.as_ref();
        phone.and_then(|phone| self.by_phone.get(phone.e164.as_str())).map_or(&[], Vec::as_slice)
    }

    /// The chaperones with the mail address of a guardian.
    fn with_mail(&self, guardian: &Guardian) -> &[ChaperoneId] {
        let mail = guardian.contact.mail.as_ref();
        mail.and_then(|mail| self.by_mail.get(mail.0.as_str())).map_or(&[], Vec::as_slice)
    }
}

fn full_name(child: &Child) -> String {
    key(&format!("{} {}", child.given, child.family))
}

fn dancers(people: &People) -> Vec<(ChaperoneId, ChildId)> {
    let mut by_name: HashMap<String, Vec<ChaperoneId>> = HashMap::new();
    for (at, chaperone) in (0_u32..).zip(&people.chaperones) {
        by_name.entry(key(&chaperone.name)).or_default().push(ChaperoneId(at));
    }
    let named = (0_u32..).zip(&people.children).flat_map(|(at, child)| {
        let same = by_name.get(&full_name(child)).map_or(&[][..], Vec::as_slice);
        same.iter().map(move |chaperone| (*chaperone, ChildId(at)))
    });
    let known = Known::of(people);
    let rung = people.cares.iter().filter_map(|care| {
        let (guardian, child) = (&people.guardians[care.guardian.at()], care.who.child()?);
        let same = known.with_phone(guardian);
        let own = !same.is_empty() && key(&guardian.name) == full_name(&people.children[child.at()]);
        own.then(|| same.iter().map(move |chaperone| (*chaperone, child)))
    });
    let mut found: Vec<(ChaperoneId, ChildId)> = named.chain(rung.flatten()).collect();
    found.sort_unstable();
    found.dedup();
    found
}

fn children(people: &People) -> HashMap<ChaperoneId, BTreeSet<ChildId>> {
    let known = Known::of(people);
    let mut children: HashMap<ChaperoneId, BTreeSet<ChildId>> = HashMap::new();
    for care in &people.cares {
        let Some(child) = care.who.child() else { continue };
        let guardian = &people.guardians[care.guardian.at()];
        for chaperone in known.with_phone(guardian).iter().chain(known.with_mail(guardian)) {
            children.entry(*chaperone).or_default().insert(child);
        }
    }
    children
}

impl Day<'_> {
    /// The numbers (by position) in which one of some children dances.
    pub fn danced_by<'a>(&self, children: impl IntoIterator<Item = &'a ChildId>) -> BTreeSet<usize> {
        children.into_iter().flat_map(|child| self.of_child(*child)).map(|part| part.at).collect()
    }
}
