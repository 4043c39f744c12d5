//! One action on the season in force: looked at like a workbook that is brought, and the latest taken back.

use super::bringing::Bringing;
use super::office::{Office, OfficeFault};
use super::ports::{Gateway, Store, StoredChange};
use crate::domain::book::{Problem, Weight};
use crate::domain::edit::{Edit, EditFault};
use crate::domain::refs;
use std::collections::HashMap;
use std::sync::Arc;

/// Changes shown, the latest first.
const CHANGES_SHOWN: u32 = 50;

/// What an action would do, or why it cannot be done.
pub type Looked = Result<Bringing, EditFault>;

impl<S: Store, G: Gateway> Office<S, G> {
    /// What an edit of the season in force would change. Writes nothing.
    pub async fn preview_edit(&self, edit: &Edit) -> Result<Looked, OfficeFault> {
        let (board, warnings, in_force) = {
            let desk = self.desk().await?;
            (Arc::clone(&desk.board), Arc::clone(&desk.warnings), desk.in_force())
        };
        let stored = &in_force.stored;
        let mut book = match edit.apply(&stored.book, &board.season) {
            Ok(book) => book,
            Err(fault) => return Ok(Err(fault)),
        };
        let questions = match edit.adds_rows() {
            true => refs::adopt_above(&mut book, Some(&stored.book), &stored.given),
            false => Vec::new(),
        };
        let mut bringing = self.look(Some(&in_force), book, Vec::new(), questions).await?;
        bringing.what = edit.words(&board.season);
        only_new(&mut bringing, &warnings);
        Ok(Ok(bringing))
    }

    /// What taking the latest change back would do; none if it is not the latest any more, or what it replaced is not
    /// known.
    pub async fn preview_undo(&self, revision: i64) -> Result<Option<Bringing>, OfficeFault> {
        let (warnings, in_force) = {
            let desk = self.desk().await?;
            (Arc::clone(&desk.warnings), desk.in_force())
        };
        let stored = &in_force.stored;
        let Some(mut book) = self.store.book_before(stored.id, revision).await? else { return Ok(None) };
        book.share(&stored.book);
        let changes = self.store.changes(stored.id, 1).await?;
        let what = changes.into_iter().find(|change| change.revision == revision).map(|change| change.what);
        // Its rows have their refs, also those that are gone meanwhile.
        let mut bringing = self.look(Some(&in_force), book, Vec::new(), Vec::new()).await?;
        only_new(&mut bringing, &warnings);
        bringing.what = format!("taken back: {}", what.unwrap_or_default());
        Ok((bringing.revision == revision).then_some(bringing))
    }

    /// What was changed so far, the latest first.
    pub async fn changes(&self) -> Result<Vec<StoredChange>, OfficeFault> {
        let season = self.desk().await?.season;
        Ok(self.store.changes(season, CHANGES_SHOWN).await?)
    }
}

/// Leaves out what was worth a look before: an action is told only what comes of it.
fn only_new(bringing: &mut Bringing, known: &[Problem]) {
    let mut most: HashMap<(&str, String), usize> = HashMap::new();
    for problem in known {
        let (words, figures) = gist(&problem.reason);
        let before = most.entry((&problem.sheet, words)).or_insert(0);
        *before = figures.max(*before);
    }
    bringing.problems.retain(|problem| {
        let (words, figures) = gist(&problem.reason);
        let before = most.get(&(problem.sheet.as_str(), words));
        problem.weight == Weight::Error || before.is_none_or(|before| figures > *before)
    });
}

/// The words of a finding without the rows it names, and how many figures stand in it: the same about as many rows, or
/// fewer, is nothing new.
fn gist(reason: &str) -> (String, usize) {
    const OF_LISTS: [&str; 3] = ["row", "rows", "and"];
    let parts = reason.split(|c: char| !c.is_alphanumeric()).filter(|part| !part.is_empty());
    let (figures, words): (Vec<&str>, Vec<&str>) =
        parts.partition(|part| part.bytes().all(|b| b.is_ascii_digit()));
    let words: Vec<&str> = words.into_iter().filter(|word| !OF_LISTS.contains(word)).collect();
    (words.join(" "), figures.len())
}

#[cfg(test)]
mod tests {
    use super::gist;

    fn check(one: &str, other: &str, same: bool, fewer: bool) {
        let (one, other) = (gist(one), gist(other));
        assert_eq!((one.0 == other.0, one.1 < other.1), (same, fewer), "{one:?} {other:?}");
    }

    #[test]
    fn the_same_finding_about_other_rows_is_known_again() {
        let three = "3 telephone numbers in rows 2, 3 and 5: each is a land line";
        check(three, "4 telephone numbers in rows 2, 3, 4 and 6: each is a land line", true, true);
        check(three, "3 telephone numbers in rows 3, 4 and 6: each is a land line", true, false);
        check("no time between 'Kelp' and 'Gulls'", "no time between 'Kelp' and 'Finale'", false, false);
    }
}
