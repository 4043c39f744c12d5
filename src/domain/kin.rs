//! Which of the guardians written beside children are one person.
//!
//! One person: the same ref; or, where a ref is missing, the same name and a shared telephone or mail address.
//! A telephone alone never makes two people one, and two different refs are never made one.

use super::book::Book;
use super::layout::{GUARDIANS_PER_CHILD, guardian_column};
use super::phone::Phones;
use super::words::{bare, key};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// One guardian as written beside one child.
#[derive(Debug, Clone)]
pub struct Mention {
    /// Index of the row on the sheet `children`.
    pub row: usize,
    /// Which of the guardians beside the child, from 1.
    pub slot: usize,
    /// Ref as written; may be empty.
    pub reference: String,
    /// Name as compared.
    pub name: String,
    /// Telephone and mail address as compared.
    pub contacts: Vec<String>,
}

/// What a person should look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum KinDoubt {
    /// One name in several places with no shared contact: taken as different people. Indices of mentions.
    SameName(Vec<usize>),
    /// Name and contact agree but the refs differ: kept apart. Indices of mentions.
    TwoRefs(usize, usize),
    /// One ref under two names: taken as one person. Indices of mentions.
    TwoNames(usize, usize),
    /// Two names with the same telephone number and the same mail address: taken as two people. Indices of mentions.
    OneAddress(usize, usize),
}

/// Every guardian written in the workbook, row by row.
pub fn mentions(book: &Book, phones: &mut Phones) -> Vec<Mention> {
    let columns: Vec<[String; 4]> = (1..=GUARDIANS_PER_CHILD)
        .map(|n| ["ref", "name", "mobile", "e-mail"].map(|part| guardian_column(n, part)))
        .collect();
    let mut found = Vec::new();
    for (row, line) in book.rows("children").iter().enumerate() {
        for (at, [reference, name, mobile, mail]) in columns.iter().enumerate() {
            let name = bare(line.text(name));
            if name.is_empty() {
                continue;
            }
            let mut contacts = Vec::new();
            if !line.text(mobile).is_empty() {
                contacts.push(phones.key(line.text(mobile)));
            }
            if !line.text(mail).is_empty() {
                contacts.push(key(line.text(mail)));
            }
            contacts.retain(|c| !c.is_empty());
            found.push(Mention {
                row,
                slot: at + 1,
                reference: line.text(reference).to_uppercase(),
                name,
                contacts,
            });
        }
    }
    found
}

/// Sets that grow together; each root may carry one ref.
struct Sets {
    parent: Vec<usize>,
    reference: Vec<String>,
}

impl Sets {
    fn root(&mut self, mut at: usize) -> usize {
        while self.parent[at] != at {
            self.parent[at] = self.parent[self.parent[at]];
            at = self.parent[at];
        }
        at
    }

    /// Joins two sets unless their refs differ; says whether they are now one.
    fn join(&mut self, a: usize, b: usize) -> bool {
        let (a, b) = (self.root(a), self.root(b));
        if a == b {
            return true;
        }
        let (low, high) = (a.min(b), a.max(b));
        match (self.reference[low].is_empty(), self.reference[high].is_empty()) {
            (false, false) if self.reference[low] != self.reference[high] => return false,
            (true, false) => self.reference[low] = self.reference[high].clone(),
            _ => {}
        }
        self.parent[high] = low;
        true
    }
}

/// The person each mention belongs to, numbered by first appearance, and what is doubtful.
pub fn group(mentions: &[Mention]) -> (Vec<usize>, Vec<KinDoubt>) {
    let mut sets = Sets {
        parent: (0..mentions.len()).collect(),
        reference: mentions.iter().map(|m| m.reference.clone()).collect(),
    };
    let mut doubts = Vec::new();
    let mut by_ref: HashMap<&str, usize> = HashMap::new();
    for (at, mention) in mentions.iter().enumerate().filter(|(_, m)| !m.reference.is_empty()) {
        let first = *by_ref.entry(&mention.reference).or_insert(at);
        sets.join(first, at);
        if mentions[first].name != mention.name {
            doubts.push(KinDoubt::TwoNames(first, at));
        }
    }
    join_by_contact(mentions, &mut sets, &mut doubts);
    let mut numbers: HashMap<usize, usize> = HashMap::new();
    let person: Vec<usize> = (0..mentions.len())
        .map(|at| {
            let root = sets.root(at);
            let next = numbers.len();
            *numbers.entry(root).or_insert(next)
        })
        .collect();
    doubts.extend(shared_names(mentions, &person));
    doubts.extend(shared_contacts(mentions, &person));
    (person, doubts)
}

