//! Rosters that come back emptied or halved: more often a slip of the hand than a wish, so a person looks twice.

use super::book::Book;
use super::layout::{GUARDIANS_PER_CHILD, guardian_column};
use std::collections::HashSet;

/// Sheets that are looked at twice where they had lines and have none.
const EMPTIED: [&str; 5] = ["children", "chaperones", "duties", "events", "numbers"];
/// Sheets that are looked at twice where fewer than half their lines are left.
const HALVED: [&str; 3] = ["children", "chaperones", "duties"];
/// What guardians are called, who have no sheet of their own.
const GUARDIANS: &str = "guardians";

/// A roster from which too much goes to be taken on the first word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hold {
    /// Which: the name of a sheet, or `guardians`.
    pub roster: &'static str,
    /// Lines before.
    pub before: usize,
    /// Lines left.
    pub after: usize,
}

impl Hold {
    /// What is held, in a sentence without a full stop.
    pub fn words(&self) -> String {
        match self.after {
            0 => format!("none of {} {} is left", self.before, self.roster),
            after => format!("{after} of {} {} are left", self.before, self.roster),
        }
    }
}

/// The rosters that a workbook empties or halves.
pub fn holds(old: &Book, new: &Book) -> Vec<Hold> {
    let lines = |roster: &'static str| match roster {
        GUARDIANS if old.shares(new, "children") => (0, 0),
        GUARDIANS => (guardians(old), guardians(new)),
        sheet => (old.rows(sheet).len(), new.rows(sheet).len()),
    };
    let emptied = EMPTIED.into_iter().filter(|roster| matches!(lines(roster), (1.., 0)));
    let halved = HALVED.into_iter().chain([GUARDIANS]).filter(|roster| {
        let (before, after) = lines(roster);
        after * 2 < before
    });
    let mut out: Vec<Hold> = Vec::new();
    for roster in emptied.chain(halved) {
        let (before, after) = lines(roster);
        if out.iter().all(|hold| hold.roster != roster) {
            out.push(Hold { roster, before, after });
        }
    }
    out
}

/// Guardians by their refs.
fn guardians(book: &Book) -> usize {
    let columns: Vec<String> = (1..=GUARDIANS_PER_CHILD).map(|slot| guardian_column(slot, "ref")).collect();
    let refs = book.rows("children").iter().flat_map(|row| columns.iter().map(|column| row.text(column)));
    refs.filter(|reference| !reference.is_empty()).collect::<HashSet<_>>().len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::book::Row;

    fn book(lines: &[(&str, usize)]) -> Book {
        let mut book = Book::default();
        for (sheet, count) in lines {
            for at in 0..*count {
                let mut row = Row::default();
                row.set("ref", format!("X{at}"));
                if *sheet == "children" {
                    row.set("guardian 1 ref", format!("G{}", at % 4));
                }
                book.sheet_mut(sheet).rows.push(row);
            }
        }
        book
    }

    fn check(old: &[(&str, usize)], new: &[(&str, usize)], expect: &[&str]) {
        let words: Vec<String> = holds(&book(old), &book(new)).iter().map(Hold::words).collect();
        assert_eq!(words, expect, "{old:?} {new:?}");
    }

    #[test]
    fn emptied_and_halved_rosters_are_held_and_others_are_not() {
        check(&[("children", 8)], &[("children", 4)], &[]);
        check(&[("children", 8)], &[("children", 3)], &["3 of 8 children are left"]);
        check(
            &[("children", 8)],
            &[("children", 1)],
            &["1 of 8 children are left", "1 of 4 guardians are left"],
        );
        check(&[("duties", 1)], &[], &["none of 1 duties is left"]);
        check(&[("events", 9)], &[("events", 1)], &[]);
        check(&[("events", 9)], &[], &["none of 9 events is left"]);
        check(&[], &[("children", 3)], &[]);
        check(&[("chaperones", 5), ("notices", 4)], &[("chaperones", 2)], &["2 of 5 chaperones are left"]);
    }
}
