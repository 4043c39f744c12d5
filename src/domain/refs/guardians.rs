//! The refs of guardians, who stand beside children and have no sheet of their own.

use super::{Given, Question, highest, made, malformed};
use crate::domain::book::Book;
use crate::domain::kin::{self, Mention};
use crate::domain::layout::{GUARDIAN_LETTER, guardian_column};
use crate::domain::phone::Phones;
use crate::domain::season::Ref;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// One guardian as known before.
struct OldGuardian {
    reference: Ref,
    contacts: BTreeSet<String>,
    children: BTreeSet<Ref>,
}

/// Gives every guardian a ref, one a person, beside each of their children.
pub(super) fn adopt(
    book: &mut Book,
    previous: Option<&Book>,
    given: &Given,
    phones: &mut Phones,
    questions: &mut Vec<Question>,
) {
    let mentions = kin::mentions(book, phones);
    let (person, _) = kin::group(&mentions);
    let people = person.iter().max().map_or(0, |most| most + 1);
    let mut of: Vec<Vec<usize>> = vec![Vec::new(); people];
    for (at, person) in person.iter().enumerate() {
        of[*person].push(at);
    }
    let old = previous.map(|old| old_guardians(old, phones)).unwrap_or_default();
    let mut chosen: Vec<Option<Ref>> = of
        .iter()
        .map(|all| all.iter().map(|at| &mentions[*at].reference).find(|r| !r.is_empty()).cloned())
        .collect();
    let known: BTreeSet<&Ref> = old.values().flatten().map(|guardian| &guardian.reference).collect();
    for (person, reference) in chosen.iter().enumerate() {
        let Some(reference) = reference else { continue };
        let mention = &mentions[of[person][0]];
        let unknown = previous.is_some() && !known.contains(reference);
        let problem = malformed(reference, GUARDIAN_LETTER)
            .or_else(|| unknown.then(|| format!("the ref {reference} was never given out by this program")));
        if let Some(reason) = problem {
            questions.push(guardian_question(book, mention, reason));
        }
    }
    let claimed: BTreeSet<Ref> = chosen.iter().flatten().cloned().collect();
    match_guardians(book, &mentions, &of, &old, &claimed, &mut chosen);
    let known = old.values().flatten().map(|g| &g.reference);
    let given = given.get(&GUARDIAN_LETTER).copied().unwrap_or(0);
    let next = highest(claimed.iter().chain(known), GUARDIAN_LETTER).max(given) + 1;
    let mut fresh: Vec<usize> = (0..people).filter(|p| chosen[*p].is_none()).collect();
    fresh.sort_by_cached_key(|p| guardian_key(book, &mentions, &of[*p]));
    for (person, number) in fresh.into_iter().zip(next..) {
        chosen[person] = Some(made(GUARDIAN_LETTER, number));
    }
    let rows = &mut book.sheet_mut("children").rows;
    for (at, mention) in mentions.iter().enumerate() {
        if let Some(reference) = &chosen[person[at]] {
            rows[mention.row].set(&guardian_column(mention.slot, "ref"), reference.clone());
        }
    }
}

fn guardian_question(book: &Book, mention: &Mention, reason: String) -> Question {
    Question {
        sheet: "children".to_owned(),
        row: book.rows("children")[mention.row].number,
        column: guardian_column(mention.slot, "ref"),
        reason,
        cure: "Empty the cell to have one given, or write the ref this guardian had.".to_owned(),
        candidates: Vec::new(),
    }
}

fn old_guardians(old: &Book, phones: &mut Phones) -> HashMap<String, Vec<OldGuardian>> {
    let rows = old.rows("children");
    let mut found: BTreeMap<Ref, (String, OldGuardian)> = BTreeMap::new();
    for mention in kin::mentions(old, phones).into_iter().filter(|m| !m.reference.is_empty()) {
        let (_, guardian) = found.entry(mention.reference.clone()).or_insert_with(|| {
            (
                mention.name.clone(),
                OldGuardian {
                    reference: mention.reference.clone(),
                    contacts: BTreeSet::new(),
                    children: BTreeSet::new(),
                },
            )
        });
        guardian.contacts.extend(mention.contacts);
        guardian.children.insert(rows[mention.row].text("ref").to_owned());
    }
    let mut by_name: HashMap<String, Vec<OldGuardian>> = HashMap::new();
    for (name, guardian) in found.into_values() {
        by_name.entry(name).or_default().push(guardian);
    }
    by_name
}

/// Same name and a shared contact, else same name beside the same child: but only where exactly one such is known.
fn match_guardians(
    book: &Book,
    mentions: &[Mention],
    of: &[Vec<usize>],
    old: &HashMap<String, Vec<OldGuardian>>,
    claimed: &BTreeSet<Ref>,
    chosen: &mut [Option<Ref>],
) {
    let rows = book.rows("children");
    let mut wanted: BTreeMap<Ref, Vec<usize>> = BTreeMap::new();
    for (person, all) in of.iter().enumerate().filter(|(p, _)| chosen[*p].is_none()) {
        let Some(known) = old.get(&mentions[all[0]].name) else {
            continue;
        };
        let known: Vec<&OldGuardian> = known.iter().filter(|g| !claimed.contains(&g.reference)).collect();
        let by_contact: Vec<_> = known
            .iter()
            .filter(|g| all.iter().any(|at| mentions[*at].contacts.iter().any(|c| g.contacts.contains(c))))
            .collect();
        let by_child: Vec<_> = known
            .iter()
            .filter(|g| all.iter().any(|at| g.children.contains(rows[mentions[*at].row].text("ref"))))
            .collect();
        match (&by_contact[..], &by_child[..]) {
            ([one], _) | ([], [one]) => wanted.entry(one.reference.clone()).or_default().push(person),
            _ => {}
        }
    }
    for (reference, people) in wanted {
        if let [one] = people[..] {
            chosen[one] = Some(reference);
        }
    }
}

/// What puts new guardians in an order that does not depend on the order of rows.
fn guardian_key(book: &Book, mentions: &[Mention], all: &[usize]) -> (String, Vec<String>, Vec<String>) {
    let rows = book.rows("children");
    let mut contacts: Vec<String> = all.iter().flat_map(|at| mentions[*at].contacts.clone()).collect();
    let mut children: Vec<String> = all
        .iter()
        .map(|at| format!("{} {}", rows[mentions[*at].row].text("ref"), mentions[*at].slot))
        .collect();
    contacts.sort();
    contacts.dedup();
    children.sort();
    (mentions[all[0]].name.clone(), contacts, children)
}
