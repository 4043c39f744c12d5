//! Who lives with whom, and who cares for whom from which household.

use super::desk::{Alike, CASES, COUNT, Desk, Spot};
use super::people::index;
use crate::domain::book::Row;
use crate::domain::kin::Mention;
use crate::domain::layout::guardian_column;
use crate::domain::season::{Care, ChildId, Guardian, GuardianId, Household, HouseholdId, Person};
use crate::domain::typed::{self, shown};
use crate::domain::words::key;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// One household word in one row: those guardians live together.
struct Node {
    row: usize,
    word: String,
    people: Vec<usize>,
}

fn household_nodes(rows: &[Row], mentions: &[Mention], person: &[usize]) -> (Vec<Node>, Vec<usize>) {
    let mut nodes: Vec<Node> = Vec::new();
    let mut at: HashMap<(usize, String), usize> = HashMap::new();
    let mut node_of = Vec::with_capacity(mentions.len());
    for (mention, person) in mentions.iter().zip(person) {
        let word = key(rows[mention.row].text(&guardian_column(mention.slot, "household")));
        let node = *at.entry((mention.row, word.clone())).or_insert_with(|| {
            nodes.push(Node { row: mention.row, word, people: Vec::new() });
            nodes.len() - 1
        });
        nodes[node].people.push(*person);
        node_of.push(node);
    }
    (nodes, node_of)
}

/// Joins the households of siblings through the guardians they share, but never two that were named apart.
fn join_nodes(nodes: &[Node], rows: &[Row], desk: &mut Desk) -> Vec<usize> {
    let mut parent: Vec<usize> = (0..nodes.len()).collect();
    let mut word: Vec<String> = nodes.iter().map(|n| n.word.clone()).collect();
    fn root(parent: &mut [usize], mut at: usize) -> usize {
        while parent[at] != at {
            parent[at] = parent[parent[at]];
            at = parent[at];
        }
        at
    }
    let mut of_person: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, node) in nodes.iter().enumerate() {
        for person in &node.people {
            of_person.entry(*person).or_default().push(at);
        }
    }
    let mut clashes: BTreeSet<(usize, usize)> = BTreeSet::new();
    // Named households join first, so that a blank one meets them whole.
    for all in of_person.values() {
        let mut first_of: HashMap<&str, usize> = HashMap::new();
        for &at in all.iter().filter(|at| !nodes[**at].word.is_empty()) {
            let first = *first_of.entry(&nodes[at].word).or_insert(at);
            let (low, high) = (root(&mut parent, first), root(&mut parent, at));
            parent[low.max(high)] = low.min(high);
        }
    }
    for all in of_person.values() {
        let Some((&first, rest)) = all.split_first() else {
            continue;
        };
        for &at in rest.iter().filter(|at| nodes[first].word.is_empty() || nodes[**at].word.is_empty()) {
            let (a, b) = (root(&mut parent, first), root(&mut parent, at));
            let (low, high) = (a.min(b), a.max(b));
            if low != high && !word[low].is_empty() && !word[high].is_empty() && word[low] != word[high] {
                clashes.insert((nodes[first].row.min(nodes[at].row), nodes[first].row.max(nodes[at].row)));
                continue;
            }
            if word[low].is_empty() {
                word[low] = word[high].clone();
            }
            parent[high] = low;
        }
    }
    for (a, b) in clashes.into_iter().filter(|(a, b)| a != b) {
        let reason = format!(
            "row {} and this row place the same guardian in households that do not fit together; those named apart stay apart",
            rows[a].number
        );
        desk.warn(
            Spot::row("children", rows[b].number),
            reason,
            "Write the household of each guardian in both rows.",
        );
    }
    (0..nodes.len()).map(|at| root(&mut parent, at)).collect()
}