fn join_by_contact(mentions: &[Mention], sets: &mut Sets, doubts: &mut Vec<KinDoubt>) {
    let mut holders: HashMap<(&str, &str), Vec<usize>> = HashMap::new();
    // Mentions with a ref come first, so that one without joins a person already known.
    let (known, fresh): (Vec<usize>, Vec<usize>) =
        (0..mentions.len()).partition(|at| !mentions[*at].reference.is_empty());
    for at in known.into_iter().chain(fresh) {
        let mention = &mentions[at];
        for contact in &mention.contacts {
            let holders = holders.entry((&mention.name, contact)).or_default();
            let mut apart = None;
            for &other in holders.iter() {
                if !sets.join(other, at) {
                    apart = Some(other);
                }
            }
            let alone = holders.iter().all(|&other| sets.root(other) != sets.root(at));
            if let (true, Some(other)) = (alone, apart) {
                doubts.push(KinDoubt::TwoRefs(other, at));
            }
            if alone {
                holders.push(at);
            }
        }
    }
}

/// Two people with the same number and the same mail address are more often one person whose name was written twice.
fn shared_contacts(mentions: &[Mention], person: &[usize]) -> Vec<KinDoubt> {
    let mut by_contacts: BTreeMap<&[String], usize> = BTreeMap::new();
    let mut doubts = Vec::new();
    for (at, mention) in mentions.iter().enumerate().filter(|(_, m)| m.contacts.len() > 1) {
        let first = *by_contacts.entry(&mention.contacts).or_insert(at);
        let told = doubts.iter().any(|doubt| {
            matches!(doubt, KinDoubt::OneAddress(a, b) if (person[*a], person[*b]) == (person[first], person[at]))
        });
        if person[first] != person[at] && mentions[first].name != mention.name && !told {
            doubts.push(KinDoubt::OneAddress(first, at));
        }
    }
    doubts
}

fn shared_names(mentions: &[Mention], person: &[usize]) -> Vec<KinDoubt> {
    let mut by_name: BTreeMap<&str, BTreeMap<usize, usize>> = BTreeMap::new();
    for (at, mention) in mentions.iter().enumerate() {
        by_name.entry(&mention.name).or_default().entry(person[at]).or_insert(at);
    }
    let mut doubts: Vec<Vec<usize>> = by_name
        .into_values()
        .filter(|people| people.len() > 1)
        .map(|people| people.into_values().collect::<BTreeSet<_>>().into_iter().collect())
        .collect();
    doubts.sort();
    doubts.into_iter().map(KinDoubt::SameName).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mention(row: usize, reference: &str, name: &str, contacts: &[&str]) -> Mention {
        Mention {
            row,
            slot: 1,
            reference: reference.into(),
            name: name.into(),
            contacts: contacts.iter().map(|c| (*c).to_owned()).collect(),
        }
    }

    #[test]
    fn who_is_one_person() {
        let check = |mentions: &[Mention], expect: &[usize], doubts: usize| {
            let (person, found) = group(mentions);
            assert_eq!(person, expect, "{mentions:?}");
            assert_eq!(found.len(), doubts, "{found:?}");
        };
        check(&[mention(0, "", "ana", &["+1", "a@x"]), mention(1, "", "ana", &["+2", "a@x"])], &[0, 0], 0);
        check(&[mention(0, "", "ana", &["+1"]), mention(1, "", "ben", &["+1"])], &[0, 1], 0);
        check(&[mention(0, "", "ana", &["+1"]), mention(1, "", "ana", &["+2"])], &[0, 1], 1);
        check(&[mention(0, "G1", "ana", &["+1"]), mention(1, "G1", "ana", &["+2"])], &[0, 0], 0);
        check(&[mention(0, "G1", "ana", &["+1"]), mention(1, "G2", "ana", &["+1"])], &[0, 1], 2);
        check(&[mention(0, "G1", "ana", &["+1"]), mention(1, "G1", "anna", &["+1"])], &[0, 0], 1);
        check(&[mention(0, "", "ana", &["+1"]), mention(1, "G7", "ana", &["+1"])], &[0, 0], 0);
        check(
            &[
                mention(0, "", "ana", &["+1"]),
                mention(1, "", "ana", &["b@x"]),
                mention(2, "", "ana", &["+1", "b@x"]),
            ],
            &[0, 0, 0],
            0,
        );
        check(
            &[mention(0, "", "ana o.", &["+1", "a@x"]), mention(1, "", "ana okafor", &["+1", "a@x"])],
            &[0, 1],
            1,
        );
        check(&[mention(0, "", "ana", &[]), mention(1, "", "ana", &["+2"])], &[0, 1], 1);
    }
}
