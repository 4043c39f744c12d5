//! What one workbook changes in another, line by line, in words for a person.

use super::book::{Book, Row};
use super::layout::{GUARDIANS_PER_CHILD, SHEETS, guardian_column};
use super::words::key;
use std::collections::{BTreeMap, BTreeSet};

/// Columns of a guardian that say who she is and how to reach her; the others say what she is to the child.
const CONTACT: [&str; 7] = ["name", "mobile", "e-mail", "language", "texts", "mails", "agreed"];
/// Columns of a guardian that say what she is to the child.
const CARE: [&str; 4] = ["ref", "household", "brings", "collects"];

/// What happens to a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ChangeKind {
    /// New.
    Added,
    /// Different.
    Changed,
    /// No longer there.
    Gone,
}

/// One thing that a workbook changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// What happens to it.
    pub kind: ChangeKind,
    /// What it is, such as "child".
    pub what: &'static str,
    /// Its name as people know it.
    pub name: String,
    /// What differs, in words; may be empty.
    pub detail: String,
}

/// How the lines of a sheet are told apart, and what one of them is called.
struct Sort {
    sheet: &'static str,
    what: &'static str,
    by: &'static [&'static str],
    named: &'static [&'static str],
}

const SORTS: &[Sort] = &[
    sort("season", "setting", &["setting"], &["setting"]),
    sort("places", "place", &["ref"], &["name"]),
    sort("ways", "way in", &["place", "from"], &["place", "from"]),
    sort("rooms", "room", &["place", "name"], &["place", "name"]),
    sort("events", "event", &["ref"], &["name"]),
    sort("numbers", "number", &["ref"], &["name"]),
    sort("running order", "running order", &["event"], &["event"]),
    sort("children", "child", &["ref"], &["given name", "family name"]),
    sort("chaperones", "chaperone", &["ref"], &["name"]),
    sort("duties", "duty", &["chaperone", "event", "number"], &["chaperone", "event", "number"]),
    sort("house rules", "house rule", &["ref", "language"], &["name", "language"]),
    sort("notices", "notice", &["ref"], &["name"]),
];

const fn sort(
    sheet: &'static str,
    what: &'static str,
    by: &'static [&'static str],
    named: &'static [&'static str],
) -> Sort {
    Sort { sheet, what, by, named }
}

/// Everything that differs from `old` to `new`; nothing exactly when taking `new` in would change nothing. Both have their refs.
pub fn changes(old: &Book, new: &Book) -> Vec<Change> {
    let mut out = Vec::new();
    for sort in SORTS {
        if old.agrees(new, sort.sheet) {
            continue;
        }
        sheet(sort, old.rows(sort.sheet), new.rows(sort.sheet), &mut out);
        if sort.sheet == "children" {
            guardians(old.rows(sort.sheet), new.rows(sort.sheet), &mut out);
        }
    }
    out
}

fn sheet(sort: &Sort, old: &[Row], new: &[Row], out: &mut Vec<Change>) {
    let (before, after) = (grouped(sort, old), grouped(sort, new));
    let count = out.len();
    let names: BTreeSet<&Vec<String>> = before.keys().chain(after.keys()).collect();
    for at in names {
        let (kind, row, detail) = match (before.get(at), after.get(at)) {
            (None, Some(rows)) => (ChangeKind::Added, rows[0], String::new()),
            (Some(rows), None) => (ChangeKind::Gone, rows[0], String::new()),
            (Some(a), Some(b)) if !same(a, b) => (ChangeKind::Changed, b[0], detail(sort, a, b)),
            _ => continue,
        };
        if kind != ChangeKind::Changed || !detail.is_empty() {
            out.push(Change { kind, what: sort.what, name: name(sort, row), detail });
        }
    }
    let order = |rows: &[Row]| rows.iter().map(|row| identity(sort, row)).collect::<Vec<_>>();
    if out.len() == count && order(old) != order(new) {
        let detail = "the lines stand in another order".to_owned();
        out.push(Change { kind: ChangeKind::Changed, what: "sheet", name: sort.sheet.to_owned(), detail });
    }
}

fn identity(sort: &Sort, row: &Row) -> Vec<String> {
    sort.by.iter().map(|column| key(row.text(column))).collect()
}

fn grouped<'a>(sort: &Sort, rows: &'a [Row]) -> BTreeMap<Vec<String>, Vec<&'a Row>> {
    let mut groups: BTreeMap<Vec<String>, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        groups.entry(identity(sort, row)).or_default().push(row);
    }
    groups
}

fn same(a: &[&Row], b: &[&Row]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.cells == b.cells)
}

fn name(sort: &Sort, row: &Row) -> String {
    let parts: Vec<&str> = sort.named.iter().map(|c| row.text(c)).filter(|t| !t.is_empty()).collect();
    parts.join(if sort.sheet == "children" { " " } else { ", " })
}

/// What differs, in words; empty if only the guardians' own lines do.
fn detail(sort: &Sort, a: &[&Row], b: &[&Row]) -> String {
    let ([a], [b]) = (a, b) else {
        return format!("{} lines, {} before", b.len(), a.len());
    };
    let columns: Vec<&str> = SHEETS
        .iter()
        .find(|layout| layout.name == sort.sheet)
        .map(|layout| layout.columns.iter().map(|c| c.name).collect())
        .unwrap_or_default();
    let mut words: Vec<String> = columns
        .iter()
        .filter(|column| !column.starts_with("guardian ") && a.text(column) != b.text(column))
        .map(|column| became(column, a.text(column), b.text(column)))
        .collect();
    let care = |row: &Row| {
        let mut parts: Vec<Vec<String>> = (1..=GUARDIANS_PER_CHILD)
            .map(|n| CARE.iter().map(|part| row.text(&guardian_column(n, part)).to_owned()).collect())
            .collect();
        parts.retain(|part: &Vec<String>| part.iter().any(|text| !text.is_empty()));
        parts
    };
    if care(a) != care(b) {
        words.push("who brings, collects or lives where".to_owned());
    }
    words.join("; ")
}

