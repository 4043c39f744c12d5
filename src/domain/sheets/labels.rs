//! What children are called among staff: no more letters of the family name than tell them apart, and the ref where names
//! do not.

use crate::domain::season::{Child, ChildId, Season};
use crate::domain::words::{fold, key};
use std::collections::HashMap;

/// A child's name in the form in which names are told apart.
struct Face {
    child: ChildId,
    given: String,
    family: Vec<char>,
}

/// The label of each of some children.
pub fn labels(season: &Season, children: &[ChildId]) -> HashMap<ChildId, String> {
    let face = |child: &ChildId| {
        let named = &season.children[child.at()];
        Face { child: *child, given: key(&named.given), family: named.family.chars().map(fold).collect() }
    };
    let mut faces: Vec<Face> = children.iter().map(face).collect();
    // Whoever is most like a child then stands beside it.
    faces.sort_by(|a, b| (&a.given, &a.family, a.child).cmp(&(&b.given, &b.family, b.child)));
    let letters = |at: usize| {
        let beside = [at.checked_sub(1), Some(at + 1)].into_iter().flatten();
        let mut most = 1;
        for other in beside.filter_map(|beside| faces.get(beside)).filter(|o| o.given == faces[at].given) {
            most = apart(&faces[at].family, &other.family)?.max(most);
        }
        Some(most)
    };
    let label = |(at, face): (usize, &Face)| {
        let child = &season.children[face.child.at()];
        let label = match letters(at) {
            Some(letters) => called(child, letters),
            None => format!("{} ({})", called(child, usize::MAX), child.reference),
        };
        (face.child, label)
    };
    faces.iter().enumerate().map(label).collect()
}

/// How many letters of the first name tell it from the other; none where nothing does. What is left out leaves a full stop,
/// so a whole name is told from a longer one by its own letters.
fn apart(one: &[char], other: &[char]) -> Option<usize> {
    let same = one.iter().zip(other).take_while(|(a, b)| a == b).count();
    match (same == one.len(), same == other.len()) {
        (true, true) => None,
        (true, false) | (false, true) => Some(same),
        (false, false) => Some(same + 1),
    }
}

fn called(child: &Child, letters: usize) -> String {
    let mut label = child.given.clone();
    label.push(' ');
    let mut family = child.family.chars();
    let mut first = true;
    for c in family.by_ref().take(letters) {
        if std::mem::take(&mut first) { label.extend(c.to_uppercase()) } else { label.push(c) }
    }
    if family.next().is_some() {
        label.push('.');
    }
    label.trim().to_owned()
}
