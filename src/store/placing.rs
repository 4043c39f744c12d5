//! Where the rows of a workbook are stored: each keeps its name and its position as long as it can, so that a change
//! writes its own rows and no others.

use super::seasons::{Line, Lines};
use crate::domain::book::{Cell, FIRST_ROW, Row, Sheet};
use crate::domain::layout::SHEETS;
use std::collections::{BTreeMap, HashMap, VecDeque};

/// The rows of some sheets as they are to be stored: by sheet and line, position and cells.
pub(super) fn placed<'a>(
    sheets: impl Iterator<Item = &'a Sheet>,
    stored: &Lines,
) -> BTreeMap<Line, (i64, String)> {
    let mut out = BTreeMap::new();
    for sheet in sheets {
        let has_ref = SHEETS.iter().any(|layout| layout.name == sheet.name && layout.letter.is_some());
        let mut unnamed = if has_ref { Unnamed::default() } else { Unnamed::of(&sheet.name, stored) };
        let mut last = i64::from(FIRST_ROW) - 1;
        for row in &sheet.rows {
            let (reference, cells) = (row.text("ref"), cells(row));
            // House rules share one ref over several languages, so the language is part of the line's name.
            let line = if has_ref && !reference.is_empty() {
                format!("{reference} {}", row.text("language"))
            } else {
                unnamed.line(&cells)
            };
            let name = (sheet.name.clone(), line);
            let kept = stored.get(&name).map(|(position, _)| *position).filter(|position| *position > last);
            last = kept.unwrap_or(last + 1);
            out.insert(name, (last, cells));
        }
    }
    out
}

fn cells(row: &Row) -> String {
    let texts = row.cells.iter().filter_map(|(column, cell)| match cell {
        Cell::Text(text) => Some((column.as_str(), text.as_str())),
        Cell::Fault(_) => None,
    });
    serde_json::json!(texts.collect::<BTreeMap<&str, &str>>()).to_string()
}

/// Rows without a ref are known again by what they say; others get the next free name.
#[derive(Default)]
struct Unnamed<'a> {
    known: HashMap<&'a str, VecDeque<&'a str>>,
    next: u64,
}

impl<'a> Unnamed<'a> {
    fn of(sheet: &str, stored: &'a Lines) -> Unnamed<'a> {
        let mut rows: Vec<_> = stored.iter().filter(|((of, _), _)| of == sheet).collect();
        rows.sort_by_key(|(_, (position, _))| *position);
        let mut unnamed = Unnamed::default();
        for ((_, line), (_, cells)) in rows {
            unnamed.known.entry(cells).or_default().push_back(line);
            let number = line.strip_prefix('#').and_then(|digits| digits.parse().ok());
            unnamed.next = unnamed.next.max(number.map_or(0, |number: u64| number + 1));
        }
        unnamed
    }

    fn line(&mut self, cells: &str) -> String {
        if let Some(line) = self.known.get_mut(cells).and_then(VecDeque::pop_front) {
            return line.to_owned();
        }
        self.next += 1;
        format!("#{:06}", self.next - 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::book::Book;

    fn book(numbers: &[&str], refs: &[&str]) -> Book {
        let mut book = Book::default();
        for (sheet, column, texts) in [("running order", "number", numbers), ("children", "ref", refs)] {
            for text in texts {
                let mut row = Row::default();
                row.set(column, *text);
                book.sheet_mut(sheet).rows.push(row);
            }
        }
        book
    }

    fn stored(book: &Book, before: &Lines) -> Lines {
        placed(book.sheets.iter().map(|sheet| &**sheet), before).into_iter().collect()
    }

    /// Rows written and dropped in going from one workbook to another, and the order they are read back in.
    fn check(from: (&[&str], &[&str]), to: (&[&str], &[&str]), written: usize, dropped: usize) {
        let old = stored(&book(from.0, from.1), &Lines::new());
        let new = stored(&book(to.0, to.1), &old);
        let differing = new.iter().filter(|(line, value)| old.get(*line) != Some(*value)).count();
        let gone = old.keys().filter(|line| !new.contains_key(*line)).count();
        assert_eq!((differing, gone), (written, dropped), "{from:?} {to:?}");
        for (sheet, texts) in [("running order", to.0), ("children", to.1)] {
            let mut rows: Vec<_> = new.iter().filter(|((of, _), _)| of == sheet).collect();
            rows.sort_by_key(|(_, (position, _))| *position);
            let read: Vec<bool> =
                rows.iter().zip(texts).map(|((_, (_, cells)), text)| cells.contains(text)).collect();
            assert_eq!(read, vec![true; texts.len()], "{rows:?}");
        }
    }

    #[test]
    fn a_change_writes_its_own_rows() {
        let all: (&[&str], &[&str]) = (&["Kelp", "Gulls", "Finale"], &["C001", "C002", "C003"]);
        check(all, all, 0, 0);
        check(all, (&["Kelp", "Finale"], &["C001", "C003"]), 0, 2);
        check(all, (&["Kelp", "Gulls", "Finale", "Bow"], all.1), 1, 0);
        check(all, (&["Kelp", "Ropewalk", "Finale"], all.1), 1, 1);
        // The same row twice stands twice.
        check((&["Kelp", "Kelp"], &[]), (&["Kelp"], &[]), 0, 1);
        // Where rows change places, those behind give way.
        check(all, (all.0, &["C003", "C001", "C002"]), 2, 0);
    }
}
