//! One enum over the native pools, and a small vocabulary of values, so that a statement is written once.
//!
//! Only this file knows which database is behind it. Portable types only: i64, text, bool, bytes.

use crate::service::ports::{CrashPoint, StoreFault};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteRow, SqliteSynchronous,
};
use sqlx::{Row as _, SqlStr, Sqlite, Transaction};
use std::collections::HashMap;
use std::str::FromStr;
use std::sync::Mutex;
use std::time::Duration;

/// How long a writer waits for another before it is told that the database is busy, seconds.
const BUSY_SECONDS: u64 = 5;
/// Connections that only read.
const READERS: u32 = 4;
/// The oldest SQLite without the WAL-reset fault (release notes of SQLite 3.51.3).
const OLDEST_SQLITE: &str = "3.51.3";

/// One statement: its text and how many placeholders it has.
#[derive(Debug, Clone, Copy)]
pub struct Statement {
    /// Text with `$1`, `$2` … placeholders.
    pub text: &'static str,
    /// Number of distinct placeholders; a test compares it with what the database counts.
    pub binds: usize,
}

/// A value to bind.
#[derive(Debug, Clone)]
pub enum Value {
    /// Whole number, also instants.
    Int(i64),
    /// Text.
    Text(String),
    /// Yes or no.
    Bool(bool),
    /// Bytes.
    Bytes(Vec<u8>),
}

impl From<i64> for Value {
    fn from(value: i64) -> Self {
        Value::Int(value)
    }
}
impl From<&str> for Value {
    fn from(value: &str) -> Self {
        Value::Text(value.to_owned())
    }
}
impl From<String> for Value {
    fn from(value: String) -> Self {
        Value::Text(value)
    }
}
impl From<bool> for Value {
    fn from(value: bool) -> Self {
        Value::Bool(value)
    }
}
impl From<Vec<u8>> for Value {
    fn from(value: Vec<u8>) -> Self {
        Value::Bytes(value)
    }
}

/// A row read back.
pub enum Row {
    /// From SQLite.
    Sqlite(SqliteRow),
}

impl Row {
    /// A whole number.
    pub fn int(&self, at: usize) -> Result<i64, StoreFault> {
        match self {
            Row::Sqlite(row) => row.try_get(at).map_err(database),
        }
    }
    /// Text.
    pub fn text(&self, at: usize) -> Result<String, StoreFault> {
        match self {
            Row::Sqlite(row) => row.try_get(at).map_err(database),
        }
    }
    /// Yes or no.
    pub fn bool(&self, at: usize) -> Result<bool, StoreFault> {
        match self {
            Row::Sqlite(row) => row.try_get(at).map_err(database),
        }
    }
    /// Bytes.
    pub fn bytes(&self, at: usize) -> Result<Vec<u8>, StoreFault> {
        match self {
            Row::Sqlite(row) => row.try_get(at).map_err(database),
        }
    }
}

/// The database.
pub enum Db {
    /// SQLite: one connection writes, a few read.
    Sqlite {
        /// The writer.
        writer: SqlitePool,
        /// The readers.
        readers: SqlitePool,
    },
}

/// A transaction under way.
pub enum Tx {
    /// On SQLite.
    Sqlite(Transaction<'static, Sqlite>),
}

/// Turns an error of the driver into ours; the driver's text names statements, never values.
pub fn database(error: sqlx::Error) -> StoreFault {
    StoreFault::Database(error.to_string())
}

fn options(url: &str) -> Result<SqliteConnectOptions, StoreFault> {
    Ok(SqliteConnectOptions::from_str(url)
        .map_err(database)?
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .busy_timeout(Duration::from_secs(BUSY_SECONDS))
        .foreign_keys(true))
}

impl Db {
    /// Opens by URL (`sqlite://PATH`), checks the engine, and brings the tables up to date.
    pub async fn open(url: &str) -> Result<Db, StoreFault> {
        if !url.starts_with("sqlite:") {
            return Err(StoreFault::Refused(format!(
                "the store address must begin with sqlite: ; it begins with {}",
                url.split(':').next().unwrap_or_default()
            )));
        }
        // A file on this host does not hang up, so connections need no test before each use.
        let writer = SqlitePoolOptions::new()
            .max_connections(1)
            .test_before_acquire(false)
            .connect_with(options(url)?)
            .await
            .map_err(database)?;
        let readers = SqlitePoolOptions::new()
            .max_connections(READERS)
            .test_before_acquire(false)
            .connect_with(options(url)?)
            .await
            .map_err(database)?;
        let version: String =
            sqlx::query_scalar("SELECT sqlite_version()").fetch_one(&writer).await.map_err(database)?;
        if older(&version, OLDEST_SQLITE) {
            return Err(StoreFault::Refused(format!(
                "SQLite {version} is too old; {OLDEST_SQLITE} or newer is needed"
            )));
        }
        sqlx::migrate!("migrations/sqlite").run(&writer).await.map_err(|error| match error {
            sqlx::migrate::MigrateError::VersionMissing(version) => StoreFault::Refused(format!(
                "the database was made by a newer program (its tables are at step {version}); \
                 run that program, or restore a copy made before the upgrade"
            )),
            other => StoreFault::Database(other.to_string()),
        })?;
        Ok(Db::Sqlite { writer, readers })
    }

