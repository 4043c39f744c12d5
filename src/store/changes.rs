//! What each change of the workbook replaced, for as long as it may be taken back, and the refs that were given out.

use super::db::Tx;
use super::seasons::{self, Line, Lines};
use super::{SqlStore, instant, ms, set, sql};
use crate::domain::book::Book;
use crate::domain::refs::{self, Given};
use crate::service::ports::{StoreFault, StoredChange};
use jiff::Timestamp;

/// Changes whose old rows are kept; they hold what people wrote, so no more than can be of use.
const CHANGES_KEPT: i64 = 50;
/// The position of a row that was not there.
const ABSENT: i64 = -1;

/// A row as it was: sheet, line, position, cells.
type Was<'a> = (&'a str, &'a str, i64, &'a str);

/// Writes down what a change replaces.
pub(super) async fn note(
    tx: &mut Tx,
    season: i64,
    (revision, at, what): (i64, Timestamp, &str),
    stored: &Lines,
    lines: &[&Line],
) -> Result<(), StoreFault> {
    let was: Vec<Was<'_>> = lines
        .iter()
        .map(|line| {
            let old = stored.get(*line).map_or((ABSENT, ""), |(position, cells)| (*position, cells.as_str()));
            (line.0.as_str(), line.1.as_str(), old.0, old.1)
        })
        .collect();
    // Before the first workbook there is nothing to go back to.
    let was = if revision == 1 { "".into() } else { set(&was)? };
    let values = vec![season.into(), revision.into(), ms(at).into(), what.into(), was];
    tx.run(sql::CHANGE_ADD, values).await?;
    tx.run(sql::CHANGES_FORGET, vec![season.into(), (revision - CHANGES_KEPT).into()]).await?;
    Ok(())
}

pub(super) async fn list(store: &SqlStore, season: i64, most: u32) -> Result<Vec<StoredChange>, StoreFault> {
    let rows = store.db.fetch(sql::CHANGES, vec![season.into(), i64::from(most).into()]).await?;
    rows.iter()
        .map(|row| {
            let revision = row.int(0)?;
            Ok(StoredChange {
                revision,
                at: instant("season_change", &revision.to_string(), row.int(1)?)?,
                what: row.text(2)?,
                known: row.bool(3)?,
            })
        })
        .collect()
}

/// The workbook before a change, if that change is the latest and what it replaced is known.
pub(super) async fn before(store: &SqlStore, season: i64, revision: i64) -> Result<Option<Book>, StoreFault> {
    let rows = store.db.fetch(sql::CHANGE_LINES, vec![season.into(), revision.into()]).await?;
    let Some(text) = rows.first().map(|row| row.text(0)).transpose()?.filter(|text| !text.is_empty()) else {
        return Ok(None);
    };
    let was: Vec<(String, String, i64, String)> = serde_json::from_str(&text).map_err(|error| {
        StoreFault::BrokenRow { table: "season_change", row: revision.to_string(), reason: error.to_string() }
    })?;
    let mut lines = seasons::stored(store, season).await?;
    for (sheet, line, position, cells) in was {
        if position == ABSENT {
            lines.remove(&(sheet, line));
        } else {
            lines.insert((sheet, line), (position, cells));
        }
    }
    seasons::book_of(lines).map(Some)
}

/// The highest number given out under each letter, also to rows that are gone: a ref never means anything else.
pub(super) async fn given(store: &SqlStore, season: i64) -> Result<Given, StoreFault> {
    let rows = store.db.fetch(sql::GIVEN, vec![season.into()]).await?;
    let mut given = Given::new();
    for row in rows {
        if let Some(letter) = row.text(0)?.chars().next() {
            given.insert(letter, u64::try_from(row.int(1)?).unwrap_or(0));
        }
    }
    Ok(given)
}

/// Notes the refs of a workbook as given out.
pub(super) async fn give(tx: &mut Tx, season: i64, book: &Book) -> Result<(), StoreFault> {
    let highest = refs::given_with(&Given::new(), book);
    let rows: Vec<(String, u64)> =
        highest.into_iter().map(|(letter, number)| (letter.to_string(), number)).collect();
    tx.run(sql::GIVE, vec![set(&rows)?, season.into()]).await?;
    Ok(())
}
