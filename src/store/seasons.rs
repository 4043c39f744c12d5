//! The workbook in force, row by row.

use super::db::{DbRow, Value};
use super::{SqlStore, changes, instant, ledger, ms, placing, set, sql};
use crate::domain::book::{Book, Cell, FIRST_ROW, Row, Sheet};
use crate::domain::layout::SHEETS;
use crate::service::ports::{StoreFault, StoredSeason};
use jiff::Timestamp;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// The name of a stored row: its sheet, and its ref or place there.
pub(super) type Line = (String, String);
/// Stored rows: position and cells.
pub(super) type Lines = HashMap<Line, (i64, String)>;

pub(super) async fn read(store: &SqlStore) -> Result<Option<StoredSeason>, StoreFault> {
    let rows = store.db.fetch(sql::SEASON, vec![]).await?;
    let Some(row) = rows.first() else { return Ok(None) };
    let id = row.int(0)?;
    Ok(Some(StoredSeason {
        id,
        reference: row.text(1)?,
        revision: row.int(2)?,
        revised_at: instant("season", &id.to_string(), row.int(3)?)?,
        book: book_of(stored(store, id).await?)?,
        given: changes::given(store, id).await?,
    }))
}

/// The stored rows.
pub(super) async fn stored(store: &SqlStore, season: i64) -> Result<Lines, StoreFault> {
    lines_of(&store.db.fetch(sql::SEASON_ROWS, vec![season.into()]).await?)
}

fn lines_of(rows: &[DbRow]) -> Result<Lines, StoreFault> {
    let line = |row: &DbRow| Ok(((row.text(0)?, row.text(1)?), (row.int(2)?, row.text(3)?)));
    rows.iter().map(line).collect()
}

/// A workbook of stored rows.
pub(super) fn book_of(lines: Lines) -> Result<Book, StoreFault> {
    let mut sheets: HashMap<String, Vec<Row>> = HashMap::new();
    let mut lines: Vec<_> = lines.into_iter().collect();
    lines.sort_by_key(|(_, (position, _))| *position);
    for ((sheet, line), (_, cells)) in lines {
        let cells: BTreeMap<String, String> =
            serde_json::from_str(&cells).map_err(|error| StoreFault::BrokenRow {
                table: "season_row",
                row: format!("{sheet}/{line}"),
                reason: error.to_string(),
            })?;
        let cells = cells.into_iter().map(|(column, text)| (column, Cell::Text(text))).collect();
        let rows = sheets.entry(sheet).or_default();
        // As a spreadsheet shows them, whatever gaps changes have left between the stored positions.
        let number = u32::try_from(rows.len()).map_or(u32::MAX, |at| at.saturating_add(FIRST_ROW));
        rows.push(Row { number, cells });
    }
    let sheets = SHEETS
        .iter()
        .filter_map(|layout| {
            let rows = sheets.remove(layout.name)?;
            Some(Arc::new(Sheet { name: layout.name.to_owned(), rows }))
        })
        .collect();
    Ok(Book { sheets })
}

pub(super) async fn put(
    store: &SqlStore,
    reference: &str,
    book: &Book,
    before: Option<&Book>,
    expected: i64,
    at: Timestamp,
    what: &str,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let (season, revision) = if expected == 0 {
        let rows = tx.fetch(sql::SEASON_ADD, vec![reference.into(), ms(at).into()]).await?;
        let Some(row) = rows.first() else { return Ok(false) };
        (row.int(0)?, 1)
    } else {
        let Some(row) = tx.fetch(sql::SEASON, vec![]).await?.into_iter().next() else { return Ok(false) };
        let id = row.int(0)?;
        let rows = tx.fetch(sql::SEASON_REVISE, vec![id.into(), expected.into(), ms(at).into()]).await?;
        let Some(row) = rows.first() else { return Ok(false) };
        (id, row.int(0)?)
    };
    // Sheets that are as they were are neither read nor written.
    let unlike = |sheet: &&str| {
        before.is_none_or(|before| !before.shares(book, sheet) && before.rows(sheet) != book.rows(sheet))
    };
    let unlike: Vec<&str> = SHEETS.iter().map(|layout| layout.name).filter(unlike).collect();
    let stored = lines_of(&tx.fetch(sql::SEASON_ROWS_OF, vec![season.into(), set(&unlike)?]).await?)?;
    let wanted = placing::placed(
        book.sheets.iter().map(Arc::as_ref).filter(|s| unlike.contains(&s.name.as_str())),
        &stored,
    );
    let changed: Vec<_> = wanted.iter().filter(|(line, value)| stored.get(*line) != Some(*value)).collect();
    let gone: Vec<&Line> = stored.keys().filter(|line| !wanted.contains_key(*line)).collect();
    let replaced: Vec<&Line> = changed.iter().map(|(line, _)| *line).chain(gone.iter().copied()).collect();
    changes::note(&mut tx, season, (revision, at, what), &stored, &replaced).await?;
    changes::give(&mut tx, season, book).await?;
    let changed: Vec<_> = changed
        .into_iter()
        .map(|((sheet, line), (position, cells))| (sheet, line, position, cells))
        .collect();
    tx.run(sql::ROWS_PUT, vec![set(&changed)?, Value::Int(season)]).await?;
    tx.run(sql::ROWS_DROP, vec![set(&gone)?, Value::Int(season)]).await?;
    let about = format!("changed={} gone={} revision={revision}", changed.len(), gone.len());
    ledger::append(store, &mut tx, season, vec![ledger::Note::plain(at, "season", about)]).await?;
    store.commit(tx, "put_season").await?;
    Ok(true)
}