/// Households and cares of every guardian written beside a child.
pub(super) fn cares(
    rows: &[Row],
    mentions: &[Mention],
    person: &[usize],
    guardians: &[Guardian],
    desk: &mut Desk,
) -> (Vec<Household>, Vec<Care>) {
    let (nodes, node_of) = household_nodes(rows, mentions, person);
    let roots = join_nodes(&nodes, rows, desk);
    // A guardian whose household is named in one row keeps it where another row leaves it blank.
    let mut named: HashMap<usize, usize> = HashMap::new();
    for (at, node) in nodes.iter().enumerate().filter(|(_, n)| !n.word.is_empty()) {
        for person in &node.people {
            named.entry(*person).or_insert(roots[at]);
        }
    }
    let mut home: Vec<usize> = Vec::with_capacity(mentions.len());
    for (at, node) in node_of.iter().enumerate() {
        let root = roots[*node];
        let own = nodes[*node].word.is_empty().then(|| named.get(&person[at]).copied()).flatten();
        home.push(own.unwrap_or(root));
    }
    let mut members: BTreeMap<usize, Members<'_>> = BTreeMap::new();
    for (at, root) in home.iter().enumerate() {
        let entry = members.entry(*root).or_default();
        entry.guardians.insert(&guardians[person[at]].reference);
        entry.children.insert(rows[mentions[at].row].text("ref"));
    }
    let (ids, households) = household_refs(members);
    let mut cares: Vec<Care> = Vec::new();
    let mut unsaid: Vec<(usize, u32)> = Vec::new();
    let mut seen: HashSet<(usize, usize)> = HashSet::new();
    for (at, mention) in mentions.iter().enumerate() {
        let row = &rows[mention.row];
        let column = |part: &str| guardian_column(mention.slot, part);
        if !seen.insert((mention.row, person[at])) {
            desk.error(
                Spot::named("children", row.number, &column("name")),
                "the same guardian is listed twice for this child",
                "Keep one of the two.",
            );
            continue;
        }
        if row.text(&column("collects")).is_empty() {
            unsaid.push((cares.len(), row.number));
        }
        cares.push(Care {
            who: Person::Child(ChildId(index(mention.row))),
            guardian: GuardianId(index(person[at])),
            household: ids[&home[at]],
            brings: typed::yes_no(row.text(&column("brings"))).unwrap_or(false),
            collects: typed::yes_no(row.text(&column("collects"))).unwrap_or(false),
        });
    }
    collecting(&cares, &unsaid, guardians, desk);
    (households, cares)
}

/// Where one of a home collects and of another nothing is said: that family reads that only the first may.
fn collecting(cares: &[Care], unsaid: &[(usize, u32)], guardians: &[Guardian], desk: &mut Desk) {
    let mut told: HashSet<GuardianId> = HashSet::new();
    let name = |care: &Care| shown(&guardians[care.guardian.at()].name);
    for (at, row) in unsaid {
        let care = &cares[*at];
        let beside =
            |other: &&Care| other.who == care.who && other.household == care.household && other.collects;
        let Some(other) = cares.iter().find(beside) else { continue };
        if !told.insert(care.guardian) {
            continue;
        }
        desk.hint_alike(
            Spot::row("children", *row),
            format!("nothing is said of whether {} collects; the family reads that {} may", name(care), name(other)),
            Alike {
                many: format!(
                    "nothing is said of whether {COUNT} guardians collect, beside another of their home who does: {CASES}; \
                     these families read that only the other may"
                ),
                case: name(care),
            },
            "Write yes or no under 'collects'.",
        );
    }
}

/// Refs of those who make up a household.
#[derive(Default, PartialEq, Eq, PartialOrd, Ord)]
struct Members<'a> {
    guardians: BTreeSet<&'a str>,
    /// Tell two households of one guardian apart, in whatever order the rows stand.
    children: BTreeSet<&'a str>,
}

/// A household is called after the smallest ref among its guardians, with a number where two would be called alike.
fn household_refs(members: BTreeMap<usize, Members<'_>>) -> (HashMap<usize, HouseholdId>, Vec<Household>) {
    let mut order: Vec<(Members<'_>, usize)> =
        members.into_iter().map(|(root, members)| (members, root)).collect();
    order.sort();
    let mut ids = HashMap::new();
    let mut households = Vec::new();
    let mut used: HashMap<&str, u8> = HashMap::new();
    for (members, root) in &order {
        let smallest = members.guardians.first().copied().unwrap_or_default();
        let times = used.entry(smallest).or_insert(0);
        let reference = match *times {
            0 => format!("H{smallest}"),
            again => format!("H{smallest}-{}", again + 1),
        };
        *times = times.saturating_add(1);
        ids.insert(*root, HouseholdId(index(households.len())));
        households.push(Household { reference });
    }
    (ids, households)
}
