//! The workbook in force, row by row.

use super::db::{Row as DbRow, Value};
use super::{SqlStore, changes, instant, ledger, ms, set, sql};
use crate::domain::book::{Book, Cell, Row, Sheet};
use crate::domain::layout::SHEETS;
use crate::service::ports::{StoreFault, StoredSeason};
use jiff::Timestamp;
use std::collections::{BTreeMap, HashMap};

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
    for ((sheet, line), (position, cells)) in lines {
        let cells: BTreeMap<String, String> =
            serde_json::from_str(&cells).map_err(|error| StoreFault::BrokenRow {
                table: "season_row",
                row: format!("{sheet}/{line}"),
                reason: error.to_string(),
            })?;
        let cells = cells.into_iter().map(|(column, text)| (column, Cell::Text(text))).collect();
        sheets.entry(sheet).or_default().push(Row { number: u32::try_from(position).unwrap_or(0), cells });
    }
    let sheets = SHEETS
        .iter()
        .filter_map(|layout| {
            let mut rows = sheets.remove(layout.name)?;
            rows.sort_by_key(|row| row.number);
            Some(Sheet { name: layout.name.to_owned(), rows })
        })
        .collect();
    Ok(Book { sheets })
}

/// The names of a workbook's rows as stored, with their positions.
fn named(book: &Book) -> impl Iterator<Item = (Line, (i64, &Row))> {
    book.sheets.iter().flat_map(|sheet| {
        let has_ref = SHEETS.iter().any(|l| l.name == sheet.name && l.letter.is_some());
        sheet.rows.iter().enumerate().map(move |(at, row)| {
            let reference = row.text("ref");
            // House rules share one ref over several languages, so the language is part of the line's name.
            let line = if has_ref && !reference.is_empty() {
                format!("{reference} {}", row.text("language"))
            } else {
                format!("#{at:06}")
            };
            ((sheet.name.clone(), line), (at as i64 + 2, row))
        })
    })
}

/// The cells of a row as stored.
fn cells(row: &Row) -> String {
    let cells: BTreeMap<&str, &str> = row
        .cells
        .iter()
        .filter_map(|(column, cell)| match cell {
            Cell::Text(text) => Some((column.as_str(), text.as_str())),
            Cell::Fault(_) => None,
        })
        .collect();
    serde_json::json!(cells).to_string()
}

/// What a workbook replaces in another.
struct Replaced {
    /// Rows that are new or other than they were.
    changed: BTreeMap<Line, (i64, String)>,
    /// Rows that are gone.
    gone: Vec<Line>,
    /// What stood in place of both.
    was: Lines,
}

/// Against rows as stored.
fn against_stored(book: &Book, stored: Lines) -> Replaced {
    let wanted: BTreeMap<Line, (i64, String)> =
        named(book).map(|(line, (at, row))| (line, (at, cells(row)))).collect();
    let gone: Vec<Line> = stored.keys().filter(|line| !wanted.contains_key(*line)).cloned().collect();
    let changed = wanted.into_iter().filter(|(line, value)| stored.get(line) != Some(value)).collect();
    Replaced { changed, gone, was: stored }
}

/// Against a workbook at hand; only what differs is written out.
fn against_book(book: &Book, before: &Book) -> Replaced {
    let mut old: HashMap<Line, (i64, &Row)> = named(before).collect();
    let (mut changed, mut was) = (BTreeMap::new(), Lines::new());
    for (line, (at, row)) in named(book) {
        match old.remove(&line) {
            Some((then, other)) if then == at && other.cells == row.cells => continue,
            Some((then, other)) => drop(was.insert(line.clone(), (then, cells(other)))),
            None => {}
        }
        changed.insert(line, (at, cells(row)));
    }
    let gone: Vec<Line> = old.keys().cloned().collect();
    was.extend(old.into_iter().map(|(line, (at, row))| (line, (at, cells(row)))));
    Replaced { changed, gone, was }
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
    let Replaced { changed, gone, was } = match before {
        Some(before) => against_book(book, before),
        None => against_stored(book, lines_of(&tx.fetch(sql::SEASON_ROWS, vec![season.into()]).await?)?),
    };
    let replaced: Vec<&Line> = changed.keys().chain(&gone).collect();
    changes::note(&mut tx, season, (revision, at, what), &was, &replaced).await?;
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