    /// Begins a transaction that may write.
    pub async fn begin(&self) -> Result<Tx, StoreFault> {
        match self {
            Db::Sqlite { writer, .. } => {
                Ok(Tx::Sqlite(writer.begin_with("BEGIN IMMEDIATE").await.map_err(database)?))
            }
        }
    }

    /// Reads rows outside a transaction.
    pub async fn fetch(&self, statement: Statement, values: Vec<Value>) -> Result<Vec<Row>, StoreFault> {
        assert_eq!(statement.binds, values.len(), "binds of: {}", statement.text);
        match self {
            Db::Sqlite { readers, .. } => {
                let rows = bound(statement, values).fetch_all(readers).await.map_err(database)?;
                Ok(rows.into_iter().map(Row::Sqlite).collect())
            }
        }
    }

    /// Number of placeholders the database finds in a statement.
    pub async fn count_placeholders(&self, statement: Statement) -> Result<usize, StoreFault> {
        use sqlx::{Either, Executor, Statement as _};
        match self {
            Db::Sqlite { readers, .. } => {
                let prepared =
                    readers.prepare(SqlStr::from_static(statement.text)).await.map_err(database)?;
                Ok(match prepared.parameters() {
                    Some(Either::Left(types)) => types.len(),
                    Some(Either::Right(count)) => count,
                    None => 0,
                })
            }
        }
    }

    /// Closes all connections.
    pub async fn close(&self) {
        match self {
            Db::Sqlite { writer, readers } => {
                readers.close().await;
                writer.close().await;
            }
        }
    }
}

type SqliteQuery = sqlx::query::Query<'static, Sqlite, sqlx::sqlite::SqliteArguments>;

fn bound(statement: Statement, values: Vec<Value>) -> SqliteQuery {
    values.into_iter().fold(sqlx::query(statement.text), |query, value| match value {
        Value::Int(value) => query.bind(value),
        Value::Text(value) => query.bind(value),
        Value::Bool(value) => query.bind(value),
        Value::Bytes(value) => query.bind(value),
    })
}

impl Tx {
    /// Runs a statement; gives back the number of rows it touched.
    pub async fn run(&mut self, statement: Statement, values: Vec<Value>) -> Result<u64, StoreFault> {
        assert_eq!(statement.binds, values.len(), "binds of: {}", statement.text);
        match self {
            Tx::Sqlite(tx) => {
                Ok(bound(statement, values).execute(&mut **tx).await.map_err(database)?.rows_affected())
            }
        }
    }

    /// Runs a statement that gives rows back.
    pub async fn fetch(&mut self, statement: Statement, values: Vec<Value>) -> Result<Vec<Row>, StoreFault> {
        assert_eq!(statement.binds, values.len(), "binds of: {}", statement.text);
        match self {
            Tx::Sqlite(tx) => {
                let rows = bound(statement, values).fetch_all(&mut **tx).await.map_err(database)?;
                Ok(rows.into_iter().map(Row::Sqlite).collect())
            }
        }
    }

    /// Commits.
    pub async fn commit(self) -> Result<(), StoreFault> {
        match self {
            Tx::Sqlite(tx) => tx.commit().await.map_err(database),
        }
    }
}

fn older(version: &str, than: &str) -> bool {
    let parts = |text: &str| text.split('.').map(|p| p.parse().unwrap_or(0)).collect::<Vec<u32>>();
    parts(version) < parts(than)
}

/// Where a test asked for a crash: at the n-th passing of each point.
#[derive(Debug, Default)]
pub struct Crashes {
    planned: Mutex<HashMap<CrashPoint, u32>>,
}

impl Crashes {
    /// Asks for a crash at the `nth` (from 1) next passing of a point.
    pub fn plan(&self, point: CrashPoint, nth: u32) {
        if let Ok(mut planned) = self.planned.lock() {
            planned.insert(point, nth);
        }
    }

    /// Passes a point; an error here means the program ends.
    pub fn pass(&self, point: CrashPoint) -> Result<(), StoreFault> {
        let Ok(mut planned) = self.planned.lock() else { return Ok(()) };
        let Some(left) = planned.get_mut(&point) else { return Ok(()) };
        *left -= 1;
        if *left == 0 {
            planned.remove(&point);
            return Err(StoreFault::Crash(point));
        }
        Ok(())
    }
}