fn became(column: &str, old: &str, new: &str) -> String {
    match (old, new) {
        ("", new) => format!("{column}: {new}"),
        (old, "") => format!("{column}: no longer {old}"),
        (old, new) => format!("{column}: {old} becomes {new}"),
    }
}

/// Guardians stand beside children, one perhaps beside several; told once each.
fn guardians(old: &[Row], new: &[Row], out: &mut Vec<Change>) {
    let (before, after) = (contacts(old), contacts(new));
    let refs: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    for reference in refs {
        let named = |columns: &Contacts| columns["name"].iter().next().cloned().unwrap_or_default();
        let (kind, name, detail) = match (before.get(reference), after.get(reference)) {
            (None, Some(new)) => (ChangeKind::Added, named(new), String::new()),
            (Some(old), None) => (ChangeKind::Gone, named(old), String::new()),
            (Some(old), Some(new)) if old != new => {
                let words: Vec<String> = CONTACT
                    .iter()
                    .filter(|column| old[**column] != new[**column])
                    .map(|column| became(column, &joined(&old[*column]), &joined(&new[*column])))
                    .collect();
                (ChangeKind::Changed, named(new), words.join("; "))
            }
            _ => continue,
        };
        out.push(Change { kind, what: "guardian", name, detail });
    }
}

type Contacts = BTreeMap<&'static str, BTreeSet<String>>;

fn joined(texts: &BTreeSet<String>) -> String {
    texts.iter().map(String::as_str).collect::<Vec<_>>().join(" / ")
}

fn contacts(rows: &[Row]) -> BTreeMap<String, Contacts> {
    let mut out: BTreeMap<String, Contacts> = BTreeMap::new();
    for row in rows {
        for slot in 1..=GUARDIANS_PER_CHILD {
            let reference = row.text(&guardian_column(slot, "ref"));
            if reference.is_empty() {
                continue;
            }
            let all = out
                .entry(reference.to_owned())
                .or_insert_with(|| CONTACT.iter().map(|column| (*column, BTreeSet::new())).collect());
            for column in CONTACT {
                let text = row.text(&guardian_column(slot, column));
                if !text.is_empty() {
                    all.entry(column).or_default().insert(text.to_owned());
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::book::Row;

    fn book(rows: &[(&str, &[(&str, &str)])]) -> Book {
        let mut book = Book::default();
        for (sheet, cells) in rows {
            let mut row = Row::default();
            cells.iter().for_each(|(column, text)| row.set(column, *text));
            book.sheet_mut(sheet).rows.push(row);
        }
        book
    }

    fn told(old: &Book, new: &Book) -> Vec<(ChangeKind, &'static str, String, String)> {
        changes(old, new).into_iter().map(|c| (c.kind, c.what, c.name, c.detail)).collect()
    }

    const ADA: &[(&str, &str)] = &[
        ("ref", "C001"),
        ("given name", "Ada"),
        ("family name", "Finch"),
        ("guardian 1 ref", "G001"),
        ("guardian 1 name", "May Finch"),
        ("guardian 1 mobile", "020 7946 0001"),
    ];

    #[test]
    fn a_number_of_a_guardian_is_told_as_hers_and_not_as_the_childs() {
        let old = book(&[("children", ADA)]);
        let mut new = old.clone();
        new.sheet_mut("children").rows[0].set("guardian 1 mobile", "020 7946 0002");
        let detail = "mobile: 020 7946 0001 becomes 020 7946 0002".to_owned();
        assert_eq!(told(&old, &new), vec![(ChangeKind::Changed, "guardian", "May Finch".to_owned(), detail)]);
        assert_eq!(told(&old, &old), vec![]);
    }

    #[test]
    fn a_new_call_a_new_line_and_one_that_is_gone() {
        let show: &[(&str, &str)] = &[("ref", "E001"), ("name", "Show"), ("call", "17:30")];
        let old = book(&[("events", show), ("children", ADA)]);
        let mut new = book(&[("events", show), ("events", &[("ref", "E002"), ("name", "Second show")])]);
        new.sheet_mut("events").rows[0].set("call", "17:00");
        let says: Vec<_> =
            told(&old, &new).into_iter().map(|(k, w, n, d)| format!("{k:?} {w} {n}: {d}")).collect();
        assert_eq!(
            says,
            [
                "Changed event Show: call: 17:30 becomes 17:00",
                "Added event Second show: ",
                "Gone child Ada Finch: ",
                "Gone guardian May Finch: ",
            ]
        );
    }

    #[test]
    fn another_order_of_the_same_lines_is_a_change() {
        let old = book(&[
            ("numbers", &[("ref", "N001"), ("name", "Bells")]),
            ("numbers", &[("ref", "N002"), ("name", "Boats")]),
        ]);
        let mut new = old.clone();
        new.sheet_mut("numbers").rows.reverse();
        let says = told(&old, &new);
        assert_eq!(says.len(), 1);
        assert_eq!((says[0].1, says[0].2.as_str()), ("sheet", "numbers"));
    }
}
