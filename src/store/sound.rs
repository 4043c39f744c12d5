//! Whether a database file is sound, and one of ours.

use super::db::{BUSY_SECONDS, database};
use crate::service::ports::StoreFault;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions as _, Connection as _, SqliteConnection};
use std::str::FromStr as _;
use std::time::Duration;

async fn opened(file: &str) -> Result<SqliteConnection, StoreFault> {
    let options = SqliteConnectOptions::from_str(&format!("sqlite://{file}")).map_err(database)?;
    options.busy_timeout(Duration::from_secs(BUSY_SECONDS)).connect().await.map_err(database)
}

/// What is wrong inside a database file: its pages and rows (`PRAGMA quick_check`), and rows that belong to none. A few faults
/// say enough.
pub(super) async fn faults_of(file: &str) -> Result<Vec<String>, StoreFault> {
    let mut connection = opened(file).await?;
    let found = faults_in(&mut connection).await;
    let _ = connection.close().await;
    found
}

/// The same on an open connection; others may write meanwhile.
pub(super) async fn faults_in(connection: &mut SqliteConnection) -> Result<Vec<String>, StoreFault> {
    let looked = async {
        let mut said: Vec<String> = sqlx::query_scalar("PRAGMA quick_check(3)")
            .fetch_all(&mut *connection)
            .await
            .map_err(database)?;
        said.retain(|line| line != "ok");
        let orphans =
            sqlx::query("PRAGMA foreign_key_check").fetch_all(&mut *connection).await.map_err(database)?;
        if !orphans.is_empty() {
            said.push(format!("{} rows belong to nothing", orphans.len()));
        }
        Ok(said)
    }
    .await;
    // Where the damage is such that the engine cannot even look, that is what is wrong.
    looked.or_else(|fault: StoreFault| match fault.to_string() {
        words if words.contains("malformed") || words.contains("not a database") => Ok(vec![words]),
        _ => Err(fault),
    })
}

/// How many seasons are in a database file; a file that has not our tables is refused.
pub(super) async fn seasons_in(file: &str) -> Result<i64, StoreFault> {
    let mut connection = opened(file).await?;
    let count =
        sqlx::query_scalar("SELECT COUNT(*) FROM season WHERE EXISTS (SELECT 1 FROM _sqlx_migrations)");
    let counted = count.fetch_one(&mut connection).await;
    let _ = connection.close().await;
    counted.map_err(|_| StoreFault::Refused("it is a database of something else".to_owned()))
}
