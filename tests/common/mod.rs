//! What several tests share: small seasons written as text, a clock that is told the time, and chance with a seed.

#![allow(dead_code, reason = "each test uses its own part of this")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a helper of a test may fail the test")]

use allheard::demo::dice::Dice;
use allheard::domain::board::Board;
use allheard::domain::book::{Book, Row, Weight};
use allheard::domain::chain;
use allheard::domain::reading;
use allheard::service::ports::{Clock, Random, Store};
use jiff::Timestamp;
use std::sync::{Arc, Mutex};

/// A workbook from text: `# sheet`, a line of column names, then a line a row; cells stand between `|`.
/// A column may say `g2` for `guardian 2`.
pub fn book(text: &str) -> Book {
    let mut book = Book::default();
    let mut sheet = String::new();
    let mut columns: Vec<String> = Vec::new();
    for line in text.lines().map(str::trim).filter(|line| !line.is_empty()) {
        if let Some(name) = line.strip_prefix("# ") {
            sheet = name.to_owned();
            columns.clear();
            book.sheet_mut(&sheet).rows.clear();
            continue;
        }
        let cells = line.split('|').map(str::trim);
        if columns.is_empty() {
            columns = cells.map(column).collect();
            continue;
        }
        let rows = &mut book.sheet_mut(&sheet).rows;
        let mut row = Row { number: rows.len() as u32 + 2, ..Row::default() };
        for (column, cell) in columns.iter().zip(cells) {
            row.set(column, cell);
        }
        rows.push(row);
    }
    book
}

fn column(name: &str) -> String {
    match name.strip_prefix('g').and_then(|rest| rest.split_once(' ')) {
        Some((nth, part)) if nth.parse::<u8>().is_ok() => format!("guardian {nth} {part}"),
        _ => name.to_owned(),
    }
}

/// The rows of a sheet one of whose cells says `marked`.
pub fn rows_of<'a>(book: &'a mut Book, sheet: &str, marked: &'a str) -> impl Iterator<Item = &'a mut Row> {
    let rows = book.sheet_mut(sheet).rows.iter_mut();
    rows.filter(move |row| {
        let cells: Vec<String> = row.cells.keys().cloned().collect();
        cells.iter().any(|column| row.text(column) == marked)
    })
}

/// Sets a cell in every row of a sheet one of whose cells says `marked`; fails if there is none.
pub fn set(book: &mut Book, sheet: &str, marked: &str, column: &str, value: &str) {
    let name = self::column(column);
    let mut found = 0;
    for row in rows_of(book, sheet, marked) {
        row.set(&name, value);
        found += 1;
    }
    assert!(found > 0, "no row of '{sheet}' says '{marked}'");
}

/// The same workbook with one cell set.
pub fn with(book: &Book, sheet: &str, marked: &str, column: &str, value: &str) -> Book {
    let mut book = book.clone();
    set(&mut book, sheet, marked, column, value);
    book
}

/// The board of a workbook that has no errors.
pub fn board(book: &Book) -> Board {
    let (season, problems) = reading::season(book);
    let errors: Vec<_> = problems.iter().filter(|p| p.weight == Weight::Error).collect();
    assert!(errors.is_empty(), "{errors:#?}");
    Board::of(season.expect("a season without errors"))
}

/// An instant as RFC 3339 writes it.
pub fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

/// A clock that shows what it is told.
#[derive(Clone)]
pub struct HandClock(Arc<Mutex<Timestamp>>);

impl HandClock {
    /// A clock that shows an instant.
    pub fn new(now: Timestamp) -> HandClock {
        HandClock(Arc::new(Mutex::new(now)))
    }

    /// Shows another instant.
    pub fn set(&self, now: Timestamp) {
        *self.0.lock().unwrap() = now;
    }
}

impl Clock for HandClock {
    fn now(&self) -> Timestamp {
        *self.0.lock().unwrap()
    }
}

/// Bytes from dice: the same for the same seed and purpose.
pub struct Seeded(Dice);

impl Seeded {
    /// A source for a seed and a purpose.
    pub fn boxed(seed: u64, purpose: &str) -> Box<dyn Random> {
        Box::new(Seeded(Dice::new(seed, purpose)))
    }
}

impl Random for Seeded {
    fn fill(&mut self, buffer: &mut [u8]) {
        for byte in buffer {
            *byte = self.0.below(256) as u8;
        }
    }
}

/// Walks the whole ledger of a season and links every line anew; the error names the first that does not hold.
pub async fn verify_ledger(store: &impl Store, season: i64) -> Result<i64, String> {
    let (mut seq, mut hash) = (0, chain::seed(&season.to_string()));
    loop {
        let lines = store.ledger(season, seq, 1_000).await.map_err(|fault| fault.to_string())?;
        if lines.is_empty() {
            return Ok(seq);
        }
        for line in lines {
            seq += 1;
            hash = chain::link(&hash, line.seq, &line.entry);
            if line.seq != seq || line.hash != hash {
                return Err(format!("ledger line {seq} does not follow from the one before"));
            }
            if let Some((salt, words)) = &line.words
                && chain::salted(salt, words) != line.entry.digest
            {
                return Err(format!("ledger line {seq} has other words beside it"));
            }
        }
    }
}
