//! The independent checker: reads only the workbook, the outbox and the ledger, and works out for itself what was owed.
//!
//! It shares no code with the planning and the sending, on purpose: two computations that agree are worth more than one
//! that is used twice. Of the domain it knows the plain rows of the workbook and nothing else.

mod day;
mod faults;
mod outbox;
mod owed;
mod record;
mod repeats;
mod said;
#[cfg(test)]
mod tests;
mod view;

use crate::domain::book::Book;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::path::Path;

/// Examples kept, at most.
const EXAMPLES: usize = 40;

/// One line of the ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// When it was written.
    pub at: Timestamp,
    /// Kind, such as `attempting`, `accepted`, `answer` or `stop`.
    pub kind: String,
    /// What it is about, refs only; lists have spaces between them.
    pub about: BTreeMap<String, String>,
}

/// What the checker found wrong.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Violations {
    /// Files that say to a guardian again what one notice had said on that channel, with no uncertain outcome between.
    pub duplicate: u64,
    /// Files dated outside the permitted hours.
    pub out_of_hours: u64,
    /// Files to a guardian who had asked for that channel to stop.
    pub after_opt_out: u64,
    /// Files with times that the workbook in force did not say.
    pub stale_facts: u64,
    /// What was owed and neither sent nor ended in the ledger.
    pub lost: u64,
    /// Mails to families about a child's day without the names of those who sign, or with the name of somebody else.
    pub wrong_names: u64,
    /// Texts that do not begin with who sends them, ask for nothing where an answer is owed, or leave out the time of the
    /// next day.
    pub half_said: u64,
    /// Messages about a child at an event begun after a person had noted that it is not coming.
    pub after_absence: u64,
    /// Files that cannot be read, or that no line of the ledger accounts for.
    pub unaccounted: u64,
    /// The first of them, by refs only.
    pub examples: Vec<String>,
}

impl Violations {
    /// Everything counted.
    pub fn total(&self) -> u64 {
        self.duplicate
            + self.out_of_hours
            + self.after_opt_out
            + self.stale_facts
            + self.wrong_names
            + self.half_said
            + self.after_absence
            + self.lost
            + self.unaccounted
    }

    fn example(&mut self, text: String) {
        if self.examples.len() < EXAMPLES {
            self.examples.push(text);
        }
    }
}

/// The record as the checker keeps it: what the lines say and not the lines, which are most of a season's memory.
#[derive(Debug, Default)]
pub struct Ledger(record::Record);

impl Ledger {
    /// The whole record at once.
    pub fn of(lines: &[Line]) -> Ledger {
        let mut ledger = Ledger::default();
        ledger.add(lines);
        ledger
    }

    /// More of it, none older than what came before.
    pub fn add(&mut self, lines: &[Line]) {
        self.0.add(lines);
    }
}

/// Counts what went wrong in a season: `books` are the workbooks with the instant from which each was in force, `outbox` the
/// folder with `mail/new/*.eml` and `texts/*.txt`, `ledger` the whole record. A folder that is not there counts as empty.
pub fn count(books: &[(Timestamp, Book)], outbox: &Path, ledger: &Ledger) -> Violations {
    let mut found = Violations::default();
    let mut views: Vec<view::View> =
        books.iter().filter_map(|(from, book)| view::View::of(*from, book)).collect();
    views.sort_by_key(|view| view.from);
    if views.is_empty() {
        return found;
    }
    let record = &ledger.0;
    let sent = outbox::read(outbox, &mut found);
    let season = record::Season { views: &views, record };
    let linked: Vec<record::Linked> = sent.iter().map(|file| season.link(file)).collect();
    faults::count(&season, &linked, &mut found);
    said::count(&season, &linked, &mut found);
    owed::count(&season, &linked, &mut found);
    found
}
